"""Where a player who stopped went on cannot always be told from pitch: a-b-a-b may begin twice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from skeleton.listening.events import ScoreEvent
from skeleton.listening.semi_markov import NEAR_EVENTS, Stretch


def unclear(
    events: Sequence[ScoreEvent], stretches: Sequence[Stretch]
) -> dict[int, tuple[int, ...]]:
    """Return, for stretches in an unclear run, the events that they could be as well.

    A run is what was played between two jumps or stops. It is unclear where the score holds the
    same pitches in the same written lengths somewhere else as well, from its first event to its
    last; where the player simply seems to have gone on after a stop, only a little earlier is asked
    about. The take's first run is not: players begin at the beginning.

    Args:
        events: the score.
        stretches: what was decoded, in time order.

    Returns:
        Index of the stretch to indices of events.
    """
    found: dict[int, tuple[int, ...]] = {}
    for run, jumped in _runs(events, stretches):
        origin = stretches[run[0]].event
        steps = [stretches[place].event - origin for place in run]
        lowest = -origin if jumped else max(-origin, -NEAR_EVENTS)
        highest = len(events) - origin - max(steps) if jumped else 0
        shifts = [
            shift
            for shift in range(lowest, highest)
            if shift and all(_same(events, origin + step, shift) for step in steps)
        ]
        if shifts:
            for place in run:
                found[place] = tuple(stretches[place].event + shift for shift in shifts)
    return found


def _runs(
    events: Sequence[ScoreEvent], stretches: Sequence[Stretch]
) -> Iterator[tuple[list[int], bool]]:
    """Runs after the first, and whether each began with a jump."""
    runs: list[tuple[list[int], bool]] = [([], False)]
    stopped = False
    for place, one in enumerate(stretches):
        if one.kind == "rest":
            stopped = one.event >= 0 and not events[one.event].rest_after
        if one.kind != "note":
            continue
        if one.jump or stopped:
            runs.append(([], one.jump))
        runs[-1][0].append(place)
        stopped = False
    return iter([run for run in runs[1:] if run[0]])


def _same(events: Sequence[ScoreEvent], event: int, shift: int) -> bool:
    here, there = events[event], events[event + shift]
    return here.hz == there.hz and here.quarters == there.quarters
