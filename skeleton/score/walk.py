"""The walk through one part: a clock, the notes on it, and what stands between them.

The clock counts in one unit for the whole part, fine enough for every ``<divisions>`` met so
far, so that times are whole numbers while the part is read and become exact fractions at its end.

Source: MusicXML 4.0, ``measure`` and its children.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import lcm
from typing import Final

from skeleton.score import attributes
from skeleton.score.ids import NoteIds
from skeleton.score.model import (
    Barline,
    ClefChange,
    Ending,
    KeyChange,
    Measure,
    Metre,
    Notice,
    Transposition,
)
from skeleton.score.notes import RawNote, number, read_note, whole
from skeleton.score.tree import Element, text_of

Time = int | Fraction

_MIN_DIVISIONS: Final = Fraction(1, 1000)
_MAX_DIVISIONS: Final = 1_000_000
_MAX_UNIT: Final = 10**12
_TOO_MANY: Final = 10**60
_GRID: Final = 5040 * 1024

LONGEST_MEASURE_QUARTERS: Final = 10_000
"""One longer with hardly a note in it is not read: what goes through its beats would not end."""
_NAMES: Final = (
    "maxima long breve whole half quarter eighth 16th 32nd 64th 128th 256th 512th 1024th"
)
_TYPES: Final[dict[str, Fraction]] = {
    name: Fraction(32, 2**place) for place, name in enumerate(_NAMES.split())
}
"""Quarters of each note value (MusicXML 4.0, ``note-type-value``)."""


class Quarters(dict[Time, Fraction]):
    """Quarters of the times of a part's clock, each made once."""

    def __init__(self, unit: int) -> None:
        super().__init__()
        self._unit = unit

    def __missing__(self, time: Time) -> Fraction:
        quarters = self[time] = Fraction(time, self._unit)
        return quarters


class PartWalk:
    """Reads one part, measure by measure; after :meth:`end` its lists are filled."""

    def __init__(self) -> None:
        self.part_id = ""
        self.notes: list[RawNote] = []
        self.measures: list[Measure] = []
        self.keys: list[KeyChange] = []
        self.transpositions: list[Transposition] = []
        self.clefs: list[ClefChange] = []
        self.staves = 1
        self.first_index = 0
        self.notices: list[Notice] = []
        self._oddities: dict[str, tuple[str, str, int]] = {}
        self._unit = 1
        self.quarters = Quarters(self._unit)
        self._divisions: int | Fraction | None = None
        self._together = 1
        self.endless: str | None = None
        self._ticks: dict[str | None, Time | None] = {}
        self._metre = attributes.FREE
        self._next_metre: Metre | None = None
        self._number = "1"
        self._start: Time = 0
        self._now: Time = 0
        self._far: Time = 0
        self._chord_first: RawNote | None = None
        self._left: Barline | None = None
        self._right: Barline | None = None
        self._rehearsal: list[str] = []

    def notice(self, code: str, message: str, measure: str) -> None:
        """Note something odd in a measure of this part."""
        self.notices.append(Notice(code, message, self.part_id, measure))

    def _odd(self, code: str, message: str) -> None:
        """Note something odd in the measure being read: told once, then counted."""
        first, measure, count = self._oddities.get(code, (message, self._number, 0))
        self._oddities[code] = first, measure, count + 1

    def measure(self, head: Element, body: Element) -> None:
        """Read the next measure: its number from ``head``, its music from ``body``."""
        place = len(self.measures)
        number_ = (head.get("number") or "").strip()[:40] or str(place + 1)
        self._number = number_
        self._start = self._now = self._far
        self._chord_first = None
        self._left = self._right = None
        self._rehearsal = []
        first = len(self.notes)
        for element in body:
            tag = element.tag
            if tag == "note":
                note = read_note(element)
                note.index = len(self.notes)
                note.measure = place
                self._place(note)
                self.notes.append(note)
            else:
                read = _CHILDREN.get(tag)
                if read is not None:
                    read(self, element)
        start = self._start
        length = self._far - start
        metre = self._metre
        full = metre.length_quarters * self._unit
        if not length and len(self.notes) == first:
            self._far = start + (full.numerator if full.denominator == 1 else full)
            length = self._far - start
        elif length > full and not metre.senza_misura:
            self._odd(
                "measure-too-long",
                f"the measure holds {Fraction(length, self._unit)} quarters where its metre has "
                f"{metre.length_quarters}; its notes are read as they stand",
            )
        most = LONGEST_MEASURE_QUARTERS + 32 * (len(self.notes) - first)  # a maxima for each note
        if length > most * self._unit and self.endless is None:
            self.endless = number_
        self.measures.append(
            Measure(
                place,
                number_,
                self.quarters[start],
                self.quarters[length],
                metre,
                head.get("implicit") == "yes",
                self._left,
                self._right,
                tuple(self._rehearsal),
            )
        )
        if self._next_metre is not None:
            self._metre, self._next_metre = self._next_metre, None

    def end(self, part_id: str, ids: NoteIds, first_index: int) -> None:
        """Name the part and its notes, once all measures of the file are read.

        Args:
            part_id: the part's id.
            ids: gives the notes theirs.
            first_index: how many notes the parts before have.
        """
        self.part_id = part_id
        self.first_index = first_index
        prefix = ids.enter_part(part_id)
        measure, first, stem = -1, 0, ""
        for place, note in enumerate(self.notes, 1):
            if note.measure != measure:
                measure, first = note.measure, place - 1
                stem = f"{prefix}-m{measure + 1}"
            note.id = ids.note(note.own_id, stem, place - first)
        for code, (message, number_, count) in self._oddities.items():
            more = f" ({count - 1} more in this part)" if count > 1 else ""
            self.notice(code, message + more, number_)

    def _place(self, note: RawNote) -> None:
        """Put a note on the clock and move the clock on."""
        first = self._chord_first
        if note.chord and first is not None:
            note.onset = first.onset
            note.lead = first.index
            if note.voice is None:
                note.voice = first.voice
        else:
            if note.chord:
                note.chord = False
                self._odd("chord-without-first", "a chord note follows no note; read as alone")
            note.onset = self._now
            note.lead = note.index
            self._chord_first = note
        if note.voice is None:
            note.voice = "1"
        if note.staff != 1:
            self.staves = max(self.staves, note.staff)
        if note.bad_pitch:
            self._odd("bad-pitch", "a note has no readable pitch; it is left out")
        if note.grace:
            return
        duration = self._ticks.get(note.duration_text)
        if duration is None or duration < 0:
            duration = self._length(note)
        note.duration = duration
        if note.chord:
            note.chord_duration = first.duration if first is not None else duration
            return
        self._now = now = self._now + duration
        self._far = max(self._far, now)

    def _length(self, note: RawNote) -> Time:
        text = note.duration_text
        if text is not None:
            ticks = self._ticks_of(text)
            if ticks is not None and ticks >= 0:
                return ticks
        if note.chord and self._chord_first is not None:
            return self._chord_first.duration
        if note.measure_rest or (note.kind == "rest" and note.type is None):
            quarters = self._metre.length_quarters
        else:
            quarters = _TYPES.get(note.type or "", Fraction(1))
            quarters *= 2 - Fraction(1, 2 ** min(note.dots, 8))
            if note.time_modification is not None:
                quarters *= Fraction(note.time_modification.normal, note.time_modification.actual)
        self._odd(
            "missing-duration",
            f"a note has no readable duration; {quarters} quarters are taken from its kind",
        )
        time = quarters * self._unit
        return time.numerator if time.denominator == 1 else time

    def _ticks_of(self, text: str | None) -> Time | None:
        """Turn a ``<duration>`` into the part's unit."""
        try:
            return self._ticks[text]
        except KeyError:
            pass
        if self._divisions is None:
            self._divisions = 1
            self._odd("missing-divisions", "no <divisions> before the first duration; taken as 1")
        value = number(text)
        ticks: Time | None = None
        if value is not None and abs(Fraction(value)) < 10**9:
            exact = Fraction(value * self._unit) / self._divisions
            if self._together == _TOO_MANY:
                exact = Fraction(round(exact * _GRID), _GRID)
            ticks = exact.numerator if exact.denominator == 1 else exact
        if len(self._ticks) < 4096:
            self._ticks[text] = ticks
        return ticks

    def backup(self, element: Element) -> None:
        """Move the clock back, never beyond the barline."""
        self._chord_first = None
        ticks = self._ticks_of(element.findtext("duration"))
        if ticks is None or ticks < 0:
            self._odd("missing-duration", "a <backup> has no readable duration; it is left out")
            return
        self._now -= ticks
        if self._now < self._start:
            self._now = self._start
            self._odd(
                "backup-before-barline",
                "a <backup> goes back beyond the barline; it stops at the barline",
            )

    def forward(self, element: Element) -> None:
        """Move the clock on over time in which nothing is written."""
        self._chord_first = None
        ticks = self._ticks_of(element.findtext("duration"))
        if ticks is None or ticks < 0:
            self._odd("missing-duration", "a <forward> has no readable duration; it is left out")
            return
        self._now += ticks
        self._far = max(self._far, self._now)

    def attributes(self, element: Element) -> None:
        """Take divisions, keys, metres, transpositions, clefs and the number of staves."""
        onset = self.quarters[self._now]
        for child in element:
            tag = child.tag
            if tag == "divisions":
                self._divisions_from(child)
            elif tag == "key":
                key = attributes.read_key(child)
                if key is not None:
                    self.keys.append(KeyChange(onset, attributes.staff_of(child), key))
                else:
                    self._odd("bad-key", "a key signature cannot be read; the one before stays")
            elif tag == "time":
                self._metre_from(child)
            elif tag == "transpose":
                transposition = attributes.read_transposition(child, onset)
                if transposition is not None:
                    self.transpositions.append(transposition)
            elif tag == "clef":
                clef = attributes.read_clef(child, onset)
                if clef is not None:
                    self.clefs.append(clef)
            elif tag == "staves":
                self.staves = max(self.staves, min(whole(child.text) or 1, 64))

    def _divisions_from(self, element: Element) -> None:
        value = _divisions(element)
        if value is None:
            self._odd(
                "bad-divisions", f"<divisions>{(element.text or '')[:20]}</divisions> is left out"
            )
        elif value != self._divisions:
            self._divisions = value
            self._ticks = {}
            # Beyond the most, fractions exact for all of them could not be worked with any more.
            self._together = min(lcm(self._together, value.numerator), _TOO_MANY)
            if self._together == _TOO_MANY:
                self._odd("wild-divisions", "too many kinds of <divisions>; durations are rounded")
            if isinstance(value, int):
                self._count_in(lcm(self._unit, value))

    def _count_in(self, unit: int) -> None:
        """Go over to a finer unit, with all that was counted before."""
        # Odd files aside, all divisions are small; beyond this, fractions are the smaller burden.
        if unit == self._unit or unit > _MAX_UNIT:
            return
        finer = unit // self._unit
        self._unit = unit
        self.quarters = Quarters(unit)
        self._start *= finer
        self._now *= finer
        self._far *= finer
        for note in self.notes:
            note.onset *= finer
            note.duration *= finer
            if note.chord_duration is not None:
                note.chord_duration *= finer

    def _metre_from(self, element: Element) -> None:
        if attributes.staff_of(element) not in (None, 1):
            return  # a measure has one metre here: that of the first staff
        metre = attributes.read_metre(element)
        if metre is None:
            self._odd("bad-metre", "a time signature cannot be read; the one before stays")
        elif self._now == self._start:
            self._metre = metre
        else:
            self._next_metre = metre

    def barline(self, element: Element) -> None:
        """Keep what a barline at either end of the measure says."""
        location = element.get("location", "right")
        if location not in ("left", "right"):
            return
        style = (element.findtext("bar-style") or "").strip() or None
        repeat = element.find("repeat")
        direction = repeat.get("direction") if repeat is not None else None
        ending = element.find("ending")
        line = Barline(
            style,
            "forward" if direction == "forward" else "backward" if direction else None,
            None
            if ending is None
            else Ending(ending.get("number", "1").strip(), ending.get("type", "")),
            element.find("fermata") is not None,
        )
        if location == "left":
            self._left = _merged(self._left, line)
        else:
            self._right = _merged(self._right, line)

    def direction(self, element: Element) -> None:
        """Keep rehearsal marks."""
        for kind in element.iterchildren("direction-type"):
            for mark in kind.iterchildren("rehearsal"):
                text = text_of(mark)
                if text:
                    self._rehearsal.append(text)


def _merged(one: Barline | None, other: Barline) -> Barline:
    if one is None:
        return other
    return Barline(
        one.style or other.style,
        one.repeat or other.repeat,
        one.ending or other.ending,
        one.fermata or other.fermata,
    )


def _divisions(element: Element) -> int | Fraction | None:
    value = number(element.text)
    return value if value is not None and _MIN_DIVISIONS <= value <= _MAX_DIVISIONS else None


_CHILDREN: Final[dict[str, Callable[[PartWalk, Element], None]]] = {
    "backup": PartWalk.backup,
    "forward": PartWalk.forward,
    "attributes": PartWalk.attributes,
    "barline": PartWalk.barline,
    "direction": PartWalk.direction,
}
