"""What is written beside the notes of an etude: which note gets which short text, on which row.

Three rows, so that every kind of mark has a line of its own:

``string``
    above the staff: the letter of the open string that the note is named after.
``lean``
    below the staff: what an accidental hangs on and how, ``G−½`` or in full words.
``group``
    below that: the letter of its match group.

The marks of notes that begin together stand together. Nothing here means something else to a
string player: no circles or zeros over notes, no digits, dots, dashes or bow signs, and no
arrows, which belong to the listener.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from skeleton.analysis.results import Analysis, Anchor, PartAnalysis
from skeleton.export.lists.words import anchor_text, pitch_text, short_text
from skeleton.export.reducing.placement import kept_ids
from skeleton.score.model import Part

NO_BREAK_SPACE: Final = "\N{NO-BREAK SPACE}"

Row = Literal["string", "lean", "group"]


@dataclass(frozen=True, slots=True)
class Label:
    """A text on a row at a note.

    ``note`` is the id of the note that carries it (see :func:`columns`), ``texts`` one entry for
    each note of the column that has something to say. ``kept`` is true for letters of open
    strings where the note is in the bare reduction as well.
    """

    row: Row
    note: str
    texts: tuple[str, ...]
    kept: bool = False

    @property
    def line(self) -> str:
        """All texts in one line; those that are framed stand far enough apart for it."""
        return self.gap.join(self.texts)

    @property
    def gap(self) -> str:
        """What stands between two texts of the line."""
        if self.row != "lean":
            return 3 * NO_BREAK_SPACE
        return f",{NO_BREAK_SPACE}" if self.in_words else NO_BREAK_SPACE

    @property
    def in_words(self) -> bool:
        """Whether it is written in full, so that spaces stand inside it."""
        return self.row == "lean" and any(" " in text for text in self.texts)


@dataclass(frozen=True, slots=True)
class Marks:
    """All marks of an analysis: texts in score order, and the notes that step back."""

    labels: tuple[Label, ...]
    light: frozenset[str]

    def on(self, row: Row) -> dict[str, Label]:
        """The labels of one row by note."""
        return {label.note: label for label in self.labels if label.row == row}


def marks(analysis: Analysis, *, in_words: bool = False) -> Marks:
    """Work out the marks of all analysed parts; ``in_words`` writes intervals in full."""
    labels: list[Label] = []
    light: set[str] = set()
    for found in analysis.parts:
        part = analysis.score.part(found.part)
        heads = columns(part)
        kept = kept_ids(found, analysis.passages, keep_open_strings=analysis.keep_open_strings)
        labels += string_labels(found, heads, kept)
        labels += _lean_labels(found, heads, in_words=in_words)
        labels += _group_labels(found, heads)
        light |= _light(part, found)
    return Marks(tuple(labels), frozenset(light))


def columns(part: Part) -> dict[str, str]:
    """Map each note to the one that carries the marks of all that begin with it on its staff.

    That is the first printed attack there, in whatever voice: marks of two voices would lie on
    each other. Grace notes stand in columns of their own, chord by chord.
    """
    carriers: dict[tuple[object, ...], str] = {}
    found: dict[str, str] = {}
    chord = 0
    for note in part.notes:
        chord += not note.chord
        place = (note.staff, note.onset_quarters, chord if note.grace else None)
        if note.is_attack and note.printed:
            carriers.setdefault(place, note.id)
        found[note.id] = carriers.get(place, note.id)
    return found


def _light(part: Part, found: PartAnalysis) -> set[str]:
    """Notes that belong to no skeleton event: neither they, nor their chord, nor what they tie."""
    origin: dict[str, str] = {}
    heads: dict[str, str] = {}
    head = ""
    for note in part.notes:
        origin[note.id] = origin.get(note.tied_from, note.id) if note.tied_from else note.id
        head = head if note.chord else note.id
        heads[note.id] = head
    structural = {note.place.id for note in found.skeleton}
    dark = {heads[note.id] for note in part.notes if origin[note.id] in structural}
    return {note.id for note in part.notes if note.kind != "rest" and heads[note.id] not in dark}


def _gather(rows: Iterable[tuple[str, str]], row: Row, kept: Iterable[str] = ()) -> list[Label]:
    """Join the texts that stand at one chord, each once."""
    texts: dict[str, dict[str, None]] = {}
    for head, text in rows:
        texts.setdefault(head, {})[text] = None
    in_bare = set(kept)
    return [Label(row, head, tuple(said), head in in_bare) for head, said in texts.items()]


def string_labels(found: PartAnalysis, heads: Mapping[str, str], kept: set[str]) -> list[Label]:
    """Return the letters of the open strings that a part's notes are named after.

    Args:
        found: the part.
        heads: the notes that are shown, each with the one that carries its marks.
        kept: the notes of the bare reduction.
    """
    named = [
        note for note in found.skeleton if note.open_string is not None and note.place.id in heads
    ]
    return _gather(
        (
            (heads[note.place.id], pitch_text(note.open_string.pitch_class, signs=True))
            for note in named
            if note.open_string is not None
        ),
        "string",
        {heads[note.place.id] for note in named if note.place.id in kept},
    )


def _lean_labels(found: PartAnalysis, heads: Mapping[str, str], *, in_words: bool) -> list[Label]:
    def text(anchor: Anchor) -> str:
        if in_words:
            return anchor_text(anchor, signs=True)
        return short_text(anchor)

    return _gather(
        ((heads[n.place.id], text(n.anchor)) for n in found.accidentals if n.anchor is not None),
        "lean",
    )


def _group_labels(found: PartAnalysis, heads: Mapping[str, str]) -> list[Label]:
    group_of = {note: group.label for group in found.matches for note in group.notes}
    return _gather(
        (
            (heads[note.place.id], group_of[note.place.id])
            for note in found.accidentals
            if note.place.id in group_of
        ),
        "group",
    )


def names_intervals(analysis: Analysis) -> bool:
    """Return whether a mark names its interval, since it is neither a half nor a whole step."""
    return any(
        note.anchor is not None and short_text(note.anchor).endswith(f"{note.anchor.interval.name}")
        for part in analysis.parts
        for note in part.accidentals
    )
