"""What the page shows, section by section, as HTML that is complete without any script."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from skeleton.export.handout.content import Handout, PartSheet, PassageSheet
from skeleton.export.handout.markup import Html, el, join
from skeleton.export.handout.page_music import Stand
from skeleton.export.handout.page_sounds import PassageSounds, Sound
from skeleton.export.handout.page_words import PagePhrases
from skeleton.export.handout.pictures import HandoutPictures, PassagePictures, System

ROOM_FOR_MARKS: Final = 620.0
"""Units left free above a line of the listening sheet; a staff is 720 high."""

TAKES_ON_PAPER: Final = 4


@dataclass(frozen=True, slots=True)
class Heard:
    """The sounds of a passage, and how a player finds one (an address inside or beside)."""

    sounds: PassageSounds
    source: Callable[[Sound], str]


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
    writer = _Writer(content, stand, phrases)
    passages = writer.passages(pictures.passages, heard)
    sections = (
        writer.this_week(),
        writer.tune_first(),
        *passages,
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

    def __init__(self, content: Handout, stand: Stand, phrases: PagePhrases) -> None:
        self._content = content
        self._words = content.words.phrases
        self._say = phrases
        self._stand = stand
        self._listed: list[tuple[str, str]] = []
        self._ticks = 0
        self._players: dict[str, str] = {}

    def header(self) -> Html:
        content, words = self._content, self._words
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
        links = (el("li", el("a", text, href=f"#{name}")) for name, text in self._listed)
        return el("nav", el("ul", *links), aria_label=self._say.contents)

    def this_week(self) -> Html:
        content, words = self._content, self._words
        text: Iterable[Html]
        if content.assignment:
            text = (el("p", line, class_="task") for line in content.assignment)
        else:
            text = [el("ol", *(el("li", step) for step in content.steps))]
        plan = content.plan
        return self._section(
            "week",
            words.this_week,
            *text,
            _table(
                (*plan.columns, words.done_head),
                [
                    (*row, self._tick("", f"{words.done_head}: {row[0]}", f"plan {row[0]}"))
                    for row in plan.rows
                ],
            )
            if plan.rows
            else None,
        )

    def tune_first(self) -> Html:
        words = self._words
        blocks: list[Html] = []
        for tuning in self._content.tuning:
            if tuning.part is not None:
                blocks.append(el("p", el("strong", tuning.part)))
            key = f"tune {tuning.part or ''}"
            blocks.append(self._ticked((step, f"{key} {step}") for step in tuning.steps))
        return self._section("tune", words.tune_first, el("p", words.tune_note), *blocks)

    def passages(
        self, pictures: Sequence[PassagePictures], heard: Sequence[Heard]
    ) -> tuple[Html, ...]:
        sounds: Sequence[Heard | None] = heard or [None] * len(pictures)
        return tuple(
            self._passage(at, sheet, drawn, sound)
            for at, (sheet, drawn, sound) in enumerate(
                zip(self._content.passages, pictures, sounds, strict=True)
            )
        )

    def matches(self) -> Html:
        content, words = self._content, self._words
        if not content.matches:
            return self._section("matches", words.matches, el("p", words.no_matches))
        several = any(one.part is not None for one in content.matches)
        rows = [
            (
                self._tick("", f"{one.letter} {one.note}", f"match {one.part} {one.letter}"),
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
        return self._section(
            "matches", words.matches, el("p", words.matches_note), _table(head, rows)
        )

    def etude(self, systems: Sequence[System]) -> Html:
        words = self._words
        return self._section(
            "etude",
            words.etude,
            *(el("p", line, class_="small") for line in words.legend),
            el("p", self._say.tap, class_="hint"),
            el(
                "div",
                self._stand.lines(systems),
                class_="picture",
                id="etude-lines",
                data_picture="etude",
            ),
            class_="leaf",
        )

    def listening(self, systems: Sequence[System]) -> Html:
        content, words, say = self._content, self._words, self._say
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
        controls = el(
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
        return self._section(
            "listening",
            words.listening,
            el("ol", *(el("li", step) for step in words.listening_steps)),
            el("div", el("p", say.tap_listening, class_="hint"), controls, hidden=True, id="takes"),
            el(
                "div",
                el("table", el("thead", head), el("tbody", *rows), id="counts", class_="grid"),
                class_="wide",
            ),
            el("p", say.key_legend, class_="small", id="mark-legend", hidden=True),
            el(
                "div",
                self._stand.lines(systems, room=ROOM_FOR_MARKS),
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
        content, words = self._content, self._words
        rows = content.targets.rows
        several = any(one.part is not None for one in rows)
        head = (
            words.note_head, words.octaves_head, words.target_head, words.band_head,
            words.tuner_head, words.check_head, *(("",) if several else ()),
        )  # fmt: skip
        table = _table(
            head,
            [
                (
                    el("strong", one.note), one.pitches, one.tuned_from, one.step, one.tuner,
                    one.check, *((one.part or "",) if several else ()),
                )
                for one in rows
            ],
        )  # fmt: skip
        return self._section(
            "targets",
            words.targets,
            *(el("p", line, class_="small") for line in content.targets.notes),
            table if rows else None,
            class_="leaf",
        )

    def care(self) -> Html:
        lines = (el("p", line, class_="small") for line in self._content.cautions)
        return self._section("care", self._words.care, *lines)

    def _passage(
        self, at: int, sheet: PassageSheet, drawn: PassagePictures, heard: Heard | None
    ) -> Html:
        words, say = self._words, self._say
        work = " · ".join(filter(None, (sheet.stage, sheet.tempo, sheet.goal)))
        drones = dict.fromkeys(part.drone for part in sheet.parts if part.drone)
        stages = [
            (name, caption, systems)
            for name, caption, systems in (
                ("bare", words.bare, drawn.bare),
                ("neighbours", words.neighbours, drawn.neighbours),
            )
            if systems
        ]
        choices = [name for name, _, _ in stages] + ["all"]
        switch = el(
            "fieldset",
            el("legend", say.show),
            *(
                el(
                    "label",
                    el("input", type="radio", name=f"stage-{at}", value=name, checked=not place),
                    el("span", words.stages[name]),
                )
                for place, name in enumerate(choices)
            ),
            class_="stages",
            hidden=True,
        )
        figures = (
            el(
                "figure",
                el("figcaption", caption),
                el("div", self._stand.lines(systems), class_="picture", data_picture=name),
                data_stage=name,
            )
            for name, caption, systems in stages
        )
        listed = [part for part in sheet.parts if part.fixed or part.notes]
        return self._section(
            f"passage-{at + 1}",
            f"{sheet.title}, {sheet.measures}",
            el("p", work, class_="task") if work else None,
            *(el("p", one) for one in drones),
            self._sounds(sheet, heard) if heard else None,
            switch,
            *figures,
            *(block for part in listed for block in self._part(sheet, part)),
            el("p", words.nothing) if not listed else None,
            class_="passage",
            data_first=sheet.first_index,
            data_last=sheet.last_index,
        )

    def _part(self, sheet: PassageSheet, part: PartSheet) -> list[Html]:
        words = self._words
        found: list[Html] = []
        level = "h3"
        key = f"{sheet.name} {part.part or ''}"
        if part.part is not None:
            found.append(el("h3", f"{words.checklist}: {part.part}"))
            level = "h4"
        if part.fixed:
            found.append(el(level, words.fixed))
            found.append(
                self._ticked(
                    (
                        (join(el("strong", one.notes), f" {one.string}"), f"{key} {one.notes}")
                        for one in part.fixed
                    ),
                    "columns",
                )
            )
        if part.notes:
            found.append(el(level, words.accidentals))
            head = (
                words.done_head, words.note_head, words.tune_head, words.places_head,
                words.match_head,
            )  # fmt: skip
            rows = [
                (
                    self._tick("", f"{one.note}, {one.how}", f"{key} {one.note} {one.how}"),
                    el("strong", one.note, data_shows=one.ids[0]),
                    one.how,
                    one.places,
                    one.match,
                )
                for one in part.notes
            ]
            found.append(_table(head, rows))
        found += [el("p", line) for line in part.twins]
        return found

    def _sounds(self, sheet: PassageSheet, heard: Heard) -> Html | None:
        players: list[Html] = []
        drone = heard.sounds.drone
        if drone is not None:
            known = self._players.get(drone.file)
            # One copy of a drone in the file serves all passages that have it.
            source = {"src": heard.source(drone)} if known is None else {"data_same": known}
            name = known or f"drone-{len(self._players) + 1}"
            players.append(
                _player(drone.label, id=name if known is None else None, loop=True, **source)
            )
            self._players[drone.file] = name
        players += [_player(one.label, src=heard.source(one)) for one in heard.sounds.tracks]
        if not players:
            return None
        label = f"{self._say.hear}: {sheet.title}"
        warning = el("p", self._say.no_sound, class_="small", hidden=True, data_no_sound=True)
        return el("div", *players, warning, class_="sounds", role="group", aria_label=label)

    def _section(
        self, name: str, heading: str, *children: str | None, **attributes: str | int | None
    ) -> Html:
        self._listed.append((name, heading))
        title = el("h2", heading, id=f"{name}-title")
        return el(
            "section", title, *children, id=name, aria_labelledby=f"{name}-title", **attributes
        )

    def _tick(self, text: str, label: str, key: str) -> Html:
        self._ticks += 1
        return el(
            "input",
            type="checkbox",
            id=f"tick-{self._ticks}",
            data_key=key,
            aria_label=None if text else label,
        )

    def _ticked(self, items: Iterable[tuple[str, str]], class_: str = "") -> Html:
        rows = []
        for text, key in items:
            box = self._tick(text, "", key)
            rows.append(el("li", el("label", box, el("span", text))))
        return el("ul", *rows, class_=f"ticks {class_}".strip())


def _player(label: str, **attributes: str | bool | None) -> Html:
    return el(
        "figure",
        el("figcaption", label),
        el("audio", controls=True, preload="none", aria_label=label, **attributes),
    )


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> Html:
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
