"""The skeleton note each accidental is tuned from.

The rule, in order:

1. a skeleton note of the accidental's own chord: struck with it, or else held into the chord;
2. the skeleton note whose onset is nearest, before or after;
3. of several at the same distance: one that lies in the same slur (bow slurs only, so that a
   phrase mark drawn over them changes nothing);
4. then the one at the smaller Pythagorean interval, whichever its direction, so that the
   diatonic half step (256/243, 90 cents) comes before the chromatic one (2187/2048, 114 cents);
5. then the later one.

A note never hangs on itself, and that includes its double: the same pitch written at the same
time in another voice. The second best of those that rule 3 compares is the runner-up.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from skeleton.analysis.timeline import Timeline
from skeleton.theory.interval import Interval
from skeleton.theory.tuning import pythagorean_cents


@dataclass(frozen=True, slots=True)
class Choice:
    """The attack chosen as anchor and the one that came second; None where there is none."""

    anchor: int | None
    runner_up: int | None = None


def choose_anchors(
    timeline: Timeline,
    accidentals: Iterable[int],
    skeleton: Iterable[int],
    slurs_of: Mapping[int, tuple[int, ...]],
) -> dict[int, Choice]:
    """Choose an anchor for each accidental among the skeleton notes of its part.

    Args:
        timeline: the part; all numbers are those of its attacks.
        accidentals: the notes that want an anchor.
        skeleton: the structural notes.
        slurs_of: for each attack the slurs it lies in.
    """
    structural = set(skeleton)
    standing = sorted(structural)
    times = [timeline.ticks[attack] for attack in standing]  # rising, as attacks stand in time
    found: dict[int, Choice] = {}
    for note in accidentals:
        tick = timeline.ticks[note]
        before = after = bisect_left(times, tick)
        while after < len(times) and times[after] == tick:
            after += 1
        same_time = standing[before:after]
        nearest: Sequence[int] = ()
        if note in timeline.held or (same_time and same_time != [note]):
            nearest = _together(timeline, note, same_time, structural)
        nearest = nearest or _nearest(tick, times, standing, before, after)
        if len(nearest) > 1:
            first, second, *_ = _ranked(timeline, note, nearest, slurs_of)
            found[note] = Choice(first, second)
        else:
            found[note] = Choice(nearest[0] if nearest else None)
    return found


def _together(
    timeline: Timeline, note: int, same_time: Sequence[int], structural: set[int]
) -> Sequence[int]:
    """The skeleton notes of the note's chord; without any, those of the same onset."""
    others = [
        other for other in same_time if other != note and not _is_double(timeline, note, other)
    ]
    chord = timeline.chord
    struck = [other for other in others if chord[other] == chord[note]]
    held = [other for other in timeline.held.get(note, ()) if other in structural]
    return struck or held or others


def _is_double(timeline: Timeline, note: int, other: int) -> bool:
    return (
        timeline.letters[note] == timeline.letters[other]
        and timeline.half_steps[note] == timeline.half_steps[other]
        and timeline.attacks[note].grace == timeline.attacks[other].grace
    )


def _nearest(
    tick: int, times: list[int], standing: list[int], before: int, after: int
) -> Sequence[int]:
    """The skeleton notes at the smallest distance above zero.

    Args:
        tick: where the note stands.
        times: where each of the skeleton notes stands, rising.
        standing: the skeleton notes.
        before: how many of them stand before the note.
        after: the place of the first that stands after it.
    """
    low, high = before, after
    earlier = times[before - 1] if before else None
    later = times[after] if after < len(times) else None
    if earlier is not None and (later is None or tick - earlier <= later - tick):
        while low and times[low - 1] == earlier:
            low -= 1
    if later is not None and (earlier is None or later - tick <= tick - earlier):
        while high < len(times) and times[high] == later:
            high += 1
    return standing[low:before] + standing[after:high]


def _ranked(
    timeline: Timeline,
    note: int,
    candidates: Sequence[int],
    slurs_of: Mapping[int, tuple[int, ...]],
) -> list[int]:
    letters, half_steps = timeline.letters, timeline.half_steps
    own = slurs_of.get(note)
    ranks: list[tuple[bool, float, int]] = []
    for other in candidates:
        outside = True
        if own:
            for slur in slurs_of.get(other, ()):
                if slur in own:
                    outside = False
        size = _size_cents(letters[note] - letters[other], half_steps[note] - half_steps[other])
        ranks.append((outside, size, -other))
    ranks.sort()
    return [-other for _, _, other in ranks]


@lru_cache(maxsize=4096)
def _size_cents(steps: int, semitones: int | Fraction) -> float:
    # Both directions of an interval must give the very same float, or a tie would be lost.
    interval = Interval(steps, semitones)
    return abs(pythagorean_cents(interval if interval.sign >= 0 else -interval))
