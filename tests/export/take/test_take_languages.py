"""Nothing of English is left in what the German sheet and page of a take show or say.

The take is one in which there is something to say of everything: each kind of finding, notes that
are not judged for each reason, strings that rang and did not, marks that agree and do not.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pypdf
import pytest
from browsing import needs_chromium, opened, running_chromium
from languages import of_page, of_pdf, seen_in, tokens, words_only_english

from skeleton.export.take.make import listening_page, listening_sheet
from skeleton.listening.alignment import Restart
from skeleton.listening.ear_marks import EarTake, compare
from skeleton.listening.measure import Reason
from skeleton.listening.notices import TakeNotice
from skeleton.listening.report import Finding, Kind, TakeReport
from skeleton.listening.resonance import Resonance, Why
from skeleton.listening.tendency import Tendency

COMPOSER = "Ein Lehrer"
ODD = (
    TakeNotice(
        "clipped",
        "0:01.0 to 0:02.5: too loud, its peaks are cut off: record it quieter",
        times_s=(1.0, 2.5),
    ),
    TakeNotice(
        "quiet", "very quiet (-51 dB of full scale): go nearer to the microphone", number=51
    ),
)


@pytest.fixture(scope="module")
def english_only() -> set[str]:
    return words_only_english()


@pytest.fixture(scope="module")
def report(take) -> TakeReport:
    """The take, with something to say of everything."""
    found, targets = take.report, take.report.targets
    fixed = next(one.note for one in found.notes if targets[one.note].role == "fixed")
    leaning = next(
        one.note for one in found.notes if one.lean_cents and targets[one.note].lean_cents
    )
    about = {"height": (), "drift": (), "string": (fixed,), "note": (fixed,)}
    findings = tuple(
        Finding(kind, about.get(kind, (leaning,)), 9, cents, 1.0)
        for kind in get_args(Kind)
        for cents in (-12.0, 12.0)
    )
    reasons = [*get_args(Reason), None]
    spoiled = dict(zip((one.note for one in found.notes[-len(reasons) :]), reasons, strict=True))
    notes = tuple(
        replace(one, verdict=None, unjudged=spoiled[one.note]) if one.note in spoiled else one
        for one in found.notes
    )
    string = found.reference.strings[:1]
    rings = (
        *(Resonance(fixed, at, "answers", None, string, -6.0, 5.6, 21.0, 5) for at in (1, 2)),
        Resonance(leaning, 1, "does not answer", None, string, -23.5, 6.0, -2.0, 3),
        *(Resonance(fixed, 3, "not measurable", why, string) for why in get_args(Why)),
    )
    whole = Tendency(20, 9.04, 1.2, "sharp", -11.5, 2.5, "flat", 10.0, -0.5)
    score = found.analysis.score
    score = replace(
        score, title="Übung", composer=COMPOSER, source=replace(score.source, name="uebung.xml")
    )
    return replace(
        found,
        analysis=replace(found.analysis, score=score),
        alignment=replace(found.alignment, restarts=(Restart(3.5, 1, 2),)),
        reference=replace(found.reference, heard=(True, True, True, False)),
        notes=notes,
        findings=findings,
        resonances=rings,
        tendency=whole,
    )


@pytest.fixture(scope="module")
def ear(take) -> EarTake:
    """Marks of every sort, on notes that are off, in tune and not judged."""
    says = {4: "flat", 11: "flat", 2: "sharp", 1: "unsure", 0: "flat", 23: "sharp"}
    return EarTake("2026-11-20", {take.note(place): what for place, what in says.items()})


@pytest.fixture(scope="module")
def sheets(report, take, ear, engraver) -> dict[str, bytes]:
    compared = compare(ear, report.notes)
    assert {one.agreement for one in compared if one.ear or one.agreement == "missed"} >= {
        "agreed", "missed", "imagined", "wrong direction", "open",
    }  # fmt: skip
    return {
        code: listening_sheet(
            report, take.curves, "Dienstag.wav", engraver,
            ear=compared, notices=ODD, language=code,
        ).data
        for code in ("en", "de")
    }  # fmt: skip


@pytest.fixture(scope="module")
def pages(report, take, engraver) -> dict[str, str]:
    return {
        code: listening_page(
            report, take.curves, "Dienstag.wav", take.samples, take.rate,
            engraver=engraver, notices=ODD, name="dienstag", language=code,
        ).html
        for code in ("en", "de")
    }  # fmt: skip


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    yield from running_chromium()


def shown(data: dict) -> object:
    """What of the script's data is for a person: texts, names of notes, what was measured."""
    measured = [one[1:] for one in data["measured"].values()]
    return [data["say"], data["notes"], data["facts"], measured, data["file"]]


def english_in(said: list[str], english_only: set[str]) -> dict[str, set[str]]:
    return {text[:200]: found for text in said if (found := tokens(text) & english_only)}


def test_no_english_is_left_in_a_german_sheet(sheets, english_only) -> None:
    said = of_pdf(sheets["de"])
    assert english_in(said, english_only) == {}
    assert not re.search(r"\d\.\d", " ".join(said)), "decimals have a comma"
    assert any(alt.startswith("Tonhöhenkurve, Takt ") for alt in said)
    assert any(alt.startswith("Notenbild, die Etüde mit den Zeichen") for alt in said)


def test_a_german_sheet_says_that_it_is_german(sheets) -> None:
    for code, data in sheets.items():
        assert pypdf.PdfReader(io.BytesIO(data)).trailer["/Root"]["/Lang"] == code


def test_no_english_is_left_in_a_german_page(pages, english_only) -> None:
    assert '<html lang="de">' in pages["de"]
    said = of_page(pages["de"], shown)
    assert english_in(said, english_only) == {}
    assert not re.search(r"\d\.\d", " ".join(said)), "decimals have a comma"


def test_the_search_finds_english(sheets, pages, english_only) -> None:
    assert len(tokens(" ".join(of_page(pages["en"], shown))) & english_only) > 100
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(sheets["en"])).pages)
    assert len(tokens(text) & english_only) > 100


def test_it_names_its_notes_as_german_players_do(sheets) -> None:
    text = " ".join(of_pdf(sheets["de"]))
    assert not re.search(r"[♯♭]", text)
    assert re.search(r"\bleere Saite [gG]\b", text)


@pytest.mark.parametrize("code", ["en", "de"])
def test_title_composer_and_take_stand_at_the_head(sheets, pages, code) -> None:
    reader = pypdf.PdfReader(io.BytesIO(sheets[code]))
    lines = reader.pages[0].extract_text().splitlines()[:3]
    assert lines[:2] == ["Übung", COMPOSER]
    assert lines[2].startswith("Dienstag.wav, ")
    assert reader.metadata.author == COMPOSER
    head = pages[code].partition("<header>")[2].partition("</header>")[0]
    assert re.sub("<[^>]*>", "|", head).split("||")[:2] == ["|Übung", COMPOSER]


def test_without_a_composer_there_is_no_line_for_one(report, engraver) -> None:
    score = replace(report.analysis.score, composer=None)
    bare = replace(report, analysis=replace(report.analysis, score=score))
    data = listening_sheet(bare, (), "Dienstag.wav", engraver).data
    lines = pypdf.PdfReader(io.BytesIO(data)).pages[0].extract_text().splitlines()
    assert lines[0] == "Übung"
    assert lines[1].startswith("Dienstag.wav, ")


@needs_chromium
@pytest.mark.parametrize("width", [320, 1000])
def test_what_the_script_writes_is_german_too(
    browser, pages, english_only, tmp_path: Path, width: int
) -> None:
    path = tmp_path / "dienstag.html"
    path.write_text(pages["de"], encoding="utf-8")
    seen: list[str] = []
    context = browser.new_context(viewport={"width": width, "height": 800})
    visit = opened(context, path)
    page = visit.page
    page.on("dialog", lambda dialog: (seen.append(dialog.message), dialog.accept()))
    page.evaluate("document.getElementById('take-sound').muted = true")
    page.locator("#compare").click()  # nothing is marked yet: it asks first
    page.locator("#compare").click()
    notes = page.locator(".listening [data-note]")
    for place, key in enumerate("-+?-+?-+?-+?-+?"):
        notes.nth(place).press("Enter")
        seen += seen_in(page)
        notes.nth(place).press(key)
    notes.nth(2).press("Delete")
    seen += seen_in(page)
    page.locator("#compare").click()
    for summary in page.locator("details summary").all():
        summary.click()
    notes.nth(4).press("Enter")
    notes.nth(4).press("-")
    seen += seen_in(page)
    # A name of a note stays on one line, also where its column leaves no room.
    squeezed = page.locator("#outcome td button").evaluate_all(
        "all => all.slice(0, 2).map((one, at) => { one.textContent = ['c', 'cis′′'][at];"
        "one.parentElement.style.display = 'block'; one.parentElement.style.width = '1px';"
        "return one.getBoundingClientRect().height; })"
    )
    assert squeezed[0] == squeezed[1]
    assert page.evaluate("document.documentElement.scrollWidth") == width
    page.locator("#compare").click()
    for button in ("#new-take", "#drop-take", "#save"):
        page.locator(button).click()
        seen += seen_in(page)
    context.close()
    assert visit.said == []
    assert any("Nichts ist angezeichnet" in text for text in seen)
    assert any("Falsche Richtung" in text for text in seen)
    assert any("Messung verbergen" in text for text in seen)
    # Files are named alike in every language.
    said = [text.replace("dienstag-marks.json", "") for text in seen]
    assert english_in(said, english_only) == {}
