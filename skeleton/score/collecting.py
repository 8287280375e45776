"""Holding the garbage collector while much is made and nothing is dropped.

Reading and analysing make hundreds of thousands of small objects that all stay alive. The cyclic
collector looks through them again and again as they grow in number, finds nothing, and makes
the time grow faster than the notes. When it is let go it would look through all of them once
more, as it does with everything new; so they are put among what is old beforehand.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def no_collection() -> Iterator[None]:
    """Hold the cyclic garbage collector; works as a decorator too."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            _make_old()
            gc.enable()


def _make_old() -> None:
    """Put everything that lives into the oldest generation, without looking at it."""
    if gc.get_freeze_count() == 0:  # what somebody else has frozen is to stay so
        gc.freeze()
        gc.unfreeze()
