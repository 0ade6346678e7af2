"""HL7 FHIR R4: resources read as requests, and assessments written as resources."""
