"""``skeleton handout -o handout.html``: the page and what lies beside it."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import unquote

import pytest
from typer.testing import CliRunner, Result

from skeleton.cli.app import app

SCORE = (
    '<score-partwise version="4.0"><work><work-title>One</work-title></work><part-list>'
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
def etude(tmp_path: Path) -> Path:
    path = tmp_path / "one.musicxml"
    path.write_text(SCORE)
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["handout", *map(str, arguments)])


def test_one_file_with_its_sounds_inside(etude: Path, tmp_path: Path) -> None:
    before = set(tmp_path.iterdir())
    result = run(etude, "-o", tmp_path / "out.html")
    assert result.exit_code == 0, result.stderr
    assert set(tmp_path.iterdir()) - before == {tmp_path / "out.html"}
    html = (tmp_path / "out.html").read_text(encoding="utf-8")
    assert html.count("data:audio/mpeg") == 3
    assert '<html lang="en">' in html


def test_large_sounds_and_the_score_lie_beside_it(etude: Path, tmp_path: Path) -> None:
    result = run(
        etude, "-o", tmp_path / "my page.html", "--embed-up-to", "0", "--with-score",
        "--language", "de",
    )  # fmt: skip
    assert result.exit_code == 0, result.stderr
    html = (tmp_path / "my page.html").read_text(encoding="utf-8")
    named = {unquote(one) for one in re.findall(r'<audio[^>]* src="([^"]+)"', html)}
    assert named == {
        "my page-drone-1.flac", "my page-1-bare.mp3", "my page-1-neighbours.mp3",
        "my page-1-all.mp3",
    }  # fmt: skip
    assert all((tmp_path / name).stat().st_size > 1000 for name in named)
    assert "4 sound files beside it" in result.stderr
    assert (tmp_path / "my page-annotated.musicxml").is_file()
    assert '<html lang="de">' in html


def test_without_sounds(etude: Path, tmp_path: Path) -> None:
    result = run(etude, "-o", tmp_path / "out.htm", "--no-sounds", "-q")
    assert (result.exit_code, result.stderr) == (0, "")
    assert "<audio" not in (tmp_path / "out.htm").read_text(encoding="utf-8")


def test_another_ending_is_refused_and_a_missing_folder_leaves_nothing(
    etude: Path, tmp_path: Path
) -> None:
    result = run(etude, "-o", tmp_path / "out.docx")
    assert result.exit_code == 2
    assert not (tmp_path / "out.docx").exists()
    result = run(etude, "-o", tmp_path / "no" / "out.html", "--no-sounds")
    assert result.exit_code == 1
    assert "folder does not exist" in result.stderr


def test_the_etude_is_never_overwritten(tmp_path: Path) -> None:
    etude = tmp_path / "odd.html"
    etude.write_text(SCORE)
    result = run(etude, "-o", etude, "--no-sounds")
    assert result.exit_code == 1
    assert etude.read_text() == SCORE
