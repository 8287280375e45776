"""Whether the returns of a note lean alike: spread, and which of them stands apart.

Leans are compared inside a match group among notes that hang on the same name by the same interval
(F sharp under G and F sharp over F lean on different notes). A return stands apart where it lies
farther from the others, pooled, than the tolerance and the uncertainty of both together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from skeleton.analysis.results import Lean, MatchGroup
from skeleton.audio.pitch import pooled
from skeleton.listening.judge import JudgedNote, Limits
from skeleton.listening.note_targets import NoteTarget
from skeleton.listening.verdict import Verdict, verdict


@dataclass(frozen=True, slots=True)
class Return:
    """One return of a note.

    Attributes:
        note: its id.
        octave: in which octave.
        lean_cents: its step to the anchor as played.
        u_cents: uncertainty of that.
        from_others_cents: how much larger that is than the others' together; None with no others.
        verdict: whether it leans like the others (``in tune``), or stands apart: ``sharp`` where
            its step is too large, ``flat`` where it is too small; here they speak of the step.
    """

    note: str
    octave: int
    lean_cents: float
    u_cents: float
    from_others_cents: float | None
    verdict: Verdict | None


@dataclass(frozen=True, slots=True)
class GroupFinding:
    """A match group, or that part of it which hangs on one name.

    Attributes:
        label: of the group.
        group: the group.
        lean: which part of it.
        returns: those that could be measured, in score order.
        lean_cents: their common lean; None without any.
        u_cents: uncertainty of that.
        spread_cents: from the smallest step to the largest.
    """

    label: str
    group: MatchGroup
    lean: Lean
    returns: tuple[Return, ...]
    lean_cents: float | None
    u_cents: float | None
    spread_cents: float

    @property
    def apart(self) -> tuple[Return, ...]:
        """The returns that stand apart."""
        return tuple(one for one in self.returns if one.verdict in {"sharp", "flat"})


def judge_returns(
    groups: Sequence[MatchGroup],
    judged: Sequence[JudgedNote],
    targets: Mapping[str, NoteTarget],
    limits: Limits,
) -> tuple[GroupFinding, ...]:
    """Return what is to say of each group of which two or more returns were measured.

    Args:
        groups: the match groups of the part.
        judged: the notes, attempts pooled.
        targets: of each note.
        limits: what may be off.
    """
    by_id = {one.note: one for one in judged}
    found = []
    for group in groups:
        for lean in group.leans:
            known = [
                (note, one.lean_cents, one.lean_u_cents)
                for note in lean.notes
                if (one := by_id.get(note)) is not None
                and one.lean_cents is not None
                and one.lean_u_cents is not None
            ]
            if len(known) >= 2:
                values = [(note, lean_c, u) for note, lean_c, u in known]
                found.append(_finding(group, lean, values, targets, limits))
    return tuple(found)


def _finding(
    group: MatchGroup,
    lean: Lean,
    known: Sequence[tuple[str, float, float]],
    targets: Mapping[str, NoteTarget],
    limits: Limits,
) -> GroupFinding:
    common, error = pooled([(value, u / 2.0) for _, value, u in known])
    returns = []
    for note, value, u in known:
        # Two that differ cannot say which of them is the odd one; both are shown, neither blamed.
        others = [(other, w / 2.0) for name, other, w in known if name != note]
        away, outcome = None, None
        if len(others) >= 2:
            middle, spread = pooled(others)
            away = value - middle
            outcome = verdict(away, math.hypot(u, 2.0 * spread), limits.match_cents)
        returns.append(Return(note, targets[note].place.pitch.octave, value, u, away, outcome))
    values = [value for _, value, _ in known]
    return GroupFinding(
        group.label, group, lean, tuple(returns), common, 2.0 * error, max(values) - min(values)
    )
