"""Pieces that the sections of a page are made of: headings, tables, boxes to tick, players."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from skeleton.export.handout.markup import Html, el
from skeleton.export.handout.page_music import Stand
from skeleton.export.handout.page_words import PagePhrases
from skeleton.export.handout.words import Phrases


class Parts:
    """Makes the pieces of one page, and remembers its sections for the contents.

    Attributes:
        words: the handout's words.
        say: the page's own words.
        stand: takes the music.
        listed: name and heading of each section so far.
    """

    def __init__(self, words: Phrases, say: PagePhrases, stand: Stand) -> None:
        self.words = words
        self.say = say
        self.stand = stand
        self.listed: list[tuple[str, str]] = []
        self._ticks = 0

    def section(
        self, name: str, heading: str, *children: str | None, **attributes: str | int | None
    ) -> Html:
        """Return a section with its heading; it can be linked to by name."""
        self.listed.append((name, heading))
        title = el("h2", heading, id=f"{name}-title")
        return el(
            "section", title, *children, id=name, aria_labelledby=f"{name}-title", **attributes
        )

    def tick(self, key: str, label: str | None = None) -> Html:
        """Return a box to tick.

        Args:
            key: what the browser remembers it by.
            label: its name; None where a ``<label>`` round it says it.
        """
        self._ticks += 1
        return el(
            "input",
            type="checkbox",
            id=f"tick-{self._ticks}",
            data_key=key,
            aria_label=label,
        )

    def ticked(self, items: Iterable[tuple[str, str]], class_: str = "") -> Html:
        """Return a list of texts to tick off; each comes with the key of its box."""
        rows = []
        for text, key in items:
            rows.append(el("li", el("label", self.tick(key), el("span", text))))
        return el("ul", *rows, class_=f"ticks {class_}".strip())


def player(label: str, *, preload: str = "none", **attributes: str | bool | None) -> Html:
    """Return a player of sound with its name."""
    return el(
        "figure",
        el("figcaption", label),
        el("audio", controls=True, preload=preload, aria_label=label, **attributes),
    )


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> Html:
    """Return a table; on a narrow screen each cell says the name of its column itself."""
    return el(
        "div",
        el(
            "table",
            el("thead", el("tr", *(el("th", one, scope="col") for one in head))),
            el(
                "tbody",
                *(
                    el(
                        "tr",
                        *(
                            el("td", one, data_head=name or None)
                            for name, one in zip(head, row, strict=True)
                        ),
                    )
                    for row in rows
                ),
            ),
        ),
        class_="wide",
    )


def takes_controls(say: PagePhrases) -> Html:
    """Return what a listener's marks are looked after with: takes, dates, files."""
    return el(
        "div",
        el("div", el("label", say.take, for_="take"), el("select", id="take"), class_="field"),
        el(
            "div",
            el("label", say.take_date, for_="take-date"),
            el("input", type="date", id="take-date"),
            class_="field",
        ),
        el("button", say.new_take, type="button", id="new-take"),
        el("button", say.drop_take, type="button", id="drop-take"),
        el("button", say.save, type="button", id="save"),
        el(
            "div",
            el("label", say.load, for_="load"),
            el("input", type="file", id="load", accept=".json,application/json"),
            class_="field",
        ),
        el("p", id="told", class_="told"),
        class_="controls",
    )
