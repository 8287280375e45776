"""Chromium as the system has it, steered by Playwright: whoever imports this is skipped without."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-dev-shm-usage",
]  # fmt: skip


@dataclass
class Visit:
    """A page in a browser window, and all that the browser said and asked for."""

    page: object
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)


def axe_or_skip():
    """Return the module of axe-core, which checks WCAG's rules; skip the caller without it."""
    return pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )


def running_chromium() -> Iterator[object]:
    """Yield a browser, closed afterwards: the body of a fixture."""
    with sync_api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield running
        running.close()


def visited(browser, file: Path) -> Iterator[Visit]:
    """Yield a visit to a file in a wide window, closed afterwards: the body of a fixture."""
    context = browser.new_context(viewport={"width": 1100, "height": 900})
    yield opened(context, file)
    context.close()


def fonts_of(page, selector: str) -> list[tuple[str, set[str]]]:
    """Text of each element that fits, and the fonts its glyphs really come from.

    A font of the page itself is told by its name, one of the machine by its name in brackets. An
    element that is not shown has none.
    """
    tools = page.context.new_cdp_session(page)
    tools.send("DOM.enable")
    tools.send("CSS.enable")
    whole = tools.send("DOM.getDocument")["root"]["nodeId"]
    asked = {"nodeId": whole, "selector": selector}
    found = []
    for node, text in zip(
        tools.send("DOM.querySelectorAll", asked)["nodeIds"],
        page.locator(selector).all_text_contents(),
        strict=True,
    ):
        used = tools.send("CSS.getPlatformFontsForNode", {"nodeId": node})["fonts"]
        names = {
            one["familyName"] if one["isCustomFont"] else f"[{one['familyName']}]" for one in used
        }
        found.append((text, names))
    tools.detach()
    return found


def opened(context, file: Path) -> Visit:
    """Open a file in a new window and listen to all that it says and asks for."""
    page = context.new_page()
    visit = Visit(page)
    page.on("console", lambda message: visit.said.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: visit.said.append(f"error: {error}"))
    page.on("request", lambda request: visit.asked.append(request.url))
    page.goto(file.as_uri())
    return visit
