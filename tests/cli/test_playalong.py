"""``skeleton playalong`` as a user runs it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner, Result

from skeleton.audio.tone import HIGHEST_RATE
from skeleton.cli import sound_options
from skeleton.cli.guard import guarded
from skeleton.cli.playalong import playalong

soundfile = pytest.importorskip("soundfile")

PITCHES = (("F", 1, 4), ("G", 0, 4), ("C", 1, 5), ("D", 0, 5), ("F", 1, 5), ("G", 0, 5))
"""Eighths in 3/4, slurred in pairs: each the half step below the next."""


@pytest.fixture
def etude(tmp_path: Path) -> Path:
    music = "".join(
        f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>"
        f"<duration>1</duration><voice>1</voice>"
        f'<notations><slur type="{"stop" if place % 2 else "start"}"/></notations></note>'
        for place, (step, alter, octave) in enumerate(PITCHES)
    )
    attributes = (
        "<attributes><divisions>2</divisions><time><beats>3</beats><beat-type>4</beat-type>"
        "</time></attributes>"
    )
    measures = "".join(
        f'<measure number="{number}">{attributes if number == 1 else ""}{music}</measure>'
        for number in range(1, 5)
    )
    path = tmp_path / "etude.musicxml"
    path.write_text(
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin'
        f'</part-name></score-part></part-list><part id="P1">{measures}</part></score-partwise>',
        encoding="utf-8",
    )
    (tmp_path / "etude.toml").write_text(
        '[[passage]]\nname = "A"\nmeasures = "1-2"\n\n[[passage]]\nname = "B"\nmeasures = "3-4"\n'
        '\n[[lean]]\npitch = "F#"\ncents = 85\n',
        encoding="utf-8",
    )
    return path


def run(*arguments: object) -> Result:
    app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False)
    app.command()(guarded(playalong))
    app.callback()(lambda: None)
    return CliRunner().invoke(app, ["playalong", *(str(one) for one in arguments)])


def seconds(path: Path) -> float:
    found = soundfile.info(str(path))
    return found.frames / found.samplerate


def sounding(path: Path) -> list[tuple[float, float]]:
    """Start in seconds and frequency of every note and drone of a MIDI file, clicks left out."""
    mido = pytest.importorskip("mido")
    bends: dict[int, int] = {}
    now_s, found = 0.0, []
    for message in mido.MidiFile(path):
        now_s += message.time
        if message.type == "pitchwheel":
            bends[message.channel] = message.pitch
        elif message.type == "note_on" and message.velocity and message.channel != 9:
            half_steps = message.note - 69 + bends[message.channel] / 8192 * 2
            found.append((now_s, 440.0 * 2 ** (half_steps / 12)))
    return found


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".ogg", ".mp3", ".mid"])
def test_a_passage_of_two_bars_with_its_count_in(suffix, etude, tmp_path):
    path = tmp_path / f"track{suffix}"
    result = run(etude, "--passage", "B", "--tempo", 60, "-o", path)
    assert result.exit_code == 0, result.output
    assert result.stdout == ""
    if suffix == ".mid":
        assert pytest.importorskip("mido").MidiFile(path).length == pytest.approx(9.0)
    else:
        assert seconds(path) == pytest.approx(9.0)
    assert {one.name for one in tmp_path.iterdir()} == {
        "etude.musicxml", "etude.toml", path.name,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("options", "bars"),
    [
        (("--passage", "A"), 1 + 2),
        ((), 1 + 4),
        (("--times", 3, "--passage", "A"), 3 * (1 + 2)),
        (("--echo", "--passage", "A"), 1 + 2 * 2),
        (("--echo-bars", 2), 1 + 2 * 4),
        (("--stage", "all", "--passage", "A"), 1 + 2),
        (("--stage", "NEIGHBOURS", "--passage", "a"), 1 + 2),
    ],
)
def test_how_long_it_is(options, bars, etude, tmp_path):
    path = tmp_path / "track.wav"
    result = run(etude, *options, "--rate", 16000, "-o", path)
    assert result.exit_code == 0, result.output
    # Forty beats a minute, three to the bar.
    assert seconds(path) == pytest.approx(bars * 3 * 1.5)


def test_a_ladder_climbs(etude, tmp_path):
    path = tmp_path / "track.wav"
    options = ("--passage", "A", "--from", 40, "--to", 60, "--step", 10)
    assert run(etude, *options, "--rate", 16000, "-o", path).exit_code == 0
    expected_s = sum(9 * 60 / tempo for tempo in (40, 50, 60))
    assert seconds(path) == pytest.approx(expected_s, abs=1e-3)


def test_the_lesson_leans_every_f_sharp_alike(etude, tmp_path):
    path = tmp_path / "track.mid"
    run(etude, "--stage", "all", "--drone", "none", "--passage", "A", "-o", path)
    found = [hz for _, hz in sounding(path)]
    assert len(found) == 12
    g4_hz = 440 * 8 / 9
    f_sharp_hz = g4_hz * 2 ** (-85 / 1200)
    # Half a step of the bend is 0.0123 cent, 7e-6 of the frequency.
    assert found[:2] == pytest.approx([f_sharp_hz, g4_hz], rel=8e-6)
    assert found[4:6] == pytest.approx([2 * f_sharp_hz, 2 * g4_hz], rel=8e-6)
    # The lesson says nothing of C sharp: the limma 256/243 under D.
    assert found[2] == pytest.approx(440 * 4 / 3 * 243 / 256, rel=8e-6)


@pytest.mark.parametrize(
    ("options", "frequencies_hz"),
    [
        (("--drone", "D4,A4"), [293.3333, 440.0]),
        (("--drone", "G"), [195.5556]),
        (("--drone", "A3", "--a4", 442), [221.0]),
        (("--drone", "D4", "--system", "equal"), [293.6648]),
        (("--drone", "none"), []),
    ],
)
def test_the_drone_that_was_asked_for(options, frequencies_hz, etude, tmp_path):
    path = tmp_path / "track.mid"
    result = run(etude, *options, "--passage", "A", "-o", path)
    assert result.exit_code == 0, result.output
    found = [hz for start_s, hz in sounding(path) if start_s == 0]
    assert found == pytest.approx(frequencies_hz, rel=1e-5)


def test_the_drone_is_told_with_its_reason(etude, tmp_path):
    told = run(etude, "--passage", "A", "-o", tmp_path / "track.mid").stderr
    assert "0:14, drone " in told
    assert "skeleton notes" in told
    assert "quieter than your playing" in told
    assert run(etude, "--passage", "A", "-o", tmp_path / "track.mid", "--quiet").stderr == ""


@pytest.mark.parametrize(
    ("options", "name", "words"),
    [
        ((), "x.wma", "end it in .wav, .flac, .ogg, .mp3, .mid"),
        (("--passage", "Z"), "x.wav", "no passage 'Z'; there are A, B"),
        (("--drone", "H4"), "x.wav", "'H4' is no pitch"),
        (("--drone", "C"), "x.wav", "no open C on the violin"),
        (("--tempo", "0"), "x.wav", "a tempo of 0 beats a minute cannot be played"),
        (("--from", "40", "--to", "60", "--step", "0"), "x.wav", "give --step a number above 0"),
        (("--times", "201"), "x.wav", "201 rounds cannot be made"),
        (("--rate", HIGHEST_RATE + 1), "x.wav", "no sample rate"),
        (("--system", "just"), "x.wav", "just intonation is pure against one open string"),
        (("--drone", "D3,E3,F3,G3,A3,B3,C4,D4,E4"), "x.mid", "more than 8 tones sound at once"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(options, name, words, etude, tmp_path):
    result = run(etude, *options, "--quiet", "-o", tmp_path / name)
    assert result.exit_code == 1
    assert words in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert not (tmp_path / name).exists()


@pytest.mark.parametrize(
    "options",
    [
        (),
        ("-o", "x.wav", "--tempo", "40", "--from", "40", "--to", "60"),
        ("-o", "x.wav", "--from", "40"),
        ("-o", "x.wav", "--step", "4"),
        ("-o", "x.wav", "--times", "0"),
        ("-o", "x.wav", "--echo-bars", "0"),
        ("-o", "x.wav", "--stage", "some"),
        ("-o", "x.wav", "--strings-hz", "a,b"),
        ("-o", "x.wav", "--strings-hz", "196,293,440,660", "--a4", "442"),
        ("-o", "x.wav", "--lean", "900"),
    ],
)
def test_usage(options, etude, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(etude, *options).exit_code == 2
    assert not Path("x.wav").exists()


def test_the_score_is_never_overwritten(etude):
    before = etude.read_bytes()
    target = etude.with_suffix(".wav")
    target.symlink_to(etude)
    result = run(etude, "-o", target)
    assert result.exit_code == 1
    assert "will not be overwritten" in result.stderr
    assert etude.read_bytes() == before


class Terminal:
    """A standard error that says it is a terminal, and keeps what is written."""

    encoding = "utf-8"

    def __init__(self) -> None:
        self.text = ""

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        self.text += text
        return len(text)

    def flush(self) -> None:
        pass


def test_a_bar_shows_on_a_terminal_for_long_sounds_only(monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    with sound_options.progress(600, 44100) as tell:
        assert tell is not None
        tell(600 * 44100)
    assert "100%" in terminal.text
    with sound_options.progress(60, 44100) as tell:
        assert tell is None


def test_no_bar_where_nobody_sees_it(monkeypatch):
    monkeypatch.setattr(Terminal, "isatty", lambda _: False)
    monkeypatch.setattr(sys, "stderr", Terminal())
    with sound_options.progress(600, 44100) as tell:
        assert tell is None
