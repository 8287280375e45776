"""The centre of a pitch curve: a level for a steady note, the middle of a sinusoid for vibrato.

With vibrato the heard pitch is the mean of the modulation (Brown and Vaughn 1996, J. Acoust. Soc.
Am. 100, 1728). A plain mean over a note that holds no whole number of cycles is off by up to half
the extent, and a median is worse. So level, slope and a sinusoid are fitted together; the rate is
searched from 3.5 to 9 Hz (string players: 5.5 to 8 Hz, Timmers and Desain 2000).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from skeleton.audio.partials import Array, quantile

SLOWEST_HZ: Final = 3.5
FASTEST_HZ: Final = 9.0
_RATE_STEP_HZ: Final = 0.1

LEAST_EXTENT_CENTS: Final = 4.0
"""Less swing than this to either side is a bow's unsteadiness and is averaged."""

_FEWEST_CYCLES: Final = 0.55
_LEAST_EXPLAINED: Final = 0.7


@dataclass(frozen=True, slots=True)
class Vibrato:
    """What was fitted: rate in Hz, extent to either side in cents, and cycles in the curve."""

    rate_hz: float
    extent_cents: float
    cycles: float


@dataclass(frozen=True, slots=True)
class Centre:
    """The centre of a curve.

    Attributes:
        cents: on the curve's own scale.
        scatter_cents: spread of the curve about what was fitted.
        leverage: variance of the centre over that of one independent value.
        vibrato: None for a steady note.
    """

    cents: float
    scatter_cents: float
    leverage: float
    vibrato: Vibrato | None


def centre(time_s: Array, cents: Array, weight: Array, memory_s: float) -> Centre:
    """Return the centre of a pitch curve.

    Args:
        time_s: times of its values, evenly spaced.
        cents: the values.
        weight: of each value, 0 to leave it out; at least one is above 0.
        memory_s: how long a value stays like the one before it; values closer together than
            that are not independent.
    """
    level, robust = _level(cents, weight)
    # Short crests over a long trough look like outliers, so they are counted in again here.
    scatter = max(_scatter(cents - level, robust), _scatter(cents - level, weight))
    independent = _independent(time_s, robust, memory_s)
    steady = Centre(level, scatter, 1.0 / independent, None)
    span = _span(time_s, weight)
    if scatter < 0.6 * LEAST_EXTENT_CENTS or span * FASTEST_HZ < _FEWEST_CYCLES:
        return steady
    found = _swing(time_s, cents, weight, span, independent)
    return steady if found is None else found


def _level(cents: Array, weight: Array) -> tuple[float, Array]:
    """Mean under Tukey's biweight about the weighted median, and the weights it came to."""
    order = np.argsort(cents)
    share = np.cumsum(weight[order])
    middle = float(cents[order][np.searchsorted(share, 0.5 * share[-1])])
    used, counted = weight, weight > 0
    for _ in range(5):
        apart = np.abs(cents - middle)
        spread = max(0.5, 1.48 * float(quantile(apart[counted], 0.5)))
        used = weight * np.maximum(1.0 - (apart / (5.0 * spread)) ** 2, 0.0) ** 2
        total = float(used.sum())
        if total <= 0:
            return middle, weight
        middle = float((used * cents).sum()) / total
    return middle, used


def _scatter(residual: Array, weight: Array) -> float:
    return math.sqrt(float((weight * residual**2).sum() / weight.sum()))


def _span(time_s: Array, weight: Array) -> float:
    kept = time_s[weight > 0]
    step = time_s[1] - time_s[0] if len(time_s) > 1 else 0.0
    return float(kept[-1] - kept[0] + step)


def _independent(time_s: Array, weight: Array, memory_s: float) -> float:
    """How many values would tell as much if they were independent."""
    if len(time_s) < 2:
        return 1.0
    step = float(time_s[1] - time_s[0])
    effective = float(weight.sum() ** 2 / (weight**2).sum())
    return max(1.0, effective * step / memory_s + 1.0 - step / memory_s)


def _swing(
    time_s: Array, cents: Array, weight: Array, span: float, independent: float
) -> Centre | None:
    """Level, slope and sinusoid, if they explain the curve and a straight line does not."""
    middle = 0.5 * (time_s[weight > 0][0] + time_s[weight > 0][-1])
    time = time_s - middle
    straight = np.stack([np.ones_like(time), time], axis=1)
    _, rest = _fitted(straight, cents, weight)
    rates = np.arange(max(SLOWEST_HZ, _FEWEST_CYCLES / span), FASTEST_HZ, _RATE_STEP_HZ)
    if not len(rates):
        return None
    angle = 2.0 * np.pi * rates[:, None] * time
    # Over little more than one cycle a slope and a sinusoid cannot be told apart.
    slope = np.where(rates[:, None] * span > 1.5, time, 0.0)
    designs = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle), slope], axis=2)
    solutions, errors = _fitted(designs, cents, weight)
    best = int(np.argmin(errors))
    rate, error = float(rates[best]), float(errors[best])
    solution, design = solutions[best], designs[best]
    extent = math.hypot(float(solution[1]), float(solution[2]))
    explained = 1.0 - error / max(float(rest), 1e-12)
    swings = float(np.ptp(cents[weight > 0]))
    if (
        extent < LEAST_EXTENT_CENTS
        or explained < _LEAST_EXPLAINED
        or extent > 1.2 * swings
        or rate * span < _FEWEST_CYCLES
    ):
        return None
    normal = design.T @ (weight[:, None] * design) / weight.sum()
    leverage = float(np.linalg.pinv(normal)[0, 0]) / independent
    scatter = math.sqrt(error / float(weight.sum()))
    return Centre(float(solution[0]), scatter, leverage, Vibrato(rate, extent, rate * span))


def _fitted(design: Array, cents: Array, weight: Array) -> tuple[Array, Array]:
    """Least squares: the solution and its squared error, of one design or of each of a stack.

    Columns that cannot be told apart, or are all 0, share what they explain as evenly as can be.
    """
    weighted = np.swapaxes(design * weight[:, None], -1, -2)
    inverse = np.linalg.pinv(weighted @ design, rcond=1e-12, hermitian=True)
    solution = inverse @ (weighted @ cents)[..., None]
    error = (weight * (cents - (design @ solution)[..., 0]) ** 2).sum(axis=-1)
    return solution[..., 0], error
