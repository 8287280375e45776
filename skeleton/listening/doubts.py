"""Notes that were aligned and may be others: what speaks against judging them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from skeleton.listening.events import ScoreEvent
from skeleton.listening.salience import Salience
from skeleton.listening.semi_markov import Stretch

DOUBTFUL: Final = 0.3
"""The confidence of a doubtful note is no higher; it is listed and not judged."""

TWO_ATTACKS: Final = 0.5
TWO_ATTACKS_LENGTH: Final = 1.3
"""A note that lasts this much longer than its neighbours, and in which an attack as clear as the
first of these is heard, may be two, of which the score knows one."""

_ATTACK_FRAMES: Final = 4


def attacked_twice(found: Salience, one: Stretch, expected_s: float) -> bool:
    """Return whether a note may be two: it lasts too long, and another attack is heard in it.

    Args:
        found: the saliences, which hold the onsets.
        one: the note.
        expected_s: how long its neighbours say it lasts.
    """
    inside = found.onset[one.first + _ATTACK_FRAMES : one.last - _ATTACK_FRAMES]
    long = (one.last - one.first) * found.hop_s > TWO_ATTACKS_LENGTH * expected_s
    return long and bool(np.any(inside >= TWO_ATTACKS))


def unconfirmed(events: Sequence[ScoreEvent], stretches: Sequence[Stretch]) -> set[int]:
    """Return the places of notes that only a leap over others and a stop put where they are.

    Somebody who leaves out a note goes on after it. Where the player stops at once and goes
    elsewhere, something wrong that happens to sound like a note farther on, or what a room keeps
    sounding, explains it as well. The last note of the score is believed.

    Args:
        events: the score.
        stretches: what was decoded, in time order.
    """
    sounding = [place for place, one in enumerate(stretches) if one.kind != "rest"]
    found = set()
    for at in range(1, len(sounding)):
        here, before = stretches[sounding[at]], stretches[sounding[at - 1]]
        left_out = any(not one.grace for one in events[before.event + 1 : here.event])
        if here.kind != "note" or here.jump or not left_out or here.event == len(events) - 1:
            continue
        if at + 1 == len(sounding) or stretches[sounding[at + 1]].jump:
            found.add(sounding[at])
    return found
