"""What listening to a take comes to, as plain frozen data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from skeleton.analysis.results import Analysis, PartAnalysis
from skeleton.listening.alignment import Alignment
from skeleton.listening.events import ScoreEvent
from skeleton.listening.judge import JudgedNote, Limits
from skeleton.listening.note_targets import NoteTarget
from skeleton.listening.notices import TakeNotice
from skeleton.listening.resonance import Resonance
from skeleton.listening.returns import GroupFinding
from skeleton.listening.take_reference import TakeReference
from skeleton.listening.tendency import Tendency

Kind = Literal["height", "drift", "string", "lean", "return", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to work on.

    Attributes:
        kind: the take's ``height`` or ``drift``; notes that should match an open ``string``;
            accidentals that ``lean`` too far or not far enough; a ``return`` that stands apart
            from the others; any other ``note`` name that is off.
        notes: ids of the notes that show it, in score order.
        of: how many notes of that kind were measured.
        cents: by how much, positive above (for leans and returns: the step larger).
        weight: what the findings are ordered by: cents times the square root of notes.
        group: for leans and returns.
    """

    kind: Kind
    notes: tuple[str, ...]
    of: int
    cents: float
    weight: float
    group: GroupFinding | None = None


@dataclass(frozen=True, slots=True)
class TakeReport:
    """A take judged.

    Attributes:
        analysis: the etude.
        part: the part that was played.
        first_measure: ordinal of the first measure listened for.
        last_measure: ordinal of the last.
        events: what was looked for.
        targets: of each of its notes, by id, from the reference.
        alignment: what was played when.
        reference: what it was judged against.
        limits: what may be off.
        attempts: every playing of every note, in time order.
        notes: every note that was played, its attempts pooled.
        returns: match groups.
        tendency: the take as a whole; None with too few notes.
        findings: what to work on, weightiest first.
        notices: what a reader should know before believing this.
        resonances: whether open strings rang with the notes named like them, playing by playing.
    """

    analysis: Analysis
    part: PartAnalysis
    first_measure: int
    last_measure: int
    events: tuple[ScoreEvent, ...]
    targets: Mapping[str, NoteTarget]
    alignment: Alignment
    reference: TakeReference
    limits: Limits
    attempts: tuple[JudgedNote, ...]
    notes: tuple[JudgedNote, ...]
    returns: tuple[GroupFinding, ...]
    tendency: Tendency | None
    findings: tuple[Finding, ...]
    notices: tuple[TakeNotice, ...]
    resonances: tuple[Resonance, ...] = ()

    @property
    def not_heard(self) -> tuple[str, ...]:
        """Ids of the notes that were looked for and not found, in score order."""
        heard = {one.note for one in self.notes}
        return tuple(note for event in self.events for note in event.notes if note not in heard)


def findings(
    judged: Sequence[JudgedNote],
    targets: Mapping[str, NoteTarget],
    returns: Sequence[GroupFinding],
    whole: Tendency | None,
) -> tuple[Finding, ...]:
    """Return what to work on, weightiest first; one finding for each cause, not for each note.

    Args:
        judged: the notes, attempts pooled.
        targets: of each.
        returns: match groups.
        whole: the take as a whole.
    """
    found: list[Finding] = []
    if whole is not None and whole.height in {"sharp", "flat"}:
        found.append(_finding("height", (), whole.notes, whole.height_cents, count=whole.notes))
    if whole is not None and whole.drift in {"sharp", "flat"}:
        found.append(_finding("drift", (), whole.notes, whole.drift_cents, count=whole.notes))
    kinds: dict[tuple[Kind, str], list[JudgedNote]] = {}
    for one in judged:
        if one.cents is None:
            continue
        target = targets[one.note]
        kind: Kind = "note"
        if target.role == "fixed":
            kind = "string"
        elif target.lean_cents is not None and one.lean_cents is not None:
            kind = "lean"
        name = str(target.place.pitch.pitch_class)
        if kind == "lean" and target.anchor is not None:
            name += f" {target.anchor.place.pitch.pitch_class} {target.anchor.interval.name}"
        kinds.setdefault((kind, name), []).append(one)
    for (kind, _), notes in kinds.items():
        for side in ("flat", "sharp"):
            off = [one for one in notes if one.verdict == side]
            if off:
                away = sum(_away(one, targets[one.note], kind) for one in off) / len(off)
                found.append(
                    _finding(kind, tuple(one.note for one in off), len(notes), away, count=len(off))
                )
    # A return that is out of its band as well is one fault, and told as that.
    named = {note for one in found if one.kind == "lean" for note in one.notes}
    for group in returns:
        for back in group.apart:
            if back.note in named:
                continue
            away = back.from_others_cents or 0.0
            found.append(
                _finding("return", (back.note,), len(group.returns), away, count=1, group=group)
            )
    return tuple(sorted(found, key=lambda one: -one.weight))


def _away(one: JudgedNote, target: NoteTarget, kind: Kind) -> float:
    if kind == "lean" and one.lean_cents is not None and target.lean_cents is not None:
        return one.lean_cents - target.lean_cents
    return one.cents or 0.0


def _finding(
    kind: Kind,
    notes: tuple[str, ...],
    of: int,
    cents: float,
    *,
    count: int,
    group: GroupFinding | None = None,
) -> Finding:
    return Finding(kind, notes, of, cents, abs(cents) * count**0.5, group)
