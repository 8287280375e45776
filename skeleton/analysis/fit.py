"""How well each rule fits an etude.

A rule fits where most accidentals stand a half step from a note it gives, and where the notes it
gives are themselves unaltered. Both are shares from 0 to 1 over the analysed parts together; a
share of nothing is 0. The skeleton that a rule gives includes the open-string notes; decisions of
a lesson file are left out, for they were made with one rule in mind.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Final, get_args

from skeleton.analysis.accidentals import Altered
from skeleton.analysis.anchors import choose_anchors
from skeleton.analysis.results import Rule, RuleFit
from skeleton.analysis.skeleton_notes import BowSlurs, rule_notes
from skeleton.analysis.timeline import Timeline
from skeleton.theory.interval import Interval
from skeleton.theory.pitch import Pitch

RULES: Final[tuple[Rule, ...]] = get_args(Rule)
"""The rules by name, in the order in which they are reported."""


@dataclass(frozen=True, slots=True)
class PartReading:
    """What all rules share of one part."""

    timeline: Timeline
    slurs: BowSlurs
    accidentals: Mapping[int, Altered]
    open_strings: Mapping[int, Pitch]


def rule_fit(readings: Iterable[PartReading]) -> tuple[RuleFit, ...]:
    """Return the fit of every rule to these parts."""
    totals = {rule: _Counts() for rule in RULES}
    for reading in readings:
        known: list[tuple[dict[int, int], _Counts]] = []
        for rule in RULES:
            by_rule = rule_notes(reading.timeline, reading.slurs, rule)
            # Where all slurs join two notes, several rules take the same notes.
            counts = next((found for notes, found in known if notes == by_rule), None)
            if counts is None:
                counts = _count(reading, by_rule)
                known.append((by_rule, counts))
            totals[rule] = totals[rule].plus(counts)
    return tuple(
        RuleFit(
            rule,
            total.half_steps / total.accidentals if total.accidentals else 0.0,
            total.unaltered / total.taken if total.taken else 0.0,
            total.taken,
        )
        for rule, total in totals.items()
    )


@dataclass(frozen=True, slots=True)
class _Counts:
    """Notes a rule takes and how many of them are unaltered; accidentals and half steps."""

    taken: int = 0
    unaltered: int = 0
    accidentals: int = 0
    half_steps: int = 0

    def plus(self, other: _Counts) -> _Counts:
        return _Counts(
            self.taken + other.taken,
            self.unaltered + other.unaltered,
            self.accidentals + other.accidentals,
            self.half_steps + other.half_steps,
        )


def _count(reading: PartReading, by_rule: Mapping[int, int]) -> _Counts:
    letters, half_steps = reading.timeline.letters, reading.timeline.half_steps
    altered = {note for note, found in reading.accidentals.items() if not found.from_key}
    choices = choose_anchors(
        reading.timeline,
        reading.accidentals,
        by_rule.keys() | reading.open_strings.keys(),
        reading.slurs.of_attack,
    )
    return _Counts(
        len(by_rule),
        sum(attack not in altered for attack in by_rule),
        len(choices),
        sum(
            choice.anchor is not None
            and _is_half_step(
                letters[note] - letters[choice.anchor],
                half_steps[note] - half_steps[choice.anchor],
            )
            for note, choice in choices.items()
        ),
    )


@lru_cache(maxsize=4096)
def _is_half_step(steps: int, semitones: int | Fraction) -> bool:
    return Interval(steps, semitones).is_half_step
