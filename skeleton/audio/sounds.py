"""Sounds with a beginning and an end, mixed into one stream of samples, block by block.

However long the stream, only the sounds of the block at hand are in memory. A tone begins and
ends with a raised cosine of 50 ms inside its own time, shorter ones with a quarter of their
length, so no tone clicks. A click is a burst of noise without pitch, and always the same one.

Levels are root mean squares in dB of full scale, which is a sample value of 1: a square wave of
full scale has 0 dBFS, a sine wave -3. The level of a tone is that of its steady part.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from skeleton.audio.tone import FADE_S, Samples, check_hz, check_rate, fade, peak, steady

PEAK_DBFS: Final = -6.0
"""No sample of what is mixed here is louder than this."""

CLICK_S: Final = 0.06
"""How long a click lasts, whatever its end says."""

BLOCK: Final = 1 << 14
"""Samples in a block."""

_CLICK_DECAY_S: Final = 0.012
_CLICK_SEED: Final = 20


@dataclass(frozen=True, slots=True)
class Sound:
    """A tone, or a click where ``hz`` is None; from ``start_s`` to ``end_s``, at an RMS level."""

    start_s: float
    end_s: float
    hz: float | None
    level_dbfs: float


def amplitude(level_db: float) -> float:
    """Return the factor that a level in dB stands for."""
    return math.pow(10.0, level_db / 20.0)


def headroom(sounds: Iterable[Sound], rate: int) -> float:
    """Return the factor, at most 1, that keeps all sounds together under the peak.

    The largest sample values of everything that sounds at once are added, so the bound holds
    whatever the phases.

    Raises:
        OptionError: a frequency or the rate is out of range.
    """
    changes: list[tuple[float, float]] = []
    for sound in sounds:
        loudest = amplitude(sound.level_dbfs) * _peak(sound, rate)
        changes += [(sound.start_s, loudest), (_end_s(sound), -loudest)]
    changes.sort()
    together = highest = 0.0
    for _, change in changes:
        together += change
        highest = max(highest, together)
    limit = amplitude(PEAK_DBFS) * (1.0 - 1e-6)
    return 1.0 if highest <= limit else limit / highest


def render(
    sounds: Sequence[Sound],
    end_s: float,
    rate: int,
    *,
    block: int = BLOCK,
    gain: float | None = None,
) -> Iterator[Samples]:
    """Yield the mix of all sounds from 0 to ``end_s``, in blocks of samples.

    Args:
        sounds: in any order; what lies outside the stream is cut off.
        end_s: where the stream ends, in seconds.
        rate: samples a second.
        block: samples in a block; the last block may be shorter.
        gain: a factor for everything; by default what :func:`headroom` says.

    Raises:
        OptionError: a frequency or the rate is out of range.
    """
    check_rate(rate)
    for hz in {sound.hz for sound in sounds if sound.hz is not None}:
        check_hz(hz)
    factor = headroom(sounds, rate) if gain is None else gain
    return _blocks(sorted(sounds, key=lambda sound: sound.start_s), end_s, rate, block, factor)


def counted(blocks: Iterable[Samples], tell: Callable[[int], None]) -> Iterator[Samples]:
    """Yield the blocks as they are and tell after each how many samples it had."""
    for samples in blocks:
        yield samples
        tell(len(samples))


def _blocks(
    waiting: list[Sound], end_s: float, rate: int, block: int, factor: float
) -> Iterator[Samples]:
    total = round(end_s * rate)
    active: list[Sound] = []
    following = 0
    for first in range(0, total, block):
        last = min(first + block, total)
        while following < len(waiting) and round(waiting[following].start_s * rate) < last:
            active.append(waiting[following])
            following += 1
        mixed = np.zeros(last - first)
        for sound in active:
            _add(mixed, sound, rate, first, factor)
        active = [sound for sound in active if round(_end_s(sound) * rate) > last]
        yield mixed


def _add(mixed: Samples, sound: Sound, rate: int, first: int, factor: float) -> None:
    """Add what a sound has in the samples from ``first`` on."""
    begin, end = round(sound.start_s * rate), round(_end_s(sound) * rate)
    low, high = max(begin, first), min(end, first + len(mixed))
    if high <= low:
        return
    if sound.hz is None:
        part = _click(rate)[low - begin : high - begin] * (factor * amplitude(sound.level_dbfs))
    else:
        part = steady(sound.hz, rate, low, high - low)
        part *= factor * amplitude(sound.level_dbfs)
        _shape(part, low - begin, end - low, _fade_samples(end - begin, rate))
    mixed[low - first : high - first] += part


def _shape(part: Samples, since_start: int, until_end: int, length: int) -> None:
    """Fade in what lies in the onset and out what lies in the release."""
    if since_start < length:
        rise = fade(length)[since_start : since_start + len(part)]
        part[: len(rise)] *= rise
    from_release = until_end - length
    if from_release < len(part):
        skipped = max(0, -from_release)
        fall = fade(length)[::-1][skipped : skipped + len(part) - max(0, from_release)]
        start = max(0, from_release)
        part[start : start + len(fall)] *= fall


def _fade_samples(length: int, rate: int) -> int:
    return min(round(FADE_S * rate), length // 4)


def _end_s(sound: Sound) -> float:
    return sound.start_s + CLICK_S if sound.hz is None else sound.end_s


def _peak(sound: Sound, rate: int) -> float:
    if sound.hz is None:
        return float(np.abs(_click(rate)).max())
    return peak(sound.hz, rate)


@lru_cache(maxsize=4)
def _click(rate: int) -> Samples:
    """A burst of noise that dies away, at an RMS of 1 over its first 12 ms."""
    count = round(CLICK_S * rate)
    noise = np.random.default_rng(_CLICK_SEED).standard_normal(count)
    # A running mean over a tenth of a millisecond takes the hiss off and leaves no pitch.
    width = max(1, round(0.0001 * rate))
    noise = np.convolve(noise, np.ones(width) / width, mode="same")
    noise *= np.exp(-np.arange(count) / (_CLICK_DECAY_S * rate))
    rise, fall = round(0.002 * rate), round(0.01 * rate)
    noise[:rise] *= fade(rise)
    noise[-fall:] *= fade(fall)[::-1]
    head = noise[: round(_CLICK_DECAY_S * rate)]
    click: Samples = noise / math.sqrt(float(np.mean(head**2)))
    click.flags.writeable = False
    return click
