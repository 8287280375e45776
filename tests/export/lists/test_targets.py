"""Targets as written: JSON and CSV for programs, a report for a person."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest

from skeleton.analysis.results import Analysis
from skeleton.export.lists.checklist import CAUTIONS
from skeleton.export.lists.document import plain_text
from skeleton.export.lists.targets import COLUMNS, targets_csv, targets_json
from skeleton.export.lists.targets_text import Wanted, cents_text, targets_document
from skeleton.intonation.cautions import UNDER_TARGETS
from skeleton.intonation.targets import targets


def report(analysis: Analysis, wanted: Wanted | None = None, **options) -> str:
    return plain_text(targets_document(targets(analysis, **options), wanted))


def test_json_is_the_contract(analysis: Analysis) -> None:
    data = json.loads(targets_json(targets(analysis)))
    assert list(data) == [
        "format", "title", "source", "rule", "system", "parts", "passages", "ring", "warnings",
        "cautions",
    ]  # fmt: skip
    assert data["format"] == 1
    (part,) = data["parts"]
    assert (part["instrument"], part["a4_hz"], part["tuned"]) == ("violin", 440.0, "pure")
    assert part["strings"][0] == {"pitch": "G3", "hz": 195.555556}
    first = data["passages"][0]
    assert first["drone"]["strings"] == ["G3", "D4"]
    by_pitch = {one["pitch"]: one for one in first["targets"]}
    sharp = by_pitch["F#4"]
    assert sharp["role"] == "accidental"
    assert sharp["hz"] == 371.25
    assert sharp["cents"] == 5.865
    assert sharp["lean_cents"] == 90.225
    assert (sharp["band"]["low_cents"], sharp["band"]["high_cents"]) == (80, 100)
    assert (sharp["match"], sharp["match_octaves"]) == ("K", [4, 5])
    assert sharp["anchor"]["text"] == "half step below G4"
    assert [one["ratio"] for one in sharp["checks"]] == ["5/4", "5/6"]
    assert sharp["checks"][0]["off_target_cents"] == -21.506
    assert sharp["places"] == [{"id": "n1", "measure": "1", "beat": 1}]
    fixed = by_pitch["G4"]
    assert (fixed["role"], fixed["string"], fixed["octaves"]) == ("fixed", "G3", 1)
    assert fixed["band"] is None
    assert fixed["anchor"] is None
    assert by_pitch["F4"]["role"] == "skeleton"
    assert [one["pitch"] for one in data["ring"]] == ["G4", "D5", "G5"]
    assert data["ring"][0]["answers"][0] == {
        "string": "G3", "ratio": "2/1", "off_cents": 0.0, "strength_db": -6.02
    }  # fmt: skip
    assert [one["code"] for one in data["warnings"]] == ["odd"]
    assert all(one["source"] for one in data["cautions"])


def test_every_skeleton_note_and_accidental_is_placed_once(analysis: Analysis) -> None:
    data = json.loads(targets_json(targets(analysis)))
    placed = [
        place["id"]
        for passage in data["passages"]
        for target in passage["targets"]
        for place in target["places"]
    ]
    part = analysis.parts[0]
    assert sorted(placed) == sorted(n.place.id for n in (*part.skeleton, *part.accidentals))


def test_csv(analysis: Analysis) -> None:
    text = targets_csv(targets(analysis))
    assert text.startswith(",".join(COLUMNS) + "\r\n")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(rows) == sum(len(p.targets) for p in targets(analysis).passages)
    sharp = rows[0]
    assert (sharp["note"], sharp["hz"], sharp["cents"]) == ("F#4", "371.25", "5.865")
    assert sharp["tune_from"] == "half step below G4"
    assert sharp["band_low_source"].startswith("leading notes")
    assert sharp["places"] == "measure 1 beat 1"
    assert rows[1]["tune_from"] == "open G3"
    # The second passage is named "=B|": a spreadsheet must not take it for a formula.
    assert rows[-1]["passage"] == "'=B|"


def test_a_report_to_read(analysis: Analysis) -> None:
    text = report(analysis)
    assert text.startswith("Targets: Étude *one*\n")
    assert "G3 195.56, D4 293.33, A4 440.00, E5 660.00 Hz" in text
    assert "Drone: open G3 and D4; " in text
    assert "  F#4   half step below G4  90.2  80 to 100  371.25  +5.9   K      1" in text
    assert "  G4    391.11  -3.9   G3       1" in text
    assert "Checks" not in text
    assert "ring" not in text.casefold().replace("string", "")
    assert all(caution.text in text for caution in UNDER_TARGETS)
    assert set(text) - set("É") <= {chr(code) for code in range(32, 127)} | {"\n"}


def test_sections_that_are_asked_for(analysis: Analysis) -> None:
    text = report(analysis, Wanted(checks=True, ring=True, sources=True))
    assert "  F#4   D4         G3          3rd       major third 5:4     366.67  -21.5" in text
    assert "F#4: Pure against open D is 21.5 cents below the target" in text
    assert "  D5    586.67  D4 G3" in text
    assert "diva2:1809897" in text
    assert all(f"Source: {caution.source}" in text for caution in UNDER_TARGETS)


def test_signs(analysis: Analysis) -> None:
    assert "F♯4   half step below G4" in report(analysis, Wanted(signs=True))


def test_chosen_leans_and_just_are_marked(analysis: Analysis) -> None:
    assert "85.0 (chosen)" in report(analysis, lean_cents=85)
    assert "70.0 (chosen, outside)" in report(analysis, lean_cents=70)
    just = report(analysis, system="just", against="D")
    assert "Just: pure against the open D4" in just
    assert "(111.7)" in just


def test_nothing_to_tell(silent: Analysis, analysis: Analysis) -> None:
    assert "Nothing here has a target" in report(silent)
    assert json.loads(targets_json(targets(silent)))["passages"] == []
    assert targets_csv(targets(silent)) == ",".join(COLUMNS) + "\r\n"
    bare = replace(analysis.parts[0], skeleton=(), accidentals=(), matches=())
    assert "Nothing here has a target" in report(replace(analysis, parts=(bare,)))


@pytest.mark.parametrize(
    ("value", "text"), [(5.86, "+5.9"), (-3.91, "-3.9"), (-0.01, "0.0"), (0.04, "0.0")]
)
def test_cents(value: float, text: str) -> None:
    assert cents_text(value) == text


def test_checklists_take_their_cautions_from_the_same_place() -> None:
    assert set(CAUTIONS) < {caution.text for caution in UNDER_TARGETS}
