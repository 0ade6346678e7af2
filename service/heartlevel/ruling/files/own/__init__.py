"""Facts of one's own as rule files declare them."""
