"""What each note of an etude says on the page, and in which groups notes must match.

Plain data by note id, worded in one language. A tied continuation says what the note says that it
continues; a note that is neither skeleton nor accidental has a name and a place.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from skeleton.analysis.results import AccidentalNote, Analysis, PartAnalysis, SkeletonNote
from skeleton.export.handout.page_words import PagePhrases
from skeleton.export.handout.words import Words
from skeleton.export.lists.by_passage import group_labels
from skeleton.export.lists.words import beat_text, one_line
from skeleton.intonation.checks import checks
from skeleton.intonation.reference import Reference
from skeleton.intonation.results import EtudeTargets, Target
from skeleton.theory.pitch import Pitch

Fact = tuple[str, str]
"""A line on a note: what it is about, and what is so."""


@dataclass(frozen=True, slots=True)
class NoteSays:
    """One note: its name, its place, facts in the order of reading, its group, its anchor's id.

    ``group`` is an index into :attr:`EtudeSays.groups`, None without one; ``measure`` the ordinal
    of the measure; ``same_as`` the id of the note that a tied continuation belongs to.
    """

    name: str
    place: str
    measure: int
    facts: tuple[Fact, ...] = ()
    group: int | None = None
    anchor: str | None = None
    same_as: str | None = None


@dataclass(frozen=True, slots=True)
class GroupSays:
    """A match group: its letter, its pitches, the ids of its notes."""

    letter: str
    pitches: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EtudeSays:
    """All notes of an etude by id, and its match groups.

    ``etude`` is the SHA-256 of the MusicXML the score was read from, in hexadecimal digits: marks
    on notes belong to just these bytes, for ids are stable only as long as they are.
    """

    etude: str
    notes: Mapping[str, NoteSays]
    groups: tuple[GroupSays, ...]


def etude_says(found: EtudeTargets, words: Words, phrases: PagePhrases) -> EtudeSays:
    """Return what the notes of an etude say.

    Args:
        found: the targets of all its passages, with the analysis they were made from.
        words: the language.
        phrases: the page's words in the same language.
    """
    analysis = found.analysis
    teller = _Teller(words, phrases)
    groups: list[GroupSays] = []
    notes: dict[str, NoteSays] = {}
    aims: dict[str, tuple[Target, Reference]] = {}
    for passage in found.passages:
        for target in passage.targets:
            aims.update((place.id, (target, passage.reference)) for place in target.places)
    for part in analysis.parts:
        first = len(groups)
        groups += _groups(part, words)
        index = {group.letter: first + at for at, group in enumerate(groups[first:])}
        letters = {note: index[label] for note, label in group_labels(part).items()}
        bones = {note.place.id: note for note in part.skeleton}
        altered = {note.place.id: note for note in part.accidentals}
        for note_id, said in note_names(analysis, part, words, phrases):
            group = letters.get(note_id)
            facts = teller.facts(
                bones.get(note_id),
                altered.get(note_id),
                aims.get(note_id),
                None if group is None else groups[group],
            )
            hung = altered.get(note_id)
            anchor = hung.anchor.place.id if hung is not None and hung.anchor is not None else None
            notes[note_id] = NoteSays(
                said.name, said.place, said.measure, facts, group, anchor, said.same_as
            )
    etude = hashlib.sha256(analysis.score.source.data).hexdigest()
    return EtudeSays(etude, notes, tuple(groups))


def note_names(
    analysis: Analysis, part: PartAnalysis, words: Words, phrases: PagePhrases
) -> Iterator[tuple[str, NoteSays]]:
    """Yield the name and place of every printed note of a part that has a pitch, by id."""
    score_part = analysis.score.part(part.part)
    begins: dict[str, str] = {}
    for note in score_part.notes:
        if note.pitch is None or note.cue:
            continue
        if note.tied_from is not None:
            begins[note.id] = begins.get(note.tied_from, note.tied_from)
        if not note.printed:
            continue
        place = phrases.place.format(
            measure=one_line(score_part.measures[note.measure].number),
            beat=beat_text(score_part.beat(note), signs=True),
        )
        yield (
            note.id,
            NoteSays(words.pitch(note.pitch), place, note.measure, same_as=begins.get(note.id)),
        )


def _groups(part: PartAnalysis, words: Words) -> Iterator[GroupSays]:
    pitches = {note.place.id: note.place.pitch for note in part.accidentals}
    for group in part.matches:
        heights = {pitches[note] for note in group.notes if note in pitches}
        yield GroupSays(
            group.label,
            " ".join(words.pitch(one) for one in sorted(heights, key=_height)),
            group.notes,
        )


def _height(pitch: Pitch) -> float:
    return float(pitch.midi)


class _Teller:
    """Words the facts on notes; notes with the same target share them."""

    def __init__(self, words: Words, phrases: PagePhrases) -> None:
        self._words = words
        self._phrases = phrases
        self._checks: dict[tuple[Reference, Pitch, float], str] = {}

    def facts(
        self,
        bone: SkeletonNote | None,
        altered: AccidentalNote | None,
        aim: tuple[Target, Reference] | None,
        group: GroupSays | None,
    ) -> tuple[Fact, ...]:
        """Return all lines on a note: from what the eye sees to what a tuner shows."""
        say, words = self._phrases, self._words
        if bone is None and altered is None and aim is None:
            return ((say.card_skeleton, say.in_passing),)
        found: list[Fact] = []
        if aim is not None and aim[0].string is not None:
            octaves = aim[0].octaves or 0
            form = (say.string_exact, say.string_up, say.string_down)[
                (octaves > 0) + 2 * (octaves < 0)
            ]
            string = words.pitch(aim[0].string)
            found.append((say.card_string, form.format(string=string, octaves=abs(octaves))))
        if bone is not None:
            reasons = {
                "slur": say.by_slur,
                "open-string": say.by_name,
                "lesson": say.by_lesson,
            }
            found.append((say.card_skeleton, "; ".join(reasons[reason] for reason in bone.reasons)))
        if altered is not None:
            found.append((say.card_tune, words.anchored(altered.anchor)))
            if altered.runner_up is not None:
                found.append((say.card_or, words.anchored(altered.runner_up)))
        if aim is not None:
            step = self._step(aim[0])
            if step:
                found.append((say.card_step, step))
        if group is not None:
            found.append(
                (
                    say.card_match,
                    say.match.format(
                        letter=group.letter, pitches=group.pitches, places=len(group.notes)
                    ),
                )
            )
        if aim is not None:
            check = self._check(*aim)
            if check:
                found.append((say.card_check, check))
            cents = words.signed(aim[0].equal_cents)
            found.append((say.card_tuner, say.tuner_cents.format(cents=cents)))
        return tuple(found)

    def _step(self, target: Target) -> str:
        lean, band = target.lean, target.band
        if lean is None:
            return ""
        words = self._words
        cents = words.number(lean.cents, 1)
        if band is None or band.measured_from != "anchor":
            return self._phrases.step_cents.format(step=cents)
        step = words.phrases.cents_range.format(
            cents=cents, low=words.number(band.low.cents), high=words.number(band.high.cents)
        )
        return self._phrases.step_cents.format(step=step)

    def _check(self, target: Target, reference: Reference) -> str:
        key = (reference, target.sounding, target.hz)
        if key not in self._checks:
            made = checks(reference.tuning, target.sounding, target.hz)
            best = next((one for one in made.checks if one.agrees and one.interval.sign), None)
            words = self._words
            self._checks[key] = (
                ""
                if best is None
                else words.phrases.check.format(
                    interval=words.interval(best.interval),
                    direction=words.direction(best.interval),
                    string=words.pitch(best.drone),
                )
            )
        return self._checks[key]
