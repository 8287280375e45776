"""A recording, whatever a phone made of it, as blocks of one channel at one rate.

A file is read twice: once to know it (length, level, which channel, what is wrong with it and
where), and once for each use of its samples. Neither reading holds more than a few blocks, so an
hour costs no more memory than a minute.

Of two channels the better one is kept and they are never added: microphones a hand apart are half
a wave apart for the notes of a violin, and adding them would wipe out partials. The better channel
is the one with the louder sound; where they are equal within 1 dB, the one less clipped, then the
first.

Levels are root mean squares over 50 ms in dB of full scale (a sine of full scale has -3). The
level of a recording is that of its loudest tenth, its floor that of its quietest tenth.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.audio.resample import Mono, resampled
from skeleton.audio.sources import BLOCK, Channels, opened
from skeleton.errors import TakeError

RATE: Final = 22050
"""Samples a second of what is measured. The highest note of a violin, E7, has its first four
partials below half of it; sound above that says nothing about pitch that these do not."""

SILENT_DBFS: Final = -75.0
"""Below this level nothing was recorded: 16-bit noise lies near -98, a quiet room near -65."""

QUIET_DBFS: Final = -45.0
"""Below this level a recording is said to be very quiet (a choice of this program)."""

LONGEST_S: Final = 4 * 3600.0
"""A longer recording is turned down: it is no take, or a damaged file."""

SHORTEST_S: Final = 0.1

_FRAME_S: Final = 0.05
_MERGE_S: Final = 1.0
"""Clipped or damaged places closer than this are told as one."""

_LARGEST: Final = 1e6
"""Beyond a million times full scale a sample is no sound but a damaged number."""

_CLIP_LEVEL: Final = 0.98
_CLIP_STEP: Final = 5e-5
"""Three samples running, near full scale, closer together than this, are a cut-off peak: at 40 Hz
and above a wave of that height bends more, 16-bit rounding included."""


@dataclass(frozen=True, slots=True)
class SoundNotice:
    """Something odd in a recording that was read all the same.

    Attributes:
        code: ``clipped``, ``damaged``, ``quiet``, ``short`` or ``no-number``.
        message: one line for a person.
        start_s: where in the recording it begins, in seconds; None where it is all of it.
        end_s: where it ends.
        level_dbfs: how loud it is, where that is what is odd.
    """

    code: str
    message: str
    start_s: float | None = None
    end_s: float | None = None
    level_dbfs: float | None = None

    @property
    def told_s(self) -> tuple[float, ...]:
        """The times that say where it is: none, one for what is soon over, or both."""
        if self.start_s is None or self.end_s is None:
            return ()
        return _told_s(self.start_s, self.end_s)


@dataclass(frozen=True, slots=True)
class Recording:
    """What is known of a recording once it has been read through.

    Attributes:
        path: the file.
        kind: what sort of file it is, for a person.
        source_rate: its own samples a second.
        channels: how many it has.
        channel: which one is used, from 0.
        duration_s: its length in seconds.
        level_dbfs: level of its loudest tenth.
        floor_dbfs: level of its quietest tenth, no lower than -120.
        notices: what is odd about it, with places.
    """

    path: Path
    kind: str
    source_rate: int
    channels: int
    channel: int
    duration_s: float
    level_dbfs: float
    floor_dbfs: float
    notices: tuple[SoundNotice, ...]


def open_recording(path: Path) -> Recording:
    """Read a recording through and return what is to know about it.

    Raises:
        TakeError: there is no such file, it is no sound file or of a kind whose decoders are not
            installed, it cannot be decoded, is longer than four hours or shorter than 0.1 s, or
            nothing sounds in it.
    """
    with opened(path) as source:
        frame = max(1, round(_FRAME_S * source.rate))
        survey = _Survey(source.channels, source.rate, frame)
        for block in source.blocks:
            survey.add(block.samples, damaged=block.damaged)
            if survey.count > LONGEST_S * source.rate:
                raise TakeError(
                    f"{path}: is longer than {LONGEST_S / 3600:g} hours; cut out the take"
                )
        kind, rate, channels = source.kind.name, source.rate, source.channels
    duration_s = survey.count / rate
    if not survey.count:
        raise TakeError(f"{path}: no sound of it can be decoded; copy or record it again")
    if duration_s < SHORTEST_S:
        raise TakeError(f"{path}: is only {duration_s:.3f} s long; record at least a note")
    levels = survey.levels()
    channel = _better(levels, survey.clipped)
    level, floor = levels[channel]
    if level < SILENT_DBFS:
        raise TakeError(
            f"{path}: is silent (its loudest tenth is at {level:.0f} dB of full scale); "
            "check the microphone and record again"
        )
    return Recording(
        path, kind, rate, channels, channel, duration_s, level, floor,
        tuple(_notices(survey, channel, level)),
    )  # fmt: skip


def blocks(recording: Recording, rate: int = RATE) -> Iterator[Mono]:
    """Yield the recording's better channel as blocks of samples at a rate.

    Sample n has the time n / rate. Values that are no numbers, or absurd ones, are 0.

    Raises:
        TakeError: the file has changed or gone since it was opened.
        OptionError: the rate is out of range.
    """
    yield from resampled(_mono(recording), recording.source_rate, rate)


def samples(
    recording: Recording,
    start_s: float = 0.0,
    end_s: float | None = None,
    rate: int = RATE,
) -> Mono:
    """Return the samples from one time to another, held in memory (5 MB a minute by default).

    Args:
        recording: the file.
        start_s: seconds from its beginning; what lies before that is decoded and dropped.
        end_s: by default its end.
        rate: samples a second.

    Raises:
        TakeError: as for :func:`blocks`.
        OptionError: the rate is out of range.
    """
    first = max(0, round(start_s * rate))
    last = None if end_s is None else max(first, round(end_s * rate))
    kept = []
    at = 0
    for block in blocks(recording, rate):
        kept.append(block[max(0, first - at) : None if last is None else max(0, last - at)])
        at += len(block)
        if last is not None and at >= last:
            break
    return np.concatenate(kept) if kept else np.zeros(0, dtype=np.float32)


def _mono(recording: Recording) -> Iterator[Mono]:
    with opened(recording.path) as source:
        if (source.rate, source.channels) != (recording.source_rate, recording.channels):
            raise TakeError(f"{recording.path}: has changed while it was read; try again")
        waiting: list[Mono] = []
        for block in source.blocks:
            waiting.append(block.samples[:, recording.channel])
            # A codec's own frames are small; what follows works better on more at a time.
            if sum(map(len, waiting)) >= BLOCK:
                yield _joined(waiting)
                waiting = []
        if waiting:
            yield _joined(waiting)


def _joined(pieces: list[Mono]) -> Mono:
    joined = np.concatenate(pieces)
    return np.where(_usable(joined), joined, np.float32(0.0))


def _usable(samples: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Which values can be sound. What is no number compares as false."""
    return np.abs(samples) <= _LARGEST


class _Survey:
    """What the first reading gathers, per channel."""

    def __init__(self, channels: int, rate: int, frame: int) -> None:
        self.channels, self.rate, self.frame = channels, rate, frame
        self.count = 0
        self.powers: list[np.ndarray] = []
        self.clipped: list[list[int]] = [[] for _ in range(channels)]
        self.damaged: list[int] = []
        self.not_numbers: list[int] = []
        self.rest = np.zeros((0, channels), dtype=np.float32)
        self.tail = np.zeros((2, channels), dtype=np.float32)

    def add(self, new: Channels, *, damaged: bool) -> None:
        if damaged:
            self.damaged.append(self.count)
        bad = ~_usable(new)
        if bad.any():
            self.not_numbers.append(self.count + int(np.argmax(bad.any(axis=1))))
            new = np.where(bad, np.float32(0.0), new)
        self._find_clipped(new)
        self.count += len(new)
        held = np.concatenate([self.rest, new])
        whole = len(held) // self.frame * self.frame
        if whole:
            frames = held[:whole].reshape(-1, self.frame, self.channels)
            self.powers.append(np.einsum("fnc,fnc->fc", frames, frames) / self.frame)
        self.rest = held[whole:]

    def _find_clipped(self, new: Channels) -> None:
        joined = np.concatenate([self.tail, new])
        if len(joined) < 3 or np.abs(new).max(initial=0.0) < _CLIP_LEVEL:
            self.tail = joined[-2:]
            return
        step = np.abs(np.diff(joined, axis=0)) < _CLIP_STEP
        flat = step[1:] & step[:-1] & (np.abs(joined[2:]) >= _CLIP_LEVEL)
        for channel in range(self.channels):
            places = np.flatnonzero(flat[:, channel] | (np.abs(joined[2:, channel]) > 1.0))
            # One place a frame is enough: what is told is a stretch.
            self.clipped[channel] += sorted({int(p) // self.frame * self.frame + self.count
                                             for p in places})  # fmt: skip
        self.tail = joined[-2:]

    def levels(self) -> list[tuple[float, float]]:
        """Level and floor of each channel in dBFS."""
        if self.powers:
            power = np.concatenate(self.powers)
        else:
            power = np.mean(self.rest.astype(np.float64) ** 2, axis=0, keepdims=True)
        loud, faint = np.quantile(power, [0.9, 0.1], axis=0)
        return [(_db(float(a)), _db(float(b))) for a, b in zip(loud, faint, strict=True)]


def _db(power: float) -> float:
    return 10.0 * math.log10(max(power, 1e-12))


def _better(levels: list[tuple[float, float]], clipped: list[list[int]]) -> int:
    loudest = max(level for level, _ in levels)
    among = [channel for channel, (level, _) in enumerate(levels) if level > loudest - 1.0]
    return min(among, key=lambda channel: (len(clipped[channel]), channel))


def _notices(survey: _Survey, channel: int, level: float) -> Iterator[SoundNotice]:
    rate = survey.rate
    if level < QUIET_DBFS:
        yield SoundNotice(
            "quiet",
            f"very quiet ({level:.0f} dB of full scale): go nearer to the microphone or turn off "
            "its noise reduction",
            level_dbfs=level,
        )
    for code, places, what in (
        ("clipped", survey.clipped[channel], "too loud, its peaks are cut off: record it quieter"),
        ("damaged", survey.damaged, "damaged: what could not be decoded is left out"),
        ("no-number", survey.not_numbers, "holds values that are no numbers: taken for silence"),
    ):
        for start_s, end_s in _stretches([place / rate for place in places]):
            yield SoundNotice(code, f"{_place(start_s, end_s)}: {what}", start_s, end_s)


def _stretches(places_s: list[float]) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    for place in places_s:
        if found and place - found[-1][1] <= _MERGE_S:
            found[-1] = (found[-1][0], place + _FRAME_S)
        else:
            found.append((place, place + _FRAME_S))
    return found


def _told_s(start_s: float, end_s: float) -> tuple[float, ...]:
    return (start_s,) if end_s - start_s < _MERGE_S else (start_s, end_s)


def _place(start_s: float, end_s: float) -> str:
    times = [clock(one) for one in _told_s(start_s, end_s)]
    return " to ".join(times) if len(times) > 1 else f"at {times[0]}"


def clock(time_s: float) -> str:
    """Return a time as a player shows it: ``0:07.3``, ``12:00.0``."""
    tenths = round(time_s * 10)
    return f"{tenths // 600}:{tenths // 10 % 60:02d}.{tenths % 10}"
