"""The public surface: what ``import skeleton`` offers, and that it stays light."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import skeleton

SCORES = Path(__file__).parents[1] / "scores"


@pytest.mark.parametrize("name", skeleton.__all__)
def test_every_public_name_can_be_imported(name: str) -> None:
    assert getattr(skeleton, name).__doc__


def test_nothing_else_is_offered() -> None:
    assert sorted(skeleton.__all__) == dir(skeleton)
    with pytest.raises(AttributeError, match="no attribute 'skull'"):
        skeleton.skull  # noqa: B018 - the look-up is the test


def test_importing_the_package_imports_nothing_heavy() -> None:
    code = (
        "import sys, skeleton; "
        "print(*({'lxml', 'verovio', 'music21', 'numpy', 'typer', 'rich'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_results_show_themselves_in_a_notebook() -> None:
    score = skeleton.read(SCORES / "first-skeleton.musicxml")
    found = skeleton.analyse(score)
    table = found._repr_html_()
    assert table.count("<tr>") == 1 + sum(len(part.accidentals) for part in found.parts)
    assert "half step below G" in table
    assert skeleton.pictures(found, "bare")._repr_svg_().startswith("<svg")
