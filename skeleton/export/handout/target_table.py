"""The targets of an etude in one short table: by note name, octaves together.

A row holds all octaves of a note that lie equally far from equal temperament, with all that they
hang on. Checks are double stops with an open string that leave the note at its
target; those that would pull it away (thirds and sixths) are told in one sentence.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from skeleton.export.handout.words import Words
from skeleton.intonation.bands import FIXED_TOLERANCE_CENTS
from skeleton.intonation.checks import checks
from skeleton.intonation.results import EtudeTargets, PassageTargets, Target
from skeleton.theory.pitch import Pitch


@dataclass(frozen=True, slots=True)
class TargetRow:
    """A note: its name, pitches, what it is tuned from, the step's size, tuner value, check."""

    part: str | None
    note: str
    pitches: str
    tuned_from: str
    step: str
    tuner: str
    check: str


@dataclass(frozen=True, slots=True)
class TargetTable:
    """The table, and the sentences that belong to it."""

    rows: tuple[TargetRow, ...]
    notes: tuple[str, ...]


def target_table(found: EtudeTargets, words: Words, names: Mapping[str, str]) -> TargetTable:
    """Return the targets of an etude as a table.

    Args:
        found: the targets.
        words: the language.
        names: the parts' names by id; empty where there is only one part.
    """
    order = {part.part: place for place, part in enumerate(found.analysis.parts)}
    together: dict[tuple[int, str, float, str], list[tuple[Target, PassageTargets]]] = {}
    for passage in found.passages:
        for target in passage.targets:
            key = (
                order[passage.part],
                target.pitch.step,
                float(target.pitch.alter),
                words.signed(target.equal_cents),
            )
            together.setdefault(key, []).append((target, passage))
    rows = []
    farthest = 0.0
    for key in sorted(together):
        held = together[key]
        sounding = {target.sounding: (target, passage) for target, passage in held}
        agreeing: dict[str, None] = {}
        for target, passage in sorted(sounding.values(), key=lambda one: one[0].sounding.midi):
            made = checks(passage.reference.tuning, target.sounding, target.hz)
            away = [abs(one.off_target_cents) for one in made.checks if not one.agrees]
            farthest = max([farthest, *away])
            best = next((one for one in made.checks if one.agrees and one.interval.sign), None)
            if best is not None:
                text = words.phrases.check.format(
                    interval=words.interval(best.interval),
                    direction=words.direction(best.interval),
                    string=words.pitch(best.drone),
                )
                agreeing.setdefault(f"{words.pitch(target.pitch)}: {text}")
        target, passage = held[0]
        rows.append(
            TargetRow(
                names.get(passage.part),
                words.name(target.pitch.pitch_class),
                " ".join(words.pitch(one) for one in _pitches(held)),
                "; ".join(filter(None, dict.fromkeys(_from(one, words) for one, _ in held))),
                "; ".join(filter(None, dict.fromkeys(_step(one, words) for one, _ in held))),
                words.signed(target.equal_cents),
                "; ".join(agreeing),
            )
        )
    phrases = words.phrases
    notes = [phrases.targets_note.format(fixed=words.number(FIXED_TOLERANCE_CENTS))]
    if farthest:
        notes.append(phrases.pure_note.format(cents=words.number(farthest, 1)))
    return TargetTable(tuple(rows), tuple(notes) if rows else ())


def _pitches(held: list[tuple[Target, PassageTargets]]) -> list[Pitch]:
    return sorted({target.pitch for target, _ in held}, key=lambda one: one.midi)


def _from(target: Target, words: Words) -> str:
    if target.string is not None:
        return words.phrases.exact.format(string=words.pitch(target.string))
    if target.role == "accidental" and target.anchor is not None:
        anchor = target.anchor
        return words.step(anchor.interval, words.name(anchor.place.pitch.pitch_class))
    return words.phrases.skeleton_note if target.role == "skeleton" else ""


def _step(target: Target, words: Words) -> str:
    lean, band = target.lean, target.band
    if lean is None:
        return ""
    cents = words.number(lean.cents, 1)
    if band is None or band.measured_from != "anchor":
        return words.phrases.cents_from.format(cents=cents)
    low, high = words.number(band.low.cents), words.number(band.high.cents)
    return words.phrases.cents_range.format(cents=cents, low=low, high=high)
