"""Notices as lines on standard error."""

from __future__ import annotations

from skeleton.cli.messages import notice_lines
from skeleton.score.model import Notice


def test_where_and_what() -> None:
    assert notice_lines([Notice("odd", "something odd", "P1", "5")]) == [
        "note: measure 5: something odd"
    ]
    assert notice_lines([Notice("odd", "all of it")]) == ["note: all of it"]
    assert notice_lines([Notice("odd", "x", "P1", "5"), Notice("b", "y", "P2")], {
        "P1": "Violin I", "P2": "Violin II",
    }.__getitem__) == ["note: Violin I, measure 5: x", "note: Violin II: y"]  # fmt: skip


def test_many_of_a_kind_are_counted_and_stay_together() -> None:
    notices = [Notice("tie", f"tie {n}", None, str(n)) for n in range(15)]
    notices.insert(1, Notice("key", "key lost"))
    assert notice_lines(notices) == [
        "note: measure 0: tie 0",
        "note: measure 1: tie 1",
        "note: measure 2: tie 2",
        "note: and 12 more like this (tie)",
        "note: key lost",
    ]


def test_one_more_is_shown_not_counted() -> None:
    assert len(notice_lines([Notice("tie", str(n)) for n in range(4)])) == 4
    assert notice_lines([Notice("tie", str(n)) for n in range(5)])[-1].startswith("note: and 2")


def test_text_of_a_file_stays_on_one_line() -> None:
    (line,) = notice_lines([Notice("odd", "a\nb\x1b[0m", None, "1\n2")])
    assert line == "note: measure 1 2: a b\N{REPLACEMENT CHARACTER}[0m"
