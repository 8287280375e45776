"""Pages made of hostile texts, in a real browser: nothing runs, nothing leaves the page.

Chromium as the system has it, steered by Playwright; skipped where one of them is missing.

Source: Content Security Policy Level 3 (6.1 fetch directives, 6.3 base-uri, 6.4 form-action).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from asking import listening
from browsing import needs_chromium, running_chromium
from hostile import hostile_take
from typer.testing import CliRunner

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import parse_lesson
from skeleton.cli.app import app
from skeleton.export.handout.make_page import handout_page
from skeleton.export.studio_page import studio_html
from skeleton.journal.database import Journal
from skeleton.journal.records import Music
from skeleton.journal.studio import studio
from skeleton.journal.take import MeasuredNote, MeasuredTake
from skeleton.score.reading import read_bytes

pytestmark = needs_chromium

TEXT = (
    "</script><script>alert(1)</script><img src='{0}/img' onerror=alert(2)><svg onload=alert(3)>"
    "\"' onmouseover=alert(4) <a href='javascript:alert(5)'>x</a><iframe src='{0}/frame'></iframe>"
    "<base href='{0}/'><meta http-equiv=refresh content='0;url={0}/meta'>]]>--><!--"
)

PAGES = ("handout", "studio", "take")

LEAVE = """async (address) => {
  const tried = {};
  const attempt = async (name, action) => {
    try { tried[name] = await action(); } catch (error) { tried[name] = 'refused'; }
  };
  await attempt('fetch', () => fetch(address + '/fetch', {mode: 'no-cors'}).then(() => 'sent'));
  await attempt('xhr', () => new Promise((done) => {
    const asking = new XMLHttpRequest();
    asking.onload = () => done('sent'); asking.onerror = () => done('refused');
    asking.open('GET', address + '/xhr'); asking.send();
  }));
  await attempt('image', () => new Promise((done) => {
    const image = new Image();
    image.onload = () => done('sent'); image.onerror = () => done('refused');
    image.src = address + '/image';
  }));
  await attempt('socket', () => new Promise((done) => {
    const socket = new WebSocket(address.replace('http', 'ws') + '/socket');
    socket.onopen = () => done('sent'); socket.onerror = () => done('refused');
  }));
  await attempt('events', () => new Promise((done) => {
    const source = new EventSource(address + '/events');
    source.onopen = () => done('sent'); source.onerror = () => { source.close(); done('refused'); };
  }));
  await attempt('beacon', () => {
    navigator.sendBeacon(address + '/beacon', 'x'); return 'asked';
  });
  await attempt('style', () => new Promise((done) => {
    const link = document.createElement('link');
    link.rel = 'stylesheet'; link.href = address + '/style';
    link.onload = () => done('sent'); link.onerror = () => done('refused');
    document.head.append(link);
  }));
  await attempt('form', () => {
    const form = document.createElement('form');
    form.action = address + '/form'; form.method = 'post'; form.target = '_self';
    document.body.append(form); form.submit(); return 'asked';
  });
  await new Promise((done) => setTimeout(done, 400));
  return tried;
}"""


@pytest.fixture(scope="module")
def server() -> Iterator[tuple[str, list[str]]]:
    """A server on this machine that writes down what it is asked for."""
    yield from listening()


@pytest.fixture(scope="module")
def pages(made, server, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The pages, with the text in every place."""
    folder = tmp_path_factory.mktemp("pages")
    text = TEXT.format(server[0])
    said = f"'''{text[:180]}'''"
    lesson = parse_lesson(
        f"title = {said}\nassignment = '''{text}'''\n[[passage]]\nname = {said}\n"
        f'measures = "1"\ngoal = {said}\n'
    )
    score = read_bytes(made.saying(text), f"{text[:60]}.musicxml")
    page = handout_page(analyse(score, lesson), lesson, name="</script><img src=x>")
    (folder / "handout.html").write_text(page.html, encoding="utf-8")
    with Journal(":memory:") as book:
        keys = {"1:0:F#4": "1:0:F#4", "1:1:G4": "1:1:G4"}
        for day in range(1, 9):
            notes = tuple(MeasuredNote(one, -30.0 - day, 1.0, "flat") for one in keys)
            take = MeasuredTake(f"2026-03-0{day}", notes, text)
            book.record(text[:150], Music("ab" * 32, text, keys), take)
        html = studio_html(studio(book), date(2026, 3, 10))
    (folder / "studio.html").write_text(html, encoding="utf-8")
    take = hostile_take(
        folder, made.saying(text), text, named="<script>alert(6)<img src=x onerror=alert(7)>"
    )
    wanted = ["--ear", str(take.marks), "-o", str(folder / "take.html"), "-q"]
    result = CliRunner().invoke(app, [*take.listened, *wanted])
    assert result.exit_code == 0, result.stderr
    return {name: folder / f"{name}.html" for name in PAGES}


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    yield from running_chromium()


@pytest.mark.parametrize("name", PAGES)
def test_it_opens_without_a_word_and_runs_nothing_of_it(browser, pages, server, name: str) -> None:
    _, asked = server
    context = browser.new_context()
    page = context.new_page()
    said: list[str] = []
    requests: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: requests.append(request.url))
    page.goto(pages[name].as_uri())
    page.wait_for_timeout(300)
    assert "<img src=" in page.locator("body").inner_text()
    if name == "handout":  # what a tap shows is made by the script
        page.locator("#etude-lines [data-note]").first.press("Enter")
        page.wait_for_timeout(100)
    if name == "take":  # and what the comparison shows, a passage's table and a tapped note's card
        page.locator("#compare").click()
        page.locator("#etude [data-note]").first.press("Enter")
        page.wait_for_timeout(300)
        assert page.locator("#outcome table").count() > 0
        assert page.locator("#card").inner_text() != ""
        assert "<img src=" in page.locator("#measured").inner_text()
    assert said == []
    assert {one for one in requests if not one.startswith("data:")} == {pages[name].as_uri()}
    foreign = page.locator(
        "img, iframe, base, object, embed, svg[onload], [onerror], [onmouseover]"
    )
    assert foreign.count() == 0
    links = page.locator("a[href]").evaluate_all("all => all.map(e => e.getAttribute('href'))")
    assert all(one.startswith(("#", "data:")) for one in links)
    context.close()
    assert asked == []


@pytest.mark.parametrize("name", PAGES)
def test_a_script_in_it_could_not_reach_the_network(browser, pages, server, name: str) -> None:
    address, asked = server
    context = browser.new_context()
    page = context.new_page()
    page.goto(pages[name].as_uri())
    tried = page.evaluate(LEAVE, address)
    page.wait_for_timeout(200)
    context.close()
    assert len(tried) == 8
    assert "sent" not in tried.values(), tried
    assert asked == []


def test_the_server_hears_a_page_without_a_policy(browser, server, tmp_path: Path) -> None:
    # Else the test above could not fail.
    address, asked = server
    path = tmp_path / "open.html"
    path.write_text("<!DOCTYPE html><title>x</title><body>x</body>")
    context = browser.new_context()
    page = context.new_page()
    page.goto(path.as_uri())
    page.evaluate(f"({LEAVE.replace('form.submit();', '')})", address)
    page.wait_for_timeout(200)
    context.close()
    heard = {one.strip("/") for one in asked}
    asked.clear()
    assert {"fetch", "image", "beacon", "style"} <= heard


@pytest.mark.parametrize("name", PAGES)
def test_the_policy_lets_nothing_in_from_elsewhere(pages, name: str) -> None:
    text = pages[name].read_text(encoding="utf-8")
    head = text[: text.index("<title>")]
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]+)"', head)
    rules = {one.split()[0]: one.split()[1:] for one in policy.split(";")}
    for name_of in ("default-src", "base-uri", "form-action"):
        assert rules[name_of] == ["'none'"], name_of
    assert "connect-src" not in rules
    sources = [source for held in rules.values() for source in held]
    assert not [one for one in sources if re.match(r"\*|https?:|wss?:|blob:|filesystem:", one)]
