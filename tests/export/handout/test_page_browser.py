"""The page in a real browser: what a student does with it, by finger and by keyboard.

Chromium as the system has it (Debian's package ``chromium``), steered by Playwright; axe-core,
which checks WCAG's rules from outside, comes inside the package axe-playwright-python. Where one
is missing these tests are skipped and say so.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from browsing import Visit, axe_or_skip, needs_chromium, opened, running_chromium, visited

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import parse_lesson
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.make_page import handout_page
from skeleton.score.reading import read_bytes

axe = axe_or_skip()
pytestmark = needs_chromium

LESSON = parse_lesson(
    '[[passage]]\nname = "A"\nmeasures = "1-2"\n[[passage]]\nname = "B"\nmeasures = "3-4"\n'
)
NOTES = (
    "F#4", "G4", "C#5", "D5", "F#5", "G5", "G#4", "A4", "F#4", "G4", "B4", "C5", "Bb4", "A4",
    "D5", "E5",
)  # fmt: skip
TITLE = '<img src=x onerror="document.title=1">'


def etude() -> bytes:
    measures = []
    for index in range(4):
        notes = []
        for place, name in enumerate(NOTES[4 * index : 4 * index + 4]):
            alter = {"#": 1, "b": -1}.get(name[1], 0)
            notes.append(
                f"<note><pitch><step>{name[0]}</step><alter>{alter}</alter>"
                f"<octave>{name[-1]}</octave></pitch><duration>1</duration><voice>1</voice>"
                f'<type>quarter</type><notations><slur type="{"stop" if place % 2 else "start"}"/>'
                "</notations></note>"
            )
        attributes = (
            "<attributes><divisions>1</divisions><time><beats>4</beats>"
            "<beat-type>4</beat-type></time></attributes>"
        )
        measures.append(
            f'<measure number="{index + 1}">{"" if index else attributes}{"".join(notes)}</measure>'
        )
    title = TITLE.replace("<", "&lt;").replace('"', "&quot;")
    return (
        f'<score-partwise version="4.0"><work><work-title>{title}</work-title></work>'
        '<part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list>'
        f'<part id="P1">{"".join(measures)}</part></score-partwise>'
    ).encode()


@pytest.fixture(scope="module")
def ids() -> list[str]:
    return [note.id for note in read_bytes(etude(), "small.musicxml").parts[0].notes]


@pytest.fixture(scope="module")
def file(engraver: Engraver, tmp_path_factory: pytest.TempPathFactory) -> Path:
    analysis = analyse(read_bytes(etude(), "small.musicxml"), LESSON)
    path = tmp_path_factory.mktemp("page") / "handout.html"
    path.write_text(handout_page(analysis, LESSON, engraver).html, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    yield from running_chromium()


@pytest.fixture
def visit(browser, file: Path) -> Iterator[Visit]:
    yield from visited(browser, file)


def note(page, picture: str, note_id: str):
    return page.locator(f'{picture} [data-note="{note_id}"]')


def kept(page) -> dict:
    key = "Object.keys(localStorage).find((key) => key.includes(':takes:'))"
    return json.loads(page.evaluate(f"localStorage.getItem({key})"))


def marks(page) -> list[dict]:
    return kept(page)["takes"][-1]["marks"]


def test_it_opens_without_a_word_and_asks_for_nothing(visit: Visit, file: Path) -> None:
    page = visit.page
    for player in page.locator("audio").all():
        length = player.evaluate(
            "(player) => new Promise((done) => { player.preload = 'auto'; player.load();"
            "player.onloadedmetadata = () => done(player.duration);"
            "player.onerror = () => done(0); })"
        )
        assert length > 5
    note(page, "#etude-lines", "nothing").count()
    page.locator("#etude-lines [data-note]").first.press("Enter")
    assert visit.said == []
    assert [one for one in visit.asked if not one.startswith("data:")] == [file.as_uri()]
    assert page.title() == TITLE
    assert page.locator("h1").inner_text() == TITLE


def test_the_policy_stops_what_is_not_of_the_page(visit: Visit) -> None:
    page = visit.page
    page.evaluate(
        "() => { const image = document.createElement('img'); image.src = 'x.png';"
        "document.body.append(image); const script = document.createElement('script');"
        "try { script.textContent = 'document.title = 1'; document.body.append(script); }"
        "catch (error) { console.log('refused'); } }"
    )
    page.wait_for_timeout(200)
    assert page.title() == TITLE
    assert any("x.png" in line and "Content Security Policy" in line for line in visit.said)
    assert any("TrustedScript" in line or "refused" in line for line in visit.said)


def test_stages_take_turns(visit: Visit) -> None:
    section = visit.page.locator("#passage-2")
    bare, full = section.locator("[data-stage=bare]"), section.locator("[data-stage=neighbours]")
    assert (bare.is_visible(), full.is_visible()) == (True, False)
    section.get_by_role("radio", name="with accidentals").check()
    assert (bare.is_visible(), full.is_visible()) == (False, True)
    section.get_by_role("radio", name="as written").check()
    assert (bare.is_visible(), full.is_visible()) == (False, False)
    piece = section.locator("[data-stage=all]")
    inside = piece.locator("[data-m]:not(.pale)").evaluate_all("all => all.map(e => e.dataset.m)")
    assert sorted(set(inside)) == ["2", "3"]  # measures 3 and 4
    # by keyboard: arrows go through the choices
    section.get_by_role("radio", name="as written").press("ArrowLeft")
    assert full.is_visible()
    assert visit.page.locator("#passage-1 [data-stage=bare]").is_visible()


def test_a_tap_tells_and_lights_up_all_octaves(visit: Visit, ids: list[str]) -> None:
    page = visit.page
    head = note(page, "#etude-lines", ids[0]).locator(".head")
    head.scroll_into_view_if_needed()
    box = head.bounding_box()
    # beside the head, as a finger would: the nearest note is meant
    page.mouse.click(box["x"] + box["width"] / 2 + 8, box["y"] + box["height"] + 12)
    card = page.locator("#card")
    assert card.is_visible()
    text = card.inner_text()
    assert "F♯4" in text
    assert "half step below G4" in text
    assert "K: F♯4 F♯5, 3 places" in text
    lit = page.locator("#etude-lines .again").evaluate_all("all => all.map(e => e.dataset.note)")
    assert set(lit) == {ids[0], ids[4], ids[8]}
    anchor = page.locator("#etude-lines .anchor").evaluate_all(
        "all => all.map(e => e.dataset.note)"
    )
    assert anchor == [ids[1]]
    # and in the other pictures of the page too
    assert page.locator("#passage-1 .again").count() > 0
    status = page.locator("#status").inner_text()
    assert status.startswith("F♯4, measure 1, beat 1. ")
    assert "half step below G4" in status
    card.get_by_role("button", name="Next place").click()
    assert "F♯5" in card.inner_text()
    page.keyboard.press("Escape")
    assert card.is_hidden()
    assert page.locator(".again, .here, .anchor").count() == 0


def test_one_tab_stop_and_arrows_inside_a_picture(visit: Visit, ids: list[str]) -> None:
    page = visit.page
    stops = page.locator('#etude-lines [tabindex="0"]')
    assert stops.count() == 1
    focused = "document.activeElement.dataset.note"
    stops.focus()
    assert page.evaluate(focused) == ids[0]
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    assert page.evaluate(focused) == ids[3]
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    assert "C♯5" in page.locator("#card").inner_text()
    assert page.evaluate(focused) == ids[2]
    page.keyboard.press("End")
    page.keyboard.press("ArrowRight")  # on into the next line, or the end
    assert page.locator('#etude-lines [tabindex="0"]').count() == 1
    label = note(page, "#etude-lines", ids[2]).get_attribute("aria-label")
    assert label == "C♯5, measure 1, beat 3, Tune it: half step below D5"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('#etude-lines')") is None


def test_marks_are_made_by_tap_and_by_key_and_kept(visit: Visit, ids: list[str]) -> None:
    page = visit.page
    note(page, ".listening", ids[2]).locator(".head").click(force=True)
    page.get_by_role("button", name="sharp (too high)").click()
    assert page.evaluate("document.activeElement.dataset.note") == ids[2]
    note(page, ".listening", ids[4]).press("-")
    note(page, ".listening", ids[6]).press("?")
    note(page, ".listening", ids[8]).press("Enter")
    assert page.evaluate("document.activeElement.textContent") == "flat (too low)"
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expected = [
        {"note": ids[2], "says": "sharp"}, {"note": ids[4], "says": "flat"},
        {"note": ids[6], "says": "unsure"}, {"note": ids[8], "says": "sharp"},
    ]  # fmt: skip
    assert marks(page) == expected
    assert page.locator(".listening .mark").count() == 4
    assert note(page, ".listening", ids[4]).get_attribute("aria-label") == (
        "F♯5, measure 2, beat 1, marked flat (too low)"
    )
    assert page.locator("#status").inner_text().endswith("Marks in this take: 4.")
    cells = page.locator("#counts tbody tr").evaluate_all(
        "all => all.map(e => e.cells[1].innerText)"
    )
    assert cells == ["3", "1"]
    note(page, ".listening", ids[8]).press("Delete")
    page.reload()
    assert marks(page) == expected[:3]
    assert page.locator(".listening .mark").count() == 3
    # what was heard is told before anything else: no anchor, no cents while listening
    note(page, ".listening", ids[0]).press("Enter")
    assert "half step" not in page.locator("#card").inner_text()


def test_takes_have_dates_and_show_what_comes_back(visit: Visit, ids: list[str]) -> None:
    page = visit.page
    page.locator("#take-date").fill("2026-01-05")
    note(page, ".listening", ids[2]).press("+")
    page.locator("#new-take").click()
    page.locator("#take-date").fill("2026-01-12")
    note(page, ".listening", ids[2]).press("+")
    note(page, ".listening", ids[3]).press("-")
    assert [one["date"] for one in kept(page)["takes"]] == ["2026-01-05", "2026-01-12"]
    back = page.locator("#returning li").all_inner_texts()
    assert back == [
        "C♯5, measure 1, beat 3: 2026-01-05 sharp (too high); 2026-01-12 sharp (too high)"
    ]
    page.locator("#take").select_option("0")
    assert page.locator(".listening .mark").count() == 1
    page.once("dialog", lambda dialog: dialog.accept())
    page.locator("#drop-take").click()
    assert [one["date"] for one in kept(page)["takes"]] == ["2026-01-12"]


def test_marks_go_out_as_a_file_and_come_back(
    visit: Visit, browser, file: Path, ids: list[str], tmp_path: Path
) -> None:
    page = visit.page
    page.locator("#take-date").fill("2026-01-05")
    note(page, ".listening", ids[2]).press("+")
    with page.expect_download() as waiting:
        page.locator("#save").click()
    saved = tmp_path / "marks.json"
    waiting.value.save_as(saved)
    assert waiting.value.suggested_filename == "small-marks.json"
    found = json.loads(saved.read_text(encoding="utf-8"))
    assert found == {
        "format": 1,
        "etude": re.search(r'"etude":"([0-9a-f]{64})"', file.read_text(encoding="utf-8"))[1],
        "takes": [{"date": "2026-01-05", "marks": [{"note": ids[2], "says": "sharp"}]}],
    }
    found["takes"][0]["marks"].append({"note": "no-such-note", "says": "flat"})
    saved.write_text(json.dumps(found), encoding="utf-8")

    context = browser.new_context()
    other = opened(context, file).page
    assert other.locator(".mark").count() == 0
    other.locator("#load").set_input_files(saved)
    other.locator(".listening .mark").wait_for(state="attached")
    assert "no-such-note" not in json.dumps(kept(other))
    assert other.locator("#told").inner_text() == (
        "New takes read: 1, with marks: 1. "
        "Marks left out, for notes that this etude does not have: 1."
    )
    other.locator("#load").set_input_files(saved)  # once more: nothing twice
    other.get_by_text("New takes read: 0").first.wait_for()
    assert len(kept(other)["takes"]) == 1
    context.close()


@pytest.mark.parametrize(
    "change",
    [
        {"etude": "0" * 64},
        {"format": 2},
        {"takes": [{"date": "2026-02-30", "marks": []}]},
        {"takes": [{"date": "2026-02-03", "marks": [{"note": "a", "says": "loud"}]}]},
        {"takes": "many"},
        None,
    ],
)
def test_a_wrong_file_changes_nothing(
    visit: Visit, file: Path, tmp_path: Path, change: dict | None
) -> None:
    said = "another etude" if change and "etude" in change else "no marks that this page can read"
    page = visit.page
    page.locator(".listening [data-note]").first.press("+")
    before = kept(page)
    etude_hash = re.search(r'"etude":"([0-9a-f]{64})"', file.read_text(encoding="utf-8"))[1]
    wrong = tmp_path / "wrong.json"
    right = {"format": 1, "etude": etude_hash, "takes": []}
    wrong.write_text("{not json" if change is None else json.dumps(right | change))
    page.locator("#load").set_input_files(wrong)
    page.locator("#told", has_text=said).wait_for()
    assert kept(page) == before
    assert visit.said == []


def test_where_nothing_can_be_kept_it_says_so_and_works(browser, file: Path, ids) -> None:
    context = browser.new_context()
    context.add_init_script(
        "Object.defineProperty(window, 'localStorage', { get() { throw new Error('no'); } });"
    )
    visit = opened(context, file)
    note(visit.page, ".listening", ids[2]).press("+")
    assert visit.page.locator(".listening .mark").count() == 1
    assert "does not keep marks" in visit.page.locator("#told").inner_text()
    assert visit.said == []
    context.close()


def test_ticks_are_kept(visit: Visit) -> None:
    page = visit.page
    boxes = page.locator("#tune input")
    boxes.nth(1).check()
    page.reload()
    states = page.locator("#tune input").evaluate_all("all => all.map((box) => box.checked)")
    assert states == [False, True, False, False]


def test_one_sound_at_a_time(visit: Visit) -> None:
    page = visit.page
    started = (
        "async (at) => { const all = document.querySelectorAll('audio'); all[at].muted = true;"
        "await all[at].play(); return [...all].map((one) => !one.paused); }"
    )
    assert page.evaluate(started, 0)[0]
    playing = page.evaluate(started, 1)
    page.wait_for_function("document.querySelectorAll('audio')[0].paused")
    assert playing[1]


def test_it_prints_all_stages_and_no_controls(visit: Visit, tmp_path: Path, ids) -> None:
    page = visit.page
    page.locator("#passage-1").get_by_role("radio", name="as written").check()
    note(page, ".listening", ids[2]).press("+")
    printed = tmp_path / "printed.pdf"
    page.pdf(path=str(printed), format="A4")
    text = " ".join(one.extract_text() for one in pypdf.PdfReader(printed).pages)
    words = " ".join(text.split())
    for wanted in ("Bare skeleton", "With its accidentals", "Listening sheet", "Take care"):
        assert wanted in words
    assert words.count("Bare skeleton") == 2
    for unwanted in ("New take", "Next place", "Tap a note", "as written,", "Read marks"):
        assert unwanted not in words
    page.emulate_media(media="print")
    assert page.locator("audio:visible, select:visible, button:visible:not(td *)").count() == 0
    ink = page.evaluate("getComputedStyle(document.body).color")
    assert ink == "rgb(0, 0, 0)"


@pytest.mark.parametrize("width", [320, 360, 768])
def test_nothing_sticks_out_of_a_narrow_screen(browser, file: Path, width: int, ids) -> None:
    # 320 CSS pixels: WCAG 2.2, 1.4.10 "Reflow"
    context = browser.new_context(viewport={"width": width, "height": 700}, has_touch=True)
    page = opened(context, file).page
    note(page, ".listening", ids[2]).press("Enter")
    assert page.evaluate("document.documentElement.scrollWidth") == width
    card = page.locator("#card").bounding_box()
    assert card["height"] < 350
    assert 0 <= card["x"] <= card["x"] + card["width"] <= width
    page.locator("#passage-1").scroll_into_view_if_needed()
    target = note(page, "#passage-1 [data-stage=bare]", ids[1]).locator(".head").bounding_box()
    page.touchscreen.tap(target["x"] + target["width"] / 2, target["y"] + target["height"] / 2)
    assert "G4" in page.locator("#card").inner_text()
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_no_fault(browser, file: Path, ids, scheme: str, width: int) -> None:
    context = browser.new_context(
        viewport={"width": width, "height": 800}, color_scheme=scheme, reduced_motion="reduce"
    )
    page = opened(context, file).page
    note(page, "#etude-lines", ids[0]).press("Enter")
    note(page, ".listening", ids[2]).press("-")
    note(page, ".listening", ids[2]).press("Enter")
    page.locator("#passage-1").get_by_role("radio", name="as written").check()
    note(page, "#etude-lines", ids[0]).press("Enter")
    rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = axe.Axe().run(page, options={"runOnly": rules}).response
    assert len(found["passes"]) > 30
    assert [
        (one["id"], one["impact"], one["nodes"][0]["html"]) for one in found["violations"]
    ] == []
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_have_the_contrast_of_wcag_aa(browser, file: Path, scheme: str) -> None:
    # WCAG 2.2: 1.4.3 text 4.5:1, 1.4.11 parts of controls and graphics 3:1
    context = browser.new_context(color_scheme=scheme)
    page = opened(context, file).page
    names = ("paper", "ink", "soft", "line", "deep", "on-deep", "here", "again", "sheet")
    colours = {
        name: page.evaluate(
            f"getComputedStyle(document.documentElement).getPropertyValue('--{name}').trim()"
        )
        for name in names
    }
    for text, ground in (
        ("ink", "paper"), ("soft", "paper"), ("deep", "paper"), ("on-deep", "deep"),
        ("ink", "sheet"), ("soft", "sheet"), ("deep", "sheet"), ("ink", "here"), ("ink", "again"),
    ):  # fmt: skip
        assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    for shape, ground in (("line", "paper"), ("deep", "here"), ("soft", "here"), ("soft", "again")):
        assert contrast(colours[shape], colours[ground]) >= 3.0, (shape, ground)
    context.close()


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it ("contrast ratio", "relative luminance")."""

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


VALIDATOR = Path(__file__).parents[3] / ".ci" / "node_modules/vnu-jar/build/dist/vnu.jar"


@pytest.mark.skipif(not VALIDATOR.is_file(), reason="npm package vnu-jar is not under .ci")
@pytest.mark.skipif(shutil.which("java") is None, reason="no Java on this machine")
def test_the_page_is_valid_html(file: Path) -> None:
    done = subprocess.run(
        ["java", "-jar", str(VALIDATOR), "--errors-only", "--format", "json", str(file)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert json.loads(done.stderr)["messages"] == []
    assert done.returncode == 0
