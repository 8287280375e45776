"""Where a player who stopped went on cannot always be told from pitch: a-b-a-b may begin twice."""

from __future__ import annotations

from collections.abc import Sequence

from skeleton.listening.events import ScoreEvent
from skeleton.listening.semi_markov import Stretch


def unclear(
    events: Sequence[ScoreEvent], stretches: Sequence[Stretch]
) -> dict[int, tuple[int, ...]]:
    """Return, for stretches in an unclear run, the events that they could be as well.

    A run is what was played between two jumps. It is unclear where the score holds the same
    pitches in the same written lengths somewhere else as well, from its first event to its last.
    The take's first run is not asked about: players begin at the beginning.

    Args:
        events: the score.
        stretches: what was decoded, in time order.

    Returns:
        Index of the stretch to indices of events.
    """
    found: dict[int, tuple[int, ...]] = {}
    for run in _runs(stretches):
        steps = [stretches[place].event - stretches[run[0]].event for place in run]
        origin = stretches[run[0]].event
        shifts = [
            shift
            for shift in range(-origin, len(events) - max(origin + step for step in steps))
            if shift and all(_same(events, origin + step, shift) for step in steps)
        ]
        if shifts:
            for place in run:
                found[place] = tuple(stretches[place].event + shift for shift in shifts)
    return found


def _runs(stretches: Sequence[Stretch]) -> list[list[int]]:
    runs: list[list[int]] = [[]]
    for place, one in enumerate(stretches):
        if one.kind != "note":
            continue
        if one.jump:
            runs.append([])
        runs[-1].append(place)
    return [run for run in runs[1:] if run]


def _same(events: Sequence[ScoreEvent], event: int, shift: int) -> bool:
    here, there = events[event], events[event + shift]
    return here.hz == there.hz and here.quarters == there.quarters
