"""One ``<note>`` element to plain fields, in a single pass over its children.

Scores hold hundreds of thousands of notes, so the loop does one dictionary look-up per child
and nothing for the children that analysis does not need (stems, beams, lyrics). What many notes
say in the same words is kept once for all of them.

Source: MusicXML 4.0, ``note`` and its children.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import lru_cache
from sys import intern
from typing import Final, TypeAlias

from skeleton.score.model import NoteKind, Sign, TimeModification
from skeleton.score.tree import Element
from skeleton.theory.pitch import Pitch, make_pitch

TIE_START: Final = 1
TIE_STOP: Final = 2

MOST_STAVES: Final = 64
"""A higher number of a staff is taken for this one."""

_LARGEST: Final = 10**12
_LARGEST_TUPLET: Final = 1024

SlurMark: TypeAlias = tuple[str, str]
"""A slur's ``type`` and number, as they stand at one note."""


class RawNote:
    """What one element says, before the part is known: numbers as they come, ties unlinked.

    ``onset`` and ``duration`` are counted in the units of the part's clock. ``tie`` holds what
    ``<tie>`` (sound) says and ``tied`` what ``<tied>`` (print) says, as TIE_START and TIE_STOP.
    ``own_id`` is what the file calls the note, and ``index`` its place in the part, from 0.
    ``lead`` is the index of the first note of the chord (its own for a note in none), and
    ``chord_duration`` that note's duration, for the others in the chord. ``continues`` is the
    note before that this one is tied to, ``head`` the first in the chain of ties; in that first
    note ``sounding_end`` is where the last of the chain ends.
    """

    __slots__ = (
        "bad_pitch",
        "chord",
        "chord_duration",
        "continues",
        "cue",
        "dots",
        "duration",
        "duration_text",
        "fermata",
        "fingering",
        "grace",
        "harmonic",
        "head",
        "id",
        "index",
        "kind",
        "lead",
        "measure",
        "measure_rest",
        "onset",
        "open_string",
        "own_id",
        "pitch",
        "printed",
        "sign",
        "slurs",
        "sounding_end",
        "staff",
        "string",
        "tie",
        "tied",
        "time_modification",
        "type",
        "voice",
    )

    def __init__(self) -> None:
        self.kind: NoteKind = "unpitched"
        self.pitch: Pitch | None = None
        self.bad_pitch: bool = False
        self.chord: bool = False
        self.grace: bool = False
        self.cue: bool = False
        self.printed: bool = True
        self.duration_text: str | None = None
        self.voice: str | None = None
        self.staff: int = 1
        self.type: str | None = None
        self.dots: int = 0
        self.time_modification: TimeModification | None = None
        self.sign: Sign | None = None
        self.tie: int = 0
        self.tied: int = 0
        self.slurs: Sequence[SlurMark] = ()
        self.fingering: tuple[str, ...] = ()
        self.string: int | None = None
        self.open_string: bool = False
        self.harmonic: bool = False
        self.fermata: bool = False
        self.measure_rest: bool = False
        self.own_id: str | None = None
        self.id: str = ""
        self.index: int = 0
        self.lead: int = 0
        self.measure: int = 0
        self.onset: int | Fraction = 0
        self.duration: int | Fraction = 0
        self.chord_duration: int | Fraction | None = None
        self.continues: RawNote | None = None
        self.head: RawNote | None = None
        self.sounding_end: int | Fraction | None = None

    @property
    def attack(self) -> RawNote:
        """The note that is played: itself where it continues none."""
        return self if self.head is None else self.head

    @property
    def last_sound(self) -> int | Fraction:
        """Where the note, with all that is tied to it, stops sounding."""
        end = self.attack.sounding_end
        return self.onset + self.duration if end is None else end


def read_note(element: Element) -> RawNote:
    """Read the children and attributes of one ``<note>``."""
    note = RawNote()
    for child in element:
        read = _READERS.get(child.tag)
        if read is not None:
            read(note, child)
    note.own_id = element.get("id")
    if element.get("print-object") == "no":
        note.printed = False
    return note


def number(text: str | None) -> int | Fraction | None:
    """Read a decimal exactly: ``-1``, ``+0.5``, `` 2 ``. None for others, and beyond 10^12."""
    if text is None or "_" in text:
        return None
    try:
        count = int(text)
    except ValueError:
        pass
    else:
        return count if -_LARGEST < count < _LARGEST else None
    text = text.strip()
    if len(text) > 40 or "/" in text or "e" in text.lower():
        return None
    try:
        value = Fraction(text)
    except ValueError:
        return None
    return int(value) if value.denominator == 1 else value


def whole(text: str | None) -> int | None:
    """Read a whole number; None where it is none."""
    value = number(text)
    return value if isinstance(value, int) else None


_pitches: dict[tuple[str | None, str | None, str | None], Pitch | None] = {}


def _pitch(note: RawNote, element: Element) -> None:
    step = alter = octave = None
    for child in element:
        tag = child.tag
        if tag == "step":
            step = child.text
        elif tag == "octave":
            octave = child.text
        elif tag == "alter":
            alter = child.text
    key = (step, alter, octave)
    try:
        pitch = _pitches[key]
    except KeyError:
        pitch = _make(step, alter, octave)
        if len(_pitches) < 4096:
            _pitches[key] = pitch
    if pitch is None:
        note.bad_pitch = True
        return
    note.kind = "note"
    note.pitch = pitch


def _make(step: str | None, alter: str | None, octave: str | None) -> Pitch | None:
    letter = (step or "").strip().upper()
    half_steps = number(alter) if alter is not None and alter.strip() else 0
    octave_number = whole(octave)
    if len(letter) != 1 or letter not in "ABCDEFG" or half_steps is None or octave_number is None:
        return None
    if abs(Fraction(half_steps)) > 4 or not -2 <= octave_number <= 12:
        return None
    return make_pitch(letter, half_steps, octave_number)


def _rest(note: RawNote, element: Element) -> None:
    note.kind = "rest"
    if element.get("measure") == "yes":
        note.measure_rest = True


def _duration(note: RawNote, element: Element) -> None:
    text = element.text
    if text is not None:
        note.duration_text = intern(text)


def _voice(note: RawNote, element: Element) -> None:
    text = element.text
    if text is not None:
        note.voice = intern(text.strip()) or None


def _staff(note: RawNote, element: Element) -> None:
    note.staff = min(max(whole(element.text) or 1, 1), MOST_STAVES)


def _type(note: RawNote, element: Element) -> None:
    text = element.text
    if text is not None:
        note.type = intern(text.strip()) or None


def _dot(note: RawNote, _element: Element) -> None:
    note.dots += 1


def _chord(note: RawNote, _element: Element) -> None:
    note.chord = True


def _grace(note: RawNote, _element: Element) -> None:
    note.grace = True


def _cue(note: RawNote, _element: Element) -> None:
    note.cue = True


def _tie(note: RawNote, element: Element) -> None:
    note.tie |= _TIES.get(element.get("type"), 0)


_TIES: Final[dict[str | None, int]] = {
    "start": TIE_START,
    "stop": TIE_STOP,
    "continue": TIE_START | TIE_STOP,
}


def _accidental(note: RawNote, element: Element) -> None:
    name = (element.text or "").strip()
    if not name:
        return
    if not element.attrib:
        note.sign = _plain_sign(name)
        return
    note.sign = Sign(
        name,
        cautionary=element.get("cautionary") == "yes",
        editorial=element.get("editorial") == "yes",
        enclosed="yes" in (element.get("parentheses"), element.get("bracket")),
    )


_signs: dict[str, Sign] = {}


def _plain_sign(name: str) -> Sign:
    sign = _signs.get(name)
    if sign is None:
        sign = Sign(name)
        if len(_signs) < 256:
            _signs[name] = sign
    return sign


def _time_modification(note: RawNote, element: Element) -> None:
    actual = whole(element.findtext("actual-notes"))
    normal = whole(element.findtext("normal-notes"))
    if (
        actual is not None
        and normal is not None
        and 0 < actual <= _LARGEST_TUPLET
        and 0 < normal <= _LARGEST_TUPLET
    ):
        note.time_modification = TimeModification(actual, normal)


def _notations(note: RawNote, element: Element) -> None:
    for child in element:
        tag = child.tag
        if tag == "slur":
            marks = _slur_marks(child.get("type", ""), child.get("number", "1"))
            if not note.slurs:
                note.slurs = marks
            elif isinstance(note.slurs, list):
                note.slurs.extend(marks)
            else:
                note.slurs = [*note.slurs, *marks]
        elif tag == "tied":
            note.tied |= _TIES.get(child.get("type"), 0)
        elif tag == "technical":
            _technical(note, child)
        elif tag == "fermata":
            note.fermata = True


@lru_cache(maxsize=256)
def _slur_marks(kind: str, number: str) -> tuple[SlurMark]:
    """Return what a note has that bears this one mark, as nearly every note under a slur does."""
    return ((kind, number.strip() or "1"),)


def _technical(note: RawNote, element: Element) -> None:
    for child in element:
        tag = child.tag
        if tag == "fingering":
            finger = (child.text or "").strip()
            if finger:
                note.fingering = (*note.fingering, finger)
        elif tag == "string":
            note.string = whole(child.text)
        elif tag == "open-string":
            note.open_string = True
        elif tag == "harmonic":
            note.harmonic = True


_READERS: Final[dict[str, Callable[[RawNote, Element], None]]] = {
    "pitch": _pitch,
    "duration": _duration,
    "voice": _voice,
    "type": _type,
    "notations": _notations,
    "accidental": _accidental,
    "rest": _rest,
    "staff": _staff,
    "dot": _dot,
    "chord": _chord,
    "tie": _tie,
    "time-modification": _time_modification,
    "grace": _grace,
    "cue": _cue,
}
