"""The record across takes for other programs: JSON for any, CSV for a spreadsheet.

JSON is marked ``"format": 1``; its keys are added to, never renamed. ::

    {"format": 1, "title": str, "source": str, "etude": identity,
     "rule": {"unit": "day", "level": float, "fewest_days": int},
     "students": [{"student", "takes", "first_day", "last_day", "stretch_days", "unknown_notes",
       "whole": FINDING|null,
       "groups": [FINDING + {"label", "pitch_class", "by_octave": {"4": cents}, "octaves",
                             "spread_days", "early_spread_cents", "late_spread_cents",
                             "p_spread"}],
       "notes": [FINDING + {"id", "part", "measure", "beat", "pitch", "match"}],
       "fixed": [FINDING + {"pitch"}],
       "leans": [{"match", "pitch_class", "text", "days", "cents", "half_width_cents"}],
       "ear": {...}}]}

A FINDING has the fields of :class:`skeleton.journal.habits.Finding` without kind and subject. CSV
follows RFC 4180 with the columns of :data:`COLUMNS`, one row for each finding; text that a
spreadsheet would take for a formula gets an apostrophe before it.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any, Final

from skeleton.analysis.results import Analysis
from skeleton.export.lists.checklist_data import guarded
from skeleton.export.lists.outline import number
from skeleton.export.lists.outline_text import title_of
from skeleton.journal.habits import FEWEST_DAYS, LEVEL, Finding
from skeleton.journal.progress import Progress

Json = dict[str, Any]

_FIGURES: Final = (
    "condition",
    "direction",
    "days",
    "times",
    "days_below",
    "days_above",
    "in_tune",
    "flat",
    "sharp",
    "median_cents",
    "early_cents",
    "late_cents",
    "p_direction",
    "p_change",
    "tau",
)

COLUMNS: Final = ("student", "kind", "what", "part", "measure", "beat", "match", *_FIGURES)
"""The columns of the CSV table. ``kind`` is all, group, note or fixed."""


def progress_json(analysis: Analysis, content: str, records: Sequence[Progress]) -> str:
    """Return the records as JSON text, indented, with a newline at its end."""
    data = {
        "format": 1,
        "title": title_of(analysis),
        "source": analysis.score.source.name,
        "etude": content,
        "rule": {"unit": "day", "level": LEVEL, "fewest_days": FEWEST_DAYS},
        "students": [_student(one) for one in records],
    }
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def progress_csv(records: Sequence[Progress]) -> str:
    """Return all findings as one flat table with a header row."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for record in records:
        for head, finding in _rows(record):
            told = [guarded(cell) for cell in (record.student, finding.kind, *head)]
            figures = _figures(finding)
            writer.writerow(
                [*told, *("" if figures[key] is None else figures[key] for key in _FIGURES)]
            )
    return out.getvalue()


def _rows(record: Progress) -> Iterator[tuple[tuple[str, ...], Finding]]:
    """Yield what it is, part, measure, beat and match of every finding, with the finding."""
    if record.whole is not None:
        yield ("all notes", "", "", "", ""), record.whole
    for group in record.groups:
        of = group.group
        yield (str(of.pitch_class), of.part, "", "", of.label), group.finding
    for note in record.notes:
        place = note.place
        beat = f"{number(place.beat):g}"
        head = (str(place.pitch), place.part, place.measure, beat, note.match or "")
        yield head, note.finding
    for one in record.fixed:
        yield (one.subject, "", "", "", ""), one


def _student(record: Progress) -> Json:
    return {
        "student": record.student,
        "takes": record.takes,
        "first_day": record.first_day,
        "last_day": record.last_day,
        "stretch_days": record.stretch_days,
        "unknown_notes": record.unknown_notes,
        "whole": None if record.whole is None else _figures(record.whole),
        "groups": [
            {
                "label": one.group.label,
                "part": one.group.part,
                "pitch_class": str(one.group.pitch_class),
                **_figures(one.finding),
                "by_octave": {str(octave): _cents(cents) for octave, cents in one.by_octave},
                "octaves": one.octaves,
                "spread_days": one.spread_days,
                "early_spread_cents": _cents(one.early_spread_cents),
                "late_spread_cents": _cents(one.late_spread_cents),
                "p_spread": one.p_spread,
            }
            for one in record.groups
        ],
        "notes": [
            {
                "id": one.place.id,
                "part": one.place.part,
                "measure": one.place.measure,
                "beat": number(one.place.beat),
                "pitch": str(one.place.pitch),
                "match": one.match,
                **_figures(one.finding),
            }
            for one in record.notes
        ],
        "fixed": [{"pitch": one.subject, **_figures(one)} for one in record.fixed],
        "leans": [
            {
                "match": one.match,
                "pitch_class": str(one.pitch_class),
                "text": one.text,
                "days": one.days,
                "cents": _cents(one.cents),
                "half_width_cents": _cents(one.half_width_cents),
            }
            for one in record.leans
        ],
        "ear": asdict(record.ear),
    }


def _figures(finding: Finding) -> Json:
    figures = {key: getattr(finding, key) for key in _FIGURES}
    return {key: _cents(of) if key.endswith("_cents") else of for key, of in figures.items()}


def _cents(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
