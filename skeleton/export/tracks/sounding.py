"""What every note of a practice track sounds in Hz, and the tones of its drone.

Skeleton notes and accidentals have their targets (:mod:`skeleton.intonation.targets`), so all
returns of a note with one lean stand alike in every octave. A note that is neither stands with its
open string where it is named like one, else where the system of the targets has it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from skeleton.analysis.results import PartAnalysis, Passage
from skeleton.errors import OptionError
from skeleton.intonation.drones import choose_drone
from skeleton.intonation.reference import Reference, open_string, system_place
from skeleton.intonation.results import EtudeTargets
from skeleton.score.model import Note, Part
from skeleton.theory.instrument import INSTRUMENTS, Instrument, custom
from skeleton.theory.interval import Interval, transpose
from skeleton.theory.pitch import Pitch, parse_pitch
from skeleton.theory.strings import equal, pure, strings_from_hz
from skeleton.theory.tuning import DEFAULT_A4_HZ, System


def note_hz(found: EtudeTargets, notes: Iterable[str]) -> dict[str, float]:
    """Return the frequency in Hz of each of these notes, by id; ids without a pitch are left out.

    Args:
        found: the targets of all passages of the etude.
        notes: ids of notes in its analysed parts.
    """
    wanted = set(notes)
    known = {
        place.id: target.hz
        for passage in found.passages
        for target in passage.targets
        for place in target.places
    }
    heard: dict[str, float] = {}
    references = {passage.part: passage.reference for passage in found.passages}
    for part_id, reference in references.items():
        part = found.analysis.score.part(part_id)
        by_pitch: dict[Pitch, float] = {}
        for note in part.notes:
            if note.id not in wanted or note.pitch is None:
                continue
            if note.id in known:
                heard[note.id] = known[note.id]
                continue
            pitch = _sounding(part, note)
            if pitch not in by_pitch:
                by_pitch[pitch] = pitch_hz(reference, pitch)
            heard[note.id] = by_pitch[pitch]
    return heard


def pitch_hz(reference: Reference, pitch: Pitch) -> float:
    """Return the frequency in Hz of a sounding pitch: with its open string, else by the system."""
    match = None if pitch.is_microtone else reference.tuning.match_hz(pitch)
    return system_place(reference, pitch).hz if match is None else match


def named_drone(reference: Reference, names: Sequence[str]) -> tuple[Pitch, ...]:
    """Return the pitches of a drone by name: ``D4``, or ``D`` for the open string of that name.

    Raises:
        OptionError: a name is no pitch, and no open string of the instrument.
    """
    pitches = []
    for name in names:
        if any(char.isdigit() for char in name):
            pitches.append(parse_pitch(name))
        else:
            pitches.append(open_string(reference.tuning.instrument, name))
    return tuple(dict.fromkeys(pitches))


def chosen_drone(found: EtudeTargets, passage: Passage) -> tuple[tuple[Pitch, ...], str]:
    """Return the open strings that serve most of a passage's skeleton, and why.

    The first analysed part that has a skeleton there decides. No strings where none serves.

    Raises:
        OptionError: there is no analysed part.
    """
    analysis = found.analysis
    if not analysis.parts:
        raise OptionError(f"{analysis.score.source.name}: there is no part to play")
    for part in analysis.parts:
        pitches = _skeleton(found, part, passage)
        if pitches:
            choice = choose_drone(part.instrument, pitches)
            return choice.strings, choice.why
    return (), "the passage has no skeleton notes"


def strings_reference(
    instrument: Instrument | None,
    open_strings: Sequence[Pitch] | None,
    *,
    a4_hz: float | None,
    strings_hz: Sequence[float] | None,
    system: System,
) -> Reference:
    """Return the strings and the system that a drone without a score is made by.

    Args:
        instrument: whose strings; a violin's where neither this nor a list is given.
        open_strings: a list of the strings' sounding pitches instead.
        a4_hz: what they are tuned from; 440 Hz by default.
        strings_hz: the strings as measured, low to high, instead.
        system: under ``equal`` the strings are tuned to it too.

    Raises:
        OptionError: a value is out of range, or the strings do not fit the instrument.
    """
    chosen = custom(open_strings) if open_strings else instrument or INSTRUMENTS["violin"]
    if strings_hz is not None:
        return Reference(strings_from_hz(chosen, strings_hz), system)
    tune = equal if system == "equal" else pure
    return Reference(tune(chosen, DEFAULT_A4_HZ if a4_hz is None else a4_hz), system)


def reference_of(found: EtudeTargets) -> Reference:
    """Return the strings and the system of the first analysed part.

    Raises:
        OptionError: there is no analysed part with a passage.
    """
    if not found.passages:
        name = found.analysis.score.source.name
        raise OptionError(f"{name}: there is no passage to play")
    return found.passages[0].reference


def _skeleton(found: EtudeTargets, part: PartAnalysis, passage: Passage) -> list[Pitch]:
    score_part = found.analysis.score.part(part.part)
    inside = {note.place.id for note in part.skeleton if passage.holds(note.place.measure_index)}
    notes: Mapping[str, Note] = {note.id: note for note in score_part.notes if note.id in inside}
    return [_sounding(score_part, note) for note in notes.values()]


def _sounding(part: Part, note: Note) -> Pitch:
    if note.pitch is None:
        raise OptionError(f"note {note.id} has no pitch")
    if not part.transpositions:
        return note.pitch
    shift = part.transposition_at(note.onset_quarters, note.staff)
    return transpose(note.pitch, Interval(shift.diatonic, shift.chromatic))
