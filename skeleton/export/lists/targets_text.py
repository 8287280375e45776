"""The targets of an etude for a person: a report to read on a screen.

Passage by passage: the drone that suits it, the fixed notes, the other skeleton notes with their
bands, and the accidentals with their leans. Checks against open strings, what should ring, and
where the figures come from are told when asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from skeleton.analysis.results import PartAnalysis, Place
from skeleton.export.lists.document import Block, Document, Heading, Line, Table
from skeleton.export.lists.outline_text import part_name, title_of
from skeleton.export.lists.words import (
    anchor_text,
    listed,
    measures_text,
    one_line,
    pitch_text,
    pitches_text,
)
from skeleton.intonation.bands import HALF_STEP_BANDS
from skeleton.intonation.cautions import UNDER_TARGETS
from skeleton.intonation.checks import NoteChecks, checks
from skeleton.intonation.listen_for import listen_for
from skeleton.intonation.reference import Reference
from skeleton.intonation.results import EtudeTargets, PassageTargets, Target
from skeleton.theory.interval import interval_named
from skeleton.theory.pitch import Pitch

_TUNED = {
    "pure": "tuned pure from the A",
    "equal": "tuned to equal temperament",
    "measured": "as measured",
}
_SYSTEMS = {
    "pythagorean": "Pythagorean: in the chain of fifths of the open strings",
    "equal": "Equal temperament, as a keyboard",
    "just": "Just: pure against the open {string}, for playing with that string as drone",
}
_POSITIONS = ("open", "1st", "2nd", "3rd", "4th", "5th")

_MEASURES_SHOWN = 6
"""Measures listed for a note; of the rest the number is told."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which sections beyond the targets a report is to have, and how it writes pitches."""

    checks: bool = False
    ring: bool = False
    sources: bool = False
    signs: bool = False


def targets_document(found: EtudeTargets, wanted: Wanted | None = None) -> Document:
    """Return the targets as headings, lines and tables."""
    wanted = wanted or Wanted()
    blocks = [*_head(found, signs=wanted.signs)]
    several = len(found.analysis.parts) > 1
    names = {part.part: part_name(found.analysis, part) for part in found.analysis.parts}
    for passage in found.passages:
        if passage.targets:
            part = f"{names[passage.part]}: " if several else ""
            blocks.extend(_passage(passage, part, signs=wanted.signs))
    if wanted.checks:
        for one in found.analysis.parts:
            blocks.extend(_checks(found, one, names if several else {}, signs=wanted.signs))
    if wanted.ring:
        blocks.extend(_ring(found, names if several else {}, signs=wanted.signs))
    if wanted.sources:
        blocks.extend(_sources())
    blocks.append(Heading("Take care", 3))
    blocks.extend(
        Line(f"{one.text} Source: {one.source}." if wanted.sources else one.text)
        for one in UNDER_TARGETS
    )
    return tuple(blocks)


def cents_text(value: float) -> str:
    """Return signed cents with one decimal: ``+5.9``, ``-3.9``, ``0.0``."""
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text


def _head(found: EtudeTargets, *, signs: bool) -> Iterator[Block]:
    analysis = found.analysis
    yield Heading(f"Targets: {title_of(analysis)}", 1)
    references = {one.part: one.reference for one in found.passages}
    for text in dict.fromkeys(_tuning(one, signs=signs) for one in references.values()):
        yield Line(f"From {one_line(analysis.score.source.name)}, for {text}.")
    strings = {pitch_text(one.against, signs=signs) for one in references.values() if one.against}
    yield Line(_SYSTEMS[found.system].format(string=listed(sorted(strings))) + ".")
    yield Line(
        "Tuner: cents above or below equal temperament of the same A, as a tuner shows them. "
        "Listen first, and look here when in doubt."
    )
    if not any(passage.targets for passage in found.passages):
        yield Line("Nothing here has a target: no skeleton notes and no accidentals.")


def _tuning(reference: Reference, *, signs: bool) -> str:
    tuning = reference.tuning
    strings = ", ".join(
        f"{pitch_text(string, signs=signs)} {hz:.2f}"
        for string, hz in zip(tuning.instrument.open_strings, tuning.hz, strict=True)
    )
    name = one_line(tuning.instrument.name)
    return f"{name}, A4 = {tuning.a4_hz:.6g} Hz; strings {_TUNED[tuning.origin]}: {strings} Hz"


def _passage(passage: PassageTargets, part: str, *, signs: bool) -> Iterator[Block]:
    span = passage.passage
    yield Heading(f"{part}Passage {one_line(span.name)}, {measures_text(span)}", 2)
    drone = passage.drone
    if drone.strings:
        name = " and ".join(pitch_text(one, signs=signs) for one in drone.strings)
        yield Line(f"Drone: open {name}; {drone.why}.")
    else:
        yield Line(f"Drone: none; {drone.why}.")
    fixed = [one for one in passage.targets if one.role == "fixed"]
    if fixed:
        yield Heading("Fixed: as the open string, exact in every octave", 3)
        yield Table(
            ("note", "Hz", "tuner", "as open", "measures"), tuple(_fixed(fixed, signs=signs))
        )
    bones = [one for one in passage.targets if one.role == "skeleton"]
    if bones:
        yield Heading("Skeleton: each with its band on the tuner", 3)
        yield Table(
            ("note", "Hz", "tuner", "from", "given by", "to", "given by", "measures"),
            tuple(_bone(one, signs=signs) for one in bones),
        )
    hung = [one for one in passage.targets if one.role == "accidental"]
    if hung:
        yield Heading("Accidentals: lean and band in cents from the anchor", 3)
        if passage.reference.system == "just":
            yield Line(
                "In parentheses: the half step that the drone makes of it, a size for double stops"
                " and not for a melody."
            )
        yield Table(
            ("note", "tune it", "lean", "band", "Hz", "tuner", "match", "measures"),
            tuple(_accidental(one, signs=signs) for one in hung),
        )


def _fixed(fixed: Iterable[Target], *, signs: bool) -> Iterator[tuple[str, ...]]:
    together: dict[tuple[Pitch, float], list[Target]] = {}
    for one in fixed:
        together.setdefault((one.pitch, one.hz), []).append(one)
    for same in together.values():
        string = same[0].string
        places = sorted((p for one in same for p in one.places), key=lambda p: p.measure_index)
        yield (
            pitch_text(same[0].pitch, signs=signs),
            f"{same[0].hz:.2f}",
            cents_text(same[0].equal_cents),
            pitch_text(string, signs=signs) if string else "",
            _measures(places),
        )


def _bone(target: Target, *, signs: bool) -> tuple[str, ...]:
    band = target.band
    return (
        pitch_text(target.pitch, signs=signs),
        f"{target.hz:.2f}",
        cents_text(target.equal_cents),
        cents_text(band.low.cents) if band else "",
        band.low.source if band else "",
        cents_text(band.high.cents) if band else "",
        band.high.source if band else "",
        _measures(target.places),
    )


def _accidental(target: Target, *, signs: bool) -> tuple[str, ...]:
    band, lean = target.band, target.lean
    leans = ""
    if lean is not None:
        leans = f"{lean.cents:.1f}"
        if lean.chosen:
            leans += " (chosen)" if target.in_band else " (chosen, outside)"
    elif target.anchor and target.anchor.interval.is_half_step and target.step_cents is not None:
        leans = f"({target.step_cents:.1f})"
    spans = ""
    if band is not None and band.measured_from == "anchor":
        spans = f"{band.low.cents:g} to {band.high.cents:g}"
    elif band is not None:
        spans = f"tuner {cents_text(band.low.cents)} to {cents_text(band.high.cents)}"
    return (
        pitch_text(target.pitch, signs=signs),
        anchor_text(target.anchor, signs=signs),
        leans,
        spans,
        f"{target.hz:.2f}",
        cents_text(target.equal_cents),
        target.match or "",
        _measures(target.places),
    )


def _measures(places: Iterable[Place]) -> str:
    numbers = list(dict.fromkeys(one_line(place.measure) for place in places))
    if len(numbers) <= _MEASURES_SHOWN + 1:
        return ", ".join(numbers)
    shown = ", ".join(numbers[:_MEASURES_SHOWN])
    return f"{shown} and {len(numbers) - _MEASURES_SHOWN} more"


def _checks(
    found: EtudeTargets, part: PartAnalysis, names: dict[str, str], *, signs: bool
) -> Iterator[Block]:
    known: dict[tuple[Pitch, float], tuple[Target, NoteChecks]] = {}
    for passage in found.passages:
        if passage.part == part.part:
            for target in passage.targets:
                key = (target.pitch, target.hz)
                if key not in known:
                    tuning = passage.reference.tuning
                    known[key] = (target, checks(tuning, target.sounding, target.hz))
    ordered = sorted(known.values(), key=lambda pair: pair[0].hz)
    name = f"{names[part.part]}: " if part.part in names else ""
    yield Heading(f"{name}Checks: double stops with an open string", 2)
    rows = tuple(row for target, one in ordered for row in _check_rows(target, one, signs=signs))
    if not rows:
        yield Line("No note here makes a double stop with an open string in the first positions.")
        return
    yield Line("Beats: heard each second when the note is 5 cents off.")
    yield Table(
        ("note", "with open", "stopped on", "position", "pure", "Hz", "from target", "beats"), rows
    )
    advice: dict[str, list[str]] = {}
    for target, one in ordered:
        if one.advice:
            advice.setdefault(one.advice, []).append(pitch_text(target.pitch, signs=signs))
    for sentence, notes in advice.items():
        yield Line(f"{listed(notes)}: {sentence}")
    without = [pitch_text(target.pitch, signs=signs) for target, one in ordered if not one.checks]
    if without:
        yield Line(f"No such check: {' '.join(dict.fromkeys(without))}.")


def _check_rows(target: Target, found: NoteChecks, *, signs: bool) -> Iterator[tuple[str, ...]]:
    for one in found.checks:
        ratio = one.ratio
        yield (
            pitch_text(target.pitch, signs=signs),
            pitch_text(one.drone, signs=signs),
            pitch_text(one.string, signs=signs),
            _POSITIONS[one.position],
            f"{one.interval.words} {ratio.numerator}:{ratio.denominator}",
            f"{one.hz:.2f}",
            cents_text(one.off_target_cents),
            f"{one.beats_hz:.1f}",
        )


def _ring(found: EtudeTargets, names: dict[str, str], *, signs: bool) -> Iterator[Block]:
    yield Heading("Listen for the ring", 2)
    rows = tuple(
        (
            names.get(note.part, ""),
            pitch_text(note.pitch, signs=signs),
            f"{note.hz:.2f}",
            pitches_text((answer.string for answer in note.answers), signs=signs),
            str(note.times),
        )
        for note in listen_for(found)
    )
    if not rows:
        yield Line("No note here makes an open string answer plainly.")
        return
    yield Line(
        "At its target each of these makes open strings answer, the strongest named first; the "
        "string under the finger cannot."
    )
    yield Table(("part", "note", "Hz", "strings that answer", "times"), rows)
    yield Line(
        "Reckoned for an ideal instrument with the strings in tune: trust it for one note played "
        "higher and lower, not to compare one note with another."
    )


def _sources() -> Iterator[Block]:
    yield Heading("Where the bands come from", 3)
    for name, band in HALF_STEP_BANDS.items():
        yield Line(
            f"{interval_named(name).words}: {band.low.cents:g} cents ({band.low.source}) to "
            f"{band.high.cents:g} cents ({band.high.source})"
        )
    yield Line(
        "any other note: the hull of the chain of fifths, equal temperament and the pure double "
        "stops with open strings"
    )
