"""Other formats, through music21. The tunes are made up for these tests."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import music21
import pytest

from skeleton.errors import ScoreError
from skeleton.score.reading import read, read_bytes, read_source

ABC = """X:1
T:Made up
M:4/4
L:1/4
K:G
(FG) (^cd)|A2- A2|]
"""
KERN = """**kern
*clefG2
*k[f#]
*M4/4
=1
(4f#
4g)
2cc#
=2
[2a
2a]
==
*-
"""
MEI = """<?xml version="1.0" encoding="UTF-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score>
<scoreDef meter.count="2" meter.unit="4" key.sig="1s"><staffGrp>
<staffDef n="1" lines="5" clef.shape="G" clef.line="2"/></staffGrp></scoreDef>
<section><measure n="1"><staff n="1"><layer n="1">
<note xml:id="a" pname="f" oct="4" dur="4" accid.ges="s"/>
<note xml:id="b" pname="g" oct="4" dur="4"/>
</layer></staff><slur startid="#a" endid="#b"/></measure></section>
</score></mdiv></body></music></mei>
"""


def pitches(score) -> list[str]:
    return [str(note.pitch) for note in score.parts[0].notes if note.pitch is not None]


def codes(score) -> list[str]:
    return [notice.code for notice in score.notices]


def midi() -> bytes:
    """A MIDI file of two quarter notes, F#4 and G4 (Standard MIDI Files 1.0)."""
    events = b"".join(
        bytes([0, 0x90, key, 64, 0x60, 0x80, key, 0]) for key in (66, 67)
    ) + bytes([0, 0xFF, 0x2F, 0])  # fmt: skip
    head = b"MThd" + (6).to_bytes(4, "big") + bytes([0, 0, 0, 1, 0, 0x60])
    return head + b"MTrk" + len(events).to_bytes(4, "big") + events


def test_abc():
    score = read_bytes(ABC.encode(), "tune.abc")
    assert pitches(score) == ["F#4", "G4", "C#5", "D5", "A4", "A4"]
    assert len(score.parts[0].slurs) == 2
    assert score.parts[0].notes[-1].tied_from == score.parts[0].notes[-2].id
    assert score.title == "Made up"
    assert score.source.converted_from == "ABC"
    assert codes(score) == ["converted"]
    assert "2 slurs" in score.notices[0].message


def test_humdrum_loses_its_slurs_and_says_so():
    score = read_bytes(KERN.encode(), "tune.krn")
    assert pitches(score) == ["F#4", "G4", "C#5", "A4", "A4"]
    assert score.source.converted_from == "Humdrum"
    assert score.parts[0].slurs == ()
    assert "no slurs came through" in score.notices[0].message


def test_mei():
    score = read_bytes(MEI.encode(), "tune.mei")
    assert pitches(score) == ["F#4", "G4"]
    assert len(score.parts[0].slurs) == 1
    assert score.source.converted_from == "MEI"


def test_mei_in_utf16_and_with_ids_that_are_no_names():
    text = MEI.replace("UTF-8", "UTF-16").replace('xml:id="a"', 'xml:id="1a"')
    text = text.replace("#a", "#1a")
    score = read_bytes(text.encode("utf-16"), "tune.mei")
    assert pitches(score) == ["F#4", "G4"]
    assert len(score.parts[0].slurs) == 1


def test_musedata():
    # A file that music21 brings with its own tests of the format.
    folder = Path(music21.__file__).parent / "musedata" / "testPrimitive" / "test01"
    score = read(min(folder.glob("*.md")))
    assert score.source.converted_from == "MuseData"
    assert len(pitches(score)) > 10


def test_midi():
    score = read_bytes(midi(), "tune.mid")
    assert pitches(score) == ["F#4", "G4"]
    assert score.source.converted_from == "MIDI"


@pytest.mark.parametrize(
    ("data", "form"), [(ABC.encode(), "ABC"), (KERN.encode(), "Humdrum"), (midi(), "MIDI"),
                       (MEI.encode(), "MEI")],
)  # fmt: skip
def test_content_counts_more_than_the_suffix(tmp_path, data, form):
    path = tmp_path / "tune.musicxml"
    path.write_bytes(data)
    assert read(path).source.converted_from == form


def test_the_conversion_is_stable():
    one, other = (read_bytes(ABC.encode(), "tune.abc") for _ in range(2))
    assert one.source.data == other.source.data
    assert one.parts[0].id == "P1"
    assert one.parts[0].notes[0].id == "P1-m1-n1"
    assert b"encoding-date" not in one.source.data
    assert read_source(one.source).parts == one.parts


def test_several_tunes_in_one_file():
    second = ABC.replace("X:1", "X:2")
    score = read_bytes((ABC + "\n" + second).encode(), "tunes.abc")
    assert codes(score) == ["converted", "several-pieces"]
    assert len(pitches(score)) == 6


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (b"MThd\0\0\0\6broken", "x.mid"),
        (b"**kern\n4zz\n*-\n", "x.krn"),
        (b"words, no tune", "x.abc"),
        (b"\x00\x01\x02", "x.krn"),
        (b"nothing of the kind", "x.md"),
        (b'<mei xmlns="http://www.music-encoding.org/ns/mei"/>', "x.mei"),
        (b'<!DOCTYPE mei [<!ENTITY a "b">]><mei/>', "x.mei"),
    ],
)
def test_damaged_ones_are_refused_in_one_line(data, name, capfd):
    with pytest.raises(ScoreError) as caught:
        read_bytes(data, name)
    assert str(caught.value).startswith(name)
    assert "\n" not in str(caught.value)
    assert capfd.readouterr() == ("", ""), "nothing may be printed by the converter"


def test_music21_is_not_imported_for_musicxml(tmp_path, score, measures, note):
    path = tmp_path / "a.musicxml"
    path.write_bytes(score(measures(note())))
    code = (
        "import sys; from skeleton.score.reading import read; "
        f"read({str(path)!r}); print('music21' in sys.modules, 'verovio' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]
