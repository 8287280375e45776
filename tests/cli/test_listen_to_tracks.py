"""What is played exactly as written is heard as that: the practice track of every demo etude.

The tracks are this program's own, so this says that following works on whole etudes with chords,
two voices and every instrument, not how well players are followed.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from skeleton.cli.guard import guarded
from skeleton.cli.listen import listen
from skeleton.cli.playalong import playalong

SCORES = Path(__file__).parents[2] / "scores"
ETUDES = sorted(path.name for path in SCORES.iterdir() if path.suffix in {".musicxml", ".mxl"})


@pytest.mark.long
@pytest.mark.parametrize("name", ETUDES)
def test_every_note_of_a_track_is_heard(name: str, tmp_path: Path) -> None:
    app = typer.Typer()
    app.command()(guarded(playalong))
    app.command()(guarded(listen))
    track, found = tmp_path / "track.wav", tmp_path / "found.json"
    how = ["--stage", "all", "--drone", "none", "--rate", "22050", "-q"]
    for command in (
        ["playalong", str(SCORES / name), *how, "-o", str(track)],
        ["listen", str(SCORES / name), str(track), "-q", "-o", str(found)],
    ):
        ran = CliRunner().invoke(app, command)
        assert ran.exit_code == 0, ran.output
    heard = json.loads(found.read_text())
    assert heard["not_heard"] == []
    assert not [one for one in heard["notes"] if one["verdict"] in {"flat", "sharp"}]
