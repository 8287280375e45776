"""The reduction as a file: valid, complete, in order, with the signs it needs and no others."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, parse_lesson, read_lesson
from skeleton.analysis.results import Analysis
from skeleton.errors import ScoreError
from skeleton.export.engraving.engraver import Engraver, Layout
from skeleton.export.reducing.placement import place
from skeleton.export.reducing.reduction import Stage, reduction
from skeleton.export.views import serialised
from skeleton.score.model import Part
from skeleton.score.reading import read, read_bytes

SCORES = Path(__file__).parents[3] / "scores"
DEMOS = sorted(path.name for path in SCORES.iterdir() if path.suffix in {".musicxml", ".mxl"})
STAGES: tuple[Stage, ...] = ("bare", "neighbours")

ROUNDING_QUARTERS = Fraction(1, 32)
"""Bars of files with rounded durations come out to the nearest 64th."""

MOST_NOTES = 6000
"""Longer scores of the corpus are left out: nothing in them is new."""

INVALID_SOURCES = {
    "ComprehensiveChordSymbolsTestFile.mxl",
    "chorale_with_parallels.mxl",
    "checker_demo.mxl",
}
"""Files whose score-part says ``midi-program`` 0, which MusicXML counts from 1. The reduction
keeps what it does not understand, so its part list is no better than theirs."""


def demo(name: str) -> Analysis:
    path = SCORES / name
    lesson = path.with_suffix(".toml")
    return analyse(read(path), read_lesson(lesson) if lesson.exists() else Lesson())


def written(found: Analysis, stage: Stage) -> bytes:
    return serialised(reduction(found, stage).root)


# --- what holds for every reduction


def plain_tree(data: bytes) -> etree._Element:
    parser = etree.XMLParser(resolve_entities=False, load_dtd=False, no_network=True)
    return etree.fromstring(data, parser)


def check_valid(schema: etree.XMLSchema, data: bytes) -> None:
    assert schema.validate(plain_tree(data)), schema.error_log[0]


def check_notes(found: Analysis, stage: Stage, data: bytes) -> None:
    """Reading back gives the kept notes: their ids, pitches and order, and bars as long."""
    again = read_bytes(data, "reduction.musicxml")
    for analysed in found.parts:
        part = found.score.part(analysed.part)
        placements = place(
            part,
            analysed,
            found.passages,
            found.rule,
            keep_open_strings=found.keep_open_strings,
            accidentals=stage == "neighbours",
        )
        if not placements:
            assert analysed.part not in {other.id for other in again.parts}  # rests alone
            continue
        other = again.part(analysed.part)
        for before, after in zip(part.measures, other.measures, strict=True):
            difference = abs(before.length_quarters - after.length_quarters)
            exact = 64 % before.length_quarters.denominator == 0
            assert difference <= (0 if exact else ROUNDING_QUARTERS), before.number
            assert before.number == after.number
        attacks = [note for note in other.notes if note.is_attack]
        pitches = {note.id: note.pitch for note in part.notes}
        assert {note.id: note.pitch for note in attacks} == {
            note: pitches[note] for event in placements for note in event.notes
        }
        in_time = sorted(attacks, key=lambda note: (note.onset_quarters, note.staff))
        for size in (False, True):
            row = [p for p in placements if p.small is size]
            wanted = [event.notes[0] for event in sorted(row, key=lambda p: (p.start, p.staff))]
            heads = set(wanted)
            got = [note.id for note in in_time if note.id in heads]
            assert sorted(got) == sorted(wanted)
            if len({p.voice for p in row}) == 1:
                assert got == wanted


def needed_signs(part: Part) -> set[str]:
    """What a handbook says, by hand: signs hold for their line to the barline, ties carry over.

    Common practice, no source.
    """
    needed: set[str] = set()
    state: dict[tuple[int, str, int], object] = {}
    bar = -1
    notes = sorted(
        (note for note in part.notes if note.pitch is not None),
        key=lambda note: (note.measure, note.onset_quarters),
    )
    for note in notes:
        assert note.pitch is not None
        if note.measure != bar:
            bar, state = note.measure, {}
        place = (note.staff, note.pitch.step, note.pitch.octave)
        key = part.key_at(note.onset_quarters, note.staff).alter(note.pitch.step)
        if note.tied_from is not None:
            continue
        if note.pitch.alter != state.get(place, key):
            needed.add(note.id)
        state[place] = note.pitch.alter
    return needed


def check_signs(data: bytes) -> None:
    score = read_bytes(data, "reduction.musicxml")
    for part in score.parts:
        if any(change.onset_quarters % 1 for change in part.keys):
            continue  # a key that changes inside a bar is beyond this hand count
        starts = {measure.onset_quarters for measure in part.measures}
        if not {change.onset_quarters for change in part.keys} <= starts:
            continue
        assert {note.id for note in part.notes if note.sign is not None} == needed_signs(part)
    assert not [n for n in score.notices if "sign" in n.code or "contradict" in n.code]


def check_slurs_and_beams(data: bytes) -> None:
    root = plain_tree(data)
    for part in root.findall("part"):
        open_slurs: dict[str, int] = {}
        for slur in part.iter("slur"):
            number = slur.get("number", "1")
            open_slurs[number] = open_slurs.get(number, 0) + (
                1 if slur.get("type") == "start" else -1
            )
        assert not any(open_slurs.values())
    assert not [n for n in read_bytes(data, "x.musicxml").notices if "slur" in n.code]
    for measure in root.iter("measure"):
        beams = [beam.text for beam in measure.iterfind("note/beam[@number='1']")]
        assert beams.count("begin") == beams.count("end")


def check(schema: etree.XMLSchema, found: Analysis, stage: Stage) -> None:
    data = written(found, stage)
    check_valid(schema, data)
    check_notes(found, stage, data)
    check_signs(data)
    check_slurs_and_beams(data)


# --- the demo etudes


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("name", DEMOS)
def test_demo_etudes(musicxml_schema, name: str, stage: Stage) -> None:
    check(musicxml_schema, demo(name), stage)


@pytest.fixture(scope="module")
def engraver() -> Iterator[Engraver]:
    with Engraver() as running:
        yield running


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("name", DEMOS)
def test_the_engraver_takes_demo_reductions_without_a_word(
    engraver: Engraver, name: str, stage: Stage
) -> None:
    reduced = reduction(demo(name), stage)
    engraved = engraver.engrave(
        etree.tostring(reduced.root, encoding="unicode"), Layout(), expect_ids=reduced.notes
    )
    assert engraved.missing == ()
    assert engraved.warnings == ()


@pytest.mark.parametrize("name", DEMOS)
def test_second_reader_finds_the_same_notes(name: str) -> None:
    """music21 reads the same pitches at the same times, and would print the same signs."""
    music21 = pytest.importorskip("music21")
    data = written(demo(name), "bare")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.filterwarnings("ignore", category=DeprecationWarning)
        stream = music21.converter.parseData(data.decode("utf-8"), format="musicxml")
    ours = read_bytes(data, "reduction.musicxml")
    for part, other in zip(ours.parts, stream.parts, strict=True):
        wanted = sorted(
            (note.onset_quarters, str(note.pitch)) for note in part.notes if note.pitch is not None
        )
        got = sorted(
            (Fraction(note.getOffsetInHierarchy(other)), _spelled(pitch))
            for note in other.recurse().notes
            for pitch in note.pitches
        )
        assert got == wanted
        if not any(measure.voices for measure in other.getElementsByClass("Measure")):
            _compare_signs(other)


def _compare_signs(part: object) -> None:
    """music21 would print the same signs, with two differences that are its own rules.

    It sets a courtesy sign where the letter was altered otherwise in another octave or in the
    bar before; and it takes a sign to hold for the other octaves of its bar.
    """
    rows = [
        (note.measureNumber, pitch)
        for note in part.recurse().notes  # type: ignore[attr-defined]
        for pitch in note.pitches
    ]

    def shown() -> list[bool]:
        return [pitch.accidental is not None and bool(pitch.accidental.displayStatus)
                for _, pitch in rows]  # fmt: skip

    ours = shown()
    for _, pitch in rows:
        if pitch.accidental is not None:
            pitch.accidental.displayStatus = None
    part.makeAccidentals(  # type: ignore[attr-defined]
        inPlace=True, cautionaryNotImmediateRepeat=False, overrideStatus=True
    )
    for index, (mine, other) in enumerate(zip(ours, shown(), strict=True)):
        measure, pitch = rows[index]
        earlier = [(near, before) for near, before in rows[:index] if before.step == pitch.step]
        if mine and not other:
            assert any(
                near == measure and before.octave != pitch.octave and before.alter == pitch.alter
                for near, before in earlier
            ), rows[index]
        elif other and not mine:
            assert any(
                near >= measure - 1 and before.alter != pitch.alter for near, before in earlier
            ), rows[index]


def _spelled(pitch: object) -> str:
    name = pitch.nameWithOctave  # type: ignore[attr-defined]
    return name.replace("-", "b")


# --- the packaged corpus of the second reader


def check_corpus_file(schema: etree.XMLSchema, path: Path) -> bool:
    """Check a file; False where it is nothing for us: no pitched part, or too long."""
    try:
        score = read(path)
        if sum(len(part.notes) for part in score.parts) > MOST_NOTES:
            return False
        found = analyse(score)
    except ScoreError:
        return False
    for stage in STAGES:
        data = written(found, stage)
        if path.name not in INVALID_SOURCES:
            check_valid(schema, data)
        check_notes(found, stage, data)
        check_slurs_and_beams(data)
        check_signs(data)
    return True


def test_a_spread_of_the_corpus(musicxml_schema, packaged_scores: tuple[Path, ...]) -> None:
    assert len(packaged_scores) > 700
    spread = packaged_scores[::67]
    assert sum(check_corpus_file(musicxml_schema, path) for path in spread) >= 10


@pytest.mark.corpus
def test_the_whole_corpus(musicxml_schema, packaged_score: Path) -> None:
    if not check_corpus_file(musicxml_schema, packaged_score):
        pytest.skip("no pitched part, or too long")


# --- single things


def reduced(data: bytes, stage: Stage = "bare", lesson: str = "") -> etree._Element:
    found = analyse(read_bytes(data, "etude.musicxml"), parse_lesson(lesson))
    return plain_tree(written(found, stage))


def test_signs_of_removed_notes_come_back_and_no_others(write_etude) -> None:
    """F sharp loses its sign with the note that bore it; the natural after it goes as well."""
    data = write_etude("F#4:1/2( C#5:1/2) F#4:1/2( F#4:1/2) G#4:1/2( F4:1/2) F5:1/2( G4:1/2)")
    root = reduced(data)
    signs = [
        (note.findtext("pitch/step"), note.findtext("accidental"))
        for note in root.iter("note")
        if note.find("pitch") is not None
    ]
    assert signs == [("C", "sharp"), ("F", "sharp"), ("F", "natural"), ("G", None)]


def test_a_tie_over_the_barline_needs_no_second_sign(write_etude) -> None:
    root = reduced(write_etude("r:1 F4:1( | F#4:1) F#4:1", metre="2/4"))
    pieces = [note for note in root.iter("note") if note.find("pitch") is not None]
    assert [note.get("id") for note in pieces] == ["a3", "a3-t1"]
    assert [note.findtext("accidental") for note in pieces] == ["sharp", None]
    assert [tie.get("type") for note in pieces for tie in note.findall("tie")] == ["start", "stop"]


def test_a_part_with_no_skeleton_is_said_to_be_empty(write_etude) -> None:
    found = analyse(read_bytes(write_etude("C5:4"), "etude.musicxml"))
    reduced = reduction(found, "bare")
    assert reduced.notes == ()
    assert [notice.code for notice in reduced.notices] == ["empty-reduction"]


def test_the_file_says_what_it_is(write_etude) -> None:
    root = reduced(write_etude("C#5:1( D5:1)", metre="2/4"), "neighbours")
    fields = {e.get("name"): e.text for e in root.iter("miscellaneous-field")}
    assert fields == {
        "reduction-stage": "neighbours",
        "reduction-rule": "second",
        "reduction-source": "etude.musicxml",
    }


def test_accidentals_are_small_stemless_and_slurred_to_their_anchor(write_etude) -> None:
    root = reduced(write_etude("C#5:1( D5:1)", metre="2/4"), "neighbours")
    small = next(root.iter("note[@id='a1']"), None) or root.find(".//note[@id='a1']")
    large = root.find(".//note[@id='a2']")
    assert small.find("type").get("size") == "cue"
    assert small.findtext("stem") == "none"
    assert small.find("notations/slur").get("type") == "start"
    assert large.find("type").get("size") is None
    assert large.find("notations/slur").get("type") == "stop"


def test_two_slurs_of_a_bar_have_two_numbers(write_etude) -> None:
    """Their ends stand in two voices, so document order cannot tell them apart."""
    root = reduced(write_etude("C#5:1/2( D5:1/2) D#5:1/2( E5:1/2)", metre="2/4"), "neighbours")
    starts = [slur.get("number") for slur in root.iter("slur") if slur.get("type") == "start"]
    assert len(starts) == len(set(starts)) == 2


def test_a_slur_goes_to_the_same_pitch_where_the_anchor_was_left_out(write_etude) -> None:
    """Rule on-beat: the A after the G sharp is an open-string name, which the rule leaves out."""
    lesson = 'rule = "on-beat"\n'
    data = write_etude("A4:1/4 G#4:1/4 A4:1/2 B4:1 C5:1", metre="3/4")
    found = analyse(read_bytes(data, "etude.musicxml"), parse_lesson(lesson))
    (hung,) = found.parts[0].accidentals
    root = plain_tree(written(found, "neighbours"))
    ends = {n.get("id"): n.find("notations/slur").get("type") for n in root.iter("note")
            if n.find("notations/slur") is not None}  # fmt: skip
    assert (hung.anchor.place.id, hung.runner_up.place.id) == ("a3", "a1")
    assert ends == {"a1": "start", "a2": "stop"}
