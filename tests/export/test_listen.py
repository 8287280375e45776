"""What is written of a take: words, marks, data; on results made by hand."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.export.lists.document import Table, plain_text
from skeleton.export.lists.listen_data import COLUMNS, take_csv, take_json
from skeleton.export.lists.listen_text import finding_text, take_document, verdict_text
from skeleton.export.lists.ring_text import ring_text
from skeleton.export.marking.listen_marks import marks_as_labels, take_marks
from skeleton.export.take.words import plain_words
from skeleton.listening.alignment import Alignment, Played, Restart
from skeleton.listening.ear_marks import EarTake, compare
from skeleton.listening.events import score_events
from skeleton.listening.judge import Limits, away_cents, judge_attempts, judge_notes
from skeleton.listening.measure import HeardNote
from skeleton.listening.note_targets import note_targets
from skeleton.listening.report import TakeReport, findings
from skeleton.listening.resonance import Resonance
from skeleton.listening.returns import judge_returns
from skeleton.listening.take_reference import given
from skeleton.score.reading import read_bytes
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz

VIOLIN = INSTRUMENTS["violin"]
NOTES = "F#4:1 G4:0 F#5:1 G5:0 D5:0 C5:0"  # alterations after the colon


def music() -> bytes:
    body = ""
    for number, text in enumerate(NOTES.split(), start=1):
        name, alter = text.split(":")
        slur = {1: "start", 2: "stop", 3: "start", 4: "stop"}.get(number)
        mark = f'<notations><slur type="{slur}"/></notations>' if slur else ""
        body += (
            f'<note id="n{number}"><pitch><step>{name[0]}</step><alter>{alter}</alter>'
            f"<octave>{name[-1]}</octave></pitch><duration>1</duration><voice>1</voice>"
            f"<type>quarter</type>{mark}</note>"
        )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin'
        '</part-name></score-part></part-list><part id="P1"><measure number="7"><attributes>'
        "<divisions>1</divisions><time><beats>6</beats><beat-type>4</beat-type></time>"
        f"</attributes>{body}</measure></part></score-partwise>"
    ).encode()


@pytest.fixture(scope="module")
def report() -> TakeReport:
    """G4 and F sharp 5 are off; C5 cannot be measured; D5 was not heard."""
    analysis = analyse(read_bytes(music(), "pairs.musicxml"))
    part = analysis.parts[0]
    targets = note_targets(analysis, part)
    events = score_events(analysis.score.parts[0], {note: one.hz for note, one in targets.items()})
    off = {"n2": 12.0, "n1": 12.0, "n3": -20.0}
    heard = [
        HeardNote(
            f"n{i}", i - 1, 1, i + 0.5, i + 1.3, 0.9, False,
            targets[f"n{i}"].hz * 2 ** (off.get(f"n{i}", 0.0) / 1200), 0.5, None, 0.0,
        )
        for i in range(1, 5)
    ]  # fmt: skip
    heard.append(HeardNote("n6", 5, 1, 7.0, 7.1, 0.9, False, None, math.inf, "too-short", 0.0))
    reference = given(VIOLIN, open_string_hz(VIOLIN))
    notes = judge_notes(heard, targets, reference, Limits())
    returns = judge_returns(part.matches, notes, targets, Limits())
    played = tuple(Played("note", h.event, h.start_s, h.end_s, 1, 0.9) for h in heard)
    wrong = Played("wrong", 4, 6.0, 6.5, 0, 0.0, heard_hz=600.0)
    aligned = Alignment(
        (*played[:4], wrong, played[4]), (Restart(3.5, 1, 2),), ((4, 7.0),), 1.0, ((8.0, 9.5),),
        0.93, 10.0,
    )  # fmt: skip
    return TakeReport(
        analysis, part, 0, 0, events, targets, aligned, reference, Limits(),
        judge_attempts(heard, targets, reference, Limits()), notes, returns, None,
        findings(notes, targets, returns, None), (),
    )  # fmt: skip


def test_marks_say_low_and_high(report):
    marks = {one.note: (one.side, one.text) for one in take_marks(report)}
    assert marks == {"n2": ("high", "↑12"), "n3": ("low", "↓20")}
    labels = marks_as_labels(report)
    assert {label.line for label in labels.labels} == {"↑12", "↓20"}
    assert labels.light == {"n5", "n6"}


def test_a_leaning_note_counts_from_its_anchor_as_played(report):
    by_id = {one.note: one for one in report.notes}
    # F sharp went up along with its G: the step is right, though both are 12 cents high.
    assert by_id["n1"].cents == pytest.approx(12.0)
    assert away_cents(by_id["n1"], report.targets["n1"]) == pytest.approx(0.0, abs=1e-6)


def test_words_of_a_student(report):
    text = plain_text(take_document(report, "take.wav", everything=True))
    assert "5 notes of 6 heard; 1 restart; 1 wrong note" in text
    assert "G is high in 1 of 2 places, by 12 cents: match it to open G." in text
    assert "F# (half step below G) is too far from G in 1 of 2 places, by 20 cents" in text
    assert "bring it nearer to G" in text
    assert "measure 7 beat 2" in text
    assert "too short to measure" in text
    sentences = [finding_text(one, report) for one in report.findings]
    assert all("\n" not in one for one in sentences)


def test_tooltips(report):
    by_id = {one.note: verdict_text(one, report) for one in report.notes}
    assert by_id["n2"] == "G4: high, +12 ± 1 cents from open G3"
    assert by_id["n3"].startswith("F#5: low, -20 ± 1 cents from its place half step below G5")
    assert by_id["n6"] == "C5: not judged (too short to measure)"


def test_json_is_whole(report):
    data = json.loads(take_json(report, "take.wav"))
    assert data["format"] == 1
    assert data["etude"]["first_measure"] == "7"
    assert data["not_heard"] == ["n5"]
    assert data["skipped"] == [{"time_s": 7.0, "notes": ["n5"]}]
    assert data["restarts"] == [{"time_s": 3.5, "after": ["n2"], "to": ["n3"]}]
    assert data["wrong"][0]["instead_of"] == ["n5"]
    assert data["not_aligned"] == [{"start_s": 8.0, "end_s": 9.5}]
    assert data["ear"] is None
    assert data["tendency"] is None
    (group,) = data["returns"]
    assert [one["octave"] for one in group["notes"]] == [4, 5]
    last = data["notes"][-1]
    assert (last["verdict"], last["unjudged"], last["cents"]) == (None, "too-short", None)
    assert last["heard"][0]["se_cents"] is None


def test_csv_has_a_row_for_each_playing(report):
    lines = take_csv(report).splitlines()
    assert lines[0].split(",") == list(COLUMNS)
    assert len(lines) == 1 + 5


def test_the_ear_beside_it(report):
    ear = compare(EarTake("2024-05-01", {"n2": "flat", "n3": "flat", "n4": "sharp"}), report.notes)
    text = plain_text(take_document(report, "take.wav", ear))
    assert "agreed: 1, missed: 0, imagined: 1, wrong direction: 1, open: 0" in text
    assert [one["agreement"] for one in json.loads(take_json(report, "t", ear))["ear"]][:4] == [
        "agreed", "wrong direction", "agreed", "imagined",
    ]  # fmt: skip


@pytest.fixture
def rung(report) -> TakeReport:
    """G4 rang, G5 did not, and once G4 could not be told."""
    g3 = VIOLIN.open_strings[0]
    return replace(
        report,
        resonances=(
            Resonance("n2", 1, "answers", None, (g3,), -6.24, 5.6, 21.0, 5),
            Resonance("n4", 1, "does not answer", None, (g3,), -23.5, 6.0, -2.0, 3),
            Resonance("n2", 2, "not measurable", "masked", (g3,)),
        ),
    )


def test_strings_that_rang_in_words(report, rung):
    text = plain_text(take_document(rung, "take.wav", everything=True))
    flat = " ".join(text.split())
    assert "of 3 playings of notes named like one, 2 could be told" in flat
    assert "1 made a string ring (G4); 1 made none ring (G5);" in flat
    assert "why not the others: the next note covers the string (1)." in flat
    assert "best with a short rest after it" in flat
    assert "no verdict on its pitch" in flat
    (table,) = (one for one in take_document(rung, "t", everything=True) if isinstance(one, Table))
    column = table.columns.index("string rings")
    assert {row[2]: row[column] for row in table.rows}.items() >= {
        ("F#4", ""), ("G4", "yes, -6 dB"), ("G5", "no"),
    }  # fmt: skip
    assert ring_text(report, plain_words()) is None
    assert "Ringing" not in plain_text(take_document(report, "take.wav"))


def test_strings_that_rang_as_data(rung):
    data = json.loads(take_json(rung, "take.wav"))["resonances"]
    assert [one["sign"] for one in data] == ["answers", "does not answer", "not measurable"]
    assert data[0]["id"] == "n2"
    assert data[0]["strings"] == ["G3"]
    assert data[0]["level_db"] == pytest.approx(-6.2)
    assert data[2]["why"] == "masked"
    assert data[2]["level_db"] is None
    rows = list(csv.DictReader(io.StringIO(take_csv(rung))))
    by_id = {row["id"]: row for row in rows}
    assert by_id["n2"]["string_rings"] == "answers"
    assert by_id["n2"]["string_rings_db"] == "-6.2"
    assert by_id["n4"]["string_rings"] == "does not answer"
    assert by_id["n1"]["string_rings"] == by_id["n1"]["string_rings_why"] == ""
