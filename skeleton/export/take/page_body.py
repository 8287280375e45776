"""What the page of a take shows, section by section. What was measured is hidden at first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from skeleton.export.handout.markup import Html, el, join
from skeleton.export.handout.page_body import ROOM_FOR_MARKS
from skeleton.export.handout.page_music import Stand
from skeleton.export.handout.page_parts import Parts, player, table, takes_controls
from skeleton.export.lists.document import Table
from skeleton.export.take.content import PassageRows, TakeSheet
from skeleton.export.take.pictures import TakePictures
from skeleton.export.take.plots import Plot
from skeleton.export.take.words import TakePhrases

_HIDDEN: Final = {"data_measured": True, "hidden": True}
"""Attributes of what stays hidden until the listener has marked; the script shows it."""


def body(
    content: TakeSheet,
    pictures: TakePictures,
    stand: Stand,
    source: str,
) -> Html:
    """Return everything between the start and the end of the page's body.

    Args:
        content: what was measured, in words.
        pictures: its pictures, the music without marks.
        stand: takes the music.
        source: where the page finds the sound of the take.
    """
    words = content.words
    parts = Parts(words.shared.phrases, words.page, stand)
    listen = _listen(parts, content, source)
    music = _music(parts, pictures, words.say)
    seen = len(parts.listed)
    measured = list(_measured(parts, content, pictures))
    nav = (
        el("li", el("a", text, href=f"#{name}"), **(_HIDDEN if place >= seen else {}))
        for place, (name, text) in enumerate(parts.listed)
    )
    return join(
        el(
            "header",
            el("h1", content.title),
            el("p", content.composer, class_="by") if content.composer else None,
            el("p", content.take, class_="by"),
        ),
        el("nav", el("ul", *nav), aria_label=words.page.contents),
        el("main", listen, music, *measured),
        el("p", id="status", role="status", class_="unseen"),
        el("aside", id="card", hidden=True, aria_label=words.page.card),
    )


def _listen(parts: Parts, content: TakeSheet, source: str) -> Html:
    say = content.words.say
    return parts.section(
        "listen",
        say.listen,
        el("ol", *(el("li", step) for step in say.listen_steps)),
        el(
            "div",
            player(
                say.player.format(take=content.take),
                preload="metadata",
                id="take-sound",
                src=source,
            ),
            el("p", say.no_sound, class_="small", hidden=True, id="no-sound"),
            el(
                "label",
                el("input", type="checkbox", id="go-on"),
                el("span", say.go_on),
                class_="choice",
                hidden=True,
                id="go-on-choice",
            ),
            class_="sounds",
        ),
    )


def _music(parts: Parts, pictures: TakePictures, say: TakePhrases) -> Html:
    return parts.section(
        "etude",
        say.music,
        el(
            "div",
            el("p", say.hint, class_="hint"),
            takes_controls(parts.say),
            hidden=True,
            id="takes",
        ),
        el("p", parts.say.key_legend, class_="small", id="mark-legend", hidden=True),
        el("p", say.on_music, class_="small", **_HIDDEN),
        el(
            "div",
            parts.stand.lines(pictures.music, room=ROOM_FOR_MARKS),
            class_="picture listening",
            data_picture="listening",
        ),
        el(
            "p",
            el("button", say.compare, type="button", id="compare", aria_expanded="false"),
            class_="controls",
            hidden=True,
            id="compare-row",
        ),
    )


def _measured(parts: Parts, content: TakeSheet, pictures: TakePictures) -> Iterable[Html]:
    curves = {one.passage.name: one.plots for one in pictures.curves}
    say = content.words.say
    # What the two said side by side is filled in by the script.
    yield parts.section("compared", say.compared, el("div", id="outcome"), **_HIDDEN)
    yield parts.section(
        "measured",
        say.measured,
        el("p", content.heard),
        el("h3", say.work_on),
        el("ol", *(el("li", one) for one in content.things))
        if content.things
        else el("p", say.nothing_off),
        el("h3", say.curves),
        *(el("p", f"{one[:1].upper()}{one[1:]}.", class_="small") for one in say.curves_legend),
        *(
            block
            for one in content.passages
            for block in _passage(one, curves.get(one.name, ()), say)
        ),
        *_listing(parts.words.matches, content.returns),
        *([el("h3", say.rings), el("p", content.rings)] if content.rings else []),
        *(
            [
                el("h3", say.later),
                el(
                    "ol",
                    *(el("li", one) for one in content.more),
                    start=len(content.things) + 1,
                ),
            ]
            if content.more
            else []
        ),
        **_HIDDEN,
    )
    yield parts.section(
        "judged",
        say.judging,
        el("p", content.reference),
        *(el("p", one) for one in content.how),
        el("p", content.limits),
        table(content.strings.columns, content.strings.rows),
        el("h3", say.caution),
        *(el("p", one, class_="small") for one in content.cautions),
        **_HIDDEN,
    )


def _passage(passage: PassageRows, plots: Sequence[Plot], say: TakePhrases) -> Iterable[Html]:
    yield el("h4", passage.heading)
    yield el(
        "div",
        *(_plot(one) for one in plots),
        class_="picture curves",
        role="group",
        aria_label=f"{say.curves}: {passage.heading}",
        tabindex=0,  # it may be wider than a phone, and holds nothing else to stop at
    )
    yield el(
        "details",
        el("summary", f"{say.notes}: {passage.heading}"),
        table(
            say.note_head,
            [
                (row.cells[0], el("strong", row.cells[1], data_hear=row.note), *row.cells[2:])
                for row in passage.rows
            ],
        ),
    )


def _plot(plot: Plot) -> Html:
    return el(
        "svg",
        Html(plot.inner),
        class_="plot",
        viewBox=f"0 0 {plot.width_mm:g} {plot.height_mm:g}",
        role="img",
        aria_label=plot.alt,
    )


def _listing(heading: str, made: Table) -> Iterable[Html]:
    if made.rows:
        yield el("h3", heading)
        yield table(made.columns, made.rows)
