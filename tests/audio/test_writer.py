from __future__ import annotations

from pathlib import Path, PurePath

import numpy as np
import pytest

from skeleton.audio.drone import drone, drone_blocks
from skeleton.audio.tone import steady
from skeleton.audio.writer import FORMATS, sound_suffix, write_sound
from skeleton.errors import OptionError, OutputError

soundfile = pytest.importorskip("soundfile")

RATE = 44100
MP3_PADDING = 3 * 1152
"""Frames that an MP3 file may be longer: its samples come in frames of 1152 (ISO 11172-3)."""


@pytest.mark.parametrize("suffix", FORMATS)
@pytest.mark.parametrize("rate", [44100, 48000])
def test_files_read_back(suffix, rate, tmp_path, spectral_peak_hz):
    made = drone([880 / 3, 440.0], 5, rate)
    path = tmp_path / "a name without an ending"
    assert write_sound(path, drone_blocks(made), rate, suffix) == 5 * rate
    samples, read_rate = soundfile.read(path)
    assert read_rate == rate
    spare = len(samples) - 5 * rate
    assert 0 <= spare <= (MP3_PADDING if suffix == ".mp3" else 0)
    wanted = np.concatenate(list(drone_blocks(made)))
    if suffix == ".mp3":
        # Its own delay moves the sound: only pitch and loudness can be compared.
        assert np.std(samples) == pytest.approx(np.std(wanted), rel=0.05)
    elif suffix == ".ogg":
        assert np.sqrt(np.mean((samples - wanted) ** 2)) < 0.1 * np.sqrt(np.mean(wanted**2))
    else:
        # libsndfile writes full scale as 32767 and reads it back through 32768.
        assert np.abs(samples - wanted).max() < 1.6 / 32768
    for hz in (880 / 3, 440.0):
        found_hz = spectral_peak_hz(samples, rate, hz)
        assert abs(1200 * np.log2(found_hz / hz)) < 0.1


def test_what_the_files_are(tmp_path):
    for suffix in FORMATS:
        path = tmp_path / f"x{suffix}"
        write_sound(path, [np.zeros(1000)], RATE, suffix)
        found = soundfile.info(str(path))
        assert (found.format, found.subtype) == FORMATS[suffix]
        assert found.channels == 1
        assert 0 <= found.frames - 1000 <= (MP3_PADDING if suffix == ".mp3" else 0)


def test_a_loop_joins_in_the_file(tmp_path):
    made = drone([440.0], 5, RATE, loop=True)
    path = tmp_path / "loop.flac"
    write_sound(path, drone_blocks(made), RATE, ".flac")
    samples, _ = soundfile.read(path)
    around = np.concatenate([samples[-200:], samples[:200]])
    longer = made.gain * steady(made.hz[0], RATE, made.samples - 200, 400)
    assert np.abs(around - longer).max() < 1.6 / 32768


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("drone.wma", r"no sound format '\.wma'; end it in \.wav, \.flac, \.ogg, \.mp3"),
        ("drone", r"no ending"),
        ("-", r"no ending"),
        ("x.mid", r"no sound format '\.mid'"),
    ],
)
def test_other_endings_are_refused(name, words):
    with pytest.raises(OptionError, match=words):
        sound_suffix(PurePath(name))


def test_endings_may_be_written_large():
    assert sound_suffix(PurePath("a/b.FLAC")) == ".flac"
    assert sound_suffix(PurePath("x.MID"), also=[".mid"]) == ".mid"


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    with pytest.raises(OutputError, match=r"track\.wav: cannot be written"):
        write_sound(
            tmp_path / "no" / "such", [np.zeros(10)], RATE, ".wav", name=PurePath("track.wav")
        )


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_told():
    with pytest.raises(OutputError, match="cannot be written"):
        write_sound(Path("/dev/full"), [np.ones(1 << 20)] * 4, RATE, ".wav")
