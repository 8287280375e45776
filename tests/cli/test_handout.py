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
from skeleton.cli.handout_batch import _AHEAD, _cores, _results, _size, _work
from skeleton.cli.handout_job import Done, Job, Wanted
from skeleton.cli.handout_state import STATE_FILE
from skeleton.cli.options import Request
from skeleton.errors import EngravingError
from skeleton.export.engraving.engraver import Engraver

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
        (["first.musicxml", "-o", "x.html", "--as", "html"], "--as"),
        (["first.musicxml", "--output-dir", "o", "--as", "docx"], "--as"),
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


def job_of(folder: Path, name: str, out: Path, form: str = "pdf") -> Job:
    request = Request(folder / f"{name}.musicxml", quiet=True)
    return Job(request, Wanted(form), out / f"{name}.{form}", "x")  # type: ignore[arg-type]


def test_a_process_that_dies_takes_only_its_own_etude_along(folder: Path, tmp_path: Path) -> None:
    # An etude whose reading ends the process: a number is no file name, and stands for that.
    # More of the others than are given out at once, so that some wait when the process dies.
    names = [f"more{number}" for number in range(2 * _AHEAD)]
    for name in names:
        shutil.copy(folder / "first.musicxml", folder / f"{name}.musicxml")
    jobs = [job_of(folder, name, tmp_path) for name in ("first", "second", *names)]
    deadly = Job(_Deadly(), Wanted(), tmp_path / "dead.pdf", "x")  # type: ignore[arg-type]
    ends = {job.output.name: done.error for job, done in _results([deadly, *jobs], 2, [])}
    assert len(ends) == len(jobs) + 1
    assert "ended without an answer" in str(ends.pop("dead.pdf"))
    assert set(ends.values()) == {None}


def test_etudes_share_an_engraver_and_outlive_its_failing(folder: Path, tmp_path: Path) -> None:
    class Failing(Engraver):
        calls = 0

        def engrave(self, *given, **named):
            Failing.calls += 1
            if Failing.calls == 2:
                raise EngravingError("the engraver crashed")
            return super().engrave(*given, **named)

    with Failing() as engraver:
        ends = [
            _work(job_of(folder, name, tmp_path), engraver) for name in ("first", "second", "first")
        ]
    assert [done.error for done in ends] == ["the engraver crashed", None, None]
    assert (tmp_path / "second.pdf").is_file()


def test_what_is_finished_after_all_was_called_off_is_told(folder: Path, tmp_path: Path) -> None:
    names = [f"more{number}" for number in range(8)]
    for name in names:
        shutil.copy(folder / "first.musicxml", folder / f"{name}.musicxml")
    late: list[tuple[Job, Done]] = []
    results = _results([job_of(folder, name, tmp_path) for name in names], 2, late)
    ended = [next(results)]
    results.close()
    assert {job.output.name for job, _ in [*ended, *late]} == {
        path.name for path in tmp_path.glob("*.pdf")
    }
    assert len(late) < len(names) - 1


def test_one_process_and_two_make_the_same(folder: Path, tmp_path: Path) -> None:
    for jobs in ("1", "2"):
        assert run(folder, "--output-dir", tmp_path / jobs, "--jobs", jobs).exit_code == 0
    for name in ("first.pdf", "second.pdf"):
        assert (tmp_path / "1" / name).read_bytes() == (tmp_path / "2" / name).read_bytes()


@pytest.mark.skipif(sys.platform != "linux", reason="cores are chosen on Linux")
def test_a_core_for_each_process_only_where_there_is_just_one_for_each() -> None:
    usable = sorted(os.sched_getaffinity(0))
    assert _cores(len(usable)) == usable
    assert _cores(len(usable) + 1) == [None] * (len(usable) + 1)


def test_the_largest_are_begun_first(folder: Path, tmp_path: Path) -> None:
    (folder / "second.musicxml").write_text(SCORE + "<!-- longer -->")
    short, long = job_of(folder, "first", tmp_path), job_of(folder, "second", tmp_path)
    page = job_of(folder, "first", tmp_path, "html")
    missing = job_of(folder, "missing", tmp_path)
    assert sorted([missing, short, page, long], key=_size) == [missing, short, long, page]


def test_pages_of_a_folder_each_with_its_own_state(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"

    def again(*more: str) -> str:
        result = run(folder, "--output-dir", out, "--jobs", "1", "--no-sounds", *more)
        assert result.exit_code == 0, result.stderr
        return result.stderr.splitlines()[-1].partition(": ")[2].partition(": ")[2]

    assert again("--as", "html") == "2 handouts written, 0 unchanged, 0 failed"
    assert {path.name for path in out.iterdir()} == {"first.html", "second.html", STATE_FILE}
    page = (out / "first.html").read_text(encoding="utf-8")
    assert "<audio" not in page
    assert "First" in page
    both = ("--as", "html", "--as", "PDF")
    assert again(*both) == "2 handouts written, 2 unchanged, 0 failed"
    assert pages(out / "first.pdf")
    # What counts for one form only leaves the other as it is.
    assert again(*both, "--paper", "letter") == "2 handouts written, 2 unchanged, 0 failed"
    assert again(*both, "--paper", "letter", "--embed-up-to", "1") == (
        "2 handouts written, 2 unchanged, 0 failed"
    )
    # A changed etude changes both.
    (folder / "second.musicxml").write_text(SCORE.replace("TITLE", "Third"))
    assert again(*both, "--embed-up-to", "1") == "3 handouts written, 1 unchanged, 0 failed"
    assert "Third" in (out / "second.html").read_text(encoding="utf-8")


def test_pages_bring_their_sounds_and_one_marked_score(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    asked = (
        folder / "first.musicxml", "--output-dir", out, "--as", "pdf", "--as", "html",
        "--embed-up-to", "0", "--with-score",
    )  # fmt: skip
    result = run(*asked)
    assert result.exit_code == 0, result.stderr
    assert "first.html: 4 sound files beside it" in result.stderr
    assert {path.name for path in out.iterdir()} == {
        "first.pdf", "first.html", "first-annotated.musicxml", "first-drone-1.flac",
        "first-1-bare.mp3", "first-1-neighbours.mp3", "first-1-all.mp3", STATE_FILE,
    }  # fmt: skip
    state = json.loads((out / STATE_FILE).read_text())["handouts"]
    assert "first-annotated.musicxml" in state["first.pdf"]["files"]
    assert "first-1-all.mp3" in state["first.html"]["files"]
    # A sound that is lost makes its page anew, and nothing else.
    (out / "first-1-all.mp3").unlink()
    again = run(*asked)
    assert again.stderr.splitlines()[-1].endswith("1 handout written, 1 unchanged, 0 failed")
    assert (out / "first-1-all.mp3").is_file()


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
