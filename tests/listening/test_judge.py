"""Verdicts on made measurements: strings, leans, returns, the take as a whole."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from skeleton.analysis.analyse import analyse
from skeleton.audio.strings import Sounding
from skeleton.listening.judge import Limits, judge_attempts, judge_notes
from skeleton.listening.measure import HeardNote
from skeleton.listening.note_targets import note_targets
from skeleton.listening.report import findings
from skeleton.listening.returns import judge_returns
from skeleton.listening.take_reference import from_notes, from_strings, given, strings_end_s
from skeleton.listening.tendency import tendency
from skeleton.score.reading import read_bytes
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz
from skeleton.theory.pitch import parse_pitch

VIOLIN = INSTRUMENTS["violin"]
LIMMA_CENTS = 1200 * math.log2(256 / 243)  # exact ratio of the Pythagorean diatonic half step
SE_CENTS = 0.5


@pytest.fixture(scope="module")
def etude(made):
    """F sharp slurred up to G three times (once an octave higher), then D, A, C."""
    pairs = [("F#4", "G4"), ("F#5", "G5"), ("F#4", "G4")]
    notes = []
    for low, high in pairs:
        notes.append(made.Written(parse_pitch(low), made.Fraction(1), "start"))
        notes.append(made.Written(parse_pitch(high), made.Fraction(1), "stop"))
    notes += [made.Written(parse_pitch(one), made.Fraction(1)) for one in ("D5", "A4")]
    return analyse(read_bytes(made.music(notes, 0), "pairs"))


@pytest.fixture(scope="module")
def targets(etude):
    return note_targets(etude, etude.parts[0])


def heard(targets, off_cents, se_cents=SE_CENTS, **changes):
    """Every note once, a second apart, off by what is given by id."""
    found = []
    for place, (note, target) in enumerate(sorted(targets.items(), key=lambda i: int(i[0][1:]))):
        hz = target.hz * 2 ** (off_cents.get(note, 0.0) / 1200)
        found.append(
            HeardNote(note, place, 1, float(place), place + 0.9, 1.0, False, hz, se_cents, None, 0)
        )
    return [replace(one, **changes.get(one.note, {})) for one in found]


def judged(targets, off_cents, **how):
    notes = heard(targets, off_cents, **how)
    found = judge_notes(notes, targets, given(VIOLIN, open_string_hz(VIOLIN)), Limits())
    return {one.note: one for one in found}


def test_roles_and_targets(targets):
    assert [targets[f"n{i}"].role for i in range(1, 9)] == [
        "accidental", "fixed", "accidental", "fixed", "accidental", "fixed", "fixed", "fixed",
    ]  # fmt: skip
    assert targets["n1"].lean_cents == pytest.approx(LIMMA_CENTS)
    assert targets["n4"].hz == pytest.approx(4 * 440 * 4 / 9)  # G5, two octaves over open G


def test_in_tune_off_and_cannot_tell(targets):
    found = judged(targets, {"n2": 3.0, "n4": 5.5, "n7": -9.0, "n8": 9.0})
    # Tolerance 5, U = 2 sqrt(0.5^2 + 0.5^2) = 1.41: in up to 3.59, off beyond 6.41.
    assert [found[n].verdict for n in ("n2", "n4", "n7", "n8")] == [
        "in tune", "cannot tell", "flat", "sharp",
    ]  # fmt: skip
    assert found["n8"].u_cents == pytest.approx(2 * math.hypot(0.5, 0.5))


def test_no_verdict_that_the_measurement_cannot_carry(targets):
    found = judged(targets, {"n8": 9.0}, se_cents=4.0)
    assert found["n8"].verdict == "cannot tell"
    assert found["n2"].verdict == "cannot tell"


def test_a_lean_is_held_against_the_anchor_as_played(targets):
    # The anchor is 20 high and the accidental goes along: the step is what it should be.
    found = judged(targets, {"n1": 20.0, "n2": 20.0})
    assert found["n2"].verdict == "sharp"
    assert found["n1"].lean_cents == pytest.approx(LIMMA_CENTS)
    assert found["n1"].verdict == "in tune"
    # The accidental stays where its target is: 110 under a high G is too wide, so it is low.
    found = judged(targets, {"n2": 20.0})
    assert found["n1"].lean_cents == pytest.approx(LIMMA_CENTS + 20)
    assert found["n1"].verdict == "flat"
    assert found["n1"].off_cents == pytest.approx(-(LIMMA_CENTS + 20 - 100))
    found = judged(targets, {"n1": 15.0})
    assert found["n1"].verdict == "sharp"


def test_without_its_anchor_a_note_is_held_against_its_target(targets):
    notes = heard(targets, {"n1": 12.0}, n2={"reason": "ringing"})
    found = judge_notes(notes, targets, given(VIOLIN, open_string_hz(VIOLIN)), Limits())
    first = found[0]
    assert first.lean_cents is None
    assert first.verdict == "sharp"
    assert found[1].verdict is None
    assert found[1].unjudged == "ringing"


def test_attempts_are_all_kept_and_pooled(targets):
    notes = heard(targets, {"n8": 8.0})
    again = replace(notes[-1], attempt=2, start_s=20.0, hz=targets["n8"].hz * 2 ** (10 / 1200))
    reference = given(VIOLIN, open_string_hz(VIOLIN))
    attempts = judge_attempts([*notes, again], targets, reference, Limits())
    pooled = judge_notes([*notes, again], targets, reference, Limits())
    assert [round(one.cents) for one in attempts if one.note == "n8"] == [8, 10]
    assert pooled[-1].cents == pytest.approx(9.0)
    assert len(pooled[-1].heard) == 2


def test_the_return_that_stands_apart(etude, targets):
    off = {"n3": -18.0}
    found = judged(targets, off)
    (group,) = judge_returns(etude.parts[0].matches, list(found.values()), targets, Limits())
    assert group.spread_cents == pytest.approx(18.0)
    (apart,) = group.apart
    assert (apart.note, apart.octave, apart.verdict) == ("n3", 5, "sharp")
    assert apart.from_others_cents == pytest.approx(18.0)
    # Two that differ cannot say which is the odd one.
    two = [one for note, one in found.items() if note != "n5"]
    (group,) = judge_returns(etude.parts[0].matches, two, targets, Limits())
    assert not group.apart
    assert group.spread_cents == pytest.approx(18.0)


def test_findings_name_the_cause_once(etude, targets):
    found = list(judged(targets, {"n2": 14.0, "n4": 15.0, "n6": 16.0, "n1": 14.0, "n3": 15.0,
                                  "n5": 16.0}).values())  # fmt: skip
    groups = judge_returns(etude.parts[0].matches, found, targets, Limits())
    told = findings(found, targets, groups, None)
    assert [(one.kind, one.notes) for one in told] == [("string", ("n2", "n4", "n6"))]
    assert told[0].cents == pytest.approx(15.0)
    assert findings(list(judged(targets, {}).values()), targets, groups, None) == ()


def test_a_return_apart_is_told_where_it_is_not_told_as_a_lean(etude, targets):
    # 99.2 cents lies in the band, and 12 from the other two that lie at 87.2.
    off = {"n3": -9.0, "n1": 3.0, "n5": 3.0}
    found = list(judged(targets, off, se_cents=0.2).values())
    groups = judge_returns(etude.parts[0].matches, found, targets, Limits())
    assert [(one.kind, one.notes) for one in findings(found, targets, groups, None)] == [
        ("return", ("n3",))
    ]
    off["n3"] = -30.0
    found = list(judged(targets, off, se_cents=0.2).values())
    groups = judge_returns(etude.parts[0].matches, found, targets, Limits())
    assert groups[0].apart
    assert [(one.kind, one.notes) for one in findings(found, targets, groups, None)] == [
        ("lean", ("n3",))
    ]


def test_tendency_is_told_from_single_notes():
    rng = np.random.default_rng(1)
    values = [(float(t), 8.0 + 0.2 * (t - 30) + float(rng.normal(0, 2))) for t in range(60)]
    values[10] = (10.0, -60.0)
    found = tendency(values, 0.5, own_reference=False)
    assert abs(found.height_cents - 8.0) < 1.5
    assert abs(found.drift_cents - 0.2 * 59) < 3.0
    assert (found.height, found.drift) == ("sharp", "sharp")
    assert abs(found.at(59.0) - (8.0 + 0.2 * 29)) < 2.5
    own = tendency(values, 0.5, own_reference=True)
    assert own.height is None
    assert tendency(values[:5], 0.5, own_reference=False) is None


def test_a_steady_take_has_no_drift():
    rng = np.random.default_rng(2)
    values = [(float(t), float(rng.normal(0, 3))) for t in range(100)]
    found = tendency(values, 0.3, own_reference=False)
    assert (found.height, found.drift) == ("in tune", "in tune")


def test_without_strings_the_take_gives_its_own_height(targets):
    notes = heard(targets, dict.fromkeys(targets, 21.0))
    reference = from_notes(notes, targets, VIOLIN, open_string_hz(VIOLIN))
    assert reference.origin == "notes"
    assert 1200 * math.log2(reference.hz[2] / 440.0) == pytest.approx(21.0, abs=0.01)


def test_strings_before_the_music_are_found(made):
    from skeleton.audio.strings import soundings

    hz = [one * 2 ** (7 / 1200) for one in open_string_hz(VIOLIN)]
    line = [made.tones.Tone(one, 0.3 + 1.4 * i, 1.6 + 1.4 * i) for i, one in enumerate(hz)]
    line += [made.tones.Tone(300.0, 6.5, 7.0), made.tones.Tone(350.0, 7.0, 7.5)]
    found = soundings(made.tones.mixed(line, 3), made.RATE, VIOLIN)
    end_s = strings_end_s(found, VIOLIN, ())
    assert 5.3 < end_s < 6.2
    reference = from_strings([one for one in found if one.end_s <= end_s], VIOLIN)
    assert reference.heard == (True, True, True, True)
    off = [1200 * math.log2(a / b) for a, b in zip(reference.hz, hz, strict=True)]
    assert max(map(abs, off)) < 1.0
    assert strings_end_s(found[:2], VIOLIN, ()) == 0.0


@pytest.mark.parametrize(("off_cents", "counts"), [(-200.0, False), (200.0, False), (-70.0, True)])
def test_a_note_a_whole_step_from_a_string_is_not_that_string(off_cents, counts):
    """A G4 after the strings is no A; an A that is tuned once more still is."""
    strings = list(zip(VIOLIN.open_strings, open_string_hz(VIOLIN), strict=True))
    found = [
        Sounding(name, 1.2 * i, 1.2 * i + 1.1, hz, 0.5) for i, (name, hz) in enumerate(strings)
    ]
    name, hz = strings[2]
    again = Sounding(name, 5.0, 6.1, hz * 2 ** (off_cents / 1200), 0.5)
    assert strings_end_s([*found, again], VIOLIN, ()) == (6.1 if counts else found[-1].end_s)
