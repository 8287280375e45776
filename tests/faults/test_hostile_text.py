"""Texts made to harm, in every place that takes a text, through every output.

A score, a lesson file, a file of marks, a student's name and a file's name may say anything. In an
output it is text: nothing runs, nothing is fetched, no table takes it for a formula, no terminal
obeys it.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import html5lib
import pypdf
import pytest
from hostile import HOSTILE, SVG_MAY, TERMINAL, check_markup
from lxml import etree
from typer.testing import CliRunner

from skeleton.cli.app import app
from skeleton.export.lists.words import one_line, without_controls
from skeleton.score.reading import read

ESCAPES = "\x1b]0;owned\x07\x1b[2J"


def run(*arguments: object) -> str:
    result = CliRunner().invoke(app, [*map(str, arguments)])
    assert result.exit_code == 0, result.stderr
    assert "Traceback" not in result.stderr
    return result.stdout


@pytest.fixture(scope="module")
def etude(made, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A score that says it everywhere, in a file that is named so, with such a lesson."""
    folder = tmp_path_factory.mktemp("hostile")
    path = folder / ("=1+1 <img src=x onerror=alert(6)> #eval $x$.musicxml")
    path.write_bytes(made.saying(HOSTILE + TERMINAL))
    said = json.dumps(HOSTILE[:190])
    path.with_suffix(".toml").write_text(
        f'title = {said}\nassignment = {json.dumps(HOSTILE)}\n[[passage]]\nname = {said}\n'
        f'measures = "1"\ngoal = {said}\n',
        encoding="utf-8",
    )  # fmt: skip
    return path


@pytest.mark.parametrize(
    "command",
    [("annotate",), ("annotate", "--words"), ("reduce",), ("reduce", "--stage", "all")],
    ids=" ".join,
)
def test_a_picture_holds_it_as_text(etude: Path, tmp_path: Path, command: tuple[str, ...]) -> None:
    run(command[0], etude, *command[1:], "-o", tmp_path / "out.svg", "-q")
    data = (tmp_path / "out.svg").read_bytes()
    root = etree.fromstring(data)
    check_markup(root, allowed=SVG_MAY)
    shown = "".join(root.itertext())
    assert "<img src=x onerror=alert(2)>" in shown
    assert "\u009b" not in shown
    assert "\u202e" not in shown


def test_a_page_holds_it_as_text(etude: Path, tmp_path: Path) -> None:
    run("handout", etude, "-o", tmp_path / "out.html", "-q")
    text = (tmp_path / "out.html").read_text(encoding="utf-8")
    root = html5lib.HTMLParser(strict=True).parse(text)
    check_markup(root)
    scripts = [one for one in root.iter() if str(one.tag).endswith("}script")]
    assert [one.get("type") for one in scripts] == ["application/json", None]
    assert "alert" not in scripts[1].text
    assert json.loads(scripts[0].text)["file"] == etude.stem
    body = " ".join("".join(root.find("{*}body").itertext()).split())
    assert body.count("<img src=x onerror=alert(2)>") >= 3  # title, assignment, goal
    assert "\u202e" not in text


def test_a_sheet_holds_it_as_text(etude: Path, tmp_path: Path) -> None:
    run("handout", etude, "-o", tmp_path / "out.pdf", "-q")
    reader = pypdf.PdfReader(tmp_path / "out.pdf")
    names = set()
    for number in range(1, len(reader.xref.get(0, {})) + 1):
        found = reader.get_object(pypdf.generic.IndirectObject(number, 0, reader))
        if isinstance(found, pypdf.generic.DictionaryObject):
            names |= set(found)
            names |= {str(found.get("/S"))}
    assert "/Pages" in names or "/Kids" in names
    assert not names & {"/JavaScript", "/JS", "/Launch", "/URI", "/AA", "/EmbeddedFile", "/GoToR"}
    assert reader.metadata is not None
    assert reader.metadata.title.startswith("</script><script>alert(1)")
    shown = "".join(page.extract_text() for page in reader.pages)
    plain = re.sub(r"\s+", "", shown)
    assert '#eval("1+1")' in plain
    assert "root:" not in shown


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", " =", "'="])
def test_no_table_takes_it_for_a_formula(made, tmp_path: Path, start: str) -> None:
    # OWASP, "CSV Injection": cells that begin with = + - @, tab or carriage return.
    text = f"{start}cmd|' /C calc'!A0"
    path = tmp_path / "a.musicxml"
    path.write_bytes(made.saying(text))
    path.with_suffix(".toml").write_text(
        f'[[passage]]\nname = {json.dumps(text.strip())}\nmeasures = "1"\n', encoding="utf-8"
    )
    found = []
    for command in ("checklist", "targets"):
        run(command, path, "-o", tmp_path / f"{command}.csv", "-q")
        lines = (tmp_path / f"{command}.csv").read_text(encoding="utf-8-sig")
        found += [cell for row in csv.reader(io.StringIO(lines, newline="")) for cell in row]
    assert any("cmd|" in cell for cell in found)
    for cell in found:
        if "cmd|" in cell:
            assert cell.strip()[0] not in "=+-@\t\r"


def test_a_journal_of_such_names(etude: Path, tmp_path: Path) -> None:
    score = read(etude)
    notes = [note.id for note in score.parts[0].notes]
    who, book = '=HYPERLINK("x") <script>alert(7)</script>', tmp_path / "book.sqlite"
    sha = hashlib.sha256(score.source.data).hexdigest()
    for day in range(1, 8):
        take = tmp_path / f"{day}.json"
        measured = [{"id": one, "off_cents": -30.0 - day, "u_cents": 1.0, "verdict": "flat",
                     "lean_cents": 120.0} for one in notes]  # fmt: skip
        about = {"name": "=cmd()<img src=x onerror=alert(8)>.wav", "date": f"2026-03-0{day}"}
        take.write_text(json.dumps(
            {"format": 1, "etude": {"sha256": sha}, "take": about, "notes": measured}))  # fmt: skip
        run("keep", etude, take, "-s", who, "--journal", book, "-q")
    for name in ("studio", "progress"):
        out = tmp_path / ("out.html" if name == "studio" else "out.svg")
        run(name, *([] if name == "studio" else [etude, "-q"]), "-o", out, "--journal", book)
        text = out.read_text(encoding="utf-8")
        if name == "studio":
            root = html5lib.HTMLParser(strict=True).parse(text)
            assert not [one for one in root.iter() if str(one.tag).endswith("}script")]
            assert "default-src 'none'" in text
            said = "".join(root.itertext())
        else:
            root = etree.fromstring(text.encode())
            check_markup(root, allowed=SVG_MAY)
            said = "".join(root.itertext())
        check_markup(root)
        assert "<script>alert(7)</script>" in said
        assert "\u202e" not in said
    run("progress", etude, "-o", tmp_path / "out.csv", "--journal", book, "-q")
    run("journal", "export", "-o", tmp_path / "all.csv", "--journal", book)
    for name in ("out.csv", "all.csv"):
        lines = (tmp_path / name).read_text(encoding="utf-8-sig")
        cells = [cell for row in csv.reader(io.StringIO(lines, newline="")) for cell in row]
        assert any("HYPERLINK" in cell for cell in cells)
        assert not [cell for cell in cells if cell[:1] in ("=", "@", "\t", "\r")]
    again = tmp_path / "again.sqlite"
    run("journal", "import", tmp_path / "all.csv", "--journal", again)
    assert who in run("journal", "list", "--journal", again)
    run("assign", etude, "-s", who, "-o", tmp_path / "week.toml", "--journal", book, "-q")
    run("outline", etude, "--lesson", tmp_path / "week.toml", "-q")


# --- what a terminal is given


@pytest.mark.parametrize("char", ["\x1b", "\x07", "\x9b", "\x7f", "\x00", "\r", "\x85", "\u202a",
                                  "\u202e", "\u2066", "\u2069", "\udcff"])  # fmt: skip
def test_what_steers_is_shown_as_replaced(char: str) -> None:
    assert char not in one_line(f"a{char}b")
    assert "a" in one_line(f"a{char}b")
    assert without_controls(f"a{char}b") == "a\ufffdb"


def test_what_is_written_right_to_left_stays() -> None:
    # Letters, marks and joiners of any script are no steering.
    for text in ("שלום עולם", "سلام", "नमस्ते", "👩‍🎻", "a\u200fb", "Étude\u0301"):
        assert one_line(text) == text


@pytest.mark.skipif(sys.platform == "win32", reason="terminals as on POSIX")
@pytest.mark.parametrize(
    "arguments",
    [["outline", "{}"], ["outline", "{}", "--json"], ["checklist", "{}"], ["targets", "{}"],
     ["outline", "{}.gone"], ["outline", "{}", "--lesson", "{}.toml"],
     ["reduce", "{}", "-o", "{}"]],
    ids=" ".join,
)  # fmt: skip
def test_a_terminal_is_not_steered(made, tmp_path: Path, arguments: list[str]) -> None:
    path = tmp_path / f"a{ESCAPES}{TERMINAL}.musicxml"
    path.write_bytes(made.saying(f"Title {TERMINAL}"))
    Path(f"{path}.toml").write_text("nonsense = 1")
    shown = _on_a_terminal([one.format(path) for one in arguments])
    assert shown.strip()
    for taboo in ("\x1b]", "\x1b[2J", "\x07", "\u009b", "\u202e", "\u2066", "\x7f"):
        assert taboo not in shown, (taboo, shown[:2000])
    assert not re.search(r"\x1b(?!\[[\d;]*m)", shown), "only colours and weights are asked for"


def _on_a_terminal(arguments: list[str]) -> str:
    """What a command writes on a terminal, both of its outputs."""
    import pty

    ours, theirs = pty.openpty()
    settings = os.environ | {"TERM": "xterm", "LC_ALL": "C.UTF-8", "PYTHONUTF8": "1"}
    process = subprocess.Popen(
        [sys.executable, "-m", "skeleton", *arguments], stdin=subprocess.DEVNULL, stdout=theirs,
        stderr=theirs, env=settings,
    )  # fmt: skip
    os.close(theirs)
    pieces = []
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:  # Linux says so when the other end is closed
            break
        if not piece:
            break
        pieces.append(piece)
    os.close(ours)
    assert process.wait(60) in (0, 1)
    return b"".join(pieces).decode("utf-8")
