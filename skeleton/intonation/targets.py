"""From an analysis to its targets: the one way in.

What a target is, and what its roles mean, stands in :mod:`skeleton.intonation.results`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from skeleton.analysis.results import (
    AccidentalNote,
    Analysis,
    Anchor,
    PartAnalysis,
    Passage,
    Place,
)
from skeleton.errors import OptionError
from skeleton.intonation.bands import FIXED_TOLERANCE_CENTS, HALF_STEP_BANDS, Band
from skeleton.intonation.drones import choose_drone
from skeleton.intonation.leans import LeanChoices, Sound, sounds
from skeleton.intonation.reference import Reference, above_equal_cents, hull_of_systems, open_string
from skeleton.intonation.results import EtudeTargets, PassageTargets, Role, Target
from skeleton.intonation.target_notices import part_notices, unused_leans
from skeleton.score.model import Notice
from skeleton.theory.instrument import Instrument, string_named
from skeleton.theory.interval import Interval, transpose
from skeleton.theory.pitch import Pitch
from skeleton.theory.strings import StringTuning, equal, pure, strings_from_hz
from skeleton.theory.tuning import SYSTEMS, System, cents

Tuned = Literal["pure", "equal"]
"""How the open strings are tuned from the A where nobody measured them."""


@dataclass(frozen=True, slots=True)
class _Standing:
    """A target with no places, where one note has it, and the anchor it has there."""

    target: Target
    place: Place
    anchor: Anchor | None
    structural: bool


def targets(
    analysis: Analysis,
    *,
    system: System = "pythagorean",
    against: str | None = None,
    strings: Tuned | None = None,
    strings_hz: Sequence[float] | None = None,
    lean_cents: float | None = None,
    chromatic_lean_cents: float | None = None,
    passages: Sequence[str] = (),
) -> EtudeTargets:
    """Return the target of every skeleton note and accidental.

    Args:
        analysis: the etude; its ``a4_hz`` and ``leans`` count.
        system: what places the notes that no string and no chosen lean places.
        against: the open string ("D" or "D4") that just intonation is pure against.
        strings: how the strings are tuned from the A; by default equal under the equal system
            (as to a keyboard), otherwise pure.
        strings_hz: the strings as measured, low to high; they then give the A4 as well.
        lean_cents: the size of every diatonic half step (F sharp to G).
        chromatic_lean_cents: the size of every chromatic half step (F to F sharp).
        passages: the names of those wanted; all where empty.

    Raises:
        OptionError: there is no such passage or string, the measured strings cannot be those of
            the instrument, or two options contradict each other.
    """
    _check_options(system, against, strings, strings_hz)
    wanted = _wanted(analysis, passages)
    choices = LeanChoices(analysis.leans, lean_cents, chromatic_lean_cents)
    made: list[tuple[str, Reference, dict[int, list[_Standing]]]] = []
    notices: list[Notice] = []
    for part in analysis.parts:
        tuning = _tuning(part.instrument, analysis.a4_hz, system, strings, strings_hz)
        string = None if against is None else open_string(part.instrument, against)
        reference = Reference(tuning, system, string)
        by_measure, circles = _part(analysis, part, reference, choices)
        made.append((part.part, reference, by_measure))
        standing = [
            (one.target, one.place, one.anchor) for held in by_measure.values() for one in held
        ]
        notices += part_notices(part.part, standing, reference, circles)
    notices += unused_leans(analysis)
    return EtudeTargets(
        analysis,
        system,
        tuple(
            _passage(passage, part_id, reference, by_measure)
            for passage in wanted
            for part_id, reference, by_measure in made
        ),
        tuple(notices),
    )


def _check_options(
    system: System,
    against: str | None,
    strings: Tuned | None,
    strings_hz: Sequence[float] | None,
) -> None:
    if system not in SYSTEMS:
        raise OptionError(f"no system {system!r}; systems are {', '.join(SYSTEMS)}")
    if system == "just" and against is None:
        raise OptionError("just intonation is pure against one open string; name it, such as D")
    if system != "just" and against is not None:
        raise OptionError(f"only just intonation is against a string; leave out {against!r}")
    if strings is not None and strings_hz is not None:
        raise OptionError("measured strings are what they are; leave out pure or equal")


def _wanted(analysis: Analysis, names: Sequence[str]) -> tuple[Passage, ...]:
    known = [passage.name for passage in analysis.passages]
    for name in names:
        if name not in known:
            raise OptionError(
                f"{analysis.score.source.name}: no passage {name!r}; there are {', '.join(known)}"
            )
    return tuple(one for one in analysis.passages if not names or one.name in names)


def _tuning(
    instrument: Instrument,
    a4_hz: float,
    system: System,
    strings: Tuned | None,
    strings_hz: Sequence[float] | None,
) -> StringTuning:
    if strings_hz is not None:
        return strings_from_hz(instrument, strings_hz)
    if (strings or ("equal" if system == "equal" else "pure")) == "equal":
        return equal(instrument, a4_hz)
    return pure(instrument, a4_hz)


def _part(
    analysis: Analysis, part: PartAnalysis, reference: Reference, choices: LeanChoices
) -> tuple[dict[int, list[_Standing]], tuple[Place, ...]]:
    """Return what stands in each measure of a part, and the notes whose lean a circle broke."""
    accidentals = {note.place.id: note for note in part.accidentals}
    places = {note.place.id: note.place for note in part.skeleton}
    places |= {note: one.place for note, one in accidentals.items() if note not in places}
    order = sorted(places.values(), key=lambda one: (one.measure_index, float(one.onset_quarters)))
    open_names = {one.place.id for one in part.skeleton if one.open_string is not None}
    open_names |= {note for note, one in accidentals.items() if one.open_string}
    sounding = _sounding(analysis, part, places)
    maker = _Maker(part, reference)
    fixed_hz = {note: maker.string_hz(sounding(note)) for note in open_names}
    found, circles = sounds(
        [one.id for one in order],
        accidentals,
        fixed_hz=fixed_hz,
        sounding=sounding,
        reference=reference,
        choices=choices,
    )
    by_measure: dict[int, list[_Standing]] = {}
    for place in order:
        note = place.id
        accidental = accidentals.get(note)
        anchor = accidental.anchor if accidental else None
        target = maker.target(
            place,
            sounding(note),
            accidental,
            found[note],
            found[anchor.place.id].hz if anchor else None,
            fixed=note in fixed_hz,
        )
        structural = accidental is None or accidental.structural
        standing = _Standing(target, place, anchor, structural)
        by_measure.setdefault(place.measure_index, []).append(standing)
    return by_measure, tuple(places[note] for note in circles)


def _sounding(
    analysis: Analysis, part: PartAnalysis, places: Mapping[str, Place]
) -> Callable[[str], Pitch]:
    """Return the function from a note's id to its sounding pitch."""
    score_part = analysis.score.part(part.part)
    if not score_part.transpositions:
        return lambda note: places[note].pitch
    staves = {note.id: note.staff for note in score_part.notes if note.id in places}
    pitches = {}
    for note, place in places.items():
        shift = score_part.transposition_at(place.onset_quarters, staves[note])
        pitches[note] = transpose(place.pitch, Interval(shift.diatonic, shift.chromatic))
    return pitches.__getitem__


def _passage(
    passage: Passage,
    part: str,
    reference: Reference,
    by_measure: Mapping[int, Sequence[_Standing]],
) -> PassageTargets:
    held = [
        one
        for measure in range(passage.first_index, passage.last_index + 1)
        for one in by_measure.get(measure, ())
    ]
    drone = choose_drone(
        reference.tuning.instrument, (one.target.sounding for one in held if one.structural)
    )
    return PassageTargets(passage, part, reference, _without_repeats(held), drone)


def _without_repeats(held: Sequence[_Standing]) -> tuple[Target, ...]:
    # Equal targets of a part are one object, so its identity tells repeats quickly.
    together: dict[int, list[_Standing]] = {}
    for one in held:
        together.setdefault(id(one.target), []).append(one)
    return tuple(
        replace(same[0].target, anchor=same[0].anchor, places=tuple(one.place for one in same))
        for same in together.values()
    )


class _Maker:
    """Makes the targets of one part; equal questions get one answer, the same object."""

    def __init__(self, part: PartAnalysis, reference: Reference) -> None:
        self._reference = reference
        self._strings: dict[Pitch, float] = {}
        self._bands: dict[Pitch, Band] = {}
        self._targets: dict[tuple[object, ...], Target] = {}
        self._groups = {note: group for group in part.matches for note in group.notes}

    def string_hz(self, sounding: Pitch) -> float:
        """Return what a note named like an open string must sound."""
        if sounding not in self._strings:
            hz = self._reference.tuning.match_hz(sounding)
            if hz is None:
                raise OptionError(f"no open string is named like {sounding}")
            self._strings[sounding] = hz
        return self._strings[sounding]

    def target(
        self,
        place: Place,
        sounding: Pitch,
        accidental: AccidentalNote | None,
        sound: Sound,
        anchor_hz: float | None,
        *,
        fixed: bool,
    ) -> Target:
        """Return the target of a note, still without places."""
        anchor = accidental.anchor if accidental else None
        anchor_pitch = anchor.place.pitch if anchor else None
        key = (
            place.pitch,
            sounding,
            fixed,
            accidental is None,
            anchor_pitch,
            sound.hz,
            anchor_hz,
        )
        found = self._targets.get(key)
        if found is None:
            found = self._made(place, sounding, accidental, sound, anchor_hz, fixed=fixed)
            self._targets[key] = found
        return found

    def _made(
        self,
        place: Place,
        sounding: Pitch,
        accidental: AccidentalNote | None,
        sound: Sound,
        anchor_hz: float | None,
        *,
        fixed: bool,
    ) -> Target:
        reference = self._reference
        string = string_named(reference.tuning.instrument, sounding) if fixed else None
        anchor = accidental.anchor if accidental else None
        group = self._groups.get(place.id)
        step = None
        if anchor is not None and anchor_hz is not None:
            step = cents(sound.hz / anchor_hz) * (anchor.interval.sign or 1)
        role: Role = "fixed" if fixed else "accidental" if accidental else "skeleton"
        return Target(
            pitch=place.pitch,
            sounding=sounding,
            role=role,
            hz=sound.hz,
            equal_cents=above_equal_cents(reference, sounding, sound.hz),
            system=sound.system,
            string=string,
            octaves=sounding.octave - string.octave if string else None,
            tolerance_cents=FIXED_TOLERANCE_CENTS if fixed else None,
            band=None if fixed else self._band(sounding, sound),
            anchor=anchor,
            lean=sound.lean,
            step_cents=step,
            match=group.label if group else None,
            match_octaves=group.octaves if group else (),
            places=(),
        )

    def _band(self, sounding: Pitch, sound: Sound) -> Band:
        if sound.lean is not None:
            return HALF_STEP_BANDS[sound.lean.interval.name]
        if sounding not in self._bands:
            self._bands[sounding] = hull_of_systems(self._reference, sounding)
        return self._bands[sounding]
