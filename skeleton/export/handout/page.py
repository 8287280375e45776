"""The handout as one HTML file that opens from disk and asks nobody for anything.

It says what the PDF says, in the same order, from the same content and pictures. On top of that
the stages of a passage take turns in one place, each passage has its sounds, a tapped note says
what it is and lights up everywhere it returns, and the listening sheet keeps the listener's marks
by take. Without its script the page is complete, all stages below each other.

What is common to all pages is in :mod:`skeleton.export.handout.page_shell`.

Marks are kept in the browser and written to and read from a file of this form::

    {"format": 1, "etude": SHA-256 of the score's MusicXML, "takes":
        [{"date": "2026-11-25", "marks": [{"note": id, "says": "flat"|"sharp"|"unsure"}]}]}
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, Final

from skeleton.export.handout.content import Handout
from skeleton.export.handout.page_body import body
from skeleton.export.handout.page_music import Stand
from skeleton.export.handout.page_notes import EtudeSays
from skeleton.export.handout.page_passage import Heard
from skeleton.export.handout.page_shell import part, shell
from skeleton.export.handout.page_sounds import PassageSounds, address
from skeleton.export.handout.page_words import PagePhrases
from skeleton.export.handout.pictures import HandoutPictures

_SHOWN_TO_SCRIPT: Final = (
    "outside", "show_match", "next_place", "close", "take_option", "drop_sure", "verdict", "flat",
    "sharp", "unsure", "none", "marked", "match", "returning_note", "nothing_returns", "said_note",
    "said_mark", "said_cleared", "said_take", "said_dropped", "said_saved", "said_loaded",
    "said_unknown", "said_not_marks", "said_other_etude", "said_not_kept",
)  # fmt: skip


def page(
    content: Handout,
    pictures: HandoutPictures,
    says: EtudeSays,
    phrases: PagePhrases,
    sounds: Sequence[PassageSounds] = (),
    *,
    embed: bool = True,
) -> str:
    """Return the page.

    Args:
        content: what the handout says.
        pictures: its pictures, engraved at :data:`skeleton.export.handout.make_page.WIDTH_MM`.
        says: what its notes say.
        phrases: the page's own words, in the language of the content.
        sounds: of each passage; none where empty.
        embed: whether the sounds are part of the file; else they are expected beside it under
            their names.
    """
    stand = Stand({note: said.measure for note, said in says.notes.items()})
    heard = [Heard(one, lambda sound: address(sound, embed=embed)) for one in sounds]
    return shell(
        content.title,
        body(content, pictures, stand, phrases, heard),
        stand,
        _data(content, says, phrases),
        language=content.words.code,
        styles=[part("page.css")],
        scripts=[part("page_core.js"), part("page_marks.js"), part("page.js")],
        bold="".join(_headings(content, says, phrases)),
        beside=bool(sounds) and not embed,
    )


def _headings(content: Handout, says: EtudeSays, phrases: PagePhrases) -> tuple[str, ...]:
    """Return all that is set as a heading, by the script too."""
    say = content.words.phrases
    return (
        content.title, say.this_week, say.tune_first, say.fixed, say.accidentals, say.matches,
        say.etude, say.listening, say.targets, say.care, say.checklist, ": ,",
        *(f"{one.title}, {one.measures}" for one in content.passages),
        *(part.part or "" for one in content.passages for part in one.parts),
        phrases.returning, phrases.verdict, *(said.name for said in says.notes.values()),
    )  # fmt: skip


def _data(content: Handout, says: EtudeSays, phrases: PagePhrases) -> dict[str, Any]:
    """Return what the script works with: texts, notes, groups, passages."""
    facts: dict[tuple[tuple[str, str], ...], int] = {}
    notes: dict[str, object] = {}
    for note, said in says.notes.items():
        if said.same_as is not None and said.same_as in says.notes:
            notes[note] = said.same_as
            continue
        at = facts.setdefault(said.facts, len(facts))
        notes[note] = [said.name, said.place, said.measure, at, said.group, said.anchor]
    words = asdict(phrases)
    return {
        "etude": says.etude,
        "file": content.source.rpartition(".")[0] or content.source,
        "say": {name: words[name] for name in _SHOWN_TO_SCRIPT},
        "notes": notes,
        "facts": list(facts),
        "groups": [asdict(group) for group in says.groups],
        "passages": [[one.name, one.first_index, one.last_index] for one in content.passages],
    }
