"""The words that only the page has: its controls, what a tapped note says, what is announced.

Each language module (``words_xx``) makes a record named ``PAGE`` beside its ``WORDS``. Names in
braces are filled in where the text is used, some of them by the page itself in the browser.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module

from skeleton.errors import OptionError
from skeleton.export.handout.words import LANGUAGES


@dataclass(frozen=True, slots=True)
class PagePhrases:
    """Texts of the page. ``card_*`` name the lines on a note; ``said_*`` are announced."""

    contents: str
    show: str
    hear: str
    drone_player: str
    track_player: str
    no_sound: str
    tap: str
    tap_listening: str
    place: str
    outside: str
    dark: str
    card: str
    card_string: str
    card_skeleton: str
    card_tune: str
    card_or: str
    card_step: str
    card_match: str
    card_check: str
    card_tuner: str
    string_exact: str
    string_up: str
    string_down: str
    by_slur: str
    by_name: str
    by_lesson: str
    step_cents: str
    tuner_cents: str
    in_passing: str
    match: str
    show_match: str
    next_place: str
    close: str
    take: str
    take_option: str
    take_date: str
    new_take: str
    drop_take: str
    drop_sure: str
    save: str
    load: str
    verdict: str
    flat: str
    sharp: str
    unsure: str
    none: str
    marked: str
    key_legend: str
    returning: str
    returning_note: str
    nothing_returns: str
    said_note: str
    said_mark: str
    said_cleared: str
    said_take: str
    said_dropped: str
    said_saved: str
    said_loaded: str
    said_unknown: str
    said_not_marks: str
    said_other_etude: str
    said_not_kept: str


def page_words(code: str) -> PagePhrases:
    """Return the page's words in a language by its code.

    Raises:
        OptionError: there is no such language.
    """
    if code not in LANGUAGES:
        raise OptionError(f"no language {code!r}; there are {', '.join(LANGUAGES)}")
    found = import_module(f"skeleton.export.handout.words_{code}").PAGE
    assert isinstance(found, PagePhrases)  # noqa: S101 - each language module makes one
    return found
