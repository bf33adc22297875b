"""Waiting for what a busy machine may need a moment for."""

import time
from collections.abc import Callable


def comes_true(wanted: Callable[[], bool], seconds: float) -> bool:
    """Wait until something holds; False when it does not in all that time."""
    deadline = time.monotonic() + seconds
    while not wanted():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.01)
    return True
