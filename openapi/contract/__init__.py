"""The answer, declared: what the OpenAPI document says of it. Nothing is computed here."""
