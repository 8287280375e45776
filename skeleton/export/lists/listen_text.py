"""A take judged, in the words of a student: three things to work on, and the table behind them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from skeleton.audio.decode import clock
from skeleton.export.lists.document import Block, Document, Heading, Line, Table
from skeleton.export.lists.ring_text import ring_cell, ring_text
from skeleton.export.lists.words import (
    anchor_text,
    counted,
    listed,
    one_line,
    pitch_text,
    place_text,
)
from skeleton.listening.ear_marks import Compared
from skeleton.listening.judge import JudgedNote, away_cents
from skeleton.listening.report import Finding, TakeReport
from skeleton.listening.verdict import Verdict
from skeleton.theory.interval import describe

THINGS: Final = 3
"""How many things to work on are told; more would be none."""

SAYS: Final[Mapping[Verdict, str]] = {
    "flat": "low", "sharp": "high", "in tune": "in tune", "cannot tell": "cannot tell",
}  # fmt: skip
"""Verdicts in the words of a student."""

_SHOWN_PLACES: Final = 6


def take_document(
    report: TakeReport,
    take: str,
    ear: Sequence[Compared] = (),
    *,
    signs: bool = False,
    everything: bool = False,
) -> Document:
    """Return the summary of a take.

    Args:
        report: the take judged.
        take: its name.
        ear: the listener's own marks set beside it, if there are any.
        signs: write pitches with the signs of the trade.
        everything: add the table of all notes.
    """
    blocks: list[Block] = [
        Heading(f"{one_line(report.analysis.score.source.name)}: {one_line(take)}", 1),
        Line(heard_text(report)),
        Line(reference_text(report, signs=signs)),
    ]
    things = report.findings[:THINGS]
    blocks.append(Heading("What to work on"))
    if things:
        blocks += [
            Line(f"{number}. {finding_text(one, report, signs=signs)}")
            for number, one in enumerate(things, start=1)
        ]
    else:
        blocks.append(Line("Nothing that was measured is surely off."))
    left = len(report.findings) - len(things)
    if left > 0:
        blocks.append(
            Line(f"({left} more; they are in the table: --all, or -o with .json or .csv)")
        )
    rings = ring_text(report, signs=signs)
    if rings is not None:
        blocks.append(Line(rings))
    if ear:
        blocks += _ear_blocks(ear, report, signs=signs)
    if everything:
        blocks += [Heading("Note by note"), _table(report, signs=signs)]
    return tuple(blocks)


def finding_text(found: Finding, report: TakeReport, *, signs: bool = False) -> str:
    """Return one thing to work on as a sentence or two."""
    size = f"{abs(found.cents):.0f} cents"
    if found.kind == "height":
        side = "high" if found.cents > 0 else "low"
        return (
            f"The whole take sits {side}, by {size} against your open strings; tune, then listen."
        )
    if found.kind == "drift":
        way = "up" if found.cents > 0 else "down"
        return (
            f"The whole take creeps {way}, by {size} from beginning to end; come back to a string."
        )
    target = report.targets[found.notes[0]]
    name = pitch_text(target.place.pitch.pitch_class, signs=signs)
    where = _places(found.notes, report, signs=signs)
    times = f"{len(found.notes)} of {counted(found.of, 'place')}"
    side, fix = ("high", "lower") if found.cents > 0 else ("low", "higher")
    if found.kind == "string" and target.string is not None:
        string = pitch_text(target.string.pitch_class, signs=signs)
        return f"{name} is {side} in {times}, by {size}: match it to open {string}. {where}"
    if target.anchor is not None and found.kind in {"lean", "return"}:
        how = describe(target.anchor.interval, target.anchor.place.pitch)
        how = how.rsplit(" ", 1)[0]
        anchor = pitch_text(target.anchor.place.pitch.pitch_class, signs=signs)
        closer = "too far from" if found.cents > 0 else "too close to"
        if found.kind == "lean":
            step = f"{name} ({how} {anchor})"
            move = "nearer to" if found.cents > 0 else "farther from"
            return (
                f"{step} is {closer} {anchor} in {times}, by {size}: bring it {move} {anchor}. "
                f"{where}"
            )
        others = "larger" if found.cents > 0 else "smaller"
        return (
            f"{name} ({how} {anchor}) does not match its other returns: the step is {size} "
            f"{others} here. {where}"
        )
    return f"{name} is {side} in {times}, by {size}: play it {fix}. {where}"


def verdict_text(one: JudgedNote, report: TakeReport, *, signs: bool = False) -> str:
    """Return what is to say of one note, on one line: for tooltips and screen readers."""
    target = report.targets[one.note]
    name = pitch_text(target.place.pitch, signs=signs)
    if one.verdict is None or one.u_cents is None:
        return f"{name}: not judged ({unjudged_text(one)})"
    away = away_cents(one, target) or 0.0
    from_what = "its target"
    if target.role == "fixed" and target.string is not None:
        from_what = f"open {pitch_text(target.string, signs=signs)}"
    elif one.lean_cents is not None and target.lean_cents is not None and target.anchor:
        from_what = f"its place {anchor_text(target.anchor, signs=signs)} as you played that"
    sized = f"{round(away):+d}" if round(away) else "0"
    if signs:
        sized = sized.replace("-", "\N{MINUS SIGN}")
    return f"{name}: {SAYS[one.verdict]}, {sized} ± {one.u_cents:.0f} cents from {from_what}"


def reference_text(report: TakeReport, *, signs: bool = False) -> str:
    """Return what the take was judged against, as a sentence."""
    strings = ", ".join(
        f"{pitch_text(string, signs=signs)} {hz:.1f}"
        for string, hz in zip(report.reference.strings, report.reference.hz, strict=True)
    )
    origin = {
        "given": "Judged against the open strings as given",
        "beginning": "Judged against the open strings as played at the beginning",
        "notes": "No open strings were heard: judged against the height of the take itself",
    }[report.reference.origin]
    return f"{origin} ({strings} Hz)."


def heard_text(report: TakeReport) -> str:
    """Return how much was heard and judged, as a sentence."""
    played = [one for one in report.alignment.played if one.kind == "note"]
    wrong = len(report.alignment.played) - len(played)
    parts = [
        f"{counted(len(report.notes), 'note')} of {len(report.notes) + len(report.not_heard)} heard"
    ]
    if report.alignment.restarts:
        parts.append(counted(len(report.alignment.restarts), "restart"))
    if wrong:
        parts.append(counted(wrong, "wrong note"))
    judged = sum(one.verdict is not None for one in report.notes)
    unsure = sum(one.verdict == "cannot tell" for one in report.notes)
    off = sum(one.verdict in {"flat", "sharp"} for one in report.notes)
    parts.append(
        f"{judged} judged: {judged - off - unsure} in tune, {off} off, {unsure} cannot be told"
    )
    return "; ".join(parts) + "."


def _places(notes: Sequence[str], report: TakeReport, *, signs: bool) -> str:
    shown = [place_text(report.targets[note].place, signs=signs) for note in notes[:_SHOWN_PLACES]]
    more = len(notes) - len(shown)
    return f"({listed(shown)}{f' and {more} more' if more else ''})"


_REASONS: Final = {
    "nothing": "nothing of it could be heard",
    "elsewhere": "what sounds there is another pitch",
    "octave-above": "it sounds an octave higher",
    "octave-below": "it sounds an octave lower",
    "too-short": "too short to measure",
    "ringing": "the note before rings over it",
    "covered": "the other note of the double stop covers it",
    "unsure": "not surely found in the take",
}


def unjudged_text(one: JudgedNote) -> str:
    """Return why a note is not judged."""
    return _REASONS.get(one.unjudged or "", "not judged")


def _table(report: TakeReport, *, signs: bool) -> Table:
    rows = []
    for one in report.notes:
        target = report.targets[one.note]
        away = away_cents(one, target)
        rows.append(
            (
                one_line(target.place.measure),
                f"{float(target.place.beat):g}",
                pitch_text(target.place.pitch, signs=signs),
                clock(one.heard[-1].start_s),
                "" if len(one.heard) == 1 else str(len(one.heard)),
                "" if away is None else f"{away:+.1f}",
                "" if one.u_cents is None else f"{one.u_cents:.1f}",
                "" if one.lean_cents is None else f"{one.lean_cents:.1f}",
                one.verdict or _REASONS.get(one.unjudged or "", "not judged"),
                ring_cell([ring for ring in report.resonances if ring.note == one.note]),
                target.match or "",
            )
        )
    return Table(
        ("measure", "beat", "note", "at", "times", "cents off", "uncertain by", "step", "verdict",
         "string rings", "match"),
        tuple(rows),
    )  # fmt: skip


def _ear_blocks(ear: Sequence[Compared], report: TakeReport, *, signs: bool) -> list[Block]:
    """What the ear said beside what was measured."""
    return [
        Heading("Your ear and the measurement"),
        Line(ear_text(ear)),
        ear_rows(ear, report, signs=signs),
    ]


def ear_text(ear: Sequence[Compared]) -> str:
    """Return how often ear and measurement agreed, and how often and how they did not."""
    return ", ".join(f"{name}: {len(found)}" for name, found in _counted(ear).items())


def ear_rows(ear: Sequence[Compared], report: TakeReport, *, signs: bool = False) -> Table:
    """Return the notes on which ear and measurement differ, as a table."""
    counts = _counted(ear)
    rows = []
    for one in (*counts["wrong direction"], *counts["missed"], *counts["imagined"]):
        target = report.targets.get(one.note)
        measured = "not measured"
        if one.measured is not None:
            measured = verdict_text(one.measured, report, signs=signs).split(": ", 1)[1]
        rows.append(
            (
                "" if target is None else place_text(target.place, signs=signs),
                "" if target is None else pitch_text(target.place.pitch, signs=signs),
                one.ear or "",
                measured,
                one.agreement,
            )
        )
    return Table(("where", "note", "you said", "measured", ""), tuple(rows))


def _counted(ear: Sequence[Compared]) -> dict[str, list[Compared]]:
    return {
        name: [one for one in ear if one.agreement == name and (one.ear or name == "missed")]
        for name in ("agreed", "missed", "imagined", "wrong direction", "open")
    }
