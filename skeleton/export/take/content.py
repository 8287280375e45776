"""What a take judged has to say, as plain texts and rows, for paper and for the page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from skeleton.export.lists.document import Table
from skeleton.export.lists.listen_text import (
    ear_rows,
    ear_text,
    finding_text,
    heard_text,
    reference_text,
    unjudged_text,
)
from skeleton.export.lists.outline_text import title_of
from skeleton.export.lists.ring_text import ring_text
from skeleton.export.lists.words import one_line
from skeleton.export.take.notices import notice_text
from skeleton.export.take.plots import passage_text
from skeleton.export.take.words import TakeWords
from skeleton.intonation import cautions
from skeleton.listening.ear_marks import Compared
from skeleton.listening.judge import JudgedNote, away_cents
from skeleton.listening.notices import TakeNotice
from skeleton.listening.report import TakeReport
from skeleton.theory.interval import between
from skeleton.theory.tuning import cents, pythagorean_ratio

THINGS: Final = 3
"""How many things to work on stand on top; the others follow under :attr:`TakeSheet.more`."""


@dataclass(frozen=True, slots=True)
class NoteRow:
    """One note in the table: its id, its cells in the order of the table's head."""

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
        composer: of the etude; empty where the score names none.
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
        words: the language.
    """

    title: str
    composer: str
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
    words: TakeWords


def take_sheet(
    report: TakeReport,
    take: str,
    words: TakeWords,
    ear: Sequence[Compared] | None = None,
    notices: Iterable[TakeNotice] = (),
) -> TakeSheet:
    """Return what a take has to say.

    Args:
        report: the take judged.
        take: its name.
        words: the language.
        ear: the listener's own marks set beside it, or None.
        notices: what else was odd, about the recording.
    """
    say, phrases = words.say, words.shared.phrases
    things = [finding_text(one, report, words) for one in report.findings]
    odd = [notice_text(one, words) for one in (*notices, *report.notices)]
    composer = one_line(report.analysis.score.composer or "")
    return TakeSheet(
        title=title_of(report.analysis),
        composer=phrases.by.format(composer=composer) if composer else "",
        take=f"{one_line(take)}, {words.clock(report.alignment.duration_s)}",
        heard=heard_text(report, words),
        reference=reference_text(report, words),
        things=tuple(things[:THINGS]),
        more=tuple(things[THINGS:]),
        passages=tuple(_passages(report, words)),
        returns=_returns(report, words),
        rings=ring_text(report, words),
        ear=None if ear is None else (ear_text(ear, words), ear_rows(ear, report, words)),
        strings=_strings(report, words),
        how=(*say.how, *_whole(report, words)),
        limits=say.limits.format(
            fixed=words.short(report.limits.fixed_cents),
            match=words.short(report.limits.match_cents),
        ),
        cautions=tuple(dict.fromkeys((*odd, *say.care, words.shared.cautions[cautions.BREAKS]))),
        source=one_line(report.analysis.score.source.name),
        words=words,
    )


def _passages(report: TakeReport, words: TakeWords) -> Iterable[PassageRows]:
    for passage in report.analysis.passages:
        rows = tuple(
            NoteRow(one.note, _cells(one, report, words))
            for one in report.notes
            if passage.holds(report.targets[one.note].place.measure_index)
        )
        if rows:
            yield PassageRows(passage.name, passage_text(report, passage, words), rows)


def _cells(one: JudgedNote, report: TakeReport, words: TakeWords) -> tuple[str, ...]:
    target = report.targets[one.note]
    place, away = target.place, away_cents(one, target)
    times = f" (×{len(one.heard)})" if len(one.heard) > 1 else ""
    return (
        f"{one_line(place.measure)}, {words.beat(place.beat)}",
        words.shared.pitch(place.pitch),
        f"{words.clock(one.heard[0].start_s)}{times}",
        "" if away is None or one.verdict is None else words.signed(away),
        "" if one.u_cents is None or one.verdict is None else words.shared.number(one.u_cents, 1),
        unjudged_text(one, words) if one.verdict is None else words.say.verdicts[one.verdict],
        target.match or "",
    )


def _returns(report: TakeReport, words: TakeWords) -> Table:
    shared, rows = words.shared, []
    for group in report.returns:
        apart = [
            f"{one_line(report.targets[back.note].place.measure)} "
            f"({words.signed(back.from_others_cents or 0.0)})"
            for back in group.apart
        ]
        target = report.targets[group.returns[0].note]
        step = shared.name(group.lean.anchor)
        if target.anchor is not None:
            step = shared.step(target.anchor.interval, step)
        lean = ""
        if group.lean_cents is not None and group.u_cents is not None:
            lean = f"{shared.number(group.lean_cents, 1)} ± {shared.number(group.u_cents, 1)}"
        rows.append(
            (
                group.label,
                f"{shared.name(target.place.pitch.pitch_class)}, {step}",
                str(len(group.returns)),
                lean,
                shared.number(group.spread_cents, 1),
                shared.listed(apart) if apart else words.say.none_apart,
            )
        )
    return Table(words.say.returns_head, tuple(rows))


def _strings(report: TakeReport, words: TakeWords) -> Table:
    reference, shared = report.reference, words.shared
    rows = []
    for at, (string, hz, se, heard) in enumerate(
        zip(reference.strings, reference.hz, reference.se_cents, reference.heard, strict=True)
    ):
        apart = ""
        if at:
            below = reference.strings[at - 1]
            pure = pythagorean_ratio(between(below, string))
            apart = words.signed(cents(hz / reference.hz[at - 1]) - cents(pure))
        known = words.say.strings_known[reference.origin]
        rows.append(
            (
                shared.pitch(string),
                shared.number(hz, 2),
                shared.number(2 * se, 1),
                apart,
                known if heard else words.say.string_not_heard,
            )
        )
    return Table(words.say.strings_head, tuple(rows))


def _whole(report: TakeReport, words: TakeWords) -> Iterable[str]:
    whole, say = report.tendency, words.say
    if whole is None:
        return
    shown = [(say.whole_moves, whole.drift_cents, whole.drift_u_cents)]
    if whole.height is not None:
        shown.insert(0, (say.whole_sits, whole.height_cents, whole.height_u_cents))
    said = (
        form.format(cents=words.signed(value), u=words.shared.number(u, 1))
        for form, value, u in shown
    )
    yield say.whole.format(said=words.shared.listed(said))
