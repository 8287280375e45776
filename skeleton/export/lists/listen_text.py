"""A take judged, in the words of a student: three things to work on, and the table behind them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from skeleton.audio.decode import clock
from skeleton.export.lists.document import Block, Document, Heading, Line, Table
from skeleton.export.lists.ring_text import ring_cell, ring_text
from skeleton.export.lists.words import one_line
from skeleton.export.take.words import TakeWords, plain_words, take_words
from skeleton.listening.ear_marks import Agreement, Compared
from skeleton.listening.judge import JudgedNote, away_cents
from skeleton.listening.report import Finding, Kind, TakeReport

THINGS: Final = 3
"""How many things to work on are told; more would be none."""

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
    words = take_words("en") if signs else plain_words()
    blocks: list[Block] = [
        Heading(f"{one_line(report.analysis.score.source.name)}: {one_line(take)}", 1),
        Line(heard_text(report, words)),
        Line(reference_text(report, words)),
    ]
    things = report.findings[:THINGS]
    blocks.append(Heading(words.say.work_on))
    if things:
        blocks += [
            Line(f"{number}. {finding_text(one, report, words)}")
            for number, one in enumerate(things, start=1)
        ]
    else:
        blocks.append(Line(words.say.nothing_off))
    left = len(report.findings) - len(things)
    if left > 0:
        blocks.append(
            Line(f"({left} more; they are in the table: --all, or -o with .json or .csv)")
        )
    rings = ring_text(report, words)
    if rings is not None:
        blocks.append(Line(rings))
    if ear:
        blocks += [
            Heading(words.say.compared),
            Line(ear_text(ear, words)),
            ear_rows(ear, report, words),
        ]
    if everything:
        blocks += [Heading(words.say.note_by_note), _table(report, words)]
    return tuple(blocks)


def finding_text(found: Finding, report: TakeReport, words: TakeWords | None = None) -> str:
    """Return one thing to work on as a sentence or two.

    Args:
        found: the finding.
        report: the take it was found in.
        words: the language; English in plain characters where None.
    """
    words = words or plain_words()
    say, name = words.say, words.shared.name
    high = found.cents > 0
    size = say.cents.format(cents=words.shared.number(abs(found.cents)))
    if not found.notes:
        return say.findings[found.kind][high].format(size=size)
    target = report.targets[found.notes[0]]
    kind: Kind = "note"
    blanks = {"name": name(target.place.pitch.pitch_class)}
    if found.kind == "string" and target.string is not None:
        kind, blanks["string"] = "string", name(target.string.pitch_class)
    elif found.kind in {"lean", "return"} and target.anchor is not None:
        anchor = name(target.anchor.place.pitch.pitch_class)
        kind, blanks["anchor"] = found.kind, anchor
        blanks["step"] = words.shared.step(target.anchor.interval, anchor)
    return say.findings[kind][high].format(
        size=size,
        places=words.counted(say.in_places, found.of, off=len(found.notes)),
        where=_places(found.notes, report, words),
        **blanks,
    )


def verdict_text(one: JudgedNote, report: TakeReport, words: TakeWords | None = None) -> str:
    """Return what is to say of one note, its name first, on one line: for tooltips."""
    words = words or plain_words()
    name = words.shared.pitch(report.targets[one.note].place.pitch)
    return f"{name}: {verdict_said(one, report, words)}"


def verdict_said(one: JudgedNote, report: TakeReport, words: TakeWords) -> str:
    """Return what is to say of one note: the verdict, and by how much it is off from what."""
    target, say = report.targets[one.note], words.say
    if one.verdict is None or one.u_cents is None:
        return say.not_judged.format(reason=unjudged_text(one, words))
    what = say.its_target
    if target.role == "fixed" and target.string is not None:
        what = say.open_string.format(string=words.shared.pitch(target.string))
    elif one.lean_cents is not None and target.lean_cents is not None and target.anchor:
        what = say.its_place.format(step=words.shared.anchored(target.anchor))
    return say.verdict_said.format(
        says=say.verdicts[one.verdict],
        away=words.signed(away_cents(one, target) or 0.0, 0),
        u=words.shared.number(one.u_cents),
        what=what,
    )


def reference_text(report: TakeReport, words: TakeWords) -> str:
    """Return what the take was judged against, as a sentence."""
    reference = report.reference
    strings = words.say.between_strings.join(
        f"{words.shared.pitch(string)} {words.shared.number(hz, 1)}"
        for string, hz in zip(reference.strings, reference.hz, strict=True)
    )
    return words.say.references[reference.origin].format(strings=strings)


def heard_text(report: TakeReport, words: TakeWords) -> str:
    """Return how much was heard and judged, as a sentence."""
    say, notes = words.say, report.notes
    played = [one for one in report.alignment.played if one.kind == "note"]
    wrong = len(report.alignment.played) - len(played)
    parts = [words.counted(say.heard, len(notes), of=len(notes) + len(report.not_heard))]
    if report.alignment.restarts:
        parts.append(words.counted(say.restarts, len(report.alignment.restarts)))
    if wrong:
        parts.append(words.counted(say.wrong_notes, wrong))
    judged = sum(one.verdict is not None for one in notes)
    unsure = sum(one.verdict == "cannot tell" for one in notes)
    off = sum(one.verdict in {"flat", "sharp"} for one in notes)
    fine = judged - off - unsure
    parts.append(say.judged.format(judged=judged, fine=fine, off=off, unsure=unsure))
    return "; ".join(parts) + "."


def _places(notes: Sequence[str], report: TakeReport, words: TakeWords) -> str:
    shown = [words.place(report.targets[note].place) for note in notes[:_SHOWN_PLACES]]
    more = len(notes) - len(shown)
    rest = words.say.more_places.format(more=more) if more else ""
    return f"({words.shared.listed(shown)}{rest})"


def unjudged_text(one: JudgedNote, words: TakeWords) -> str:
    """Return why a note is not judged."""
    return words.say.unjudged.get(one.unjudged or "", words.say.unjudged_otherwise)


def _table(report: TakeReport, words: TakeWords) -> Table:
    rows = []
    for one in report.notes:
        target = report.targets[one.note]
        away = away_cents(one, target)
        rows.append(
            (
                one_line(target.place.measure),
                f"{float(target.place.beat):g}",
                words.shared.pitch(target.place.pitch),
                clock(one.heard[-1].start_s),
                "" if len(one.heard) == 1 else str(len(one.heard)),
                "" if away is None else f"{away:+.1f}",
                "" if one.u_cents is None else f"{one.u_cents:.1f}",
                "" if one.lean_cents is None else f"{one.lean_cents:.1f}",
                one.verdict or unjudged_text(one, words),
                ring_cell([ring for ring in report.resonances if ring.note == one.note]),
                target.match or "",
            )
        )
    return Table(
        ("measure", "beat", "note", "at", "times", "cents off", "uncertain by", "step", "verdict",
         "string rings", "match"),
        tuple(rows),
    )  # fmt: skip


def ear_text(ear: Sequence[Compared], words: TakeWords) -> str:
    """Return how often ear and measurement agreed, and how often and how they did not."""
    return ", ".join(f"{words.outcome(kind)}: {len(held)}" for kind, held in _counted(ear).items())


def ear_rows(ear: Sequence[Compared], report: TakeReport, words: TakeWords) -> Table:
    """Return the notes on which ear and measurement differ, as a table."""
    say, counts = words.say, _counted(ear)
    rows = []
    for one in (*counts["wrong direction"], *counts["missed"], *counts["imagined"]):
        target = report.targets.get(one.note)
        rows.append(
            (
                "" if target is None else words.place(target.place),
                "" if target is None else words.shared.pitch(target.place.pitch),
                "" if one.ear is None else say.ear_says[one.ear],
                say.not_measured
                if one.measured is None
                else verdict_said(one.measured, report, words),
                words.outcome(one.agreement),
            )
        )
    return Table(say.ear_head, tuple(rows))


def _counted(ear: Sequence[Compared]) -> dict[Agreement, list[Compared]]:
    kinds: tuple[Agreement, ...] = ("agreed", "missed", "imagined", "wrong direction", "open")
    return {
        kind: [one for one in ear if one.agreement == kind and (one.ear or kind == "missed")]
        for kind in kinds
    }
