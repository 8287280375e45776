"""The listener's own marks, set beside the measured ones. The ear comes first.

A file of marks is what the practice page saves::

    {"format": 1, "etude": "sha256 of the score's MusicXML, in hex",
     "takes": [{"date": "2024-05-01", "marks": [{"note": "n12", "says": "flat"}]}]}

``says`` is ``flat``, ``sharp`` or ``unsure``. Other keys are left alone.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal, get_args

from skeleton.errors import OptionError
from skeleton.listening.judge import JudgedNote

Says = Literal["flat", "sharp", "unsure"]
Agreement = Literal["agreed", "missed", "imagined", "wrong direction", "open"]

LARGEST_BYTES: Final = 10_000_000
_DATE: Final = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True, slots=True)
class EarTake:
    """What a listener marked in one take: its date as given, and what each note got."""

    date: str
    marks: Mapping[str, Says]


@dataclass(frozen=True, slots=True)
class Compared:
    """One note: what the ear said (None: nothing), what was measured, and how they agree.

    ``agreed``: the same. ``missed``: measured off, not marked. ``imagined``: marked, measured in
    tune. ``wrong direction``: off, to the other side. ``open``: one of the two cannot tell.
    """

    note: str
    ear: Says | None
    measured: JudgedNote | None
    agreement: Agreement


def read_ear_marks(path: Path, source: bytes, notes: Collection[str]) -> tuple[EarTake, ...]:
    """Return the takes of a file of marks, in the file's order.

    Args:
        path: the file.
        source: the score's MusicXML bytes, as read (:attr:`skeleton.score.model.Source.data`).
        notes: ids that a mark may stand at.

    Raises:
        OptionError: the file cannot be read, is no file of marks, or belongs to another etude.
    """
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise OptionError(f"{path}: cannot be read: {error.strerror or error}") from error
    if len(data) > LARGEST_BYTES:
        raise OptionError(f"{path}: too large for a file of marks; save the marks again")
    try:
        found = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise OptionError(f"{path}: no JSON ({error}); save the marks again") from error
    if not isinstance(found, dict) or found.get("format") != 1:
        raise OptionError(f'{path}: no file of marks: it lacks "format": 1')
    if found.get("etude") != hashlib.sha256(source).hexdigest():
        raise OptionError(
            f"{path}: these marks were made on another etude, or on another version of this one"
        )
    takes = found.get("takes")
    if not isinstance(takes, list) or not takes:
        raise OptionError(f'{path}: key "takes": no take with marks')
    known = set(notes)
    return tuple(_take(path, f"takes[{place}]", one, known) for place, one in enumerate(takes))


def compare(
    take: EarTake, judged: Sequence[JudgedNote], tolerated: Collection[str] = ()
) -> tuple[Compared, ...]:
    """Set a listener's marks beside the measured verdicts, in the order of ``judged``.

    Args:
        take: the listener's marks.
        judged: the notes, attempts pooled.
        tolerated: notes to leave out.
    """
    known = {one.note: one for one in judged}
    order = [*known, *(note for note in take.marks if note not in known)]
    return tuple(
        _compared(note, take.marks.get(note), known.get(note))
        for note in order
        if note not in tolerated
    )


def _compared(note: str, ear: Says | None, measured: JudgedNote | None) -> Compared:
    outcome = None if measured is None else measured.verdict
    agreement: Agreement = "open"
    if ear == "unsure" or outcome in {None, "cannot tell"}:
        agreement = "open"
    elif ear is None:
        agreement = "agreed" if outcome == "in tune" else "missed"
    elif outcome == "in tune":
        agreement = "imagined"
    else:
        agreement = "agreed" if ear == outcome else "wrong direction"
    return Compared(note, ear, measured, agreement)


def _take(path: Path, where: str, found: object, known: set[str]) -> EarTake:
    if not isinstance(found, dict):
        raise OptionError(f"{path}: key {where}: no take; save the marks again")
    date, marks = found.get("date"), found.get("marks")
    if not isinstance(date, str) or not _DATE.fullmatch(date[:10]):
        raise OptionError(f'{path}: key {where}.date: write a date such as "2024-05-01"')
    if not isinstance(marks, list):
        raise OptionError(f"{path}: key {where}.marks: no list of marks")
    said: dict[str, Says] = {}
    for place, mark in enumerate(marks):
        note, says = _mark(path, f"{where}.marks[{place}]", mark, known)
        said[note] = says
    return EarTake(date, said)


def _mark(path: Path, where: str, mark: object, known: set[str]) -> tuple[str, Says]:
    fields: dict[str, Any] = mark if isinstance(mark, dict) else {}
    note, says = fields.get("note"), fields.get("says")
    if not isinstance(note, str) or note not in known:
        raise OptionError(f"{path}: key {where}.note: this etude has no note {_shown(note)}")
    for word in get_args(Says):
        if says == word:
            return note, word
    raise OptionError(f"{path}: key {where}.says: {_shown(says)}; write flat, sharp or unsure")


def _shown(value: object) -> str:
    shown = repr(value)
    return shown if len(shown) <= 40 else f"{shown[:37]}..."
