"""Rules and layers in one signed file."""
