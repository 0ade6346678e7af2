"""Patients chained by the rule engine from readings to conclusions, and the service's columns held to what follows."""
