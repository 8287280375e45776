"""What a practice track plays: a passage as notes in time, before any tempo or tuning.

Stages
------
``bare`` and ``neighbours`` are the events of the reduction (``placement``),
with their own times: a skeleton note moved to its slur's start lasts as long as the slur. ``all``
is the etude as written: every attack with the notes tied to it as one, chords sounded together,
hidden notes that sound included, cue notes silent.

A passage is cut exactly: what sounds into it from before begins with it, what would sound on
after it ends with it. Rests stay. Repeats, endings, trills and tremolos are played as the bars
stand on the page, once. Grace notes are played in ``all`` only, before their note, short.

Times are quarters from the passage's start, exact; :class:`Excerpt` tells where its beats are.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate, takewhile
from typing import Literal

from skeleton.analysis.beats import (
    beat_length_quarters,
    from_downbeat_quarters,
    is_beat,
    is_pickup,
)
from skeleton.analysis.results import Analysis, PartAnalysis, Passage
from skeleton.errors import OptionError
from skeleton.export.reducing.placement import place
from skeleton.score.model import Measure, Metre, Note, Part

Stage = Literal["bare", "neighbours", "all"]

_FEWEST_COUNTED = 2
_COUNTED_WITHOUT_METRE = 4


@dataclass(frozen=True, slots=True)
class Heard:
    """A note from ``start`` to ``end``.

    ``line`` tells one voice from another. ``grace`` is 0, or how manyth before its note a grace
    note is, counted backwards; its start and end are both where that note begins.
    """

    note: str
    part: str
    line: tuple[str, int, str]
    start: Fraction
    end: Fraction
    grace: int = 0


@dataclass(frozen=True, slots=True)
class Bar:
    """A measure of the passage: where it stands, and where its beats do."""

    start: Fraction
    end: Fraction
    beats: tuple[Fraction, ...]


@dataclass(frozen=True, slots=True)
class Excerpt:
    """A passage to be played.

    ``beat`` is the length that a tempo counts, in quarters: that of the first measure's beat.
    ``count_in`` are the beats counted before the start, as times below 0, from ``lead_in`` on:
    a bar, and after it what a pickup leaves out of its own bar. ``pickup`` says whether the
    first bar is one.
    """

    notes: tuple[Heard, ...]
    bars: tuple[Bar, ...]
    beat: Fraction
    lead_in: Fraction
    count_in: tuple[Fraction, ...]
    pickup: bool = False

    @property
    def length(self) -> Fraction:
        """How long it is, in quarters."""
        return self.bars[-1].end


def excerpt(analysis: Analysis, passage: Passage, stage: Stage) -> Excerpt:
    """Return what is played of a passage, all analysed parts together.

    Raises:
        OptionError: the passage holds nothing to play.
    """
    notes: list[Heard] = []
    bars: tuple[Bar, ...] = ()
    first: Measure | None = None
    for found in analysis.parts:
        part = analysis.score.part(found.part)
        measures = part.measures[passage.first_index : passage.last_index + 1]
        if not measures:
            continue
        if first is None:
            first, bars = measures[0], _bars(measures)
        notes += _cut(_notes(analysis, part, found, stage), measures)
    name = f"{analysis.score.source.name}: passage {passage.name}"
    if first is None or not bars[-1].end:
        raise OptionError(f"{name} has no measures to play; choose another --passage")
    if not notes:
        raise OptionError(f"{name} has no notes at this stage; choose --stage all")
    lead_in, count_in = _count_in(first)
    order = sorted(notes, key=lambda note: (note.start, -note.grace))
    beat = beat_length_quarters(first.metre)
    return Excerpt(tuple(order), bars, beat, lead_in, count_in, is_pickup(first))


def passage_named(analysis: Analysis, name: str | None) -> Passage:
    """Return the passage of this name; the whole score as one passage where none is named.

    Raises:
        OptionError: there is no such passage, or nothing was analysed.
    """
    known = {passage.name: passage for passage in analysis.passages}
    if name is not None:
        folded = {key.casefold(): passage for key, passage in known.items()}
        found = known.get(name) or folded.get(name.casefold())
        if found is None:
            raise OptionError(
                f"{analysis.score.source.name}: no passage {name!r}; there are {', '.join(known)}"
            )
        return found
    if not analysis.parts:
        raise OptionError(f"{analysis.score.source.name}: there is no part to play")
    measures = analysis.score.part(analysis.parts[0].part).measures
    if not measures:
        raise OptionError(f"{analysis.score.source.name}: there are no measures to play")
    return Passage(
        "all", measures[0].index, measures[-1].index, measures[0].number, measures[-1].number
    )


def _notes(
    analysis: Analysis, part: Part, found: PartAnalysis, stage: Stage
) -> Iterator[tuple[Heard, int]]:
    """Notes with the ordinal of the measure they begin in, times from the part's start."""
    if stage == "all":
        yield from _as_written(part)
        return
    measure_of = {note.id: note.measure for note in part.notes}
    for event in place(
        part,
        found,
        analysis.passages,
        analysis.rule,
        keep_open_strings=analysis.keep_open_strings,
        accidentals=stage == "neighbours",
    ):
        line = (part.id, event.staff, event.voice)
        for note in event.notes:
            yield Heard(note, part.id, line, event.start, event.end), measure_of[note]


def _as_written(part: Part) -> Iterator[tuple[Heard, int]]:
    head: dict[str, str] = {}
    ends: dict[str, Fraction] = {}
    graces: dict[tuple[Fraction, int, str], list[Note]] = {}
    played = [note for note in part.notes if note.pitch is not None and not note.cue]
    for note in played:
        if note.grace:
            graces.setdefault((note.onset_quarters, note.staff, note.voice), []).append(note)
            continue
        origin = head.get(note.tied_from, note.id) if note.tied_from is not None else note.id
        head[note.id] = origin
        ends[origin] = max(ends.get(origin, note.end_quarters), note.end_quarters)
    for note in played:
        if head.get(note.id) == note.id and ends[note.id] > note.onset_quarters:
            line = (part.id, note.staff, note.voice)
            heard = Heard(note.id, part.id, line, note.onset_quarters, ends[note.id])
            yield heard, note.measure
    for (onset, staff, voice), group in graces.items():
        places = list(accumulate(int(not note.chord) for note in group))
        for note, counted in zip(group, places, strict=True):
            if note.is_attack:
                before = places[-1] - counted + 1
                line = (part.id, staff, voice)
                yield Heard(note.id, part.id, line, onset, onset, before), note.measure


def _cut(notes: Iterable[tuple[Heard, int]], measures: tuple[Measure, ...]) -> Iterator[Heard]:
    begin = measures[0].onset_quarters
    end = measures[-1].onset_quarters + measures[-1].length_quarters
    inside = range(measures[0].index, measures[-1].index + 1)
    for note, measure in notes:
        if note.grace:
            if measure in inside:
                onset = note.start - begin
                yield Heard(note.note, note.part, note.line, onset, onset, note.grace)
        elif note.start < end and note.end > begin:
            start, stop = max(note.start, begin) - begin, min(note.end, end) - begin
            yield Heard(note.note, note.part, note.line, start, stop)


def _bars(measures: tuple[Measure, ...]) -> tuple[Bar, ...]:
    begin = measures[0].onset_quarters
    bars = []
    for measure in measures:
        start = measure.onset_quarters - begin
        end = start + measure.length_quarters
        skipped = from_downbeat_quarters(measure)
        beats = (start + beat - skipped for beat in _beats(measure.metre, skipped + end - start))
        bars.append(Bar(start, end, tuple(beat for beat in beats if start <= beat < end)))
    return tuple(bars)


def _beats(metre: Metre, length: Fraction) -> Iterator[Fraction]:
    """The beats of a stretch of this length from a downbeat on."""
    unit = Fraction(4, metre.beat_type) if not metre.senza_misura else Fraction(1)
    times = (unit * count for count in range(int(length / unit) + 1))
    return (time for time in takewhile(lambda time: time < length, times) if is_beat(metre, time))


def _count_in(measure: Measure) -> tuple[Fraction, tuple[Fraction, ...]]:
    metre = measure.metre
    if metre.senza_misura:
        count = _COUNTED_WITHOUT_METRE
        return Fraction(-count), tuple(Fraction(beat - count) for beat in range(count))
    skipped = from_downbeat_quarters(measure)
    bar = metre.length_quarters
    one = list(_beats(metre, bar))
    bars = 1 if len(one) >= _FEWEST_COUNTED else _FEWEST_COUNTED
    start = -skipped - bars * bar
    beats = [start + number * bar + beat for number in range(bars + 1) for beat in one]
    return start, tuple(beat for beat in beats if beat < 0)
