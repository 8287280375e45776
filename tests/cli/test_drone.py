"""``skeleton drone`` as a user runs it."""

from __future__ import annotations

import numpy as np
import pytest
import typer
from typer.testing import CliRunner, Result

from skeleton.cli.drone import drone
from skeleton.cli.guard import guarded

soundfile = pytest.importorskip("soundfile")

TOLERANCE_CENTS = 0.2


def run(*arguments: object) -> Result:
    app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False)
    app.command()(guarded(drone))
    app.callback()(lambda: None)
    return CliRunner().invoke(app, ["drone", *(str(one) for one in arguments)])


def peak_hz(path, near_hz):
    samples, rate = soundfile.read(path)
    size = 1 << 21
    spectrum = np.abs(np.fft.rfft(samples * np.blackman(len(samples)), size))
    bins = np.arange(int(near_hz * size / rate * 0.98), int(near_hz * size / rate * 1.02))
    top = bins[np.argmax(spectrum[bins])]
    left, centre, right = np.log(spectrum[top - 1 : top + 2])
    return (top + 0.5 * (left - right) / (left - 2 * centre + right)) * rate / size


def assert_sounds(path, *frequencies_hz):
    for hz in frequencies_hz:
        assert abs(1200 * np.log2(peak_hz(path, hz) / hz)) < TOLERANCE_CENTS


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg", ".mp3"])
def test_open_strings_sound_in_pure_fifths(suffix, tmp_path):
    path = tmp_path / f"drone{suffix}"
    result = run("D4", "A4", "-o", path, "--seconds", 5)
    assert result.exit_code == 0, result.output
    assert result.stdout == ""
    spare = soundfile.info(str(path)).frames - 5 * 44100
    assert 0 <= spare <= (3 * 1152 if suffix == ".mp3" else 0)  # frames of ISO 11172-3
    # 440 * 2/3 and 440: ISO 16 and a pure fifth.
    assert_sounds(path, 293.3333, 440.0)


@pytest.mark.parametrize(
    ("options", "frequencies_hz"),
    [
        (("D4", "--a4", 442), [294.6667]),
        (("A4", "E5", "--a4", 415), [415.0, 622.5]),
        # Equal temperament: 440 * 2^(-7/12) and 2^(7/12).
        (("D4", "E5", "--system", "equal"), [293.6648, 659.2551]),
        (("D4", "E5", "--strings-hz", "196.1,293.9,440.5,661"), [293.9, 661.0]),
        # An octave over the D string as measured; F sharp in the chain of fifths from its A.
        (("D5", "--strings-hz", "196.1,293.9,440.5,661"), [587.8]),
        (("F#4", "--strings-hz", "196.1,293.9,440,661"), [371.25]),
        (("G",), [195.5556]),
        (("C,G", "--instrument", "cello"), [65.1852, 97.7778]),
        (("E", "--instrument", "A3 E4 A4 E5"), [330.0]),
        (("F#5", "Bb3"), [742.5, 231.7695]),
    ],
)
def test_what_sounds(options, frequencies_hz, tmp_path):
    path = tmp_path / "drone.wav"
    result = run(*options, "-o", path, "--seconds", 8)
    assert result.exit_code == 0, result.output
    assert_sounds(path, *frequencies_hz)


def test_a_loop_joins(tmp_path):
    path = tmp_path / "loop.flac"
    assert run("D4", "A4", "-o", path, "--seconds", 3, "--loop").exit_code == 0
    samples, rate = soundfile.read(path)
    assert abs(len(samples) / rate - 3) <= 0.5
    twice = np.concatenate([samples, samples])
    join = np.abs(np.diff(twice))[len(samples) - 2 : len(samples) + 1].max()
    assert join <= np.abs(np.diff(samples)).max()
    # No fade at either end: the level is there at once.
    for end in (samples[:4410], samples[-4410:]):
        assert 20 * np.log10(np.sqrt(np.mean(end**2))) == pytest.approx(-20, abs=0.5)
    assert_sounds(path, 293.3333, 440.0)


def test_the_caution_and_what_was_made_are_told(tmp_path):
    path = tmp_path / "drone.wav"
    told = run("D4", "-o", path, "--seconds", 1).stderr
    assert "D4 293.333 Hz" in told
    assert "quieter than your playing" in told
    assert "children at 75 dB" in told
    assert run("D4", "-o", path, "--seconds", 1, "--quiet").stderr == ""


def test_a_lossy_loop_is_told(tmp_path):
    told = run("D4", "-o", tmp_path / "x.ogg", "--seconds", 2, "--loop").stderr
    assert "take .flac" in told


@pytest.mark.parametrize(
    ("options", "name", "words"),
    [
        (("D4",), "x.wma", "no sound format '.wma'; end it in .wav, .flac, .ogg, .mp3"),
        (("D4",), "x.mid", "no sound format '.mid'"),
        (("D4",), "x", "its name has no ending"),
        (("H4",), "x.wav", "'H4' is no pitch"),
        (("B",), "x.wav", "no open B on the violin; its strings are G3 D4 A4 E5"),
        (("C9",), "x.wav", "Hz cannot be played"),
        (("D4", "--seconds", "0"), "x.wav", "a drone of 0 s cannot be made"),
        (("D4", "--rate", "7"), "x.wav", "no sample rate 7"),
        (("D4", "--strings-hz", "196,293"), "x.wav", "2 frequencies for 4 strings"),
        (("C4", "C#4", "D4", "D#4", "--seconds", 0.6, "--system", "equal", "--loop"), "x.wav",
         "too short for these pitches"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told_in_one_line(options, name, words, tmp_path):
    result = run(*options, "-o", tmp_path / name)
    assert result.exit_code == 1
    assert words in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "options",
    [
        ("D4",),
        ("-o", "x.wav"),
        ("D4", "-o", "x.wav", "--a4", "442", "--strings-hz", "196,293,440,660"),
        ("D4", "-o", "x.wav", "--system", "equal", "--strings-hz", "196,293,440,660"),
        ("D4", "-o", "x.wav", "--strings-hz", "high"),
        ("D4", "-o", "x.wav", "--a4", "4400"),
        ("D4", "-o", "x.wav", "--system", "just"),
        ("D4", "-o", "x.wav", "--instrument", "kazoo"),
    ],
)
def test_usage(options, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(*options).exit_code == 2
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_missing_is_told(tmp_path):
    result = run("D4", "-o", tmp_path / "no" / "x.wav")
    assert result.exit_code == 1
    assert "its folder does not exist" in result.stderr
