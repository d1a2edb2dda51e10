"""Memory of a long-running service: collect garbage rarely, and return freed memory to the system.

By default glibc keeps an arena of freed memory for each thread and raises the size from which it
returns a block at once, so a service with threads and large answers grows for hours.
"""

import ctypes
import gc
import platform

#: Options of mallopt(3), from glibc's malloc.h: how many arenas; the free memory at the top of the
#: heap from which it is returned [bytes]; the size from which a block is mapped alone [bytes].
ARENAS, TRIM, MAPPED = -8, -1, -3
MALLOC_OPTIONS = ((ARENAS, 2), (TRIM, 262_144), (MAPPED, 131_072))
#: New objects before Python looks for garbage: its default is for small programs, and an import
#: makes a million objects.
GARBAGE_THRESHOLD = (50_000, 20, 100)


def configure() -> None:
    """Set the thresholds; call this before any thread starts."""
    gc.set_threshold(*GARBAGE_THRESHOLD)
    if platform.libc_ver()[0] == "glibc":
        libc = ctypes.CDLL(None)
        for option, value in MALLOC_OPTIONS:
            libc.mallopt(option, value)


def freeze() -> None:
    """Leave all present objects out of later garbage collections.

    Scanning them again and again would stop every request for a tenth of a second.
    """
    gc.freeze()
