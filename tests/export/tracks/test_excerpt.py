"""What a practice track plays of a score, and what it leaves out."""

from __future__ import annotations

from fractions import Fraction

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, LessonPassage
from skeleton.errors import OptionError
from skeleton.export.tracks.excerpt import excerpt, passage_named
from skeleton.score.reading import read_bytes


def note(pitch, duration, *, name=None, before="", after="", chord=False):
    inner = (
        f"<pitch><step>{pitch[0]}</step><alter>{pitch.count('#') - pitch.count('b')}</alter>"
        f"<octave>{pitch[-1]}</octave></pitch>"
        if pitch
        else "<rest/>"
    )
    length = "" if "<grace" in before else f"<duration>{duration}</duration>"
    return (
        f"<note{f' id={chr(34)}{name}{chr(34)}' if name else ''}>{before}"
        f"{'<chord/>' if chord else ''}{inner}{length}<voice>1</voice>{after}</note>"
    )


def slur(kind):
    return f'<notations><slur type="{kind}"/></notations>'


def tie(*kinds):
    return "".join(f'<tie type="{kind}"/>' for kind in kinds)


def score(*measures, time=(2, 4), parts=1, pickup=False):
    attributes = (
        "<attributes><divisions>4</divisions><time>"
        f"<beats>{time[0]}</beats><beat-type>{time[1]}</beat-type></time></attributes>"
    )
    held = ""
    for number, music in enumerate(measures, start=0 if pickup else 1):
        implicit = 'implicit="yes"' if number == 0 else ""
        first = attributes if not held else ""
        held += f'<measure number="{number}" {implicit}>{first}{music}</measure>'
    listed = "".join(
        f'<score-part id="P{n}"><part-name>Violin {n}</part-name></score-part>'
        for n in range(1, parts + 1)
    )
    bodies = "".join(f'<part id="P{n}">{held}</part>' for n in range(1, parts + 1))
    text = f'<score-partwise version="4.0"><part-list>{listed}</part-list>{bodies}</score-partwise>'
    return read_bytes(text.encode(), "etude.musicxml")


def analysed(read, *measures):
    passages = tuple(LessonPassage(name, numbers) for name, numbers in measures)
    return analyse(read, Lesson(passages=passages))


def heard(read, stage="all", name="A", passages=(("A", ("1", "1")), ("B", ("2", "2")))):
    analysis = analysed(read, *passages)
    return excerpt(analysis, passage_named(analysis, name), stage)


def spans(music):
    return {one.note: (one.start, one.end) for one in music.notes}


def test_rests_stay_and_chords_sound_together():
    read = score(
        note("G4", 2, name="a") + note("", 2) + note("B4", 4, name="b")
        + note("D5", 4, name="c", chord=True)
    )  # fmt: skip
    music = heard(read, passages=(("A", ("1", "1")),))
    half = Fraction(1, 2)
    assert spans(music) == {"a": (0, half), "b": (1, 2), "c": (1, 2)}
    assert music.length == 2


def test_ties_are_joined_and_cut_at_the_passage():
    read = score(
        note("G4", 4, name="a") + note("A4", 4, name="b", before="", after=tie("start")),
        note("A4", 4, name="c", after=tie("stop")) + note("D5", 4, name="d"),
    )
    both = heard(read, name="all", passages=(("all", ("1", "2")),))
    assert spans(both) == {"a": (0, 1), "b": (1, 3), "d": (3, 4)}
    assert spans(heard(read, name="A")) == {"a": (0, 1), "b": (1, 2)}
    # Held into the passage from before: it begins with the passage.
    assert spans(heard(read, name="B")) == {"b": (0, 1), "d": (1, 2)}


def test_cue_notes_are_silent_and_hidden_ones_sound():
    read = score(
        note("G4", 4, name="a", before="<cue/>")
        + note("A4", 4, name="b").replace("<note ", '<note print-object="no" ')
    )
    assert set(spans(heard(read, passages=(("A", ("1", "1")),)))) == {"b"}


def test_grace_notes_stand_before_their_note_and_only_in_the_full_etude():
    read = score(
        note("G4", 4, name="a")
        + note("C5", 0, name="g1", before="<grace/>")
        + note("C#5", 0, name="g2", before="<grace/>")
        + note("D5", 4, name="b")
    )
    music = heard(read, passages=(("A", ("1", "1")),))
    graces = {one.note: (one.start, one.end, one.grace) for one in music.notes if one.grace}
    assert graces == {"g1": (1, 1, 2), "g2": (1, 1, 1)}
    assert "g1" not in spans(heard(read, "neighbours", passages=(("A", ("1", "1")),)))


PAIRS = (
    note("F#4", 2, name="a", after=slur("start")) + note("G4", 2, name="b", after=slur("stop"))
    + note("C#5", 2, name="c", after=slur("start")) + note("D5", 2, name="d", after=slur("stop"))
)  # fmt: skip


def test_bare_holds_the_skeleton_for_the_whole_slur():
    music = heard(score(PAIRS, PAIRS.replace('id="', 'id="x')), "bare")
    assert spans(music) == {"b": (0, 1), "d": (1, 2)}


def test_neighbours_keep_their_own_times():
    music = heard(score(PAIRS, PAIRS.replace('id="', 'id="x')), "neighbours")
    half = Fraction(1, 2)
    assert spans(music) == {"a": (0, half), "b": (half, 1), "c": (1, 3 * half), "d": (3 * half, 2)}


def test_the_second_passage_begins_at_zero():
    music = heard(score(PAIRS, PAIRS.replace('id="', 'id="x')), "bare", "B")
    assert spans(music) == {"xb": (0, 1), "xd": (1, 2)}


def test_all_parts_sound_together():
    read = score(PAIRS.replace(' id="a"', "").replace(' id="b"', ""), parts=2)
    music = heard(read, "all", passages=(("A", ("1", "1")),))
    assert len(music.notes) == 8
    assert {one.part for one in music.notes} == {"P1", "P2"}


@pytest.mark.parametrize(
    ("time", "length", "beat", "count_in"),
    [
        ((2, 4), 8, 1, [-2, -1]),
        ((3, 4), 12, 1, [-3, -2, -1]),
        ((6, 8), 12, Fraction(3, 2), [-3, Fraction(-3, 2)]),
        ((2, 2), 16, 2, [-4, -2]),
        # One beat is too short a warning: two bars of it.
        ((1, 4), 4, 1, [-2, -1]),
        ((3, 8), 6, Fraction(1, 2), [Fraction(-3, 2), -1, Fraction(-1, 2)]),
    ],
)
def test_a_bar_is_counted_before_the_start(time, length, beat, count_in):
    music = heard(score(note("G4", length), time=time), passages=(("A", ("1", "1")),))
    assert music.beat == beat
    assert list(music.count_in) == count_in
    assert music.lead_in == count_in[0]
    assert not music.pickup


def test_a_pickup_is_counted_into():
    read = score(note("D4", 4), note("G4", 12), time=(3, 4), pickup=True)
    music = heard(read, passages=(("A", ("0", "1")),))
    assert music.pickup
    # A bar, then two of the three beats of the bar that the pickup ends.
    assert list(music.count_in) == [-5, -4, -3, -2, -1]
    assert [bar.beats for bar in music.bars] == [(0,), (1, 2, 3)]


def test_without_a_name_the_whole_etude_is_played():
    analysis = analysed(score(PAIRS, PAIRS.replace('id="', 'id="x')), ("A", ("1", "1")))
    whole = passage_named(analysis, None)
    assert (whole.first_measure, whole.last_measure) == ("1", "2")
    assert len(excerpt(analysis, whole, "all").notes) == 8


def test_names_are_found_in_small_letters_too():
    analysis = analysed(score(PAIRS), ("Run", ("1", "1")))
    assert passage_named(analysis, "run").name == "Run"
    with pytest.raises(OptionError, match=r"etude\.musicxml: no passage 'walk'; there are Run"):
        passage_named(analysis, "walk")


def test_nothing_to_play_is_told():
    read = score(note("", 8), note("G4", 8))
    analysis = analysed(read, ("A", ("1", "1")))
    with pytest.raises(OptionError, match="no notes at this stage"):
        excerpt(analysis, passage_named(analysis, "A"), "all")
