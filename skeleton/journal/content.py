"""An etude by its music: one identity for every file that holds the same notes.

A score that is exported again has other bytes, other ids, other line breaks and perhaps other
divisions, voices and numbers of its slurs; the music is the same. So the identity is a SHA-256
over what is played: for every pitched part, in the order of the file, its attacks (onset, length
with its ties, spelled pitch, grace or not) and its slurs (where and on which pitches they begin
and end), in order of time. Titles, part names, measure numbers, voices, signs and fingerings do
not count. Cue notes are silent and do not count.

Within an etude a note's key says which note it is: part, onset in quarters, pitch, and a number
where one pitch is struck twice at one time (``1:33/4:F#4``, ``1:33/4:F#4:2``).
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

from skeleton.score.model import Note, Part, Score

_VERSION = "etude content 1"


def content_id(score: Score) -> str:
    """Return the identity of a score's music: 64 hexadecimal digits.

    Equal for two files exactly when all that the module's text names is equal in both.
    """
    digest = hashlib.sha256(_VERSION.encode())
    for part in score.parts:
        digest.update(b"\npart\n")
        lengths = _lengths(part)
        attacks = [
            f"{note.onset_quarters} {lengths[note.id]} {note.pitch}{' grace' * note.grace}"
            for note in _in_time(part)
        ]
        digest.update("\n".join(attacks).encode())
        notes = {note.id: note for note in part.notes}
        slurs = sorted(_slur(notes, slur.start, slur.stop) for slur in part.slurs)
        digest.update("\n".join(["", "slurs", *slurs]).encode())
    return digest.hexdigest()


def note_keys(score: Score) -> dict[str, str]:
    """Return the key of every attack by the note's id in this file."""
    keys: dict[str, str] = {}
    for place, part in enumerate(score.parts, start=1):
        seen: Counter[str] = Counter()
        for note in _in_time(part):
            key = f"{place}:{note.onset_quarters}:{note.pitch}"
            seen[key] += 1
            keys[note.id] = key if seen[key] == 1 else f"{key}:{seen[key]}"
    return keys


def _in_time(part: Part) -> Iterator[Note]:
    """Yield the attacks by onset; of one time grace notes first, as they come, then by pitch."""
    attacks = [note for note in part.notes if note.is_attack]
    yield from sorted(attacks, key=_order)


def _order(note: Note) -> tuple[Fraction, bool, str, Fraction]:
    # Voices may be written out in another order by another program; graces keep their own.
    spelled = "" if note.grace else str(note.pitch)
    return note.onset_quarters, not note.grace, spelled, note.duration_quarters


def _lengths(part: Part) -> dict[str, Fraction]:
    """Return how long each attack sounds, the notes tied to it included."""
    lengths: dict[str, Fraction] = {}
    attack_of: dict[str, str] = {}
    for note in sorted(part.notes, key=lambda one: one.onset_quarters):
        first = attack_of.get(note.tied_from, note.id) if note.tied_from else note.id
        attack_of[note.id] = first
        lengths[first] = lengths.get(first, Fraction(0)) + note.duration_quarters
    return lengths


def _slur(notes: dict[str, Note], start: str, stop: str) -> str:
    ends = (notes[start], notes[stop])
    return " ".join(f"{note.onset_quarters} {note.pitch}" for note in ends)
