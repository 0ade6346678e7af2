"""Facts that rule files declare to be recorded, and requests that may hold them."""
