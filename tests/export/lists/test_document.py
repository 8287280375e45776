"""Plain text of a report: aligned, framed by nothing, nothing cut."""

from __future__ import annotations

from skeleton.export.lists.document import Heading, Line, Table, plain_text, width


def test_columns_are_aligned_and_empty_ones_left_out() -> None:
    table = Table(("note", "or", "at"), (("F#4", "", "3:2"), ("G", "", "12:1.5")))
    assert plain_text([table]) == "  note  at\n  F#4   3:2\n  G     12:1.5\n"


def test_headings_are_set_apart() -> None:
    text = plain_text([Heading("Title", 1), Line("said"), Heading("Part", 2), Heading("Bit", 3)])
    assert text == "Title\nsaid\n\nPart\n----\n\nBit\n"


def test_wide_and_combining_letters_are_measured_as_terminals_show_them() -> None:
    # East Asian Width, Unicode Standard Annex 11: ideographs are wide.
    assert width("練習") == 4
    assert width("e\N{COMBINING ACUTE ACCENT}") == 1
    lines = plain_text([Table(("a", "b"), (("練習", "x"), ("G", "y")))]).splitlines()
    assert {width(line[: line.index(mark)]) for line, mark in zip(lines, "bxy", strict=True)} == {8}


def test_nothing_is_cut_however_long() -> None:
    long = "half step below " * 40
    assert long.strip() in plain_text([Table(("text",), ((long,),)), Line(long)])
