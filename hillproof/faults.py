"""A fault of our own: no user's, told in a line."""

TRACEBACK_VARIABLE = "HILLPROOF_TRACEBACK"
"""Set to anything, it shows where a fault of ours happened."""


def told(fault: Exception) -> str:
    """Kind and text of the fault, on one line."""
    return f"{type(fault).__name__}: {' '.join(str(fault).split())[:200]}"
