"""Practice tracks from score to file, measured by instruments that owe nothing to the package."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, read_lesson
from skeleton.analysis.results import ChosenLean
from skeleton.audio.sounds import PEAK_DBFS
from skeleton.errors import OptionError, OutputError
from skeleton.export.tracks.midi_track import midi_bytes
from skeleton.export.tracks.practice import practice
from skeleton.export.tracks.track import track_blocks, track_suffix, write_track
from skeleton.export.writing import whole_file
from skeleton.intonation.targets import targets
from skeleton.score.reading import read, read_bytes
from skeleton.theory.pitch import parse_pitch, parse_pitch_class

RATE = 44100
NOTE_TOLERANCE_CENTS = 1.0

PITCHES = [
    "F#4",
    "G4",
    "C#5",
    "D5",
    "F#5",
    "G5",
    "G#4",
    "A4",
    "D#5",
    "E5",
    "Bb4",
    "A4",
    "F#6",
    "G6",
    "F#4",
    "G4",
]
"""Eighths in 4/4, slurred in pairs: each the half step below or above the next."""

PYTHAGOREAN_HZ = {
    "F#4": 371.250, "F#5": 742.500, "F#6": 1485.000, "C#5": 556.875, "G#4": 417.656,
    "D#5": 626.484, "Bb4": 463.539, "G4": 391.111, "G5": 782.222, "G6": 1564.444,
    "D5": 586.667, "A4": 440.000, "E5": 660.000,
}  # fmt: skip
"""At A4 = 440 Hz: A4 * N[letter] * (2187/2048)^alter * 2^(octave - 4), with N = 16/27, 2/3, 3/4,
64/81, 8/9, 1, 9/8 for C to B (the chain of pure fifths), rounded to three decimals."""


def score_bytes() -> bytes:
    music = ""
    for place, name in enumerate(PITCHES):
        pitch = parse_pitch(name)
        if place == 8:
            music += '</measure><measure number="2">'
        music += (
            f'<note id="n{place}"><pitch><step>{pitch.step}</step><alter>{pitch.alter}</alter>'
            f"<octave>{pitch.octave}</octave></pitch><duration>1</duration><voice>1</voice>"
            f'<notations><slur type="{"stop" if place % 2 else "start"}"/></notations></note>'
        )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin'
        '</part-name></score-part></part-list><part id="P1"><measure number="1"><attributes>'
        "<divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        f"</attributes>{music}</measure></part></score-partwise>"
    ).encode()


def made_track(stage="all", *, tempo=60.0, leans=(), lean_cents=None, **asked):
    analysis = analyse(read_bytes(score_bytes(), "etude.musicxml"), Lesson())
    found = targets(replace(analysis, leans=leans), lean_cents=lean_cents)
    return practice(found, None, stage, (tempo,), **asked).schedule


def notes_of(made):
    return [event for event in made.events if event.kind == "note"]


def rendered(made, rate=RATE):
    return np.concatenate(list(track_blocks(made, rate)))


def middle(samples, event, rate=RATE):
    """The steady part of a note: fades left out."""
    edge_s = min(0.06, (event.end_s - event.start_s) / 4)
    return samples[round((event.start_s + edge_s) * rate) : round((event.end_s - edge_s) * rate)]


def cents(hz, reference_hz):
    return 1200 * math.log2(hz / reference_hz)


def spectral_peak_hz(samples, rate, near_hz):
    size = 1 << 20
    spectrum = np.abs(np.fft.rfft(samples * np.blackman(len(samples)), size))
    bins = np.arange(int(near_hz * size / rate * 0.98), int(near_hz * size / rate * 1.02))
    top = bins[np.argmax(spectrum[bins])]
    left, centre, right = np.log(spectrum[top - 1 : top + 2])
    return (top + 0.5 * (left - right) / (left - 2 * centre + right)) * rate / size


def praat_hz(samples, rate, near_hz):
    parselmouth = pytest.importorskip("parselmouth", reason="praat-parselmouth is not installed")
    pitch = parselmouth.Sound(samples, sampling_frequency=float(rate)).to_pitch_ac(
        pitch_floor=near_hz / 1.4, pitch_ceiling=near_hz * 1.4, very_accurate=True
    )
    found = pitch.selected_array["frequency"]
    assert (found > 0).any(), "Praat hears no pitch there"
    return float(np.median(found[found > 0]))


def test_every_note_has_its_published_frequency():
    for event in notes_of(made_track()):
        name = PITCHES[int(event.note[1:])]
        assert event.hz == pytest.approx(PYTHAGOREAN_HZ[name], abs=0.0005)


@pytest.mark.parametrize("measure", [praat_hz, spectral_peak_hz])
def test_every_note_sounds_at_its_target(measure):
    made = made_track(drone=())
    samples = rendered(made)
    assert len(notes_of(made)) == len(PITCHES)
    for event in notes_of(made):
        found_hz = measure(middle(samples, event), RATE, event.hz)
        assert abs(cents(found_hz, event.hz)) < NOTE_TOLERANCE_CENTS, event


def test_every_note_sounds_at_its_target_over_a_drone():
    made = made_track(tempo=40.0, drone=["D4", "A3"])
    assert sum(event.kind == "drone" for event in made.events) == 2
    samples = rendered(made)
    for event in notes_of(made):
        found_hz = spectral_peak_hz(middle(samples, event), RATE, event.hz)
        assert abs(cents(found_hz, event.hz)) < NOTE_TOLERANCE_CENTS, event


@pytest.mark.parametrize("stage", ["neighbours", "all"])
def test_a_chosen_lean_is_heard_alike_in_every_octave(stage):
    made = made_track(stage, drone=(), leans=(ChosenLean(parse_pitch_class("F#"), 84.0),))
    samples = rendered(made)
    found = {}
    for event in notes_of(made):
        found[event.note] = spectral_peak_hz(middle(samples, event), RATE, event.hz)
    sharps = [place for place, name in enumerate(PITCHES) if name.startswith("F#")]
    assert {PITCHES[place] for place in sharps} == {"F#4", "F#5", "F#6"}
    for place in sharps:
        lean_cents = cents(found[f"n{place + 1}"], found[f"n{place}"])
        assert lean_cents == pytest.approx(84.0, abs=NOTE_TOLERANCE_CENTS)
    # Other half steps keep the size that nobody chose: the limma 256/243, 90.225 cents.
    assert cents(found["n3"], found["n2"]) == pytest.approx(90.225, abs=NOTE_TOLERANCE_CENTS)


def test_the_bare_stage_is_the_skeleton_and_lasts_as_long():
    made, whole = made_track("bare"), made_track("all")
    assert [event.note for event in notes_of(made)] == [f"n{n}" for n in range(1, 16, 2)]
    assert made.end_s == whole.end_s == pytest.approx(4 + 8)


def test_the_drone_is_chosen_from_the_open_strings():
    drones = [event for event in made_track().events if event.kind == "drone"]
    assert drones
    for event in drones:
        octaves = {round(event.hz / hz, 9) for hz in (1760 / 9, 880 / 3, 440.0, 660.0)}
        assert 1.0 in octaves


def test_levels():
    samples = rendered(made_track(tempo=40.0))
    assert np.abs(samples).max() < 10 ** (PEAK_DBFS / 20)
    silent = rendered(made_track(tempo=40.0, drone=()))
    note = middle(silent, notes_of(made_track(tempo=40.0, drone=()))[0])
    assert 20 * math.log10(np.sqrt(np.mean(note**2))) == pytest.approx(-20.0, abs=0.2)
    # From the count-in's click on, before the second one: the drone alone.
    drone = samples[round(0.3 * RATE) : round(1.2 * RATE)]
    assert 20 * math.log10(np.sqrt(np.mean(drone**2))) == pytest.approx(-32.0, abs=1.0)


SCORES = sorted(
    path
    for path in (Path(__file__).parents[3] / "scores").iterdir()
    if path.suffix in (".musicxml", ".mxl")
)


@pytest.mark.parametrize("stage", ["bare", "neighbours", "all"])
@pytest.mark.parametrize("path", SCORES, ids=lambda path: path.stem)
def test_every_passage_of_the_demo_etudes_can_be_played(path, stage):
    analysis = analyse(read(path), read_lesson(path.with_suffix(".toml")))
    found = targets(analysis)
    target_hz = {
        place.id: target.hz
        for passage in found.passages
        for target in passage.targets
        for place in target.places
    }
    for passage in analysis.passages:
        made = practice(found, passage.name, stage).schedule
        assert notes_of(made)
        for event in notes_of(made):
            assert made.rounds[0].start_s < event.start_s < event.end_s <= made.end_s + 1e-9
            assert event.hz == target_hz.get(event.note, event.hz)
        if stage != "all":
            assert {event.note for event in notes_of(made)} & target_hz.keys()
        assert midi_bytes(made)[:4] == b"MThd"


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg", ".mp3"])
def test_sound_files_hold_the_track(suffix, tmp_path):
    soundfile = pytest.importorskip("soundfile")
    made = made_track(tempo=120.0, drone=())
    told: list[int] = []
    path = tmp_path / f"track{suffix}"
    write_track(made, path, rate=48000, tell=told.append)
    samples, rate = soundfile.read(path)
    assert rate == 48000
    assert sum(told) == round(made.end_s * rate)
    # MP3 comes in frames of 1152 samples (ISO 11172-3), and begins with some of silence.
    assert 0 <= len(samples) - sum(told) <= (3 * 1152 if suffix == ".mp3" else 0)
    for event in notes_of(made)[:4]:
        found_hz = spectral_peak_hz(middle(samples, event, rate), rate, event.hz)
        assert abs(cents(found_hz, event.hz)) < NOTE_TOLERANCE_CENTS
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


def test_other_endings_are_refused():
    assert track_suffix(Path("x.MID")) == ".mid"
    with pytest.raises(OptionError, match=r"end it in \.wav, \.flac, \.ogg, \.mp3, \.mid"):
        track_suffix(Path("x.wma"))


def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path):
    path = tmp_path / "track.wav"
    path.write_bytes(b"the old one")

    def fail(_: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_track(made_track(), path, tell=fail)
    assert path.read_bytes() == b"the old one"
    assert [one.name for one in tmp_path.iterdir()] == ["track.wav"]


def test_a_missing_folder_is_told_before_anything_is_made(tmp_path):
    with pytest.raises(OutputError, match="its folder does not exist"):
        write_track(made_track(), tmp_path / "no" / "track.wav", tell=pytest.fail)


def test_the_score_is_not_overwritten(tmp_path):
    path = tmp_path / "etude.wav"
    path.write_bytes(b"")
    with pytest.raises(OptionError, match="will not be overwritten"):
        write_track(made_track(), path, keep=[path])


def test_a_whole_file_keeps_permissions_and_links(tmp_path):
    real, link = tmp_path / "real.wav", tmp_path / "link.wav"
    real.write_bytes(b"old")
    real.chmod(0o640)
    link.symlink_to(real)
    with whole_file(link) as temporary:
        assert temporary.parent == tmp_path
        temporary.write_bytes(b"new")
        assert real.read_bytes() == b"old"
    assert link.is_symlink()
    assert real.read_bytes() == b"new"
    assert real.stat().st_mode & 0o777 == 0o640


def test_a_whole_file_reaches_a_device_too():
    with whole_file(Path("/dev/null")) as temporary:
        temporary.write_bytes(b"gone")
    assert not temporary.exists()
    assert not Path("/dev/null").is_file()
