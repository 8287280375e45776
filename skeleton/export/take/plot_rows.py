"""How the notes of a passage as played stand in rows: when they sounded, drawn left to right.

Time runs evenly within a row. Where a player stops longer than :data:`PAUSE_S`, or comes back to
the passage later, a gap of fixed width stands for the time between. A row ends before a measure
that does not fit, and inside a measure only where the row would be half empty otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from skeleton.listening.alignment import Played
from skeleton.listening.pitch_curves import NoteCurve

PAUSE_S: Final = 0.7
PAUSE_MM: Final = 6.0

_NAME_MM: Final = 5.4
"""Room that most notes get for their name."""

_SLOWEST_MM_A_S: Final = 7.0
_FASTEST_MM_A_S: Final = 45.0
_SHORT_NOTE: Final = 0.2
"""Which share of the notes may be too short for a name of its own width."""

_LEAST_FILLED: Final = 0.5
_MOST_STRETCHED: Final = 1.5


@dataclass(frozen=True, slots=True)
class Sounded:
    """What sounded together: the curves of its notes, highest first; none for a wrong note."""

    start_s: float
    end_s: float
    measure: int
    curves: tuple[NoteCurve, ...]


@dataclass(frozen=True, slots=True)
class Stood:
    """Something that sounded and where it stands in its row; ``pause``: time was left out before.

    ``begins_measure``: it is the first of its measure, or the first of the row.
    """

    sounded: Sounded
    left_mm: float
    width_mm: float
    pause: bool
    begins_measure: bool


def sounded(
    curves: Sequence[NoteCurve],
    measures: Sequence[int],
    wrong: Sequence[tuple[Played, int]] = (),
) -> list[Sounded]:
    """Gather notes that began together, in time order.

    Args:
        curves: in time order.
        measures: the ordinal of the measure of each.
        wrong: wrong notes, each with the measure it was played in the place of.
    """
    found: list[Sounded] = []
    for curve, measure in zip(curves, measures, strict=True):
        heard = curve.judged.heard[0]
        last = found[-1] if found else None
        if last is not None and last.start_s == heard.start_s and last.measure == measure:
            found[-1] = Sounded(last.start_s, last.end_s, measure, (*last.curves, curve))
        else:
            found.append(Sounded(heard.start_s, heard.end_s, measure, (curve,)))
    found += [Sounded(one.start_s, one.end_s, measure, ()) for one, measure in wrong]
    return sorted(found, key=lambda one: one.start_s)


def rows(played: Sequence[Sounded], width_mm: float) -> list[list[Stood]]:
    """Stand what was played in rows of a width."""
    if not played:
        return []
    scale = _scale(played, width_mm)
    out: list[list[Stood]] = [[]]
    at = 0
    while at < len(played):
        bar = _bar_end(played, at)
        row = out[-1]
        needed = sum(
            (played[i].end_s - played[i].start_s + _gap_s(played, i, at)) * scale
            for i in range(at, bar)
        )
        left = _edge(row)
        if row and left + needed > width_mm and left > _LEAST_FILLED * width_mm:
            out.append([])
        for i in range(at, bar):
            _stand(out, played, i, scale=scale, width_mm=width_mm, begins=i == at)
        at = bar
    return [_stretched(row, width_mm) for row in out]


def _stretched(row: Sequence[Stood], width_mm: float) -> list[Stood]:
    """Let a row that is nearly full fill its width."""
    factor = width_mm / max(_edge(row), 1e-6)
    if factor > _MOST_STRETCHED:
        return list(row)
    return [
        replace(one, left_mm=one.left_mm * factor, width_mm=one.width_mm * factor) for one in row
    ]


def _stand(
    out: list[list[Stood]],
    played: Sequence[Sounded],
    i: int,
    *,
    scale: float,
    width_mm: float,
    begins: bool,
) -> None:
    one = played[i]
    pause = i > 0 and not 0.0 <= one.start_s - played[i - 1].end_s <= PAUSE_S
    # Two notes of a bowed line may overlap a little as aligned; they stand side by side.
    gap = PAUSE_MM if pause else _gap_s(played, i, 0) * scale
    left = _edge(out[-1])
    width = min((one.end_s - one.start_s) * scale, width_mm)
    if out[-1] and left + gap + width > width_mm:
        out.append([])
    if not out[-1]:
        left, gap = 0.0, 0.0
    first = begins or not out[-1]
    out[-1].append(Stood(one, left + gap, width, pause and bool(out[-1]), first))


def _gap_s(played: Sequence[Sounded], i: int, first: int) -> float:
    if i == first:
        return 0.0
    gap = played[i].start_s - played[i - 1].end_s
    return gap if 0.0 <= gap <= PAUSE_S else 0.0


def _edge(row: Sequence[Stood]) -> float:
    return row[-1].left_mm + row[-1].width_mm if row else 0.0


def _bar_end(played: Sequence[Sounded], at: int) -> int:
    end = at + 1
    while end < len(played) and played[end].measure == played[at].measure:
        end += 1
    return end


def _scale(played: Sequence[Sounded], width_mm: float) -> float:
    """Millimetres a second."""
    lengths = sorted(one.end_s - one.start_s for one in played)
    short = lengths[int(_SHORT_NOTE * (len(lengths) - 1))]
    scale = min(max(_NAME_MM / max(short, 1e-3), _SLOWEST_MM_A_S), _FASTEST_MM_A_S)
    return min(scale, width_mm / max(lengths[-1], 1e-3))
