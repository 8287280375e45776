"""In tune or not, note by note: against the open string, or against the anchor as it was played.

* A note named like an open string is held against that string as tuned, in its own octave.
* An accidental a half step from its anchor is held against the anchor **as played**: its nearest
  measured instance in time. What counts is the size of the step; its band is that of the half
  step, and a lean chosen outside the band is allowed as well.
* Any other note is held against its target; its band is the hull of the three systems.

Bands are never narrower than the tolerance to either side of the target. Verdicts follow
:mod:`skeleton.listening.verdict`: none that the measurement cannot carry.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from skeleton.audio.pitch import pooled
from skeleton.intonation.bands import FIXED_TOLERANCE_CENTS
from skeleton.listening.measure import HeardNote, by_note
from skeleton.listening.note_targets import NoteTarget
from skeleton.listening.take_reference import TakeReference
from skeleton.listening.verdict import Verdict, verdict
from skeleton.theory.tuning import cents

MATCH_TOLERANCE_CENTS: Final = 10.0
"""How far one return may lean from the others: about the step that amateurs hear in short melodies
(Hill and Summers 2007, abstract; scribd 368005467)."""

ANCHOR_WITHIN_S: Final = 20.0
"""An anchor that was played longer ago than this is no help to the ear (a choice of this
program)."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What may be off, in cents.

    Attributes:
        fixed_cents: a note named like an open string, from that string; and the least half width
            of every band (see :data:`skeleton.intonation.bands.FIXED_TOLERANCE_CENTS`).
        match_cents: one return of a note from the others.
    """

    fixed_cents: float = FIXED_TOLERANCE_CENTS
    match_cents: float = MATCH_TOLERANCE_CENTS


@dataclass(frozen=True, slots=True)
class JudgedNote:
    """One note as played once, or its attempts pooled.

    Attributes:
        note: its id.
        heard: the playings that this is about.
        cents: above its target; None where nothing could be measured.
        u_cents: uncertainty of what is judged, two standard errors; None without a measurement.
        lean_cents: the step to the anchor as played; None where it does not lean or no anchor
            could be measured.
        lean_u_cents: uncertainty of that.
        anchor_heard: the playing of the anchor that it was held against.
        off_cents: how far outside its band, positive above; 0 inside. The sign is that of the
            pitch: a lower neighbour that leans too far is low.
        verdict: on the pitch; None where it is not judged.
        unjudged: why not, or None.
    """

    note: str
    heard: tuple[HeardNote, ...]
    cents: float | None
    u_cents: float | None
    lean_cents: float | None
    lean_u_cents: float | None
    anchor_heard: HeardNote | None
    off_cents: float
    verdict: Verdict | None
    unjudged: str | None


def judge_attempts(
    heard: Sequence[HeardNote],
    targets: Mapping[str, NoteTarget],
    reference: TakeReference,
    limits: Limits,
) -> tuple[JudgedNote, ...]:
    """Return the verdict on every playing of every note, in time order."""
    known = by_note([one for one in heard if one.reason is None])
    return tuple(_judged((one,), targets[one.note], known, reference, limits) for one in heard)


def judge_notes(
    heard: Sequence[HeardNote],
    targets: Mapping[str, NoteTarget],
    reference: TakeReference,
    limits: Limits,
) -> tuple[JudgedNote, ...]:
    """Return the verdict on every note of the score that was played, its attempts pooled."""
    known = by_note([one for one in heard if one.reason is None])
    return tuple(
        _judged(tuple(of_note), targets[note], known, reference, limits)
        for note, of_note in by_note(heard).items()
    )


def away_cents(judged: JudgedNote, target: NoteTarget) -> float | None:
    """Return how far a note is above where it should be: from its anchor where that counts."""
    if judged.lean_cents is not None and target.lean_cents is not None and target.anchor:
        return (judged.lean_cents - target.lean_cents) * (target.anchor.interval.sign or 1)
    return judged.cents


def _judged(
    heard: tuple[HeardNote, ...],
    target: NoteTarget,
    known: Mapping[str, Sequence[HeardNote]],
    reference: TakeReference,
    limits: Limits,
) -> JudgedNote:
    sure = [one for one in heard if one.reason is None and one.hz is not None]
    if not sure:
        reason = heard[0].reason or "nothing"
        return JudgedNote(target.place.id, heard, None, None, None, None, None, 0.0, None, reason)
    value, error = pooled(
        [(cents(one.hz / target.hz), one.se_cents) for one in sure if one.hz is not None]
    )
    lean, lean_u, anchor_heard = _lean(sure, target, known)
    if target.role == "fixed" and target.string is not None:
        error = math.hypot(error, reference.se_of(target.string))
        low, high, found, u = -limits.fixed_cents, limits.fixed_cents, value, 2.0 * error
    elif target.lean_cents is not None and lean is not None and lean_u is not None:
        low, high = lean_limits(target, limits)
        found, u = lean, lean_u
    else:
        error = math.hypot(error, max(reference.se_cents))
        low = min(target.low_cents, -limits.fixed_cents)
        high = max(target.high_cents, limits.fixed_cents)
        found, u = value, 2.0 * error
    side = 1.0
    if target.lean_cents is not None and lean is not None and target.anchor is not None:
        # A wide step under the anchor is a low note, over it a high one.
        side = float(target.anchor.interval.sign or 1)
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    outside = max(0.0, abs(found - middle) - half) * math.copysign(1.0, found - middle)
    return JudgedNote(
        target.place.id, heard, value, u, lean, lean_u, anchor_heard, side * outside,
        verdict(side * (found - middle), u, half), None,
    )  # fmt: skip


def lean_limits(target: NoteTarget, limits: Limits) -> tuple[float, float]:
    """Return the smallest and the largest step to its anchor that is in tune, in cents."""
    chosen = target.lean_cents or 0.0
    return (
        min(target.lean_low_cents, chosen - limits.fixed_cents),
        max(target.lean_high_cents, chosen + limits.fixed_cents),
    )


def _lean(
    sure: Sequence[HeardNote], target: NoteTarget, known: Mapping[str, Sequence[HeardNote]]
) -> tuple[float | None, float | None, HeardNote | None]:
    """The step from the anchor as played to the note, pooled over attempts, with uncertainty."""
    if target.anchor is None:
        return None, None, None
    sizes = []
    nearest: HeardNote | None = None
    for one in sure:
        anchors = [
            other
            for other in known.get(target.anchor.place.id, ())
            if abs(other.start_s - one.start_s) <= ANCHOR_WITHIN_S
        ]
        if not anchors or one.hz is None:
            continue
        anchor = min(anchors, key=lambda other: abs(other.start_s - one.start_s))
        if anchor.hz is None:
            continue
        size = cents(one.hz / anchor.hz) * (target.anchor.interval.sign or 1)
        sizes.append((size, math.hypot(one.se_cents, anchor.se_cents)))
        nearest = nearest or anchor
    if not sizes:
        return None, None, None
    lean, error = pooled(sizes)
    return lean, 2.0 * error, nearest
