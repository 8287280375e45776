from __future__ import annotations

import importlib.util
import tracemalloc

import numpy as np
import pytest
import soundfile

from skeleton.audio import sources
from skeleton.audio.decode import RATE, blocks, clock, open_recording, samples
from skeleton.errors import TakeError

needs_av = pytest.mark.skipif(
    importlib.util.find_spec("av") is None, reason="the decoders for phone files are not installed"
)
NAMES = (
    "aac.m4a", "aac.mov", "aac.mp4", "aac.aac", "opus.webm", "opus.opus", "mp3.mp3", "amr.3gp",
    "amr.amr", "flac.flac", "flac.mkv", "pcm.wav", "pcm.aiff",
)  # fmt: skip
LIGHT = ("flac.flac", "pcm.wav", "pcm.aiff", "opus.opus", "mp3.mp3")
ONSET_S = 0.5

ONSET_TOLERANCE_S = {"aac.aac": 0.03, "amr.3gp": 0.02, "amr.amr": 0.02}
"""A raw AAC stream keeps its encoder's 1024 samples of delay, AMR its 5 ms and a frame; all other
files state their delay, and it is taken off."""

PITCH_TOLERANCE_CENTS = 0.1


def knock(rate, seconds=2.0, hz=440.0):
    """Silence, then from half a second on a sine."""
    time = np.arange(round(seconds * rate)) / rate
    return (0.3 * np.sin(2 * np.pi * hz * time) * (time >= ONSET_S)).astype(np.float32)


@needs_av
@pytest.mark.parametrize("name", NAMES)
def test_every_format_comes_back_in_time_and_in_tune(
    name, encoding, tmp_path, spectral_peak_hz
) -> None:
    codec, container, rate = encoding.FORMATS[name]
    path = encoding.encode(tmp_path / name, knock(rate), codec, container, rate)
    take = open_recording(path)
    assert (take.source_rate, take.channels, take.notices) == (rate, 1, ())
    assert take.duration_s == pytest.approx(2.0, abs=0.05)
    sound = samples(take)
    assert sound.dtype == np.float32
    onset_s = np.argmax(np.abs(sound) > 0.1) / RATE
    assert onset_s == pytest.approx(ONSET_S, abs=ONSET_TOLERANCE_S.get(name, 0.002))
    steady = sound[round(0.8 * RATE) : round(1.8 * RATE)].astype(np.float64)
    off_cents = 1200 * np.log2(spectral_peak_hz(steady, RATE, 440.0) / 440.0)
    assert abs(off_cents) < PITCH_TOLERANCE_CENTS


@needs_av
@pytest.mark.parametrize("name", LIGHT)
def test_without_the_extra_decoders_the_usual_files_are_read_alike(
    name, encoding, tmp_path, monkeypatch
) -> None:
    codec, container, rate = encoding.FORMATS[name]
    path = encoding.encode(tmp_path / name, knock(rate), codec, container, rate)
    full = samples(open_recording(path))
    monkeypatch.setattr(sources, "find_spec", lambda _: None)
    light = samples(open_recording(path))
    count = min(len(full), len(light))
    assert abs(len(full) - len(light)) < 0.05 * RATE
    assert np.abs(full[:count] - light[:count]).max() < 0.02


def test_without_the_extra_decoders_a_phone_file_says_what_to_install(
    tmp_path, monkeypatch
) -> None:
    monkeypatch.setattr(sources, "find_spec", lambda _: None)
    path = tmp_path / "take.m4a"
    path.write_bytes(b"\x00\x00\x00\x20ftypM4A \x00\x00\x02\x00")
    with pytest.raises(TakeError, match=r"etude-skeleton\[phone\]"):
        open_recording(path)


def test_of_two_channels_the_louder_is_kept_and_never_their_sum(tmp_path) -> None:
    left = knock(44100)
    soundfile.write(tmp_path / "a.wav", np.stack([0.3 * left, -left], axis=1), 44100)
    take = open_recording(tmp_path / "a.wav")
    assert take.channel == 1
    # Opposite phases would cancel in a sum of equals.
    soundfile.write(tmp_path / "b.wav", np.stack([left, -left], axis=1), 44100)
    both = open_recording(tmp_path / "b.wav")
    assert both.channel == 0
    assert np.abs(samples(both)).max() > 0.25


def test_blocks_join_to_the_whole_and_a_part_is_that_part(tmp_path) -> None:
    soundfile.write(tmp_path / "a.flac", knock(44100), 44100)
    take = open_recording(tmp_path / "a.flac")
    whole = samples(take)
    assert np.array_equal(np.concatenate(list(blocks(take))), whole)
    part = samples(take, 0.25, 0.75)
    assert np.array_equal(part, whole[round(0.25 * RATE) : round(0.75 * RATE)])
    assert len(samples(take, 5.0, 6.0)) == 0


def test_a_long_recording_takes_no_more_memory_than_a_short_one(tmp_path) -> None:
    rate = 8000
    minute = (3000 * np.sin(np.arange(60 * rate) * 0.3)).astype(np.int16)

    def peak_bytes(minutes):
        path = tmp_path / f"{minutes}.wav"
        with soundfile.SoundFile(path, "w", rate, 1, "PCM_16") as file:
            for _ in range(minutes):
                file.write(minute)
        tracemalloc.start()
        take = open_recording(path)
        heard = sum(len(block) for block in blocks(take))
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert heard == minutes * 60 * RATE
        return peak

    assert peak_bytes(8) < 1.5 * peak_bytes(1) + 1_000_000


def test_silence_is_an_error_and_a_faint_take_a_notice(tmp_path) -> None:
    soundfile.write(tmp_path / "none.wav", np.zeros(44100), 44100)
    with pytest.raises(TakeError, match="silent"):
        open_recording(tmp_path / "none.wav")
    soundfile.write(tmp_path / "faint.wav", 0.01 * knock(44100), 44100)
    (notice,) = open_recording(tmp_path / "faint.wav").notices
    assert (notice.code, notice.start_s) == ("quiet", None)
    soundfile.write(tmp_path / "short.wav", knock(44100)[30000:31000], 44100)
    with pytest.raises(TakeError, match="long"):
        open_recording(tmp_path / "short.wav")


def test_clipping_is_told_with_its_place_and_full_scale_is_not_clipping(tmp_path) -> None:
    loud = 3.0 * knock(44100, 4.0)
    loud[: 2 * 44100] = knock(44100)
    soundfile.write(tmp_path / "loud.wav", np.clip(1.5 * loud, -1, 1), 44100)
    (notice,) = open_recording(tmp_path / "loud.wav").notices
    assert notice.code == "clipped"
    assert notice.start_s == pytest.approx(2.0, abs=0.1)
    assert notice.end_s == pytest.approx(4.0, abs=0.1)
    full = np.sin(np.arange(44100) * 0.03)
    soundfile.write(tmp_path / "full.wav", full / np.abs(full).max(), 44100)
    assert open_recording(tmp_path / "full.wav").notices == ()


def test_values_that_are_no_numbers_become_silence(tmp_path) -> None:
    sound = knock(44100)
    sound[50000:50010] = np.nan
    soundfile.write(tmp_path / "a.wav", sound, 44100, subtype="FLOAT")
    take = open_recording(tmp_path / "a.wav")
    assert [notice.code for notice in take.notices] == ["no-number"]
    assert np.isfinite(samples(take)).all()


def test_a_wav_that_lost_its_end_is_read_and_told(tmp_path) -> None:
    soundfile.write(tmp_path / "a.wav", knock(44100), 44100)
    data = (tmp_path / "a.wav").read_bytes()
    (tmp_path / "cut.wav").write_bytes(data[: len(data) * 2 // 3])
    take = open_recording(tmp_path / "cut.wav")
    assert [notice.code for notice in take.notices] == ["damaged"]
    assert take.duration_s == pytest.approx(4 / 3, abs=0.01)
    (tmp_path / "head.wav").write_bytes(data[:30])
    with pytest.raises(TakeError):
        open_recording(tmp_path / "head.wav")


@needs_av
@pytest.mark.parametrize("name", ["aac.m4a", "mp3.mp3", "opus.webm", "flac.flac", "amr.3gp"])
def test_damage_inside_a_file_costs_a_part_of_it_and_is_told(name, encoding, tmp_path) -> None:
    codec, container, rate = encoding.FORMATS[name]
    rng = np.random.default_rng(5)
    noise = (0.2 * rng.normal(size=3 * rate)).astype(np.float32)
    path = encoding.encode(tmp_path / name, noise, codec, container, rate)
    data = bytearray(path.read_bytes())
    for place in rng.integers(len(data) // 3, len(data) // 2, 80):
        data[place] ^= 0x5A
    path.write_bytes(data)
    take = open_recording(path)
    # Bytes that make another sound, loud as it may be, are no damage that anyone could see.
    assert {"damaged"} <= {notice.code for notice in take.notices} <= {"damaged", "clipped"}
    assert 0.4 < len(samples(take)) / RATE < 3.5


@needs_av
@pytest.mark.parametrize("share", [0.02, 0.3, 0.7])
def test_an_unfinished_phone_file_is_one_line(share, encoding, tmp_path) -> None:
    path = encoding.encode(tmp_path / "a.m4a", knock(48000), "aac", "mp4", 48000)
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])
    with pytest.raises(TakeError, match=r"not whole|no sound"):
        open_recording(path)


@needs_av
def test_a_film_without_sound_says_so(tmp_path) -> None:
    import av

    with av.open(str(tmp_path / "film.mp4"), "w") as out:
        stream = out.add_stream("mpeg4", rate=10)
        stream.width = stream.height = 32
        stream.pix_fmt = "yuv420p"
        for _ in range(3):
            image = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), format="rgb24")
            out.mux(stream.encode(image))
        out.mux(stream.encode(None))
    with pytest.raises(TakeError, match="no sound in it"):
        open_recording(tmp_path / "film.mp4")


@pytest.mark.parametrize(
    ("time_s", "text"), [(0.0, "0:00.0"), (7.34, "0:07.3"), (59.96, "1:00.0"), (754.5, "12:34.5")]
)
def test_times_are_said_as_a_player_shows_them(time_s, text) -> None:
    assert clock(time_s) == text
