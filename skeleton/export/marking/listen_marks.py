"""Which note of a score gets which mark after a take: who was low, who was high, and by how much.

A mark is a ring round the head and an arrow under the staff. It must be read in black and white: a
low note has a solid ring and an arrow down, a high one a dashed ring and an arrow up, and the
legend says so in words. A question mark stands under notes that were measured and cannot be told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from skeleton.export.marking.marks import Label, Marks, columns
from skeleton.listening.judge import JudgedNote, away_cents
from skeleton.listening.note_targets import NoteTarget
from skeleton.listening.report import TakeReport

Side = Literal["low", "high", "unsure"]

_SIDES: Final[Mapping[str, Side]] = {"flat": "low", "sharp": "high", "cannot tell": "unsure"}

LEGEND: Final = (
    "solid ring and ↓: you were low; dashed ring and ↑: you were high; the number: cents",
    "?: measured, but cannot be told; grey: not heard or not measured; no mark: in tune",
)
"""What the marks mean, in the words of a student."""


@dataclass(frozen=True, slots=True)
class TakeMark:
    """The mark of one note; ``cents`` from where it should be, positive above."""

    note: str
    side: Side
    cents: float

    @property
    def text(self) -> str:
        """What stands under the note."""
        if self.side == "unsure":
            return "?"
        return f"{'↓' if self.side == 'low' else '↑'}{max(1, round(abs(self.cents)))}"


def mark_of(judged: JudgedNote, target: NoteTarget) -> TakeMark | None:
    """Return the mark of one note; None where it is in tune or not judged."""
    side = _SIDES.get(judged.verdict or "")
    cents = away_cents(judged, target)
    return None if side is None or cents is None else TakeMark(judged.note, side, cents)


def take_marks(report: TakeReport) -> tuple[TakeMark, ...]:
    """Return the marks of a take, in score order; notes in tune or not judged have none."""
    found = (mark_of(one, report.targets[one.note]) for one in report.notes)
    return tuple(one for one in found if one is not None)


def marks_as_labels(report: TakeReport) -> Marks:
    """Return the marks as labels under the staff; grey are the notes that nothing is said of."""
    part = report.analysis.score.part(report.part.part)
    heads = columns(part)
    texts: dict[str, list[str]] = {}
    for mark in take_marks(report):
        texts.setdefault(heads.get(mark.note, mark.note), []).append(mark.text)
    judged = {one.note for one in report.notes if one.verdict is not None}
    asked = {note for event in report.events for note in event.notes}
    labels = tuple(Label("lean", head, tuple(said)) for head, said in texts.items())
    return Marks(labels, frozenset(asked - judged))
