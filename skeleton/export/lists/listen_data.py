"""A take judged, for other programs: JSON for any, CSV for a spreadsheet.

JSON, a contract marked ``"format": 1``: keys are added, never renamed or dropped. ::

    {"format": 1,
     "etude": {"title": str|null, "source": str, "sha256": str, "part": str,
               "first_measure": str, "last_measure": str},
     "take": {"name": str, "duration_s": float, "fitting": float},
     "reference": {"origin": "given"|"beginning"|"notes", "tuning_offset_cents": float,
                   "strings": [{"string": "G3", "hz": float, "u_cents": float, "heard": bool}]},
     "limits": {"fixed_cents": float, "match_cents": float},
     "tendency": {"notes": int, "height_cents": float, "height_u_cents": float,
                  "height": VERDICT|null, "drift_cents": float, "drift_u_cents": float,
                  "drift": VERDICT}|null,
     "notes": [NOTE], "attempts": [NOTE],
     "wrong": [{"start_s": float, "end_s": float, "instead_of": [id], "after": bool,
                "heard_hz": float|null}],
     "restarts": [{"time_s": float, "after": [id], "to": [id]}],
     "skipped": [{"time_s": float, "notes": [id]}],
     "not_heard": [id], "not_aligned": [{"start_s": float, "end_s": float}],
     "returns": [{"label": "K", "anchor_pitch_class": str, "interval": str, "lean_cents": float,
                  "u_cents": float, "spread_cents": float,
                  "notes": [{"id": str, "octave": int, "lean_cents": float, "u_cents": float,
                             "from_others_cents": float|null, "verdict": VERDICT|null}]}],
     "resonances": [{"id": str, "attempt": int,
                     "sign": "answers"|"does not answer"|"not measurable", "why": str|null,
                     "strings": [str], "level_db": float|null, "u_db": float|null,
                     "over_room_db": float|null, "partials": int}],
     "findings": [{"kind": str, "text": str, "notes": [id], "of": int, "cents": float}],
     "ear": [{"id": str, "ear": "flat"|"sharp"|"unsure"|null, "measured": VERDICT|null,
              "agreement": "agreed"|"missed"|"imagined"|"wrong direction"|"open"}]|null,
     "warnings": [{"code": str, "message": str}]}

    NOTE = {"id": str, "measure": str, "beat": number, "pitch": str, "role": str,
            "target_hz": float, "cents": float|null, "off_cents": float|null,
            "u_cents": float|null, "without_tendency_cents": float|null,
            "lean_cents": float|null, "lean_target_cents": float|null, "lean_u_cents": float|null,
            "match": str|null, "verdict": VERDICT|null, "unjudged": str|null,
            "heard": [{"attempt": int, "start_s": float, "end_s": float, "hz": float|null,
                       "se_cents": float|null, "vibrato_cents": float, "confidence": float,
                       "place_unclear": bool}]}

    VERDICT = "in tune"|"sharp"|"flat"|"cannot tell"

``cents`` count above the note's target, ``off_cents`` from where it should be: from the anchor as
played where the note leans on one. ``u_cents`` are two standard errors of ``off_cents``. In
``notes`` the attempts of a note are pooled. A verdict in ``returns`` speaks of the step: ``sharp``
is larger than in the other returns. ``resonances`` say of every playing of a note named like an
open string whether strings rang on after it; ``level_db`` is how strongly, 0 like the note itself,
for ``does not answer`` an upper bound (:mod:`skeleton.listening.resonance`: method and limits).

CSV follows RFC 4180 with the columns of :data:`COLUMNS`, one row for each playing of each note.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
from collections.abc import Iterable, Sequence
from typing import Any, Final

from skeleton.export.lists.checklist_data import guarded
from skeleton.export.lists.listen_text import finding_text
from skeleton.export.lists.outline import number
from skeleton.listening.ear_marks import Compared
from skeleton.listening.judge import JudgedNote, away_cents
from skeleton.listening.report import TakeReport
from skeleton.listening.resonance import Resonance
from skeleton.score.model import Notice

Json = dict[str, Any]

COLUMNS: Final = (
    "id",
    "measure",
    "beat",
    "note",
    "role",
    "attempt",
    "start_s",
    "end_s",
    "hz",
    "target_hz",
    "cents",
    "off_cents",
    "u_cents",
    "lean_cents",
    "verdict",
    "unjudged",
    "match",
    "string_rings",
    "string_rings_db",
    "string_rings_why",
)


def take_json(
    report: TakeReport,
    take: str,
    ear: Sequence[Compared] | None = None,
    notices: Iterable[Notice] = (),
) -> str:
    """Return the take judged as JSON text.

    Args:
        report: the take judged.
        take: its name.
        ear: the listener's own marks set beside it, or None.
        notices: warnings besides those of the report.
    """
    measures = report.analysis.score.part(report.part.part).measures
    source = report.analysis.score.source
    aligned = report.alignment
    events = report.events
    data: Json = {
        "format": 1,
        "etude": {
            "title": report.analysis.score.title,
            "source": source.name,
            "sha256": hashlib.sha256(source.data).hexdigest(),
            "part": report.part.part,
            "first_measure": measures[report.first_measure].number,
            "last_measure": measures[report.last_measure].number,
        },
        "take": {
            "name": take,
            "duration_s": round(aligned.duration_s, 3),
            "fitting": round(aligned.fitting, 4),
        },
        "reference": {
            "origin": report.reference.origin,
            "tuning_offset_cents": round(aligned.offset_cents, 2),
            "strings": [
                {
                    "string": str(string),
                    "hz": round(hz, 4),
                    "u_cents": _rounded(2.0 * se),
                    "heard": heard,
                }
                for string, hz, se, heard in zip(
                    report.reference.strings,
                    report.reference.hz,
                    report.reference.se_cents,
                    report.reference.heard,
                    strict=True,
                )
            ],
        },
        "limits": {
            "fixed_cents": report.limits.fixed_cents,
            "match_cents": report.limits.match_cents,
        },
        "tendency": _tendency(report),
        "notes": [_note(one, report) for one in report.notes],
        "attempts": [_note(one, report) for one in report.attempts],
        "wrong": [
            {
                "start_s": round(one.start_s, 3),
                "end_s": round(one.end_s, 3),
                "instead_of": list(events[one.event].notes) if one.event >= 0 else [],
                "after": one.extra,
                "heard_hz": _rounded(one.heard_hz),
            }
            for one in aligned.played
            if one.kind == "wrong"
        ],
        "restarts": [
            {
                "time_s": round(one.time_s, 3),
                "after": list(events[one.after_event].notes),
                "to": list(events[one.to_event].notes),
            }
            for one in aligned.restarts
        ],
        "skipped": [
            {"time_s": round(time_s, 3), "notes": list(events[event].notes)}
            for event, time_s in aligned.skipped
        ],
        "not_heard": list(report.not_heard),
        "not_aligned": [
            {"start_s": round(first, 3), "end_s": round(last, 3)}
            for first, last in aligned.unaligned_s
        ],
        "returns": [
            {
                "label": one.label,
                "anchor_pitch_class": str(one.lean.anchor),
                "interval": one.lean.interval.name,
                "lean_cents": _rounded(one.lean_cents),
                "u_cents": _rounded(one.u_cents),
                "spread_cents": _rounded(one.spread_cents),
                "notes": [
                    {
                        "id": back.note,
                        "octave": back.octave,
                        "lean_cents": _rounded(back.lean_cents),
                        "u_cents": _rounded(back.u_cents),
                        "from_others_cents": _rounded(back.from_others_cents),
                        "verdict": back.verdict,
                    }
                    for back in one.returns
                ],
            }
            for one in report.returns
        ],
        "resonances": [_resonance(one) for one in report.resonances],
        "findings": [
            {
                "kind": one.kind,
                "text": finding_text(one, report),
                "notes": list(one.notes),
                "of": one.of,
                "cents": _rounded(one.cents),
            }
            for one in report.findings
        ],
        "ear": None if ear is None else [_ear(one) for one in ear],
        "warnings": [
            {"code": one.code, "message": one.message} for one in (*report.notices, *notices)
        ],
    }
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def take_csv(report: TakeReport) -> str:
    """Return every playing of every note as CSV text."""
    out = io.StringIO()
    rows = csv.writer(out)
    rows.writerow(COLUMNS)
    rang = {(one.note, one.attempt): _resonance(one) for one in report.resonances}
    for one in report.attempts:
        note = _note(one, report)
        heard = note["heard"][0]
        ring = rang.get((one.note, heard["attempt"]), {})
        cells = [
            note["id"], note["measure"], note["beat"], note["pitch"], note["role"],
            heard["attempt"], heard["start_s"], heard["end_s"], heard["hz"], note["target_hz"],
            note["cents"], note["off_cents"], note["u_cents"], note["lean_cents"],
            note["verdict"], note["unjudged"], note["match"],
            ring.get("sign"), ring.get("level_db"), ring.get("why"),
        ]  # fmt: skip
        rows.writerow(
            [guarded(cell) if isinstance(cell, str) else "" if cell is None else cell
             for cell in cells]
        )  # fmt: skip
    return out.getvalue()


def _note(one: JudgedNote, report: TakeReport) -> Json:
    target = report.targets[one.note]
    place = target.place
    whole = report.tendency
    without = None
    if one.cents is not None and whole is not None:
        without = one.cents - sum(whole.at(h.start_s) for h in one.heard) / len(one.heard)
    return {
        "id": one.note,
        "measure": place.measure,
        "beat": number(place.beat),
        "pitch": str(place.pitch),
        "role": target.role,
        "target_hz": round(target.hz, 4),
        "cents": _rounded(one.cents),
        "off_cents": _rounded(away_cents(one, target)),
        "u_cents": _rounded(one.u_cents),
        "without_tendency_cents": _rounded(without),
        "lean_cents": _rounded(one.lean_cents),
        "lean_target_cents": _rounded(target.lean_cents),
        "lean_u_cents": _rounded(one.lean_u_cents),
        "match": target.match,
        "verdict": one.verdict,
        "unjudged": one.unjudged,
        "heard": [
            {
                "attempt": heard.attempt,
                "start_s": round(heard.start_s, 3),
                "end_s": round(heard.end_s, 3),
                "hz": _rounded(heard.hz, 4),
                "se_cents": _rounded(heard.se_cents),
                "vibrato_cents": _rounded(heard.vibrato_cents),
                "confidence": round(heard.confidence, 3),
                "place_unclear": heard.place_unclear,
            }
            for heard in one.heard
        ],
    }


def _resonance(one: Resonance) -> Json:
    return {
        "id": one.note,
        "attempt": one.attempt,
        "sign": one.sign,
        "why": one.why,
        "strings": [str(string) for string in one.strings],
        "level_db": _rounded(one.level_db, 1),
        "u_db": _rounded(one.u_db, 1),
        "over_room_db": _rounded(one.over_room_db, 1),
        "partials": one.partials,
    }


def _tendency(report: TakeReport) -> Json | None:
    whole = report.tendency
    if whole is None:
        return None
    return {
        "notes": whole.notes,
        "height_cents": _rounded(whole.height_cents),
        "height_u_cents": _rounded(whole.height_u_cents),
        "height": whole.height,
        "drift_cents": _rounded(whole.drift_cents),
        "drift_u_cents": _rounded(whole.drift_u_cents),
        "drift": whole.drift,
    }


def _ear(one: Compared) -> Json:
    return {
        "id": one.note,
        "ear": one.ear,
        "measured": None if one.measured is None else one.measured.verdict,
        "agreement": one.agreement,
    }


def _rounded(value: float | None, digits: int = 2) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)
