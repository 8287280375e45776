"""The page of a take: hear a note's moment, mark what is off, and only then see the figures.

One HTML file, as the page of a handout is (:mod:`skeleton.export.handout.page_shell`), with the
take itself in it or beside it. Marks are kept in the browser, apart for each recording, and go out
and in as the same files as there (:mod:`skeleton.export.handout.page`). What was measured is in
the page from the start and hidden, by good will and not by a lock: an ear is trained before the
figures are seen. Without its script the page shows all there is to read.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

from skeleton.export.handout.page_music import Stand
from skeleton.export.handout.page_notes import NoteSays, note_names
from skeleton.export.handout.page_shell import part, shell
from skeleton.export.handout.page_sounds import Sound, address
from skeleton.export.lists.listen_text import verdict_said
from skeleton.export.marking.listen_marks import mark_of
from skeleton.export.take.content import TakeSheet
from skeleton.export.take.page_body import body
from skeleton.export.take.pictures import TakePictures
from skeleton.export.take.words import TakeWords
from skeleton.listening.ear_marks import EarTake
from skeleton.listening.report import TakeReport

_HOME: Final = "skeleton.export.take"
_SHOWN_TO_SCRIPT: Final = (
    "close", "take_option", "drop_sure", "verdict", "flat", "sharp", "unsure", "none", "marked",
    "said_mark", "said_cleared", "said_take", "said_dropped", "said_saved", "said_loaded",
    "said_unknown", "said_not_marks", "said_other_etude", "said_not_kept",
)  # fmt: skip
_OWN_TO_SCRIPT: Final = (
    "play", "play_time", "not_played", "plays", "no_marks_sure", "locked", "compare", "hide",
    "shown", "hidden", "no_sound", "measured_as", "left_alone", "head", "nothing", "not_measured",
    "kinds",
)  # fmt: skip
_MARKS: Final = "↓↑?0123456789"
"""Characters of the measured marks, which the script writes into the music."""


def take_page(
    report: TakeReport,
    content: TakeSheet,
    pictures: TakePictures,
    sound: Sound,
    ear: Sequence[EarTake] = (),
    *,
    name: str,
    embed: bool = True,
) -> str:
    """Return the page.

    Args:
        report: the take judged.
        content: what it says.
        pictures: its pictures, the music without marks.
        sound: the take.
        ear: the listener's own marks to begin with.
        name: what a saved file of marks is called.
        embed: whether the sound is part of the page; else it is expected beside it.
    """
    words = content.words
    names = {
        note: said
        for note, said in note_names(report.analysis, report.part, words.shared, words.page)
        if report.first_measure <= said.measure <= report.last_measure
    }
    stand = Stand({note: said.measure for note, said in names.items()})
    shown = body(content, pictures, stand, address(sound, embed=embed))
    used = [plot.used for one in pictures.curves for plot in one.plots]
    fonts = {
        key: "".join("".join(sorted(characters)) for row in used for face, characters in row.items()
                     if face.weight == weight)
        for key, weight in (("regular", "400"), ("bold", "700"))
    }  # fmt: skip
    return shell(
        f"{content.title}: {content.take}",
        shown,
        stand,
        _data(report, names, sound, ear, words) | {"file": name},
        language=words.shared.code,
        styles=[part("page.css"), part("take.css", _HOME)],
        scripts=[part("page_core.js"), part("page_marks.js"), part("take.js", _HOME)],
        bold="".join((fonts["bold"], *_headings(content, names), _MARKS)),
        regular=fonts["regular"],
        beside=not embed,
    )


def _headings(content: TakeSheet, names: Mapping[str, NoteSays]) -> tuple[str, ...]:
    """Return all that is set as a heading, by the script too."""
    say = content.words.say
    return (
        content.title, say.listen, say.music, say.compared, say.measured, say.work_on, say.later,
        content.words.shared.phrases.matches, say.rings, say.judging, say.caution, say.curves,
        *(one.heading for one in content.passages),
        *(f"{heading} ()" for heading, _ in say.kinds.values()),
        *(said.name for said in names.values()),
    )  # fmt: skip


def _data(
    report: TakeReport,
    names: dict[str, NoteSays],
    sound: Sound,
    ear: Sequence[EarTake],
    words: TakeWords,
) -> dict[str, Any]:
    """Return what the script works with: texts, notes, their moments, what was measured."""
    etude = hashlib.sha256(report.analysis.score.source.data).hexdigest()
    shared, own = asdict(words.page), asdict(words.say)
    moments: dict[str, list[list[float]]] = {}
    for one in report.attempts:
        heard = one.heard[0]
        moments.setdefault(one.note, []).append([round(heard.start_s, 3), round(heard.end_s, 3)])
    measured = {}
    for one in report.notes:
        mark = mark_of(one, report.targets[one.note])
        measured[one.note] = [
            one.verdict, mark.text if mark is not None else "", verdict_said(one, report, words),
        ]  # fmt: skip
    return {
        "etude": etude,
        "recording": hashlib.sha256(sound.data).hexdigest()[:16],
        "say": {key: shared[key] for key in _SHOWN_TO_SCRIPT}
        | {key: own[key] for key in _OWN_TO_SCRIPT},
        "notes": {
            note: said.same_as
            if said.same_as in names
            else [said.name, said.place, said.measure, 0, None, None]
            for note, said in names.items()
        },
        "facts": [[]],
        "groups": [],
        "moments": moments,
        "measured": measured,
        "given": {
            "format": 1,
            "etude": etude,
            "takes": [
                {
                    "date": one.date[:10],
                    "marks": [{"note": note, "says": says} for note, says in one.marks.items()],
                }
                for one in ear
            ],
        },
    }
