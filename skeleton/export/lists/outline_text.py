"""The outline of an etude for a person: a short report to read on a screen.

It speaks of one file, never of "the" skeleton of a work: two editions of one piece agree in
the notes and disagree in the slurs, and the skeleton hangs on the slurs.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import groupby

from skeleton.analysis.results import (
    AccidentalNote,
    Analysis,
    Anchor,
    MatchGroup,
    PartAnalysis,
    RuleFit,
    SkeletonNote,
)
from skeleton.export.lists.by_passage import by_measure, group_labels, in_passage
from skeleton.export.lists.document import Block, Document, Heading, Line, Table
from skeleton.export.lists.words import (
    RULES,
    anchor_text,
    beat_text,
    counted,
    listed,
    measures_text,
    octaves_text,
    one_line,
    pitch_text,
    pitches_text,
)

OPEN_STRING_MARK = "*"
"""Stands behind notes named like an open string."""


def outline_document(analysis: Analysis, *, signs: bool = False) -> Document:
    """Return the outline as headings, lines and tables.

    Args:
        analysis: what to report.
        signs: write ♯, ♭ and ½ instead of #, b and .5.
    """
    blocks = [*_head(analysis), *_fit(analysis)]
    several = len(analysis.parts) > 1
    for part in analysis.parts:
        if several:
            blocks.append(Heading(f"Part {part_name(analysis, part)}, {part.instrument.name}", 2))
        bones, notes = by_measure(part.skeleton), by_measure(part.accidentals)
        labels = group_labels(part)
        for passage in analysis.passages:
            blocks.append(Heading(f"Passage {one_line(passage.name)}, {measures_text(passage)}", 2))
            blocks.extend(_bones(in_passage(bones, passage), signs=signs))
            blocks.extend(_accidentals(in_passage(notes, passage), labels, signs=signs))
        blocks.extend(_matches(part, signs=signs))
        blocks.extend(_twins(part, signs=signs))
    return tuple(blocks)


def title_of(analysis: Analysis) -> str:
    """Return the score's title on one line, or the file's name where it has none."""
    return one_line(analysis.score.title or "") or one_line(analysis.score.source.name)


def part_name(analysis: Analysis, part: PartAnalysis) -> str:
    """Return a part's printed name on one line, or its id where it has none."""
    return one_line(analysis.score.part(part.part).name or "") or one_line(part.part)


def by_fit(rule_fit: tuple[RuleFit, ...]) -> list[RuleFit]:
    """Return the rules best first: by the mean of their two shares, those without notes last."""
    return sorted(rule_fit, key=lambda f: (not f.notes, -f.half_step_share - f.unaltered_share))


def tuning_text(part: PartAnalysis, a4_hz: float, *, signs: bool = False) -> str:
    """Return the instrument a part was read for: ``violin (G3 D4 A4 E5), A4 = 440 Hz``."""
    strings = pitches_text(part.instrument.open_strings, signs=signs)
    return f"{one_line(part.instrument.name)} ({strings}), A4 = {a4_hz:g} Hz"


def _head(analysis: Analysis) -> Iterator[Block]:
    yield Heading(title_of(analysis), 1)
    instruments = dict.fromkeys(tuning_text(part, analysis.a4_hz) for part in analysis.parts)
    taken = f", read for {'; '.join(instruments)}" if instruments else ""
    yield Line(f"As slurred in {one_line(analysis.score.source.name)}{taken}.")
    yield Line(
        f"Skeleton: {RULES[analysis.rule]}, and every note named like an open string"
        f" (marked {OPEN_STRING_MARK})."
    )
    if not analysis.parts:
        yield Line("No part of this file has notes to read.")


def _fit(analysis: Analysis) -> Iterator[Block]:
    if not any(part.accidentals or part.skeleton for part in analysis.parts):
        return
    yield Heading("How well each rule fits this file, best first", 3)
    yield Table(
        ("rule", "takes", "its notes", "unaltered", "accidentals a half step away"),
        tuple(
            (
                fit.rule + (" (taken)" if fit.rule == analysis.rule else ""),
                RULES[fit.rule],
                str(fit.notes),
                f"{fit.unaltered_share:.0%}" if fit.notes else "-",
                f"{fit.half_step_share:.0%}",
            )
            for fit in by_fit(analysis.rule_fit)
        ),
    )


def _accidentals(
    notes: list[AccidentalNote], labels: Mapping[str, str], *, signs: bool
) -> Iterator[Block]:
    if not notes:
        yield Line("No accidentals.")
        return
    yield Line(
        f"{counted(len(notes), 'accidental')}, each with the skeleton note it is tuned from, "
        "found at measure:beat"
    )
    yield Table(
        ("measure", "beat", "note", "tune it", "found at", "or", "found at", "match", "is also"),
        tuple(_row(note, labels.get(note.place.id, ""), signs=signs) for note in notes),
    )


def _bones(bones: list[SkeletonNote], *, signs: bool) -> Iterator[Block]:
    if not bones:
        yield Line("No skeleton notes.")
        return
    chosen = [note for note in bones if note.reasons != ("open-string",)]
    rest = len(bones) - len(chosen)
    if not chosen:
        yield Line(f"Skeleton: {counted(len(bones), 'note')}, all named like an open string")
        chosen, rest = bones, 0
    else:
        more = f" ({rest} more are named like an open string and not listed)" if rest else ""
        yield Line(f"Skeleton: {counted(len(chosen), 'note')}{more}")
    yield Table(
        ("measure", "skeleton"),
        tuple(
            (
                one_line(held[0].place.measure),
                " ".join(
                    pitch_text(note.place.pitch, signs=signs)
                    + (OPEN_STRING_MARK if note.open_string else "")
                    for note in held
                ),
            )
            for held in (
                list(group) for _, group in groupby(chosen, key=lambda n: n.place.measure_index)
            )
        ),
    )


def _row(note: AccidentalNote, label: str, *, signs: bool) -> tuple[str, ...]:
    also = [
        word
        for word, holds in (
            ("open string", note.open_string),
            ("skeleton", note.structural),
            ("in the key", note.from_key),
        )
        if holds
    ]
    other = note.runner_up
    return (
        one_line(note.place.measure),
        beat_text(note.place.beat, signs=signs),
        pitch_text(note.place.pitch, signs=signs),
        anchor_text(note.anchor, signs=signs),
        _at(note.anchor, signs=signs),
        anchor_text(other, signs=signs) if other else "",
        _at(other, signs=signs),
        label,
        ", ".join(also),
    )


def _at(anchor: Anchor | None, *, signs: bool) -> str:
    if anchor is None:
        return ""
    return f"{one_line(anchor.place.measure)}:{beat_text(anchor.place.beat, signs=signs)}"


def _matches(part: PartAnalysis, *, signs: bool) -> Iterator[Block]:
    yield Heading("Matches: every return leans alike, in every octave", 2)
    if not part.matches:
        yield Line("No accidental returns.")
        return
    yield Table(
        ("match", "note", "octaves", "times", "hangs on"),
        tuple(_match_row(group, signs=signs) for group in part.matches),
    )


def _match_row(group: MatchGroup, *, signs: bool) -> tuple[str, ...]:
    leans = [
        f"{pitch_text(lean.anchor, signs=signs)}, {lean.interval.words}"
        + (f" {lean.interval.direction}" if lean.interval.sign else "")
        + f" ({len(lean.notes)})"
        for lean in group.leans
    ]
    return (
        group.label,
        pitch_text(group.pitch_class, signs=signs),
        octaves_text(group.octaves).partition(" ")[2],
        str(len(group.notes)),
        "; ".join(leans),
    )


def _twins(part: PartAnalysis, *, signs: bool) -> Iterator[Block]:
    if part.twins:
        yield Heading("One key of the piano, not the same note", 2)
    for twins in part.twins:
        names = listed(pitch_text(name, signs=signs) for name in (twins.first, twins.second))
        yield Line(f"passage {one_line(twins.passage)}: {names}")
