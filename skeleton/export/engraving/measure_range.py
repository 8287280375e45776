"""A stretch of a score as a score of its own: the same music, some measures of it.

What is in force where the stretch begins (clef, key, metre, divisions, staves, transposition) is
written at its start. What reaches over an end is cut there: a slur, tie, hairpin, line or ending
that begins or stops outside is taken out at the end that is left, so that no program waits for
the other. A note that was tied into the stretch is a note of its own now; where it had its sign
from before the barline it gets it back, in parentheses. Measures keep their numbers, notes their
ids.

Source: MusicXML 4.0, attributes, notations and direction-type elements.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lxml import etree

from skeleton.export.reducing.part_writer import SIGN_NAMES
from skeleton.score.tree import Element

_ORDER: Final = (
    "divisions", "key", "time", "staves", "part-symbol", "instruments", "clef", "staff-details",
    "transpose",
)  # fmt: skip
"""What stays in force until it is changed, in the order of the schema."""

_IN_NOTATIONS: Final = frozenset({"slur", "glissando", "slide", "wavy-line"})
_IN_DIRECTIONS: Final = frozenset({"wedge", "dashes", "bracket", "pedal", "octave-shift"})
_STARTS: Final = frozenset({"start", "crescendo", "diminuendo", "up", "down", "sostenuto"})
_STOPS: Final = frozenset({"stop", "discontinue"})
_SHARPS: Final = "FCGDAEB"


@dataclass(frozen=True, slots=True)
class _End:
    """One end of something that reaches from place to place, or a point on its way."""

    element: Element
    kind: tuple[str, str]
    onset: Fraction
    order: int

    @property
    def type(self) -> str:
        return str(self.element.get("type"))


def measure_range(root: Element, first: int, last: int) -> Element:
    """Return the measures of a score from one to another.

    Args:
        root: a partwise tree; it is left as it is.
        first: ordinal of the first measure wanted, from 0.
        last: ordinal of the last one.

    Returns:
        A partwise tree of its own.
    """
    cut = etree.Element(root.tag, {str(key): str(value) for key, value in root.items()})
    for child in root:
        if child.tag != "part":
            cut.append(deepcopy(child))
            continue
        part = etree.SubElement(cut, "part", {str(k): str(v) for k, v in child.items()})
        measures = child.findall("measure")
        force: dict[tuple[str, str], Element] = {}
        for measure in measures[:first]:
            for attributes in measure.iterchildren("attributes"):
                _enter(force, attributes)
        part.extend(deepcopy(measures[first : last + 1]))
        _trim(part, force)
        _begin(part, force)
    return cut


def _enter(force: dict[tuple[str, str], Element], attributes: Iterable[Element]) -> None:
    """Let attributes come into force; one for no staff in particular replaces all of its kind."""
    for element in attributes:
        if element.tag in _ORDER:
            kind, staff = str(element.tag), element.get("number", "")
            if not staff:
                for other in [key for key in force if key[0] == kind]:
                    del force[other]
            force[kind, staff] = element


def _begin(part: Element, force: dict[tuple[str, str], Element]) -> None:
    """Write what is in force before the first measure's own music."""
    measure = next(part.iterchildren("measure"), None)
    if measure is None or not force:
        return
    held = dict(force)
    anchor: Element | None = None
    for child in list(measure):
        if child.tag in {"note", "backup", "forward"}:
            break
        if child.tag == "attributes":
            _enter(held, child)
            others = [one for one in child if one.tag not in _ORDER]
            for one in list(child):
                if one.tag in _ORDER:
                    child.remove(one)
            if not others:
                measure.remove(child)
        elif child.tag == "print":
            anchor = child
    attributes = etree.Element("attributes")
    for kind in _ORDER:
        found = sorted(key for key in held if key[0] == kind)
        attributes.extend(deepcopy(held[key]) for key in found)
    if anchor is None:
        measure.insert(0, attributes)
    else:
        anchor.addnext(attributes)


def _trim(part: Element, force: dict[tuple[str, str], Element]) -> None:
    """Take out what begins or stops outside the part's measures."""
    ends: list[_End] = []
    ties: list[tuple[Element, Fraction]] = []
    divisions = Fraction((force["divisions", ""].text or "1") if force else 1)
    start = Fraction(0)
    order = 0
    for measure in part.iterchildren("measure"):
        at = longest = head = start
        for child in measure:
            order += 1
            if child.tag == "attributes":
                divisions = Fraction(child.findtext("divisions") or divisions)
            length = Fraction(child.findtext("duration") or 0) / (divisions or 1)
            if child.tag == "note":
                if child.find("chord") is None:
                    head = at
                    at += length
                ties.append((child, head))
                ends += [_End(*one, head, order) for one in _found(child, _IN_NOTATIONS)]
            elif child.tag == "backup":
                at -= length
            elif child.tag == "forward":
                at += length
            elif child.tag == "direction":
                ends += [_End(*one, at, order) for one in _found(child, _IN_DIRECTIONS)]
            elif child.tag == "barline":
                ends += [_End(*one, at, order) for one in _found(child, {"ending", "wavy-line"})]
            longest = max(longest, at)
        start = longest
    for element in _unpaired(ends):
        _take_out(element)
    _cut_ties(ties, force)


def _found(parent: Element, names: Iterable[str]) -> Iterator[tuple[Element, tuple[str, str]]]:
    for name in names:
        for element in parent.iter(name):
            # Endings are told apart by where they stand: their numbers are what they print.
            number = "" if name == "ending" else str(element.get("number", "1"))
            yield element, (name, number)


def _unpaired(ends: Iterable[_End]) -> Iterator[Element]:
    """Yield what has no other end, ends taken in the order of time."""
    open_now: dict[tuple[str, str], list[Element]] = {}
    for end in sorted(ends, key=lambda one: (one.onset, one.order, one.type not in _STOPS)):
        waiting = open_now.setdefault(end.kind, [])
        if end.type in _STARTS:
            waiting.append(end.element)
        elif end.type in _STOPS and waiting:
            waiting.pop(0)
        elif not waiting:
            yield end.element
    for waiting in open_now.values():
        yield from waiting


def _take_out(element: Element) -> None:
    """Remove an element, and what is left empty by that."""
    parent = element.getparent()
    if parent is None:
        return
    parent.remove(element)
    empty = len(parent) == 0 and parent.tag in {"notations", "ornaments", "direction-type"}
    if empty or (parent.tag == "direction" and parent.find("direction-type") is None):
        _take_out(parent)


def _cut_ties(
    notes: Iterable[tuple[Element, Fraction]], force: dict[tuple[str, str], Element]
) -> None:
    ordered = sorted(notes, key=lambda one: one[1])
    waiting: dict[tuple[str, ...], list[Element]] = {}
    for note, _ in ordered:
        if note.find("pitch") is None:
            continue
        key = tuple(note.findtext(f"pitch/{name}", "0") for name in ("step", "alter", "octave"))
        if _is_tied(note, "stop"):
            held = waiting.get(key, [])
            if held:
                held.pop(0)
            else:
                _untie(note, "stop")
                _give_sign(note, force)
        if _is_tied(note, "start"):
            waiting.setdefault(key, []).append(note)
    for held in waiting.values():
        for note in held:
            _untie(note, "start")


def _is_tied(note: Element, side: str) -> bool:
    return any(one.get("type") == side for one in (*note.iter("tie"), *note.iter("tied")))


def _untie(note: Element, side: str) -> None:
    for element in [*note.iter("tie"), *note.iter("tied")]:
        if element.get("type") == side:
            _take_out(element)


def _give_sign(note: Element, force: dict[tuple[str, str], Element]) -> None:
    """Print the sign of a note that had it from before the barline."""
    step = note.findtext("pitch/step", "")
    try:
        alter = Fraction(note.findtext("pitch/alter") or 0)
        by_key = _altered_by_key(step, note.findtext("staff", "1"), force)
    except ValueError:
        return
    if note.find("accidental") is not None or alter == by_key or alter not in SIGN_NAMES:
        return
    sign = etree.Element("accidental", parentheses="yes")
    sign.text = SIGN_NAMES[alter]
    before = [*note.findall("dot"), *note.findall("type")]
    if before:
        before[0 if before[0].tag == "type" else len(note.findall("dot")) - 1].addnext(sign)


def _altered_by_key(step: str, staff: str, force: dict[tuple[str, str], Element]) -> Fraction:
    key = force.get(("key", staff), force.get(("key", "")))
    if key is None:
        return Fraction(0)
    fifths = int(key.findtext("fifths") or 0)
    if fifths > 0:
        return Fraction(step in _SHARPS[:fifths])
    if fifths < 0:
        return Fraction(-(step in _SHARPS[::-1][:-fifths]))
    alters = zip(key.findall("key-step"), key.findall("key-alter"), strict=False)
    found = {letter.text: Fraction(alter.text or 0) for letter, alter in alters}
    return found.get(step, Fraction(0))
