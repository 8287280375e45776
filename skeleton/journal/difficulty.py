"""How hard the passages of an etude are to play in tune, as far as the page shows it.

Four figures, each from the written notes of one passage:

* ``altered_share``: accidentals out of the notes struck;
* ``leap_semitones``: half steps in leaps, which are steps of more than a fourth between neighbours,
  for each step of the passage, so that one leap in a long passage weighs little;
* ``returns``: match groups that are played in it more than once, for they must agree;
* ``high_share``: notes above the first position: more than a fifth over the highest open string on
  violin and viola, more than a fourth on others (common practice, no source).

:func:`difficulty` sets each against the largest in the etude and adds them up, all alike. That is
a rule of thumb of this program and nothing that was measured.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from skeleton.analysis.results import Analysis, PartAnalysis, Passage
from skeleton.score.model import Note

_LEAP_SEMITONES: Final = 5
_FIFTH_REACH: Final = ("violin", "viola")


@dataclass(frozen=True, slots=True)
class Difficulty:
    """The figures of one passage, of its part with most accidentals; ``weight`` is 0 to 4.

    ``leap_share`` of the steps are leaps, the largest of ``largest_semitones`` (0: there is none).
    """

    passage: Passage
    notes: int
    leap_share: float
    largest_semitones: int
    altered_share: float
    leap_semitones: float
    returns: int
    high_share: float
    weight: float


_WEIGHED: Final[tuple[Callable[[Difficulty], float], ...]] = (
    lambda one: one.altered_share,
    lambda one: one.leap_semitones,
    lambda one: one.returns,
    lambda one: one.high_share,
)


def difficulty(analysis: Analysis) -> tuple[Difficulty, ...]:
    """Return the figures of every passage with notes, in the order of the etude."""
    rows = []
    for passage in analysis.passages:
        figures = [_figures(analysis, part, passage) for part in analysis.parts]
        played = [one for one in figures if one is not None]
        if played:
            rows.append(max(played, key=lambda one: one.altered_share))
    most = [max((figure(row) for row in rows), default=0.0) for figure in _WEIGHED]
    return tuple(
        replace(
            row,
            weight=sum(
                figure(row) / top for figure, top in zip(_WEIGHED, most, strict=True) if top
            ),
        )
        for row in rows
    )


def _figures(analysis: Analysis, part: PartAnalysis, passage: Passage) -> Difficulty | None:
    """Return the figures of one part, not weighed yet; None where it is silent.

    Steps of a part that transposes are counted as written, where they are the same.
    """
    score_part = analysis.score.part(part.part)
    attacks = [note for note in score_part.notes if note.is_attack and passage.holds(note.measure)]
    if not attacks:
        return None
    held = {note.id for note in attacks}
    altered = sum(one.place.id in held for one in part.accidentals)
    line = [_midi(note) for note in attacks if not note.chord]
    steps = [abs(after - before) for before, after in pairwise(line)]
    leaps = [step for step in steps if step > _LEAP_SEMITONES]
    returns = Counter(group.label for group in part.matches for note in group.notes if note in held)
    reach = 7 if part.instrument.name in _FIFTH_REACH else 5
    shift = score_part.transposition_at(attacks[0].onset_quarters).chromatic
    ceiling = float(part.instrument.open_strings[-1].midi) + reach
    return Difficulty(
        passage=passage,
        notes=len(attacks),
        leap_share=len(leaps) / max(1, len(steps)),
        largest_semitones=int(max(leaps, default=0)),
        altered_share=altered / len(attacks),
        leap_semitones=sum(leaps) / max(1, len(steps)),
        returns=sum(count > 1 for count in returns.values()),
        high_share=sum(_midi(note) + shift > ceiling for note in attacks) / len(attacks),
        weight=0.0,
    )


def _midi(note: Note) -> float:
    assert note.pitch is not None  # noqa: S101 - attacks have one
    return float(note.pitch.midi)
