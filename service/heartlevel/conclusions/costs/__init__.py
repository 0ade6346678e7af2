"""What a practice learns of all its subjects: what faults cost, and what categories rest on."""
