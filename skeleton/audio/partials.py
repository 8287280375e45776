"""The pitch of a bowed note moment by moment, read off its partials near where they must be.

A stretch of sound is cut into frames under a Hann window. In every frame each partial of the
expected note is looked for within a narrow band; its place is the top of the parabola through the
log power of its three highest bins (on a Hann window under fourfold zero padding that is right to
a few thousandths of a bin). Each partial says where the fundamental is; they are averaged with
weights from their height over the noise between the partials, and a partial that disagrees with
the others (a room's ringing, another string) loses its weight by Tukey's biweight (Beaton and
Tukey, 1974). Partials that fall onto a partial of a tone known to sound along are left out.

Whether the note is there at all is asked first: a narrow band finds something anywhere, in noise
as well and at the wrong octave. See :attr:`Curve.refusal`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from skeleton.audio.resample import Mono

Array = NDArray[np.float64]
Refusal = Literal["nothing", "elsewhere", "octave-above", "octave-below", "too-short"]

MOST_PARTIALS: Final = 16
HIGHEST_PARTIAL_HZ: Final = 7000.0
HIGHEST_SHARE_OF_RATE: Final = 0.42

WINDOW_S: Final = 0.06
"""Frame length for a steady note; longer for low notes, so that it holds six periods."""

QUICK_WINDOW_S: Final = 0.036
"""Frame length where the pitch moves: in 60 ms a wide vibrato smears the upper partials."""

HOP_S: Final = 0.006

_FEWEST_PERIODS: Final = 4.0
_PERIODS: Final = 6.0
_FLOOR_CENTS: Final = 0.3
_PRESENT_DB: Final = 9.0
_GRID_CENTS: Final = 4.0


@dataclass(frozen=True, slots=True)
class Curve:
    """Pitch against time.

    Attributes:
        time_s: middle of each frame, from the beginning of the samples.
        cents: pitch in each frame, from the expected pitch.
        weight: of each frame, from its loudness and its partials' agreement; 0 leaves it out.
        between_cents: standard error that the partials' disagreement leaves on their mean.
        noise_cents: typical standard error of one frame from noise alone.
        partials: how many carry the result.
        window_s: length of a frame.
        level_dbfs: root mean square of the stretch.
        refusal: None, or why the expected note is not taken to sound here.
    """

    time_s: Array
    cents: Array
    weight: Array
    between_cents: float
    noise_cents: float
    partials: int
    window_s: float
    level_dbfs: float
    refusal: Refusal | None = None


@dataclass(frozen=True, slots=True)
class _Frames:
    """Spectra of the frames: power by frame and bin, its average, and how wide a bin is."""

    power: Array
    average: Array
    bin_hz: float
    time_s: Array
    window_s: float
    rate: int


def quantile(values: Array, share: float) -> Array:
    """Return a quantile of at least one value, along the last axis; between two values a line.

    It leaves out the checks of :func:`numpy.quantile` and :func:`numpy.median`, which take
    longer than all else where values are as few as a note's.
    """
    place = share * (values.shape[-1] - 1)
    below, above = math.floor(place), math.ceil(place)
    ranked = np.partition(values, (below, above), axis=-1)
    low, high = ranked[..., below], ranked[..., above]
    return np.asarray(low + (place - below) * (high - low))


def curve(
    samples: Mono,
    rate: int,
    hz: float,
    *,
    search_cents: float = 80.0,
    avoid_hz: Sequence[float] = (),
    window_s: float = WINDOW_S,
) -> Curve:
    """Return the pitch curve of a stretch in which a note near ``hz`` is expected.

    Args:
        samples: the stretch, onset and release already left out.
        rate: its samples a second.
        hz: the expected pitch.
        search_cents: how far from it the note is looked for.
        avoid_hz: pitches known to sound along (a drone, the note before in a ringing room).
        window_s: length of a frame; shortened to the stretch, lengthened for low notes.
    """
    level = 10.0 * math.log10(max(float(np.mean(samples.astype(np.float64) ** 2)), 1e-12)) if len(
        samples
    ) else -120.0  # fmt: skip
    window = min(max(window_s, _PERIODS / hz), len(samples) / rate)
    if window < _FEWEST_PERIODS / hz or window < 0.012 or level < -100.0:
        refused: Refusal = "nothing" if level < -100.0 else "too-short"
        return _no_curve(refused, window, level)
    frames = _spectra(samples, rate, window)
    numbers = np.arange(1, _count(hz, rate) + 1, dtype=np.float64)
    noise = _noise(frames, hz, numbers)
    centre, refusal = _coarse(
        frames, noise, hz, numbers, search_cents=search_cents, avoid_hz=avoid_hz
    )
    if refusal is not None:
        return _no_curve(refusal, window, level)
    clear = _clear(numbers * hz * _ratio(centre), avoid_hz, frames.window_s)
    numbers, noise = numbers[clear], noise[clear]
    middle = np.full(len(frames.time_s), centre)
    # Wide first, then close to what the first look found: a wide look may find a neighbour.
    for reach in (45.0, 22.0):
        cents, variance = _peaks(frames, noise, hz, numbers, middle=middle, reach_cents=reach)
        middle, weights = _agreed(cents, variance, centre)
        if not weights.any():
            return _no_curve("nothing", window, level)
    if abs(float(quantile(middle, 0.5))) > search_cents + _GRID_CENTS:
        return _no_curve("elsewhere", window, level)
    total = weights.sum(axis=1)
    loud = frames.power.sum(axis=1)
    weight = np.where((total > 0) & (loud > 0.02 * loud.max()), np.sqrt(total), 0.0)
    if not weight.any():
        return _no_curve("nothing", window, level)
    carried = weights.sum(axis=0) > 0.02 * weights.sum()
    return Curve(
        frames.time_s,
        middle,
        weight / weight.max(),
        _between(cents - middle[:, None], weights),
        float(quantile(1.0 / np.sqrt(total[weight > 0]), 0.5)),
        int(carried.sum()),
        window,
        level,
    )


def _no_curve(refusal: Refusal, window_s: float, level: float) -> Curve:
    none = np.zeros(0)
    return Curve(none, none, none, math.inf, math.inf, 0, window_s, level, refusal)


def _count(hz: float, rate: int) -> int:
    limit = min(HIGHEST_PARTIAL_HZ, HIGHEST_SHARE_OF_RATE * rate)
    return max(1, min(MOST_PARTIALS, int(limit / hz)))


def _ratio(cents: float | Array) -> Array:
    return np.asarray(np.exp2(np.asarray(cents) / 1200.0), dtype=np.float64)


def _spectra(samples: Mono, rate: int, window_s: float) -> _Frames:
    length = min(len(samples), max(8, round(window_s * rate)))
    hop = max(1, round(HOP_S * rate))
    size = 1 << (4 * length - 1).bit_length() - 1
    count = 1 + (len(samples) - length) // hop
    first = (len(samples) - length - (count - 1) * hop) // 2
    cut = np.lib.stride_tricks.sliding_window_view(samples, length)[first::hop][:count]
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(length) + 0.5) / length)
    spectrum = np.fft.rfft(cut * window.astype(np.float32), size)
    power = spectrum.real.astype(np.float64) ** 2 + spectrum.imag.astype(np.float64) ** 2
    time_s = (first + np.arange(count) * hop + length / 2) / rate
    return _Frames(power, power.mean(axis=0), rate / size, time_s, length / rate, rate)


def _noise(frames: _Frames, hz: float, numbers: Array) -> Array:
    """Power between the partials, one value a partial: the lowest third of what lies beside it.

    What lies in the lobe of a partial is not noise; so quarters of the way where the window
    resolves them, else half way.
    """
    average = frames.average
    shares = (0.25, 0.4, 0.6, 0.75) if 0.25 * hz * frames.window_s > 2.0 else (0.45, 0.5, 0.55)
    beside = np.concatenate([numbers[:, None] - 1 + shares, numbers[:, None] + shares], axis=1)
    bins = np.clip(np.round(beside * hz / frames.bin_hz), 1, len(average) - 1).astype(int)
    low = quantile(average[bins], 0.33)
    # Rounding in the sound itself (16 bit, codecs) keeps noise from being 0.
    return np.asarray(np.maximum(low, 1e-9 * average.max() + 1e-18))


def _at(average: Array, hz: Array, bin_hz: float) -> Array:
    """Power of a spectrum at frequencies between its bins."""
    place = np.clip(hz / bin_hz, 0, len(average) - 1.001)
    whole = place.astype(int)
    part = place - whole
    return np.asarray(average[whole] * (1 - part) + average[whole + 1] * part)


def _coarse(
    frames: _Frames,
    noise: Array,
    hz: float,
    numbers: Array,
    *,
    search_cents: float,
    avoid_hz: Sequence[float],
) -> tuple[float, Refusal | None]:
    """Where within the search the partials stand highest over the noise, and is it that note."""
    used = numbers[:10]
    avoid = tuple(avoid_hz)
    here = [_near(hz * used, one, 1.2 / frames.window_s) for one in avoid]
    if here and (~np.any(here, axis=0)).sum() < 2:
        # A drone an octave or two below covers every partial; then they say what they can.
        avoid = ()
    grid = np.arange(-search_cents, search_cents + 0.5, _GRID_CENTS)
    places = hz * _ratio(grid)[:, None] * used
    height = 10.0 * np.log10(1.0 + _at(frames.average, places, frames.bin_hz) / noise[: len(used)])
    for one in avoid:
        height[_near(places, one, 1.2 / frames.window_s)] = 0.0
    # The strongest partials say most; a weak prior keeps to the expected pitch among equals.
    score = np.minimum(height, 40.0).sum(axis=1) - 3.0 * np.abs(grid) / max(search_cents, 1.0)
    best = int(np.argmax(score))
    found = height[best]
    near = [_near(places[best], one, 1.5 / frames.window_s) for one in avoid]
    known = ~np.any(near, axis=0) if near else np.ones(len(used), dtype=bool)
    here_hz = hz * float(_ratio(grid[best]))
    refused = _refusal(frames, noise, here_hz, found, known=known, avoid_hz=avoid_hz)
    return float(grid[best]), refused


def _refusal(
    frames: _Frames,
    noise: Array,
    hz: float,
    height: Array,
    *,
    known: Array,
    avoid_hz: Sequence[float],
) -> Refusal | None:
    """Why the heights of the partials over the noise (dB) are not those of this note, or None."""
    count = min(6, len(height))
    present = height[:count] > _PRESENT_DB
    judged = known[:count]
    if not judged.any():
        return "nothing"
    if present[judged].mean() < 0.5 or height[:count][judged].max() < 1.5 * _PRESENT_DB:
        odd, even = judged[0::2], judged[1::2]
        if (
            even.sum() >= 2
            and present[1::2][even].all()
            and odd.any()
            and not present[0::2][odd].any()
        ):
            return "octave-above"
        return "nothing"
    odd = judged & (np.arange(count) % 2 == 0)
    even = judged & (np.arange(count) % 2 == 1)
    if odd.any() and even.any():
        lead = height[:count][even].mean() - height[:count][odd].mean()
        if lead > 20.0 and height[:count][odd].mean() < 2 * _PRESENT_DB:
            return "octave-above"
    if 0.25 * hz * frames.window_s > 2.0:
        halves: Array = np.asarray(hz * (np.arange(1, min(5, count) + 1) - 0.5))
        unknown = np.ones(len(halves), dtype=bool)
        for one in avoid_hz:
            unknown &= ~_near(halves, one, 1.5 / frames.window_s)
        power = _at(frames.average, halves, frames.bin_hz)
        between = 10.0 * np.log10(1.0 + power / noise[: len(halves)])
        strong = between > np.maximum(_PRESENT_DB * 1.5, height[: len(halves)] - 18.0)
        if unknown.sum() >= 2 and strong[unknown].mean() > 0.6:
            return "octave-below"
    return None


def _near(places: Array, hz: float, reach_hz: float) -> NDArray[np.bool_]:
    """Whether a frequency lies within reach of any partial of a tone."""
    number = np.maximum(np.round(places / hz), 1.0)
    return np.asarray(np.abs(places - number * hz) < reach_hz)


def _clear(places: Array, avoid_hz: Sequence[float], window_s: float) -> NDArray[np.bool_]:
    """Which partials stand free of other tones; all of them where none would be left.

    Two peaks under a Hann window are apart from 2 / window on; a little less is allowed, for
    the weights take care of the rest.
    """
    for share in (1.7, 1.2, 0.8):
        clear = np.ones(len(places), dtype=bool)
        for one in avoid_hz:
            clear &= ~_near(places, one, share / window_s)
        if clear.any():
            return clear
    return np.ones(len(places), dtype=bool)


def _peaks(
    frames: _Frames, noise: Array, hz: float, numbers: Array, *, middle: Array, reach_cents: float
) -> tuple[Array, Array]:
    """Each partial's own idea of the pitch in cents, by frame and partial, and its variance."""
    expected = hz * _ratio(middle)[:, None] * numbers
    reach = np.maximum(2, np.ceil(numbers * hz * float(_ratio(reach_cents) - 1) / frames.bin_hz))
    # No further than half way to the next partial.
    reach = np.minimum(reach, max(2.0, 0.4 * hz / frames.bin_hz)).astype(int)
    count, width = frames.power.shape
    centre = np.clip(np.round(expected / frames.bin_hz).astype(int), reach + 1, width - 2 - reach)
    offsets = np.arange(-int(reach.max()), int(reach.max()) + 1)
    # Beyond a partial's own reach its edge is looked at again.
    within = np.clip(offsets, -reach[:, None], reach[:, None])
    # One spectrum after the other: that is looked up faster than by frame and bin.
    power = frames.power.ravel()
    first = np.arange(count)[:, None] * width
    highest = power[(first + centre)[:, :, None] + within].argmax(axis=2)
    top = centre + within[np.arange(len(numbers)), highest]
    peak = power[first + top]
    left, here, right = (
        np.log(one + 1e-30) for one in (power[first + top - 1], peak, power[first + top + 1])
    )
    bend = left - 2.0 * here + right
    is_top = (here >= left) & (here >= right) & (bend < 0)
    place = top + np.where(is_top, 0.5 * (left - right) / np.where(is_top, bend, -1.0), 0.0)
    cents = 1200.0 * np.log2(np.maximum(place, 0.5) * frames.bin_hz / (hz * numbers))
    over = peak / noise
    # Frequency error of a peak under a Hann window, height over noise R: about
    # 0.4 / (window * sqrt(R)) (measured on noise; the Cramer-Rao bound has the same form).
    sd_hz = 0.4 / (frames.window_s * np.sqrt(np.maximum(over, 1e-6)))
    variance = (sd_hz * 1200.0 / math.log(2.0) / (hz * numbers)) ** 2 + _FLOOR_CENTS**2
    variance[~is_top | (over < 4.0)] = np.inf
    return cents, variance


def _agreed(cents: Array, variance: Array, start: float) -> tuple[Array, Array]:
    """The pitch by frame that the partials agree on, and the weights used.

    A frame without weights gets the median of the others; where no frame has any, nothing agrees.
    """
    base = 1.0 / variance
    sure = base > 0
    weights, middle = base, _weighted_median(cents, base, start)
    if not sure.any():
        return middle, weights
    for _ in range(4):
        residual = np.abs(cents - middle[:, None])
        spread = max(0.5, 1.48 * float(quantile(residual[sure], 0.5)))
        scale = 4.0 * np.sqrt(variance + spread**2)
        weights = base * np.maximum(1.0 - (residual / scale) ** 2, 0.0) ** 2
        total = weights.sum(axis=1)
        known = total > 0
        if not known.any():
            break
        middle = (weights * cents).sum(axis=1) / np.where(known, total, 1.0)
        if not known.all():
            middle[~known] = quantile(middle[known], 0.5)
    return middle, weights


def _weighted_median(values: Array, weights: Array, otherwise: float) -> Array:
    """The weighted median of each row, and what is to stand for it where a row has no weight."""
    rows = np.arange(len(values))
    order = np.argsort(values, axis=1)
    share = np.cumsum(weights[rows[:, None], order], axis=1)
    half = 0.5 * share[:, -1]
    place = np.argmax(share >= half[:, None], axis=1)
    return np.where(half > 0, values[rows, order[rows, place]], otherwise)


def _between(residual: Array, weights: Array) -> float:
    """Standard error of the mean over partials, from how they differ on average over time."""
    total = weights.sum(axis=0)
    used = total > 0
    if used.sum() < 2:
        return 0.5
    mean = (residual * weights).sum(axis=0)[used] / total[used]
    share = total[used] / total[used].sum()
    centre = float((share * mean).sum())
    variance = float((share * (mean - centre) ** 2).sum())
    count = 1.0 / float((share**2).sum())
    return math.sqrt(variance / max(count - 1.0, 0.5))
