"""Notes that were aligned and may be others: what speaks against judging them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.listening.emissions import MISS
from skeleton.listening.events import ScoreEvent
from skeleton.listening.salience import Floats, Salience
from skeleton.listening.semi_markov import Stretch

DOUBTFUL: Final = 0.3
"""The confidence of a doubtful note is no higher; it is listed and not judged."""

TWO_LENGTH: Final = 1.2
TWO_ATTACKS: Final = 0.17
"""A note that lasts this much longer than its neighbours may be two, of which the score knows one,
if an attack inside it times the logarithm of how much longer it lasts comes to this: at 1.3 times
the length an attack of 0.65, at twice the length one of 0.25. Real notes are uneven: of 1,550
spliced ones that were one note 3 in 100 lie above, of synthetic ones 1 in 300."""

SOMETHING_ELSE_FRAMES: Final = 5
"""In no note of made takes that was what the score asks for did something else sound so long."""

_ATTACK_FRAMES: Final = 4
_ELSE: Final = -0.5 * MISS


def doubtful(
    found: Salience,
    events: Sequence[ScoreEvent],
    stretches: Sequence[Stretch],
    scores: Sequence[Floats],
    pace_s: NDArray[np.float64],
) -> set[int]:
    """Return the places of notes that may hold something else than their event alone.

    Args:
        found: the saliences.
        events: the score.
        stretches: what was decoded, in time order.
        scores: of each stretch, by frame, as its event's note
            (:func:`skeleton.listening.emissions.frame_scores`).
        pace_s: seconds a quarter, by frame.
    """
    doubts: set[int] = set()
    alike: list[int] = []
    before: Stretch | None = None
    for place, one in enumerate(stretches):
        if one.kind == "rest":
            continue
        if one.kind == "note":
            event = events[one.event]
            if before is None or one.jump or events[before.event].hz != event.hz:
                alike = []
            alike.append(place)
            pace = float(pace_s[one.first : one.last].mean())
            if attacked_twice(found, one, float(event.quarters) * pace):
                # Which of several equal notes is the one too many cannot be told either.
                doubts.update(alike)
            left_out = 0.0 if before is None or one.jump else _quarters_between(events, before, one)
            length_s = (one.last - one.first) * found.hop_s
            fills = fills_a_gap(length_s / pace, float(event.quarters), left_out)
            if fills or interrupted(scores[place]):
                doubts.add(place)
        before = one
    return doubts


def _quarters_between(events: Sequence[ScoreEvent], one: Stretch, other: Stretch) -> float:
    return float(sum(event.quarters for event in events[one.event + 1 : other.event]))


def fills_a_gap(lasts: float, written: float, left_out: float) -> bool:
    """Return whether a note seems to last for what was left out before it as well.

    Then something wrong may have sounded there that is like this note.

    Args:
        lasts: how long the note sounds, in quarters at the pace that holds.
        written: how long it is written.
        left_out: how long what was left out before it is written, 0 for nothing.
    """
    return left_out > 0.0 and lasts > math.sqrt(written * (written + left_out))


def attacked_twice(found: Salience, one: Stretch, expected_s: float) -> bool:
    """Return whether a note may be two: it lasts too long, and another attack is heard in it.

    Args:
        found: the saliences, which hold the onsets.
        one: the note.
        expected_s: how long its neighbours say it lasts.
    """
    inside = found.onset[one.first + _ATTACK_FRAMES : one.last - _ATTACK_FRAMES]
    longer = (one.last - one.first) * found.hop_s / max(expected_s, found.hop_s)
    return longer > TWO_LENGTH and float(inside.max(initial=0.0)) * math.log(longer) >= TWO_ATTACKS


def interrupted(scores: Floats) -> bool:
    """Return whether something else sounds in a note for a while.

    Args:
        scores: of the note, by frame (:func:`skeleton.listening.emissions.frame_scores`).
    """
    run = longest = 0
    for other in scores < _ELSE:
        run = run + 1 if other else 0
        longest = max(longest, run)
    return longest >= SOMETHING_ELSE_FRAMES


def unconfirmed(events: Sequence[ScoreEvent], stretches: Sequence[Stretch]) -> set[int]:
    """Return the places of notes that stand alone between two leaps.

    Somebody who leaves out notes, or begins elsewhere, goes on from there. Where the player leaps
    again at once, or stops, something wrong that happens to sound like a note of the score
    explains it as well. A note that is played again at once is confirmed by that, and the last
    note of the score is believed.

    Args:
        events: the score.
        stretches: what was decoded, in time order.
    """
    sounding = [place for place, one in enumerate(stretches) if one.kind != "rest"]

    def leaps(before: int, after: int) -> bool:
        one, other = stretches[sounding[before]], stretches[sounding[after]]
        return other.jump or any(not e.grace for e in events[one.event + 1 : other.event])

    found = set()
    for at in range(1, len(sounding)):
        here = stretches[sounding[at]]
        if here.kind != "note" or here.event == len(events) - 1 or not leaps(at - 1, at):
            continue
        ends = at + 1 == len(sounding)
        near = [stretches[sounding[at - 1]].event]
        if not ends:
            near.append(stretches[sounding[at + 1]].event)
        if here.event not in near and (ends or leaps(at, at + 1)):
            found.add(sounding[at])
    return found
