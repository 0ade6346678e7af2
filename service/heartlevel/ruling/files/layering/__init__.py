"""The own file of a layer: what it may hold, and what it may say of itself and in its changes."""
