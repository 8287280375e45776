"""The reduction as MusicXML: the skeleton alone, or with its accidentals hung on it.

The result is a copy of the source in which every measure is written anew: fewer notes, plain
values, signs and beams computed for what is left. Notes keep their ids; the later pieces of a
note that had to be tied get the id with ``-t1``, ``-t2``. What the source says about the piece
and its measures (title, clefs, keys, metres, barlines, repeats, rehearsal marks, tempo) stays;
slurs, dynamics, lyrics and bow marks belong to the notes that were taken out, and go.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

from lxml import etree

from skeleton.analysis.results import Analysis, PartAnalysis
from skeleton.export.engraving.tree_edit import keep_parts
from skeleton.export.marking.marks import Label, Marks, string_labels
from skeleton.export.reducing.bars import write_bars
from skeleton.export.reducing.part_writer import PartWriter, Slurs
from skeleton.export.reducing.placement import Placement, place
from skeleton.export.reducing.tablature import without_tablature
from skeleton.score.marking import marked_root
from skeleton.score.model import Notice, Part
from skeleton.score.tree import Element

Stage = Literal["bare", "neighbours"]

_SLURS_AT_ONCE: Final = 16  # MusicXML 4.0, number-level
_SLUR_REACH_QUARTERS: Final = Fraction(4)


@dataclass(frozen=True, slots=True)
class Reduction:
    """A reduction: partwise MusicXML, its marks, the ids of its notes, and what was odd."""

    root: Element
    marks: Marks
    notes: tuple[str, ...]
    notices: tuple[Notice, ...]


def reduction(analysis: Analysis, stage: Stage) -> Reduction:
    """Write the reduction of all analysed parts.

    Args:
        analysis: what was found.
        stage: ``bare`` for the skeleton alone, ``neighbours`` with the accidentals.

    Raises:
        ScoreError: the source's bytes are no score.
    """
    root = marked_root(analysis.score)
    found = {part.part: part for part in analysis.parts}
    keep_parts(root, set(found))
    _say_what_it_is(root, analysis, stage)
    notices: list[Notice] = []
    labels: list[Label] = []
    notes: list[str] = []
    for element in root.findall("part"):
        part, said = without_tablature(analysis.score.part(element.get("id", "")), element)
        notices += said
        placements = place(
            part,
            found[part.id],
            analysis.passages,
            analysis.rule,
            keep_open_strings=analysis.keep_open_strings,
            accidentals=stage == "neighbours",
        )
        bars, said = write_bars(part, placements)
        notices += said
        if not placements:
            notices.append(_empty(part))
        heads = _carriers(placements)
        strings = string_labels(found[part.id], heads, set(heads))
        slurs = _hanging_slurs(part, found[part.id], placements)
        texts = {label.note: label.line for label in strings}
        PartWriter(part, element, bars, slurs, texts).write()
        labels += strings
        notes += [note for event in placements for note in event.notes]
    marks = Marks(tuple(labels), frozenset())
    return Reduction(root, marks, tuple(notes), tuple(notices))


def _empty(part: Part) -> Notice:
    return Notice(
        "empty-reduction",
        f"part {part.id} has no skeleton note, so its reduction holds rests; try another rule",
        part.id,
    )


def _carriers(placements: Iterable[Placement]) -> dict[str, str]:
    """Map each large note to the one that carries the letters of all that begin with it."""
    first: dict[tuple[int, Fraction], str] = {}
    return {
        note: first.setdefault((event.staff, event.start), event.notes[0])
        for event in placements
        if not event.small
        for note in event.notes
    }


def _say_what_it_is(root: Element, analysis: Analysis, stage: Stage) -> None:
    """Note in the file what it is and what it was made from: it is no edition of the piece."""
    identification = root.find("identification")
    if identification is None:
        identification = etree.Element("identification")
        before = [root.find(name) for name in ("movement-title", "movement-number", "work")]
        last = next((element for element in before if element is not None), None)
        root.insert(0 if last is None else root.index(last) + 1, identification)
    miscellaneous = identification.find("miscellaneous")
    if miscellaneous is None:
        miscellaneous = etree.SubElement(identification, "miscellaneous")
    for name, text in (
        ("reduction-stage", stage),
        ("reduction-rule", analysis.rule),
        ("reduction-source", analysis.score.source.name),
    ):
        field = etree.SubElement(miscellaneous, "miscellaneous-field", name=name)
        field.text = text


def _hanging_slurs(part: Part, found: PartAnalysis, placements: Iterable[Placement]) -> Slurs:
    """Slurs from small accidentals to their anchors.

    By the id of the note they start or stop at: which of the two, number, and the anchor's event.
    """
    at = {note: placement for placement in placements for note in placement.notes}
    pairs: list[tuple[Fraction, Fraction, str, str, tuple[str, ...]]] = []
    for accidental in found.accidentals:
        own = at.get(accidental.place.id)
        if own is None or not own.small or accidental.anchor is None:
            continue
        # Where the anchor was left out, the same pitch on the other side does as well.
        both = [one for one in (accidental.anchor, accidental.runner_up) if one is not None]
        heard = [one for one in both if one.place.pitch == accidental.anchor.place.pitch]
        anchor = next((at[one.place.id] for one in heard if one.place.id in at), None)
        if anchor is None or abs(anchor.start - own.start) > _SLUR_REACH_QUARTERS:
            continue
        ends = sorted(((own.start, own.notes[0]), (anchor.start, anchor.notes[0])))
        if ends[0][0] < ends[1][0]:
            pairs.append((ends[0][0], ends[1][0], ends[0][1], ends[1][1], anchor.notes))
    onsets = [measure.onset_quarters for measure in part.measures]
    marks: dict[str, list[tuple[str, str, tuple[str, ...]]]] = {}
    busy: dict[int, Fraction] = {}
    for start, end, first, second, held in sorted(set(pairs)):
        barline = onsets[max(bisect_right(onsets, start) - 1, 0)]
        number = _free_number(busy, barline) or _free_number(busy, start)
        if number:
            busy[number] = end
            marks.setdefault(first, []).append(("start", str(number), held))
            marks.setdefault(second, []).append(("stop", str(number), held))
    return marks


def _free_number(busy: Mapping[int, Fraction], time: Fraction) -> int:
    """Return a slur number that no slur needs after a time, or 0.

    The ends of a slur stand in different voices, in an order that is not that of time; so a
    number is not used twice in a bar as long as there are others.
    """
    numbers = range(1, _SLURS_AT_ONCE + 1)
    return next((n for n in numbers if busy.get(n, Fraction(-1)) < time), 0)
