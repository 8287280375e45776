"""The studio: who needs most stands first, in words that a page shows as they are."""

from __future__ import annotations

from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from random import Random
from types import ModuleType

import pytest

from skeleton.analysis.results import Analysis
from skeleton.export.studio_page import studio_html
from skeleton.journal.database import Journal
from skeleton.journal.records import Music
from skeleton.journal.studio import StudentRecord, studio

Etude = tuple[Analysis, Music]
TODAY = date(2026, 3, 1)


@pytest.fixture(scope="module")
def book(
    tmp_path_factory: pytest.TempPathFactory, etude: Etude, students: ModuleType
) -> tuple[StudentRecord, ...]:
    path: Path = tmp_path_factory.mktemp("studio") / "j.sqlite"
    music = etude[1]
    second = Music("f" * 64, None, music.keys)
    habits = {
        "Ana": {},
        "Bo <b>": {"F#": students.flat_by_15, "C#": students.drifts_flat},
        "Cy": {"Bb": students.flat_by_15},
    }
    with Journal(path) as journal, journal.together():
        for name, habit in habits.items():
            chance = Random(name)
            for day in range(15):
                journal.record(name, music, students.take(music, day, habit, chance, 15))
        journal.record("Ana", second, students.take(second, 3, {}, Random(0)))
    with Journal(path) as journal:
        return studio(journal)


def test_order_and_findings(book: tuple[StudentRecord, ...]) -> None:
    assert [one.student for one in book] == ["Bo <b>", "Cy", "Ana"]
    found = {one.subject: one.condition for one in book[0].etudes[0].names}
    assert found["F#"] == "habit"
    assert found["C#"] == "getting worse"
    assert {found[name] for name in ("G", "D", "A")} == {"in order"}
    assert book[0].urgency == 7
    assert book[2].urgency == 0
    assert len(book[2].etudes) == 2
    # Fifteen days from the first Monday of 2026.
    assert book[2].last_day == "2026-01-19"


class Reader(HTMLParser):
    """Collects texts, tags and anchors, and holds that tags are closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.texts: list[str] = []
        self.tags: set[str] = set()
        self.links: set[str] = set()
        self.ids: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        given = dict(attrs)
        self.links |= {given["href"]} if "href" in given else set()
        self.ids |= {f"#{given['id']}"} if "id" in given else set()
        assert not {name for name in given if name.startswith("on") or name == "src"}
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def test_the_page(book: tuple[StudentRecord, ...]) -> None:
    page = studio_html(book, TODAY)
    reader = Reader()
    reader.feed(page)
    assert reader.open == []
    assert not reader.tags & {"script", "img", "link", "iframe", "b"}
    assert "http:" not in page
    assert "https:" not in page
    assert len(reader.links) == 3
    assert reader.links <= reader.ids
    assert "Bo <b>" in reader.texts
    assert any(text.startswith("F#: flat again and again, 1") for text in reader.texts)
    assert ": nothing comes back; last take 2026-01-19" in reader.texts
    assert "without title (ffffffff)" in reader.texts


def test_an_empty_journal(tmp_path: Path) -> None:
    with Journal(tmp_path / "j.sqlite") as journal:
        assert studio(journal) == ()
    assert "holds no takes" in studio_html((), TODAY)
