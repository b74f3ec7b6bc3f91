"""Memory that reading a very long log leaves behind, given back before the analysis asks for its
own: the allocators of Arrow and of the C library keep what was freed, a good half gigabyte."""

from __future__ import annotations

import ctypes


def give_back() -> None:
    """Hand freed memory back to the system, where the C library can (`malloc_trim`, glibc's)."""
    import pyarrow as pa

    pa.default_memory_pool().release_unused()
    try:
        ctypes.CDLL(None).malloc_trim(0)
    except (OSError, AttributeError, TypeError):
        return  # another C library: it keeps it or not
