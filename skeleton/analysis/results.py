"""What an analysis says, as plain frozen data.

Notes are spoken of by id. :class:`Place` repeats what a reader wants beside the id, so that no
output has to go back to the score for a measure number or a beat. Intervals point from the
anchor to the accidental.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from skeleton.analysis.html import html_table
from skeleton.score.model import Notice, Score
from skeleton.theory.instrument import Instrument
from skeleton.theory.interval import Interval, describe
from skeleton.theory.pitch import Pitch, PitchClass

Rule = Literal["second", "first", "last", "pairs", "on-beat"]
"""Which notes the skeleton takes: of every slur its second, first or last note; the second of
slurs of two only; or the notes on the beat, slurred or not."""

Reason = Literal["slur", "open-string", "lesson"]
"""Why a note is in the skeleton: the rule took it ("slur" for every rule), it is named like an
open string, or the lesson file says so."""


@dataclass(frozen=True, slots=True)
class Place:
    """One note: its id and where a reader finds it. ``measure`` is the printed number."""

    id: str
    part: str
    measure: str
    measure_index: int
    beat: Fraction
    onset_quarters: Fraction
    voice: str
    pitch: Pitch


@dataclass(frozen=True, slots=True)
class SkeletonNote:
    """A structural note and why it is one.

    ``open_string`` is the string it is named after ("D4" for any D on a violin), or None.
    ``slur_notes`` is how many events the slur holds that the rule took it from, 0 without one.
    """

    place: Place
    reasons: tuple[Reason, ...]
    open_string: Pitch | None = None
    slur_notes: int = 0


@dataclass(frozen=True, slots=True)
class Anchor:
    """The skeleton note an accidental is tuned from, and the interval from it to the accidental."""

    place: Place
    interval: Interval


@dataclass(frozen=True, slots=True)
class AccidentalNote:
    """A note altered against the key signature, or restored to it by a needed sign.

    ``printed`` says whether a sign stands before this very note; ``structural`` whether it is
    itself a skeleton note; ``open_string`` whether it is named like an open string. ``from_key``
    marks a note that counts only because the lesson asks for the key's own sharps and flats.
    ``runner_up`` is the next best anchor where it is as near as the first.
    """

    place: Place
    printed: bool
    structural: bool
    open_string: bool
    anchor: Anchor | None
    runner_up: Anchor | None
    from_key: bool = False


@dataclass(frozen=True, slots=True)
class Lean:
    """Members of a match group that hang on the same name by the same interval."""

    anchor: PitchClass
    interval: Interval
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MatchGroup:
    """All returns of one accidental in one part: same letter and sign, any octave; two or more.

    ``label`` is a letter that is no note name (K, L, M ...). ``leans`` divide the group by what
    its members hang on; members without an anchor are in no lean.
    """

    label: str
    part: str
    pitch_class: PitchClass
    octaves: tuple[int, ...]
    notes: tuple[str, ...]
    leans: tuple[Lean, ...]

    @property
    def across_octaves(self) -> bool:
        """Whether the note returns in another octave."""
        return len(self.octaves) > 1


@dataclass(frozen=True, slots=True)
class Twins:
    """Two accidentals of one passage that share a key of the piano and are not the same note."""

    part: str
    passage: str
    first: PitchClass
    second: PitchClass


@dataclass(frozen=True, slots=True)
class Passage:
    """A stretch practised as one, by whole measures; both ends belong to it."""

    name: str
    first_index: int
    last_index: int
    first_measure: str
    last_measure: str

    def holds(self, measure_index: int) -> bool:
        """Whether the measure belongs to the passage."""
        return self.first_index <= measure_index <= self.last_index


@dataclass(frozen=True, slots=True)
class RuleFit:
    """How well a rule fits: shares from 0 to 1.

    ``half_step_share`` of the accidentals stand a half step (of either kind) from their anchor;
    ``unaltered_share`` of the rule's notes are themselves unaltered. ``notes`` counts the latter.
    """

    rule: Rule
    half_step_share: float
    unaltered_share: float
    notes: int


@dataclass(frozen=True, slots=True)
class PartAnalysis:
    """One part's skeleton, accidentals and matches, each in score order."""

    part: str
    instrument: Instrument
    skeleton: tuple[SkeletonNote, ...]
    accidentals: tuple[AccidentalNote, ...]
    matches: tuple[MatchGroup, ...]
    twins: tuple[Twins, ...]


@dataclass(frozen=True, slots=True)
class ChosenLean:
    """How far a note is to lean on its anchor, in cents, as a lesson decides it.

    It holds for every half step of that name, in every octave; with ``anchor`` only for those
    that hang on a note of that name.
    """

    pitch_class: PitchClass
    cents: float
    anchor: PitchClass | None = None


@dataclass(frozen=True, slots=True)
class Analysis:
    """What an etude stands on. ``a4_hz`` is the pitch the strings are tuned from.

    ``leans`` are the lesson's own sizes of half steps; nothing in the analysis hangs on them.
    """

    score: Score
    rule: Rule
    rule_fit: tuple[RuleFit, ...]
    parts: tuple[PartAnalysis, ...]
    passages: tuple[Passage, ...]
    notices: tuple[Notice, ...]
    a4_hz: float
    keep_open_strings: bool = False
    leans: tuple[ChosenLean, ...] = ()

    def _repr_html_(self) -> str:
        """Show the accidentals in a notebook."""
        groups = {note: g.label for found in self.parts for g in found.matches for note in g.notes}
        rows = [
            (
                note.place.measure,
                f"{float(note.place.beat):g}",
                str(note.place.pitch),
                describe(note.anchor.interval, note.anchor.place.pitch) if note.anchor else "",
                groups.get(note.place.id, ""),
            )
            for found in self.parts
            for note in found.accidentals
        ]
        structural = sum(len(found.skeleton) for found in self.parts)
        caption = f"{self.score.source.name}: {structural} skeleton notes, {len(rows)} accidentals"
        return html_table(caption, ("measure", "beat", "note", "tuned from", "group"), rows)
