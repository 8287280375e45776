"""What a player should be told about the targets: leans outside their band, and what gave way."""

from __future__ import annotations

from collections.abc import Sequence

from skeleton.analysis.results import Analysis, Anchor, ChosenLean, Place
from skeleton.intonation.reference import Reference
from skeleton.intonation.results import Target
from skeleton.score.model import Notice
from skeleton.theory.pitch import PitchClass


def part_notices(
    part: str,
    standing: Sequence[tuple[Target, Place, Anchor | None]],
    reference: Reference,
    circles: Sequence[Place],
) -> list[Notice]:
    """Return the notices of one part: each matter once, at the measure where it first shows.

    Args:
        part: its id.
        standing: every note's target, place and anchor, in score order.
        reference: the strings and the system.
        circles: the notes whose lean could not be kept because anchors ran in a circle.
    """
    found: dict[tuple[object, ...], Notice] = {}
    for target, place, anchor in standing:
        if anchor is not None and target.lean is not None and not target.in_band:
            name, other = place.pitch.pitch_class, anchor.place.pitch.pitch_class
            if ("lean", name, other) not in found:
                notice = _outside(part, target, place, other)
                found["lean", name, other] = notice
        if reference.system == "just" and target.system == "pythagorean":
            name = place.pitch.pitch_class
            if ("size", name) not in found:
                found["size", name] = Notice(
                    "no-just-size",
                    f"{name} has no agreed just size against open {reference.against}; "
                    "its target is Pythagorean",
                    part,
                    place.measure,
                )
    notices = list(found.values())
    if circles:
        place = circles[0]
        notices.append(
            Notice(
                "anchors-in-a-circle",
                f"{place.pitch} and the notes it hangs on are each other's anchors, and the sizes "
                "chosen for them do not fit together; it stands where the system has it, and the "
                "others lean on it (choose equal sizes, or another anchor in the lesson file)",
                part,
                place.measure,
            )
        )
    return notices


def unused_leans(analysis: Analysis) -> list[Notice]:
    """Return a notice for each lean of the lesson that fits no half step of the etude."""
    hanging: set[tuple[PitchClass, PitchClass]] = set()
    fixed: set[PitchClass] = set()
    for part in analysis.parts:
        for note in part.accidentals:
            name = note.place.pitch.pitch_class
            if note.open_string:
                fixed.add(name)
            elif note.anchor is not None and note.anchor.interval.is_half_step:
                hanging.add((name, note.anchor.place.pitch.pitch_class))
    names = {name for name, _ in hanging}
    return [
        Notice("lesson-no-effect", _unused(one, fixed))
        for one in analysis.leans
        if (one.pitch_class, one.anchor) not in hanging
        and not (one.anchor is None and one.pitch_class in names)
    ]


def _outside(part: str, target: Target, place: Place, anchor: PitchClass) -> Notice:
    band, lean = target.band, target.lean
    if band is None or lean is None:
        raise ValueError("only a note that leans has a lean outside its band")
    return Notice(
        "lean-outside-band",
        f"{place.pitch.pitch_class} leans {lean.cents:g} cents on {anchor}, as chosen; a "
        f"{lean.interval.words} is played between {band.low.cents:g} and {band.high.cents:g}",
        part,
        place.measure,
    )


def _unused(lean: ChosenLean, fixed: set[PitchClass]) -> str:
    name = f"lean of {lean.pitch_class}" + (f" on {lean.anchor}" if lean.anchor else "")
    if lean.pitch_class in fixed:
        return f"{name}: a note named like an open string matches its string and does not lean"
    return f"{name}: no such accidental stands a half step from its anchor; it changes nothing"
