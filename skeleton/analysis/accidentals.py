"""Which notes of a part are accidentals.

A note is an accidental when its sounding alteration differs from what the key signature does to
its letter, whether a sign stands before it or an earlier sign of the bar still holds; or when a
sign that is *needed* restores the key's own pitch after such an alteration. A courtesy sign, one
that the state of the bar (:mod:`skeleton.analysis.signs`) does not ask for, makes no accidental;
the file's own mark ``cautionary`` is not trusted either way.

Decisions the trade leaves open
-------------------------------
* Grace notes sound, so they can be accidentals, and their signs hold for the bar.
* In a part that prints no sign at all (converted files, where pitches come without signs), a
  restored note counts as if its sign were there; otherwise every restored note would be lost.
* An assumed key replaces all signatures of the part, and signs are judged against it.
* With ``key_signs`` the signature's own sharps and flats count too, marked ``from_key``; a note
  that is an accidental anyway is not marked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from skeleton.analysis.keys import SHARPS
from skeleton.analysis.signs import Written, signs_needed
from skeleton.analysis.timeline import Timeline
from skeleton.score.attributes import key_of_fifths
from skeleton.score.model import Key, Note

LOST_KEY_MIN_SHARE = 0.9
"""From this share of a letter's notes on, "nearly every" one carries the sign."""

LOST_KEY_MIN_NOTES = 4
"""Fewer notes of a letter than this say nothing about a key."""


@dataclass(frozen=True, slots=True)
class Altered:
    """That an attack is an accidental: whether a sign is printed, whether only by the key."""

    printed: bool
    from_key: bool = False


def accidentals(
    timeline: Timeline, *, key: Key | None = None, key_signs: bool = False
) -> dict[int, Altered]:
    """Return the accidentals of a part: number of the attack, in time order, to what it is.

    Args:
        timeline: the part.
        key: a signature to assume instead of the part's own.
        key_signs: whether the signature's own sharps and flats count as accidentals.
    """
    in_key = key_alters(timeline, key)
    needed = signs_needed(
        Written(
            note.measure,
            note.staff,
            note.pitch.step,
            note.pitch.octave,
            note.pitch.alter,
            key_alter,
            note.tied_from is not None,
            note.sign is not None,
            not note.printed,
        )
        for note, key_alter in zip(timeline.pitched, in_key, strict=True)
        if note.pitch is not None
    )
    signs_missing = all(note.sign is None for note in timeline.pitched)
    found: dict[int, Altered] = {}
    for note, key_alter, needs_sign in zip(timeline.pitched, in_key, needed, strict=True):
        if note.tied_from is not None or note.pitch is None:
            continue
        printed = note.sign is not None
        if note.pitch.alter != key_alter or (needs_sign and (printed or signs_missing)):
            found[timeline.index[note.id]] = _altered(printed)
        elif key_signs and key_alter != 0:
            found[timeline.index[note.id]] = _altered(printed, from_key=True)
    return found


@lru_cache
def _altered(printed: bool, *, from_key: bool = False) -> Altered:
    """Return one object for all notes of a kind."""
    return Altered(printed, from_key)


def key_alters(timeline: Timeline, key: Key | None = None) -> list[int | Fraction]:
    """What the signature does to the letter of each note of ``timeline.pitched``, in half steps."""
    if key is not None:
        assumed = dict(key.alters)
        return [assumed.get(_step(note), 0) for note in timeline.pitched]
    changes = sorted(
        ((timeline.to_ticks(change.onset_quarters), change) for change in timeline.part.keys),
        key=lambda entry: entry[0],
    )
    everywhere: Mapping[str, int | Fraction] = {}
    by_staff: dict[int, Mapping[str, int | Fraction]] = {}
    alters: list[int | Fraction] = []
    upcoming = 0
    for note in timeline.pitched:
        while upcoming < len(changes) and (
            changes[upcoming][1].onset_quarters <= note.onset_quarters
        ):
            change = changes[upcoming][1]
            upcoming += 1
            if change.staff is None:
                everywhere, by_staff = dict(change.key.alters), {}
            else:
                by_staff[change.staff] = dict(change.key.alters)
        alters.append(by_staff.get(note.staff, everywhere).get(_step(note), 0))
    return alters


def lost_key(timeline: Timeline) -> Key | None:
    """Return the signature that a part seems to have lost, or None.

    It has lost one where none is given and nearly every F and C is sharp (or B and E flat).
    The likely signature goes as far along the order of sharps or flats as nearly every note of
    the letter is altered. At least two letters must agree: one alone is common in music without
    a signature.
    """
    if any(change.key.alters for change in timeline.part.keys):
        return None
    sharps, flats, total = (dict.fromkeys(SHARPS, 0) for _ in range(3))
    for note in timeline.attacks:
        if note.pitch is not None:
            total[note.pitch.step] += 1
            sharps[note.pitch.step] += note.pitch.alter == 1
            flats[note.pitch.step] += note.pitch.alter == -1
    for order, altered, direction in ((SHARPS, sharps, 1), (SHARPS[::-1], flats, -1)):
        count = 0
        for letter in order:
            if total[letter] < LOST_KEY_MIN_NOTES:
                break
            if altered[letter] < LOST_KEY_MIN_SHARE * total[letter]:
                break
            count += 1
        if count >= 2:
            return key_of_fifths(direction * count)
    return None


def _step(note: Note) -> str:
    return "" if note.pitch is None else note.pitch.step
