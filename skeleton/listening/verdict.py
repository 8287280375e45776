"""In tune or not: a verdict only where the measurement can carry one.

With a deviation d, a tolerance T and an uncertainty U (two standard errors): in tune where
abs(d) <= T - U, off where abs(d) > T + U, and otherwise nobody can tell. It is the rule of guarded
acceptance and guarded rejection (JCGM 106:2012, clause 8.3; cited from memory). Where U is over T
nothing is ever found in tune.
"""

from __future__ import annotations

from typing import Literal

Verdict = Literal["in tune", "sharp", "flat", "cannot tell"]


def verdict(deviation_cents: float, u_cents: float, tolerance_cents: float) -> Verdict:
    """Return the verdict on a measured deviation.

    Args:
        deviation_cents: how far above its target the pitch is.
        u_cents: uncertainty of that: two standard errors; infinite where nothing is known.
        tolerance_cents: what it may be off.
    """
    off = abs(deviation_cents)
    if off <= tolerance_cents - u_cents:
        return "in tune"
    if off > tolerance_cents + u_cents:
        return "sharp" if deviation_cents > 0 else "flat"
    return "cannot tell"
