"""Pages of a handout beside pictures of them that a person has looked at.

The kept pictures (``pictures/``, 72 dots an inch) show the demo handout of the first etude on A4:
its first page with the bare skeleton and the skeleton with its accidentals, the page with the full
etude, and the listening sheet. They hold for the versions of engraver, typesetter and renderer in
``pictures/versions.json``; with others a page that looks different is skipped, and says so.

When a page has changed on purpose, look at it in full size, and renew the pictures::

    python tests/export/handout/test_kept_pictures.py
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from typing import Final

import numpy as np
import pypdfium2
import pytest
from PIL import Image, ImageFilter

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import read_lesson
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.handout.content import Handout, handout_content
from skeleton.export.handout.pdf import handout_pdf
from skeleton.export.handout.pictures import HandoutPictures, System, handout_pictures
from skeleton.export.handout.typeset import music_width_mm
from skeleton.export.handout.words import words
from skeleton.intonation.targets import targets
from skeleton.score.reading import read

HERE: Final = Path(__file__).resolve().parent
KEPT: Final = HERE / "pictures"
ETUDE: Final = HERE.parents[2] / "scores" / "first-skeleton.musicxml"
VERSIONS: Final = KEPT / "versions.json"
RENEW: Final = f"python {Path(*Path(__file__).parts[-4:])}"

# What stands on a page, and by which words it is found.
PAGES: Final = {
    "skeleton": "Bare skeleton",
    "etude": "The full etude",
    "listening": "Listening sheet",
}

DOTS_AN_INCH: Final = 72
BLUR_DOTS: Final = 0.7
"""A quarter of a millimetre: what fonts and rounding may do differently."""
GREY: Final = 40
"""Of 255: what counts as different after blurring."""
CELL_DOTS: Final = 8
"""Pages are compared in squares of 2.8 mm, the size of a label: a lost one changes a whole one."""
SHARE_OF_A_CELL: Final = 0.15
"""How much of a square may be different. Measured: 0 for the same versions; at least 0.38 for a
label lost or moved by a millimetre."""


def made(engraver: Engraver) -> tuple[Handout, HandoutPictures]:
    """Return what the handout says and its pictures."""
    lesson = read_lesson(ETUDE.with_suffix(".toml"))
    analysis = analyse(read(ETUDE), lesson)
    spoken = words("en")
    return (
        handout_content(analysis, targets(analysis), spoken, lesson),
        handout_pictures(analysis, engraver, spoken, music_width_mm("a4")),
    )


def drawn(content: Handout, pictures: HandoutPictures) -> dict[str, Image.Image]:
    """Return the pages of :data:`PAGES` as grey pictures."""
    found = {}
    with pypdfium2.PdfDocument(handout_pdf(content, pictures).data) as document:
        for page in document:
            said = page.get_textpage().get_text_bounded()
            picture = page.render(scale=DOTS_AN_INCH / 72).to_pil().convert("L")
            for name, text in PAGES.items():
                if text in said:
                    found.setdefault(name, picture)
    assert found.keys() == PAGES.keys()
    return found


def versions() -> dict[str, str]:
    return {name: version(name) for name in ("verovio", "typst", "pypdfium2")}


def worst(kept: Image.Image, now: Image.Image) -> tuple[float, tuple[int, int]]:
    """Return the largest share of a square that differs, and where it is, in dots."""
    if kept.size != now.size:
        return 1.0, (0, 0)
    one, other = (
        np.asarray(picture.filter(ImageFilter.GaussianBlur(BLUR_DOTS)), dtype=float)
        for picture in (kept, now)
    )
    differs = abs(one - other) > GREY
    # Two grids, half a square apart: what lies on an edge of one is inside the other.
    found = (0.0, (0, 0))
    for shift in (0, CELL_DOTS // 2):
        part = differs[shift:, shift:]
        high, wide = (side // CELL_DOTS * CELL_DOTS for side in part.shape)
        cells = part[:high, :wide].reshape(high // CELL_DOTS, CELL_DOTS, -1, CELL_DOTS)
        shares = cells.mean(axis=(1, 3))
        row, column = np.unravel_index(shares.argmax(), shares.shape)
        at = (int(column) * CELL_DOTS + shift, int(row) * CELL_DOTS + shift)
        found = max(found, (float(shares[row, column]), at))
    return found


def kept(name: str) -> Image.Image:
    return Image.open(KEPT / f"{name}.png").convert("L")


@pytest.fixture(scope="module")
def handout(engraver: Engraver) -> tuple[Handout, HandoutPictures]:
    return made(engraver)


@pytest.fixture(scope="module")
def now(handout) -> dict[str, Image.Image]:
    return drawn(*handout)


def as_kept(name: str, picture: Image.Image) -> None:
    """Fail where a page looks different, with the same versions; with others say so and skip."""
    share, at = worst(kept(name), picture)
    if share <= SHARE_OF_A_CELL:
        return
    said = (
        f"the page {name!r} looks different at {at} dots from its upper left corner "
        f"({share:.0%} of a square of {CELL_DOTS} dots); look at it, and renew: {RENEW}"
    )
    seen = json.loads(VERSIONS.read_text(encoding="utf-8"))
    if seen != versions():
        pytest.skip(f"kept with {seen}, here are {versions()}: {said}")
    pytest.fail(said)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_looks_as_it_did_when_a_person_looked_at_it(now, name: str) -> None:
    as_kept(name, now[name])


LABEL = re.compile(r"<text[^>]*>(?:(?!</text>).)*?G−½.*?</text>", re.DOTALL)
BOX = re.compile(r"<rect[^>]*fill:none[^>]*/>")


def without(_: re.Match[str]) -> str:
    return ""


def moved(found: re.Match[str]) -> str:
    # 100 units are a millimetre.
    return f'<g transform="translate(100 0)">{found[0]}</g>'


@pytest.mark.parametrize(
    ("page", "what", "change"),
    [
        ("etude", LABEL, without), ("etude", LABEL, moved), ("etude", BOX, without),
        ("skeleton", BOX, without), ("skeleton", BOX, moved),
    ],
)  # fmt: skip
def test_one_label_lost_or_moved_is_seen(
    handout, now, page: str, what: re.Pattern[str], change: Callable[[re.Match[str]], str]
) -> None:
    content, pictures = handout

    def changed(systems: tuple[System, ...]) -> tuple[System, ...]:
        svg, count = what.subn(change, systems[0].svg, count=1)
        assert count == 1
        return (replace(systems[0], svg=svg), *systems[1:])

    if page == "etude":
        other = replace(pictures, etude=changed(pictures.etude))
    else:
        first, *rest = pictures.passages
        other = replace(pictures, passages=(replace(first, bare=changed(first.bare)), *rest))
    picture = drawn(content, other)[page]
    share, _ = worst(now[page], picture)
    assert share > 2 * SHARE_OF_A_CELL
    if versions() == json.loads(VERSIONS.read_text(encoding="utf-8")):
        with pytest.raises(pytest.fail.Exception, match="looks different"):
            as_kept(page, picture)


def test_other_versions_are_told(now, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(f"{__name__}.version", lambda name: f"0.0 of {name}")
    blank = Image.new("L", now["etude"].size, 255)
    with pytest.raises(pytest.skip.Exception, match=r"0\.0 of verovio.*renew: python tests"):
        as_kept("etude", blank)


def renew() -> None:
    """Write the pictures anew, and the versions they were made with."""
    with Engraver() as engraver:
        pages = drawn(*made(engraver))
    KEPT.mkdir(exist_ok=True)
    for name, picture in pages.items():
        picture.quantize(16).save(KEPT / f"{name}.png", optimize=True)
    VERSIONS.write_text(json.dumps(versions(), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    renew()
