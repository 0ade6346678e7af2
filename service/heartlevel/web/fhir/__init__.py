"""What speaks FHIR R4: resources in and out, and CDS Hooks."""
