"""The whole analysis: instruments, rule fit, notices, and what must not change it."""

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import parse_lesson
from skeleton.errors import OptionError, ScoreError


def assumed(score, lesson=None):
    analysis = analyse(score, lesson)
    notices = [n.message for n in analysis.notices if n.code == "instrument-assumed"]
    return [part.instrument.name for part in analysis.parts], notices


def test_the_instrument_by_name_range_or_default(music):
    names, notices = assumed(music("C5 D5", name="Violoncello II"))
    assert names == ["cello"]
    assert "'Violoncello II'" in notices[0]
    names, notices = assumed(music("C3 D5", name="Line"))
    assert names == ["viola"]
    assert "C3 to D5" in notices[0]
    names, notices = assumed(music("C5 D5", name=None))
    assert names == ["violin"]
    assert "G3 D4 A4 E5" in notices[0]


def test_the_instrument_of_the_lesson_needs_no_notice(music):
    assert assumed(music("C5"), parse_lesson('instrument = "cello"')) == (["cello"], [])
    lesson = parse_lesson('open_strings = ["A3", "E4", "A4", "E5"]')
    analysis = analyse(music("D5 E5"), lesson)
    assert [str(n.open_string) for n in analysis.parts[0].skeleton] == ["E5"]
    assert "instrument-assumed" not in [notice.code for notice in analysis.notices]


def test_notices_of_the_score_come_first(music):
    codes = [n.code for n in analyse(music("C5 (C5 C5 C5 | C5 C5 C5 C5")).notices]
    assert codes[0].startswith("slur")
    assert codes[1:] == ["instrument-assumed", "no-slurs"]


def test_no_slurs_and_what_fits_instead(music):
    score = music("F#4! B4 F#4 F4!:2 C5:2 | C5 C5 F#4! G4")
    (notice,) = [n for n in analyse(score).notices if n.code == "no-slurs"]
    assert "open-string" in notice.message
    assert "'on-beat'" in notice.message
    assert "%" in notice.message
    assert "no-slurs" not in [n.code for n in analyse(score, rule="on-beat").notices]


def test_a_rule_that_takes_nothing(music):
    codes = [n.code for n in analyse(music("(C5 D5 E5) C5"), rule="pairs").notices]
    assert "rule-takes-nothing" in codes
    assert "no-slurs" not in codes


def test_rule_fit(music):
    # Two slurs of two, each an accidental and its skeleton note; one slur of three.
    score = music("(Bb4! C5) (A#4! B4) | (C#5! F4 C5) C5")
    fits = {fit.rule: fit for fit in analyse(score).rule_fit}
    assert list(fits) == ["second", "first", "last", "pairs", "on-beat"]
    # second: C5, B4, F4. Bb4 hangs on C5 (whole step), A#4 on B4 (half step). C#5 stands as near
    # to B4 as to F4; F4 shares its slur.
    assert fits["second"].notes == 3
    assert fits["second"].half_step_share == pytest.approx(1 / 3)
    assert fits["second"].unaltered_share == 1.0
    # first: Bb4, A#4, C#5, all altered; none is a half step from its neighbour.
    assert (fits["first"].notes, fits["first"].unaltered_share) == (3, 0.0)
    # last: C5, B4, C5: C#5 hangs on B4, one beat before.
    assert fits["last"].half_step_share == pytest.approx(1 / 3)
    assert fits["pairs"].notes == 2


def test_shares_of_nothing_are_zero(music):
    fits = analyse(music("C5 F4 | B4")).rule_fit
    assert [(f.half_step_share, f.unaltered_share, f.notes) for f in fits if f.rule == "pairs"] == [
        (0.0, 0.0, 0)
    ]


def test_the_fit_agrees_with_the_analysis(music):
    score = music("(F#4! G4) (C5 C#5!) | (Bb4! A4 F4) (B4! C5) | r D5 D#5! F5")
    analysis = analyse(score)
    accidentals = analysis.parts[0].accidentals
    half_steps = sum(n.anchor.interval.is_half_step for n in accidentals if n.anchor)
    assert half_steps
    assert analysis.rule_fit[0].half_step_share == half_steps / len(accidentals)


def test_parts_are_chosen_by_id_or_name(music):
    score = music.score(music.part("C5 F4"), music.part("F4 C5", name="Viola"))
    assert [p.part for p in analyse(score).parts] == ["P1", "P2"]
    assert [p.part for p in analyse(score, part="viola").parts] == ["P2"]
    assert [p.part for p in analyse(score, part="P1").parts] == ["P1"]
    with pytest.raises(OptionError, match=r"no part 'P3'.*P1 \(Violin\), P2 \(Viola\)"):
        analyse(score, part="P3")
    twice = music.score(music.part("C5"), music.part("F4"))
    with pytest.raises(OptionError, match="several parts are named 'Violin'"):
        analyse(twice, part="Violin")


def test_places_are_what_is_printed(music):
    score = music("C5:1/2 | C5 F#4!:1/2 C5:1/2 C5 C5", pickup=True)
    (note,) = analyse(score).parts[0].accidentals
    place = note.place
    assert (place.part, place.measure, place.measure_index) == ("P1", "1", 1)
    assert (place.beat, place.onset_quarters, place.voice) == (2, 1.5, "1")


def test_analysing_changes_nothing_and_repeats(music):
    text = "(F#4! G4) (C5 C#5!) | (Bb4! A4 F4) C5"
    assert analyse(music(text)) == analyse(music(text))


def test_a_score_without_notes_is_refused(music):
    with pytest.raises(ScoreError, match=r"test\.musicxml: no part with pitched notes"):
        analyse(music("r r r r | r r r r"))
