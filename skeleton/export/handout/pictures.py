"""The pictures of a handout: one for each line of music, so that no page break can cut one.

Per passage the bare skeleton and the skeleton with its accidentals, both with their lines broken
at the same measures; then the full etude with its marks, and the etude without any, for the
listener's own, broken alike too. Everything is engraved at the width of the page.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from lxml import etree

from skeleton.analysis.results import Analysis, Passage
from skeleton.export.engraving.engraver import Engraver, Layout
from skeleton.export.engraving.measure_range import measure_range
from skeleton.export.engraving.picture import engrave_systems
from skeleton.export.engraving.svg import open_page, staves, write
from skeleton.export.engraving.systems import Lines, even_lines, line_breaks
from skeleton.export.engraving.tree_edit import (
    hide_part_name,
    keep_parts,
    part_tempo_words,
    set_line_breaks,
)
from skeleton.export.handout.words import Words
from skeleton.export.lists.words import one_line, pitch_text, short_text
from skeleton.export.marking.annotation import annotated_root
from skeleton.export.marking.marks import NO_BREAK_SPACE, Label, Marks, marks
from skeleton.export.reducing.reduction import Reduction, reduction
from skeleton.score.model import Notice
from skeleton.score.tree import Element

STAFF_MM: Final = 7.0
"""Height of a staff on paper: readable from a music stand (common practice, no source)."""

_CLEF: Final = 900.0
_KEY_SIGN: Final = 160.0
_METRE: Final = 450.0
_FILL: Final = 0.95
_FULL_ENOUGH: Final = 0.45


@dataclass(frozen=True, slots=True)
class System:
    """One line of music: its SVG, without fonts, its size, and words for those who hear it."""

    svg: str
    width_mm: float
    height_mm: float
    alt: str


@dataclass(frozen=True, slots=True)
class PassagePictures:
    """The two stages of a passage, each line by line.

    A stage is empty where nothing is left to draw, the second also where it would be the first
    again, in a passage without accidentals.
    """

    bare: tuple[System, ...]
    neighbours: tuple[System, ...]


@dataclass(frozen=True, slots=True)
class HandoutPictures:
    """All pictures: passage by passage, the etude with marks and without; and what was odd."""

    passages: tuple[PassagePictures, ...]
    etude: tuple[System, ...]
    listening: tuple[System, ...]
    notices: tuple[Notice, ...]


def handout_pictures(
    analysis: Analysis, engraver: Engraver, words: Words, width_mm: float
) -> HandoutPictures:
    """Engrave everything that a handout shows.

    Args:
        analysis: the etude.
        engraver: a running engraver.
        words: the language, for the marks and the descriptions.
        width_mm: width of the music on paper.

    Raises:
        EngravingError: the engraver failed.
    """
    maker = _Maker(analysis, engraver, words, width_mm)
    passages, notices = _stages(maker, analysis, words, analysis.passages)
    return HandoutPictures(
        passages,
        maker.etude(marked=True),
        maker.etude(marked=False),
        tuple(dict.fromkeys((*notices, *maker.notices()))),
    )


def passage_pictures(
    analysis: Analysis, engraver: Engraver, words: Words, width_mm: float, name: str
) -> PassagePictures:
    """Engrave one passage; arguments and errors as for :func:`handout_pictures`.

    Raises:
        KeyError: there is no passage of that name.
    """
    found = {passage.name: passage for passage in analysis.passages}[name]
    maker = _Maker(analysis, engraver, words, width_mm)
    (pictures,), _ = _stages(maker, analysis, words, (found,))
    return pictures


def _stages(
    maker: _Maker, analysis: Analysis, words: Words, passages: Sequence[Passage]
) -> tuple[tuple[PassagePictures, ...], tuple[Notice, ...]]:
    bare, neighbours = reduction(analysis, "bare"), reduction(analysis, "neighbours")
    widths = maker.widths(neighbours.root)
    altered = {note.place.measure_index for part in analysis.parts for note in part.accidentals}
    drawn = tuple(
        PassagePictures(
            maker.passage(bare, passage, widths, words.phrases.bare),
            maker.passage(neighbours, passage, widths, words.phrases.neighbours)
            if any(passage.holds(measure) for measure in altered)
            else (),
        )
        for passage in passages
    )
    return drawn, (*bare.notices, *neighbours.notices)


def translated(found: Marks, analysis: Analysis, words: Words) -> Marks:
    """Return marks with the note names of a language."""
    if words.code == "en":
        return found
    names: dict[str, str] = {}
    for part in analysis.parts:
        for string in part.instrument.open_strings:
            said = pitch_text(string.pitch_class, signs=True)
            names[f"string {said}"] = words.name(string.pitch_class)
        for note in part.accidentals:
            if note.anchor is not None:
                said = short_text(note.anchor)
                anchor = note.anchor.place.pitch.pitch_class
                own = pitch_text(anchor, signs=True)
                same = said.startswith("=")
                size = said[len(own) + same :]
                named = note.anchor.interval
                if size[1:] == named.name:
                    size = size[0] + words.short_interval(named)
                names[f"lean {said}"] = f"{'=' * same}{words.name(anchor)}{size}"

    def label(one: Label) -> Label:
        return replace(one, texts=tuple(names.get(f"{one.row} {t}", t) for t in one.texts))

    return Marks(tuple(label(one) for one in found.labels), found.light)


class _Maker:
    """Engraves the trees of one etude at one width."""

    def __init__(
        self, analysis: Analysis, engraver: Engraver, words: Words, width_mm: float
    ) -> None:
        self._analysis = analysis
        self._engraver = engraver
        self._words = words
        self._layout = Layout(
            page_width_mm=width_mm,
            staff_mm=STAFF_MM,
            margin_mm=3.0,
            breaks="line",
            systems_per_page=1,
        )
        part = max(
            (analysis.score.part(found.part) for found in analysis.parts),
            key=lambda one: len(one.measures),
        )
        self._numbers = [one_line(measure.number) for measure in part.measures]
        self._lost: dict[str, None] = {}
        signs = max(
            (len(change.key.alters) for one in analysis.score.parts for change in one.keys),
            default=0,
        )
        head = _CLEF + _METRE + _KEY_SIGN * signs
        self._room = width_mm / self._layout.unit_mm * _FILL - head

    def widths(self, root: Element) -> list[float]:
        """Return how wide each measure of a score is when nothing presses it."""
        engraved = self._engraver.engrave(
            etree.tostring(root, encoding="unicode"),
            Layout(breaks="none", staff_mm=STAFF_MM, boxes=False),
            name=self._analysis.score.source.name,
        )
        parts = root.findall("part")
        count = max(len(part.findall("measure")) for part in parts)
        boxes = [box for svg in engraved.pages for box in staves(open_page(svg, engraved.unit_mm))]
        lefts = sorted({round(box.x) for box in boxes})
        if len(lefts) < count:
            # Measures joined into one rest: all are taken to be alike.
            return [self._room / 4] * count
        by_left: dict[int, float] = {}
        for box in boxes:
            by_left[round(box.x)] = max(by_left.get(round(box.x), 0.0), box.width)
        return [by_left[left] for left in lefts][:count]

    def passage(
        self, reduced: Reduction, passage: Passage, widths: Sequence[float], what: str
    ) -> tuple[System, ...]:
        """Engrave one stage of a passage."""
        root = measure_range(reduced.root, passage.first_index, passage.last_index)
        _drop_rehearsal_marks(root)
        here = {note.get("id") for note in root.iter("note") if note.find("rest") is None}
        wanted = [note for note in reduced.notes if note in here]
        if not wanted:
            return ()
        own = list(widths[passage.first_index : passage.last_index + 1])
        begins = even_lines(own, self._room)
        set_line_breaks(root, begins)
        last = sum(own[begins[-1] if begins else 0 :])
        labels = translated(reduced.marks, self._analysis, self._words)
        _rename_lyrics(root, reduced.marks, labels)
        return self._systems(
            root,
            labels,
            begins=(0, *begins),
            first=passage.first_index,
            count=len(own),
            stretch_last=last >= _FULL_ENOUGH * self._room,
            wanted=wanted,
            what=f"{one_line(passage.name)}: {what}",
        )

    @cached_property
    def _full(self) -> tuple[Marks, Lines]:
        """The marks of the full etude, and where its lines begin: with marks and without alike."""
        full = translated(marks(self._analysis), self._analysis, self._words)
        return full, line_breaks(self._analysis, full, self._layout.page_width_mm)

    def etude(self, *, marked: bool) -> tuple[System, ...]:
        """Engrave the full etude, with its marks or without any."""
        analysis = self._analysis
        full, lines = self._full
        shown = full if marked else Marks((), frozenset())
        root = annotated_root(analysis.score, shown)
        keep_parts(root, {found.part for found in analysis.parts})
        set_line_breaks(root, lines.begins)
        printed = {
            note.id
            for found in analysis.parts
            for note in analysis.score.part(found.part).notes
            if note.printed
        }
        places = [note.place.id for found in analysis.parts for note in found.skeleton]
        places += [note.place.id for found in analysis.parts for note in found.accidentals]
        spoken_of = dict.fromkeys(note for note in places if note in printed)
        phrases = self._words.phrases
        return self._systems(
            root,
            shown,
            begins=(0, *lines.begins),
            first=0,
            count=len(self._numbers),
            stretch_last=lines.last_is_full,
            wanted=list(spoken_of),
            what=phrases.etude if marked else phrases.whole_etude,
        )

    def notices(self) -> tuple[Notice, ...]:
        """What the engraver left out so far."""
        lost = list(self._lost)
        if not lost:
            return ()
        return (Notice("not-drawn", f"the engraver left out {len(lost)} notes: {lost[0]} ..."),)

    def _systems(
        self,
        root: Element,
        labels: Marks,
        *,
        begins: Sequence[int],
        first: int,
        count: int,
        stretch_last: bool,
        wanted: Sequence[str],
        what: str,
    ) -> tuple[System, ...]:
        hide_part_name(root)
        part_tempo_words(root)
        pages, missing = engrave_systems(
            self._engraver,
            root,
            self._analysis,
            labels,
            layout=replace(self._layout, stretch_last=stretch_last),
            titles={},
            expect_ids=wanted,
        )
        self._lost.update(dict.fromkeys(missing))
        ends = [*begins[1:], count]
        spans = [(first + begin, first + end - 1) for begin, end in zip(begins, ends, strict=True)]
        if len(spans) != len(pages):
            # A line too full is broken again by nobody but the engraver: name the whole.
            spans = [(first, first + count - 1)] * len(pages)
        return tuple(
            System(
                write(page, fonts=False),
                page.frame.width * page.unit_mm,
                page.frame.height * page.unit_mm,
                self._alt(what, *span),
            )
            for page, span in zip(pages, spans, strict=True)
        )

    def _alt(self, what: str, first: int, last: int) -> str:
        phrases = self._words.phrases
        form = phrases.measure if first == last else phrases.measures
        measures = form.format(first=self._numbers[first], last=self._numbers[last])
        return phrases.picture.format(what=what, measures=measures)


def _drop_rehearsal_marks(root: Element) -> None:
    """Leave out rehearsal marks: a boxed letter A beside boxed names of strings would mislead."""
    for mark in [*root.iter("rehearsal")]:
        kind = mark.getparent()
        direction = None if kind is None else kind.getparent()
        if kind is None or direction is None:
            continue
        kind.remove(mark)
        if len(kind) == 0:
            direction.remove(kind)
        measure = direction.getparent()
        if direction.find("direction-type") is None and measure is not None:
            measure.remove(direction)


def _rename_lyrics(root: Element, old: Marks, new: Marks) -> None:
    """Write the new texts of marks over the old ones, which stand in the tree as lyrics."""
    changed: Mapping[str, tuple[str, str]] = {
        was.note: (was.line, now.line)
        for was, now in zip(old.labels, new.labels, strict=True)
        if was.line != now.line
    }
    if not changed:
        return
    for note in root.iter("note"):
        was, now = changed.get(note.get("id", ""), ("", ""))
        for text in note.iterfind("lyric/text"):
            if was and (text.text or "").strip(NO_BREAK_SPACE) == was:
                text.text = (text.text or "").replace(was, now)
