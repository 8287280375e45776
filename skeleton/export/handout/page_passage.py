"""A passage on the page: its work, its sounds, the stages of its skeleton, its checklist."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from skeleton.export.handout.content import PartSheet, PassageSheet
from skeleton.export.handout.markup import Html, el, join
from skeleton.export.handout.page_parts import Parts, player, table
from skeleton.export.handout.page_sounds import PassageSounds, Sound
from skeleton.export.handout.pictures import PassagePictures


@dataclass(frozen=True, slots=True)
class Heard:
    """The sounds of a passage, and how a player finds one (an address inside or beside)."""

    sounds: PassageSounds
    source: Callable[[Sound], str]


def passages(
    parts: Parts,
    sheets: Sequence[PassageSheet],
    pictures: Sequence[PassagePictures],
    heard: Sequence[Heard],
) -> tuple[Html, ...]:
    """Return the sections of all passages; ``heard`` has the sounds of each, or is empty."""
    writer = _Writer(parts)
    sounds: Sequence[Heard | None] = heard or [None] * len(pictures)
    return tuple(
        writer.passage(at, sheet, drawn, sound)
        for at, (sheet, drawn, sound) in enumerate(zip(sheets, pictures, sounds, strict=True))
    )


class _Writer:
    """Writes the passages of one page."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._players: dict[str, str] = {}

    def passage(
        self, at: int, sheet: PassageSheet, drawn: PassagePictures, heard: Heard | None
    ) -> Html:
        parts = self._parts
        words, say = parts.words, parts.say
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
                el("div", parts.stand.lines(systems), class_="picture", data_picture=name),
                data_stage=name,
            )
            for name, caption, systems in stages
        )
        listed = [part for part in sheet.parts if part.fixed or part.notes]
        return parts.section(
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
        parts = self._parts
        words = parts.words
        found: list[Html] = []
        level = "h3"
        key = f"{sheet.name} {part.part or ''}"
        if part.part is not None:
            found.append(el("h3", f"{words.checklist}: {part.part}"))
            level = "h4"
        if part.fixed:
            found.append(el(level, words.fixed))
            found.append(
                parts.ticked(
                    (
                        (join(el("strong", one.notes), f" {one.string}"), f"{key} {one.notes}")
                        for one in part.fixed
                    ),
                    "columns",
                )
            )
        if part.notes:
            found.append(el(level, words.accidentals))
            if part.twins:
                found.append(el("p", part.twins))
            head = (
                words.done_head, words.note_head, words.tune_head, words.places_head,
                words.match_head,
            )  # fmt: skip
            rows = [
                (
                    parts.tick(f"{key} {one.note} {one.how}", f"{one.note}, {one.how}"),
                    el("strong", one.note, data_shows=one.ids[0]),
                    one.how,
                    one.places,
                    one.match,
                )
                for one in part.notes
            ]
            found.append(table(head, rows))
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
                player(drone.label, id=name if known is None else None, loop=True, **source)
            )
            self._players[drone.file] = name
        players += [player(one.label, src=heard.source(one)) for one in heard.sounds.tracks]
        if not players:
            return None
        label = f"{self._parts.say.hear}: {sheet.title}"
        warning = el("p", self._parts.say.no_sound, class_="small", hidden=True, data_no_sound=True)
        return el("div", *players, warning, class_="sounds", role="group", aria_label=label)
