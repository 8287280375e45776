"""The record across takes for a person: what returns, what heals, how notes lean, what is heard."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from statistics import median
from typing import Final

from skeleton.analysis.results import Analysis
from skeleton.export.lists.document import Block, Document, Heading, Line, Table
from skeleton.export.lists.outline_text import title_of
from skeleton.export.lists.words import (
    counted,
    listed,
    octaves_text,
    one_line,
    pitch_text,
)
from skeleton.journal.ear import Ear
from skeleton.journal.habits import FEWEST_DAYS, LEVEL, Condition, Direction, Finding
from skeleton.journal.progress import GroupFinding, NoteFinding, Progress, spoken_for
from skeleton.theory.pitch import Pitch, parse_pitch

_SECTIONS: Final[tuple[tuple[str, tuple[Condition, ...]], ...]] = (
    ("What returns", ("habit", "getting worse")),
    ("What gets better", ("healed", "getting better")),
    ("Not sure yet", ("perhaps", "unsteady")),
)

_WORDS: Final[dict[Condition, str]] = {
    "habit": "{way} again and again",
    "getting worse": "{way}, and getting worse",
    "healed": "was {way}, is in tune now",
    "getting better": "{way}, and getting better",
    "perhaps": "mostly {way}, which may be chance",
    "unsteady": "off, now flat, now sharp",
    "in order": "in order",
    "too few days": "too few days",
}

_RULE: Final = (
    f"The takes of a day count as one. Said to return, to heal or to change is what chance would "
    f"hardly do, with everything that was looked at in a record taken into account: of students "
    f"who are off by chance only, at most one in {1 / LEVEL:.0f} is told anything (sign test and t "
    f"test, Kendall's tau, weighted Holm). And it must be off that way more often than not. Fewer "
    f"than {FEWEST_DAYS} days say nothing."
)


def progress_document(
    analysis: Analysis, records: Sequence[Progress], *, more: int = 0, signs: bool = False
) -> Document:
    """Return the records as headings, lines and tables.

    Args:
        analysis: the etude.
        records: one for each student.
        more: how many students have a record that is not among these.
        signs: with ♯ and ♭.
    """
    blocks: list[Block] = [Heading(f"{title_of(analysis)}: the record", level=1)]
    for record in records:
        blocks += _student(record, signs=signs)
    if more:
        blocks += [
            Heading(f"{counted(more, 'student')} more"),
            Line("They played it longer ago. Name one with --student; --csv and --json have all."),
        ]
    blocks += [Heading("How this is said"), Line(_RULE)]
    return tuple(blocks)


def condition_text(finding: Finding) -> str:
    """Return the verdict on a finding in words: ``flat again and again``."""
    return _WORDS[finding.condition].format(way=finding.direction)


def _student(record: Progress, *, signs: bool) -> Iterator[Block]:
    span = record.first_day
    if record.last_day != record.first_day:
        span = f"{record.first_day} to {record.last_day}"
    yield Heading(f"{one_line(record.student)}: {counted(record.takes, 'take')}, {span}")
    if record.stretch_days > 1:
        yield Line(
            f"So many that {record.stretch_days} days of the calendar count as one day in what "
            "follows."
        )
    whole = () if record.whole is None else (record.whole,)
    everything = [
        *whole,
        *(one.finding for one in record.groups),
        *record.fixed,
        *(one.finding for one in record.notes),
    ]
    for title, conditions in _SECTIONS:
        chosen = [one for one in everything if one.condition in conditions]
        table = _findings(record, chosen, signs=signs)
        if table.rows:
            yield Heading(title, level=3)
            yield table
        elif title == _SECTIONS[0][0]:
            yield Heading(title, level=3)
            yield Line(_nothing(everything))
    yield from _leans(record, signs=signs)
    yield from _fixed(record, signs=signs)
    yield from _ear(record.ear)
    if record.unknown_notes:
        yield Line(
            f"{counted(record.unknown_notes, 'note')} of the record not in this reading of the "
            "etude, and left out."
        )


def _nothing(everything: Sequence[Finding]) -> str:
    days = max((one.days for one in everything), default=0)
    if days < FEWEST_DAYS:
        return f"Takes of {counted(days, 'day')} say nothing yet; {FEWEST_DAYS} are the least."
    return "Nothing that chance would not explain."


def _findings(record: Progress, chosen: Sequence[Finding], *, signs: bool) -> Table:
    """Return a row for everything found but single notes, and one for notes of a pitch alike.

    A note of which the same is said as of its group has no row: the group speaks for it. So does
    one that is in doubt where its group is not.
    """
    rows = []
    doubtless = spoken_for(record)
    said = {}
    for one in chosen:
        if one.kind == "group":
            group = next(each.group for each in record.groups if each.finding is one)
            said[group.part, group.label] = one.condition, one.direction
            name = pitch_text(group.pitch_class, signs=signs)
            what = f"{group.label}: {name}, {octaves_text(group.octaves)}"
        elif one.kind == "fixed":
            what = f"every {pitch_text(parse_pitch(one.subject), signs=signs)}"
        elif one.kind == "all":
            what = "all notes together"
        else:
            continue
        rows.append(_row(what, [one]))
    alike: defaultdict[tuple[Pitch, Condition, Direction | None], list[NoteFinding]]
    alike = defaultdict(list)
    for note in record.notes:
        found = note.finding
        same = (found.condition, found.direction)
        if note.place.id in doubtless:
            continue
        if found in chosen and said.get((note.place.part, note.match or "")) != same:
            alike[note.place.pitch, *same].append(note)
    for (pitch, *_), notes in alike.items():
        measures = list(dict.fromkeys(one_line(note.place.measure) for note in notes))
        where = f"measure{'s' if len(measures) > 1 else ''} {listed(measures)}"
        what = f"{pitch_text(pitch, signs=signs)} in {where}"
        rows.append(_row(what, [note.finding for note in notes]))
    return Table(("what", "", "days", "usually", "lately", "chance"), tuple(rows))


def _row(what: str, of: Sequence[Finding]) -> tuple[str, ...]:
    """Return the row of findings that say the same; the least sure one gives days and chance."""
    least = max(of, key=_p)
    return (
        what,
        condition_text(least),
        _days(least),
        cents_text(median(one.median_cents for one in of)),
        cents_text(median(one.late_cents for one in of)),
        _chance(least),
    )


def cents_text(cents: float) -> str:
    """Return a deviation for a person: ``14 cents low``, ``in tune``."""
    size = round(abs(cents))
    if size == 0:
        return "in tune"
    return f"{counted(size, 'cent')} {'low' if cents < 0 else 'high'}"


def _days(finding: Finding) -> str:
    if finding.direction is None:
        return str(finding.days)
    on = finding.days_below if finding.direction == "flat" else finding.days_above
    return f"{on} of {finding.days} {finding.direction}"


def _p(finding: Finding) -> float:
    changed = finding.condition in ("getting worse", "getting better", "healed")
    return finding.p_change if changed else finding.p_direction


def _chance(finding: Finding) -> str:
    p = _p(finding)
    if finding.condition == "unsteady":
        return ""
    return "under 0.1 %" if p < 0.001 else f"{100 * p:.{1 if p < 0.1 else 0}f} %"


def _leans(record: Progress, *, signs: bool) -> Iterator[Block]:
    if not record.leans and not any(one.octaves for one in record.groups):
        return
    yield Heading("How the accidentals lean", level=3)
    if record.leans:
        yield Table(
            ("group", "note", "hangs", "cents, as played", "half of the days within", "days"),
            tuple(
                (
                    one.match,
                    pitch_text(one.pitch_class, signs=signs),
                    one.text,
                    f"{one.cents:.0f}",
                    f"{one.half_width_cents:.0f}",
                    str(one.days),
                )
                for one in record.leans
            ),
        )
    octaves = [group for group in record.groups if group.octaves is not None]
    if octaves:
        yield Table(
            ("group", "note", "by octaves", "apart at first", "lately", ""),
            tuple(_octaves(group, signs=signs) for group in octaves),
        )


def _octaves(group: GroupFinding, *, signs: bool) -> tuple[str, ...]:
    early, late = group.early_spread_cents, group.late_spread_cents
    return (
        group.group.label,
        pitch_text(group.group.pitch_class, signs=signs),
        ", ".join(f"{octave}: {cents_text(cents)}" for octave, cents in group.by_octave),
        "" if early is None else f"{early:.0f}",
        "" if late is None else f"{late:.0f}",
        group.octaves or "",
    )


def _fixed(record: Progress, *, signs: bool) -> Iterator[Block]:
    if not record.fixed:
        return
    yield Heading("Notes named like an open string", level=3)
    yield Table(
        ("note", "days", "at first", "lately", ""),
        tuple(
            (
                pitch_text(parse_pitch(one.subject), signs=signs),
                str(one.days),
                cents_text(one.early_cents),
                cents_text(one.late_cents),
                condition_text(one),
            )
            for one in record.fixed
        ),
    )


def _ear(found: Ear) -> Iterator[Block]:
    if not found.notes:
        return
    yield Heading("The ear", level=3)
    yield Line(
        f"{counted(found.notes, 'note')} listened to on {counted(found.days, 'day')}, "
        f"{found.marked} marked flat or sharp, {found.unsure} unsure. Of those that measured "
        f"clearly off, {found.agree} marked the same way and {found.against} the other way; "
        f"{found.marked_in_tune} marked that did not."
    )
    if found.noticed_cents is not None:
        text = f"Smallest error usually noticed: about {found.noticed_cents:.0f} cents"
        early, late = found.early_noticed_cents, found.late_noticed_cents
        if early is not None and late is not None:
            text += f" (first half of the days {early:.0f}, second half {late:.0f})"
        yield Line(f"{text}.")
    if found.bias is not None:
        yield Line(
            f"Hears {found.bias} as right: without a mark were {found.flat_missed} of "
            f"{found.flat_notes} flat notes and {found.sharp_missed} of {found.sharp_notes} sharp "
            "ones."
        )
