"""Memory of a long-running service: collect garbage rarely, and return freed memory to the system.

By default glibc keeps an arena of freed memory for each thread and raises the size from which it
returns a block at once, so a service with threads and large answers grows for hours.
"""

import ctypes
import gc
import platform

import anyio
import anyio.to_thread

#: Options of mallopt(3), from glibc's malloc.h: how many arenas; the free memory at the top of the
#: heap from which it is returned [bytes]; the size from which a block has its own mapping [bytes].
ARENAS, TRIM, MAPPED = -8, -1, -3
MALLOC_OPTIONS = ((ARENAS, 2), (TRIM, 262_144), (MAPPED, 131_072))
#: New objects before Python looks for garbage: its default is for small programs, and an import
#: makes a million objects.
GARBAGE_THRESHOLD = (50_000, 20, 100)


#: How often memory that is free within the heap goes back to the system. [s]
TRIM_EVERY_S = 5.0


def _libc() -> ctypes.CDLL | None:
    """Return the C library if it is glibc, or None."""
    return ctypes.CDLL(None) if platform.libc_ver()[0] == "glibc" else None


def configure() -> None:
    """Set the thresholds, and collect no garbage until `freeze`; call this before threads start.

    Almost all that a start makes stays.
    """
    gc.disable()
    gc.set_threshold(*GARBAGE_THRESHOLD)
    libc = _libc()
    if libc is not None:
        for option, value in MALLOC_OPTIONS:
            libc.mallopt(option, value)


def freeze() -> None:
    """Leave all present objects out of later garbage collections.

    Scanning them again and again would stop every request for a tenth of a second.
    """
    gc.freeze()
    gc.enable()


async def trim_regularly() -> None:
    """Return free memory within the heap to the system, regularly until cancelled.

    The threshold above frees only the end of the heap, and answers of seasons leave holes in it.
    """
    libc, one_thread = _libc(), anyio.CapacityLimiter(1)
    while libc is not None:
        await anyio.sleep(TRIM_EVERY_S)
        await anyio.to_thread.run_sync(libc.malloc_trim, 0, limiter=one_thread)
