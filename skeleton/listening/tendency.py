"""What a take does as a whole: sits high or low, creeps up or down. Single notes are told apart.

The drift is the median of the slopes between all pairs of notes (Theil 1950; Sen 1968, Journal of
the American Statistical Association 63, 1379): single wrong notes do not tilt it. Its error comes
from the scatter about the line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from skeleton.listening.verdict import Verdict, verdict

TENDENCY_TOLERANCE_CENTS: Final = 5.0
"""A take that sits or creeps by less than this is taken to stay (as for a fixed note)."""

FEWEST_NOTES: Final = 8
_MOST_NOTES: Final = 400


@dataclass(frozen=True, slots=True)
class Tendency:
    """The take as a whole.

    Attributes:
        notes: how many notes it was found from.
        height_cents: the middle of all deviations.
        height_u_cents: uncertainty of that, the reference's included.
        height: verdict on it; None where the reference is the take itself.
        drift_cents: how much higher the end is than the beginning.
        drift_u_cents: uncertainty of that.
        drift: verdict on it.
        middle_s: time at which the line has the height.
        cents_per_s: its slope.
    """

    notes: int
    height_cents: float
    height_u_cents: float
    height: Verdict | None
    drift_cents: float
    drift_u_cents: float
    drift: Verdict
    middle_s: float
    cents_per_s: float

    def at(self, time_s: float) -> float:
        """Where the take as a whole is at a time, in cents above the targets."""
        return self.height_cents + self.cents_per_s * (time_s - self.middle_s)


def tendency(
    values: Sequence[tuple[float, float]],
    reference_se_cents: float,
    *,
    own_reference: bool,
    tolerance_cents: float = TENDENCY_TOLERANCE_CENTS,
) -> Tendency | None:
    """Return the tendency of a take; None with fewer than eight notes.

    Args:
        values: time in seconds and deviation in cents of every measured note.
        reference_se_cents: standard error of what the deviations count from.
        own_reference: whether that is the take itself; then its height says nothing.
        tolerance_cents: what counts as staying.
    """
    if len(values) < FEWEST_NOTES:
        return None
    picked = values[:: max(1, math.ceil(len(values) / _MOST_NOTES))]
    time = np.array([one for one, _ in picked])
    off = np.array([one for _, one in picked])
    first, second = np.triu_indices(len(time), 1)
    apart = time[second] - time[first]
    far = apart > 0.1 * max(float(time[-1] - time[0]), 1e-9)
    slopes = (off[second] - off[first])[far] / apart[far]
    slope = float(np.median(slopes)) if len(slopes) else 0.0
    middle_s = float(np.median(time))
    height = float(np.median(off - slope * (time - middle_s)))
    rest = off - height - slope * (time - middle_s)
    scatter = max(1.48 * float(np.median(np.abs(rest))), 0.5)
    spread = max(float(np.std(time)), 1e-9)
    # A median is a quarter less sure than a mean, in Gaussian scatter: sqrt(pi / 2).
    height_se = math.hypot(1.25 * scatter / math.sqrt(len(time)), reference_se_cents)
    slope_se = 1.25 * scatter / (spread * math.sqrt(len(time)))
    length = float(time[-1] - time[0])
    return Tendency(
        len(values),
        height,
        2.0 * height_se,
        None if own_reference else verdict(height, 2.0 * height_se, tolerance_cents),
        slope * length,
        2.0 * slope_se * length,
        verdict(slope * length, 2.0 * slope_se * length, tolerance_cents),
        middle_s,
        slope,
    )
