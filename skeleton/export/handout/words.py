"""Every word that a handout shows, as data: one record for each language.

A language is one module beside this one, ``words_xx``, that makes a record named ``WORDS``, and
its code in :data:`LANGUAGES`. Texts with names in braces are filled in where they are used; a
test holds that all languages have the same ones. What comes from the score or the lesson file
(titles, goals, part names) stays as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Final

from skeleton.analysis.results import Anchor, Rule
from skeleton.errors import OptionError
from skeleton.intonation.cautions import Caution
from skeleton.theory.interval import Interval
from skeleton.theory.pitch import Pitch, PitchClass

LANGUAGES: Final = ("en", "de")
"""Codes (ISO 639-1) of the languages there are; the first is the default."""

MINUS: Final = "\N{MINUS SIGN}"


@dataclass(frozen=True, slots=True)
class Phrases:
    """The texts of a handout. Those named ``*_head`` stand over a column of a table."""

    name_line: str
    date_line: str
    by: str
    source: str
    strings: str
    this_week: str
    steps: tuple[str, ...]
    passage_head: str
    measures_head: str
    tempo_head: str
    stage_head: str
    goal_head: str
    done_head: str
    stages: Mapping[str, str]
    tempo: str
    tune_first: str
    tune_note: str
    tune_reference: str
    tune_from: str
    passage: str
    measure: str
    measures: str
    drone: str
    no_drone: str
    drone_served: str
    bare: str
    neighbours: str
    checklist: str
    fixed: str
    as_open: str
    accidentals: str
    note_head: str
    tune_head: str
    places_head: str
    match_head: str
    twins: str
    nothing: str
    matches: str
    matches_note: str
    no_matches: str
    octaves_head: str
    lean_head: str
    match_string: str
    like: str
    etude: str
    legend: tuple[str, ...]
    legend_named: str
    listening: str
    listening_steps: tuple[str, ...]
    take_head: str
    targets: str
    targets_note: str
    pure_note: str
    target_head: str
    tuner_head: str
    band_head: str
    check_head: str
    exact: str
    skeleton_note: str
    cents_from: str
    cents_range: str
    check: str
    care: str
    picture: str
    whole_etude: str
    footer: str
    pages: str


@dataclass(frozen=True, slots=True)
class Words:
    """A language: its texts, and how it names notes and intervals.

    ``decimal`` is the sign before decimals; ``conjunction`` stands before the last of a list.
    ``pitch`` names a pitch with its octave, ``name`` a note in any octave, ``interval`` a size
    without direction, ``short_interval`` the same in the two or three signs of a mark under a note.
    ``anchor`` puts them together.
    """

    code: str
    phrases: Phrases
    decimal: str
    conjunction: str
    pitch: Callable[[Pitch], str]
    name: Callable[[PitchClass], str]
    interval: Callable[[Interval], str]
    short_interval: Callable[[Interval], str]
    above: str
    below: str
    anchor: str
    same_pitch: str
    no_anchor: str
    rules: Mapping[Rule, str]
    instruments: Mapping[str, str]
    cautions: Mapping[Caution, str]

    def listed(self, items: Iterable[str]) -> str:
        """Return items as a sentence lists them."""
        words = list(items)
        return f" {self.conjunction} ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))

    def number(self, value: float, digits: int = 0) -> str:
        """Return a number rounded to so many decimals."""
        return f"{value:.{digits}f}".replace(".", self.decimal)

    def signed(self, value: float, digits: int = 1) -> str:
        """Return a number with its sign, 0 without."""
        text = f"{value:+.{digits}f}"
        if not float(text):
            text = text[1:]
        return text.replace("-", MINUS).replace(".", self.decimal)

    def direction(self, interval: Interval) -> str:
        """Return the word for above or below."""
        return self.above if interval.sign > 0 else self.below

    def step(self, interval: Interval, base: str) -> str:
        """Return where a note stands from another: ``half step below G``."""
        if not interval.sign:
            return self.same_pitch.format(pitch=base)
        return self.anchor.format(
            interval=self.interval(interval), direction=self.direction(interval), pitch=base
        )

    def anchored(self, anchor: Anchor | None) -> str:
        """Return how an accidental is tuned from its anchor."""
        if anchor is None:
            return self.no_anchor
        return self.step(anchor.interval, self.pitch(anchor.place.pitch))


def words(code: str) -> Words:
    """Return a language by its code.

    Raises:
        OptionError: there is no such language.
    """
    if code not in LANGUAGES:
        raise OptionError(f"no language {code!r}; there are {', '.join(LANGUAGES)}")
    found = import_module(f"skeleton.export.handout.words_{code}").WORDS
    assert isinstance(found, Words)  # noqa: S101 - each language module makes one
    return found
