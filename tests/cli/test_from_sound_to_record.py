"""From a sound to the record: what listening writes is what the journal keeps."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from recorded import recorded
from typer.testing import CliRunner

from skeleton.cli.app import app

FLAT_CENTS = 24.0
WITHIN_CENTS = 3.0
FLAT_EVENT = 4


def done(*arguments: object) -> str:
    result = CliRunner().invoke(app, [*map(str, arguments)])
    assert result.exit_code == 0, result.stderr
    return result.stdout


@pytest.fixture(scope="module")
def flat_take(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, str]:
    """An etude, a take of it in which one event is flat, and the id of its first note."""
    found = recorded(tmp_path_factory.mktemp("sound"), 16, {FLAT_EVENT: -FLAT_CENTS})
    return found.etude, found.sound, found.events[FLAT_EVENT].notes[0]


def test_listened_kept_and_shown(flat_take: tuple[Path, Path, str], tmp_path: Path) -> None:
    etude, sound, flat = flat_take
    take, book = tmp_path / "take.json", tmp_path / "book.sqlite"
    done("listen", etude, sound, "-o", take, "-q")
    heard = {one["id"]: one for one in json.loads(take.read_text("utf-8"))["notes"]}
    text = done("keep", etude, take, "-s", "Ana", "--date", "2026-03-14", "--journal", book, "-q")
    judged = [one for one in heard.values() if one["verdict"] is not None]
    assert f"take of 2026-03-14: {len(judged)} notes" in text
    assert len(judged) >= 12
    _, line = done("journal", "export", "--journal", book).splitlines()
    kept = json.loads(line)
    assert kept["path"] == "take.wav"
    off = {one["key"]: one["deviation_cents"] for one in kept["notes"]}
    assert sorted(off.values()) == sorted(one["off_cents"] for one in judged)
    assert heard[flat]["verdict"] == "flat"
    assert min(off.values()) == pytest.approx(-FLAT_CENTS, abs=WITHIN_CENTS)
    assert "Takes of 1 day say nothing yet" in done("progress", etude, "--journal", book)
