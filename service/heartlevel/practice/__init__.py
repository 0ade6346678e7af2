"""What result tables of many people tell a practice; no row, name or small group of people is in it."""
