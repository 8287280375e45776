"""Following a take: stops, restarts, wrong and left-out notes, and what cannot be followed."""

from __future__ import annotations

import numpy as np
import pytest

from skeleton.errors import TakeError
from skeleton.listening.alignment import align
from skeleton.listening.events import ScoreEvent
from skeleton.theory.pitch import parse_pitch
from skeleton.theory.tuning import pythagorean_hz

ONSET_WITHIN_S = 0.05
# No two neighbours alike and no pattern twice, so that every place can be told from sound.
LINE = [
    *("D4", "F#4", "E4", "G4", "A4", "C5", "B4", "D5"),
    *("F5", "E5", "C#5", "A4", "F4", "G4", "Bb4", "D5"),
]
STEP_S = 0.3


def events(names=LINE, quarters=1):
    return tuple(
        ScoreEvent(
            (f"n{place + 1}",), (pythagorean_hz(parse_pitch(name)),), (), place, quarters,
            place // 4, place % 4 == 0, grace=False, rest_after=False,
        )
        for place, name in enumerate(names)
    )  # fmt: skip


def play(made, plan, seed=1, tuning_cents=0.0, end_s=None):
    """Sound of a plan: indices of LINE, pitch names, or seconds of silence as floats."""
    at, line, times = 0.6, [], []
    for one in plan:
        if isinstance(one, float):
            at += one
            continue
        name = LINE[one] if isinstance(one, int) else one
        hz = pythagorean_hz(parse_pitch(name)) * 2 ** (tuning_cents / 1200)
        line.append(made.tones.Tone(hz, at, at + STEP_S))
        times.append((one, at))
        at += STEP_S
    return made.tones.mixed(line, seed, end_s=end_s or at + 0.6), times


def notes(found):
    return [one.event for one in found.played if one.kind == "note"]


def test_a_plain_run_is_followed_to_the_note(made):
    sound, times = play(made, list(range(16)))
    found = align(sound, made.RATE, events())
    assert notes(found) == list(range(16))
    late = [abs(one.start_s - at) for one, (_, at) in zip(found.played, times, strict=True)]
    assert max(late) < ONSET_WITHIN_S
    assert not found.restarts
    assert not found.skipped
    assert found.fitting > 0.9
    assert all(one.confidence > 0.7 and one.attempt == 1 for one in found.played)


def test_stops_and_restarts_keep_every_attempt(made):
    plan = [*range(7), 0.8, *range(4, 11), 1.2, *range(2, 16)]
    sound, _ = play(made, plan)
    found = align(sound, made.RATE, events())
    assert notes(found) == [one for one in plan if isinstance(one, int)]
    assert [(one.after_event, one.to_event) for one in found.restarts] == [(6, 4), (10, 2)]
    assert max(one.attempt for one in found.played if one.event == 5) == 3


@pytest.mark.parametrize("rt60_s", [0.4, 0.6])
@pytest.mark.parametrize("last", ["A4", "D5", "E5"])
def test_what_a_room_keeps_sounding_is_no_second_note(made, rt60_s, last):
    """The score repeats a note; the player stops after the first of the two and goes back."""
    names = ["D4", "F#4", "E4", "G4", last, last, "B4", "D4"]
    at, tones = 0.6, []
    for name in names[:5] + [None] * 5 + names:
        if name is not None:
            hz = pythagorean_hz(parse_pitch(name))
            tones.append(made.tones.Tone(hz, at, at + STEP_S))
        at += STEP_S
    sound = made.tones.mixed(tones, 3, end_s=at + 1.0)
    room = made.tones.phone(made.tones.room(sound, rt60_s, 3), 3)
    assert notes(align(room, made.RATE, events(names))) == [0, 1, 2, 3, 4, *range(8)]


def test_a_take_may_begin_anywhere_and_leave_out_notes(made):
    sound, _ = play(made, [*range(5, 9), *range(10, 16)])
    found = align(sound, made.RATE, events())
    assert notes(found) == [*range(5, 9), *range(10, 16)]
    assert [event for event, _ in found.skipped] == [9]


def test_a_wrong_note_is_not_taken_for_the_right_one(made):
    plan = [*range(5), "D5", *range(6, 16)]
    sound, _ = play(made, plan)
    found = align(sound, made.RATE, events())
    assert notes(found) == [*range(5), *range(6, 16)]
    (wrong,) = [one for one in found.played if one.kind == "wrong"]
    assert wrong.event == 5
    assert abs(1200 * np.log2(wrong.heard_hz / pythagorean_hz(parse_pitch("D5")))) < 30


@pytest.mark.parametrize("tuning_cents", [-60.0, 45.0])
def test_a_take_tuned_high_or_low_is_followed_alike(made, tuning_cents):
    sound, _ = play(made, list(range(16)), tuning_cents=tuning_cents)
    found = align(sound, made.RATE, events())
    assert notes(found) == list(range(16))
    assert abs(found.offset_cents - tuning_cents) < 8


def test_an_unclear_place_is_said(made):
    names = ["A4", "B4"] * 6 + ["C5", "D5", "E5"]
    line = events(names)
    sound, _ = play(made, [*names[:8], 1.0, "A4", "B4", "A4", 1.0])
    found = align(sound, made.RATE, line)
    assert {line[one.event].hz for one in found.played} == {line[0].hz, line[1].hz}
    assert any(one.elsewhere for one in found.played[-3:])


def test_silence_and_other_music_are_refused_in_one_line(made):
    with pytest.raises(TakeError, match="no notes can be heard") as silent:
        align(np.zeros(3 * made.RATE, np.float32), made.RATE, events())
    assert "\n" not in str(silent.value)
    rng = np.random.default_rng(4)
    other = [f"{step}{octave}" for step, octave in zip(
        rng.choice(list("CDEFGAB"), 16), rng.integers(4, 6, 16), strict=True)]  # fmt: skip
    sound, _ = play(made, other)
    with pytest.raises(TakeError, match="fits these notes"):
        align(sound, made.RATE, events(["G#3", "C#4", "G#3", "A#3"] * 4))


def test_a_score_without_notes_is_refused(made):
    with pytest.raises(TakeError, match="no notes to look for"):
        align(np.zeros(made.RATE, np.float32), made.RATE, ())


def test_noise_alone_is_no_take(made):
    rng = np.random.default_rng(5)
    with pytest.raises(TakeError):
        align(rng.normal(0, 0.1, 4 * made.RATE).astype(np.float32), made.RATE, events())


def test_talking_before_and_after_is_left_out_and_said(made):
    sound, times = play(made, list(range(16)))
    before, after = made.talk(4.0, 1), made.talk(3.0, 2)
    found = align(np.concatenate([before, sound, after]), made.RATE, events())
    assert notes(found) == list(range(16))
    first, last = found.played[0], found.played[-1]
    assert abs(first.start_s - 4.0 - times[0][1]) < ONSET_WITHIN_S
    assert last.end_s < 4.0 + len(sound) / made.RATE
    # A voice that is nowhere as clear as a string need not be told; what is told lies outside.
    assert found.unaligned_s
    assert all(b <= first.start_s or a >= last.end_s for a, b in found.unaligned_s)


def test_double_stops_are_told_from_each_other(made):
    pairs = [("D4", "B4"), ("D4", "A#4"), ("G3", "G4"), ("G3", "F#4"), ("A4", "C5"), ("A4", "C#5")]
    hz = [tuple(pythagorean_hz(parse_pitch(one)) for one in pair) for pair in pairs]
    line = [
        ScoreEvent(
            (f"a{i}", f"b{i}"), both, (), i, 1, 0, first_in_measure=i == 0, grace=False,
            rest_after=False,
        )
        for i, both in enumerate(hz)
    ]  # fmt: skip
    plan = [0, 1, 2, 3, 4, 5, None, 3, 4, 5]
    at, tones = 0.5, []
    for one in plan:
        tones += [made.tones.Tone(f, at, at + 0.4) for f in (hz[one] if one is not None else ())]
        at += 0.4 if one is not None else 0.9
    found = align(made.tones.mixed(tones, 6), made.RATE, line)
    assert notes(found) == [one for one in plan if one is not None]
    assert [one.to_event for one in found.restarts] == [3]


HELD = "D4"
OVER = ("F4", "A4", "D5", "C5", "Bb4", "D5")


@pytest.mark.parametrize("seed", [0, 3, 8])
@pytest.mark.parametrize(("place", "name"), [(None, ""), (1, "G#4"), (2, "C#5"), (2, "E5")])
def test_a_line_over_a_held_note_is_followed_through_its_octave(made, seed, place, name):
    """The octave of what is held shows only in that nothing else sounds; a wrong note does."""
    low, *upper = (pythagorean_hz(parse_pitch(one)) for one in (HELD, *OVER))
    line = [
        ScoreEvent(
            (f"n{i}",) if i else ("n0", "low"), (hz,) if i else (hz, low), (low,) if i else (),
            i, 1, 0, first_in_measure=i == 0, grace=False, rest_after=False,
        )
        for i, hz in enumerate(upper)
    ]  # fmt: skip
    if place is not None:
        upper[place] = pythagorean_hz(parse_pitch(name))
    tones = [made.tones.Tone(low, 0.5, 0.5 + len(upper) * STEP_S)]
    for i, hz in enumerate(upper):
        tones.append(made.tones.Tone(hz, 0.5 + i * STEP_S, 0.5 + (i + 1) * STEP_S))
    found = align(made.tones.mixed(tones, seed), made.RATE, line)
    said = [(one.kind, one.event) for one in found.played]
    assert said == [("wrong" if i == place else "note", i) for i in range(len(OVER))]


@pytest.mark.parametrize("seed", [2, 7])
def test_a_made_performance_of_the_development_half(made, scoring, seed):
    analysis, _ = made.etude(seed, 28)
    from skeleton.listening.note_targets import note_targets

    targets = note_targets(analysis, analysis.parts[0])
    from skeleton.listening.events import score_events

    line = score_events(analysis.score.parts[0], {k: one.hz for k, one in targets.items()})
    played = made.perform(
        [float(one.quarters) for one in line], [one.hz[0] for one in line], seed,
        made.Habits(restarts=1.5, quarter_bpm=(80, 110)),
    )  # fmt: skip
    report, _ = scoring.heard(made, analysis, made.sound(played, seed, "room+phone"))
    total = scoring.Score()
    scoring.score(report, played, 0.0, total, seed)
    assert total.right_pitch / total.notes >= 0.98
    errors = [abs(one.cents - one.true_cents) for one in total.measured]
    # A few notes of 100 to 250 ms in a room: the limits of short notes and of rooms.
    assert np.median(errors) <= 1.0
    assert np.quantile(errors, 0.95) <= 5.0
