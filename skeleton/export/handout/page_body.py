"""What the page shows, section by section, as HTML that is complete without any script."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from skeleton.export.handout.content import Handout
from skeleton.export.handout.markup import Html, el, join
from skeleton.export.handout.page_music import Stand
from skeleton.export.handout.page_parts import Parts, table, takes_controls
from skeleton.export.handout.page_passage import Heard, passages
from skeleton.export.handout.page_words import PagePhrases
from skeleton.export.handout.pictures import HandoutPictures, System

ROOM_FOR_MARKS: Final = 620.0
"""Units left free above a line of the listening sheet; a staff is 720 high."""

TAKES_ON_PAPER: Final = 4


def body(
    content: Handout,
    pictures: HandoutPictures,
    stand: Stand,
    phrases: PagePhrases,
    heard: Sequence[Heard],
) -> Html:
    """Return everything between the start and the end of the page's body.

    Args:
        content: what the handout says.
        pictures: its pictures.
        stand: takes the music.
        phrases: the page's own words.
        heard: sounds by passage, or none.
    """
    parts = Parts(content.words.phrases, phrases, stand)
    writer = _Writer(content, parts)
    sections = (  # in this order, which is that of the contents
        writer.this_week(),
        writer.tune_first(),
        *passages(parts, content.passages, pictures.passages, heard),
        writer.matches(),
        writer.etude(pictures.etude),
        writer.listening(pictures.listening),
        writer.targets(),
        writer.care(),
    )
    return join(
        writer.header(),
        writer.contents(),
        el("main", *sections),
        el("p", id="status", role="status", class_="unseen"),
        el("aside", id="card", hidden=True, aria_label=phrases.card),
    )


class _Writer:
    """Writes the sections of one handout."""

    def __init__(self, content: Handout, parts: Parts) -> None:
        self._content = content
        self._parts = parts

    def header(self) -> Html:
        content, words = self._content, self._parts.words
        return el(
            "header",
            el("h1", content.title),
            el("p", content.composer, class_="by") if content.composer else None,
            el(
                "p",
                *(
                    el("span", el("span", name), class_="blank")
                    for name in (words.name_line, words.date_line)
                ),
                class_="blanks",
            ),
            *(el("p", line, class_="small") for line in (content.made_from, *content.strings)),
        )

    def contents(self) -> Html:
        links = (el("li", el("a", text, href=f"#{name}")) for name, text in self._parts.listed)
        return el("nav", el("ul", *links), aria_label=self._parts.say.contents)

    def this_week(self) -> Html:
        content, words = self._content, self._parts.words
        text: Iterable[Html]
        if content.assignment:
            text = (el("p", line, class_="task") for line in content.assignment)
        else:
            text = [el("ol", *(el("li", step) for step in content.steps))]
        plan = content.plan
        return self._parts.section(
            "week",
            words.this_week,
            *text,
            table(
                (*plan.columns, words.done_head),
                [
                    (*row, self._parts.tick(f"plan {row[0]}", f"{words.done_head}: {row[0]}"))
                    for row in plan.rows
                ],
            )
            if plan.rows
            else None,
        )

    def tune_first(self) -> Html:
        words = self._parts.words
        blocks: list[Html] = []
        for tuning in self._content.tuning:
            if tuning.part is not None:
                blocks.append(el("p", el("strong", tuning.part)))
            key = f"tune {tuning.part or ''}"
            blocks.append(self._parts.ticked((step, f"{key} {step}") for step in tuning.steps))
        return self._parts.section("tune", words.tune_first, el("p", words.tune_note), *blocks)

    def matches(self) -> Html:
        content, words = self._content, self._parts.words
        if not content.matches:
            return self._parts.section("matches", words.matches, el("p", words.no_matches))
        several = any(one.part is not None for one in content.matches)
        rows = [
            (
                self._parts.tick(f"match {one.part} {one.letter}", f"{one.letter} {one.note}"),
                el("strong", one.letter, data_shows=one.ids[0]),
                el("strong", one.note),
                one.pitches,
                one.lean,
                one.measures,
                *((one.part or "",) if several else ()),
            )
            for one in content.matches
        ]
        head = (
            words.done_head, words.match_head, words.note_head, words.octaves_head,
            words.lean_head, words.measures_head, *(("",) if several else ()),
        )  # fmt: skip
        return self._parts.section(
            "matches", words.matches, el("p", words.matches_note), table(head, rows)
        )

    def etude(self, systems: Sequence[System]) -> Html:
        content, words = self._content, self._parts.words
        return self._parts.section(
            "etude",
            words.etude,
            *(el("p", line, class_="small") for line in content.legend),
            el("p", self._parts.say.dark, class_="small dark"),
            el("p", self._parts.say.tap, class_="hint"),
            el(
                "div",
                self._parts.stand.lines(systems),
                class_="picture",
                id="etude-lines",
                data_picture="etude",
            ),
            class_="leaf",
        )

    def listening(self, systems: Sequence[System]) -> Html:
        content, words, say = self._content, self._parts.words, self._parts.say
        head = el(
            "tr",
            el("th", words.passage_head, scope="col"),
            *(el("td", words.take_head) for _ in range(TAKES_ON_PAPER)),
        )
        rows = (
            el(
                "tr",
                el("th", one.name, scope="row"),
                *(el("td") for _ in range(TAKES_ON_PAPER)),
            )
            for one in content.passages
        )
        return self._parts.section(
            "listening",
            words.listening,
            el("ol", *(el("li", step) for step in words.listening_steps)),
            el(
                "div",
                el("p", say.tap_listening, class_="hint"),
                takes_controls(say),
                hidden=True,
                id="takes",
            ),
            el(
                "div",
                el("table", el("thead", head), el("tbody", *rows), id="counts", class_="grid"),
                class_="wide",
                role="group",
                aria_labelledby="listening-title",
                tabindex=0,  # it may be wider than a phone, and holds nothing else to stop at
            ),
            el("p", say.key_legend, class_="small", id="mark-legend", hidden=True),
            el(
                "div",
                self._parts.stand.lines(systems, room=ROOM_FOR_MARKS),
                class_="picture listening",
                data_picture="listening",
            ),
            el(
                "div",
                el("h3", say.returning),
                el("p", id="returning-note"),
                el("ul", id="returning"),
                hidden=True,
                id="returns",
            ),
            class_="leaf",
        )

    def targets(self) -> Html:
        content, words = self._content, self._parts.words
        rows = content.targets.rows
        several = any(one.part is not None for one in rows)
        head = (
            words.note_head, words.octaves_head, words.target_head, words.band_head,
            words.tuner_head, words.check_head, *(("",) if several else ()),
        )  # fmt: skip
        made = table(
            head,
            [
                (
                    el("strong", one.note), one.pitches, one.tuned_from, one.step, one.tuner,
                    one.check, *((one.part or "",) if several else ()),
                )
                for one in rows
            ],
        )  # fmt: skip
        return self._parts.section(
            "targets",
            words.targets,
            *(el("p", line, class_="small") for line in content.targets.notes),
            made if rows else None,
            class_="leaf",
        )

    def care(self) -> Html:
        lines = (el("p", line, class_="small") for line in self._content.cautions)
        return self._parts.section("care", self._parts.words.care, *lines)
