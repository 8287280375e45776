"""From an etude and a take to what is to be said about it: the one way in."""

from __future__ import annotations

from collections.abc import Sequence

from skeleton.analysis.results import Analysis, PartAnalysis
from skeleton.audio.background import without_drone
from skeleton.audio.resample import Mono
from skeleton.audio.strings import soundings
from skeleton.errors import OptionError
from skeleton.listening import take_reference
from skeleton.listening.alignment import align
from skeleton.listening.events import ScoreEvent, score_events
from skeleton.listening.judge import JudgedNote, Limits, judge_attempts, judge_notes
from skeleton.listening.measure import measure_notes
from skeleton.listening.note_targets import note_targets
from skeleton.listening.notices import listening_notices
from skeleton.listening.report import TakeReport, findings
from skeleton.listening.resonance import resonances
from skeleton.listening.returns import judge_returns
from skeleton.listening.tendency import tendency
from skeleton.theory.instrument import open_string_hz
from skeleton.theory.strings import StringTuning
from skeleton.theory.tuning import System


def listen(
    analysis: Analysis,
    samples: Mono,
    rate: int,
    *,
    part: str | None = None,
    passage: str | None = None,
    measures: tuple[str, str] | None = None,
    strings_hz: Sequence[float] | None = None,
    system: System = "pythagorean",
    limits: Limits | None = None,
) -> TakeReport:
    """Judge a take of an etude or of a stretch of it.

    Args:
        analysis: the etude.
        samples: the take, one channel; all of it is held in memory.
        rate: its samples a second.
        part: id of the part that is played; needed where there are several.
        passage: name of the passage that is played; by default the whole etude may be.
        measures: printed numbers of the first and last measure played, instead.
        strings_hz: the open strings as measured, low to high; by default those played before the
            first note, else the height of the take's own notes.
        system: what places the notes that no string and no anchor places.
        limits: what may be off.

    Raises:
        OptionError: no such part, passage or measure, or strings that cannot be the instrument's.
        TakeError: nothing can be heard in the take, or not this music.
    """
    limits = limits or Limits()
    found = _part(analysis, part)
    first, last = _range(analysis, found, passage, measures)
    given = None if strings_hz is None else take_reference.given(found.instrument, strings_hz)
    expected_hz = open_string_hz(found.instrument, analysis.a4_hz) if given is None else given.hz
    nominal = note_targets(analysis, found, system=system, strings_hz=expected_hz)
    score_part = analysis.score.part(found.part)
    events = score_events(score_part, {note: one.hz for note, one in nominal.items()}, first, last)
    held_hz = sorted({hz for event in events for hz in event.held_hz})
    clear, drone = without_drone(samples, rate, held_hz)
    beginning = soundings(
        clear[: round(take_reference.SEARCH_S * rate)], rate, found.instrument, analysis.a4_hz
    )
    music_s = take_reference.strings_end_s(beginning, found.instrument, events)
    strings = [one for one in beginning if one.end_s <= music_s]
    if strings:
        # The strings are no notes of the etude, whatever it asks for first.
        silent = round(music_s * rate)
        samples = _silenced(samples, silent)
        clear = _silenced(clear, silent) if drone else samples
    aligned = align(clear, rate, events)
    heard = measure_notes(clear, rate, events, aligned)
    reference = (
        given
        or (take_reference.from_strings(strings, found.instrument) if strings else None)
        or take_reference.from_notes(heard, nominal, found.instrument, expected_hz)
    )
    targets = note_targets(analysis, found, system=system, strings_hz=reference.hz)
    attempts = judge_attempts(heard, targets, reference, limits)
    notes = _in_order(judge_notes(heard, targets, reference, limits), events)
    returns = judge_returns(found.matches, notes, targets, limits)
    whole = tendency(
        [(one.heard[0].start_s, one.cents) for one in attempts if one.cents is not None],
        max(reference.se_cents),
        own_reference=reference.origin == "notes",
    )
    return TakeReport(
        analysis=analysis,
        part=found,
        first_measure=first,
        last_measure=last,
        events=events,
        targets=targets,
        alignment=aligned,
        reference=reference,
        limits=limits,
        attempts=attempts,
        notes=notes,
        returns=returns,
        tendency=whole,
        findings=findings(notes, targets, returns, whole),
        notices=tuple(listening_notices(aligned, reference, heard, drone)),
        resonances=resonances(
            samples,
            rate,
            events,
            aligned,
            heard=heard,
            targets=targets,
            tuning=StringTuning(found.instrument, reference.hz, "measured"),
        ),
    )


def _part(analysis: Analysis, name: str | None) -> PartAnalysis:
    if name is None and len(analysis.parts) == 1:
        return analysis.parts[0]
    names = ", ".join(one.part for one in analysis.parts)
    for one in analysis.parts:
        if one.part == name:
            return one
    source = analysis.score.source.name
    if name is None:
        raise OptionError(f"{source}: has several parts; say which was played: {names}")
    raise OptionError(f"{source}: no part {name!r}; parts are {names}")


def _range(
    analysis: Analysis,
    found: PartAnalysis,
    passage: str | None,
    measures: tuple[str, str] | None,
) -> tuple[int, int]:
    """First and last ordinal of the measures that are listened for."""
    source = analysis.score.source.name
    all_measures = analysis.score.part(found.part).measures
    if passage is not None and measures is not None:
        raise OptionError("give a passage or measures, not both")
    if passage is not None:
        for one in analysis.passages:
            if one.name == passage:
                return one.first_index, one.last_index
        names = ", ".join(one.name for one in analysis.passages)
        raise OptionError(f"{source}: no passage {passage!r}; there are {names}")
    if measures is None:
        return 0, len(all_measures) - 1
    places = []
    for number in measures:
        at = [one.index for one in all_measures if one.number == number]
        if not at:
            raise OptionError(
                f"{source}: no measure {number!r}; they go from {all_measures[0].number} to "
                f"{all_measures[-1].number}"
            )
        places.append((at[0], at[-1]))
    first, last = places[0][0], places[1][1]
    if first > last:
        raise OptionError(f"measures {measures[0]} to {measures[1]} run backwards; turn them round")
    return first, last


def _in_order(judged: Sequence[JudgedNote], events: Sequence[ScoreEvent]) -> tuple[JudgedNote, ...]:
    order = {note: place for place, event in enumerate(events) for note in event.notes}
    return tuple(sorted(judged, key=lambda one: order[one.note]))


def _silenced(samples: Mono, count: int) -> Mono:
    """A copy whose first samples are silent."""
    found = samples.copy()
    found[:count] = 0.0
    return found
