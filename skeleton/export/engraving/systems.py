"""Where lines of music break: one decision for all pictures of an etude.

The annotated etude, and each stage of its reduction, break at the same measures, so that bar
stands under bar and a student finds the place at once. The breaks therefore cannot be left to
the engraver; they follow from an estimate of how wide each measure of the annotated etude is.

The estimate counts what makes music wide: time between onsets, signs, grace notes, labels. Its
constants were fitted to the widths that Verovio 6.4 gave the demo etudes, with short labels and
with labels in words, and etudes with a sign and a label on every note (mean error 6 % of a
measure's width). Lines are filled to a little less than their width, since the engraver presses
what is too long, and labels then become smaller (:mod:`skeleton.export.marking.label_rows`).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Final

from skeleton.analysis.results import Analysis
from skeleton.export.engraving.engraver import Layout
from skeleton.export.engraving.typeface import text_width
from skeleton.export.marking.marks import Marks
from skeleton.score.model import Part

_PER_QUARTER: Final = 785.0  # times the time to the next onset in quarters ...
_TIME_POWER: Final = 0.625  # ... to this power
_SIGN: Final = 80.0
_GRACE: Final = 230.0
_MEASURE: Final = 62.0
_LABEL_SIZE: Final = 291.0  # at this size labels set in the package's font come out as wide ...
_LABEL_GAP: Final = 153.0  # ... with this between them
_WORDS_GAP: Final = 100.0  # labels in words stand farther apart
_CLEF: Final = 900.0
_KEY_SIGN: Final = 160.0
_FULL_ENOUGH: Final = 0.6
_FILL: Final = 0.97


@dataclass(frozen=True, slots=True)
class Lines:
    """Where lines begin: ordinals of measures, the first (0) left out.

    ``last_is_full`` says whether the last line has enough music to be stretched like the others.
    """

    begins: tuple[int, ...]
    last_is_full: bool


def line_breaks(
    analysis: Analysis, marks: Marks, width_mm: float, first: int = 0, last: int | None = None
) -> Lines:
    """Decide where the lines of an etude break, or those of a stretch that stands by itself.

    Args:
        analysis: the etude.
        marks: the labels of the annotated etude.
        width_mm: width of the music on paper.
        first: ordinal of the first measure that is shown.
        last: of the last; by default the etude's.
    """
    widths = _measure_widths(analysis, marks)[first : None if last is None else last + 1]
    signs = max(
        (len(change.key.alters) for part in analysis.score.parts for change in part.keys), default=0
    )
    room = width_mm / Layout().unit_mm * _FILL - _CLEF - _KEY_SIGN * signs
    begins = even_lines(widths, room)
    left = sum(widths[begins[-1] if begins else 0 :])
    return Lines(tuple(first + begin for begin in begins), left >= _FULL_ENOUGH * room)


def _measure_widths(analysis: Analysis, marks: Marks) -> list[float]:
    labels = marks.on("lean")
    texts = {note: label.line for note, label in labels.items()}
    columns = [_part_widths(analysis.score.part(found.part), texts) for found in analysis.parts]
    return [max(row) for row in zip(*columns, strict=False)]


def _part_widths(part: Part, texts: dict[str, str]) -> list[float]:
    onsets: list[dict[float, list[float]]] = [{} for _ in part.measures]
    for note in part.notes:
        # onset -> [signs, grace notes, label]
        here = onsets[note.measure].setdefault(float(note.onset_quarters), [0.0, 0.0, 0.0])
        here[0] = max(here[0], float(note.sign is not None))
        here[1] += note.grace
        if note.id in texts:
            text = texts[note.id]
            more = _WORDS_GAP if " " in text else 0.0
            here[2] = max(here[2], text_width(text, _LABEL_SIZE) + more)
    return [
        _width(sorted(row.items()), float(measure.onset_quarters + measure.length_quarters))
        for measure, row in zip(part.measures, onsets, strict=True)
    ]


def _width(row: list[tuple[float, list[float]]], end: float) -> float:
    at, label_end = _MEASURE, float("-inf")
    following = [*(onset for onset, _ in row[1:]), end][: len(row)]  # a measure may be empty
    for (onset, (sign, graces, label)), after in zip(row, following, strict=True):
        at += _SIGN * sign + _GRACE * graces
        if label:
            at = max(at, label_end + _LABEL_GAP)
            label_end = at + label
        at += _PER_QUARTER * max(after - onset, 0.0) ** _TIME_POWER
    return max(at, label_end)


def even_lines(widths: list[float], room: float) -> list[int]:
    """Break into as few lines as the room allows, as evenly filled as whole measures can be.

    The lines are filled greedily to find how many there must be; then the smallest room that
    gives no more lines is searched for, and used.
    """
    if not widths:
        return []
    needed = _fill(widths, room)
    low, high = max(*widths, sum(widths) / (len(needed) + 1)), room
    for _ in range(20):
        middle = (low + high) / 2
        if len(_fill(widths, middle)) <= len(needed):
            high = middle
        else:
            low = middle
    return min(_fill(widths, high), needed, key=lambda breaks: _spread(widths, breaks))


def _fill(widths: list[float], room: float) -> list[int]:
    breaks: list[int] = []
    used = 0.0
    for index, width in enumerate(widths):
        if used and used + width > room:
            breaks.append(index)
            used = 0.0
        used += width
    return breaks


def _spread(widths: list[float], breaks: list[int]) -> float:
    sums = [0.0, *accumulate(widths)]
    edges = [0, *breaks, len(widths)]
    return max(sums[b] - sums[a] for a, b in pairwise(edges))
