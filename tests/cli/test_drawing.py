"""``skeleton reduce`` and ``skeleton annotate``: which file comes out, and how they fail."""

from __future__ import annotations

import struct
import sys
from pathlib import Path

import pytest
from lxml import etree
from typer.testing import CliRunner, Result

from skeleton.cli.app import app
from skeleton.export.engraving import engraver

SCORES = Path(__file__).parents[2] / "scores"
COMMANDS = ("reduce", "annotate")
INCHES_PER_MM = 1 / 25.4


def note(step: str, alter: int, octave: int, slur: str) -> str:
    return (
        f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>"
        "<duration>1</duration><voice>1</voice><type>eighth</type>"
        f'<notations><slur type="{slur}"/></notations></note>'
    )


def score_text(measures: int = 2) -> str:
    music = note("F", 1, 4, "start") + note("G", 0, 4, "stop") + note("C", 1, 5, "start")
    music += note("D", 0, 5, "stop")
    attributes = (
        "<attributes><divisions>2</divisions><time><beats>2</beats><beat-type>4</beat-type>"
        "</time></attributes>"
    )
    held = "".join(
        f'<measure number="{number}">{attributes if number == 1 else ""}{music}</measure>'
        for number in range(1, measures + 1)
    )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin'
        f'</part-name></score-part></part-list><part id="P1">{held}</part></score-partwise>'
    )


@pytest.fixture
def etude(tmp_path: Path) -> Path:
    path = tmp_path / "etude.musicxml"
    path.write_text(score_text(), encoding="utf-8")
    return path


@pytest.fixture
def long_etude(tmp_path: Path) -> Path:
    path = tmp_path / "long.musicxml"
    path.write_text(score_text(120), encoding="utf-8")
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def svg(data: bytes | str) -> etree._Element:
    root = etree.fromstring(data.encode() if isinstance(data, str) else data)
    assert etree.QName(root).localname == "svg"
    return root


def png_size(path: Path) -> tuple[int, int]:
    data = path.read_bytes()
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    width, height = struct.unpack(">II", data[16:24])
    return width, height


def files(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("name", ["out.svg", "out.SVG", "out.png", "out.musicxml", "out.xml"])
def test_the_ending_names_the_format(etude: Path, tmp_path: Path, command: str, name: str) -> None:
    result = run(command, etude, "-o", tmp_path / name)
    assert result.exit_code == 0, result.stderr
    assert result.stdout == ""
    data = (tmp_path / name).read_bytes()
    if name.lower().endswith("svg"):
        svg(data)
    elif name.endswith("png"):
        assert min(png_size(tmp_path / name)) > 100
    else:
        assert etree.fromstring(data).tag == "score-partwise"
    assert files(tmp_path) == {"etude.musicxml", name}


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("name", ["out.gif", "out", "out.svg.txt", "out.mxl"])
def test_an_unknown_ending_is_refused_before_anything_is_read(
    etude: Path, tmp_path: Path, command: str, name: str
) -> None:
    etude.write_text("not read")
    result = run(command, etude, "-o", tmp_path / name)
    assert result.exit_code == 2
    for suffix in (".svg", ".png", ".musicxml", ".xml"):
        assert suffix in result.stderr
    assert files(tmp_path) == {"etude.musicxml"}


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("where", [(), ("-o", "-")])
def test_without_a_file_one_picture_goes_to_standard_output(
    long_etude: Path, tmp_path: Path, command: str, where: tuple[str, ...]
) -> None:
    result = run(command, long_etude, *where)
    assert result.exit_code == 0, result.stderr
    svg(result.stdout)
    assert files(tmp_path) == {"long.musicxml"}


@pytest.mark.parametrize("suffix", ["svg", "png"])
def test_several_pages_are_numbered_and_said(long_etude: Path, tmp_path: Path, suffix: str) -> None:
    result = run("annotate", long_etude, "-o", tmp_path / f"out.{suffix}")
    assert result.exit_code == 0, result.stderr
    pages = files(tmp_path) - {"long.musicxml"}
    assert len(pages) >= 2
    assert pages == {f"out-{number}.{suffix}" for number in range(1, len(pages) + 1)}
    assert f"note: {len(pages)} pages: out-1.{suffix}, out-2.{suffix}" in result.stderr


@pytest.mark.parametrize("quiet", [(), ("-q",)])
def test_pages_left_by_a_longer_print_are_named_and_kept(
    long_etude: Path, tmp_path: Path, quiet: tuple[str, ...]
) -> None:
    """A student would print them with the new ones."""
    old = ("out-7.svg", "out-12.svg", "out.svg")
    others = ("out-07.svg", "out-7.png", "about-7.svg", "out-7b.svg", "out-0.svg")
    for name in (*old, *others):
        (tmp_path / name).write_text(f"mine: {name}")
    result = run("annotate", long_etude, "-o", tmp_path / "out.svg", *quiet)
    assert result.exit_code == 0
    (line,) = [line for line in result.stderr.splitlines() if "warning" in line]
    assert line.startswith("warning: out.svg, out-7.svg, out-12.svg: ")
    for name in (*old, *others):
        assert (tmp_path / name).read_text() == f"mine: {name}"


def test_a_print_of_one_page_names_the_pages_it_does_not_replace(
    etude: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "out-1.svg").write_text("old")
    monkeypatch.chdir(tmp_path)
    for name in ("out.svg", tmp_path / "out.svg"):
        result = run("reduce", etude, "-o", name)
        assert result.exit_code == 0
        assert "warning: out-1.svg: " in result.stderr


def test_the_same_print_again_names_no_old_pages(long_etude: Path, tmp_path: Path) -> None:
    for _ in range(2):
        result = run("annotate", long_etude, "-o", tmp_path / "out.svg")
        assert "warning" not in result.stderr


def test_single_makes_one_tall_picture(long_etude: Path, tmp_path: Path) -> None:
    assert run("annotate", long_etude, "-o", tmp_path / "out.svg", "--single").exit_code == 0
    assert files(tmp_path) == {"long.musicxml", "out.svg"}
    root = svg((tmp_path / "out.svg").read_bytes())
    assert float(root.get("height").removesuffix("mm")) > 300


def test_dots_per_inch(etude: Path, tmp_path: Path) -> None:
    sizes = {}
    for dpi in (50, 200):
        path = tmp_path / f"{dpi}.png"
        assert run("reduce", etude, "-o", path, "--dpi", dpi).exit_code == 0
        sizes[dpi] = png_size(path)
    assert sizes[200][0] == pytest.approx(4 * sizes[50][0], abs=4)
    assert sizes[200][0] == pytest.approx(190 * INCHES_PER_MM * 200, abs=2)


@pytest.mark.parametrize("dpi", ["0", "19", "5000", "many"])
def test_dots_beyond_reason_are_refused(etude: Path, tmp_path: Path, dpi: str) -> None:
    assert run("reduce", etude, "-o", tmp_path / "out.png", "--dpi", dpi).exit_code == 2
    assert files(tmp_path) == {"etude.musicxml"}


def test_stages_differ(etude: Path, tmp_path: Path) -> None:
    heads = {}
    for stage in ("bare", "neighbours", "all"):
        path = tmp_path / f"{stage}.svg"
        assert run("reduce", etude, "--stage", stage, "-o", path).exit_code == 0
        heads[stage] = path.read_text(encoding="utf-8").count('class="note"')
    assert heads == {"bare": 4, "neighbours": 8, "all": 8}


def test_an_unknown_stage_is_refused(etude: Path) -> None:
    result = run("reduce", etude, "--stage", "some")
    assert result.exit_code == 2
    assert "bare" in result.stderr


def test_open_strings_are_kept_on_request(tmp_path: Path) -> None:
    path = tmp_path / "etude.musicxml"
    lone = note("A", 0, 4, "start").replace('<notations><slur type="start"/></notations>', "")
    path.write_text(score_text().replace("</measure>", lone + "</measure>", 1), encoding="utf-8")
    counts = []
    for more in ((), ("--open-strings",)):
        out = tmp_path / "out.musicxml"
        assert run("reduce", path, "-o", out, *more).exit_code == 0
        counts.append(len(etree.parse(out).findall(".//pitch")))
    assert counts[1] == counts[0] + 1


def test_words(etude: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.musicxml"
    assert run("annotate", etude, "-o", out, "--words").exit_code == 0
    assert "half step below G4" in out.read_text(encoding="utf-8")


def test_the_annotated_file_is_the_source_and_more(etude: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.musicxml"
    assert run("annotate", etude, "-o", out).exit_code == 0
    marked = out.read_text(encoding="utf-8")
    assert len(marked) > len(score_text())
    place = 0
    for letter in score_text():
        place = marked.index(letter, place) + 1


def test_quiet_says_nothing(long_etude: Path, tmp_path: Path) -> None:
    result = run("annotate", long_etude, "-o", tmp_path / "out.svg", "-q")
    assert (result.exit_code, result.stderr, result.stdout) == (0, "", "")


@pytest.mark.parametrize("command", COMMANDS)
def test_the_etude_is_never_written_over(etude: Path, command: str) -> None:
    before = etude.read_bytes()
    assert run(command, etude, "-o", etude).exit_code != 0
    assert etude.read_bytes() == before


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize(
    "program",
    [
        "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)",
        "import sys; sys.exit(3)",
        "input(); print('{}')",
    ],
)
def test_when_the_engraver_dies_nothing_is_written(
    etude: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str, program: str
) -> None:
    monkeypatch.setattr(engraver, "_worker_command", lambda: (sys.executable, "-c", program))
    (tmp_path / "out.svg").write_text("of last week")
    result = run(command, etude, "-o", tmp_path / "out.svg")
    assert result.exit_code == 1
    said = "makes no sense" if "print" in program else "crashed"
    assert said in result.stderr
    assert "Traceback" not in result.stderr
    assert (tmp_path / "out.svg").read_text() == "of last week"
    assert files(tmp_path) == {"etude.musicxml", "out.svg"}


@pytest.mark.parametrize("command", COMMANDS)
def test_a_folder_that_is_not_there(etude: Path, tmp_path: Path, command: str) -> None:
    result = run(command, etude, "-q", "-o", tmp_path / "nowhere" / "out.svg")
    assert result.exit_code != 0
    assert result.stderr.count("\n") == 1
    assert files(tmp_path) == {"etude.musicxml"}


@pytest.mark.parametrize("command", COMMANDS)
def test_a_broken_etude_is_one_line(tmp_path: Path, command: str) -> None:
    path = tmp_path / "broken.musicxml"
    path.write_text(score_text()[:300])
    result = run(command, path, "-o", tmp_path / "out.svg")
    assert result.exit_code == 1
    assert "broken.musicxml" in result.stderr
    assert files(tmp_path) == {"broken.musicxml"}


def test_a_demo_etude_with_its_lesson_file(tmp_path: Path) -> None:
    result = run("reduce", SCORES / "first-skeleton.musicxml", "-o", tmp_path / "out.svg")
    assert result.exit_code == 0
    assert "lesson file" in result.stderr
