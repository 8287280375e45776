"""Ids of notes, and the marked copy that carries them.

An id must be an NCName (Namespaces in XML 1.0, 3rd edition, production 4) and stand once.
"""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from skeleton.score.ids import is_ncname, to_ncname
from skeleton.score.marking import marked_root, note_ids
from skeleton.score.reading import read_bytes, read_source


def test_generated_ids(score, measures, note):
    found = read_bytes(score(measures(note() + note(), note())), "x")
    assert [each.id for each in found.parts[0].notes] == ["P1-m1-n1", "P1-m1-n2", "P1-m2-n1"]
    assert [each.index for each in found.parts[0].notes] == [0, 1, 2]


def test_measures_are_counted_whatever_their_numbers(score, note):
    data = score(f'<measure number="7">{note()}</measure><measure number="7">{note()}</measure>')
    found = read_bytes(data, "x")
    assert [each.id for each in found.parts[0].notes] == ["P1-m1-n1", "P1-m2-n1"]


def test_good_ids_of_the_file_are_kept(score, measures, note):
    data = score(measures(note(attributes=' id="my.note-1_a"') + note(attributes=' id="\u00e9"')))
    found = read_bytes(data, "x")
    assert [each.id for each in found.parts[0].notes] == ["my.note-1_a", "\u00e9"]
    assert found.notices == ()


@pytest.mark.parametrize("bad", ["1abc", "a b", "a:b", "", "-a", ".a", "a\u00d7"])
def test_bad_ids_are_replaced(score, measures, note, bad):
    found = read_bytes(score(measures(note(attributes=f' id="{bad}"'))), "x")
    assert found.parts[0].notes[0].id == "P1-m1-n1"
    assert [each.code for each in found.notices] == ["bad-ids"]


def test_ids_borne_twice_are_replaced(score, measures, note):
    twice = note(attributes=' id="a"') + note(attributes=' id="a"')
    found = read_bytes(score(measures(twice)), "x")
    assert [each.id for each in found.parts[0].notes] == ["P1-m1-n1", "P1-m1-n2"]
    slur = note("A4", 4, '<notations><slur type="start" id="b"/></notations>', attributes=' id="b"')
    found = read_bytes(score(measures(slur + note("B4", 4, slur="stop"))), "x")
    assert found.parts[0].notes[0].id == "P1-m1-n1"


def test_a_generated_id_never_meets_one_of_the_file(score, measures, note):
    slur = '<notations><slur type="start" id="P1-m1-n1"/></notations>'
    text = note("A4", 4, slur) + note("B4", 4, slur="stop") + note(attributes=' id="P1-m1-n2"')
    found = read_bytes(score(measures(text)), "x")
    ids = [each.id for each in found.parts[0].notes]
    assert len(set(ids)) == 3
    assert "P1-m1-n1" not in ids
    assert ids[2] == "P1-m1-n2"


def test_part_ids_that_are_no_names(score, measures, note):
    data = score(measures(note()), measures(note()), measures(note()))
    data = data.replace(b'"P1"', b'"1 a"').replace(b'"P2"', b'"1_a"').replace(b'"P3"', b'"1:a"')
    found = read_bytes(data, "x")
    ids = [each.id for part in found.parts for each in part.notes]
    assert ids[0] == "_1_a-m1-n1"
    assert len(set(ids)) == 3
    assert all(is_ncname(each) for each in ids)
    assert [part.id for part in found.parts] == ["1 a", "1_a", "1:a"]


def test_the_same_bytes_give_the_same_score(score, measures, note):
    data = score(measures(note("A4", 4, slur="start") + note("B4", 4, slur="stop")))
    one = read_bytes(data, "x")
    assert read_bytes(data, "x") == one
    assert read_source(one.source) == one


@given(text=st.text(max_size=8))
@settings(max_examples=200)
def test_any_text_becomes_a_name_that_the_xml_library_accepts(text):
    name = to_ncname(text)
    assert is_ncname(name)
    etree.QName(name)
    assert ":" not in name


# -- the marked copy ------------------------------------------------------------------------


DRUM = "<note><unpitched/><duration>16</duration></note>"


def test_marked_root_carries_the_ids_of_the_model(score, measures, note):
    data = score(
        measures(DRUM + "<backup><duration>16</duration></backup>" + DRUM),
        measures(note("A4", 4) + note(attributes=' id="mine"'), note("r", 16)),
    )
    found = read_bytes(data, "x")
    root = marked_root(found)
    notes = list(root.iter("note"))
    ids = [each.get("id") for each in notes]
    assert ids == ["P1-m1-n1", "P1-m1-n2", "P2-m1-n1", "mine", "P2-m2-n1"]
    assert note_ids(found) == tuple(ids)
    for each in found.parts[0].notes:
        assert notes[each.index].get("id") == each.id


def test_marked_root_is_fresh_and_keeps_all_else(score, measures, note):
    data = score(measures("<!-- mine -->" + note("A4", 4, "<lyric><text>la</text></lyric>")))
    found = read_bytes(data, "x")
    one, other = marked_root(found), marked_root(found)
    assert one is not other
    text = etree.tostring(one).decode()
    assert "<!-- mine -->" in text
    assert re.sub(' id="P1-m1-n1"', "", text) == data.decode()


def timewise(parts: dict[str, list[str]], measure: str = "") -> bytes:
    """Write measures of parts, with what stands in each part's measure."""
    listed = "".join(f'<score-part id="{part}"><part-name/></score-part>' for part in parts)
    rows = "".join(
        f'<measure number="{place}"{measure}>'
        + "".join(f'<part id="{part}">{texts[place - 1]}</part>' for part, texts in parts.items())
        + "</measure>"
        for place in range(1, 1 + max(map(len, parts.values())))
    )
    return (
        f'<score-timewise version="4.0"><movement-title>T</movement-title>'
        f"<part-list>{listed}</part-list>{rows}</score-timewise>"
    ).encode()


@pytest.fixture
def two_parts(note):
    head = "<attributes><divisions>4</divisions></attributes>"
    return {
        "P1": [head + note("A4", 16, slur="start"), note("B4", 16, slur="stop")],
        "P2": [head + note("C4", 16, tie="start"), note("C4", 16, tie="stop")],
    }


def test_timewise_is_read_like_partwise(score, two_parts):
    partwise = score(
        *(
            "".join(f'<measure number="{n}">{text}</measure>' for n, text in enumerate(texts, 1))
            for texts in two_parts.values()
        ),
        head="<movement-title>T</movement-title>",
    )
    one = read_bytes(timewise(two_parts), "x")
    other = read_bytes(partwise, "x")
    assert one.title == "T"
    assert [part.notes for part in one.parts] == [part.notes for part in other.parts]
    assert [part.slurs for part in one.parts] == [part.slurs for part in other.parts]
    assert [part.measures for part in one.parts] == [part.measures for part in other.parts]
    assert one.notices == ()


def test_the_marked_copy_of_timewise_is_partwise(two_parts):
    found = read_bytes(timewise(two_parts, ' implicit="yes" id="m"'), "x")
    root = marked_root(found)
    assert root.tag == "score-partwise"
    assert [child.tag for child in root] == ["movement-title", "part-list", "part", "part"]
    assert [[m.get("number") for m in part] for part in root.iter("part")] == [["1", "2"]] * 2
    assert all(measure.get("implicit") == "yes" for measure in root.iter("measure"))
    assert [measure.get("id") for measure in root.iter("measure")] == ["m", None, None, None]
    notes = list(root.iter("note"))
    for part in found.parts:
        for each in part.notes:
            assert notes[each.index].get("id") == each.id
    again = read_bytes(etree.tostring(root), "x")
    assert [part.notes for part in again.parts] == [part.notes for part in found.parts]
    assert again.parts[0].notes[1].onset_quarters == Fraction(4)
