"""The checklist: its data, and each form it is written in."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.analysis.results import Analysis
from skeleton.errors import OptionError
from skeleton.export.lists.checklist import CAUTIONS, checklist, tuning_order
from skeleton.export.lists.checklist_data import COLUMNS, checklist_csv, checklist_json, guarded
from skeleton.export.lists.checklist_text import checklist_markdown, checklist_text, escaped
from skeleton.theory.instrument import INSTRUMENTS, Instrument
from skeleton.theory.pitch import parse_pitch


def flowing(text: str) -> str:
    """Return text without its line breaks."""
    return " ".join(text.split())


def strings(text: str) -> tuple:
    return tuple(parse_pitch(name) for name in text.split())


@pytest.mark.parametrize(
    ("name", "needed", "order"),
    [
        # A first, every string from its neighbour: common practice, no source.
        ("violin", "G3 E5", "A4 D4 G3 E5"),
        ("violin", "E5", "A4 E5"),
        ("violin", "", "A4"),
        ("viola", "C3", "A4 D4 G3 C3"),
        ("cello", "D3", "A3 D3"),
        ("double bass", "E1 G2", "A1 E1 D2 G2"),
    ],
)
def test_strings_are_tuned_from_the_a_string(name: str, needed: str, order: str) -> None:
    assert tuning_order(INSTRUMENTS[name], strings(needed)) == strings(order)


def test_without_an_a_string_the_one_nearest_to_a4_is_the_reference() -> None:
    low = Instrument("custom", strings("F3 C4 G4 D5"))
    assert tuning_order(low, strings("C4")) == strings("G4 C4")


def test_a_passage(analysis: Analysis) -> None:
    first, second = checklist(analysis).passages
    assert first.tune_first == strings("A4 D4 G3")
    assert [(str(name.string), [str(p) for p in name.pitches]) for name in first.fixed] == [
        ("G3", ["G4", "G5"]),
        ("D4", ["D5"]),
    ]
    assert [str(note.pitch) for note in first.accidentals] == ["F#4", "C#5", "F#5", "Gb4"]
    assert [note.label for note in first.accidentals] == ["K", None, "K", None]
    assert [(m.group.label, m.passages) for m in first.matches] == [("K", ("A", "=B|"))]
    assert [(str(t.first), str(t.second)) for t in first.twins] == [("F#", "Gb")]
    assert second.twins == ()


def test_repeats_of_a_note_on_one_anchor_are_one_line_with_all_places(analysis: Analysis) -> None:
    whole = replace(analysis, passages=(replace(analysis.passages[0], last_index=2),))
    (passage,) = checklist(whole).passages
    found = [(str(n.pitch), str(n.anchor.place.pitch), len(n.places)) for n in passage.accidentals]
    assert found == [
        ("F#4", "G4", 2),
        ("C#5", "D5", 1),
        ("F#5", "G5", 1),
        ("Gb4", "F4", 1),
        ("F#4", "F4", 1),
    ]
    text = flowing(checklist_text(checklist(whole)))
    assert "F#4, half step below G4: measure 1 beat 1; measure 3 beat 1 (K)" in text


def test_passages_by_name(analysis: Analysis) -> None:
    assert [p.passage.name for p in checklist(analysis, ["=B|"]).passages] == ["=B|"]
    with pytest.raises(OptionError, match=r"no passage 'Z'; there are A, =B\|"):
        checklist(analysis, ["Z"])


def test_text_has_a_box_for_every_item_in_the_order_of_work(analysis: Analysis) -> None:
    paper = checklist_text(checklist(analysis))
    assert max(len(line) for line in paper.splitlines()) <= 92
    text = flowing(paper)
    assert "From etude.musicxml. For violin (G3 D4 A4 E5), A4 = 440 Hz." in text
    part = text[text.index("Passage A, measures 1 to 2") : text.index("Passage =B|, measure 3")]
    order = [
        "[ ] open A4, the reference",
        "[ ] open D4, from A4",
        "[ ] open G3, from D4",
        "[ ] G4 G5 as open G3",
        "[ ] F#4, half step below G4: measure 1 beat 1 (K)",
        "[ ] C#5, half step below D5: measure 1 beat 2",
        (
            "[ ] K: F# in octaves 4 and 5: lean alike by anchor: half step below G; "
            "chromatic half step above F; also in passage =B|"
        ),
        "[ ] F# and Gb",
    ]
    places = [part.index(item) for item in order]
    assert places == sorted(places)
    for caution in CAUTIONS:
        assert caution in text
    assert text.isascii() is False  # the title's own letter
    assert text.replace("É", "").isascii()


def test_a_note_named_like_an_open_string_is_fixed_and_not_leant(analysis: Analysis) -> None:
    part = analysis.parts[0]
    notes = tuple(replace(note, open_string=True) for note in part.accidentals)
    fixed = replace(analysis, parts=(replace(part, accidentals=notes),))
    text = flowing(checklist_text(checklist(fixed)))
    assert "F#4, as the open string; half step below G4: measure 1 beat 1" in text
    assert "K: F# in octaves 4 and 5: match the open string; also in" in text
    assert "lean" not in text


def test_many_other_passages_are_counted(analysis: Analysis) -> None:
    last = analysis.passages[1]
    many = tuple(replace(last, name=f"B{n}") for n in range(9))
    text = flowing(checklist_text(checklist(replace(analysis, passages=many), ["B3"])))
    assert "; also in 8 other passages" in text
    few = flowing(checklist_text(checklist(replace(analysis, passages=many[:3]), ["B1"])))
    assert "; also in passages B0 and B2" in few


def test_markdown_is_a_task_list_with_the_score_escaped(analysis: Analysis) -> None:
    text = checklist_markdown(checklist(analysis))
    assert text.startswith("# Checklist: Étude \\*one\\*\n")
    assert "## Passage =B\\|, measure 3" in text
    assert "- [ ] F♯4, half step below G4: measure 1 beat 1 (K)" in text
    boxes = checklist_text(checklist(analysis)).count("[ ]")
    assert text.count("- [ ] ") == boxes > 10


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("<script>", "&lt;script&gt;"),
        ("[a](b)", "\\[a\\](b)"),
        ("a_b `c` \\", "a\\_b \\`c\\` \\\\"),
        ("1. one", "1\\. one"),
        ("- one", "\\- one"),
        ("# one", "\\# one"),
        ("R&B", "R&amp;B"),
    ],
)
def test_markdown_escapes(text: str, shown: str) -> None:
    assert escaped(text) == shown


def test_csv_is_one_flat_table(analysis: Analysis) -> None:
    text = checklist_csv(checklist(analysis))
    assert text.count("\r\n") == len(text.splitlines())
    table = list(csv.DictReader(io.StringIO(text, newline="")))
    assert tuple(table[0]) == COLUMNS
    assert {row["done"] for row in table} == {""}
    assert {row["kind"] for row in table} == {"tune", "fixed", "accidental", "match", "twins"}
    notes = [row for row in table if row["kind"] == "accidental"]
    assert [row["note"] for row in notes] == ["F#4", "C#5", "F#5", "Gb4", "F#4", "F#4"]
    assert notes[0]["tune_from"] == "half step below G4"
    assert notes[0]["match"] == "K"
    assert {row["passage"] for row in table} == {"A", "'=B|"}
    assert text.isascii()


@given(st.text())
def test_no_cell_is_a_formula_and_none_breaks_its_line(text: str) -> None:
    cell = guarded(text)
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert len(cell.splitlines()) <= 1
    out = io.StringIO(newline="")
    csv.writer(out).writerow([cell])
    assert next(csv.reader(io.StringIO(out.getvalue(), newline=""))) in ([cell], [])


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\r=x", " =x", "\x00=x"])
def test_formulas_are_disarmed(text: str) -> None:
    assert guarded(text)[0] in "'\N{REPLACEMENT CHARACTER}"


@pytest.mark.parametrize("text", ["F#4", "5", "half step below G4", "x=1", ""])
def test_plain_cells_stay(text: str) -> None:
    assert guarded(text) == text


def test_json_has_stable_keys(analysis: Analysis) -> None:
    found = json.loads(checklist_json(checklist(analysis)))
    assert list(found) == [
        "format", "title", "source", "rule", "a4_hz", "passages", "matches", "cautions",
    ]  # fmt: skip
    assert found["format"] == 1
    passage = found["passages"][0]
    assert list(passage) == [
        "name", "first_measure", "last_measure", "part", "instrument", "tune_first", "fixed",
        "accidentals", "matches", "enharmonic_twins",
    ]  # fmt: skip
    assert passage["fixed"][0] == {"open_string": "G3", "pitches": ["G4", "G5"]}
    assert passage["accidentals"][0] == {
        "pitch": "F#4",
        "anchor": "G4",
        "text": "half step below G4",
        "open_string": False,
        "match": "K",
        "places": [{"id": "n1", "measure": "1", "beat": 1}],
    }
    assert passage["matches"] == ["K"]
    assert found["matches"] == [
        {
            "part": "P1",
            "label": "K",
            "pitch_class": "F#",
            "octaves": [4, 5],
            "across_octaves": True,
            "open_string": False,
            "passages": ["A", "=B|"],
        }
    ]
    assert passage["enharmonic_twins"] == [["F#", "Gb"]]


def test_a_file_without_parts_gives_a_checklist_that_says_so(silent: Analysis) -> None:
    made = checklist(silent)
    assert made.passages == ()
    assert "nothing to tune" in checklist_text(made)
    assert "nothing to tune" in checklist_markdown(made)
    assert checklist_csv(made) == ",".join(COLUMNS) + "\r\n"
    assert json.loads(checklist_json(made))["passages"] == []
