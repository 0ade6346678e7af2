"""What rule files say of following a person up: pauses, changes, targets."""
