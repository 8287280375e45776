"""From a sound to the record: what listening writes is what the journal keeps."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import pytest
import soundfile
from typer.testing import CliRunner

from skeleton.cli.app import app
from skeleton.listening.events import score_events
from skeleton.listening.note_targets import note_targets
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz

FLAT_CENTS = 24.0
WITHIN_CENTS = 3.0
FLAT_EVENT = 4


def _made():
    name = "performances"
    if name not in sys.modules:
        path = Path(__file__).parents[1] / "listening" / f"{name}.py"
        spec = importlib.util.spec_from_file_location(name, path)
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


def done(*arguments: object) -> str:
    result = CliRunner().invoke(app, [*map(str, arguments)])
    assert result.exit_code == 0, result.stderr
    return result.stdout


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, str]:
    """An etude, a take of it in which one event is flat, and the id of its first note."""
    made = _made()
    folder = tmp_path_factory.mktemp("sound")
    analysis, data = made.etude(3, 16)
    etude = folder / "etude.musicxml"
    etude.write_bytes(data)
    targets = note_targets(analysis, analysis.parts[0])
    events = score_events(analysis.score.parts[0], {k: one.hz for k, one in targets.items()})
    strings = open_string_hz(INSTRUMENTS["violin"])
    line = [made.tones.Tone(hz, 0.3 + 1.3 * i, 1.5 + 1.3 * i) for i, hz in enumerate(strings)]
    at = 6.5
    for place, event in enumerate(events):
        length = 0.5 * float(event.quarters) + 0.1
        off_cents = -FLAT_CENTS if place == FLAT_EVENT else 0.0
        line.append(made.tones.Tone(event.hz[0] * 2 ** (off_cents / 1200), at, at + length))
        at += length
    sound = folder / "take.wav"
    soundfile.write(sound, made.tones.mixed(line, 5), made.RATE)
    return etude, sound, events[FLAT_EVENT].notes[0]


def test_listened_kept_and_shown(recorded: tuple[Path, Path, str], tmp_path: Path) -> None:
    etude, sound, flat = recorded
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
