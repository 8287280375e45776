"""What a handout says, in the order it says it: plain data, worded in one language.

PDF and page are made from the same :class:`Handout`; its pictures are
:class:`skeleton.export.handout.pictures.HandoutPictures`. Texts are one line each, without any
markup; whatever came from the score or the lesson file is text like any other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from skeleton.analysis.lesson import Lesson, LessonPassage
from skeleton.analysis.results import Analysis, PartAnalysis, Passage, Place
from skeleton.export.handout.target_table import TargetTable, target_table
from skeleton.export.handout.words import Words
from skeleton.export.lists.checklist import (
    Match,
    PassageChecklist,
    TunedNote,
    checklist,
    tuning_order,
)
from skeleton.export.lists.document import Table
from skeleton.export.lists.outline_text import part_name, title_of
from skeleton.export.lists.words import beat_text, one_line
from skeleton.export.marking.marks import names_intervals
from skeleton.intonation.drones import DroneChoice
from skeleton.intonation.results import EtudeTargets
from skeleton.theory.instrument import Instrument, open_string_hz
from skeleton.theory.interval import between
from skeleton.theory.pitch import Pitch


@dataclass(frozen=True, slots=True)
class Tuning:
    """The open strings of an instrument in the order of tuning, each with what it is tuned from.

    ``part`` is the part's name, None where there is only one instrument.
    """

    part: str | None
    instrument: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FixedRow:
    """Notes to match with an open string: their pitches, and which string."""

    notes: str
    string: str


@dataclass(frozen=True, slots=True)
class NoteRow:
    """An accidental to tune: its pitch, from what, where it stands, its match, its notes' ids."""

    note: str
    how: str
    places: str
    match: str
    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PartSheet:
    """The checklist of one part in a passage. ``part`` is None where there is one part only."""

    part: str | None
    drone: str
    fixed: tuple[FixedRow, ...]
    notes: tuple[NoteRow, ...]
    twins: str


@dataclass(frozen=True, slots=True)
class PassageSheet:
    """A passage: where it is, this week's work on it, and its checklists.

    ``first_index`` and ``last_index`` are ordinals of measures. Texts are empty where the lesson
    says nothing.
    """

    name: str
    title: str
    measures: str
    first_index: int
    last_index: int
    tempo: str
    stage: str
    goal: str
    parts: tuple[PartSheet, ...]


@dataclass(frozen=True, slots=True)
class MatchRow:
    """A match group: its letter, note, pitches, leans and measures, and the ids of its notes."""

    part: str | None
    letter: str
    note: str
    pitches: str
    lean: str
    measures: str
    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Handout:
    """Everything a handout says.

    ``assignment`` is the teacher's own text by paragraphs, empty without one; ``steps`` are what
    to do instead. ``plan`` is this week's work by passage. ``legend`` explains the marks of the
    full etude. ``words`` are the language's.
    """

    title: str
    composer: str
    source: str
    made_from: str
    strings: tuple[str, ...]
    assignment: tuple[str, ...]
    steps: tuple[str, ...]
    plan: Table
    tuning: tuple[Tuning, ...]
    passages: tuple[PassageSheet, ...]
    matches: tuple[MatchRow, ...]
    targets: TargetTable
    legend: tuple[str, ...]
    cautions: tuple[str, ...]
    words: Words


def handout_content(
    analysis: Analysis, found: EtudeTargets, words: Words, lesson: Lesson | None = None
) -> Handout:
    """Return what the handout of an etude says.

    Args:
        analysis: the etude.
        found: its targets, of all passages.
        words: the language.
        lesson: the lesson the analysis was made with, for the assignment.
    """
    lesson = lesson or Lesson()
    phrases = words.phrases
    several = len(analysis.parts) > 1
    names = {part.part: part_name(analysis, part) for part in analysis.parts}
    said = {passage.name: passage for passage in lesson.passages}
    lists: dict[str, list[PassageChecklist]] = {}
    every = checklist(analysis, [passage.name for passage in analysis.passages])
    for one in every.passages:
        lists.setdefault(one.passage.name, []).append(one)
    drones = {(one.passage.name, one.part): one.drone for one in found.passages}

    def sheet(passage: Passage) -> PassageSheet:
        own = said.get(passage.name) or LessonPassage(passage.name, ("", ""))
        return PassageSheet(
            one_line(passage.name),
            phrases.passage.format(name=one_line(passage.name)),
            _measures_text(passage, words),
            passage.first_index,
            passage.last_index,
            "" if own.tempo is None else phrases.tempo.format(tempo=_tempo(own.tempo, words)),
            phrases.stages[own.stage] if own.stage else "",
            one_line(own.goal or ""),
            tuple(
                PartSheet(
                    names[one.part] if several else None,
                    _drone_text(drones[passage.name, one.part], words),
                    tuple(_fixed(one, words)),
                    tuple(_note(note, words) for note in one.accidentals),
                    _twins(one, words),
                )
                for one in lists.get(passage.name, ())
            ),
        )

    sheets = tuple(sheet(passage) for passage in analysis.passages)
    title = one_line(lesson.title or "") or title_of(analysis)
    source = one_line(analysis.score.source.name)
    composer = one_line(analysis.score.composer or "")
    return Handout(
        title=title,
        composer=phrases.by.format(composer=composer) if composer else "",
        source=source,
        made_from=phrases.source.format(source=source, rule=words.rules[analysis.rule]),
        strings=tuple(dict.fromkeys(_strings(part, analysis, words) for part in analysis.parts)),
        assignment=tuple(one_line(line) for line in (lesson.assignment or "").splitlines()),
        steps=phrases.steps,
        plan=_plan(sheets, words),
        tuning=tuple(_tunings(analysis, names, words)),
        passages=sheets,
        matches=tuple(
            _match(match, analysis, one, names if several else {}, words)
            for match, one in _every_match(every.passages)
        ),
        targets=target_table(found, words, names if several else {}),
        legend=(*phrases.legend, *([phrases.legend_named] if names_intervals(analysis) else [])),
        cautions=tuple(words.cautions.values()),
        words=words,
    )


def places_text(places: Iterable[Place]) -> str:
    """Return measures, each with its beats: ``3 (2, 2½), 4 (1)``."""
    found = []
    for _, group in groupby(places, key=lambda place: place.measure_index):
        held = list(group)
        beats = dict.fromkeys(beat_text(place.beat, signs=True) for place in held)
        found.append(f"{one_line(held[0].measure)} ({', '.join(beats)})")
    return ", ".join(found)


def _measures_text(passage: Passage, words: Words) -> str:
    first, last = one_line(passage.first_measure), one_line(passage.last_measure)
    form = words.phrases.measure if first == last else words.phrases.measures
    return form.format(first=first, last=last)


def _tempo(tempo: float, words: Words) -> str:
    return f"{tempo:g}".replace(".", words.decimal)


def _instrument(instrument: Instrument, words: Words) -> str:
    return words.instruments.get(instrument.name, one_line(instrument.name))


def _strings(part: PartAnalysis, analysis: Analysis, words: Words) -> str:
    said = words.phrases.strings.format(
        instrument=_instrument(part.instrument, words),
        strings=" ".join(words.pitch(one) for one in part.instrument.open_strings),
        a4=_tempo(analysis.a4_hz, words),
    )
    return said[:1].upper() + said[1:]


def _plan(sheets: Sequence[PassageSheet], words: Words) -> Table:
    phrases = words.phrases
    return Table(
        (
            phrases.passage_head,
            phrases.measures_head,
            phrases.stage_head,
            phrases.tempo_head,
            phrases.goal_head,
        ),
        tuple((one.name, _span(one), one.stage, one.tempo, one.goal) for one in sheets),
    ).used()


def _span(sheet: PassageSheet) -> str:
    return sheet.measures.partition(" ")[2]


def _tunings(analysis: Analysis, names: dict[str, str], words: Words) -> Iterator[Tuning]:
    by_instrument: dict[Instrument, list[str]] = {}
    for part in analysis.parts:
        by_instrument.setdefault(part.instrument, []).append(names[part.part])
    for instrument, parts in by_instrument.items():
        hz = dict(
            zip(
                instrument.open_strings,
                open_string_hz(instrument, analysis.a4_hz),
                strict=True,
            )
        )
        yield Tuning(
            words.listed(dict.fromkeys(parts)) if len(by_instrument) > 1 else None,
            _instrument(instrument, words),
            tuple(_tuning_steps(instrument, hz, words)),
        )


def _tuning_steps(instrument: Instrument, hz: dict[Pitch, float], words: Words) -> Iterator[str]:
    strings = instrument.open_strings
    order = tuning_order(instrument, strings)
    reference = strings.index(order[0])
    for string in order:
        index = strings.index(string)
        said = words.number(hz[string], 2).rstrip("0").rstrip(words.decimal)
        if index == reference:
            yield words.phrases.tune_reference.format(string=words.pitch(string), hz=said)
            continue
        neighbour = strings[index + 1 if index < reference else index - 1]
        interval = between(min(string, neighbour, key=_height), max(string, neighbour, key=_height))
        yield words.phrases.tune_from.format(
            string=words.pitch(string),
            neighbour=words.pitch(neighbour),
            interval=words.interval(interval),
            hz=said,
        )


def _height(pitch: Pitch) -> Fraction | int:
    return pitch.midi


def _drone_text(drone: DroneChoice, words: Words) -> str:
    if not drone.strings:
        return words.phrases.no_drone if drone.notes else ""
    strings = words.listed(words.pitch(one) for one in drone.strings)
    served = words.phrases.drone_served.format(served=drone.served, notes=drone.notes)
    return f"{words.phrases.drone.format(strings=strings)} {served}"


def _fixed(one: PassageChecklist, words: Words) -> Iterator[FixedRow]:
    for name in one.fixed:
        yield FixedRow(
            " ".join(words.pitch(pitch) for pitch in name.pitches),
            words.phrases.as_open.format(string=words.pitch(name.string)),
        )


def _twins(one: PassageChecklist, words: Words) -> str:
    names = [words.listed((words.name(both.first), words.name(both.second))) for both in one.twins]
    return words.phrases.twins.format(names="; ".join(names)) if names else ""


def _note(note: TunedNote, words: Words) -> NoteRow:
    how = words.anchored(note.anchor)
    return NoteRow(
        words.pitch(note.pitch),
        f"{words.phrases.match_string}; {how}" if note.open_string else how,
        places_text(note.places),
        note.label or "",
        tuple(place.id for place in note.places),
    )


def _every_match(lists: Iterable[PassageChecklist]) -> Iterator[tuple[Match, PassageChecklist]]:
    """Yield every match once, those across octaves first, in the order of their letters."""
    known: dict[tuple[str, str], tuple[Match, PassageChecklist]] = {}
    for one in lists:
        for match in one.matches:
            known.setdefault((one.part, match.group.label), (match, one))
    yield from sorted(
        known.values(),
        key=lambda pair: (
            not pair[0].group.across_octaves,
            len(pair[0].group.label),
            pair[0].group.label,
        ),
    )


def _match(
    match: Match, analysis: Analysis, one: PassageChecklist, names: dict[str, str], words: Words
) -> MatchRow:
    group = match.group
    part = next(found for found in analysis.parts if found.part == one.part)
    ids = frozenset(group.notes)
    places = [note.place for note in part.accidentals if note.place.id in ids]
    pitches = sorted({place.pitch for place in places}, key=_height)
    if match.open_string:
        lean = words.phrases.match_string
    else:
        lean = "; ".join(
            dict.fromkeys(
                words.step(lean.interval, words.name(lean.anchor)) for lean in group.leans
            )
        )
    return MatchRow(
        names.get(one.part),
        group.label,
        words.name(group.pitch_class),
        " ".join(words.pitch(pitch) for pitch in pitches),
        lean,
        ", ".join(dict.fromkeys(one_line(place.measure) for place in places)),
        group.notes,
    )
