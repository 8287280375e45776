"""Encodings of XML: XML 1.0, appendix F, and what exporters make of it."""

from __future__ import annotations

import codecs

import pytest

from skeleton.errors import ScoreError
from skeleton.score.reading import read_bytes


@pytest.fixture(scope="module")
def text(score, measures, note):
    head = "<movement-title>Étude</movement-title>"
    return score(measures(note("F#4", 4) + note("G4", 4)), head=head).decode()


def check(data: bytes, codes: list[str] | None = None) -> None:
    found = read_bytes(data, "x.musicxml")
    assert found.title == "Étude"
    assert [str(note.pitch) for note in found.parts[0].notes] == ["F#4", "G4"]
    assert [each.code for each in found.notices] == (codes or [])


def declared(encoding: str, text: str) -> str:
    return f'<?xml version="1.0" encoding="{encoding}"?>{text}'


def test_without_a_declaration_it_is_utf8(text):
    check(text.encode())


def test_utf8_with_a_byte_order_mark(text):
    check(codecs.BOM_UTF8 + declared("UTF-8", text).encode())
    check(codecs.BOM_UTF8 + text.encode())


@pytest.mark.parametrize(
    ("encoding", "codec"),
    [("UTF-8", "utf-8"), ("ISO-8859-1", "latin-1"), ("windows-1252", "cp1252"),
     ("iso-8859-15", "iso-8859-15"), ("UTF-16", "utf-16")],
)  # fmt: skip
def test_declared(text, encoding, codec):
    check(declared(encoding, text).encode(codec))


@pytest.mark.parametrize(("mark", "codec"), [(codecs.BOM_UTF16_LE, "utf-16-le"),
                                             (codecs.BOM_UTF16_BE, "utf-16-be")])  # fmt: skip
@pytest.mark.parametrize("declaration", [True, False])
@pytest.mark.parametrize("marked", [True, False])
def test_utf16_with_and_without_mark_and_declaration(text, mark, codec, declaration, marked):
    body = declared("UTF-16", text) if declaration else text
    check((mark if marked else b"") + body.encode(codec))


def test_a_declaration_of_utf16_that_is_not_true(text):
    check(declared("UTF-16", text).encode())


def test_a_declaration_of_utf8_that_is_not_true(text):
    check(declared("UTF-8", text).encode("cp1252"), ["encoding"])


def test_an_encoding_nobody_knows(text):
    with pytest.raises(ScoreError, match="klingon"):
        read_bytes(declared("klingon", text).encode(), "x")


def test_blank_lines_before_the_declaration(text):
    check(b"\r\n\n" + declared("UTF-8", text).encode())


def test_a_namespace_is_taken_off(text):
    check(text.replace("<score-partwise", '<score-partwise xmlns="urn:any"').encode())


def test_a_prefix_is_taken_off(text):
    spelled = text.replace("</", "@@").replace("<", "<m:").replace("@@", "</m:")
    check(spelled.replace("<m:score-partwise", '<m:score-partwise xmlns:m="urn:any"').encode())


def test_comments_and_instructions_are_no_music(text):
    odd = text.replace("<note>", "<!-- <note/> --><?any thing?><note><!-- x -->").replace(
        "<step>F", "<step><!-- letter -->F"
    )
    check(odd.encode())
