"""One student and one etude: what returns, what has healed, how the accidentals lean.

The journal knows notes by their keys; which of them are skeleton, accidental or fixed, and which
belong together, is the analysis of today. A lesson that changes the skeleton changes what is
looked at, not what was measured.

All that is asked of one record is corrected together (:mod:`skeleton.journal.habits`): all notes as
one, the groups, the fixed pitches, the single notes, the octaves of each group, and the ear.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import fmean, median
from typing import Literal

from skeleton.analysis.results import Analysis, MatchGroup, PartAnalysis, Place
from skeleton.journal.ear import Ear, asked_of, ear, judged
from skeleton.journal.habits import (
    FEWEST_DAYS,
    LEVEL,
    Finding,
    Series,
    findings,
    thirds,
)
from skeleton.journal.records import Days, Heard
from skeleton.journal.statistics import trend_test
from skeleton.theory.interval import describe
from skeleton.theory.pitch import PitchClass

_Figures = tuple[float, int, int, int, int]
"""Of one day: deviation in cents, times, in tune, flat, sharp."""

Octaves = Literal["closer", "further apart", "no change shown", "too few days"]


@dataclass(frozen=True, slots=True)
class NoteFinding:
    """What is found of one note, with the note's place in the etude."""

    place: Place
    match: str | None
    finding: Finding


@dataclass(frozen=True, slots=True)
class GroupFinding:
    """What is found of a match group as a whole, and of its octaves.

    ``line`` has the mean of its notes day by day, ``by_octave`` the median deviation in cents of
    each octave. ``spread`` is the distance between the octaves of one day, in cents: of the first
    third of the days ``early_spread_cents``, of the last ``late_spread_cents``; None where no day
    has all octaves. ``p_spread`` is the chance of so clear a change without one, adjusted; 1 where
    it was not asked.
    """

    group: MatchGroup
    finding: Finding
    line: Days
    by_octave: tuple[tuple[int, float], ...]
    spread_days: int
    early_spread_cents: float | None
    late_spread_cents: float | None
    p_spread: float
    octaves: Octaves | None


@dataclass(frozen=True, slots=True)
class HabitualLean:
    """How far an accidental leans on what it hangs on, as played.

    ``text`` names the step ("half step below G"); ``cents`` is the median of the days, and half
    of the days lie within ``half_width_cents`` of it.
    """

    match: str
    pitch_class: PitchClass
    text: str
    days: int
    cents: float
    half_width_cents: float


@dataclass(frozen=True, slots=True)
class Progress:
    """The record of one student and one etude. Days are ISO 8601; empty where nothing is held.

    ``stretch_days`` is how many days of the calendar each of its days stands for;
    ``fixed_lines`` has the mean of each pitch of ``fixed`` day by day.
    """

    student: str
    takes: int
    first_day: str
    last_day: str
    stretch_days: int
    whole: Finding | None
    notes: tuple[NoteFinding, ...]
    groups: tuple[GroupFinding, ...]
    fixed: tuple[Finding, ...]
    fixed_lines: tuple[Days, ...]
    leans: tuple[HabitualLean, ...]
    ear: Ear
    unknown_notes: int


def spoken_for(record: Progress) -> dict[str, Finding]:
    """Return what a match group says for its notes, by their ids.

    Where a group is proved to be off one way, a note of it that is mostly off that way is no more
    in doubt: its own days are few beside those of the group.
    """
    sure = {
        (one.group.part, one.group.label): one.finding
        for one in record.groups
        if one.finding.condition in ("habit", "getting worse")
    }
    found = {}
    for note in record.notes:
        of_group = sure.get((note.place.part, note.match or ""))
        own = note.finding
        if of_group and own.condition == "perhaps" and own.direction == of_group.direction:
            found[note.place.id] = of_group
    return found


def progress(
    analysis: Analysis,
    keys: Mapping[str, str],
    student: str,
    days: Sequence[Days],
    *,
    takes: int,
    heard: Sequence[Heard] = (),
    stretch_days: int = 1,
    first_day: str = "",
    last_day: str = "",
) -> Progress:
    """Return what the record says.

    Args:
        analysis: the etude as it is read today.
        keys: key of each note by its id, from :func:`skeleton.journal.content.note_keys`.
        student: whose record it is.
        days: all that was measured, note by note.
        takes: how many takes that were.
        heard: the notes that were listened to as well.
        stretch_days: how many days of the calendar each of ``days`` stands for.
        first_day: ISO 8601, of the first take. Default: as ``days`` say.
        last_day: likewise, of the last.
    """
    by_key = {one.note: one for one in days}
    order = sorted({day for one in days for day in one.days})
    known = set(keys.values())
    groups = [(part, group) for part in analysis.parts for group in part.matches]
    named = _named(groups)
    places = _places(analysis)
    spreads = {name: _spread(*of, keys, by_key) for name, of in named.items()}
    trends = {
        name: trend_test(one.spreads)
        for name, one in spreads.items()
        if len(one.spreads) >= FEWEST_DAYS
    }
    lines = [
        joined("group", name, [by_key.get(keys[note]) for note in group.notes if note in keys])
        for name, (_, group) in named.items()
    ]
    pitches = _fixed(analysis, keys, by_key)
    listened = ear(heard)
    found = findings(
        [
            [joined("all", "all", by_key.values())],
            lines,
            pitches,
            [
                Series("note", note, by_key[keys[note]])
                for note in places
                if keys.get(note) in by_key
            ],
        ],
        [[p for _, p in trends.values()], asked_of(listened)],
    )
    whole, of_groups, fixed, notes = found.lists
    p_spreads = dict(zip(trends, found.others[0], strict=True))
    labels = {note: group.label for _, group in groups for note in group.notes}
    return Progress(
        student=student,
        takes=takes,
        first_day=first_day or (date.fromordinal(order[0]).isoformat() if order else ""),
        last_day=last_day or (date.fromordinal(order[-1]).isoformat() if order else ""),
        stretch_days=stretch_days,
        whole=whole[0] if whole else None,
        notes=tuple(
            NoteFinding(places[one.subject], labels.get(one.subject), one) for one in notes
        ),
        groups=tuple(
            _group(
                named[one.subject][1],
                one,
                next(line.days for line in lines if line.subject == one.subject),
                spreads[one.subject],
                (trends.get(one.subject, (0.0, 1.0))[0], p_spreads.get(one.subject, 1.0)),
            )
            for one in of_groups
        ),
        fixed=fixed,
        fixed_lines=tuple(one.days for one in pitches if one.days.days),
        leans=tuple(lean for part, group in groups for lean in _leans(part, group, keys, by_key)),
        ear=judged(listened, found.others[1]),
        unknown_notes=sum(key not in known for key in by_key),
    )


def joined(
    kind: Literal["all", "group", "fixed"], subject: str, notes: Iterable[Days | None]
) -> Series:
    """Return several notes as one: of each day the mean of the notes played on it."""
    by_day: defaultdict[int, list[_Figures]] = defaultdict(list)
    for of in notes:
        if of is not None:
            figures = zip(of.deviations_cents, of.times, of.in_tune, of.flat, of.sharp, strict=True)
            for day, of_day in zip(of.days, figures, strict=True):
                by_day[day].append(of_day)
    days = sorted(by_day)
    rows = [_day_of_several(by_day[day]) for day in days]
    means, times, in_tune, flat, sharp = zip(*rows, strict=True) if rows else ((),) * 5
    no_leans = (None,) * len(days)
    joined = Days(subject, tuple(days), means, times, in_tune, flat, sharp, no_leans)
    return Series(kind, subject, joined)


def _day_of_several(notes: Sequence[_Figures]) -> _Figures:
    """Return the mean deviation of several notes on one day, and their counts together."""
    cents, times, in_tune, flat, sharp = zip(*notes, strict=True)
    return sum(cents) / len(cents), sum(times), sum(in_tune), sum(flat), sum(sharp)


def _places(analysis: Analysis) -> dict[str, Place]:
    """Return the places of the notes that have a role by their ids, in score order."""
    places: dict[str, Place] = {}
    for part in analysis.parts:
        of_part = {one.place.id: one.place for one in part.skeleton}
        of_part |= {one.place.id: one.place for one in part.accidentals}
        places |= dict(sorted(of_part.items(), key=lambda item: item[1].onset_quarters))
    return places


def _named(
    groups: Sequence[tuple[PartAnalysis, MatchGroup]],
) -> dict[str, tuple[PartAnalysis, MatchGroup]]:
    """Return the groups by their labels, with the part's name before it where there are several."""
    several = len({part.part for part, _ in groups}) > 1
    return {
        f"{part.part} {group.label}" if several else group.label: (part, group)
        for part, group in groups
    }


def _fixed(analysis: Analysis, keys: Mapping[str, str], by_key: Mapping[str, Days]) -> list[Series]:
    """Return the pitches named like open strings, low to high."""
    pitches: dict[str, tuple[int, list[Days | None]]] = {}
    seen: set[str] = set()
    for part in analysis.parts:
        fixed = [one.place for one in part.skeleton if one.open_string is not None]
        fixed += [one.place for one in part.accidentals if one.open_string]
        for place in fixed:
            if place.id in seen or place.id not in keys:
                continue
            seen.add(place.id)
            held = pitches.setdefault(str(place.pitch), (place.pitch.diatonic, []))
            held[1].append(by_key.get(keys[place.id]))
    low_to_high = sorted(pitches.items(), key=lambda item: item[1][0])
    return [joined("fixed", name, notes) for name, (_, notes) in low_to_high]


@dataclass(frozen=True, slots=True)
class _Spread:
    """Median deviation by octave, and the days' distances between octaves, in cents."""

    by_octave: tuple[tuple[int, float], ...]
    spreads: tuple[float, ...]


def _spread(
    part: PartAnalysis,
    group: MatchGroup,
    keys: Mapping[str, str],
    by_key: Mapping[str, Days],
) -> _Spread:
    octave_of = {one.place.id: one.place.pitch.octave for one in part.accidentals}
    by_day: defaultdict[int, defaultdict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
    by_octave: defaultdict[int, list[float]] = defaultdict(list)
    for note in group.notes:
        of = by_key.get(keys.get(note, ""))
        if of is not None:
            by_octave[octave_of[note]] += of.deviations_cents
            for day, cents in zip(of.days, of.deviations_cents, strict=True):
                by_day[day][octave_of[note]].append(cents)
    spreads = []
    for _, octaves in sorted(by_day.items()):
        # A day that lacks an octave says nothing of how far apart they all are.
        if len(octaves) == len(by_octave) > 1:
            means = [fmean(values) for values in octaves.values()]
            spreads.append(max(means) - min(means))
    return _Spread(
        tuple((octave, median(values)) for octave, values in sorted(by_octave.items())),
        tuple(spreads),
    )


def _group(
    group: MatchGroup, finding: Finding, line: Days, spread: _Spread, trend: tuple[float, float]
) -> GroupFinding:
    values = spread.spreads
    tau, p_spread = trend
    third = thirds(len(values))
    octaves: Octaves | None = None
    if len(spread.by_octave) > 1:
        if len(values) < FEWEST_DAYS:
            octaves = "too few days"
        elif p_spread <= LEVEL:
            octaves = "closer" if tau < 0 else "further apart"
        else:
            octaves = "no change shown"
    return GroupFinding(
        group,
        finding,
        line,
        spread.by_octave,
        len(values),
        median(values[:third]) if values else None,
        median(values[-third:]) if values else None,
        p_spread,
        octaves,
    )


def _leans(
    part: PartAnalysis,
    group: MatchGroup,
    keys: Mapping[str, str],
    by_key: Mapping[str, Days],
) -> Iterable[HabitualLean]:
    anchors = {one.place.id: one.anchor for one in part.accidentals}
    for lean in group.leans:
        by_day: defaultdict[int, list[float]] = defaultdict(list)
        for note in lean.notes:
            of = by_key.get(keys.get(note, ""))
            if of is not None:
                for day, cents in zip(of.days, of.leans_cents, strict=True):
                    if cents is not None:
                        by_day[day].append(cents)
        if not by_day:
            continue
        values = [fmean(of) for of in by_day.values()]
        middle = median(values)
        anchor = anchors[lean.notes[0]]
        assert anchor is not None  # noqa: S101 - members of a lean have one
        yield HabitualLean(
            group.label,
            group.pitch_class,
            describe(lean.interval, anchor.place.pitch).replace(
                str(anchor.place.pitch), str(lean.anchor)
            ),
            len(values),
            middle,
            median([abs(value - middle) for value in values]),
        )
