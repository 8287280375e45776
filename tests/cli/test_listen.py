"""``skeleton listen`` as a player runs it: strings first, then the etude, two notes off."""

from __future__ import annotations

import csv
import hashlib
import importlib.util
import json
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from lxml import etree
from typer.testing import CliRunner

from skeleton.cli.app import app
from skeleton.listening.events import score_events
from skeleton.listening.note_targets import note_targets
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz

SVG = "{http://www.w3.org/2000/svg}"
TUNED_CENTS = 9.0
OFF_CENTS = {4: 24.0, 11: -22.0}
WITHIN_CENTS = 2.0


def _made():
    name = "performances"
    if name not in sys.modules:
        path = Path(__file__).parents[1] / "listening" / f"{name}.py"
        spec = importlib.util.spec_from_file_location(name, path)
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


made = _made()


def run(*arguments):
    return CliRunner().invoke(app, ["listen", *map(str, arguments)])


@pytest.fixture(scope="module")
def take(tmp_path_factory):
    """An etude file and a take of it, 9 cents high with its strings, notes 5 and 12 off."""
    folder = tmp_path_factory.mktemp("take")
    analysis, data = made.etude(3, 24)
    etude = folder / "etude.musicxml"
    etude.write_bytes(data)
    targets = note_targets(analysis, analysis.parts[0])
    events = score_events(analysis.score.parts[0], {k: one.hz for k, one in targets.items()})
    ratio = 2 ** (TUNED_CENTS / 1200)
    strings = open_string_hz(INSTRUMENTS["violin"])
    line = [
        made.tones.Tone(hz * ratio, 0.3 + 1.3 * i, 1.5 + 1.3 * i) for i, hz in enumerate(strings)
    ]
    at = 6.5
    for place, event in enumerate(events):
        length = 0.5 * float(event.quarters) + 0.1
        hz = event.hz[0] * ratio * 2 ** (OFF_CENTS.get(place, 0.0) / 1200)
        line.append(made.tones.Tone(hz, at, at + length))
        at += length
    sound = folder / "take.wav"
    soundfile.write(sound, made.tones.mixed(line, 5), made.RATE)
    return etude, sound, data, events


@pytest.fixture(scope="module")
def found(take):
    result = run(take[0], take[1], "--json", "-q")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_json_says_what_was_played(found, take):
    _, _, data, events = take
    assert found["format"] == 1
    assert found["etude"]["sha256"] == hashlib.sha256(data).hexdigest()
    assert found["reference"]["origin"] == "beginning"
    pure = open_string_hz(INSTRUMENTS["violin"])
    for string, hz in zip(found["reference"]["strings"], pure, strict=True):
        assert abs(1200 * np.log2(string["hz"] / hz) - TUNED_CENTS) < WITHIN_CENTS
        assert string["heard"]
    by_id = {one["id"]: one for one in found["notes"]}
    assert len(by_id) == len(events)
    for place, event in enumerate(events):
        note = by_id[event.notes[0]]
        assert abs(note["cents"] - OFF_CENTS.get(place, 0.0)) < WITHIN_CENTS + 0.5 * note["u_cents"]
        if place in OFF_CENTS:
            assert note["verdict"] == ("sharp" if OFF_CENTS[place] > 0 else "flat")
    # Their own anchors aside, nothing else is off.
    anchored = {event.notes[0] for place in OFF_CENTS for event in events[place - 1 : place]}
    off = {one["id"] for one in found["notes"] if one["verdict"] in ("sharp", "flat")}
    assert off <= anchored | {events[place].notes[0] for place in OFF_CENTS}


def test_a_summary_for_a_student(take):
    result = run(take[0], take[1], "--all")
    assert result.exit_code == 0, result.stderr
    assert "What to work on" in result.stdout
    assert "as played at the beginning" in result.stdout
    assert "1. " in result.stdout
    assert "measure" in result.stdout


def test_csv_and_musicxml(take, tmp_path):
    table, music = tmp_path / "t.csv", tmp_path / "t.musicxml"
    assert run(take[0], take[1], "-o", table, "-q").exit_code == 0
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    assert len(rows) == len(take[3])
    assert {row["verdict"] for row in rows} >= {"sharp", "flat"}
    assert run(take[0], take[1], "-o", music, "-q").exit_code == 0
    texts = [one.text for one in etree.parse(music).getroot().iter("text")]
    assert any(text.startswith("↑") for text in texts)
    assert any(text.startswith("↓") for text in texts)


def test_marks_on_the_score(take, found, tmp_path):
    pytest.importorskip("verovio")
    picture = tmp_path / "marks.svg"
    result = run(take[0], take[1], "-o", picture)
    assert result.exit_code == 0, result.stderr
    root = etree.parse(picture).getroot()
    rings = {one.get("class") for one in root.iter(f"{SVG}ellipse")}
    assert rings >= {"low", "high"}
    low = sum(one["verdict"] == "flat" for one in found["notes"])
    assert sum(one.get("class") == "low" for one in root.iter(f"{SVG}ellipse")) == low
    text = " ".join("".join(one.itertext()) for one in root.iter(f"{SVG}text"))
    assert "you were low" in text


def test_the_ear_is_set_beside_the_measurement(take, tmp_path):
    _, _, data, events = take
    marks = tmp_path / "marks.json"
    said = [{"note": events[4].notes[0], "says": "flat"}]
    marks.write_text(json.dumps({
        "format": 1, "etude": hashlib.sha256(data).hexdigest(),
        "takes": [{"date": "2024-05-01", "marks": said}],
    }))  # fmt: skip
    result = run(take[0], take[1], "--ear", marks, "--json", "-q")
    ear = {one["id"]: one["agreement"] for one in json.loads(result.stdout)["ear"]}
    assert ear[events[4].notes[0]] == "wrong direction"
    assert ear[events[11].notes[0]] == "missed"
    result = run(take[0], take[1], "--ear", marks, "--ear-date", "2020-01-01")
    assert result.exit_code == 1
    assert "there are 2024-05-01" in result.stderr


def test_only_some_measures(take):
    result = run(take[0], take[1], "--measures", "1-1", "--json", "-q")
    assert result.exit_code == 0, result.stderr
    assert {one["measure"] for one in json.loads(result.stdout)["notes"]} == {"1"}


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["--measures", "1-99"], 1, "no measure '99'"),
        (["--measures", "1-"], 2, "write 5-12"),
        (["--passage", "nowhere"], 1, "no passage"),
        (["--tolerance", "0"], 2, "above 0"),
        (["-o", "marks.xyz"], 1, "no format"),
        (["--ear-date", "2024-05-01"], 2, "--ear"),
        (["--strings-hz", "100,200,300,400"], 1, "cannot be the open"),
        (["--ear", "missing.json"], 1, "cannot be read"),
    ],
)
def test_faults_are_one_line(take, arguments, code, said):
    result = run(take[0], take[1], *arguments)
    assert result.exit_code == code
    assert said in result.stderr
    assert "Traceback" not in result.stderr


def test_a_take_that_is_none(take, tmp_path):
    silent = tmp_path / "silent.wav"
    soundfile.write(silent, np.zeros(44100), 22050)
    result = run(take[0], silent)
    assert result.exit_code == 1
    assert "silent" in result.stderr
    assert run(take[0], tmp_path / "none.wav").exit_code == 1
