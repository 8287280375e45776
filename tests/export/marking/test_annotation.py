"""The annotated file: valid, opens elsewhere, says the same music, and is the source plus marks."""

from __future__ import annotations

import re
import warnings
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, read_lesson
from skeleton.analysis.results import Analysis
from skeleton.errors import ScoreError
from skeleton.export.engraving.engraver import Engraver, Layout
from skeleton.export.marking.annotation import annotated_bytes, annotated_root
from skeleton.export.marking.marks import marks
from skeleton.export.marking.splice import take_out
from skeleton.score.reading import read, read_bytes

SCORES = Path(__file__).parents[3] / "scores"
DEMOS = sorted(path.name for path in SCORES.iterdir() if path.suffix in {".musicxml", ".mxl"})


def demo(name: str) -> Analysis:
    path = SCORES / name
    lesson = path.with_suffix(".toml")
    return analyse(read(path), read_lesson(lesson) if lesson.exists() else Lesson())


def annotated(found: Analysis, *, in_words: bool = False) -> bytes:
    """Annotate; taking the additions out must give the source back."""
    data, added, notices = annotated_bytes(found.score, marks(found, in_words=in_words))
    assert notices == ()
    assert added
    assert take_out(data, added) == found.score.source.data
    return data


def tree(data: bytes) -> etree._Element:
    parser = etree.XMLParser(resolve_entities=False, load_dtd=False, no_network=True)
    return etree.fromstring(data, parser)


def findings(found: Analysis) -> object:
    """All that was found, without the name and bytes of the file."""
    return (found.parts, found.passages, found.rule_fit, found.score.parts)


@pytest.mark.parametrize("in_words", [False, True])
@pytest.mark.parametrize("name", DEMOS)
def test_demo_etudes(musicxml_schema, name: str, in_words: bool) -> None:
    found = demo(name)
    data = annotated(found, in_words=in_words)
    assert musicxml_schema.validate(tree(data)), musicxml_schema.error_log[0]
    lesson = (SCORES / name).with_suffix(".toml")
    again = analyse(
        read_bytes(data, "annotated.musicxml"),
        read_lesson(lesson) if lesson.exists() else Lesson(),
    )
    assert findings(again) == findings(found)


@pytest.mark.parametrize("name", DEMOS)
def test_a_second_reader_finds_the_same_notes(name: str) -> None:
    music21 = pytest.importorskip("music21")
    found = demo(name)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.filterwarnings("ignore", category=DeprecationWarning)
        stream = music21.converter.parseData(annotated(found).decode("utf-8"), format="musicxml")
    for part, other in zip(found.score.parts, stream.parts, strict=True):
        assert sorted(
            (Fraction(note.getOffsetInHierarchy(other)), pitch.nameWithOctave.replace("-", "b"))
            for note in other.recurse().notes
            for pitch in note.pitches
            if not note.duration.isGrace
        ) == sorted(
            (note.onset_quarters, str(note.pitch))
            for note in part.notes
            if note.pitch is not None and not note.grace
        )


def test_the_engraver_takes_annotated_files_without_a_word() -> None:
    with Engraver() as engraver:
        for name in DEMOS:
            found = demo(name)
            ids = [note.place.id for part in found.parts for note in part.skeleton]
            engraved = engraver.engrave(
                annotated(found).decode("utf-8"), Layout(), expect_ids=ids, name=name
            )
            assert engraved.warnings == ()


def test_every_label_stands_at_its_note() -> None:
    found = demo("lower-neighbours-in-d.musicxml")
    wanted = {label.note: label.line for label in marks(found).labels if label.row == "lean"}
    notes = {note.get("id"): note for note in tree(annotated(found)).iter("note")}
    assert wanted
    for note, line in wanted.items():
        assert notes[note].findtext("lyric[@number='1']/text") == line


# --- sources of other shapes


def timewise(data: bytes) -> bytes:
    """The same music measure by measure."""
    root = tree(data)
    other = etree.Element("score-timewise", dict(root.attrib))
    parts = root.findall("part")
    for child in root:
        if child.tag != "part":
            other.append(child)
    for columns in zip(*(part.findall("measure") for part in parts), strict=True):
        measure = etree.SubElement(other, "measure", number=columns[0].get("number", ""))
        for part, column in zip(parts, columns, strict=True):
            etree.SubElement(measure, "part", id=part.get("id", "")).extend(list(column))
    return etree.tostring(other)


def duo(write_etude) -> bytes:
    one = write_etude("C#5:1( D5:1) | F#4:1( G4:1)", metre="2/4").decode()
    two = write_etude("G#4:1( A4:1) | D#5:1( E5:1)", metre="2/4").decode()
    part = two[two.index("<part id") : two.index("</score-partwise>")]
    part = part.replace('"P1"', '"P2"').replace('id="a', 'id="b')
    listed = '<score-part id="P2"><part-name>Violin</part-name></score-part></part-list>'
    return (
        one.replace("</part-list>", listed).replace("</score-partwise>", part + "</score-partwise>")
    ).encode()


def test_timewise_files_are_marked_in_place(write_etude) -> None:
    """Their notes stand in another order than by part: each gets its own marks all the same."""
    source = timewise(duo(write_etude))
    found = analyse(read_bytes(source, "duo.musicxml"))
    data = annotated(found)
    assert findings(analyse(read_bytes(data, "duo.musicxml"))) == findings(found)
    labels = {
        note.get("id"): note.findtext("lyric[@number='1']/text") for note in tree(data).iter("note")
    }
    assert labels == {
        "a1": "D−½", "b1": "A−½", "a3": "G−½", "b3": "E−½",
        "a2": None, "b2": None, "a4": None, "b4": None,
    }  # fmt: skip


def test_ids_go_to_the_right_notes_of_a_timewise_file(write_etude) -> None:
    source = re.sub(rb'<note id="[^"]*">', b"<note>", timewise(duo(write_etude)))
    found = analyse(read_bytes(source, "duo.musicxml"))
    again = analyse(read_bytes(annotated(found), "duo.musicxml"))
    assert findings(again) == findings(found)


def test_lyrics_of_the_source_keep_their_numbers(write_etude) -> None:
    sung = '<lyric number="2"><syllabic>single</syllabic><text>la</text></lyric></note>'
    source = write_etude("C#5:1( D5:1)", metre="2/4").replace(b"</note>", sung.encode(), 1)
    root = tree(annotated(analyse(read_bytes(source, "x.musicxml"))))
    first = next(root.iter("note"))
    assert [(e.get("number"), e.findtext("text")) for e in first.findall("lyric")] == [
        ("2", "la"), ("3", "D−½"),
    ]  # fmt: skip


def test_a_default_namespace_is_marked_in_place(write_etude) -> None:
    source = write_etude("C#5:1( D5:1)", metre="2/4").replace(
        b"<score-partwise ", b'<score-partwise xmlns="urn:own" ', 1
    )
    data = annotated(analyse(read_bytes(source, "x.musicxml")))
    assert data.count("D−½".encode()) == 1


@pytest.mark.parametrize("encoding", ["prefix", "Shift_JIS", "blank line", "wrong bytes"])
def test_what_cannot_be_marked_in_place_is_written_anew_with_a_word(
    write_etude, encoding: str
) -> None:
    source = write_etude("C#5:1( D5:1)", metre="2/4")
    if encoding == "prefix":
        source = source.replace(b"</", b"</m:").replace(b"<", b"<m:").replace(b"<m:/m:", b"</m:")
        source = source.replace(b"<m:score-partwise", b'<m:score-partwise xmlns:m="urn:own"', 1)
    elif encoding == "Shift_JIS":
        source = b'<?xml version="1.0" encoding="Shift_JIS"?>' + source
    elif encoding == "blank line":
        source = b'\n<?xml version="1.0" encoding="UTF-8"?>' + source
    else:
        source = source.replace(b">Violin<", b">Violin \xe9<")
    found = analyse(read_bytes(source, "x.musicxml"))
    data, added, notices = annotated_bytes(found.score, marks(found))
    assert added == ()
    assert [notice.code for notice in notices] == ["written-anew"]
    assert findings(analyse(read_bytes(data, "x.musicxml"))) == findings(found)
    assert next(tree(data).iter("note")).findtext("lyric/text") == "D−½"


def test_nothing_is_added_where_there_is_nothing_to_say(write_etude) -> None:
    """Ids apart; the file has them."""
    found = analyse(read_bytes(write_etude("C5:4"), "x.musicxml"))
    shown = marks(found)
    data, added, notices = annotated_bytes(found.score, replace(shown, light=frozenset()))
    assert (data, added, notices) == (found.score.source.data, (), ())


def test_the_tree_for_the_engraver_keeps_its_black(write_etude) -> None:
    found = analyse(read_bytes(write_etude("C#5:1( D5:1)", metre="2/4"), "x.musicxml"))
    root = annotated_root(found.score, marks(found))
    assert not [note for note in root.iter("note") if note.get("color")]
    assert next(root.iter("note")).findtext("lyric/text").startswith("D−½")


# --- the packaged corpus of the second reader


def check_corpus_file(schema: etree.XMLSchema, path: Path) -> bool:
    """Check a file: valid if it was, and the same notes. False where it is no score for us."""
    try:
        score = read(path)
        if sum(len(part.notes) for part in score.parts) > 6000:
            return False
        found = analyse(score)
    except ScoreError:
        return False
    data, added, notices = annotated_bytes(found.score, marks(found))
    if added:
        assert take_out(data, added) == score.source.data
    else:
        assert notices or data == score.source.data
    if schema.validate(tree(score.source.data)):
        assert schema.validate(tree(data)), schema.error_log[0]
    assert read_bytes(data, path.name).parts == score.parts
    return True


def test_a_spread_of_the_corpus(musicxml_schema, packaged_scores: tuple[Path, ...]) -> None:
    spread = packaged_scores[::53]
    assert sum(check_corpus_file(musicxml_schema, path) for path in spread) >= 12


@pytest.mark.corpus
def test_the_whole_corpus(musicxml_schema, packaged_score: Path) -> None:
    if not check_corpus_file(musicxml_schema, packaged_score):
        pytest.skip("no pitched part, or too long")
