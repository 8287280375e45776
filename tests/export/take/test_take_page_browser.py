"""The page of a take in a real browser: hear a moment, mark it, and only then see the figures.

Chromium as the system has it, steered by Playwright, and axe-core, as for the page of a handout.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import html5lib
import pypdf
import pytest
from browsing import (
    Visit,
    axe_or_skip,
    fonts_of,
    needs_chromium,
    opened,
    running_chromium,
    visited,
)
from typer.testing import CliRunner

from skeleton.cli.app import app
from skeleton.export.handout.make_page import handout_page
from skeleton.export.take.make import listening_page
from skeleton.listening.ear_marks import EarTake, compare, read_ear_marks

axe = axe_or_skip()
pytestmark = needs_chromium

NAME = '<img src=x onerror="document.title=1">.wav'
WITHIN_S = 0.05
VALIDATOR = Path(__file__).parents[3] / ".ci" / "node_modules/vnu-jar/build/dist/vnu.jar"


@pytest.fixture(scope="module")
def made(take, engraver):
    return listening_page(
        take.report, take.curves, NAME, take.samples, take.rate, engraver=engraver, name="tuesday"
    )


@pytest.fixture(scope="module")
def file(made, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("take-page") / "marks.html"
    path.write_text(made.html, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    yield from running_chromium()


@pytest.fixture
def visit(browser, file: Path) -> Iterator[Visit]:
    yield from visited(browser, file)


def note(page, note_id: str):
    return page.locator(f'.listening [data-note="{note_id}"]')


def wait_until(page, condition: str) -> None:
    # Playwright's own waiting would evaluate a text, which the page's policy forbids.
    page.evaluate(
        f"() => new Promise((done) => {{ const look = () => ({condition}) ? done() :"
        " setTimeout(look, 5); look(); })"
    )


def outcome(page) -> dict[str, list[str]]:
    """Which notes the page lists under which outcome, as it words their places."""
    return page.evaluate(
        "() => { const found = {}; let kind = null;"
        "for (const one of document.getElementById('outcome').children) {"
        "if (one.dataset.kind) { kind = one.dataset.kind; found[kind] = []; }"
        "for (const row of one.querySelectorAll('tbody tr'))"
        "found[kind].push(row.cells[1].innerText + ', ' + row.cells[0].innerText); }"
        "return found; }"
    )


def data_of(file: Path) -> dict:
    text = file.read_text(encoding="utf-8")
    return json.loads(re.search(r'id="etude-data">(.*?)</script>', text, re.DOTALL)[1])


def test_it_opens_without_a_word_and_asks_for_nothing(visit: Visit, file: Path, made) -> None:
    page = visit.page
    assert visit.said == []
    assert [one for one in visit.asked if not one.startswith("data:")] == [file.as_uri()]
    assert page.title().endswith(f"{NAME}, {page.title().rsplit(', ', 1)[1]}")
    assert made.files == {}
    html5lib.HTMLParser(strict=True).parse(made.html)
    without_data = re.sub(r'base64,[^)"]+', "", made.html)
    assert set(re.findall(r"https?:[^\"' )]*", without_data)) == {"http://www.w3.org/2000/svg"}
    assert "style=" not in re.sub(r"<(style|script).*?</\1>", "", made.html, flags=re.DOTALL)


def test_the_same_take_gives_the_same_page(take, engraver, made) -> None:
    again = listening_page(
        take.report, take.curves, NAME, take.samples, take.rate, engraver=engraver, name="tuesday"
    )
    assert again.html == made.html


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_heading_is_set_in_the_pages_own_font(
    browser, take, engraver, tmp_path: Path, language: str
) -> None:
    path = tmp_path / "take.html"
    html = listening_page(
        take.report, take.curves, "t.wav", take.samples, take.rate,
        engraver=engraver, language=language,
    ).html  # fmt: skip
    path.write_text(html, encoding="utf-8")
    context = browser.new_context()
    page = opened(context, path).page
    page.evaluate("document.getElementById('take-sound').muted = true")
    # A note of each name; where it stands is beside its name, in a font of the machine.
    first = {said[0]: note_id for note_id, said in data_of(path)["notes"].items()
             if isinstance(said, list)}  # fmt: skip
    for name, note_id in first.items():
        note(page, note_id).press("Enter")
        page.evaluate("document.querySelector('#card h2 small').remove()")
        assert fonts_of(page, "#card h2") == [(name, {"Etude Serif"})]
    assert set("♯" if language == "en" else "′") <= set("".join(first))
    note(page, take.note(4)).press("-")
    page.locator("#compare").click()
    headings = fonts_of(page, "main h2, main h3, main h4, h1")
    assert len(headings) > 8
    assert [one for one in headings if one[1] != {"Etude Serif"}] == []
    context.close()


@pytest.mark.parametrize("how", ["click", "Enter"])
def test_a_note_plays_its_moment_and_stops(visit: Visit, take, how: str) -> None:
    page = visit.page
    page.evaluate("document.getElementById('take-sound').muted = true")
    place = 11
    target = note(page, take.note(place))
    if how == "click":
        target.locator(".head").click(force=True)
    else:
        target.press("Enter")
    heard = take.curve(place).judged.heard[0]
    begun = page.evaluate(
        "new Promise((done) => { const player = document.getElementById('take-sound');"
        "const look = () => player.paused ? setTimeout(look, 5) : done(player.currentTime);"
        "look(); })"
    )
    # The moment begins a little before the onset that was synthesised.
    assert heard.start_s - 0.16 - WITHIN_S <= begun <= heard.start_s + 0.2
    assert abs(heard.start_s - take.starts_s[place]) < 0.1
    wait_until(page, "document.getElementById('take-sound').paused")
    ended = page.evaluate("document.getElementById('take-sound').currentTime")
    assert heard.end_s - WITHIN_S <= ended <= max(heard.end_s, begun + 0.7) + 0.5
    assert page.locator("#card").is_visible()
    assert visit.said == []


def test_playing_on_goes_on_and_lights_up_what_sounds(visit: Visit, take) -> None:
    page = visit.page
    page.evaluate("document.getElementById('take-sound').muted = true")
    page.locator("#go-on").check()
    note(page, take.note(0)).press("Enter")
    page.locator(f'.sounding[data-note="{take.note(0)}"]').wait_for(state="attached")
    page.locator(f'.sounding[data-note="{take.note(2)}"]').wait_for(state="attached")
    assert page.evaluate("!document.getElementById('take-sound').paused")
    assert page.locator(".sounding").count() == 1


def test_what_was_measured_is_hidden_until_marked(visit: Visit, take) -> None:
    page = visit.page
    hidden = page.locator("[data-measured]")
    assert hidden.count() >= 6
    assert not any(one.is_visible() for one in hidden.all())
    shown = page.locator("body").inner_text()
    assert "cents" not in shown
    assert "What to work on" not in shown
    labels = page.locator(".listening [data-note]").evaluate_all(
        "all => all.map((one) => one.getAttribute('aria-label')).join()"
    )
    assert "measured" not in labels
    # giving up asks first
    page.once("dialog", lambda dialog: dialog.dismiss())
    page.locator("#compare").click()
    assert not page.locator("#measured").is_visible()
    page.once("dialog", lambda dialog: dialog.accept())
    page.locator("#compare").click()
    assert page.locator("#measured").is_visible()
    page.locator("#compare").click()
    assert not page.locator("#measured").is_visible()
    # with a mark nothing is asked: an unexpected dialog would be dismissed, and nothing shown
    note(page, take.note(4)).press("+")
    page.locator("#compare").click()
    assert page.locator("#measured").is_visible()
    assert page.locator("#compare").get_attribute("aria-expanded") == "true"


def test_side_by_side_as_the_command_compares(visit: Visit, take) -> None:
    page = visit.page
    said = {4: "+", 11: "+", 2: "-", 18: "?"}
    words = {"+": "sharp", "-": "flat", "?": "unsure"}
    for place, key in said.items():
        note(page, take.note(place)).press(key)
    page.locator("#compare").click()
    ear = EarTake("2024-05-01", {take.note(at): words[key] for at, key in said.items()})
    expected: dict[str, list[str]] = {}
    for one in compare(ear, take.report.notes):
        if one.ear or one.agreement == "missed":
            place = take.report.targets[one.note].place
            pitch = str(place.pitch).replace("#", "♯").replace("b", "♭")
            expected.setdefault(one.agreement, []).append(f"{pitch}, measure {place.measure}")
    found = {
        kind: [text.rsplit(", beat", 1)[0] for text in texts]
        for kind, texts in outcome(page).items()
        if texts
    }
    assert found == expected
    assert "wrong direction" in found
    assert "agreed" in found
    told = page.locator("#told").inner_text()
    assert f"Wrong direction: {len(expected['wrong direction'])}" in told
    # both stand in the music: a ring and a square
    assert page.locator(".listening .mark").count() == len(said)
    squares = sum(one.verdict in ("sharp", "flat") for one in take.report.notes)
    assert page.locator(".listening .measured rect").count() == squares
    label = note(page, take.note(4)).get_attribute("aria-label")
    assert "marked sharp (too high)" in label
    assert "measured: high, +" in label
    # nothing can be changed to agree
    note(page, take.note(11)).press("-")
    assert "Hide it to go on marking" in page.locator("#told").inner_text()
    assert page.locator(".listening .mark").count() == len(said)
    page.locator("#compare").click()
    assert page.locator(".listening .measured").count() == 0
    note(page, take.note(11)).press("-")
    page.locator("#compare").click()
    left = outcome(page).get("wrong direction", [])
    assert len(left) == len(expected["wrong direction"]) - 1


def test_measured_texts_do_not_touch(visit: Visit, take) -> None:
    page = visit.page
    note(page, take.note(4)).press("+")
    page.locator("#compare").click()
    for line in page.locator(".listening > svg").all():
        boxes = line.locator(".measured text").evaluate_all(
            "all => all.map((one) => { const b = one.getBBox();"
            "return [b.x, b.y, b.x + b.width, b.y + b.height * 0.8]; })"
        )
        frame = line.evaluate(
            "one => { const b = one.viewBox.baseVal; return [b.x, b.x + b.width, b.y + b.height]; }"
        )
        for at, one in enumerate(boxes):
            assert frame[0] <= one[0]
            assert one[2] <= frame[1]
            assert one[3] <= frame[2] + 60
            for other in boxes[at + 1 :]:
                apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1]
                assert apart or other[3] <= one[1]


def test_its_marks_go_to_the_command_and_those_of_the_handout_come_in(
    visit: Visit, take, engraver, tmp_path: Path
) -> None:
    page = visit.page
    page.locator("#take-date").fill("2026-01-05")
    note(page, take.note(4)).press("+")
    with page.expect_download() as waiting:
        page.locator("#save").click()
    saved = tmp_path / "marks.json"
    waiting.value.save_as(saved)
    assert waiting.value.suggested_filename == "tuesday-marks.json"
    ids = [one.id for part in take.report.analysis.score.parts for one in part.notes]
    (read,) = read_ear_marks(saved, take.source, ids)
    assert (read.date, dict(read.marks)) == ("2026-01-05", {take.note(4): "sharp"})

    handout = tmp_path / "handout.html"
    handout.write_text(
        handout_page(take.report.analysis, None, engraver, with_sounds=False).html, encoding="utf-8"
    )
    practice = opened(page.context, handout).page
    practice.locator("#take-date").fill("2026-01-06")
    note(practice, take.note(11)).press("-")
    with practice.expect_download() as waiting:
        practice.locator("#save").click()
    theirs = tmp_path / "practice.json"
    waiting.value.save_as(theirs)
    practice.close()

    page.locator("#load").set_input_files(theirs)
    page.get_by_text("New sets of marks read: 1").first.wait_for()
    assert page.locator("#take option").count() == 2
    page.locator("#compare").click()
    assert len(outcome(page)["agreed"]) == 1
    page.locator("#take").select_option("0")
    assert [text.split(",")[0] for text in outcome(page)["agreed"]] != []

    other = json.loads(theirs.read_text()) | {"etude": "0" * 64}
    wrong = tmp_path / "wrong.json"
    wrong.write_text(json.dumps(other))
    page.locator("#load").set_input_files(wrong)
    page.locator("#told", has_text="marks for another etude").wait_for()
    assert page.locator("#take option").count() == 2
    assert visit.said == []


def test_the_command_takes_the_handouts_marks_and_refuses_those_of_another_etude(
    browser, take, engraver, tmp_path: Path
) -> None:
    import soundfile

    etude, sound = tmp_path / "etude.musicxml", tmp_path / "take.wav"
    etude.write_bytes(take.source)
    soundfile.write(sound, take.samples, take.rate)
    handout = tmp_path / "handout.html"
    handout.write_text(
        handout_page(take.report.analysis, None, engraver, with_sounds=False).html, encoding="utf-8"
    )
    context = browser.new_context()
    practice = opened(context, handout).page
    note(practice, take.note(4)).press("-")
    note(practice, take.note(11)).press("-")
    with practice.expect_download() as waiting:
        practice.locator("#save").click()
    marks = tmp_path / "marks.json"
    waiting.value.save_as(marks)
    context.close()

    def run(*more: str):
        return CliRunner().invoke(app, ["listen", str(etude), str(sound), "-q", *more])

    result = run("--ear", str(marks), "--json")
    assert result.exit_code == 0, result.stderr
    ear = {one["id"]: one["agreement"] for one in json.loads(result.stdout)["ear"]}
    assert ear[take.note(4)] == "wrong direction"
    assert ear[take.note(11)] == "agreed"

    page_file = tmp_path / "page.html"
    result = run("--ear", str(marks), "-o", str(page_file))
    assert result.exit_code == 0, result.stderr
    given = data_of(page_file)["given"]["takes"][0]["marks"]
    assert {one["note"]: one["says"] for one in given} == {
        take.note(4): "flat", take.note(11): "flat",
    }  # fmt: skip

    foreign = json.loads(marks.read_text()) | {"etude": "0" * 64}
    marks.write_text(json.dumps(foreign))
    result = run("--ear", str(marks), "--json")
    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1
    assert "made on another etude, or on another version of this one" in result.stderr


def test_marks_are_kept_apart_for_each_recording(
    browser, take, engraver, file: Path, tmp_path: Path
) -> None:
    context = browser.new_context()
    page = opened(context, file).page
    note(page, take.note(4)).press("+")
    page.reload()
    assert page.locator(".listening .mark").count() == 1
    assert not page.locator("#measured").is_visible()
    second = tmp_path / "second.html"
    second.write_text(
        listening_page(
            take.report, take.curves, "other.wav", take.samples * 0.5, take.rate, engraver=engraver
        ).html,
        encoding="utf-8",
    )
    page.goto(second.as_uri())
    assert page.locator(".listening .mark").count() == 0
    context.close()


def test_a_large_take_lies_beside_the_page(browser, take, engraver, tmp_path: Path) -> None:
    made = listening_page(
        take.report, take.curves, "t.wav", take.samples, take.rate,
        engraver=engraver, embed_up_to_mb=0.01, name="big name",
    )  # fmt: skip
    (name,) = made.files
    assert name == "big name-take.mp3"
    (tmp_path / name).write_bytes(made.files[name])
    path = tmp_path / "page.html"
    path.write_text(made.html, encoding="utf-8")
    context = browser.new_context()
    visit = opened(context, path)
    visit.page.evaluate("document.getElementById('take-sound').muted = true")
    note(visit.page, take.note(4)).press("Enter")
    wait_until(visit.page, "document.getElementById('take-sound').currentTime > 7")
    assert visit.said == []
    context.close()


def test_it_prints(visit: Visit, take, tmp_path: Path) -> None:
    page = visit.page
    note(page, take.note(4)).press("+")

    def printed() -> str:
        path = tmp_path / "printed.pdf"
        page.pdf(path=str(path), format="A4")
        return " ".join(" ".join(one.extract_text() for one in pypdf.PdfReader(path).pages).split())

    before = printed()
    assert "What was measured" not in before
    assert "cents from" not in before
    page.locator("#compare").click()
    after = printed()
    for wanted in ("Your ear and the measurement", "What to work on", "How it was judged"):
        assert wanted in after
    for unwanted in ("New marks", "Hide the measurement", "Tap a note"):
        assert unwanted not in after


def test_without_its_script_all_can_be_read(browser, file: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = opened(context, file).page
    assert page.locator("#measured").is_visible()
    assert page.locator("#take-sound").is_visible()
    assert not page.locator("#compare").is_visible()
    context.close()


@pytest.mark.parametrize("width", [320, 768])
def test_nothing_sticks_out_of_a_narrow_screen(browser, file: Path, take, width: int) -> None:
    # 320 CSS pixels: WCAG 2.2, 1.4.10 "Reflow"
    context = browser.new_context(viewport={"width": width, "height": 700}, has_touch=True)
    page = opened(context, file).page
    note(page, take.note(4)).press("+")
    page.locator("#compare").click()
    for one in page.locator("details summary").all():
        one.click()
    note(page, take.note(4)).press("Enter")
    assert page.evaluate("document.documentElement.scrollWidth") == width
    card = page.locator("#card").bounding_box()
    assert 0 <= card["x"] <= card["x"] + card["width"] <= width
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_no_fault(browser, file: Path, take, scheme: str, width: int) -> None:
    context = browser.new_context(
        viewport={"width": width, "height": 800}, color_scheme=scheme, reduced_motion="reduce"
    )
    page = opened(context, file).page
    rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

    def faults() -> list[tuple[str, str, str]]:
        found = axe.Axe().run(page, options={"runOnly": rules}).response
        assert len(found["passes"]) > 20
        return [(one["id"], one["impact"], one["nodes"][0]["html"]) for one in found["violations"]]

    note(page, take.note(4)).press("Enter")
    assert faults() == []
    note(page, take.note(4)).press("+")
    page.locator("#compare").click()
    for one in page.locator("details summary").all():
        one.click()
    note(page, take.note(4)).press("Enter")
    assert faults() == []
    context.close()


@pytest.mark.skipif(not VALIDATOR.is_file(), reason="npm package vnu-jar is not under .ci")
@pytest.mark.skipif(shutil.which("java") is None, reason="no Java on this machine")
def test_the_page_is_valid_html(file: Path) -> None:
    done = subprocess.run(
        ["java", "-jar", str(VALIDATOR), "--errors-only", "--format", "json", str(file)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert json.loads(done.stderr)["messages"] == []
    assert done.returncode == 0
