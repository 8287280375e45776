"""The attacks of a part in time order, with whole-number times.

A score's times are exact fractions, and comparing fractions is slow. Here each onset becomes a
count of *ticks*: the largest time unit of which every onset and duration of the score is a whole
multiple. Differences of ticks are therefore exact distances, and all rules that ask what is
nearer compare integers.

Conventions
-----------
* Only what a player attacks has a place: pitched, no cue, no tied continuation
  (:attr:`~skeleton.score.model.Note.is_attack`). A continuation is spoken of through its attack:
  :attr:`Timeline.index` maps the ids of both to the same number.
* Time order is by onset, then by measure, grace notes before the notes they lean on, then by
  place in the document. Grace notes keep the onset of the note they lean on.
* A chord is what the file writes as one: a note and the chord members after it. Two voices that
  strike together are two events.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import lcm

from skeleton.analysis.results import Place
from skeleton.score.model import Note, Part
from skeleton.theory.interval import Interval


@dataclass(frozen=True, slots=True)
class Timeline:
    """One part's attacks in time order; all tuples run parallel to ``attacks``.

    ``pitched`` are the attacks and the tied continuations, in time order. ``chord`` names the
    event an attack belongs to (equal numbers: one chord). ``letters`` and ``half_steps`` are the
    written pitch as two counts, from C0 and as MIDI number. ``held`` gives the attacks that are
    held, tied, into the chord of an attack.
    """

    part: Part
    ticks_per_quarter: int
    pitched: tuple[Note, ...]
    attacks: tuple[Note, ...]
    ticks: tuple[int, ...]
    chord: tuple[int, ...]
    letters: tuple[int, ...]
    half_steps: tuple[int | Fraction, ...]
    index: Mapping[str, int]
    held: Mapping[int, tuple[int, ...]]

    def interval(self, first: int, second: int) -> Interval:
        """Return the written interval from one attack to another."""
        return _interval(
            self.letters[second] - self.letters[first],
            self.half_steps[second] - self.half_steps[first],
        )

    def to_ticks(self, time_quarters: Fraction) -> int:
        """Time in quarters as ticks. The time must be one of the score's own."""
        return time_quarters.numerator * (self.ticks_per_quarter // time_quarters.denominator)

    def places(self, attacks: Iterable[int]) -> dict[int, Place]:
        """Return where each of these attacks stands, for readers."""
        part_id, measures = self.part.id, self.part.measures
        starts = [self.to_ticks(measure.onset_quarters) for measure in measures]
        beats: dict[tuple[int, int], Fraction] = {}
        found: dict[int, Place] = {}
        for attack in attacks:
            note = self.attacks[attack]
            if note.pitch is None:  # attacks are pitched; this tells the type checker so
                continue
            measure = measures[note.measure]
            key = (self.ticks[attack] - starts[note.measure], measure.metre.beat_type)
            beat = beats.get(key)
            if beat is None:
                beat = beats[key] = 1 + Fraction(key[0] * key[1], 4 * self.ticks_per_quarter)
            found[attack] = Place(
                note.id,
                part_id,
                measure.number,
                note.measure,
                beat,
                note.onset_quarters,
                note.voice,
                note.pitch,
            )
        return found


def ticks_per_quarter(parts: Iterable[Part]) -> int:
    """Return the smallest number of ticks in a quarter that makes every time of the parts whole."""
    times = set()
    for part in parts:
        for note in part.notes:
            times.add(note.onset_quarters.denominator)
            times.add(note.duration_quarters.denominator)
        times.update(measure.onset_quarters.denominator for measure in part.measures)
        for measure in part.measures:
            times.add(measure.length_quarters.denominator)
            times.add(measure.metre.length_quarters.denominator)
        times.update(change.onset_quarters.denominator for change in part.keys)
        times.update(change.onset_quarters.denominator for change in part.transpositions)
        times.update(slur.onset_quarters.denominator for slur in part.slurs)
        times.update(slur.end_quarters.denominator for slur in part.slurs)
    return lcm(*times)


def timeline(part: Part, unit: int | None = None) -> Timeline:
    """Return the part's attacks in time order.

    Args:
        part: the part as read.
        unit: ticks in a quarter; what the part needs by itself where none is given.
    """
    unit = ticks_per_quarter([part]) if unit is None else unit
    chord_of: dict[int, int] = {}
    head = -1
    entries: list[tuple[int, int, bool, int, Note]] = []
    for note in part.notes:
        if not note.chord:
            head = note.index
        else:
            chord_of[note.index] = head
        if note.pitch is not None and not note.cue:
            onset = note.onset_quarters
            tick = onset.numerator * (unit // onset.denominator)
            entries.append((tick, note.measure, not note.grace, note.index, note))
    entries.sort()  # never compares notes: their indices differ
    attacks: list[Note] = []
    ticks: list[int] = []
    chords: list[int] = []
    index: dict[str, int] = {}
    held_by_chord: dict[int, list[int]] = {}
    for tick, _, _, _, note in entries:
        chord = chord_of.get(note.index, note.index)
        if note.tied_from is None:
            index[note.id] = len(attacks)
            attacks.append(note)
            ticks.append(tick)
            chords.append(chord)
        elif (origin := index.get(note.tied_from)) is not None:
            index[note.id] = origin
            held_by_chord.setdefault(chord, []).append(origin)
    held = {
        attack: tuple(held_by_chord[chord])
        for attack, chord in enumerate(chords)
        if chord in held_by_chord
    }
    return Timeline(
        part,
        unit,
        tuple(entry[4] for entry in entries),
        tuple(attacks),
        tuple(ticks),
        tuple(chords),
        tuple(note.pitch.diatonic for note in attacks if note.pitch is not None),
        tuple(note.pitch.midi for note in attacks if note.pitch is not None),
        index,
        held,
    )


@lru_cache(maxsize=4096)
def _interval(steps: int, semitones: int | Fraction) -> Interval:
    if isinstance(semitones, Fraction) and semitones.denominator == 1:
        semitones = int(semitones)
    return Interval(steps, semitones)
