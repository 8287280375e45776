"""Whether a note needs a printed sign: the state of a bar, note by note.

Conventions (common practice, no source; the engraving handbooks agree on them)
-------------------------------------------------------------------------------
* A sign holds for its letter in its own octave on its own staff, in all voices of that staff,
  from where it stands to the barline.
* A tie carries an alteration over the barline for the tied note only. The bar's own state is
  not touched by it, unless a sign is printed before the tied note again.
* A change of key inside a bar makes the new signature the state of the letters it changes.
* Hidden notes print nothing: they neither need a sign nor change what holds after them.

The engine knows nothing of scores: it takes a series of small records in time order, so that a
reduced series of notes can be spelled by the same rules as a page that was read.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Written:
    """A note as the state of a bar sees it.

    ``bar`` is any number that changes at each barline. ``key_alter`` is what the signature does
    to this letter, in half steps, where the note stands. ``continues`` marks a tied
    continuation, ``signed`` a note before which a sign is printed already.
    """

    bar: int
    staff: int
    step: str
    octave: int
    alter: int | Fraction
    key_alter: int | Fraction = 0
    continues: bool = False
    signed: bool = False
    hidden: bool = False


def signs_needed(notes: Iterable[Written]) -> list[bool]:
    """Say for each note whether it needs a sign to be read as it sounds.

    Args:
        notes: the notes of one part in time order, all voices and staves together, grace notes
            before the note they lean on.

    Returns:
        One answer per note, in the same order. A tied continuation never needs one.
    """
    state: dict[tuple[int, str, int], tuple[int | Fraction, int | Fraction]] = {}
    bar: int | None = None
    needed: list[bool] = []
    for note in notes:
        if note.bar != bar:
            bar = note.bar
            state.clear()
        if note.hidden:
            needed.append(False)
            continue
        line = (note.staff, note.step, note.octave)
        key_alter, in_force = state.get(line, (note.key_alter, note.key_alter))
        if key_alter != note.key_alter:
            in_force = note.key_alter
        if note.continues:
            needed.append(False)
            if not note.signed:
                continue
        else:
            needed.append(note.alter != in_force)
        state[line] = (note.key_alter, note.alter)
    return needed
