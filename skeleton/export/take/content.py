"""What a take judged has to say, as plain texts and rows, for paper and for the page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from skeleton.audio.decode import clock
from skeleton.export.lists.document import Table
from skeleton.export.lists.listen_text import (
    SAYS,
    ear_rows,
    ear_text,
    finding_text,
    heard_text,
    reference_text,
    unjudged_text,
)
from skeleton.export.lists.outline_text import title_of
from skeleton.export.lists.ring_text import ring_text
from skeleton.export.lists.words import beat_text, listed, one_line, pitch_text
from skeleton.export.take.plots import passage_text
from skeleton.intonation import cautions
from skeleton.listening.ear_marks import Compared
from skeleton.listening.judge import JudgedNote, away_cents
from skeleton.listening.report import TakeReport
from skeleton.score.model import Notice
from skeleton.theory.interval import between, describe
from skeleton.theory.tuning import cents, pythagorean_ratio

NOTHING: Final = "Nothing that was measured is surely off."
THINGS: Final = 3
"""How many things to work on stand on top; the others follow under :attr:`TakeSheet.more`."""

NOTE_HEAD: Final = ("", "Bar, beat", "Note", "At", "Cents off", "±", "Verdict", "Match")

_HOW: Final = (
    (
        "A note named like an open string is held against that string as tuned. An accidental a "
        "half step from its anchor is held against the anchor as you played it: what counts is "
        "the step. Any other note is held against its target in the chain of pure fifths."
    ),
    (
        "Cents off: above (+) or below (−) where the note should be; played more than once, all "
        "times together. ±: how sure that is, two standard errors. A note is in tune or off only "
        "where the measurement can carry it; else it cannot be told."
    ),
)
_CARE: Final = (
    "Listen first, with the music in hand, and mark what you hear; then look here.",
    (
        "A short note, a note under another that rings on, and wide vibrato are measured less "
        "surely. Where ear and figures differ, listen once more; the figures may be wrong."
    ),
    cautions.BREAKS.text,
)


@dataclass(frozen=True, slots=True)
class NoteRow:
    """One note in the table: its id, its cells under :data:`NOTE_HEAD` without the first."""

    note: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PassageRows:
    """The notes of one passage that were heard, in score order."""

    name: str
    heading: str
    rows: tuple[NoteRow, ...]


@dataclass(frozen=True, slots=True)
class TakeSheet:
    """A take in words. Texts are on one line each.

    Attributes:
        title: of the etude.
        take: name and length of the take.
        heard: what was heard and how much of it was judged.
        reference: what it was judged against.
        things: what to work on, the weightiest first; none where nothing is surely off.
        more: the findings after the first :data:`THINGS`.
        passages: the notes, passage by passage.
        returns: match groups: how alike their returns lean.
        rings: which open strings rang along; None where no note is named like one.
        ear: the listener's own marks in one line and in a table, or None.
        strings: the strings as tuned.
        how: how it was judged.
        limits: what may be off.
        cautions: what to know before believing this: odd things of this take first.
        source: name of the score's file.
    """

    title: str
    take: str
    heard: str
    reference: str
    things: tuple[str, ...]
    more: tuple[str, ...]
    passages: tuple[PassageRows, ...]
    returns: Table
    rings: str | None
    ear: tuple[str, Table] | None
    strings: Table
    how: tuple[str, ...]
    limits: str
    cautions: tuple[str, ...]
    source: str


def take_sheet(
    report: TakeReport,
    take: str,
    ear: Sequence[Compared] | None = None,
    notices: Iterable[Notice] = (),
) -> TakeSheet:
    """Return what a take has to say.

    Args:
        report: the take judged.
        take: its name.
        ear: the listener's own marks set beside it, or None.
        notices: what else was odd, about the recording.
    """
    things = [finding_text(one, report, signs=True) for one in report.findings]
    fixed, match = report.limits.fixed_cents, report.limits.match_cents
    odd = [one_line(one.message) for one in (*notices, *report.notices)]
    length = clock(report.alignment.duration_s)
    return TakeSheet(
        title=title_of(report.analysis),
        take=f"{one_line(take)}, {length}",
        heard=heard_text(report),
        reference=reference_text(report, signs=True),
        things=tuple(things[:THINGS]),
        more=tuple(things[THINGS:]),
        passages=tuple(_passages(report)),
        returns=_returns(report),
        rings=ring_text(report, signs=True),
        ear=None if ear is None else (ear_text(ear), ear_rows(ear, report, signs=True)),
        strings=_strings(report),
        how=(*_HOW, *_whole(report)),
        limits=f"May be off: {fixed:g} cents from an open string, {match:g} cents from the other "
        "returns of the same note.",
        cautions=tuple(dict.fromkeys((*(f"{one[:1].upper()}{one[1:]}." for one in odd), *_CARE))),
        source=one_line(report.analysis.score.source.name),
    )


def _passages(report: TakeReport) -> Iterable[PassageRows]:
    for passage in report.analysis.passages:
        rows = tuple(
            NoteRow(one.note, _cells(one, report))
            for one in report.notes
            if passage.holds(report.targets[one.note].place.measure_index)
        )
        if rows:
            yield PassageRows(passage.name, passage_text(report, passage), rows)


def _cells(one: JudgedNote, report: TakeReport) -> tuple[str, ...]:
    target = report.targets[one.note]
    away = away_cents(one, target)
    times = f" (×{len(one.heard)})" if len(one.heard) > 1 else ""
    return (
        f"{one_line(target.place.measure)}, {beat_text(target.place.beat, signs=True)}",
        pitch_text(target.place.pitch, signs=True),
        f"{clock(one.heard[0].start_s)}{times}",
        "" if away is None or one.verdict is None else signed(away),
        "" if one.u_cents is None or one.verdict is None else f"{one.u_cents:.1f}",
        SAYS[one.verdict] if one.verdict is not None else unjudged_text(one),
        target.match or "",
    )


def _returns(report: TakeReport) -> Table:
    rows = []
    for group in report.returns:
        apart = [
            f"{report.targets[back.note].place.measure} ({signed(back.from_others_cents or 0.0)})"
            for back in group.apart
        ]
        target = report.targets[group.returns[0].note]
        name = pitch_text(target.place.pitch.pitch_class, signs=True)
        step = ""
        if target.anchor is not None:
            step = describe(target.anchor.interval, target.anchor.place.pitch).rsplit(" ", 1)[0]
        lean = "" if group.lean_cents is None else f"{group.lean_cents:.1f} ± {group.u_cents:.1f}"
        rows.append(
            (
                group.label,
                f"{name}, {step} {pitch_text(group.lean.anchor, signs=True)}",
                str(len(group.returns)),
                lean,
                f"{group.spread_cents:.1f}",
                listed(one_line(text) for text in apart) if apart else "none",
            )
        )
    head = ("Match", "Note", "Heard", "Step, cents", "Spread", "Apart, in bar (by cents)")
    return Table(head, tuple(rows))


def _strings(report: TakeReport) -> Table:
    reference = report.reference
    rows = []
    for at, (string, hz, se, heard) in enumerate(
        zip(reference.strings, reference.hz, reference.se_cents, reference.heard, strict=True)
    ):
        apart = ""
        if at:
            below = reference.strings[at - 1]
            pure = pythagorean_ratio(between(below, string))
            apart = signed(cents(hz / reference.hz[at - 1]) - cents(pure))
        how = {"given": "as given", "beginning": "as played before the first note"}.get(
            reference.origin, "from the take's own notes"
        )
        rows.append(
            (
                pitch_text(string, signs=True),
                f"{hz:.2f}",
                f"{2 * se:.1f}",
                apart,
                how if heard else "not heard: a pure fifth from its neighbour",
            )
        )
    head = ("String", "Hz", "± cents", "From pure to the one below", "How known")
    return Table(head, tuple(rows))


def _whole(report: TakeReport) -> Iterable[str]:
    whole = report.tendency
    if whole is None:
        return
    said = []
    if whole.height is not None:
        said.append(
            f"sits {signed(whole.height_cents)} ± {whole.height_u_cents:.1f} cents from the strings"
        )
    said.append(
        f"moves by {signed(whole.drift_cents)} ± {whole.drift_u_cents:.1f} cents from beginning "
        "to end"
    )
    yield f"The take as a whole {listed(said)}."


def signed(value: float) -> str:
    """Return cents with their sign and one decimal."""
    text = f"{value:+.1f}"
    return "0.0" if not float(text) else text.replace("-", "\N{MINUS SIGN}")
