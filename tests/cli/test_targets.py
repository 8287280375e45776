"""``skeleton targets`` as a user runs it."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from skeleton.cli.app import app

PAIRS = "F#4 G4 C#5 D5 F#5 G5"


def score_text() -> str:
    notes = []
    for place, name in enumerate(PAIRS.split()):
        alter = int("#" in name)
        notes.append(
            f"<note><pitch><step>{name[0]}</step><alter>{alter}</alter><octave>{name[-1]}</octave>"
            "</pitch><duration>1</duration><voice>1</voice><notations>"
            f'<slur type="{"stop" if place % 2 else "start"}"/></notations></note>'
        )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin</part-name>'
        '</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1'
        "</divisions><time><beats>6</beats><beat-type>4</beat-type></time></attributes>"
        f"{''.join(notes)}</measure></part></score-partwise>"
    )


@pytest.fixture
def etude(tmp_path: Path) -> Path:
    path = tmp_path / "etude.musicxml"
    path.write_text(score_text(), encoding="utf-8")
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["targets", *map(str, arguments)])


def done(*arguments: object) -> str:
    result = run(*arguments)
    assert result.exit_code == 0, result.stderr
    return result.stdout


def data(*arguments: object) -> dict:
    return json.loads(done(*arguments, "--json"))


def notes(found: dict) -> dict[str, dict]:
    return {one["pitch"]: one for passage in found["passages"] for one in passage["targets"]}


def test_forms(etude: Path, tmp_path: Path) -> None:
    text = done(etude)
    assert "F#4   half step below G4  90.2  80 to 100" in text
    table = done(etude, "--format", "csv")
    assert done(etude, "--csv") == table
    rows = list(csv.DictReader(io.StringIO(table)))
    assert [row["note"] for row in rows] == PAIRS.split()
    assert notes(data(etude))["F#5"]["hz"] == 742.5
    for name, same in (("t.txt", text), ("t.json", done(etude, "--json"))):
        done(etude, "-o", tmp_path / name)
        assert (tmp_path / name).read_text("utf-8") == same
    done(etude, "-o", tmp_path / "t.csv")
    assert b"\r\n" in (tmp_path / "t.csv").read_bytes()


def test_sections(etude: Path) -> None:
    text = done(etude, "--checks", "--ring", "--sources")
    for part in ("Checks: double stops", "Listen for the ring", "Where the bands come from"):
        assert part in text
        assert part not in done(etude)


def test_a4_and_measured_strings(etude: Path) -> None:
    assert notes(data(etude, "--a4", "442"))["G4"]["hz"] == pytest.approx(442 * 8 / 9)
    found = data(etude, "--strings-hz", "196.1, 293.9 440.5,661")
    assert notes(found)["G5"]["hz"] == pytest.approx(196.1 * 4)
    assert notes(found)["F#5"]["hz"] == pytest.approx(196.1 * 4 * 243 / 256)
    assert found["parts"][0]["a4_hz"] == 440.5
    assert found["parts"][0]["tuned"] == "measured"


def test_systems(etude: Path) -> None:
    assert notes(data(etude, "--system", "equal"))["F#4"]["cents"] == 0
    just = data(etude, "--system", "just", "--against", "D")
    assert notes(just)["F#4"]["hz"] == pytest.approx(366.666667)
    assert just["parts"][0]["against"] == "D4"
    pure = data(etude, "--system", "equal", "--strings", "pure")
    assert notes(pure)["G4"]["cents"] == -3.91


def test_leans(etude: Path) -> None:
    result = run(etude, "--lean", "70", "--json")
    assert notes(json.loads(result.stdout))["F#4"]["lean_cents"] == 70
    assert "leans 70 cents" in result.stderr
    assert run(etude, "--lean", "70", "-q").stderr == ""
    etude.with_suffix(".toml").write_text('[[lean]]\npitch = "F#"\ncents = 85\n', "utf-8")
    found = notes(data(etude, "--lean", "95"))
    assert [found[name]["lean_cents"] for name in ("F#4", "F#5", "C#5")] == [85, 85, 95]


def test_passages(etude: Path) -> None:
    lesson = '[[passage]]\nname = "run"\nmeasures = "1"\n'
    etude.with_suffix(".toml").write_text(lesson, "utf-8")
    assert [one["name"] for one in data(etude, "--passage", "run")["passages"]] == ["run"]
    result = run(etude, "--passage", "nowhere")
    assert result.exit_code == 1
    assert "no passage 'nowhere'" in result.stderr


@pytest.mark.parametrize(
    ("options", "code", "told"),
    [
        (["--system", "just"], 2, "--against"),
        (["--against", "D"], 2, "--system just"),
        (["--system", "meantone"], 2, "pythagorean"),
        (["--strings-hz", "a,b,c,d"], 2, "196.1,293.9,440.5,661"),
        (["--strings-hz", "196,294,440,660", "--strings", "pure"], 2, "not both"),
        (["--strings-hz", "196,294,440,660", "--a4", "442"], 2, "leave out"),
        (["--lean", "850"], 2, "180"),
        (["--chromatic-lean", "nan"], 2, "half step"),
        (["--json", "--format", "csv"], 2, "not several"),
        (["--json", "--csv"], 2, "not several"),
        (["--strings-hz", "196,294,440"], 1, "3 frequencies for 4 strings"),
        (["--strings-hz", "196,294,nan,660"], 1, "nan Hz"),
        (["--system", "just", "--against", "C"], 1, "no open C"),
        (["--system", "just", "--against", "H"], 1, "no note name"),
    ],
)
def test_what_does_not_fit_is_one_line(etude: Path, options: list, code: int, told: str) -> None:
    result = run(etude, "-q", *options)
    assert result.exit_code == code
    assert told in result.stderr
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    assert "fault of the program" not in result.stderr
