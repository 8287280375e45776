"""A take judged, of a score, a recording and marks whose every text is made to harm.

The formats of ``skeleton listen``, each read back by another reader than what wrote it. The page in
a browser is with the other pages.

Sources: RFC 8259 (JSON), RFC 4180 and OWASP "CSV Injection" (tables), HTML Living Standard (parsed
by html5lib), Content Security Policy Level 3, ISO 32000-1 (12.6: actions of a PDF).
"""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from urllib.parse import unquote, urljoin, urlsplit

import html5lib
import pypdf
import pytest
from hostile import HOSTILE, SVG_MAY, TERMINAL, HostileTake, check_markup, hostile_take
from lxml import etree
from typer.testing import CliRunner

from skeleton.cli.app import app

NAMED = "=1+1 <script>alert(6)<img src=x onerror=alert(7)> \"]]>' #eval(1) $x$ \\u{41}"
"""A file's name: no slash can be in one."""

STEERING = ("\u009b", "\u202e", "\u2066", "\x7f")
MARKED = "<img src=x onerror=alert(2)>"


def run(take: HostileTake, *arguments: object) -> str:
    result = CliRunner().invoke(app, [*take.listened, *map(str, arguments), "-q"])
    assert result.exit_code == 0, result.stderr
    return result.stdout


@pytest.fixture(scope="module")
def take(made, tmp_path_factory: pytest.TempPathFactory) -> HostileTake:
    text = HOSTILE + TERMINAL
    folder = tmp_path_factory.mktemp("take")
    return hostile_take(folder, made.saying(text), text, named=f"{NAMED}{TERMINAL}")


def plain(text: str) -> str:
    return re.sub(r"\s+", "", text)


def shown_name(take: HostileTake) -> str:
    """The take's name as it is shown: what steers is replaced."""
    return re.sub(f"[{''.join(STEERING)}]", "\ufffd", take.sound.name)


def check_steering(text: str) -> None:
    assert [one for one in STEERING if one in text] == []


@pytest.mark.parametrize("curves", [(), ("--curves",)], ids=["score", "curves"])
def test_a_picture_holds_it_as_text(
    take: HostileTake, tmp_path: Path, curves: tuple[str, ...]
) -> None:
    run(take, *curves, "--ear", take.marks, "-o", tmp_path / "out.svg")
    data = (tmp_path / "out.svg").read_bytes()
    root = etree.fromstring(data)
    check_markup(root, allowed=SVG_MAY)
    shown = "".join(root.itertext())
    assert MARKED in shown
    assert shown_name(take) in shown
    check_steering(data.decode())


def test_a_page_holds_it_as_text(take: HostileTake, tmp_path: Path) -> None:
    page = tmp_path / f"page {NAMED}.html"
    run(take, "--ear", take.marks, "-o", page)
    text = page.read_text(encoding="utf-8")
    root = html5lib.HTMLParser(strict=True).parse(text)
    check_markup(root)
    scripts = [one for one in root.iter() if str(one.tag).endswith("}script")]
    assert [one.get("type") for one in scripts] == ["application/json", None]
    assert "alert" not in scripts[1].text
    data = json.loads(scripts[0].text)
    assert data["file"] == page.stem
    (given,) = data["given"]["takes"]
    assert given["date"] == "2024-05-01"
    assert [one["says"] for one in given["marks"]] == ["flat"]
    body = " ".join("".join(root.find("{*}body").itertext()).split())
    assert body.count(MARKED) >= 3  # title, passage, number of a measure
    assert shown_name(take) in body
    check_steering(text)


def test_a_page_and_its_sound_beside_it(take: HostileTake, tmp_path: Path) -> None:
    page = tmp_path / "<img src=x onerror=alert(8)> \"'#%41?.html"
    run(take, "--embed-up-to", 0, "-o", page)
    root = html5lib.HTMLParser(strict=True).parse(page.read_text(encoding="utf-8"))
    (sound,) = [one for one in root.iter() if str(one.tag).endswith("}audio")]
    (beside,) = [one for one in tmp_path.iterdir() if one.suffix == ".mp3"]
    address = urlsplit(urljoin(page.as_uri(), sound.get("src")))
    assert (address.scheme, address.netloc, address.query, address.fragment) == ("file", "", "", "")
    assert Path(unquote(address.path)) == beside


def test_the_page_without_a_network(take: HostileTake, tmp_path: Path) -> None:
    run(take, "-o", tmp_path / "out.html")
    text = (tmp_path / "out.html").read_text(encoding="utf-8")
    (policy,) = [
        one.get("content")
        for one in html5lib.parse(text).findall("{*}head/{*}meta")
        if one.get("http-equiv") == "Content-Security-Policy"
    ]
    rules = {one.split()[0]: one.split()[1:] for one in policy.split(";")}
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == ["'none'"]
    assert all(one.startswith("'sha256-") for one in rules["script-src"])
    assert "connect-src" not in rules
    assert not re.search(r"https?:|wss?:|\*|blob:|'unsafe-eval'", policy)


def test_a_sheet_holds_it_as_text(take: HostileTake, tmp_path: Path) -> None:
    run(take, "--ear", take.marks, "-o", tmp_path / "out.pdf")
    reader = pypdf.PdfReader(tmp_path / "out.pdf")
    names = set()
    for number in range(1, len(reader.xref.get(0, {})) + 1):
        found = reader.get_object(pypdf.generic.IndirectObject(number, 0, reader))
        if isinstance(found, pypdf.generic.DictionaryObject):
            names |= set(found)
            names |= {str(found.get("/S"))}
    assert "/Pages" in names or "/Kids" in names
    assert not names & {"/JavaScript", "/JS", "/Launch", "/URI", "/AA", "/EmbeddedFile", "/GoToR"}
    shown = plain("".join(page.extract_text() for page in reader.pages))
    for said in ("</script><script>alert(1)", '#eval("1+1")', "\\u{41}$x^2$", "#eval(1)$x$\\u{41}"):
        assert plain(said) in shown, said
    assert "root:" not in shown
    check_steering(shown)
    assert reader.metadata is not None
    assert reader.metadata.title.startswith("</script><script>alert(1)")
    check_steering(reader.metadata.title)


def test_what_a_program_reads_is_the_text_itself(take: HostileTake) -> None:
    text = run(take, "--ear", take.marks, "--json")
    found = json.loads(text)
    assert MARKED in found["etude"]["title"]
    assert NAMED in found["take"]["name"]
    assert found["ear"][0]["agreement"] == "wrong direction"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", " =", "'="])
def test_no_table_takes_it_for_a_formula(made, tmp_path: Path, start: str) -> None:
    text = f"{start}cmd|' /C calc'!A0"
    files = hostile_take(tmp_path, made.saying(text), text.strip(), named=f"{start.strip()}1+1")
    table = tmp_path / "out.csv"
    run(files, "-o", table)
    lines = table.read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(lines, newline="")))
    assert len(rows) == 4
    said = [cell for row in rows for cell in row.values() if "cmd|" in cell]
    assert said
    assert [one for one in said if one.strip()[0] in "=+-@\t\r"] == []


def test_a_summary_in_a_file(take: HostileTake, tmp_path: Path) -> None:
    run(take, "--ear", take.marks, "--all", "-o", tmp_path / "out.txt")
    text = (tmp_path / "out.txt").read_text(encoding="utf-8")
    assert shown_name(take) in " ".join(text.split())
    check_steering(text)


def test_the_music_for_another_program(take: HostileTake, tmp_path: Path) -> None:
    run(take, "-o", tmp_path / "out.musicxml")
    given, made = (etree.parse(one).getroot() for one in (take.etude, tmp_path / "out.musicxml"))
    for path in ("work/work-title", ".//part-name", ".//creator", ".//rehearsal", ".//words"):
        assert made.findtext(path) == given.findtext(path)
        assert MARKED in made.findtext(path)


@pytest.mark.parametrize(
    ("arguments", "code"),
    [((), 0), (("--ear-date", "2020-01-01"), 1), (("--passage", f"no {TERMINAL}"), 1),
     (("--measures", f"1-{TERMINAL}"), 1)],
    ids=["notes", "date", "passage", "measures"],
)  # fmt: skip
def test_messages_do_not_steer(take: HostileTake, arguments: tuple[str, ...], code: int) -> None:
    wanted = [*take.listened, "--ear", str(take.marks), *arguments]
    result = CliRunner().invoke(app, wanted)
    assert result.exit_code == code
    assert "Traceback" not in result.stderr
    assert result.stderr.strip()
    check_steering(result.stderr)


def test_marks_at_a_note_of_such_a_name(take: HostileTake, tmp_path: Path) -> None:
    saved = json.loads(take.marks.read_text(encoding="utf-8"))
    saved["takes"][0]["marks"].append({"note": TERMINAL + HOSTILE, "says": "flat"})
    marks = tmp_path / f"{NAMED}{TERMINAL}.json"
    marks.write_text(json.dumps(saved), encoding="utf-8")
    result = CliRunner().invoke(app, [*take.listened, "--ear", str(marks), "-q"])
    assert result.exit_code == 1
    assert "takes[0].marks[1].note" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    check_steering(result.stderr)


@pytest.mark.parametrize("ending", ["svg", "html", "pdf", "txt"])
def test_nothing_that_steers_is_left(made, tmp_path: Path, ending: str) -> None:
    # Short, so that it is whole where a number of a measure is cut.
    files = hostile_take(tmp_path, made.saying(TERMINAL), TERMINAL, named=f"a{TERMINAL}")
    files.etude.with_suffix(".toml").unlink()  # it refuses such a title
    out = tmp_path / f"out.{ending}"
    run(files, "--ear", files.marks, "--all", "-o", out)
    text = (
        "".join(page.extract_text() for page in pypdf.PdfReader(out).pages)
        if ending == "pdf"
        else out.read_text(encoding="utf-8")
    )
    assert "\ufffd" in text
    check_steering(text)
