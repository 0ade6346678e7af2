"""Connections of clients: how slow they may be, how many are served at once, what is kept for those who read late."""
