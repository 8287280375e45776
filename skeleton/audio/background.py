"""A drone that sounds under a recording: found, and taken out of the samples.

A drone is what nobody bows: its partials stand at one frequency so exactly that their phase can be
foretold for many seconds, through note changes and rests. A bowed string's phase wanders by whole
cycles in a second and starts anew with every bow. So blocks of 12 s are cut into frames of 0.37 s,
and a peak that is there in three quarters of the frames is a line of a drone where its phase keeps
to one frequency in most of them. Lines are believed where five at least are partials of one pitch,
where block after block shows it, and where something else sounds besides: a long note alone is a
note.

Of each line one complex amplitude is told for a block, where the frames lie closest together (notes
that meet the line scatter), and how loud the drone was frame by frame, as the middle of its lines:
recorders follow the level. That is subtracted. What stays of a steady drone is 20 dB and more under
it, 30 mostly; more where a recorder's level moves fast.

Tried out on made takes alone: with drones 6 to 20 dB under the notes, clean and through a room and
a phone's microphone, about as many notes were found as without one, and their pitches as near,
those at the drone's own pitch too; bowed notes of up to six seconds were never taken for a drone.
What a drone hides in a real room was not to be had.

Limits: a drone that wavers (a bowed or blown one, a sampled one with vibrato) is not found, nor one
of fewer than five partials, nor one that sounds under eight seconds. Where it begins or ends, up to
six seconds of it may stay. A drone of two pitches that differ by less than a line's width where
their partials meet (tempered fifths) beats there, and those partials stay.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.audio.resample import Mono

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

FRAME_S: Final = 0.37
BLOCK_FRAMES: Final = 64
"""Frames of a block, half a frame apart: 12 s. Blocks overlap by half."""

FEWEST_FRAMES: Final = 42
"""A shorter recording, under 8 s, is left as it is."""

LOWEST_HZ: Final = 60.0
HIGHEST_HZ: Final = 9000.0
HIGHEST_PITCH_HZ: Final = 1600.0

KEPT: Final = 0.6
"""Share of a block's frames in which a line keeps its phase; chance gives 0.15 to 0.35."""

FEWEST_LINES: Final = 5
"""Drones showed 19 and more through room and phone, single bows of 12 s up to 6 in one block."""

SAME_CENTS: Final = 3.0
HELD_CENTS: Final = 50.0
HELD_PARTIALS: Final = 4

_PHASE_RAD: Final = 0.5
_OVER: Final = 2.0
_NEAR_HZ: Final = 30.0
_PADDED: Final = 512
_LEAST_TOGETHER: Final = 0.4
_FEWEST_INSIDE: Final = 4
_FADE_FRAMES: Final = 4
_ALONE: Final = 0.3
_FAINT: Final = 0.2
_SAME_LINE_HZ: Final = 4.0
_CLOSE: Final = 0.3
_LEAST_CLOSE: Final = 0.25
_FEWEST_THERE: Final = 16
_OTHER_SHARE: Final = 0.1
_GAIN_LIMIT: Final = 2.0
_SPREAD: Final = 0.25
_MOST_PARTIALS: Final = 30


@dataclass(frozen=True, slots=True)
class Steady:
    """A pitch of a drone: its frequency, and from when to when it was found, in seconds."""

    hz: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class _Pitch:
    """A pitch found in one block, and the frequencies of its lines."""

    hz: float
    lines: tuple[float, ...]


def without_drone(
    samples: Mono, rate: int, held_hz: Sequence[float] = ()
) -> tuple[Mono, tuple[Steady, ...]]:
    """Return the samples without the drone in them, and its pitches, lowest first.

    Without a drone the samples come back themselves, not copied.

    Args:
        samples: one channel.
        rate: its samples a second.
        held_hz: what the music itself holds under other notes. A pitch within
            :data:`HELD_CENTS` of one, or of its lowest partials, is taken for music.
    """
    length = 1 << round(math.log2(FRAME_S * rate))
    hop = length // 2
    frames = (len(samples) - length) // hop + 1
    if frames < FEWEST_FRAMES:
        return samples, ()
    size = min(BLOCK_FRAMES, frames)
    count = math.ceil((frames - size) / (size // 2)) + 1
    firsts = [round(one) for one in np.linspace(0, frames - size, count)]
    found = [
        tuple(
            one
            for one in _pitches(_cut(samples, first, size, hop, length), rate)
            if not any(_is_partial(one.hz, hz, HELD_PARTIALS, HELD_CENTS) for hz in held_hz)
        )
        for first in firsts
    ]
    kept = [_lasting(found, place) for place in range(len(found))]
    if not any(kept):
        return samples, ()
    cleaned = samples.copy()
    # Each block has what lies nearer to its middle than to another's.
    edges = [(one + other + size + 1) * hop / 2 for one, other in pairwise(firsts)]
    fade = _FADE_FRAMES * hop / 2
    for first, own, begin, end in zip(
        firsts, kept, [0.0, *edges], [*edges, float(len(samples))], strict=True
    ):
        if not own:
            continue
        lines = _lines(own, rate)
        at, to = max(0, round(begin - fade)), min(len(samples), round(end + fade))
        drone = _drone(_cut(samples, first, size, hop, length), lines, rate, hop)
        places = np.arange(at, to)
        weight = np.ones(len(places))
        if begin > 0:
            weight *= np.clip((places - begin) / (2.0 * fade) + 0.5, 0.0, 1.0)
        if end < len(samples):
            weight *= np.clip((end - places) / (2.0 * fade) + 0.5, 0.0, 1.0)
        cleaned[at:to] -= (weight * drone(places - first * hop)).astype(np.float32)
    return cleaned, _told(kept, firsts, size * hop / rate, hop / rate)


def _cut(samples: Mono, first: int, size: int, hop: int, length: int) -> NDArray[np.float32]:
    """The samples of a block by frame, a view."""
    stretch = samples[first * hop : (first + size - 1) * hop + length]
    return np.lib.stride_tricks.sliding_window_view(stretch, length)[::hop]


def _window(length: int) -> NDArray[np.float32]:
    return (0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(length) / length)).astype(np.float32)


def _pitches(cut: NDArray[np.float32], rate: int) -> tuple[_Pitch, ...]:
    """The pitches of a drone in a block."""
    length = cut.shape[1]
    bin_hz = rate / length
    top = int(min(HIGHEST_HZ, 0.45 * rate) / bin_hz)
    spectra = np.fft.rfft(cut * _window(length), axis=1)[:, :top]
    height = np.abs(spectra)
    low = np.quantile(height, 0.25, axis=0)
    reach = round(_NEAR_HZ / bin_hz)
    near = np.lib.stride_tricks.sliding_window_view(np.pad(low, reach, mode="edge"), 2 * reach + 1)
    peak = (low[1:-1] >= low[:-2]) & (low[1:-1] > low[2:])
    peak &= low[1:-1] > _OVER * np.median(near, axis=1)[1:-1]
    bins = 1 + np.flatnonzero(peak)
    bins = bins[bins * bin_hz > LOWEST_HZ]
    offset, kept = _phases_kept(spectra[:, bins], bins)
    steady = (kept >= KEPT) & (np.abs(offset) <= 0.5)
    # Half a frame from frame to frame: a cycle of the offset is two bins.
    line_hz = (bins[steady] + 2.0 * offset[steady]) * bin_hz
    lines = list(zip(line_hz.tolist(), bins[steady].tolist(), strict=True))
    pitches = _grouped([hz for hz, _ in lines])
    if not pitches:
        return ()
    own = {hz for one in pitches for hz in one.lines}
    # What is not the drone's own lobes must sound as well, or this is a long note and no drone.
    other = np.ones(top, dtype=bool)
    for hz, one in lines:
        if hz in own:
            other[max(0, one - 2) : one + 3] = False
    power = height**2
    share = power[:, other].sum(axis=1) / np.maximum(power.sum(axis=1), 1e-20)
    return pitches if float(np.median(share)) >= _OTHER_SHARE else ()


def _phases_kept(
    values: Complex, numbers: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """By bin: how many cycles a frame its phase runs ahead, and in what share of frames it does so.

    Args:
        values: by frame and bin.
        numbers: of the bins in the spectrum.
    """
    count = np.arange(len(values))
    turned = values.T * np.where(numbers[:, None] * count % 2, -1.0, 1.0)
    height = np.maximum(np.abs(turned), 1e-20)
    # A loud note counts no more than the quiet frames that the line is to be seen in.
    middle = np.quantile(height, 0.5, axis=1, keepdims=True)
    unit = turned / height * np.minimum(1.0, middle / height)
    sums = np.abs(np.fft.fft(unit, _PADDED, axis=1))
    best = sums.argmax(axis=1)
    offset = np.fft.fftfreq(_PADDED)[best]
    kept = np.zeros(len(numbers))
    together = np.take_along_axis(sums, best[:, None], axis=1)[:, 0]
    going = together >= _LEAST_TOGETHER * np.abs(unit).sum(axis=1)
    for _ in range(3):
        rest = unit[going] * np.exp(-2j * np.pi * offset[going, None] * count)
        phase = np.angle(rest * np.conj(rest.sum(axis=1, keepdims=True)))
        inside = np.abs(phase) < _PHASE_RAD
        many = inside.sum(axis=1) >= _FEWEST_INSIDE
        kept[going] = np.where(many, inside.mean(axis=1), 0.0)
        going[going] = many
        phase, inside = phase[many], inside[many]
        middle = (inside * count).sum(axis=1, keepdims=True) / inside.sum(axis=1, keepdims=True)
        at = np.where(inside, count - middle, 0.0)
        slope = (at * phase).sum(axis=1) / (at**2).sum(axis=1)
        offset[going] += slope / (2.0 * np.pi)
    return offset, kept


def _grouped(lines: Sequence[float]) -> tuple[_Pitch, ...]:
    """The pitches that lines are partials of, lowest first."""
    found: list[_Pitch] = []
    for hz in sorted(lines):
        known = any(_is_partial(hz, one.hz) for one in found)
        if hz > HIGHEST_PITCH_HZ or known:
            continue
        own = tuple(one for one in lines if _is_partial(one, hz))
        if len(own) >= FEWEST_LINES:
            found.append(_Pitch(hz, own))
    return tuple(found)


def _is_partial(
    line_hz: float, hz: float, most: int = _MOST_PARTIALS, within_cents: float = SAME_CENTS
) -> bool:
    number = round(line_hz / hz)
    return 1 <= number <= most and _apart(line_hz, number * hz) < within_cents


def _apart(one: float, other: float) -> float:
    return abs(1200.0 * math.log2(one / other))


def _lasting(found: Sequence[tuple[_Pitch, ...]], place: int) -> tuple[_Pitch, ...]:
    """The pitches of a block that a block beside it has too."""
    if len(found) == 1:
        return found[0]
    beside = [one for at in (place - 1, place + 1) if 0 <= at < len(found) for one in found[at]]
    return tuple(
        one for one in found[place] if any(_apart(one.hz, it.hz) < SAME_CENTS for it in beside)
    )


def _lines(pitches: Sequence[_Pitch], rate: int) -> list[float]:
    """Where a drone of these pitches has partials, those that notes hide most of the time too."""
    lines = sorted({hz for one in pitches for hz in one.lines})
    for one in pitches:
        # High partials tell the pitch best: all of them are found to the same part of a hertz.
        numbers = [round(hz / one.hz) for hz in one.lines]
        hz = sum(n * line for n, line in zip(numbers, one.lines, strict=True))
        hz /= sum(n * n for n in numbers)
        for number in range(1, _MOST_PARTIALS + 1):
            at = number * hz
            if at < min(HIGHEST_HZ, 0.45 * rate) and all(
                abs(at - it) > _SAME_LINE_HZ for it in lines
            ):
                lines.append(at)
    return lines


def _drone(
    cut: NDArray[np.float32], lines: Sequence[float], rate: int, hop: int
) -> Callable[[NDArray[np.intp]], Array]:
    """The drone of a block: its samples, by their consecutive places from the block's first on."""
    size, length = cut.shape
    window = _window(length)
    step = 2.0 * np.pi * np.array(lines) / rate
    waves = np.exp(-1j * np.arange(length)[:, None] * step)
    waves = (waves * (2.0 / float(window.sum())) * window[:, None]).astype(np.complex64)
    values = (cut @ waves.real) + 1j * (cut @ waves.imag)
    values = values * np.exp(-1j * (np.arange(size) * hop)[:, None] * step)
    height = _densest(values) + 1e-12
    gain = _gain(values / height, np.abs(height))
    there = gain > _FAINT
    if there.sum() >= _FEWEST_THERE:
        # A recorder that follows the level spreads each line; once more with that taken out.
        height = _densest(values[there] / gain[there, None]) + 1e-12
        gain = _gain(values / height, np.abs(height))
    close = np.abs(values - gain[:, None] * height) < _CLOSE * np.abs(height)
    height = np.where(close.mean(axis=0) >= _LEAST_CLOSE, height, 0.0)
    middles = np.arange(size) * hop + length / 2

    def made(places: NDArray[np.intp]) -> Array:
        rows = height * np.exp(1j * (np.arange(places[0], places[-1] + 1, hop)[:, None] * step))
        fine = np.exp(1j * np.arange(hop)[:, None] * step)
        whole = rows.real @ fine.real.T - rows.imag @ fine.imag.T
        level: Array = np.interp(places, middles, gain)
        return np.asarray(whole.ravel()[: len(places)] * level)

    return made


def _densest(values: Complex) -> Complex:
    """By line the middle of the frames that lie closest together: of those that show it alone.

    Notes that meet a line scatter round it, or lie to one side of it where they were made by a
    machine in step with it: a mean, or a median, would follow.
    """
    count = max(4, round(_ALONE * len(values)))
    found = np.empty(values.shape[1], np.complex128)
    for place, one in enumerate(values.T):
        away = np.abs(one[:, None] - one[None, :])
        nearest = np.argpartition(away, count - 1, axis=1)[:, :count]
        spread = np.take_along_axis(away, nearest, axis=1).sum(axis=1)
        found[place] = one[nearest[int(np.argmin(spread))]].mean()
    return found


def _gain(shares: Complex, height: Array) -> Array:
    """How loud the drone was by frame, 1 for as told; of lines that agree, else as beside."""
    order = np.argsort(height)[::-1]
    real = shares.real[:, order[:12]]
    middle = np.median(real, axis=1)
    spread = np.median(np.abs(real - middle[:, None]), axis=1)
    sure = (spread < _SPREAD) & (middle > -0.2) & (middle < _GAIN_LIMIT)
    if sure.sum() < 4 or real.shape[1] < 4:
        return np.ones(len(middle))
    frames = np.arange(len(middle))
    filled = np.interp(frames, frames[sure], middle[sure])
    around = np.lib.stride_tricks.sliding_window_view(np.pad(filled, 1, mode="edge"), 3)
    return np.asarray(np.maximum(np.median(around, axis=1), 0.0))


def _told(
    kept: Sequence[tuple[_Pitch, ...]], firsts: Sequence[int], length_s: float, hop_s: float
) -> tuple[Steady, ...]:
    """The pitches of all blocks put together."""
    found: list[list[tuple[float, float, float]]] = []
    for first, block in zip(firsts, kept, strict=True):
        for one in block:
            piece = (one.hz, first * hop_s, first * hop_s + length_s)
            for group in found:
                if _apart(group[-1][0], one.hz) < SAME_CENTS:
                    group.append(piece)
                    break
            else:
                found.append([piece])
    return tuple(
        Steady(float(np.median([hz for hz, _, _ in group])), group[0][1], group[-1][2])
        for group in sorted(found)
    )
