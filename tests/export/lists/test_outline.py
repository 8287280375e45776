"""The outline: the JSON contract key by key, and the report for a person."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import pytest

from skeleton.analysis.results import AccidentalNote, Analysis, Anchor, RuleFit
from skeleton.export.lists.document import Table, plain_text
from skeleton.export.lists.outline import number, outline, outline_json
from skeleton.export.lists.outline_text import by_fit, outline_document
from skeleton.theory.interval import between
from skeleton.theory.pitch import parse_pitch

# The contract: these keys, in this order, before any key that was added later.
TOP = [
    "format", "score", "instrument", "rule", "rule_fit", "skeleton", "accidentals", "matches",
    "passages",
]  # fmt: skip
PLACE = ["id", "part", "measure", "beat", "onset", "voice", "pitch"]
ACCIDENTAL = [
    *PLACE, "printed", "structural", "open_string", "anchor", "runner_up", "interval",
    "semitones", "text",
]  # fmt: skip
MATCH = ["label", "pitch_class", "octaves", "across_octaves", "notes", "leans"]


def begins(found: dict[str, object], keys: list[str]) -> bool:
    return list(found)[: len(keys)] == keys


def test_keys_of_the_contract_in_their_order(analysis: Analysis) -> None:
    found = outline(analysis)
    assert begins(found, TOP)
    assert begins(found["score"], ["title", "parts", "warnings"])
    assert begins(found["score"]["parts"][0], ["id", "name", "measures", "notes"])
    assert begins(found["score"]["warnings"][0], ["code", "message", "measure"])
    assert list(found["instrument"]) == ["name", "open_strings", "a4_hz"]
    assert begins(found["rule_fit"][0], ["rule", "half_step_share", "unaltered_share"])
    assert all(begins(note, [*PLACE, "reasons"]) for note in found["skeleton"])
    assert all(begins(note, ACCIDENTAL) for note in found["accidentals"])
    assert begins(found["accidentals"][0]["anchor"], ["id", "measure", "pitch"])
    assert all(begins(group, MATCH) for group in found["matches"])
    assert begins(
        found["matches"][0]["leans"][0], ["anchor_pitch_class", "interval", "direction", "notes"]
    )
    assert begins(
        found["passages"][0],
        ["name", "first_measure", "last_measure", "skeleton", "accidentals"],
    )


def test_values(analysis: Analysis) -> None:
    found = outline(analysis)
    assert found["format"] == 1
    assert found["score"]["title"] == "Étude *one*"
    assert found["score"]["source"] == "etude.musicxml"
    assert found["score"]["parts"] == [
        {"id": "P1", "name": "Violin", "measures": 3, "notes": 12, "instrument": "violin"}
    ]
    assert found["score"]["warnings"] == [
        {"code": "odd", "message": "something odd", "measure": "2", "part": "P1"}
    ]
    assert found["instrument"] == {
        "name": "violin",
        "open_strings": ["G3", "D4", "A4", "E5"],
        "a4_hz": 440.0,
    }
    assert found["rule_fit"][1] == {
        "rule": "first",
        "half_step_share": 0.666667,
        "unaltered_share": 0.0,
        "notes": 6,
    }
    assert found["skeleton"][1] == {
        "id": "n4",
        "part": "P1",
        "measure": "1",
        "beat": 2.5,
        "onset": "3/2",
        "voice": "1",
        "pitch": "D5",
        "reasons": ["slur", "open-string"],
        "open_string": "D4",
        "slur_notes": 2,
    }
    second = found["accidentals"][1]
    assert second["pitch"] == "C#5"
    assert second["beat"] == 2
    assert isinstance(second["beat"], int)
    assert (second["interval"], second["semitones"], second["text"]) == (
        "m2",
        -1,
        "half step below D5",
    )
    assert (second["anchor"]["id"], second["runner_up"]["id"]) == ("n4", "n2")
    assert found["accidentals"][0]["runner_up"] is None
    assert found["matches"][0]["octaves"] == [4, 5]
    assert found["matches"][0]["across_octaves"] is True
    assert found["matches"][0]["leans"][1] == {
        "anchor_pitch_class": "F",
        "interval": "A1",
        "direction": "above",
        "notes": ["n11"],
        "semitones": 1,
    }
    assert found["passages"] == [
        {"name": "A", "first_measure": "1", "last_measure": "2", "skeleton": 4, "accidentals": 4},
        {"name": "=B|", "first_measure": "3", "last_measure": "3", "skeleton": 2, "accidentals": 2},
    ]
    assert found["enharmonic_twins"] == [
        {"part": "P1", "passage": "A", "pitch_classes": ["F#", "Gb"]}
    ]


def test_json_is_the_same_data_readable_and_ends_its_last_line(analysis: Analysis) -> None:
    text = outline_json(analysis)
    assert json.loads(text) == outline(analysis)
    assert "Étude" in text
    assert text.endswith("}\n")


def test_numbers() -> None:
    assert number(Fraction(3)) == 3
    assert isinstance(number(Fraction(3)), int)
    assert number(Fraction(7, 3)) == 2.333333
    assert number(Fraction(-1, 2)) == -0.5


def with_accidental(analysis: Analysis, note: AccidentalNote) -> Analysis:
    part = replace(analysis.parts[0], accidentals=(note,))
    return replace(analysis, parts=(part,))


def test_a_note_without_an_anchor_says_so(analysis: Analysis) -> None:
    lost = replace(analysis.parts[0].accidentals[0], anchor=None, runner_up=None)
    bare = with_accidental(analysis, lost)
    found = outline(bare)["accidentals"][0]
    assert (found["anchor"], found["interval"], found["semitones"]) == (None, None, None)
    assert found["text"] == "no anchor"
    assert "no anchor" in plain_text(outline_document(bare))


def test_a_microtone_is_neither_lost_nor_a_crash(analysis: Analysis) -> None:
    note = analysis.parts[0].accidentals[0]
    pitch = parse_pitch("F(+1/2)4")
    place = replace(note.place, pitch=pitch)
    anchor = Anchor(note.anchor.place, between(note.anchor.place.pitch, pitch))
    found = json.loads(
        outline_json(with_accidental(analysis, replace(note, place=place, anchor=anchor)))
    )
    assert found["accidentals"][0]["pitch"] == "F(+1/2)4"
    assert found["accidentals"][0]["semitones"] == -1.5


def test_a_file_without_parts_gives_an_empty_outline(silent: Analysis) -> None:
    found = outline(silent)
    assert found["instrument"] is None
    assert [found[key] for key in ("skeleton", "accidentals", "matches", "passages")] == [[]] * 4
    assert "No part of this file" in plain_text(outline_document(silent))


def test_the_report_names_file_instrument_and_rule(analysis: Analysis) -> None:
    text = plain_text(outline_document(analysis))
    head = text.splitlines()[:3]
    assert head[0] == "Étude *one*"
    assert "etude.musicxml" in head[1]
    assert "violin (G3 D4 A4 E5), A4 = 440 Hz" in head[1]
    assert "second note of every slur" in head[2]


def rows(analysis: Analysis, first_column: str, columns: int) -> list[tuple[str, ...]]:
    return [
        row
        for block in outline_document(analysis)
        if isinstance(block, Table)
        and block.columns[0] == first_column
        and len(block.columns) == columns
        for row in block.rows
    ]


def test_the_report_shows_every_accidental_with_its_anchor(analysis: Analysis) -> None:
    found = rows(analysis, "measure", 9)
    assert len(found) == 6
    assert found[1] == (
        "1", "2", "C#5", "half step below D5", "1:2.5",
        "augmented fourth above G4", "1:1.5", "", "",
    )  # fmt: skip
    assert [row[7] for row in found] == ["K", "", "K", "", "K", "K"]


def test_the_report_shows_matches_and_twins(analysis: Analysis) -> None:
    assert rows(analysis, "match", 5) == [
        ("K", "F#", "4 and 5", "4", "G, half step below (3); F, chromatic half step above (1)")
    ]
    assert "passage A: F# and Gb" in plain_text(outline_document(analysis))


def test_signs_replace_letters_everywhere(analysis: Analysis) -> None:
    plain = plain_text(outline_document(analysis))
    signed = plain_text(outline_document(analysis, signs=True))
    assert "♯" not in plain
    assert "½" not in plain
    assert "F♯4" in signed
    assert "F#" not in signed
    assert "G♭" in signed


def test_rules_come_best_first_and_empty_ones_last() -> None:
    fits = (
        RuleFit("second", 0.2, 0.5, 9),
        RuleFit("pairs", 0.9, 0.0, 0),
        RuleFit("last", 0.9, 0.9, 9),
        RuleFit("first", 0.5, 0.2, 9),
    )
    assert [fit.rule for fit in by_fit(fits)] == ["last", "second", "first", "pairs"]


@pytest.mark.parametrize("signs", [False, True])
def test_hostile_text_of_a_score_stays_on_its_line(analysis: Analysis, signs: bool) -> None:
    score = replace(analysis.score, title="a\nb\x1b[2J\x07")
    text = plain_text(outline_document(replace(analysis, score=score), signs=signs))
    assert text.startswith("a b")
    assert "\x1b" not in text
    assert "\x07" not in text
