"""MIDI files of practice tracks, read back by a MIDI library and played by a synthesizer."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.errors import OptionError
from skeleton.export.tracks.midi_track import BEND_CENTRE, PROGRAMS, TICKS, bend_of, midi_bytes
from skeleton.export.tracks.schedule import Event, Round, Schedule

mido = pytest.importorskip("mido")

ROUNDING_CENTS = 0.0123
"""Half a step of a bend of two half steps in 8192 values: 200 / 8192 / 2 = 0.01221."""

SYNTHESIZER_TOLERANCE_CENTS = 2.0
SOUNDFONTS = tuple(
    Path("/usr/share/sounds/sf2") / name
    for name in ("TimGM6mb.sf2", "FluidR3_GM.sf2", "default-GM.sf2")
)


def track(*tones, quarter_s=1.0, end_s=8.0, clicks=()):
    """A schedule of one round from (start_s, end_s, hz)."""
    events = [
        Event(start, end, hz, -20.0, "note", f"n{n}") for n, (start, end, hz) in enumerate(tones)
    ]
    events += [Event(start, start + 0.06, None, -24.0, "click") for start in clicks]
    events.sort(key=lambda event: event.start_s)
    return Schedule(tuple(events), (Round(0.0, 0.0, end_s, 60 / quarter_s, quarter_s),))


def read(data):
    return mido.MidiFile(file=io.BytesIO(data))


def sounding(file):
    """All notes as (start_s, end_s, hz, channel), by the words of the MIDI specifications.

    Pitch is that of the key in the MIDI Tuning Standard, moved by the channel's bend in the range
    that the channel's registered parameter 0 gives.
    """
    bends, ranges, parameter = {}, {}, {}
    open_notes, found = {}, []
    now_s = 0.0
    for message in file:
        now_s += message.time
        if message.is_meta:
            continue
        channel = message.channel
        if message.type == "control_change":
            chosen = parameter.setdefault(channel, [127, 127])
            if message.control in (100, 101):
                chosen[101 - message.control] = message.value
            elif message.control == 6 and chosen == [0, 0]:
                ranges[channel] = message.value * 100.0 + ranges.get(channel, 0.0) % 100.0
            elif message.control == 38 and chosen == [0, 0]:
                ranges[channel] = ranges[channel] // 100 * 100.0 + message.value
        elif message.type == "pitchwheel":
            bends[channel] = message.pitch
        elif message.type == "note_on" and message.velocity:
            bent_cents = bends.get(channel, 0) / 8192 * ranges.get(channel, 200.0)
            hz = 440.0 * 2 ** ((message.note - 69) / 12 + bent_cents / 1200)
            assert (channel, message.note) not in open_notes
            open_notes[channel, message.note] = (now_s, hz)
        elif message.type in ("note_off", "note_on"):
            start_s, hz = open_notes.pop((channel, message.note))
            found.append((start_s, now_s, hz, channel))
    assert not open_notes, "a note that never ends"
    return sorted(found)


tones_given = st.lists(
    st.tuples(st.floats(0, 6), st.floats(0.05, 2), st.floats(30, 4000)), min_size=1, max_size=8
)


@settings(deadline=None)
@given(tones=tones_given, quarter_s=st.sampled_from([1.5, 1.0, 60 / 72, 60 / 52.5]))
def test_every_note_reads_back_at_its_pitch_and_time(tones, quarter_s):
    tones = [(start, start + length, hz) for start, length, hz in tones]
    found = sounding(read(midi_bytes(track(*tones, quarter_s=quarter_s))))
    expected = sorted(tones)
    assert len(found) == len(expected)
    tick_s = quarter_s / TICKS
    for hz in {tone[2] for tone in expected}:
        wanted = [tone for tone in expected if tone[2] == hz]
        near = [one for one in found if abs(1200 * math.log2(one[2] / hz)) <= ROUNDING_CENTS]
        for start_s, end_s, _ in wanted:
            assert any(
                abs(one[0] - start_s) <= tick_s and abs(one[1] - end_s) <= 2 * tick_s
                for one in near
            )


@given(tones=tones_given)
def test_no_two_notes_share_a_channel_while_they_sound(tones):
    found = sounding(read(midi_bytes(track(*((s, s + d, hz) for s, d, hz in tones)))))
    for one in found:
        for other in found:
            if one is not other and one[3] == other[3]:
                assert one[1] <= other[0] + 1e-9 or other[1] <= one[0] + 1e-9
        assert 1 <= one[3] <= 8


@given(hz=st.floats(8.2, 12500))
def test_a_bend_is_within_its_rounding(hz):
    key, bend = bend_of(hz)
    assert 0 <= bend < 2 * BEND_CENTRE
    found_hz = 440.0 * 2 ** ((key - 69) / 12 + (bend - BEND_CENTRE) / BEND_CENTRE * 2 / 12)
    assert abs(1200 * math.log2(found_hz / hz)) <= ROUNDING_CENTS


def test_the_zone_is_configured_before_the_first_note():
    """MPE: parameter 6 on the first channel tells how many channels follow it in the zone."""
    file = read(midi_bytes(track((0.0, 1.0, 440.0))))
    assert file.type == 0
    assert file.ticks_per_beat == TICKS
    messages = [message for message in file.tracks[0] if not message.is_meta]
    zone = [(m.control, m.value) for m in messages[:5]]
    assert zone == [(101, 0), (100, 6), (6, 8), (101, 127), (100, 127)]
    assert all(message.channel == 0 for message in messages[:5])
    first_note = next(n for n, m in enumerate(messages) if m.type == "note_on")
    assert messages[first_note - 1].type == "pitchwheel"
    assert all(m.type in ("control_change", "program_change") for m in messages[: first_note - 1])


def test_clicks_are_percussion():
    found = sounding(read(midi_bytes(track((1.0, 2.0, 440.0), clicks=[0.0, 0.5]))))
    assert [one[3] for one in found] == [9, 9, 1]


@pytest.mark.parametrize(("instrument", "program"), PROGRAMS.items())
def test_the_instrument_plays(instrument, program):
    file = read(midi_bytes(track((0.0, 1.0, 440.0)), instrument=instrument))
    programs = {m.program for m in file.tracks[0] if m.type == "program_change"}
    assert programs == {program}


def test_each_round_has_its_tempo():
    rounds = (Round(0.0, 1.0, 6.0, 40.0, 1.5), Round(6.0, 7.0, 10.0, 60.0, 1.0))
    events = tuple(
        Event(at, at + 0.5, 440.0, -20.0, "note", f"n{at}") for at in (1.5, 3.0, 6.0, 7.0, 9.5)
    )
    file = read(midi_bytes(Schedule(events, rounds)))
    tempos = [m.tempo for m in file.tracks[0] if m.type == "set_tempo"]
    assert tempos == [1_500_000, 1_000_000]
    assert [one[0] for one in sounding(file)] == pytest.approx([1.5, 3.0, 6.0, 7.0, 9.5])
    assert file.length == pytest.approx(10.0)


def test_too_many_tones_at_once_are_refused():
    tones = [(0.0, 1.0, 200.0 + 20 * n) for n in range(9)]
    assert len(sounding(read(midi_bytes(track(*tones[:8]))))) == 8
    with pytest.raises(OptionError, match="more than 8 tones"):
        midi_bytes(track(*tones))


@pytest.mark.parametrize("hz", [5.0, 20000.0])
def test_what_midi_has_no_key_for_is_refused(hz):
    with pytest.raises(OptionError, match="outside MIDI's range"):
        bend_of(hz)


@pytest.fixture(scope="module")
def play():
    """Return the function from a MIDI file's path and seconds to samples, by fluidsynth."""
    font = next((path for path in SOUNDFONTS if path.exists()), None)
    if font is None:
        pytest.skip("no General MIDI soundfont in /usr/share/sounds/sf2")
    try:
        import fluidsynth
    except ImportError as error:
        pytest.skip(f"fluidsynth is not installed: {error}")

    def render(path, seconds, rate=44100):
        synthesizer = fluidsynth.Synth(samplerate=float(rate))
        for setting in ("synth.reverb.active", "synth.chorus.active"):
            synthesizer.setting(setting, 0)
        assert synthesizer.sfload(str(font)) >= 0
        assert synthesizer.play_midi_file(str(path)) == 0
        stereo = synthesizer.get_samples(round(seconds * rate)).astype(float) / 32768
        synthesizer.play_midi_stop()
        synthesizer.delete()
        return stereo.reshape(-1, 2).mean(axis=1)

    return render


def without_bends(data):
    file = read(data)
    for message in file.tracks[0]:
        if message.type == "pitchwheel":
            message.pitch = 0
    return file


def test_a_synthesizer_bends_by_the_intended_cents(play, tmp_path):
    """The same keys with and without their bends: the samples' own mistuning drops out."""
    parselmouth = pytest.importorskip("parselmouth", reason="praat-parselmouth is not installed")
    tones_hz = [371.25, 391.1111, 556.875, 742.5, 463.539, 293.3333, 835.3125, 626.484, 430.0]
    tones = [(2.0 * n, 2.0 * n + 1.6, hz) for n, hz in enumerate(tones_hz)]
    data = midi_bytes(track(*tones, end_s=18.0))
    bent, straight = tmp_path / "bent.mid", tmp_path / "straight.mid"
    bent.write_bytes(data)
    without_bends(data).save(straight)
    renders = [play(path, 18.5) for path in (bent, straight)]
    checked = 0
    for start_s, _, hz in tones:
        key, bend = bend_of(hz)
        intended_cents = (bend - BEND_CENTRE) / BEND_CENTRE * 200
        curves = []
        for samples in renders:
            part = samples[round((start_s + 0.3) * 44100) : round((start_s + 1.5) * 44100)]
            pitch = parselmouth.Sound(part, sampling_frequency=44100.0).to_pitch_ac(
                time_step=0.01, pitch_floor=hz / 1.4, pitch_ceiling=hz * 1.4, very_accurate=True
            )
            curves.append(pitch.selected_array["frequency"])
        both = (curves[0] > 0) & (curves[1] > 0)
        assert both.mean() > 0.8, f"Praat hears no pitch in key {key}"
        found_cents = np.median(1200 * np.log2(curves[0][both] / curves[1][both]))
        assert abs(found_cents - intended_cents) < SYNTHESIZER_TOLERANCE_CENTS, (key, hz)
        checked += abs(intended_cents) > SYNTHESIZER_TOLERANCE_CENTS
    assert checked >= 5, "hardly any note was bent by more than the tolerance"
