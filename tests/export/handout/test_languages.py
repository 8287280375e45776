"""A language is one file: nothing of another one is left in what a handout shows or says.

All that a person can read or hear is taken from the finished handouts: text of the PDF and its
alternative texts; text, names, tooltips and the script's messages of the page; and what the script
writes when notes are tapped. In it are searched the words of the English catalogue that the German
one does not have.
"""

from __future__ import annotations

import re
import shutil
from importlib.resources import files
from pathlib import Path

import pytest
from languages import of_page, of_pdf, seen_in, tokens, words_only_english
from playwright import sync_api

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import parse_lesson
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.make import handout
from skeleton.export.handout.make_page import handout_page
from skeleton.score.reading import read_bytes

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

LESSON = """
title = "Zwei Stimmen"
assignment = "Erst das eine, dann das andere."

[[passage]]
name = "Anfang"
measures = "1-2"
tempo = 56.5
stage = "neighbours"
goal = "ruhig"

[[passage]]
name = "Ende"
measures = "3"
stage = "all"
"""
OWN_STRINGS = """
open_strings = ["A3", "E4", "A4", "E5"]

[[note]]
measure = "1"
beat = 2
pitch = "G4"
skeleton = true
"""
# Per measure: slurred pairs of step, alteration, octave. Half and whole steps, chromatic ones, a
# third, twins (F sharp and G flat), notes named like open strings, signs in two octaves.
MEASURES = (
    (("F", 1, 4), ("G", 0, 4), ("B", -1, 4), ("A", 0, 4)),
    (("G", -1, 4), ("F", 0, 4), ("F", 1, 5), ("G", 0, 5)),
    (("C", 1, 5), ("E", 0, 5), ("G", 1, 4), ("B", 0, 4)),
)


def score(*parts: str) -> bytes:
    attributes = (
        "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        "</attributes>"
    )
    measures = "".join(
        f'<measure number="{number + 1}">{"" if number else attributes}'
        + "".join(
            f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave>"
            "</pitch><duration>1</duration><voice>1</voice><type>quarter</type><notations>"
            f'<slur type="{"stop" if place % 2 else "start"}"/></notations></note>'
            for place, (step, alter, octave) in enumerate(notes)
        )
        + "</measure>"
        for number, notes in enumerate(MEASURES)
    )
    named = "".join(
        f'<score-part id="P{place}"><part-name>{name}</part-name></score-part>'
        for place, name in enumerate(parts)
    )
    return (
        '<score-partwise version="4.0"><work><work-title>Blatt</work-title></work>'
        f"<part-list>{named}</part-list>"
        + "".join(f'<part id="P{place}">{measures}</part>' for place in range(len(parts)))
        + "</score-partwise>"
    ).encode()


@pytest.fixture(scope="module")
def english_only() -> set[str]:
    return words_only_english()


@pytest.fixture(scope="module", params=["two parts", "own strings"])
def case(request: pytest.FixtureRequest):
    """An etude whose own texts are German, with its lesson."""
    if request.param == "two parts":
        lesson, data = parse_lesson(LESSON), score("Violine", "Bratsche")
    else:
        lesson, data = parse_lesson(OWN_STRINGS), score("Geige")
    return analyse(read_bytes(data, "blatt.musicxml"), lesson), lesson


def of_handout(html: str) -> list[str]:
    return of_page(html, lambda data: {key: data[key] for key in data if key != "etude"})


def test_no_english_is_left_in_a_german_pdf(case, engraver: Engraver, english_only) -> None:
    analysis, lesson = case
    said = of_pdf(handout(analysis, lesson, engraver, language="de").data)
    assert {text: found for text in said if (found := tokens(text) & english_only)} == {}
    assert not re.search(r"\d\.\d", " ".join(said)), "decimals have a comma"
    named = re.findall(r"\b[A-H][a-z]*[+−]([A-Za-zü]+)\d", " ".join(said))
    assert named, "no mark under a note names its interval"
    assert set(named) <= {"k", "g", "r", "ü", "v"}


def test_no_english_is_left_in_a_german_page(case, engraver: Engraver, english_only) -> None:
    analysis, lesson = case
    said = of_handout(handout_page(analysis, lesson, engraver, language="de").html)
    assert {text: found for text in said if (found := tokens(text) & english_only)} == {}
    assert not re.search(r"\d\.\d", " ".join(said)), "decimals have a comma"


def test_the_search_finds_english(case, engraver: Engraver, english_only) -> None:
    analysis, lesson = case
    pdf = " ".join(of_handout(handout_page(analysis, lesson, engraver, with_sounds=False).html))
    assert len(tokens(pdf) & english_only) > 100
    assert tokens("Schritt: half step unter G") & english_only == {"half", "step"}


def test_the_script_has_no_texts_of_its_own() -> None:
    # What it says comes with the page's data: no string in it has two words with a space.
    scripts = [
        path
        for package in ("skeleton.export.handout", "skeleton.export.take")
        for path in files(package).iterdir()
        if path.name.endswith(".js")
    ]
    assert {"page_core.js", "take.js"} <= {path.name for path in scripts}
    for path in scripts:
        text = re.sub(r"//[^\n]*|/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
        for literal in re.findall(r'"([^"\n]*)"', text):
            if re.search(r"[A-Z][a-z]+ [a-z]|[a-z]{3,}[.!?:]( |$)", literal):
                pytest.fail(f"{path.name}: {literal!r}")


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
def test_what_the_script_writes_is_german_too(
    case, engraver: Engraver, english_only, tmp_path: Path
) -> None:
    analysis, lesson = case
    path = tmp_path / "blatt.html"
    made = handout_page(analysis, lesson, engraver, language="de", with_sounds=False)
    path.write_text(made.html, encoding="utf-8")
    seen: list[str] = []
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page()
        page.on("dialog", lambda dialog: (seen.append(dialog.message), dialog.dismiss()))
        page.goto(path.as_uri())

        for picture in ("etude", "listening"):
            notes = page.locator(f'[data-picture="{picture}"] [data-note]')
            for place in range(min(notes.count(), 8)):
                notes.nth(place).dispatch_event("click")
                seen += seen_in(page)
                for button in page.locator("#card button").all()[:1]:
                    button.dispatch_event("click")
                    seen += seen_in(page)
        for button in ("#new-take", "#drop-take"):
            page.locator(button).dispatch_event("click")
            seen += seen_in(page)
        browser.close()
    assert any("Aufnahme" in text for text in seen)
    assert {text[:200]: found for text in seen if (found := tokens(text) & english_only)} == {}
