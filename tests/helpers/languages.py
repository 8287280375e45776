"""All that a person can read or hear of a finished PDF or page, and which words in it are English.

What is searched for are the words of the English catalogues that the German ones do not have.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import asdict

import html5lib
import pypdf

from skeleton.export.handout.page_words import page_words
from skeleton.export.handout.words import words
from skeleton.export.take.words import take_words
from skeleton.theory.interval import Interval
from skeleton.theory.pitch import PitchClass

SHOWN_BY = {
    "aria-label", "title", "alt", "placeholder", "data-head", "aria-description",
    "aria-roledescription", "aria-valuetext", "label", "summary",
}  # fmt: skip
"""Attributes whose text is read or heard."""


def strings(value: object) -> Iterator[str]:
    """Yield every text in nested data; keys are names for the program."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from strings(one)
    elif isinstance(value, (list, tuple)):
        for one in value:
            yield from strings(one)


def tokens(text: str) -> set[str]:
    """Return the words of a text, of two letters and more."""
    return {one.casefold() for one in re.findall(r"[^\W\d_]{2,}", re.sub(r"\{\w+\}", " ", text))}


def catalogue(code: str) -> set[str]:
    """Return every word that a handout or a take can say in a language."""
    spoken, take = words(code), take_words(code)
    said = [*strings(asdict(spoken.phrases)), *strings(asdict(page_words(code)))]
    said += [*strings(asdict(take.say)), *strings(asdict(take.page))]
    said += [*spoken.rules.values(), *spoken.instruments.values(), *spoken.cautions.values()]
    said += [spoken.above, spoken.below, spoken.anchor, spoken.same_pitch, spoken.no_anchor]
    said += [spoken.conjunction]
    said += [spoken.interval(Interval(s, h)) for s in range(-9, 10) for h in range(-15, 16)]
    return tokens(" ".join(said))


def words_only_english() -> set[str]:
    """Return words of the English catalogue that are no German ones and no German note names."""
    names = {words("de").name(PitchClass(s, a)) for s in "CDEFGAB" for a in (-2, -1, 0, 1, 2)}
    found = catalogue("en") - catalogue("de") - {name.casefold() for name in names}
    assert {"measure", "string", "below", "half", "open", "flat", "third", "the"} <= found
    assert {"judged", "heard", "cents", "missed", "take"} <= found
    return found


def of_pdf(data: bytes) -> list[str]:
    """Return the text of every page of a PDF, and the alternative texts of its figures."""
    reader = pypdf.PdfReader(io.BytesIO(data))
    said = [page.extract_text() for page in reader.pages]
    waiting = [reader.trailer["/Root"]["/StructTreeRoot"]]
    while waiting:
        one = waiting.pop().get_object()
        if isinstance(one, pypdf.generic.ArrayObject):
            waiting += list(one)
        elif isinstance(one, pypdf.generic.DictionaryObject):
            said.append(str(one.get("/Alt", "")))
            waiting += [one["/K"]] if "/K" in one else []
    assert any(alt.startswith("Notenbild") for alt in said)
    return said


def of_page(html: str, shown: Callable[[dict], object]) -> list[str]:
    """Return all texts, names and tooltips of a page, and the texts that its script works with.

    Args:
        html: the page.
        shown: what of the script's data is for a person.
    """
    said: list[str] = []
    for element in html5lib.parse(html, namespaceHTMLElements=False).iter():
        if not isinstance(element.tag, str):
            continue
        name = element.tag.rpartition("}")[2]
        if name == "script" and "json" in element.get("type", ""):
            said += strings(shown(json.loads(element.text or "")))
        elif name not in {"script", "style"}:
            said.append(element.text or "")
            said += [value for key, value in element.attrib.items() if key in SHOWN_BY]
        said.append(element.tail or "")
    assert len(said) > 500
    return said


def seen_in(page: object) -> list[str]:
    """Return what a page in a browser shows now: its text, and all names and tooltips."""
    return [
        page.inner_text("body"),
        *page.evaluate(
            "names => [...document.querySelectorAll('*')].flatMap("
            "one => names.map(name => one.getAttribute(name) || ''))",
            sorted(SHOWN_BY),
        ),
    ]
