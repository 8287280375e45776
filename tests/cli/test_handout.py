"""``skeleton handout``: one etude and many, what is skipped, and how failures end."""

from __future__ import annotations

import io
import json
import os
import pty
import shutil
import subprocess
import sys
from pathlib import Path

import pypdf
import pytest
from typer.testing import CliRunner, Result

from skeleton.cli.app import app
from skeleton.cli.handout_batch import Wanted, _Job, _results
from skeleton.cli.handout_state import STATE_FILE
from skeleton.cli.options import Request

SCORE = (
    '<score-partwise version="4.0"><work><work-title>TITLE</work-title></work><part-list>'
    '<score-part id="P1"><part-name>Violin</part-name></score-part></part-list><part id="P1">'
    '<measure number="1"><attributes><divisions>1</divisions><time><beats>2</beats>'
    "<beat-type>4</beat-type></time></attributes>"
    "<note><pitch><step>F</step><alter>1</alter><octave>4</octave></pitch><duration>1</duration>"
    '<type>quarter</type><accidental>sharp</accidental><notations><slur type="start"/></notations>'
    "</note><note><pitch><step>G</step><octave>4</octave></pitch><duration>1</duration>"
    '<type>quarter</type><notations><slur type="stop"/></notations></note></measure></part>'
    "</score-partwise>"
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two etudes."""
    found = tmp_path / "scores"
    found.mkdir()
    for name in ("first", "second"):
        (found / f"{name}.musicxml").write_text(SCORE.replace("TITLE", name.title()))
    return found


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["handout", *map(str, arguments)])


def pages(path: Path) -> str:
    return " ".join(page.extract_text() for page in pypdf.PdfReader(path).pages)


def test_one_etude_into_the_file_that_was_named(folder: Path, tmp_path: Path) -> None:
    (folder / "first.toml").write_text('assignment = "By heart."\n')
    result = run(folder / "first.musicxml", "-o", tmp_path / "out.pdf")
    assert result.exit_code == 0, result.stderr
    assert "lesson file" in result.stderr
    assert result.stdout == ""
    assert "By heart." in pages(tmp_path / "out.pdf")
    assert not (tmp_path / STATE_FILE).exists()


def test_language_paper_and_score(folder: Path, tmp_path: Path) -> None:
    result = run(
        folder / "first.musicxml", "-o", tmp_path / "out.pdf", "--language", "de", "--paper",
        "letter", "--with-score", "--a4", "443",
    )  # fmt: skip
    assert result.exit_code == 0, result.stderr
    assert "443 Hz" in pages(tmp_path / "out.pdf")
    assert "Zuerst stimmen" in pages(tmp_path / "out.pdf")
    assert float(pypdf.PdfReader(tmp_path / "out.pdf").pages[0].mediabox.width) == 612
    assert "G−½" in (tmp_path / "out-annotated.musicxml").read_text(encoding="utf-8")


def test_a_pipe_gets_the_bytes(folder: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "skeleton", "handout", str(folder / "first.musicxml"), "-q"],
        capture_output=True, check=True, timeout=60,
    )  # fmt: skip
    assert pypdf.PdfReader(io.BytesIO(done.stdout)).pages
    assert done.stderr == b""


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["first.musicxml", "second.musicxml"], "--output-dir"),
        (["first.musicxml", "second.musicxml", "-o", "x.pdf"], "--output-dir"),
        (["."], "--output-dir"),
        (["first.musicxml", "-o", "x.pdf", "--output-dir", "out"], "not both"),
        (["first.musicxml", "-o", "x.png"], ".pdf"),
        (["first.musicxml", "--with-score"], "two files"),
        (["first.musicxml", "second.musicxml", "--output-dir", "o", "--lesson", "x"], "--lesson"),
        (["first.musicxml", "--output-dir", "o", "--a4", "1"], "--a4"),
        (["first.musicxml", "-o", "x.pdf", "--language", "xx"], "--language"),
        (["first.musicxml", "-o", "x.pdf", "--jobs", "0"], "--jobs"),
        (["empty", "--output-dir", "o"], "no MusicXML"),
        ([], "ETUDE"),
    ],
)
def test_wrong_usage_ends_with_2_and_writes_nothing(
    folder: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], said: str
) -> None:
    (folder / "empty").mkdir()
    monkeypatch.chdir(folder)
    before = sorted(path.name for path in folder.iterdir())
    result = run(*arguments)
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())
    assert sorted(path.name for path in folder.iterdir()) == before


def test_a_folder_of_etudes_and_what_is_unchanged(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "new" / "out"

    def again(*more: str) -> str:
        result = run(folder, "--output-dir", out, "--jobs", "1", *more)
        assert result.exit_code == 0, result.stderr
        return result.stderr.splitlines()[-1].partition(": ")[2].partition(": ")[2]

    assert again() == "2 handouts written, 0 unchanged, 0 failed"
    assert "First" in pages(out / "first.pdf")
    first = (out / "first.pdf").read_bytes()
    assert again() == "0 handouts written, 2 unchanged, 0 failed"
    assert again("--force") == "2 handouts written, 0 unchanged, 0 failed"
    assert (out / "first.pdf").read_bytes() == first
    # Score, lesson file, options, and the handouts themselves: whatever changes is made anew.
    (folder / "second.musicxml").write_text(SCORE.replace("TITLE", "Third"))
    assert again() == "1 handout written, 1 unchanged, 0 failed"
    (folder / "first.toml").write_text('title = "From the lesson"\n')
    assert again() == "1 handout written, 1 unchanged, 0 failed"
    assert "From the lesson" in pages(out / "first.pdf")
    assert again("--no-lesson") == "2 handouts written, 0 unchanged, 0 failed"
    assert again("--paper", "letter") == "2 handouts written, 0 unchanged, 0 failed"
    (out / "first.pdf").write_bytes(b"")
    assert again("--paper", "letter") == "1 handout written, 1 unchanged, 0 failed"
    (out / "second.pdf").unlink()
    assert again("--paper", "letter") == "1 handout written, 1 unchanged, 0 failed"
    assert again("--paper", "letter", "--with-score") == "2 handouts written, 0 unchanged, 0 failed"
    assert (out / "first-annotated.musicxml").exists()


@pytest.mark.parametrize(
    "state", ["", "[]", '{"format": 1, "handouts": 3}', '{"format": 9}', "\x00"]
)
def test_a_state_that_cannot_be_read_is_no_trouble(
    folder: Path, tmp_path: Path, state: str
) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / STATE_FILE).write_text(state)
    result = run(folder / "first.musicxml", "--output-dir", tmp_path / "out")
    assert result.exit_code == 0, result.stderr
    assert json.loads((tmp_path / "out" / STATE_FILE).read_text())["handouts"].keys() == {
        "first.pdf"
    }


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_one_that_fails_does_not_stop_the_rest(folder: Path, tmp_path: Path, jobs: str) -> None:
    (folder / "broken.musicxml").write_text("<score-partwise>")
    (folder / "lesson.musicxml").write_text(SCORE)
    (folder / "lesson.toml").write_text("rulle = 3\n")
    out = tmp_path / "out"
    result = run(folder, folder / "missing.musicxml", "--output-dir", out, "--jobs", jobs)
    assert result.exit_code == 1
    lines = result.stderr.splitlines()
    assert next(line for line in lines if "broken.musicxml" in line).startswith("skeleton: ")
    assert any("lesson.toml" in line and "did you mean 'rule'" in line for line in lines)
    assert any("missing.musicxml" in line for line in lines)
    assert lines[-1].endswith("2 handouts written, 0 unchanged, 3 failed")
    assert {path.name for path in out.iterdir()} == {"first.pdf", "second.pdf", STATE_FILE}
    # What failed is tried again, what went well is not.
    again = run(folder, "--output-dir", out, "--jobs", jobs)
    assert again.exit_code == 1
    assert again.stderr.splitlines()[-1].endswith("0 handouts written, 2 unchanged, 2 failed")


def test_a_handout_that_failed_leaves_the_old_one(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    run(folder, "--output-dir", out)
    old = (out / "first.pdf").read_bytes()
    (folder / "first.musicxml").write_text("no music")
    assert run(folder, "--output-dir", out).exit_code == 1
    assert (out / "first.pdf").read_bytes() == old


def test_two_etudes_of_one_name_do_not_overwrite_each_other(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    shutil.copy(folder / "first.musicxml", other / "FIRST.xml")
    result = run(folder / "first.musicxml", other, "--output-dir", tmp_path / "out")
    assert result.exit_code == 1
    assert "would overwrite that of" in result.stderr
    assert result.stderr.splitlines()[-1].endswith("1 handout written, 0 unchanged, 1 failed")


def test_an_output_folder_that_cannot_be_made_is_said(folder: Path) -> None:
    result = run(folder, "--output-dir", folder / "first.musicxml")
    assert result.exit_code == 1
    assert "cannot be made" in result.stderr


def test_the_score_is_never_overwritten(folder: Path) -> None:
    etude = folder / "first.pdf"
    shutil.copy(folder / "first.musicxml", etude)
    assert run(etude, "-o", etude).exit_code == 1
    assert run(etude, "--output-dir", folder).exit_code == 1
    assert etude.read_text() == SCORE.replace("TITLE", "First")


def test_quiet_says_nothing_where_all_goes_well(folder: Path, tmp_path: Path) -> None:
    result = run(folder, "--output-dir", tmp_path / "out", "-q")
    assert (result.exit_code, result.stderr, result.stdout) == (0, "", "")


def test_a_process_that_dies_takes_only_its_own_etude_along(folder: Path, tmp_path: Path) -> None:
    # An etude whose reading ends the process: a number is no file name, and stands for that.
    wanted = Wanted("a4", "en", False)
    jobs = [
        _Job(
            Request(folder / f"{name}.musicxml", quiet=True), wanted, tmp_path / f"{name}.pdf", "x"
        )
        for name in ("first", "second")
    ]
    deadly = _Job(_Deadly(), wanted, tmp_path / "dead.pdf", "x")  # type: ignore[arg-type]
    ends = {job.pdf.name: done.error for job, done in _results([deadly, *jobs], 2)}
    assert ends["first.pdf"] is None
    assert ends["second.pdf"] is None
    assert "ended without an answer" in str(ends["dead.pdf"])


class _Deadly:
    """A request that ends the process which reads it."""

    etude = Path("dead.musicxml")

    def __reduce__(self):
        return _die, (os.getpid(),)


def _die(parent: int):
    if os.getpid() == parent:
        return _Deadly()
    os._exit(3)


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are of Unix")
def test_a_terminal_sees_how_far_it_is(folder: Path, tmp_path: Path) -> None:
    leader, follower = pty.openpty()
    done = subprocess.Popen(
        [
            sys.executable, "-m", "skeleton", "handout", str(folder), "--output-dir",
            str(tmp_path / "out"), "--jobs", "1",
        ],
        stderr=follower, stdout=follower, stdin=follower, env={**os.environ, "TERM": "xterm"},
    )  # fmt: skip
    os.close(follower)
    said = b""
    while True:
        try:
            more = os.read(leader, 4096)
        except OSError:
            break
        if not more:
            break
        said += more
    os.close(leader)
    assert done.wait(30) == 0
    assert b"2/2" in said
    assert b"2 handouts written" in said
