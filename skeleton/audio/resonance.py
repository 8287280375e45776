"""What still sounds at a frequency after the tone that drove it has stopped.

While a note is bowed, a string that answers it moves at the note's own partials: no spectrum can
tell the two apart, and this module does not try. When the note stops or changes, the free string
goes on at its own modes and dies away exponentially, slower than a room at the low modes: a mode
at f Hz with quality factor Q takes ``Q ln(1000) / (pi f)`` seconds for 60 dB (2.2 s for Q of 300
at 294 Hz, 0.6 s at 1175 Hz). The bow may long be on other notes, as long as none of their
partials comes near.

So one partial is followed: its level in the last moments of the note, then the level at the
string's mode, moment by moment after it, both in one narrow band, so that body, microphone and
room colour cancel in the difference. What lies beside the band (bow noise, the next note's onset)
is a floor, and so is what the band never falls under while anything is played (a drone in the
headphones). A room keeps every partial for a while, strings or no strings: :func:`room_fit` learns
from partials that no string shares how this take's sound dies away; only what is over that counts.

The window of 0.16 s tells tones apart from about 15 Hz on; that and its length are the limits of
what can be followed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from skeleton.audio.resample import Mono

Array = NDArray[np.float64]
Lost = Literal["too-high", "too-short", "too-faint", "masked"]

WINDOW_S: Final = 0.16
HOP_S: Final = 0.02
HIGHEST_HZ: Final = 2400.0
"""Higher modes die away as fast as rooms do."""

SILENT_S: Final = 0.06
"""After its end a note is given this long to stop: bows and alignments are not sharp."""

FOLLOWED_S: Final = 0.7
"""How long after its end a partial is followed."""

FEWEST_FRAMES: Final = 3
FEWEST_TRACES: Final = 6
MIDDLE_HZ: Final = 700.0
_VIBRATO_SHARE: Final = 0.02
_BEND_DB_PER_S: Final = 40.0
_LEAST_SPREAD_DB: Final = 3.0
_GUARD_LOBES: Final = 2.4
_GUARD_SHARE: Final = 0.015
_BESIDE_LOBES: Final = (2.5, 5.0)
_STEADY_QUANTILE: Final = 0.05
_BLOCK: Final = 256


@dataclass(frozen=True, slots=True)
class Spectra:
    """Power by frame and frequency bin, up to a little over :data:`HIGHEST_HZ`.

    Attributes:
        power: of each frame and bin; a steady sine reads alike wherever it lies.
        bin_hz: width of a bin.
        first_s: middle of the first frame; the others follow by :data:`HOP_S`.
        hop_s: what they follow by.
    """

    power: NDArray[np.float32]
    bin_hz: float
    first_s: float
    hop_s: float

    def frames(self, from_s: float, to_s: float) -> range:
        """The frames that lie wholly between two times."""
        half = WINDOW_S / 2.0
        first = int(np.ceil((from_s + half - self.first_s) / self.hop_s - 1e-6))
        last = int(np.floor((to_s - half - self.first_s) / self.hop_s + 1e-6))
        return range(max(0, first), min(len(self.power), last + 1))

    def middle_s(self, frame: int) -> float:
        """The time in the middle of a frame."""
        return self.first_s + frame * self.hop_s


@dataclass(frozen=True, slots=True)
class Tone:
    """What sounds from one time to another: its pitches; none if it is not known what."""

    start_s: float
    end_s: float
    hz: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Trace:
    """One partial after its note.

    Attributes:
        hz: where it was read.
        after_s: times from the note's end, middles of frames.
        over_db: the level then, from that of the note's partial; where only the floor is seen, the
            floor.
        floor_db: the floor in the same measure: what lies beside the band, and what it never falls
            under.
        seen: whether the partial still stands over it.
    """

    hz: float
    after_s: Array
    over_db: Array
    floor_db: Array
    seen: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Room:
    """How the partials of a take die away where no string answers.

    ``db(t, f) = start_db - (fall + bend * log2(f / 700 Hz)) * t``

    Attributes:
        start_db: level at the note's end, from that in the note, as the line runs.
        fall_db_per_s: how fast it falls at 700 Hz.
        bend_db_per_s: how much faster an octave higher: rooms keep low tones longer.
        spread_db: how far a partial lies from that, one standard deviation of its mean over time.
        traces: how many partials say so.
    """

    start_db: float
    fall_db_per_s: float
    bend_db_per_s: float
    spread_db: float
    traces: int

    def db(self, after_s: Array, hz: float) -> Array:
        """The level that is expected at some times after the end of a note."""
        return np.asarray(self.start_db - self.fall_at(hz) * after_s)

    def fall_at(self, hz: float) -> float:
        """How fast a partial at a frequency falls, in dB a second."""
        return self.fall_db_per_s + self.bend_db_per_s * math.log2(hz / MIDDLE_HZ)


def spectra(samples: Mono, rate: int) -> Spectra:
    """Return the spectra of a take in which partials can be followed.

    Args:
        samples: the take, one channel.
        rate: its samples a second.
    """
    length, hop = round(WINDOW_S * rate), round(HOP_S * rate)
    size = 1 << (length - 1).bit_length()
    top = min(size // 2, int(1.03 * HIGHEST_HZ * size / rate) + 8)
    window = np.hanning(length + 2)[1:-1].astype(np.float32)
    window /= window.sum()
    if len(samples) < length:
        return Spectra(np.zeros((0, top), np.float32), rate / size, WINDOW_S / 2, hop / rate)
    cuts = np.lib.stride_tricks.sliding_window_view(samples, length)[::hop]
    power = np.empty((len(cuts), top), np.float32)
    for first in range(0, len(cuts), _BLOCK):
        found = np.fft.rfft(cuts[first : first + _BLOCK] * window, size)[:, :top]
        power[first : first + _BLOCK] = found.real**2 + found.imag**2
    return Spectra(power, rate / size, length / rate / 2.0, hop / rate)


def steady_power(found: Spectra, hz: float, from_s: float, to_s: float) -> float:
    """Return what a band never falls under between two times: a drone, hum, or the noise."""
    frames = found.frames(from_s, to_s)
    if not frames or hz > HIGHEST_HZ:
        return 0.0
    return float(np.quantile(_at(found, hz, frames), _STEADY_QUANTILE))


def trace(
    found: Spectra,
    driven_hz: float,
    string_hz: float,
    note: Tone,
    others: Sequence[Tone],
    *,
    steady: float = 0.0,
    until_s: float = math.inf,
) -> Trace | Lost:
    """Follow one partial after its note, or say why it cannot be followed.

    Args:
        found: the take.
        driven_hz: the partial of the note.
        string_hz: where to look after it: the string's mode, or the partial itself.
        note: the note that drove it.
        others: everything that sounds after it for a second, in order.
        steady: what the band at ``string_hz`` never falls under (:func:`steady_power`).
        until_s: a time from which on the string is held.
    """
    if max(driven_hz, string_hz) > HIGHEST_HZ:
        return "too-high"
    inside = found.frames(note.start_s + 0.3 * (note.end_s - note.start_s), note.end_s)
    if not inside:
        return "too-short"
    driven = _whole(found, driven_hz, inside[-3:])
    beside = float(np.mean(_beside(found, driven_hz, inside[-3:])))
    if driven <= 10.0 * max(beside, 1e-20):
        return "too-faint"
    first_s = note.end_s + SILENT_S
    masked_s = min(
        until_s, next((one.start_s for one in others if covers(one, string_hz)), until_s)
    )
    frames = found.frames(first_s, min(first_s + FOLLOWED_S, masked_s))
    if len(frames) < FEWEST_FRAMES:
        return "masked" if masked_s < first_s + FOLLOWED_S else "too-short"
    there = _at(found, string_hz, frames)
    floor = _beside(found, string_hz, frames) + 2.0 * steady
    return Trace(
        string_hz,
        np.array([found.middle_s(frame) - note.end_s for frame in frames]),
        10.0 * np.log10(np.maximum(np.maximum(there - floor, floor), 1e-20) / driven),
        10.0 * np.log10(np.maximum(floor, 1e-20) / driven),
        _stands(there > 4.0 * floor),
    )


def covers(one: Tone, hz: float) -> bool:
    """Whether a partial of a tone comes too near to a frequency to tell them apart.

    A tone of which nothing is known covers everything.
    """
    guard = _GUARD_LOBES / WINDOW_S + _GUARD_SHARE * hz
    return not one.hz or any(
        abs(hz - max(1, round(hz / pitch)) * pitch) < guard for pitch in one.hz
    )


def _stands(over: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Until when a decay is seen: what has sunk into the floor does not come up again."""
    padded = np.concatenate([over[:1], over, over[-1:]]).astype(int)
    mostly = padded[:-2] + padded[1:-1] + padded[2:] >= 2
    return np.asarray(np.logical_and.accumulate(mostly))


def room_fit(traces: Sequence[Trace]) -> Room | None:
    """Return how partials that no string shares die away; None with too few of them.

    A line through the levels by time, steeper or flatter by the octave, as far as each trace
    stands over its floor; outliers weighted down (Huber).
    """
    cut = [_seen(one) for one in traces]
    usable = [one for one in cut if len(one.after_s) >= FEWEST_FRAMES]
    if len(usable) < FEWEST_TRACES:
        return None
    time = np.concatenate([one.after_s for one in usable])
    octave = np.concatenate(
        [np.full(len(one.after_s), math.log2(one.hz / MIDDLE_HZ)) for one in usable]
    )
    level = np.concatenate([one.over_db for one in usable])
    base = np.concatenate([np.full(len(one.after_s), 1.0 / len(one.after_s)) for one in usable])
    design = np.stack([np.ones_like(time), -time, -octave * time], axis=1)
    # Few traces of one register say little about the others: the bend is held back.
    held = np.diag([0.0, 0.0, (5.0 / _BEND_DB_PER_S) ** 2])
    weights = base
    line = np.zeros(3)
    for _ in range(8):
        weighed = design * weights[:, None]
        line = np.linalg.lstsq(weighed.T @ design + held, weighed.T @ level, rcond=None)[0]
        apart = np.abs(level - design @ line)
        scale = max(1.0, 1.48 * float(np.median(apart)))
        weights = base * np.minimum(1.0, 1.5 * scale / np.maximum(apart, 1e-9))
    room = Room(float(line[0]), float(line[1]), float(line[2]), 0.0, len(usable))
    # The later, the more a string stands out, and the more partials differ: late counts more.
    means = np.array(
        [
            float(np.average(one.over_db - room.db(one.after_s, one.hz), weights=one.after_s))
            for one in usable
        ]
    )
    return replace(room, spread_db=max(_LEAST_SPREAD_DB, float(np.sqrt(np.mean(means**2)))))


def _seen(one: Trace) -> Trace:
    """The part of a trace that stands over its floor."""
    last = len(one.seen) if one.seen.all() else int(np.argmin(one.seen))
    return Trace(
        one.hz, one.after_s[:last], one.over_db[:last], one.floor_db[:last], one.seen[:last]
    )


def _at(found: Spectra, hz: float, frames: range) -> Array:
    """Power at a frequency: the higher of the two bins beside it, as if the tone lay on it."""
    place = hz / found.bin_hz
    low = int(place)
    cut = found.power[frames.start : frames.stop, low : low + 2].max(axis=1)
    off = WINDOW_S * found.bin_hz * abs(place - round(place))
    lobe = float(np.sinc(off)) / (1.0 - off * off)  # of the Hann window
    return np.asarray(cut / lobe**2, dtype=np.float64)


def _whole(found: Spectra, hz: float, frames: range) -> float:
    """Mean power of a partial, its vibrato included, in the measure of a steady one."""
    reach = max(2.0 / WINDOW_S, _VIBRATO_SHARE * hz)
    low, high = (round((hz + side * reach) / found.bin_hz) for side in (-1.0, 1.0))
    power = found.power[frames.start : frames.stop, max(1, low) : high + 1].sum(axis=1)
    # A steady tone fills 1.5 / window of a spectrum under a Hann window.
    return float(np.mean(power)) * found.bin_hz * WINDOW_S / 1.5


def _beside(found: Spectra, hz: float, frames: range) -> Array:
    """Power beside a band: the geometric mean of the middles of either side."""
    near, far = (round(lobes / WINDOW_S / found.bin_hz) for lobes in _BESIDE_LOBES)
    middle = round(hz / found.bin_hz)
    rows = found.power[frames.start : frames.stop]
    below = np.median(rows[:, max(1, middle - far) : max(2, middle - near + 1)], axis=1)
    above = np.median(rows[:, middle + near : middle + far + 1], axis=1)
    return np.asarray(np.sqrt(below.astype(np.float64) * above) + 1e-20)
