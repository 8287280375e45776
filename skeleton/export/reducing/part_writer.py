"""Writing the measures of one part of a reduction: elements in the order of the schema.

Source: MusicXML 4.0, note, notations, attributes, direction and barline elements.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from fractions import Fraction
from math import gcd
from typing import Final

from lxml import etree

from skeleton.analysis.signs import Written, signs_needed
from skeleton.export.reducing.bars import Item, WrittenBar
from skeleton.export.reducing.stems import stems
from skeleton.score.model import Key, Note, Part
from skeleton.score.tree import Element

SIGN_NAMES: Final[dict[Fraction, str]] = {
    Fraction(-3): "triple-flat",
    Fraction(-2): "flat-flat",
    Fraction(-3, 2): "three-quarters-flat",
    Fraction(-1): "flat",
    Fraction(-1, 2): "quarter-flat",
    Fraction(0): "natural",
    Fraction(1, 2): "quarter-sharp",
    Fraction(1): "sharp",
    Fraction(3, 2): "three-quarters-sharp",
    Fraction(2): "double-sharp",
    Fraction(3): "triple-sharp",
}
"""Alteration in half steps to MusicXML's name of the sign (MusicXML 4.0, accidental-value)."""

_AT_THE_END: Final = Fraction(10**9)
_KEPT_DIRECTIONS: Final = {"rehearsal", "metronome", "octave-shift", "segno", "coda"}
_KEPT_TECHNICAL: Final = {"fingering", "string", "open-string", "harmonic", "thumb-position"}

Slurs = Mapping[str, Sequence[tuple[str, str, tuple[str, ...]]]]
"""By the id of the note a slur starts or stops at: which of the two, its number, and the notes
of the large event that it hangs on."""


class PartWriter:
    """Writes the measures of one part."""

    def __init__(
        self,
        part: Part,
        element: Element,
        bars: tuple[WrittenBar, ...],
        slurs: Slurs,
        strings: Mapping[str, str],
    ) -> None:
        self._part = part
        self._element = element
        self._bars = bars
        self._slurs = slurs
        self._strings = strings
        self._notes = {note.id: note for note in part.notes}
        self._sources = {note.get("id", ""): note for note in element.iter("note")}
        self._tick = gcd(*_lengths(bars))
        self._ids = _piece_ids(bars)
        self._signs = self._needed_signs()
        self._stems = stems(part, bars) if slurs else {}

    def write(self) -> None:
        """Replace what the measures hold."""
        divisions = Fraction(1)
        for index, measure in enumerate(self._element.findall("measure")):
            kept, divisions = self._kept(self._bars[index], measure, divisions)
            for child in list(measure):
                measure.remove(child)
            measure.attrib.pop("width", "")
            self._fill(measure, self._bars[index], kept, first=index == 0)

    def _kept(
        self, bar: WrittenBar, measure: Element, divisions: Fraction
    ) -> tuple[list[tuple[Fraction, Element]], Fraction]:
        """What stays of a measure beside its notes, with its time in ticks, in order."""
        kept: list[tuple[Fraction, Element]] = []
        barline = self._part.measures[bar.index].onset_quarters
        last: Note | None = None
        time = Fraction(0)
        for child in measure:
            if child.tag == "note":
                last = self._notes.get(child.get("id", ""), last)
                continue
            if last is not None:
                time = last.end_quarters - barline
                last = None
            if child.tag in {"backup", "forward"}:
                step = _number(child.findtext("duration")) / divisions
                time = max(Fraction(0), time + (step if child.tag == "forward" else -step))
            elif child.tag == "attributes":
                given = _number(child.findtext("divisions"))
                divisions = given if given > 0 else divisions
                for element in child.findall("divisions"):
                    child.remove(element)
                if len(child):
                    kept.append((time * bar.unit, child))
            elif child.tag == "direction" and _is_kept(child):
                shift = _number(child.findtext("offset")) / divisions
                kept.append(((time + shift) * bar.unit, _bare(child)))
            elif child.tag == "barline":
                for fermata in child.findall("fermata"):
                    child.remove(fermata)
                is_last = child.get("location", "right") == "right"
                kept.append((_AT_THE_END if is_last else time * bar.unit, child))
        return sorted(kept, key=lambda row: row[0]), divisions

    def _fill(
        self,
        measure: Element,
        bar: WrittenBar,
        kept: list[tuple[Fraction, Element]],
        *,
        first: bool,
    ) -> None:
        if first:
            attributes = next((e for t, e in kept if t == 0 and e.tag == "attributes"), None)
            if attributes is None:
                attributes = etree.Element("attributes")
                kept = [(Fraction(0), attributes), *kept]
            element = etree.Element("divisions")
            element.text = str(bar.unit // self._tick)
            before = [e for e in attributes if e.tag in {"footnote", "level"}]
            attributes.insert(len(before), element)
        waiting = list(kept)
        for number, lane in enumerate(bar.lanes):
            if number:
                backup = etree.SubElement(measure, "backup")
                etree.SubElement(backup, "duration").text = self._duration(bar.length)
            below = sum(1 for other in bar.lanes[:number] if other.staff == lane.staff)
            voice = str((lane.staff - 1) * 4 + below + 1)
            for place_in_lane, item in enumerate(lane.items):
                while number == 0 and waiting and waiting[0][0] <= item.start:
                    measure.append(waiting.pop(0)[1])
                ids = self._ids[bar.index, number, place_in_lane]
                self._write(measure, lane.staff, voice, item, ids)
            if number == 0:
                measure.extend([element for time, element in waiting if time < bar.length])
                waiting = [row for row in waiting if row[0] >= bar.length]
        measure.extend([element for _, element in waiting])

    def _write(
        self, measure: Element, staff: int, voice: str, item: Item, ids: tuple[str, ...]
    ) -> None:
        """One rest, or one note for each member of the chord; elements in the schema's order."""
        if not item.notes:
            self._rest(measure, staff, voice, item)
        for member, (note_id, piece_id) in enumerate(zip(item.notes, ids, strict=True)):
            source = {str(child.tag): child for child in self._sources[note_id]}
            note = etree.SubElement(measure, "note", id=piece_id)
            if member:
                etree.SubElement(note, "chord")
            _pitch(note, source["pitch"])
            etree.SubElement(note, "duration").text = self._duration(item.end - item.start)
            for tie, there in (("stop", item.tied_back), ("start", item.tied_on)):
                if there:
                    etree.SubElement(note, "tie", type=tie)
            if "instrument" in source:
                note.append(_copy(source["instrument"]))
            self._value(note, voice, item)
            if piece_id in self._signs:
                etree.SubElement(note, "accidental").text = self._sign_name(note_id)
            _time_modification(note, item)
            stem = "none" if item.small else self._stems.get(item.notes)
            if stem is not None:
                etree.SubElement(note, "stem").text = stem
            if "notehead" in source:
                note.append(_copy(source["notehead"]))
            if self._part.staves > 1:
                etree.SubElement(note, "staff").text = str(staff)
            if member == 0:
                for level, word in enumerate(item.beams, start=1):
                    etree.SubElement(note, "beam", number=str(level)).text = word
            self._notations(note, item, note_id, first=member == 0)
            if item.first and member == 0 and note_id in self._strings:
                note.append(lyric(1, "above", self._strings[note_id]))

    def _rest(self, measure: Element, staff: int, voice: str, item: Item) -> None:
        note = etree.SubElement(measure, "note")
        if item.hidden:
            note.set("print-object", "no")
        rest = etree.SubElement(note, "rest")
        if item.value is None:
            rest.set("measure", "yes")
        etree.SubElement(note, "duration").text = self._duration(item.end - item.start)
        self._value(note, voice, item)
        _time_modification(note, item)
        if self._part.staves > 1:
            etree.SubElement(note, "staff").text = str(staff)
        notations = etree.SubElement(note, "notations")
        _tuplet_marks(notations, item)
        if not len(notations):
            note.remove(notations)

    def _value(self, note: Element, voice: str, item: Item) -> None:
        etree.SubElement(note, "voice").text = voice
        if item.value is not None:
            kind = etree.SubElement(note, "type")
            kind.text = item.value.name
            if item.small:
                kind.set("size", "cue")
            for _ in range(item.value.dots):
                etree.SubElement(note, "dot")

    def _notations(self, note: Element, item: Item, note_id: str, *, first: bool) -> None:
        notations = etree.SubElement(note, "notations")
        for tie, there in (("stop", item.tied_back), ("start", item.tied_on)):
            if there:
                etree.SubElement(notations, "tied", type=tie)
        if first:
            _tuplet_marks(notations, item)
        if item.first:
            self._own_notations(notations, note_id)
        if not len(notations):
            note.remove(notations)

    def _own_notations(self, notations: Element, note_id: str) -> None:
        """What belongs to the attack of a note, not to each of its tied pieces."""
        for kind, number, anchor in self._slurs.get(note_id, ()):
            slur = etree.SubElement(notations, "slur", type=kind, number=number)
            # On the side of the heads: above a stem that points down, else below.
            if kind == "start":
                slur.set("placement", "above" if self._stems.get(anchor) == "down" else "below")
        source = self._sources[note_id]
        given = [child for own in source.iterchildren("notations") for child in own]
        # Between small notes fingers would stand on stems, and they belong to the full etude.
        technical = [
            deepcopy(child)
            for row in given
            if row.tag == "technical" and not self._slurs
            for child in row
            if child.tag in _KEPT_TECHNICAL
        ]
        if technical:
            etree.SubElement(notations, "technical").extend(technical)
        notations.extend([_copy(child) for child in given if child.tag == "fermata"][:1])

    def _duration(self, length: int) -> str:
        return str(length // self._tick)

    def _sign_name(self, note_id: str) -> str:
        pitch = self._notes[note_id].pitch
        return SIGN_NAMES.get(Fraction(pitch.alter), "other") if pitch is not None else "other"

    def _needed_signs(self) -> set[str]:
        """The ids of the pieces before which a sign must stand."""
        rows: list[tuple[int, int, str, Written]] = []
        changes = [change.onset_quarters for change in self._part.keys]
        keys: dict[tuple[int, int], Key] = {}
        for bar in self._bars:
            onset = self._part.measures[bar.index].onset_quarters
            # Nearly all bars lie between two changes of key as a whole.
            first = bisect_right(changes, onset)
            is_one = first == bisect_right(changes, onset + Fraction(bar.length, bar.unit))
            for number, lane in enumerate(bar.lanes):
                for place_in_lane, item in enumerate(lane.items):
                    ids = self._ids[bar.index, number, place_in_lane]
                    for note_id, piece_id in zip(item.notes, ids, strict=True):
                        pitch = self._notes[note_id].pitch
                        if pitch is None:
                            continue
                        time = onset if is_one else onset + Fraction(item.start, bar.unit)
                        at = (first if is_one else bisect_right(changes, time), lane.staff)
                        if at not in keys:
                            keys[at] = self._part.key_at(time, lane.staff)
                        written = Written(
                            bar.index,
                            lane.staff,
                            pitch.step,
                            pitch.octave,
                            pitch.alter,
                            keys[at].alter(pitch.step),
                            continues=item.tied_back,
                        )
                        rows.append((bar.index, item.start, piece_id, written))
        rows.sort(key=lambda row: row[:2])
        needed = signs_needed(row[3] for row in rows)
        return {row[2] for row, need in zip(rows, needed, strict=True) if need}


def lyric(number: int, placement: str, text: str) -> Element:
    """Return a ``<lyric>`` of one syllable."""
    element = etree.Element("lyric", number=str(number), placement=placement)
    etree.SubElement(element, "syllabic").text = "single"
    etree.SubElement(element, "text").text = text
    return element


def _piece_ids(bars: Iterable[WrittenBar]) -> dict[tuple[int, int, int], tuple[str, ...]]:
    """Ids of the notes of each item, by measure, lane and place in the lane."""
    pieces: dict[str, int] = {}
    ids: dict[tuple[int, int, int], tuple[str, ...]] = {}
    for bar in bars:
        for number, lane in enumerate(bar.lanes):
            for place_in_lane, item in enumerate(lane.items):
                row = []
                for note_id in item.notes:
                    count = pieces.get(note_id, 0)
                    pieces[note_id] = count + 1
                    row.append(f"{note_id}-t{count}" if count else note_id)
                ids[bar.index, number, place_in_lane] = tuple(row)
    return ids


def _lengths(bars: Iterable[WrittenBar]) -> set[int]:
    """All lengths in ticks of which durations must be whole numbers, and a quarter's."""
    lengths = {length for bar in bars for length in (bar.length, bar.unit)}
    for bar in bars:
        for lane in bar.lanes:
            lengths |= {item.end - item.start for item in lane.items}
    return lengths


def _tuplet_marks(notations: Element, item: Item) -> None:
    show = "no" if item.small or item.hidden else "yes"
    if item.tuplet_start:
        mark = etree.SubElement(notations, "tuplet", type="start", bracket=show)
        if show == "no":
            mark.set("show-number", "none")
    if item.tuplet_stop:
        etree.SubElement(notations, "tuplet", type="stop")


def _time_modification(note: Element, item: Item) -> None:
    if item.tuplet is not None:
        ratio = etree.SubElement(note, "time-modification")
        etree.SubElement(ratio, "actual-notes").text = str(item.tuplet.actual)
        etree.SubElement(ratio, "normal-notes").text = str(item.tuplet.normal)


def _pitch(note: Element, given: Element) -> None:
    """Write the pitch as the file has it, in the schema's order, which not every file keeps."""
    pitch = etree.SubElement(note, "pitch")
    for name in ("step", "alter", "octave"):
        for child in given.iterchildren(name):
            etree.SubElement(pitch, name).text = child.text


def _copy(element: Element) -> Element:
    copy = deepcopy(element)
    copy.tail = None
    return copy


def _is_kept(direction: Element) -> bool:
    """Whether a direction says something about the piece, not about the notes taken out."""
    kinds = {child.tag for child in direction.findall("direction-type/*")}
    sound = direction.find("sound")
    is_tempo = "metronome" in kinds or (sound is not None and sound.get("tempo") is not None)
    return bool(kinds & _KEPT_DIRECTIONS) or (is_tempo and "words" in kinds)


def _bare(direction: Element) -> Element:
    for name in ("offset", "voice"):
        for child in direction.findall(name):
            direction.remove(child)
    for kind in direction.findall("direction-type"):
        if any(child.tag in {"dynamics", "wedge"} for child in kind):
            direction.remove(kind)
    return direction


def _number(text: str | None) -> Fraction:
    try:
        return Fraction((text or "0").strip())
    except (ValueError, ZeroDivisionError):
        return Fraction(0)
