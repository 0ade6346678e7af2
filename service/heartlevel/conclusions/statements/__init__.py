"""What is said first of each person: up to three statements, chosen here and worded later."""
