"""The reading model: what the analysis needs to know of a score, as plain frozen data.

It is not all of MusicXML. What is written back to a user is a marked copy of the source, so
nothing of the file is lost; :attr:`Note.index` finds the element of a note in that copy.

Conventions
-----------
* Times are exact: quarters from the start of the part, as :class:`fractions.Fraction`.
* ``measure`` fields of notes are ordinals into :attr:`Part.measures`, counted from 0. What is
  printed over the bar is :attr:`Measure.number`, a string ("1", "12a", "X1").
* ``notes`` of a part hold every ``<note>`` element in document order: sounding notes, rests,
  grace and cue notes. A note without ``pitch`` is a rest or unpitched.
* Pitches are as written on the page; :meth:`Part.transposition_at` gives what sounds.
* Ids are unique in the score and stable: reading the same bytes gives the same ids.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from skeleton.theory.pitch import Pitch

NoteKind = Literal["note", "rest", "unpitched"]


@dataclass(frozen=True, slots=True)
class Notice:
    """Something odd but readable: what was found and what was done about it."""

    code: str
    message: str
    part: str | None = None
    measure: str | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """Where a score came from: a name for messages, and the MusicXML bytes it was read from.

    For a zipped score these are the bytes of its root file; for a format that was converted,
    those of the conversion, and ``converted_from`` names the format.
    """

    name: str
    data: bytes = field(repr=False)
    converted_from: str | None = None


@dataclass(frozen=True, slots=True)
class Sign:
    """A printed accidental: MusicXML's name of it (``sharp``, ``natural``, ``flat-flat``...)."""

    name: str
    cautionary: bool = False
    editorial: bool = False
    enclosed: bool = False


@dataclass(frozen=True, slots=True)
class TimeModification:
    """A tuplet's ratio: ``actual`` notes in the time of ``normal`` (3 and 2 in a triplet)."""

    actual: int
    normal: int


@dataclass(frozen=True, slots=True)
class Note:
    """One ``<note>`` element.

    ``duration_quarters`` is what the file counts (0 for grace notes). ``chord`` is true for
    every member of a chord after its first. ``tied_from`` is the id of the note this one
    continues; such a note is not played again. ``printed`` is false for hidden notes, which
    may sound all the same; ``cue`` notes are silent.
    """

    id: str
    index: int
    kind: NoteKind
    measure: int
    onset_quarters: Fraction
    duration_quarters: Fraction
    voice: str
    staff: int
    pitch: Pitch | None = None
    chord: bool = False
    grace: bool = False
    cue: bool = False
    printed: bool = True
    tied_from: str | None = None
    ties_on: bool = False
    sign: Sign | None = None
    type: str | None = None
    dots: int = 0
    time_modification: TimeModification | None = None
    fingering: tuple[str, ...] = ()
    string: int | None = None
    open_string: bool = False
    harmonic: bool = False
    fermata: bool = False
    measure_rest: bool = False

    @property
    def end_quarters(self) -> Fraction:
        """Where the written value ends."""
        return self.onset_quarters + self.duration_quarters

    @property
    def sounds(self) -> bool:
        """Whether a player plays it: pitched or not, no rest, no cue."""
        return self.kind != "rest" and not self.cue

    @property
    def is_attack(self) -> bool:
        """Whether a pitched note begins here: no rest, no cue, no tied continuation."""
        return self.pitch is not None and not self.cue and self.tied_from is None


@dataclass(frozen=True, slots=True)
class Slur:
    """A slur that was paired, with the events it joins.

    ``events`` are the attacks from first to last in time order, each a tuple of the ids that
    begin together; grace notes are left out. A note held into the slur's start from before is
    event one. ``start`` and ``stop`` are the ids of the notes that carry the slur's ends.
    ``onset_quarters`` and ``end_quarters`` are where the first event of the slur begins (at
    the slur's start, also for a held note) and where its last event stops sounding.
    """

    start: str
    stop: str
    number: str
    events: tuple[tuple[str, ...], ...]
    onset_quarters: Fraction
    end_quarters: Fraction


@dataclass(frozen=True, slots=True)
class Key:
    """A key signature: letters it alters, in half steps; ``fifths`` where it is a usual one."""

    fifths: int | None
    alters: tuple[tuple[str, int | Fraction], ...]
    mode: str | None = None

    def alter(self, step: str) -> int | Fraction:
        """Half steps by which the signature alters the letter."""
        for letter, alter in self.alters:
            if letter == step:
                return alter
        return 0


@dataclass(frozen=True, slots=True)
class KeyChange:
    """A key signature from ``onset_quarters`` on; ``staff`` is None where it holds for all."""

    onset_quarters: Fraction
    staff: int | None
    key: Key


@dataclass(frozen=True, slots=True)
class Metre:
    """A time signature. ``groups`` are the numerators as printed: (3, 2) for 3+2/8.

    ``senza_misura`` music has no metre; it is counted in quarters.
    """

    groups: tuple[int, ...]
    beat_type: int
    senza_misura: bool = False

    @property
    def beats(self) -> int:
        """The whole numerator."""
        return sum(self.groups)

    @property
    def length_quarters(self) -> Fraction:
        """A full measure's length."""
        return Fraction(4 * self.beats, self.beat_type)


@dataclass(frozen=True, slots=True)
class Transposition:
    """From written to sounding pitch: letters and half steps, octaves included, from a time on."""

    onset_quarters: Fraction
    staff: int | None
    diatonic: int
    chromatic: int


@dataclass(frozen=True, slots=True)
class ClefChange:
    """A clef from ``onset_quarters`` on; ``octaves`` is the small figure at the clef."""

    onset_quarters: Fraction
    staff: int
    sign: str
    line: int | None
    octaves: int = 0


@dataclass(frozen=True, slots=True)
class Ending:
    """One end of a first or second ending's bracket."""

    number: str
    type: str


@dataclass(frozen=True, slots=True)
class Barline:
    """A barline that says more than a plain one: its style, repeat, ending, fermata."""

    style: str | None = None
    repeat: Literal["forward", "backward"] | None = None
    ending: Ending | None = None
    fermata: bool = False


@dataclass(frozen=True, slots=True)
class Measure:
    """A measure: its place, the metre in force, and what stands at its ends.

    ``length_quarters`` is what the measure holds, which differs from the metre's in pickups
    and split measures. ``implicit`` measures print no number.
    """

    index: int
    number: str
    onset_quarters: Fraction
    length_quarters: Fraction
    metre: Metre
    implicit: bool = False
    left: Barline | None = None
    right: Barline | None = None
    rehearsal: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """One player's part. ``id`` is the file's part id; lists stand in document or time order."""

    id: str
    name: str | None
    measures: tuple[Measure, ...]
    notes: tuple[Note, ...]
    slurs: tuple[Slur, ...]
    keys: tuple[KeyChange, ...] = ()
    transpositions: tuple[Transposition, ...] = ()
    clefs: tuple[ClefChange, ...] = ()
    staves: int = 1

    def key_at(self, onset_quarters: Fraction, staff: int = 1) -> Key:
        """The key signature in force for a staff; no sharps or flats where none is given."""
        found = Key(0, ())
        for change in self.keys[: bisect_right(self.keys, onset_quarters, key=_onset)]:
            if change.staff is None or change.staff == staff:
                found = change.key
        return found

    def transposition_at(self, onset_quarters: Fraction, staff: int = 1) -> Transposition:
        """How written pitch becomes sounding pitch; none where the file gives none."""
        found = Transposition(Fraction(0), None, 0, 0)
        upto = bisect_right(self.transpositions, onset_quarters, key=_onset)
        for change in self.transpositions[:upto]:
            if change.staff is None or change.staff == staff:
                found = change
        return found

    def beat(self, note: Note) -> Fraction:
        """Beat on which a note begins: 1 at the barline, in units of the metre's denominator."""
        measure = self.measures[note.measure]
        return 1 + (note.onset_quarters - measure.onset_quarters) * measure.metre.beat_type / 4


def _onset(change: KeyChange | Transposition) -> Fraction:
    return change.onset_quarters


@dataclass(frozen=True, slots=True)
class Score:
    """A score as read. ``parts`` hold the pitched parts; ``notices`` what was odd in the file."""

    title: str | None
    composer: str | None
    parts: tuple[Part, ...]
    notices: tuple[Notice, ...]
    source: Source

    def part(self, part_id: str) -> Part:
        """Return the part with this id.

        Raises:
            KeyError: there is no such part.
        """
        for part in self.parts:
            if part.id == part_id:
                return part
        raise KeyError(part_id)
