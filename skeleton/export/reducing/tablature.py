"""Tablature in a reduction: written as notes on five lines.

A reduction shows pitches, and a staff of tablature shows places on strings. They do not go well
together: signs, ties and small notes have no meaning there, and Verovio 6.4 looks without end for
the fret of a note that has lost it where a tuning is not in order (banjo, ukulele). So a staff of
tablature becomes one of notes, with a treble or bass clef, whichever its notes are nearer to.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from skeleton.score.model import ClefChange, Notice, Part
from skeleton.score.tree import Element, text_of
from skeleton.theory.pitch import DIATONIC

_TABLATURE: Final = "TAB"
_MIDDLE_C: Final = 7 * 4 + DIATONIC["C"]
_LINES: Final = {"G": 2, "F": 4}


def without_tablature(part: Part, element: Element) -> tuple[Part, tuple[Notice, ...]]:
    """Write the tablature of a part in notes.

    Args:
        part: the part.
        element: its ``<part>``, which is changed: clefs, lines and tuning of the staves in
            question, and the strings and frets of their notes.

    Returns:
        The part with its new clefs, and a notice where there are any.
    """
    signs = {clef.staff: _sign(part, clef.staff) for clef in part.clefs if clef.sign == _TABLATURE}
    if not signs:
        return part, ()
    for attributes in element.iter("attributes"):
        for clef in attributes.findall("clef"):
            staff = _staff(clef.get("number"))
            if text_of(clef.find("sign")) == _TABLATURE and staff in signs:
                _set_clef(clef, signs[staff])
        for details in attributes.findall("staff-details"):
            if _staff(details.get("number")) in signs:
                attributes.remove(details)
    for note in element.iter("note"):
        if _staff(note.findtext("staff")) in signs:
            for technical in note.iterfind("notations/technical"):
                for child in [*technical.findall("string"), *technical.findall("fret")]:
                    technical.remove(child)
    notice = Notice(
        "tablature", f"part {part.id} is tablature; its reduction is written in notes", part.id
    )
    return replace(part, clefs=tuple(_in_notes(clef, signs) for clef in part.clefs)), (notice,)


def _sign(part: Part, staff: int) -> str:
    heights = [n.pitch.diatonic for n in part.notes if n.staff == staff and n.pitch is not None]
    return "G" if sum(heights) >= _MIDDLE_C * len(heights) else "F"


def _in_notes(clef: ClefChange, signs: dict[int, str]) -> ClefChange:
    if clef.sign != _TABLATURE:
        return clef
    sign = signs[clef.staff]
    return replace(clef, sign=sign, line=_LINES[sign], octaves=0)


def _set_clef(clef: Element, sign: str) -> None:
    for child in list(clef):
        clef.remove(child)
    for tag, text in (("sign", sign), ("line", str(_LINES[sign]))):
        child = clef.makeelement(tag)
        child.text = text
        clef.append(child)


def _staff(text: str | None) -> int:
    return int(text) if text is not None and text.strip().isdecimal() else 1
