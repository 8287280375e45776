"""The commands as a user runs them: what they write where, and how they end."""

from __future__ import annotations

import csv
import inspect
import io
import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import get_args

import pytest
from typer.testing import CliRunner, Result

from skeleton.analysis.results import Rule
from skeleton.cli.app import COMMANDS, app
from skeleton.cli.options import RULES

PITCHES = (("F", 1, 4), ("G", 0, 4), ("C", 1, 5), ("D", 0, 5), ("F", 1, 5), ("G", 0, 5))
"""Eighths in 3/4, slurred in pairs: each the half step below the next."""


def note(step: str, alter: int, octave: int, slur: str) -> str:
    sign = "<accidental>sharp</accidental>" if alter else ""
    return (
        f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>"
        f"<duration>1</duration><voice>1</voice><type>eighth</type>{sign}"
        f'<notations><slur type="{slur}"/></notations></note>'
    )


def score_text(*, name: str = "Violin", title: str = "Étude", measures: int = 2) -> str:
    music = "".join(
        note(*pitch, "stop" if place % 2 else "start") for place, pitch in enumerate(PITCHES)
    )
    attributes = (
        "<attributes><divisions>2</divisions><time><beats>3</beats><beat-type>4</beat-type>"
        "</time></attributes>"
    )
    held = "".join(
        f'<measure number="{number}">{attributes if number == 1 else ""}{music}</measure>'
        for number in range(1, measures + 1)
    )
    return (
        f'<score-partwise version="4.0"><work><work-title>{title}</work-title></work><part-list>'
        f'<score-part id="P1"><part-name>{name}</part-name></score-part></part-list>'
        f'<part id="P1">{held}</part></score-partwise>'
    )


@pytest.fixture
def etude(tmp_path: Path) -> Path:
    path = tmp_path / "etude.musicxml"
    path.write_text(score_text(), encoding="utf-8")
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def done(*arguments: object) -> str:
    result = run(*arguments)
    assert result.exit_code == 0, result.stderr
    return result.stdout


def program(*arguments: object, **settings: object) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "skeleton", *map(str, arguments)],
        capture_output=True,
        check=False,
        timeout=60,
        **settings,
    )


# --- the program itself


def test_version_and_no_arguments() -> None:
    assert done("--version").startswith("skeleton")
    assert "Usage" in run().output


ON_AN_ETUDE = [
    command.__name__ for command in COMMANDS if "etude" in inspect.signature(command).parameters
]


def test_every_command_is_listed() -> None:
    assert {"outline", "checklist"} <= set(ON_AN_ETUDE)
    listed = done("--help")
    for command in COMMANDS:
        assert f"\n  {command.__name__} " in listed


@pytest.mark.parametrize("command", ON_AN_ETUDE)
def test_help_names_every_shared_option(command: str) -> None:
    text = done(command, "--help")
    for option in (
        "ETUDE", "--lesson", "--no-lesson", "--rule", "--instrument", "--part", "--key",
        "--key-signs", "--no-key-signs", "--a4", "--output", "-o", "--quiet", "-q",
    ):  # fmt: skip
        assert option in text
    for rule in get_args(Rule):
        assert rule in text


def test_the_rules_offered_are_those_of_the_analysis() -> None:
    assert get_args(Rule) == RULES


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom skeleton.cli.app import app\n"
        "try: app(['outline', '--help'], prog_name='skeleton')\n"
        "except SystemExit as ending: assert ending.code == 0\n"
        "heavy = {'lxml', 'rich', 'verovio', 'music21', 'numpy', 'skeleton.score.reading'}\n"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=False, timeout=60
    )
    assert (ended.returncode, ended.stderr) == (0, b"")


# --- outline


def test_outline_reports_for_a_person(etude: Path) -> None:
    text = done("outline", etude)
    assert text.startswith("Étude\nAs slurred in etude.musicxml, read for violin (G3 D4 A4 E5)")
    assert "half step below G4" in text
    assert "K      F#    4 and 5  4      G, half step below (4)" in text


def test_outline_json_on_standard_output_and_notes_beside_it(etude: Path) -> None:
    result = run("outline", etude, "--json")
    found = json.loads(result.stdout)
    assert found["format"] == 1
    assert [note["pitch"] for note in found["accidentals"]] == ["F#4", "C#5", "F#5"] * 2
    assert [note["anchor"]["pitch"] for note in found["accidentals"]] == ["G4", "D5", "G5"] * 2
    assert all(note["interval"] == "m2" for note in found["accidentals"])
    assert [group["label"] for group in found["matches"]] == ["K", "L"]
    warnings = found["score"]["warnings"]
    assert all(line.startswith("note: ") for line in result.stderr.splitlines())
    assert bool(result.stderr) is bool(warnings)
    assert run("outline", etude, "--json", "--quiet").stderr == ""


def test_output_goes_to_a_file_and_its_ending_chooses_json(etude: Path, tmp_path: Path) -> None:
    assert done("outline", etude, "--output", tmp_path / "o.json") == ""
    written = (tmp_path / "o.json").read_bytes()
    assert written.decode("utf-8") == done("outline", etude, "--json")
    done("outline", etude, "-o", tmp_path / "o.txt")
    assert (tmp_path / "o.txt").read_text("utf-8") == done("outline", etude)
    assert done("outline", etude, "-o", "-") == done("outline", etude)


def outline(*arguments: object) -> dict:
    return json.loads(done("outline", *arguments, "--json"))


def test_options_decide(etude: Path) -> None:
    assert outline(etude, "--rule", "first")["rule"] == "first"
    assert outline(etude, "--rule", "ON-BEAT")["rule"] == "on-beat"
    assert outline(etude, "--instrument", "Bratsche")["instrument"]["name"] == "viola"
    tuned = outline(etude, "--instrument", "A3 E4 A4 E5")["instrument"]["open_strings"]
    assert tuned == ["A3", "E4", "A4", "E5"]
    assert outline(etude, "--a4", "442")["instrument"]["a4_hz"] == 442.0
    sharps = outline(etude, "--key", "D major")
    assert sharps["accidentals"] == []
    assert len(outline(etude, "--key", "2", "--key-signs")["accidentals"]) == 6
    # One flat: the B does not occur, the sharps stay accidentals; and a minus is no option.
    assert len(outline(etude, "--key", "-1")["accidentals"]) == 6
    assert outline(etude, "--part", "Violin") == outline(etude, "--part", "P1")


def test_a_lesson_beside_the_etude_is_taken_and_told(etude: Path) -> None:
    etude.with_suffix(".toml").write_text('rule = "first"\ninstrument = "viola"\n', "utf-8")
    result = run("outline", etude, "--json")
    assert json.loads(result.stdout)["rule"] == "first"
    assert "etude.toml taken" in result.stderr
    assert run("outline", etude, "--json", "-q").stderr == ""
    assert outline(etude, "--no-lesson")["rule"] == "second"
    over = outline(etude, "--rule", "last", "--instrument", "violin")
    assert (over["rule"], over["instrument"]["name"]) == ("last", "violin")


def test_a_lesson_by_name(etude: Path, tmp_path: Path) -> None:
    lesson = tmp_path / "thursday.toml"
    lesson.write_text('[[passage]]\nname = "run"\nmeasures = "1-2"\n', "utf-8")
    assert [p["name"] for p in outline(etude, "--lesson", lesson)["passages"]] == ["run"]


def test_open_strings_of_the_lesson_give_way_to_the_option(etude: Path) -> None:
    etude.with_suffix(".toml").write_text('open_strings = ["A3", "E4", "A4", "E5"]\n', "utf-8")
    assert outline(etude, "--instrument", "cello")["instrument"]["name"] == "cello"


# --- checklist


def test_checklist_forms(etude: Path, tmp_path: Path) -> None:
    text = done("checklist", etude)
    assert "[ ] F#4, half step below G4: measure 1 beat 1; measure 2 beat 1 (K)" in text
    markdown = done("checklist", etude, "--format", "md")
    assert "- [ ] F♯4, half step below G4" in markdown
    table = list(csv.DictReader(io.StringIO(done("checklist", etude, "-f", "csv"))))
    assert [row["note"] for row in table if row["kind"] == "accidental"] == ["F#4", "C#5", "F#5"]
    data = json.loads(done("checklist", etude, "--json"))
    assert data["format"] == 1
    for ending, same in (("md", markdown), ("txt", text)):
        done("checklist", etude, "-o", tmp_path / f"list.{ending}")
        assert (tmp_path / f"list.{ending}").read_text("utf-8") == same
    done("checklist", etude, "-o", tmp_path / "list.csv")
    assert b"\r\n" in (tmp_path / "list.csv").read_bytes()
    done("checklist", etude, "-o", tmp_path / "list.json")
    assert json.loads((tmp_path / "list.json").read_text("utf-8")) == data


def test_checklist_of_one_passage(etude: Path) -> None:
    names = [p["name"] for p in outline(etude)["passages"]]
    data = json.loads(done("checklist", etude, "--json", "--passage", names[0]))
    assert [p["name"] for p in data["passages"]] == names[:1]
    result = run("checklist", etude, "--passage", "nowhere")
    assert result.exit_code == 1
    assert "no passage 'nowhere'" in result.stderr


# --- what goes wrong


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--rule", "third"], "rules are second, first, last, pairs, on-beat"),
        (["--instrument", "kazoo"], "violin, viola, cello, double bass"),
        (["--instrument", "G3 D4 G3"], "G3"),
        (["--key", "H major"], "D major"),
        (["--key", "9"], "fifths"),
        (["--a4", "nan"], "380"),
        (["--a4", "4400"], "480"),
        (["--a4", "high"], "--a4"),
        (["--frobnicate"], "--frobnicate"),
        (["--lesson", "x.toml", "--no-lesson"], "not both"),
        (["another.musicxml"], "another.musicxml"),
    ],
)
@pytest.mark.parametrize("command", ["outline", "checklist"])
def test_wrong_options_are_usage(etude: Path, command: str, arguments: list, told: str) -> None:
    result = run(command, etude, *arguments)
    assert result.exit_code == 2
    assert told in result.stderr
    assert result.stdout == ""
    assert "Traceback" not in result.stderr


def test_a_missing_etude_or_unknown_command_is_usage() -> None:
    assert run("outline").exit_code == 2
    assert run("outlin").exit_code == 2
    assert run("checklist", "x.xml", "--format", "pdf").exit_code == 2


def faulty(result: Result) -> str:
    """Return the one line that says why the input is at fault."""
    assert result.exit_code == 1
    assert result.stdout == ""
    lines = [line for line in result.stderr.splitlines() if not line.startswith("note: ")]
    assert len(lines) == 1
    assert lines[0].startswith("skeleton: ")
    assert "fault of the program" not in lines[0]
    return lines[0]


def zipped(**members: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, text in members.items():
            archive.writestr(name, text)
    return out.getvalue()


BAD_SCORES = {
    "empty": b"",
    "text": b"dear teacher, the etude is attached",
    "binary": bytes(range(256)),
    "truncated": score_text().encode()[:400],
    "html": b"<html><body>404</body></html>",
    "other-root": b"<opus/>",
    "zip-without-score": zipped(readme="hello"),
    "entities": b'<!DOCTYPE a [<!ENTITY b "c">]><score-partwise>&b;</score-partwise>',
}


@pytest.mark.parametrize("kind", BAD_SCORES)
@pytest.mark.parametrize("command", ["outline", "checklist"])
def test_an_unreadable_score_is_one_line(tmp_path: Path, command: str, kind: str) -> None:
    path = tmp_path / "bad.musicxml"
    path.write_bytes(BAD_SCORES[kind])
    assert "bad.musicxml" in faulty(run(command, path))


def test_a_missing_file_and_a_folder_are_one_line(tmp_path: Path) -> None:
    assert "gone.musicxml" in faulty(run("outline", tmp_path / "gone.musicxml"))
    assert tmp_path.name in faulty(run("outline", tmp_path))


def test_a_part_or_lesson_that_does_not_fit(etude: Path, tmp_path: Path) -> None:
    assert "Tuba" in faulty(run("outline", etude, "--part", "Tuba"))
    assert "gone.toml" in faulty(run("outline", etude, "--lesson", tmp_path / "gone.toml"))
    etude.with_suffix(".toml").write_text('rul = "first"\n', "utf-8")
    line = faulty(run("outline", etude))
    assert "etude.toml" in line
    assert "rule" in line


def test_places_that_cannot_be_written(etude: Path, tmp_path: Path) -> None:
    # A folder without permission stops no administrator; a file for a folder stops everyone.
    assert "not a folder" in faulty(run("outline", etude, "-o", etude / "x.json"))
    assert "folder does not exist" in faulty(run("checklist", etude, "-o", tmp_path / "no" / "x"))


def test_the_etude_and_its_lesson_are_not_overwritten(etude: Path) -> None:
    before = etude.read_bytes()
    lesson = etude.with_suffix(".toml")
    lesson.write_text('rule = "first"\n', "utf-8")
    assert "will not be overwritten" in faulty(run("outline", etude, "-o", etude))
    assert "will not be overwritten" in faulty(run("outline", etude, "-o", lesson))
    assert etude.read_bytes() == before


def test_a_failed_run_leaves_the_old_output(etude: Path, tmp_path: Path) -> None:
    old = tmp_path / "old.json"
    old.write_text("old", "utf-8")
    faulty(run("outline", etude, "--part", "Tuba", "-o", old))
    assert old.read_text("utf-8") == "old"


# --- as a process of its own


def test_a_pipe_gets_utf8_without_colours_whatever_the_locale(etude: Path) -> None:
    settings = os.environ | {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    settings |= {"FORCE_COLOR": "1", "COLUMNS": "20"}
    for command in ("outline", "checklist"):
        ended = program(command, etude, env=settings)
        assert ended.returncode == 0, ended.stderr
        assert b"\x1b" not in ended.stdout + ended.stderr
        text = ended.stdout.decode("utf-8")
        assert "Étude" in text
        assert "half step below G4" in text
        assert not set(text) & set("─│┃━┏╭…")


def test_errors_of_a_process(tmp_path: Path) -> None:
    ended = program("outline", tmp_path / "gone.musicxml")
    assert ended.returncode == 1
    assert ended.stdout == b""
    assert ended.stderr.startswith(b"skeleton: ")
    assert ended.stderr.count(b"\n") == 1
    assert program("outline", "--rule", "third", "x.xml").returncode == 2


@pytest.mark.skipif(sys.platform == "win32", reason="pipes as on POSIX")
@pytest.mark.parametrize("arguments", [["outline"], ["outline", "--json"], ["checklist"]])
def test_a_reader_that_has_left_is_no_error(etude: Path, arguments: list[str]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    try:
        ended = subprocess.run(
            [sys.executable, "-m", "skeleton", *arguments, "-q", str(etude)],
            stdout=writing,
            stderr=subprocess.PIPE,
            check=False,
            timeout=60,
        )
    finally:
        os.close(writing)
    assert (ended.returncode, ended.stderr) == (0, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_behind_standard_output_is_one_line(etude: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        ended = subprocess.run(
            [sys.executable, "-m", "skeleton", "outline", "-q", str(etude)],
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
            timeout=60,
        )
    assert ended.returncode == 1
    assert ended.stderr.startswith(b"skeleton: standard output: cannot be written")
    assert ended.stderr.count(b"\n") == 1


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX terminal")
def test_a_terminal_gets_signs_and_a_table(etude: Path) -> None:
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "skeleton", "outline", str(etude)],
        stdout=theirs,
        stderr=subprocess.DEVNULL,
        env=os.environ | {"COLUMNS": "140", "TERM": "xterm", "PYTHONUTF8": "1"},
    ) as process:
        os.close(theirs)
        seen = b""
        while True:
            try:
                more = os.read(ours, 65536)
            except OSError:
                break
            if not more:
                break
            seen += more
        assert process.wait(60) == 0
    os.close(ours)
    text = seen.decode("utf-8")
    assert "F♯4" in text
    assert "half step below G4" in text
    assert "\x1b[1" in text
