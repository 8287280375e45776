"""Events: what is played together, how long it lasts, what sounds on."""

from __future__ import annotations

from fractions import Fraction

from skeleton.listening.events import GRACE_QUARTERS, score_events
from skeleton.score.reading import read_bytes


def note(step, octave, duration, *, chord=False, extra="", voice="1", grace=False):
    length = "" if grace else f"<duration>{duration}</duration>"
    return (
        f"<note>{'<grace/>' if grace else ''}{'<chord/>' if chord else ''}<pitch><step>{step}"
        f"</step><octave>{octave}</octave></pitch>{length}<voice>{voice}</voice>{extra}</note>"
    )


def part(*measures):
    body = "".join(
        f'<measure number="{number}">'
        + ("<attributes><divisions>2</divisions></attributes>" if number == 1 else "")
        + f"{measure}</measure>"
        for number, measure in enumerate(measures, start=1)
    )
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin'
        f'</part-name></score-part></part-list><part id="P1">{body}</part></score-partwise>'
    )
    return read_bytes(text.encode(), "made").parts[0]


def events(one, **how):
    hz = {n.id: 440.0 + n.index for n in one.notes if n.is_attack}
    return score_events(one, hz, **how)


def test_chords_are_one_event_and_rests_are_told():
    one = part(
        note("D", 4, 2)
        + note("A", 4, 2, chord=True)
        + "<note><rest/><duration>2</duration><voice>1</voice></note>"
        + note("E", 5, 4)
    )
    first, second = events(one)
    assert [len(first.notes), len(second.notes)] == [2, 1]
    assert (first.quarters, first.rest_after, second.onset_quarters) == (1, True, 2)
    assert (first.first_in_measure, second.first_in_measure) == (True, False)


def test_a_tie_lengthens_its_attack_and_is_no_event():
    tie, stop = '<tie type="start"/>', '<tie type="stop"/>'
    one = part(note("D", 4, 8, extra=tie), note("D", 4, 4, extra=stop) + note("E", 4, 4))
    found = events(one)
    assert len(found) == 2
    assert found[0].quarters == 6
    assert found[1].measure == 1


def test_what_another_voice_holds_sounds_along():
    one = part(
        note("G", 3, 4)
        + "<backup><duration>4</duration></backup>"
        + note("D", 4, 2, voice="2")
        + note("E", 4, 2, voice="2")
    )
    first, second = events(one)
    assert len(first.notes) == 2
    assert first.quarters == 1
    assert len(second.held_hz) == 1


def test_grace_notes_are_short_events_before_their_note():
    found = events(part(note("C", 5, 0, grace=True) + note("D", 5, 4)))
    assert [one.grace for one in found] == [True, False]
    assert found[0].quarters == GRACE_QUARTERS


def test_only_the_measures_asked_for():
    one = part(note("D", 4, 8), note("E", 4, 8), note("F", 4, 8))
    found = events(one, first_measure=1, last_measure=1)
    assert [one.measure for one in found] == [1]
    assert found[0].quarters == Fraction(4)
