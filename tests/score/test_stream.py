"""Measures are handed on one at a time, whatever the form and the encoding of the file."""

from __future__ import annotations

import pytest
from lxml import etree

from skeleton.score import stream
from skeleton.score.reading import read_bytes
from skeleton.score.tree import part_sources


@pytest.fixture
def two_parts(note, measures, score) -> bytes:
    return score(
        *(
            measures(*(note(pitch, 4, attributes=f' id="{pitch}-{place}"') for place in range(60)))
            for pitch in ("A4", "Bb3")
        ),
        head="<movement-title>Étude</movement-title>",
    )


def timewise(*rows: str) -> bytes:
    listed = "".join(f'<score-part id="P{place}"/>' for place in (1, 2))
    return (
        f"<score-timewise><part-list>{listed}</part-list>{''.join(rows)}</score-timewise>".encode()
    )


def test_only_the_measure_in_hand_is_full(two_parts, monkeypatch):
    monkeypatch.setattr(stream, "_CHUNK_BYTES", 1)
    seen: list[str | None] = []

    def take(part: object, head: etree._Element, body: etree._Element) -> None:
        assert isinstance(part, etree._Element)
        assert body is head
        root = head.getroottree().getroot()
        assert [each for each in root.iter("measure") if len(each)] == [body]
        seen.append(f"{part.get('id')} {head.get('number')}")

    rest = stream.take_measures(two_parts, None, take)
    assert seen == [f"P{part} {place}" for part in (1, 2) for place in range(1, 61)]
    assert list(rest.root.iter("note")) == []
    assert rest.root.findtext("movement-title") == "Étude"
    assert [(source.id, len(source.measures)) for source in part_sources(rest.root)] == [
        ("P1", 60),
        ("P2", 60),
    ]


def test_every_id_of_the_file_is_kept(two_parts):
    rest = stream.take_measures(two_parts, None, lambda *_: None)
    wanted = etree.fromstring(two_parts).xpath("//@id")
    assert sorted(rest.ids) == sorted(map(str, wanted))
    assert len(rest.ids) == 2 * 60 + 4


@pytest.mark.parametrize("chunk_bytes", [1, 2, 7, 1000])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1", "mac-roman"])
def test_pieces_may_be_cut_anywhere(two_parts, monkeypatch, encoding, chunk_bytes):
    declared = {"utf-8-sig": "UTF-8", "mac-roman": "UTF-8"}.get(encoding, encoding)
    data = (f'<?xml version="1.0" encoding="{declared}"?>' + two_parts.decode()).encode(encoding)
    whole = read_bytes(data, "x")
    assert [len(part.notes) for part in whole.parts] == [60, 60]
    monkeypatch.setattr(stream, "_CHUNK_BYTES", chunk_bytes)
    assert read_bytes(data, "x") == whole


def test_what_was_read_in_a_wrong_encoding_is_not_read_twice(two_parts):
    """The wrong byte stands in the last measure, when all the others have been handed on."""
    cut = two_parts.rindex(b"</note>")
    data = two_parts[:cut] + b"<lyric><text>\xe9t\xe9</text></lyric>" + two_parts[cut:]
    data = data.replace("Étude".encode(), b"Etude")
    found = read_bytes(data, "x")
    assert [len(part.notes) for part in found.parts] == [60, 60]
    assert [notice.code for notice in found.notices] == ["encoding"]


def test_timewise_parts_are_told_apart_by_their_ids(note):
    rows = [
        f'<measure number="{place}">'
        f'<part id="P1">{note("A4", 4)}</part><part id="P2">{note("C4", 4)}</part></measure>'
        for place in (1, 2, 3)
    ]
    seen: list[tuple[object, str | None, int]] = []
    rest = stream.take_measures(
        timewise(*rows),
        None,
        lambda part, head, body: seen.append((part, head.get("number"), len(body))),
    )
    assert seen == [(part, str(place), 1) for place in (1, 2, 3) for part in ("P1", "P2")]
    assert [source.key for source in part_sources(rest.root)] == ["P1", "P2"]


def test_a_part_without_measures_is_a_part(score, measures, note):
    found = read_bytes(score("", measures(note("A4"))), "x")
    assert [part.id for part in found.parts] == ["P2"]
    assert [(notice.code, notice.part) for notice in found.notices] == [("part-skipped", "P1")]


def test_a_measure_in_a_measure_is_none(score, measures, note):
    inner = f'<measure number="9">{note("C4")}</measure>'
    found = read_bytes(score(measures(note("A4") + inner, note("B4"))), "x")
    (part,) = found.parts
    assert [str(each.pitch) for each in part.notes] == ["A4", "B4"]


@pytest.mark.parametrize("prefix", ["", "m:"])
def test_a_namespace_of_the_whole_score_is_taken_off(two_parts, prefix):
    text = two_parts.decode()
    declaration = f'xmlns{":m" if prefix else ""}="http://example.org/score"'
    if prefix:
        text = text.replace("</", "\0").replace("<", "<m:").replace("\0", "</m:")
    text = text.replace("score-partwise ", f"score-partwise {declaration} ", 1)
    assert read_bytes(text.encode(), "x").parts == read_bytes(two_parts, "x").parts


def test_a_namespace_of_one_measure_keeps_it_out(score, measures, note):
    strange = f'<measure xmlns="http://example.org/other" number="2">{note("C4")}</measure>'
    found = read_bytes(score(measures(note("A4")) + strange), "x")
    assert [str(each.pitch) for each in found.parts[0].notes] == ["A4"]


def test_stray_text_between_measures_does_no_harm(score, note, monkeypatch):
    """Text grows while the parser reads on; what was handed on before it is emptied meanwhile."""
    monkeypatch.setattr(stream, "_CHUNK_BYTES", 64)
    music = "a" + "".join(
        f'<measure number="{place}">{note("A4", 1)}</measure>{"stray " * place}'
        for place in range(1, 200)
    )
    rest = stream.take_measures(score(music), None, lambda *_: None)
    tails = [measure.tail for measure in rest.root.iter("measure")]
    assert tails == ["stray " * place for place in range(1, 200)]
