"""The views of an etude that a student walks through, as pictures and as MusicXML.

``bare``
    the skeleton alone.
``neighbours``
    the skeleton with the accidentals hung on it.
``all``
    the etude as written, the skeleton black, the rest lighter.
``annotated``
    the same with every accidental labelled and every match lettered.

All views of one etude break their lines at the same measures.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

from lxml import etree

from skeleton.analysis.results import Analysis
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.engraving.picture import PAGE_WIDTH_MM, Heading, engrave_marked
from skeleton.export.engraving.systems import line_breaks
from skeleton.export.engraving.tree_edit import (
    hide_part_name,
    keep_parts,
    part_tempo_words,
    set_line_breaks,
)
from skeleton.export.lists.words import RULES, one_line
from skeleton.export.marking.annotation import annotated_bytes, annotated_root
from skeleton.export.marking.marks import Marks, marks, names_intervals
from skeleton.export.reducing.reduction import reduction
from skeleton.score.model import Notice
from skeleton.score.tree import Element

View = Literal["bare", "neighbours", "all", "annotated"]
VIEWS: Final[tuple[View, ...]] = ("bare", "neighbours", "all", "annotated")

_BOXED: Final = "boxed letter: named like that open string, match it in every octave"
_LETTER: Final = "letter without a box: the same name, in passing"
_BLACK: Final = "black: skeleton; grey: the other notes"
_LEGENDS: Final[dict[View, tuple[str, ...]]] = {
    "bare": (_BOXED,),
    "neighbours": (f"small notes: accidentals, slurred to their anchors; {_BOXED}",),
    "all": (_BLACK, f"{_BOXED}; {_LETTER}"),
    "annotated": (
        f"{_BLACK}; ringed letter: these notes must lean alike, in every octave",
        f"{_BOXED}; {_LETTER}",
        "G−½: half step below G; G+1: whole step above G; =F+½: chromatic half step above F",
    ),
}
_TITLES: Final[dict[View, str]] = {
    "bare": "bare skeleton",
    "neighbours": "skeleton and accidentals",
    "all": "skeleton in the full etude",
    "annotated": "full etude with labels",
}
_NAMED: Final = (
    "other steps by name: G−m3, minor third below G; M major, P perfect, A augmented, d diminished"
)
_WORDS_LEGEND: Final = "under each accidental: what it is tuned from"


@dataclass(frozen=True, slots=True)
class Pictures:
    """SVG texts, one per page, and what was odd."""

    pages: tuple[str, ...]
    notices: tuple[Notice, ...]

    def _repr_svg_(self) -> str:
        """Show the first page in a notebook."""
        return self.pages[0]


def pictures(
    analysis: Analysis,
    view: View,
    engraver: Engraver | None = None,
    *,
    single: bool = False,
    in_words: bool = False,
) -> Pictures:
    """Engrave a view.

    Args:
        analysis: the etude.
        view: which view.
        engraver: a running engraver; one is started and ended where None.
        single: one tall picture instead of pages.
        in_words: write the labels of ``annotated`` in full.

    Raises:
        EngravingError: the engraver failed.
        ScoreError: there is nothing to engrave.
    """
    if engraver is None:
        with Engraver() as own:
            return pictures(analysis, view, own, single=single, in_words=in_words)
    root, shown, notes, notices = _tree(analysis, view, in_words=in_words)
    full = marks(analysis, in_words=in_words)
    lines = line_breaks(analysis, full, PAGE_WIDTH_MM)
    set_line_breaks(root, lines.begins)
    hide_part_name(root)
    part_tempo_words(root)
    pages, missing = engrave_marked(
        engraver,
        root,
        analysis,
        shown,
        heading=_heading(analysis, view, in_words=in_words),
        description=_description(analysis, view),
        single=single,
        stretch_last=lines.last_is_full,
        expect_ids=notes,
    )
    lost = (
        (Notice("not-drawn", f"the engraver left out {len(missing)} notes: {missing[0]} ..."),)
        if missing
        else ()
    )
    return Pictures(pages, (*notices, *lost))


def musicxml(
    analysis: Analysis, view: View, *, in_words: bool = False
) -> tuple[bytes, tuple[Notice, ...]]:
    """Write a view as MusicXML.

    ``bare`` and ``neighbours`` are new files; ``all`` and ``annotated`` are the source's own
    bytes with additions.
    """
    if view in {"bare", "neighbours"}:
        reduced = reduction(analysis, "bare" if view == "bare" else "neighbours")
        return serialised(reduced.root), reduced.notices
    data, _, notices = annotated_bytes(
        analysis.score, _shown(marks(analysis, in_words=in_words), view)
    )
    return data, notices


def serialised(root: Element) -> bytes:
    """Return a tree as the bytes of a MusicXML file."""
    version = root.get("version") or "4.0"
    doctype = (
        f'<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML {version} Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd">'
    )
    etree.indent(root)
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True, doctype=doctype) + b"\n"


def _tree(
    analysis: Analysis, view: View, *, in_words: bool
) -> tuple[Element, Marks, list[str], tuple[Notice, ...]]:
    """Return the music of a view, its marks, the notes that must be drawn, and what was odd."""
    if view in {"bare", "neighbours"}:
        reduced = reduction(analysis, "bare" if view == "bare" else "neighbours")
        return reduced.root, reduced.marks, list(reduced.notes), reduced.notices
    shown = _shown(marks(analysis, in_words=in_words), view)
    root = annotated_root(analysis.score, shown)
    analysed = {found.part for found in analysis.parts}
    keep_parts(root, analysed)
    printed = {
        note.id
        for part in analysis.score.parts
        if part.id in analysed
        for note in part.notes
        if note.printed
    }
    places = [note.place.id for found in analysis.parts for note in found.skeleton]
    places += [note.place.id for found in analysis.parts for note in found.accidentals]
    spoken_of = dict.fromkeys(note_id for note_id in places if note_id in printed)
    return root, shown, list(spoken_of), ()


def _shown(found: Marks, view: View) -> Marks:
    if view == "annotated":
        return found
    return replace(found, labels=tuple(label for label in found.labels if label.row == "string"))


def _heading(analysis: Analysis, view: View, *, in_words: bool) -> Heading:
    score = analysis.score
    title = one_line(score.title or score.source.name)
    named = f"{title} · {_TITLES[view]}"
    by = f" · {one_line(score.composer)}" if score.composer else ""
    subtitle = f"from {score.source.name} · rule: {RULES[analysis.rule]}{by}"
    legend = _LEGENDS[view]
    if in_words and view == "annotated":
        legend = (*legend[:-1], _WORDS_LEGEND)
    elif view == "annotated" and names_intervals(analysis):
        legend = (*legend, _NAMED)
    return Heading(named, subtitle, legend)


def _description(analysis: Analysis, view: View) -> str:
    structural = sum(len(found.skeleton) for found in analysis.parts)
    accidentals = sum(len(found.accidentals) for found in analysis.parts)
    return (
        f"Engraved music: {_TITLES[view]}. {structural} skeleton notes, "
        f"{accidentals} accidentals; each note says what it is."
    )
