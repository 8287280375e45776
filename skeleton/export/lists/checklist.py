"""The checklist of an etude, passage by passage, as plain data.

Per passage and part, in the order of work: the open strings to tune, the notes they fix, each
accidental with the note it is tuned from, what must match, and what only looks alike. The
renderers stand beside this module: text and Markdown in ``checklist_text``, CSV and JSON in
``checklist_data``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from skeleton.analysis.results import (
    AccidentalNote,
    Analysis,
    Anchor,
    MatchGroup,
    PartAnalysis,
    Passage,
    Place,
    Rule,
    SkeletonNote,
    Twins,
)
from skeleton.errors import OptionError
from skeleton.export.lists.by_passage import by_measure, group_labels, in_passage
from skeleton.export.lists.outline_text import part_name, title_of
from skeleton.intonation.cautions import UNDER_CHECKLISTS
from skeleton.theory.instrument import Instrument
from skeleton.theory.pitch import Pitch

CAUTIONS = tuple(caution.text for caution in UNDER_CHECKLISTS)
"""The small print under every checklist."""


@dataclass(frozen=True, slots=True)
class FixedName:
    """The notes of a passage that one open string fixes, low to high."""

    string: Pitch
    pitches: tuple[Pitch, ...]


@dataclass(frozen=True, slots=True)
class TunedNote:
    """An accidental and what it is tuned from, with every place where the two stand so.

    ``anchor`` is that of the first place; None where the part has no other skeleton note.
    ``label`` is the match group's letter, None where the note does not return.
    """

    pitch: Pitch
    anchor: Anchor | None
    places: tuple[Place, ...]
    label: str | None
    open_string: bool


@dataclass(frozen=True, slots=True)
class Match:
    """A match group, and the names of all passages it returns in.

    A group named like an open string (``open_string``) has no lean to choose: it is fixed.
    """

    group: MatchGroup
    open_string: bool
    passages: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PassageChecklist:
    """What to do in one passage of one part.

    ``tune_first`` are open strings in the order of tuning, the reference first. ``part`` is
    the part's id, ``part_name`` its name for a person.
    """

    passage: Passage
    part: str
    part_name: str
    instrument: Instrument
    tune_first: tuple[Pitch, ...]
    fixed: tuple[FixedName, ...]
    accidentals: tuple[TunedNote, ...]
    matches: tuple[Match, ...]
    twins: tuple[Twins, ...]


@dataclass(frozen=True, slots=True)
class Checklist:
    """A checklist for an etude as one file has it. ``a4_hz`` is what the A is tuned to."""

    title: str
    source: str
    rule: Rule
    a4_hz: float
    several_parts: bool
    passages: tuple[PassageChecklist, ...]


def checklist(analysis: Analysis, passages: Sequence[str] = ()) -> Checklist:
    """Return the checklist, of all passages or of those named.

    Passages with nothing to tune are left out, unless they are asked for by name.

    Raises:
        OptionError: there is no passage of that name.
    """
    known = [passage.name for passage in analysis.passages]
    for name in passages:
        if name not in known:
            raise OptionError(
                f"{analysis.score.source.name}: no passage {name!r}; there are {', '.join(known)}"
            )
    parts = [_Part(analysis, part) for part in analysis.parts]
    return Checklist(
        title_of(analysis),
        analysis.score.source.name,
        analysis.rule,
        analysis.a4_hz,
        len(parts) > 1,
        tuple(
            found
            for passage in analysis.passages
            if not passages or passage.name in passages
            for part in parts
            if (found := part.checklist(passage)).accidentals or found.fixed or passages
        ),
    )


def tuning_order(instrument: Instrument, needed: Iterable[Pitch]) -> tuple[Pitch, ...]:
    """Return the open strings to tune so that those needed are in tune, the reference first.

    The reference is the A string (common practice, no source); every string is tuned from its
    neighbour, so strings on the way to a needed one are tuned too. Without an A string the
    reference is the string nearest to A4.
    """
    strings = instrument.open_strings
    wanted = [index for index, string in enumerate(strings) if string in set(needed)]
    reference = min(
        range(len(strings)),
        key=lambda i: (
            (strings[i].step, strings[i].alter) != ("A", 0),
            abs(strings[i].midi - 69),
        ),
    )
    lowest, highest = min([*wanted, reference]), max([*wanted, reference])
    order = [reference, *range(reference - 1, lowest - 1, -1), *range(reference + 1, highest + 1)]
    return tuple(strings[index] for index in order)


class _Part:
    """One part, with its notes and groups laid out so that each passage finds its own."""

    def __init__(self, analysis: Analysis, part: PartAnalysis) -> None:
        self.part = part
        self.name = part_name(analysis, part)
        self.bones = by_measure(part.skeleton)
        self.notes = by_measure(part.accidentals)
        self.labels = group_labels(part)
        fixed = {
            self.labels[note.place.id]
            for note in part.accidentals
            if note.open_string and note.place.id in self.labels
        }
        returns: dict[str, list[str]] = {}
        for passage in analysis.passages:
            for label in self._labels_in(passage):
                returns.setdefault(label, []).append(passage.name)
        self.matches = [
            Match(group, group.label in fixed, tuple(returns.get(group.label, ())))
            for group in sorted(part.matches, key=lambda group: not group.across_octaves)
        ]

    def checklist(self, passage: Passage) -> PassageChecklist:
        fixed = _fixed(in_passage(self.bones, passage), self.part.instrument)
        labels = self._labels_in(passage)
        return PassageChecklist(
            passage,
            self.part.part,
            self.name,
            self.part.instrument,
            tuning_order(self.part.instrument, [name.string for name in fixed]),
            fixed,
            _tuned(in_passage(self.notes, passage), self.labels),
            tuple(match for match in self.matches if match.group.label in labels),
            tuple(twins for twins in self.part.twins if twins.passage == passage.name),
        )

    def _labels_in(self, passage: Passage) -> dict[str, None]:
        notes = in_passage(self.notes, passage)
        found = (self.labels.get(note.place.id) for note in notes)
        return dict.fromkeys(label for label in found if label is not None)


def _fixed(bones: Sequence[SkeletonNote], instrument: Instrument) -> tuple[FixedName, ...]:
    found: dict[Pitch, set[Pitch]] = {}
    for note in bones:
        if note.open_string is not None:
            found.setdefault(note.open_string, set()).add(note.place.pitch)
    return tuple(
        FixedName(string, tuple(sorted(found[string], key=lambda pitch: pitch.midi)))
        for string in instrument.open_strings
        if string in found
    )


def _tuned(notes: Sequence[AccidentalNote], labels: Mapping[str, str]) -> tuple[TunedNote, ...]:
    together: dict[tuple[Pitch, Pitch | None], list[AccidentalNote]] = {}
    for note in notes:
        anchor = note.anchor.place.pitch if note.anchor else None
        together.setdefault((note.place.pitch, anchor), []).append(note)
    return tuple(
        TunedNote(
            same[0].place.pitch,
            same[0].anchor,
            tuple(note.place for note in same),
            labels.get(same[0].place.id),
            same[0].open_string,
        )
        for same in together.values()
    )
