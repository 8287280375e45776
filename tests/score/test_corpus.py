"""Two second readers over the MusicXML files that music21 carries with it.

music21 reads notes: letter, alteration, octave, onset in the measure, duration, grace, tie and
measure number of every pitched note must be the same. Verovio reads slurs: as many must have
both ends. Where the readers differ, the file stands in a table here with the reason and the
exact count, so that a new difference fails, and so does one that goes away.

A dozen files are read in the everyday run; all of them under the marker ``corpus`` (minutes).
"""

from __future__ import annotations

import json
import subprocess
import sys
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Final

import music21
import pytest
from lxml import etree

from skeleton.score.container import is_zip, unpack
from skeleton.score.reading import read
from skeleton.score.tree import parse

ROOT: Final = Path(music21.__file__).parent

X_NUMBER = "music21 puts the number before it to a number like X1"
GRACE_TIE = "music21 drops the tie of a grace note"
NO_START = "the file ends a tie that no note starts; here such a note is played"
CHORD_DURATION = "music21 gives all notes of a chord one duration, the file gives them several"
SIGN = "music21 believes the printed accidental, here <alter> is believed"
TIED_ALONE = "music21 does not read a tie that is drawn (<tied>) and not sounded (<tie>)"
TWO_STAVES = "music21 puts a note without a staff on both staves of its part"
CHORD_AFTER = "music21 forgets the chord's onset after an element between its notes"

DIFFERENCES: Final[dict[str, tuple[str, int]]] = {
    "corpus/bach/bwv171.6.mxl": (X_NUMBER, 16),
    "corpus/bach/bwv362.mxl": (NO_START, 1),
    "corpus/beethoven/opus18no1/movement4.mxl": (GRACE_TIE, 1),
    "corpus/beethoven/opus59no3/movement4.mxl": (X_NUMBER, 4),
    "corpus/haydn/opus74no1/movement2.mxl": (GRACE_TIE, 1),
    "corpus/liliuokalani/aloha_oe.mxl": (X_NUMBER, 12),
    "corpus/schubert/Lindenbaum.xml": (CHORD_DURATION, 49),
    "corpus/schumann_robert/dichterliebe_no2.xml": (TIED_ALONE, 1),
    "corpus/schumann_robert/opus48no2.mxl": (TIED_ALONE, 1),
    "corpus/trecento/PMFC_01-Rex quem metrorum.xml": (NO_START, 6),
    "corpus/trecento/PMFC_01-Virtutibus laudabilis.xml": (NO_START, 3),
    "corpus/trecento/PMFC_01-Vos Qui Admiramini Gratissima virginis species.xml": (NO_START, 13),
    "corpus/trecento/PMFC_06-Jacopo-01-Aquila-Altera.xml": (NO_START, 10),
    "corpus/trecento/PMFC_06-Jacopo-02-Con-Gran-Furor.xml": (NO_START, 1),
    "corpus/trecento/PMFC_06_10-I senti gia come l_arco.xml": (NO_START, 8),
    "corpus/trecento/PMFC_06_8-In Verde Prato.xml": (NO_START, 8),
    "corpus/trecento/PMFC_06_Giovanni-07_In_Sulla_Ripa.xml": (NO_START, 1),
    "corpus/trecento/PMFC_12_10b-Credo PMFC12.10b.xml": (X_NUMBER, 12),
    "corpus/trecento/PMFC_13_04-Credo Cursor.xml": (SIGN, 1),
    "corpus/trecento/PMFC_13_07-Gloria Laus Honor.xml": (NO_START, 1),
    "corpus/trecento/PMFC_13_15-Gloria.xml": (NO_START, 1),
    "corpus/trecento/PMFC_13_16-Gloria.xml": (NO_START, 3),
    "corpus/trecento/PMFC_13_17-Gloria Spiritus et Alme.xml": (NO_START, 1),
    "corpus/trecento/PMFC_13_19-Credo Scabroso.xml": (NO_START, 3),
    "musicxml/lilypondTestSuite/02e-Rests-NoType.xml": (TWO_STAVES, 1),
    "musicxml/lilypondTestSuite/21f-Chord-ElementInBetween.xml": (CHORD_AFTER, 1),
    "musicxml/lilypondTestSuite/32c-MultipleNotationChildren.xml": (SIGN, 1),
    "musicxml/lilypondTestSuite/33i-Ties-NotEnded.xml": (NO_START, 1),
    "musicxml/lilypondTestSuite/46c-Midmeasure-Clef.xml": (X_NUMBER, 1),
    "musicxml/lilypondTestSuite/46d-PickupMeasure-ImplicitMeasures.xml": (X_NUMBER, 1),
}
"""Files in which notes or measure numbers differ: why, and in how many measures."""

TWICE = "the file draws slurs over the same notes twice, which are one here"
ACROSS_PARTS = "Verovio pairs an end left over in one part with one left over in another"

SLUR_DIFFERENCES: Final[dict[str, dict[str, int]]] = {
    "corpus/beethoven/opus132.mxl": {TWICE: 9},
    "corpus/beethoven/opus18no1/movement1.mxl": {ACROSS_PARTS: 1},
    "corpus/beethoven/opus18no1/movement2.mxl": {TWICE: 2, ACROSS_PARTS: 1},
    "corpus/beethoven/opus18no1/movement4.mxl": {ACROSS_PARTS: 1},
    "corpus/beethoven/opus18no3.mxl": {TWICE: 15, ACROSS_PARTS: 1},
    "corpus/beethoven/opus18no4.mxl": {ACROSS_PARTS: 6},
    "corpus/beethoven/opus18no5.mxl": {TWICE: 15, ACROSS_PARTS: 3},
    "corpus/beethoven/opus59no2/movement2.mxl": {TWICE: 1},
    "corpus/beethoven/opus59no3/movement1.mxl": {TWICE: 1},
    "corpus/beethoven/opus59no3/movement2.mxl": {TWICE: 1},
    "corpus/beethoven/opus59no3/movement4.mxl": {TWICE: 1},
    "corpus/beethoven/opus74.mxl": {TWICE: 3, ACROSS_PARTS: 1},
    "corpus/handel/rinaldo/Lascia_chio_pianga.mxl": {TWICE: 1},
    "corpus/monteverdi/madrigal.5.3.mxl": {TWICE: 1},
    "corpus/mozart/k458/movement1.mxl": {TWICE: 2},
    "corpus/schumann_clara/polonaise_op1n3.mxl": {TWICE: 1},
}
"""Files in which the number of slurs differs: why, and how many more Verovio has for it."""


def files() -> list[str]:
    """All MusicXML files that come with music21, by their path in it."""
    found = [
        *(ROOT / "corpus").rglob("*"),
        *(ROOT / "musicxml" / "lilypondTestSuite").iterdir(),
    ]
    return sorted(
        path.relative_to(ROOT).as_posix()
        for path in found
        if path.suffix in (".mxl", ".xml", ".musicxml")
    )


FILES: Final = files()
EVERYDAY: Final = [
    "corpus/bach/bwv362.mxl",
    "corpus/bach/bwv66.6.mxl",
    "corpus/corelli/opus3no1/1grave.xml",
    "corpus/haydn/opus1no1/movement3.mxl",
    "corpus/monteverdi/madrigal.5.3.mxl",
    "corpus/mozart/k155/movement2.mxl",
    "corpus/mozart/k156/movement2.mxl",
    "corpus/schumann_robert/opus48no2.mxl",
    "corpus/trecento/PMFC_13_15-Gloria.xml",
    "musicxml/lilypondTestSuite/03c-Rhythm-DivisionChange.xml",
    "musicxml/lilypondTestSuite/21f-Chord-ElementInBetween.xml",
    "musicxml/lilypondTestSuite/33g-Slur-ChordedNotes.xml",
    "musicxml/lilypondTestSuite/46c-Midmeasure-Clef.xml",
]
GROUPS: Final = sorted({"/".join(name.split("/")[:2]) for name in FILES})


def test_the_corpus_is_where_it_should_be():
    assert len(FILES) > 700
    assert set(EVERYDAY) <= set(FILES)
    assert {*DIFFERENCES, *SLUR_DIFFERENCES} <= set(FILES)


# -- notes, against music21 ----------------------------------------------------------------

Rows = list[tuple[str, Counter]]
"""The measures of a part: number, and the notes as (onset, letter, alter, octave, ...)."""


def exact(value) -> Fraction:
    """music21 keeps thirds as fractions or as floats near them; no file here is finer."""
    return Fraction(value).limit_denominator(100_000)


def by_music21(path: Path) -> list[Rows]:
    """Read the parts that have pitched notes; the staves of one part are put together."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(str(path), format="musicxml", forceSource=True)
    parts: list[Rows] = []
    last = None
    for part in score.parts:
        staff_of = str(part.id).rpartition("-Staff")[0] or None
        if staff_of is None or staff_of != last:
            parts.append([])
        last = staff_of
        for place, measure in enumerate(part.getElementsByClass("Measure")):
            if place == len(parts[-1]):
                parts[-1].append((measure.measureNumberWithSuffix(), Counter()))
            for note in measure.recurse().notes:
                if isinstance(note, music21.harmony.Harmony):
                    continue
                onset = exact(note.getOffsetInHierarchy(measure))
                for each in note.notes if note.isChord else (note,):
                    if not isinstance(each, music21.note.Note):
                        continue
                    pitch = each.pitch
                    row = (
                        onset,
                        pitch.step,
                        exact(pitch.alter),
                        pitch.octave,
                        exact(note.duration.quarterLength),
                        note.duration.isGrace,
                        each.tie.type if each.tie is not None else None,
                    )
                    parts[-1][place][1][row] += 1
    return [part for part in parts if any(notes for _, notes in part)]


def by_us(path: Path) -> list[Rows]:
    """Read the same with the reader under test."""
    ties = {(0, 0): None, (0, 1): "start", (1, 0): "stop", (1, 1): "continue"}
    parts: list[Rows] = []
    for part in read(path).parts:
        parts.append([(measure.number, Counter()) for measure in part.measures])
        for note in part.notes:
            if note.pitch is not None:
                row = (
                    note.onset_quarters - part.measures[note.measure].onset_quarters,
                    note.pitch.step,
                    Fraction(note.pitch.alter),
                    note.pitch.octave,
                    note.duration_quarters,
                    note.grace,
                    ties[note.tied_from is not None, note.ties_on],
                )
                parts[-1][note.measure][1][row] += 1
    return parts


def differing_measures(name: str) -> int:
    """Count the measures in which the two readers differ."""
    theirs, ours = by_music21(ROOT / name), by_us(ROOT / name)
    assert [len(part) for part in theirs] == [len(part) for part in ours], name
    return sum(
        one != other
        for their_part, our_part in zip(theirs, ours, strict=True)
        for one, other in zip(their_part, our_part, strict=True)
    )


def check_notes(names: list[str]) -> None:
    found = {name: differing_measures(name) for name in names}
    expected = {name: DIFFERENCES.get(name, ("", 0))[1] for name in names}
    assert {k: v for k, v in found.items() if v} == {k: v for k, v in expected.items() if v}


@pytest.mark.parametrize("name", EVERYDAY)
def test_notes_are_those_of_music21(name):
    check_notes([name])


@pytest.mark.corpus
@pytest.mark.parametrize("group", GROUPS)
def test_all_notes_are_those_of_music21(group):
    check_notes([name for name in FILES if name.startswith(group + "/")])


# -- slurs, against Verovio ----------------------------------------------------------------

_CHILD: Final = """
import json, re, sys, verovio
verovio.enableLog(verovio.LOG_OFF)
toolkit = verovio.toolkit()
for line in sys.stdin:
    with open(line.rstrip("\\n"), encoding="utf-8") as file:
        loaded = toolkit.loadData(file.read())
    slurs = re.findall(r"<slur\\b[^>]*>", toolkit.getMEI()) if loaded else []
    whole = sum("startid=" in slur and "endid=" in slur for slur in slurs)
    print(json.dumps([bool(loaded), whole]), flush=True)
"""
"""Verovio works in a process of its own: it writes to the terminal, and may end the process."""


def by_verovio(names: list[str], folder: Path) -> dict[str, int]:
    """Count the slurs with both ends in Verovio's MEI of each file."""
    paths = []
    for place, name in enumerate(names):
        data = (ROOT / name).read_bytes()
        if is_zip(data):
            data, _ = unpack(data, name)
        path = folder / f"{place}.xml"
        path.write_bytes(etree.tostring(parse(data, name)[0], encoding="UTF-8"))
        paths.append(str(path))
    child = subprocess.run(
        [sys.executable, "-c", _CHILD],
        input="\n".join(paths) + "\n",
        capture_output=True,
        text=True,
        check=True,
        timeout=600,
    )
    answers = [json.loads(line) for line in child.stdout.splitlines()]
    assert all(loaded for loaded, _ in answers)
    return {name: count for name, (_, count) in zip(names, answers, strict=True)}


def check_slurs(names: list[str], folder: Path) -> None:
    theirs = by_verovio(names, folder)
    ours = {name: sum(len(part.slurs) for part in read(ROOT / name).parts) for name in names}
    found = {name: theirs[name] - ours[name] for name in names}
    expected = {name: sum(SLUR_DIFFERENCES.get(name, {}).values()) for name in names}
    assert {k: v for k, v in found.items() if v} == {k: v for k, v in expected.items() if v}


def test_slurs_are_as_many_as_in_verovio(tmp_path):
    check_slurs(EVERYDAY, tmp_path)


@pytest.mark.corpus
@pytest.mark.parametrize("group", GROUPS)
def test_all_slurs_are_as_many_as_in_verovio(group, tmp_path):
    check_slurs([name for name in FILES if name.startswith(group + "/")], tmp_path)
