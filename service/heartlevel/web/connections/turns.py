"""Giving way: what computes without waiting lets those run that wait for their turn."""

import time

# Seconds. With 0 a worker would look for what came to its connections after every fifty turns only.
A_MOMENT = 1e-6


def give_way() -> None:
    """Let others run, and what has come to other connections be taken in."""
    time.sleep(A_MOMENT)
