"""One etude for every file with the same music; another as soon as a note differs."""

from __future__ import annotations

import re
from types import ModuleType

import pytest

from skeleton.journal.content import content_id, note_keys
from skeleton.score.model import Score
from skeleton.score.reading import read_bytes


def read(data: bytes) -> Score:
    return read_bytes(data, "etude.musicxml")


def test_exported_again_it_is_the_same(students: ModuleType) -> None:
    first = read(students.document(students.PITCHES.split()))
    again = read(students.document(students.PITCHES.split(), reexported=True))
    assert first.source.data != again.source.data
    assert content_id(first) == content_id(again)
    assert list(note_keys(first).values()) == list(note_keys(again).values())
    assert set(note_keys(first)) != set(note_keys(again))
    assert list(note_keys(first).values())[:5] == [
        "1:0:F#4", "1:1:G4", "1:2:C#5", "1:3:D5", "1:4:F#5"
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("<step>G</step><alter>0", "<step>G</step><alter>1"),
        ("<octave>4", "<octave>6"),
        ("<duration>1</duration>", "<duration>2</duration>"),
        ('<slur type="start" number="1"/>', ""),
    ],
)
def test_another_note_is_another_etude(students: ModuleType, old: str, new: str) -> None:
    text = students.document(students.PITCHES.split()).decode()
    assert old in text
    assert content_id(read(text.encode())) != content_id(read(text.replace(old, new, 1).encode()))


def test_what_is_not_played_does_not_count(students: ModuleType) -> None:
    text = students.document(students.PITCHES.split()).decode()
    other = text.replace('number="1">', 'number="X7">').replace("Violin", "Vl. 1")
    other = other.replace("<notations>", "<notations><fermata/>")
    assert content_id(read(text.encode())) == content_id(read(other.encode()))


def one_measure(notes: str) -> Score:
    return read(
        (
            '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>V</part-name>'
            '</score-part></part-list><part id="P1"><measure number="1"><attributes>'
            "<divisions>4</divisions></attributes>"
            f"{notes}</measure></part></score-partwise>"
        ).encode()
    )


A = "<note>{}<pitch><step>A</step><octave>4</octave></pitch>{}</note>"


def test_ties_are_one_length() -> None:
    whole = one_measure(A.format("", "<duration>8</duration>"))
    tied = one_measure(
        A.format("", '<duration>4</duration><tie type="start"/>')
        + A.format("", '<duration>4</duration><tie type="stop"/>')
    )
    assert content_id(whole) == content_id(tied)
    struck = one_measure(A.format("", "<duration>4</duration>") * 2)
    assert content_id(whole) != content_id(struck)


def test_one_pitch_struck_twice_at_one_time() -> None:
    score = one_measure(A.format("<grace/>", "") * 2 + A.format("", "<duration>4</duration>"))
    assert list(note_keys(score).values()) == ["1:0:A4", "1:0:A4:2", "1:0:A4:3"]


def test_voices_written_in_another_order() -> None:
    upper = "".join(
        re.sub("</pitch>", f"</pitch><duration>4</duration><voice>{voice}</voice>", note)
        for voice, note in ((1, A.format("", "")),)
    )
    lower = upper.replace("<step>A", "<step>D").replace("<voice>1", "<voice>2")
    back = "<backup><duration>4</duration></backup>"
    one, other = one_measure(upper + back + lower), one_measure(lower + back + upper)
    assert content_id(one) == content_id(other)
    assert sorted(note_keys(one).values()) == sorted(note_keys(other).values())
