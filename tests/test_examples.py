"""The examples run, and the README's claims in code and commands are true."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from skeleton.analysis.lesson import parse_lesson
from skeleton.cli.app import app

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
EXAMPLES = sorted((ROOT / "examples").glob("*.py"))

SAYS = {
    "a_teachers_decisions": "81 before, 80 after",
    "accidentals_and_anchors": "measure 1, beat 1: F#4, half step below G4",
    "hand_out_a_marked_score": "0 notices",
    "how_high_and_what_to_check": "major sixth above, pure at 325.93 Hz (-21.5 cents)",
    "listen_to_a_take": "C# (half step below D) is too far from D in 6 of 6 places, by 25 cents",
    "make_a_handout": "Bare skeleton, measures 1 to 4.",
    "walk_through_the_stages": "first-skeleton-annotated.svg",
    "which_rule_fits": "92% of the accidentals",
}
"""A line that each example prints, read off the scores by a person."""


def test_every_example_is_checked() -> None:
    assert {path.stem for path in EXAMPLES} == set(SAYS)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_example_runs_and_says_what_it_should(path: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, str(path), str(tmp_path)],
        capture_output=True, text=True, cwd=tmp_path, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert SAYS[path.stem] in done.stdout


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


def test_the_readmes_python_runs() -> None:
    (code,) = blocks("python")
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "F#4" in done.stdout


def test_the_readmes_lesson_file_is_valid() -> None:
    (text,) = blocks("toml")
    lesson = parse_lesson(text, "README.md")
    assert lesson.a4_hz == 442


def test_every_command_of_the_readme_exists_and_is_described() -> None:
    named = set(re.findall(r"`skeleton ([a-z]+) ", README))
    offered = {command.name or command.callback.__name__ for command in app.registered_commands}
    assert named == offered


@pytest.mark.parametrize("option", sorted(set(re.findall(r"`(--[a-z-]+)", README))))
def test_every_option_of_the_readme_exists(option: str) -> None:
    runner = CliRunner()
    pages = [
        runner.invoke(app, [command.name or command.callback.__name__, "--help"]).output
        for command in app.registered_commands
    ]
    assert any(option in page for page in pages)


def test_the_demo_picture_of_the_readme_exists() -> None:
    for path in re.findall(r"!\[[^]]*\]\(([^)]+)\)", README):
        assert (ROOT / path).is_file()
