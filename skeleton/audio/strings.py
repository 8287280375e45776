"""Which open strings sound in a recording, when, and at what pitch.

Frame by frame the spectrum, taken over its own noise floor, is searched for the string whose
partials explain most of it; those are taken away, and what is left is searched again, so that two
strings bowed together (as when tuning) are both found although in a pure fifth they share partials.
A candidate pays for every partial that is missing: that keeps octaves and twelfths of a lower
string from being taken for another string. Stretches of one string are then measured like notes
(:mod:`skeleton.audio.pitch`), the other strings known.

A stopped note is no different from an open string to a microphone: in a recording of the open
strings alone every long note near a string's pitch is that string. Strings are looked for within
350 cents of their pure tuning, or half way to the next string where that is nearer (basses); a
string further off is not found.

The bow itself bends a string's pitch (flatter under pressure: Schoonderwaldt 2009); that is in the
sound and is measured with it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.audio.partials import Array, quantile
from skeleton.audio.pitch import Measured, measure, pooled
from skeleton.audio.resample import Mono
from skeleton.theory.instrument import Instrument, open_string_hz
from skeleton.theory.pitch import Pitch
from skeleton.theory.strings import FARTHEST_STRING_CENTS
from skeleton.theory.tuning import cents

FRAME_S: Final = 0.19
HOP_S: Final = 0.09

SHORTEST_S: Final = 0.35
"""A string that sounds for less is not counted."""

PIECE_S: Final = 0.8
"""Longer stretches are measured in pieces of about this length, so that turning a peg shows."""

SAME_CENTS: Final = 6.0
"""Pieces this close are the same tuning; further apart, the string has moved between them."""

_GRID_CENTS: Final = 5.0
_PARTIALS: Final = 20
_HIGHEST_HZ: Final = 7000.0
_CAP_DB: Final = 35.0
_PRESENT_DB: Final = 8.0
_MISSING_COST_DB: Final = 25.0
_LEAST_SCORE_DB: Final = 8.0
_LEAST_SHARE: Final = 0.03
_PEAK_REACH_HZ: Final = 6.0
_SEARCH_CENTS: Final = 25.0
_WINDOW_S: Final = 0.15
_STEP_CENTS: Final = 12.0
_UNSURE: Final = 4.0
"""Pieces with more than this many times the error of the surest are not used beside it."""

_QUIET_DB: Final = 26.0
"""Frames this much quieter than the loudest are a string dying away, or a room."""


@dataclass(frozen=True, slots=True)
class Sounding:
    """A stretch in which one open string sounds at one pitch.

    Attributes:
        string: which one.
        start_s: from when.
        end_s: to when.
        hz: its pitch.
        se_cents: standard error of that.
    """

    string: Pitch
    start_s: float
    end_s: float
    hz: float
    se_cents: float


@dataclass(frozen=True, slots=True)
class OpenString:
    """An open string as a recording leaves it.

    Attributes:
        string: which one.
        hz: its pitch at last, or None where it was not heard or could not be measured.
        se_cents: standard error of that; infinite where there is none.
        heard_s: how long it sounded, at any pitch.
        settled_s: since when it has had this pitch, to within a piece (:data:`PIECE_S`); None
            where it was not measured.
        moved_cents: how far it came since it was first heard; 0 where it stayed.
    """

    string: Pitch
    hz: float | None
    se_cents: float
    heard_s: float
    settled_s: float | None
    moved_cents: float


def soundings(
    samples: Mono, rate: int, instrument: Instrument, a4_hz: float = 440.0
) -> tuple[Sounding, ...]:
    """Return every stretch in which an open string sounds, in order of time.

    Args:
        samples: one channel.
        rate: its samples a second.
        instrument: whose strings to look for, tuned near its pure tuning.
        a4_hz: what that tuning is counted from.

    Raises:
        OptionError: the A4 is out of range.
    """
    expected = open_string_hz(instrument, a4_hz)
    steps = _steps(expected)
    grid = np.minimum(np.asarray(expected)[:, None] * np.exp2(steps / 1200.0), 0.4 * rate)
    heard = _frames(samples, rate, grid, steps)
    runs = [(index, *run) for index in range(len(expected)) for run in _runs(heard[index])]
    found: list[Sounding] = []
    for index, first, last, offset in runs:
        others = [
            expected[other] * math.exp2(away / 1200.0)
            for other, begin, end, away in runs
            if other != index and begin < last and end > first
        ]
        near = expected[index] * math.exp2(offset / 1200.0)
        for begin, end in _pieces(first, last):
            result = measure(
                samples,
                rate,
                near,
                start_s=begin,
                end_s=end,
                search_cents=_SEARCH_CENTS,
                also_hz=others,
                window_s=_WINDOW_S,
            )
            if isinstance(result, Measured):
                string = instrument.open_strings[index]
                found.append(Sounding(string, begin, end, result.hz, result.se_cents))
    return tuple(sorted(found, key=lambda one: (one.start_s, one.string.midi)))


def open_strings(found: Sequence[Sounding], instrument: Instrument) -> tuple[OpenString, ...]:
    """Return each open string's last settled pitch, low to high.

    A string that was turned while it was recorded counts as it was left: of the tunings it had for
    at least a quarter as long as the longest, the last one.

    Args:
        found: the stretches of one recording.
        instrument: whose strings; each gets an entry.
    """
    return tuple(
        _settled(string, [one for one in found if one.string == string])
        for string in instrument.open_strings
    )


def _settled(string: Pitch, pieces: list[Sounding]) -> OpenString:
    if not pieces:
        return OpenString(string, None, math.inf, 0.0, None, 0.0)
    surest = min(one.se_cents for one in pieces)
    sure = [one for one in pieces if one.se_cents <= max(1.0, _UNSURE * surest)]
    groups: list[list[Sounding]] = []
    for piece in sure:
        for group in reversed(groups):
            apart = abs(cents(piece.hz / _middle(group)))
            if apart <= max(SAME_CENTS, 2.0 * piece.se_cents):
                group.append(piece)
                break
        else:
            groups.append([piece])
    longest = max(_length(group) for group in groups)
    lasting = [group for group in groups if _length(group) >= 0.25 * longest]
    last = max(lasting, key=lambda group: group[-1].end_s)
    reference = last[0].hz
    middle, error = pooled([(cents(one.hz / reference), one.se_cents) for one in last])
    hz = reference * math.exp2(middle / 1200.0)
    first = min(lasting, key=lambda group: group[0].start_s)
    moved = 0.0 if first is last else cents(hz / _middle(first))
    return OpenString(
        string, hz, error, sum(_length([one]) for one in pieces), last[0].start_s, moved
    )


def _middle(group: Sequence[Sounding]) -> float:
    return sorted(one.hz for one in group)[len(group) // 2]


def _length(group: Sequence[Sounding]) -> float:
    return sum(one.end_s - one.start_s for one in group)


def _steps(expected: Sequence[float]) -> Array:
    """How far from its pure tuning each string is looked for, in cents."""
    gaps = [cents(high / low) for low, high in pairwise(expected)]
    count = int(min([FARTHEST_STRING_CENTS, *(gap / 2.0 for gap in gaps)]) / _GRID_CENTS)
    return np.asarray(np.arange(-count, count + 1) * _GRID_CENTS)


@dataclass(frozen=True, slots=True)
class _Search:
    """Where in a spectrum the candidates of the grid have their partials, the same in every frame.

    Attributes:
        grid: candidates in hertz, by string and step.
        bin_hz: how wide a bin is.
        lobe_hz: half the width of a partial.
        top: how many bins are looked at.
        bins: the place of each partial, by partial, string and step.
        inside: whether it lies among those looked at.
    """

    grid: Array
    bin_hz: float
    lobe_hz: float
    top: int
    bins: NDArray[np.intp]
    inside: NDArray[np.bool_]


def _search(grid: Array, bin_hz: float, lobe_hz: float, count: int) -> _Search:
    top = min(count, int(_HIGHEST_HZ / bin_hz))
    places = np.arange(1, _PARTIALS + 1)[:, None, None] * grid / bin_hz
    bins = np.clip(np.round(places), 0, top - 1).astype(np.intp)
    return _Search(grid, bin_hz, lobe_hz, top, bins, places < top - 1)


def _frames(samples: Mono, rate: int, grid: Array, steps: Array) -> list[list[tuple[float, float]]]:
    """For each string the frames in which it sounds: time, and cents from its pure tuning."""
    length = max(64, round(FRAME_S * rate))
    # A low string's neighbours are nearer: hold eight periods at least.
    length = max(length, math.ceil(8 * rate / float(grid.min())))
    hop = round(HOP_S * rate)
    heard: list[list[tuple[float, float]]] = [[] for _ in grid]
    if len(samples) < length:
        return heard
    cuts = np.lib.stride_tricks.sliding_window_view(samples, length)[::hop]
    window = np.hanning(length + 2)[1:-1].astype(np.float32)
    size = 1 << (2 * length - 1).bit_length()
    search = _search(grid, rate / size, 2.2 * rate / length, size // 2 + 1)
    loudest = float(np.quantile(np.einsum("ij,ij->i", cuts, cuts), 0.95))
    for number, cut in enumerate(cuts):
        if float(cut @ cut) < loudest * 10.0 ** (-_QUIET_DB / 10.0):
            continue
        spectrum = np.fft.rfft(cut * window, size)[: search.top]
        power = spectrum.real.astype(np.float64) ** 2 + spectrum.imag.astype(np.float64) ** 2
        time_s = (number * hop + length / 2) / rate
        for index, step in _strings_in(power, search):
            heard[index].append((time_s, float(steps[step])))
    return heard


def _strings_in(power: Array, search: _Search) -> list[tuple[int, int]]:
    """The strings that one frame holds, strongest first, each with its place in the grid."""
    over = np.minimum(10.0 * np.log10(1.0 + power / _floor(power)), _CAP_DB)
    height = _peaks(over, search.bin_hz, search.lobe_hz)
    gain = np.where(height < _PRESENT_DB, height - _MISSING_COST_DB, height)[search.bins]
    total = float(power.sum())
    rest = power.copy()
    free = np.ones(len(power), dtype=bool)
    found: list[tuple[int, int]] = []
    for _ in range(min(2, len(search.grid))):
        usable = search.inside & free[search.bins]
        count = usable.sum(axis=0)
        score = (gain * usable).sum(axis=0) / np.maximum(count, 1)
        energy = (rest[search.bins] * search.inside).sum(axis=0)
        left = max(float(rest.sum()), 1e-30)
        # Of candidates whose partials are all there, the one that explains more.
        score = score + 5.0 * np.log10(np.maximum(energy / left, 1e-9))
        score[count < 3] = -np.inf
        for already, _ in found:
            score[already] = -np.inf
        index, step = (int(one) for one in np.unravel_index(np.argmax(score), score.shape))
        if score[index, step] < _LEAST_SCORE_DB:
            break
        lobes = _lobes(search.grid[index, step], search.bin_hz, search.lobe_hz, len(power))
        if float(rest[lobes].sum()) / max(total, 1e-30) < _LEAST_SHARE:
            break
        found.append((index, step))
        free &= ~lobes
        rest[lobes] = 0.0
    return found


def _peaks(height: Array, bin_hz: float, lobe_hz: float) -> Array:
    """Heights of peaks, each spread to where a candidate of the grid may look for it; else 0."""
    around = _highest(height, round(lobe_hz / bin_hz))
    tops = np.where(height >= around, height, 0.0)
    return _highest(tops, max(1, round(_PEAK_REACH_HZ / bin_hz)))


def _highest(values: Array, reach: int) -> Array:
    """The highest value within reach (at least 1) of each place; none is below 0."""
    highest = np.zeros(len(values) + 2 * reach)
    highest[reach:-reach] = values
    width = 1
    while width <= reach:
        highest = np.maximum(highest[:-width], highest[width:])
        width *= 2
    # Two such stretches, overlapping, make up the one asked for.
    apart = 2 * reach + 1 - width
    return np.asarray(np.maximum(highest[: len(values)], highest[apart : apart + len(values)]))


def _lobes(hz: float, bin_hz: float, lobe_hz: float, top: int) -> np.ndarray:
    """The bins that the partials of a pitch take."""
    place = np.arange(top) * bin_hz
    number = np.maximum(np.round(place / hz), 1.0)
    # A step of the grid, so a high partial may lie that much off.
    reach = np.maximum(lobe_hz, 0.003 * place)
    return np.asarray(np.abs(place - number * hz) < reach)


def _floor(power: Array) -> Array:
    """The noise floor: low values of stretches of about 200 bins, joined by lines."""
    count = max(1, len(power) // 200)
    size, longer = divmod(len(power), count)
    # As equal as they can be: the first ones are a bin longer.
    lengths = np.repeat([size + 1, size], [longer, count - longer])
    split = longer * (size + 1)
    parts = (power[:split].reshape(longer, size + 1), power[split:].reshape(-1, size))
    low = np.concatenate([quantile(part, 0.3) for part in parts])
    floor = np.interp(np.arange(len(power)), np.cumsum(lengths) - lengths / 2, low)
    return np.asarray(np.maximum(floor, 1e-8 * power.max() + 1e-20))


def _runs(heard: list[tuple[float, float]]) -> list[tuple[float, float, float]]:
    """Unbroken stretches at one pitch: begin, end, cents."""
    runs: list[tuple[float, float, float]] = []
    current: list[tuple[float, float]] = []

    def close() -> None:
        if not current:
            return
        begin, end = current[0][0] - HOP_S / 2, current[-1][0] + HOP_S / 2
        if end - begin >= SHORTEST_S:
            runs.append((begin, end, float(np.median([away for _, away in current]))))

    for one in heard:
        if current and (
            one[0] - current[-1][0] > 2.5 * HOP_S
            or abs(one[1] - current[-1][1]) > _STEP_CENTS
            or abs(one[1] - current[0][1]) > 2.0 * _STEP_CENTS
        ):
            close()
            current = []
        current.append(one)
    close()
    return runs


def _pieces(first_s: float, last_s: float) -> Iterator[tuple[float, float]]:
    """A stretch in equal pieces of about the length that is measured at a time."""
    count = max(1, round((last_s - first_s) / PIECE_S))
    return pairwise(first_s + (last_s - first_s) * n / count for n in range(count + 1))
