"""Every word that the sheet and the page of a take show, as data: one record for each language.

What a take has in common with a handout (names of notes, intervals, measures, pages, cautions) is
the handout's (:mod:`skeleton.export.handout.words`). A language is one module beside this one,
``words_xx``: a record ``SAY`` of the texts of its own, and ``PAGE``, the words of the handout's
page with those in their place that a page of one take says otherwise. Names in braces are filled
in where the text is used, some of them by the page itself in the browser. A pair of texts is for
one and for any other number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from importlib import import_module

from skeleton.analysis.results import Place
from skeleton.audio.decode import clock
from skeleton.errors import OptionError
from skeleton.export.handout.page_words import PagePhrases
from skeleton.export.handout.words import LANGUAGES, MINUS, Words
from skeleton.export.handout.words import words as handout_words
from skeleton.export.lists.words import beat_text, one_line, pitch_text
from skeleton.listening.ear_marks import Agreement, Says
from skeleton.listening.report import Kind
from skeleton.listening.resonance import Why
from skeleton.listening.take_reference import Origin
from skeleton.listening.verdict import Verdict

Pair = tuple[str, str]


@dataclass(frozen=True, slots=True)
class TakePhrases:
    """The texts of a take. Those named ``*_head`` stand over the columns of a table.

    Attributes:
        findings: what to work on, where it is low (or its step too small) and where it is high.
        in_places: in how many of all places of a note; the pair goes by their number.
        notices: what was odd about a take, by the code of the notice, with blanks that
            :mod:`skeleton.export.take.notices` fills; a notice without its code here is shown as
            it came, in English.
        curve_alt: what a row of curves shows; the pair goes by the number of notes in tune.
        curve_off: a note in it that is low, and one that is high.
        kinds: heading and meaning of each outcome, in the order in which they are shown.
    """

    heard: Pair
    restarts: Pair
    wrong_notes: Pair
    judged: str
    references: Mapping[Origin, str]
    between_strings: str
    nothing_off: str
    findings: Mapping[Kind, Pair]
    cents: str
    in_places: Pair
    place: str
    more_places: str
    verdicts: Mapping[Verdict, str]
    verdict_said: str
    its_target: str
    open_string: str
    its_place: str
    not_judged: str
    unjudged: Mapping[str, str]
    unjudged_otherwise: str

    note_head: tuple[str, ...]
    returns_head: tuple[str, ...]
    none_apart: str
    strings_head: tuple[str, ...]
    strings_known: Mapping[Origin, str]
    string_not_heard: str
    how: tuple[str, ...]
    whole: str
    whole_sits: str
    whole_moves: str
    limits: str
    care: tuple[str, ...]
    notices: Mapping[str, str]
    span: str
    tone: str

    ring_told: Pair
    ring_rang: str
    ring_silent: str
    ring_name: str
    ring_others: str
    ring_more: str
    ring_why: Mapping[Why, str]
    ring_method: str

    ear_head: tuple[str, ...]
    ear_says: Mapping[Says, str]

    marked_etude: str
    marks_legend: tuple[str, ...]
    curves_legend: tuple[str, ...]
    curve_alt: Pair
    curve_off: Pair
    none_off: str

    marked_music: str
    note_by_note: str
    listen: str
    listen_steps: tuple[str, ...]
    hint: str
    go_on: str
    player: str
    music: str
    compared: str
    on_music: str
    measured: str
    work_on: str
    rings: str
    later: str
    judging: str
    caution: str
    notes: str
    curves: str

    play: str
    play_time: str
    not_played: str
    plays: str
    no_marks_sure: str
    locked: str
    compare: str
    hide: str
    shown: str
    hidden: str
    no_sound: str
    measured_as: str
    left_alone: str
    head: tuple[str, ...]
    nothing: str
    not_measured: str
    kinds: Mapping[Agreement, Pair]


@dataclass(frozen=True, slots=True)
class TakeWords:
    """A language of takes.

    Attributes:
        shared: the handout's words.
        page: words of the page that are the handout's, or stand in the place of one of those.
        say: a take's own.
        signs: with the signs of the trade (½, the typographic minus); plain ones are for files
            and pipes.
    """

    shared: Words
    page: PagePhrases
    say: TakePhrases
    signs: bool = True

    def counted(self, forms: Pair, number: int, **blanks: object) -> str:
        """Return the form of a text for a number, filled in."""
        return (forms[0] if number == 1 else forms[1]).format(number=number, **blanks)

    def signed(self, value: float, digits: int = 1) -> str:
        """Return a number with its sign, 0 without."""
        text = self.shared.signed(value, digits)
        return text if self.signs else text.replace(MINUS, "-")

    def short(self, value: float) -> str:
        """Return a number with the decimals that it has: ``5``, ``7.5``."""
        return f"{value:g}".replace(".", self.shared.decimal)

    def clock(self, time_s: float) -> str:
        """Return a time in a take as a player shows it: ``0:07.3``."""
        return clock(time_s).replace(".", self.shared.decimal)

    def beat(self, beat: Fraction) -> str:
        """Return a beat: ``2``, ``2½``."""
        return beat_text(beat, signs=self.signs).replace(".", self.shared.decimal)

    def place(self, place: Place) -> str:
        """Return where a note stands: ``measure 3 beat 2½``."""
        return self.say.place.format(measure=one_line(place.measure), beat=self.beat(place.beat))

    def measures(self, first: str, last: str) -> str:
        """Return measures by their printed numbers: ``measures 1 to 8``, ``measure 5``."""
        phrases = self.shared.phrases
        form = phrases.measure if first == last else phrases.measures
        return one_line(form.format(first=first, last=last))

    def outcome(self, kind: Agreement) -> str:
        """Return an outcome as it stands within a line."""
        heading, _ = self.say.kinds[kind]
        return heading[:1].lower() + heading[1:]


@cache
def take_words(code: str) -> TakeWords:
    """Return a language by its code.

    Raises:
        OptionError: there is no such language.
    """
    if code not in LANGUAGES:
        raise OptionError(f"no language {code!r}; there are {', '.join(LANGUAGES)}")
    found = import_module(f"skeleton.export.take.words_{code}")
    say, page = found.SAY, found.PAGE
    assert isinstance(say, TakePhrases)  # noqa: S101 - each language module makes one
    assert isinstance(page, PagePhrases)  # noqa: S101 - and one of these
    return TakeWords(handout_words(code), page, say)


@cache
def plain_words() -> TakeWords:
    """Return English in plain characters, for files and pipes that a program may read."""
    english = take_words("en")
    shared = replace(english.shared, pitch=pitch_text, name=pitch_text)
    return replace(english, shared=shared, signs=False)
