"""``skeleton listen`` as a player runs it: strings first, then the etude, two notes off."""

from __future__ import annotations

import csv
import hashlib
import json

import numpy as np
import pypdf
import pytest
import soundfile
from lxml import etree
from recorded import recorded
from typer.testing import CliRunner

from skeleton.cli.app import app
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz

SVG = "{http://www.w3.org/2000/svg}"
TUNED_CENTS = 9.0
OFF_CENTS = {4: 24.0, 11: -22.0}
WITHIN_CENTS = 2.0


def run(*arguments):
    return CliRunner().invoke(app, ["listen", *map(str, arguments)])


@pytest.fixture(scope="module")
def take(tmp_path_factory):
    """An etude file and a take of it, 9 cents high with its strings, notes 5 and 12 off."""
    return recorded(tmp_path_factory.mktemp("take"), 24, OFF_CENTS, tuned_cents=TUNED_CENTS)


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


def test_a_picture_of_the_curves_and_its_png(take, tmp_path):
    drawn, png = tmp_path / "curves.svg", tmp_path / "curves.png"
    assert run(take[0], take[1], "--curves", "-o", drawn, "-q").exit_code == 0
    assert len(list(etree.parse(drawn).getroot().iter(f"{SVG}circle"))) > 20
    assert run(take[0], take[1], "--curves", "-o", png, "-q").exit_code == 0
    assert png.read_bytes().startswith(b"\x89PNG")


def test_a_sheet_and_a_page(take, tmp_path):
    pytest.importorskip("verovio")
    sheet, page = tmp_path / "marks.pdf", tmp_path / "marks.html"
    result = run(take[0], take[1], "--paper", "letter", "-o", sheet)
    assert result.exit_code == 0, result.stderr
    assert sheet.read_bytes().startswith(b"%PDF")
    assert run(take[0], take[1], "-o", page, "-q").exit_code == 0
    assert [one.name for one in tmp_path.iterdir() if one.suffix == ".mp3"] == []
    result = run(take[0], take[1], "-o", page, "--embed-up-to", "0.01")
    assert result.exit_code == 0, result.stderr
    assert "its sound is beside it" in result.stderr
    with soundfile.SoundFile(tmp_path / "marks-take.mp3") as sound:
        with soundfile.SoundFile(take[1]) as whole:
            # MP3 may add a few hundredths of a second of silence.
            assert abs(len(sound) / sound.samplerate - len(whole) / whole.samplerate) < 0.1
        assert sound.channels == 1


def test_a_sheet_and_a_page_in_german(take, tmp_path):
    pytest.importorskip("verovio")
    sheet, page = tmp_path / "marks.pdf", tmp_path / "marks.html"
    result = run(take[0], take[1], "--language", "de", "-o", sheet)
    assert result.exit_code == 0, result.stderr
    assert "--language" not in result.stderr
    reader = pypdf.PdfReader(sheet)
    assert reader.trailer["/Root"]["/Lang"] == "de"
    assert "Woran zu arbeiten ist" in reader.pages[0].extract_text()
    result = run(take[0], take[1], "--language", "DE", "-o", page, "-q")
    assert result.exit_code == 0, result.stderr
    assert '<html lang="de">' in page.read_text(encoding="utf-8")


def test_everything_else_stays_english_and_says_so(take):
    plain, told = run(take[0], take[1]), run(take[0], take[1], "--language", "de")
    assert told.exit_code == 0
    assert told.stdout == plain.stdout
    assert "--language is for .pdf and .html" in told.stderr
    assert "--language" not in plain.stderr


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
        (["--curves"], 2, "--curves draws a picture"),
        (["--curves", "-o", "marks.pdf"], 2, "--curves draws a picture"),
        (["--ear-date", "2024-05-01"], 2, "--ear"),
        (["--strings-hz", "100,200,300,400"], 1, "cannot be the open"),
        (["--ear", "missing.json"], 1, "cannot be read"),
        (["--language", "xx", "-o", "marks.pdf"], 2, "--language"),
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
