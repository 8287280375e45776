"""The languages of a take: complete, one for one with English, and what each makes of a report."""

from __future__ import annotations

import ast
import inspect
import re
from dataclasses import fields, replace
from types import SimpleNamespace
from typing import get_args

import pytest

from skeleton.audio import decode
from skeleton.audio.background import Steady
from skeleton.errors import OptionError
from skeleton.export.engraving.typeface import missing_characters
from skeleton.export.handout.words import LANGUAGES
from skeleton.export.lists.listen_text import finding_text, heard_text, verdict_text
from skeleton.export.take.notices import notice_text
from skeleton.export.take.plots import passage_text
from skeleton.export.take.words import plain_words, take_words
from skeleton.listening import notices
from skeleton.listening.ear_marks import Agreement, Says
from skeleton.listening.measure import Reason
from skeleton.listening.notices import TakeNotice, listening_notices, recording_notices
from skeleton.listening.report import Finding, Kind
from skeleton.listening.resonance import Why
from skeleton.listening.take_reference import Origin, TakeReference
from skeleton.listening.verdict import Verdict
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz

OTHERS = [code for code in LANGUAGES if code != "en"]
GERMAN = take_words("de")


def texts(code: str) -> dict[str, list[str]]:
    """Every text of a language by the name of its field; those of mappings in their order."""
    found = {}
    say = take_words(code).say
    for field in fields(say):
        value = getattr(say, field.name)
        if field.name == "notices":
            continue
        held = list(value.values()) if hasattr(value, "values") else value
        flat = [held] if isinstance(held, str) else list(held)
        found[field.name] = [
            text for one in flat for text in ([one] if isinstance(one, str) else one)
        ]
    return found


def blanks(text: str) -> set[str]:
    return set(re.findall(r"\{\w+\}", text))


@pytest.mark.parametrize("code", OTHERS)
def test_every_text_is_there_with_the_same_blanks_and_is_not_english(code: str) -> None:
    own, english = texts(code), texts("en")
    same = {"between_strings", ("note_head", "±"), ("strings_head", "Hz"), ("ear_head", "")}
    for name, lines in english.items():
        assert len(own[name]) == len(lines), name
        for said, line in zip(own[name], lines, strict=True):
            assert blanks(said) == blanks(line), name
            if name not in same and (name, line) not in same:
                assert said.strip()
                assert said != line, name


@pytest.mark.parametrize("code", LANGUAGES)
def test_everything_that_can_be_said_has_words(code: str) -> None:
    say = take_words(code).say
    for held, kinds in (
        (say.findings, Kind), (say.verdicts, Verdict), (say.references, Origin),
        (say.strings_known, Origin), (say.unjudged, Reason), (say.ring_why, Why),
        (say.ear_says, Says), (say.kinds, Agreement),
    ):  # fmt: skip
        assert set(held) == set(get_args(kinds))


@pytest.mark.parametrize("code", OTHERS)
def test_outcomes_stand_in_the_same_order(code: str) -> None:
    assert list(take_words(code).say.kinds) == list(take_words("en").say.kinds)


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_packages_font_can_draw_every_text(code: str) -> None:
    said = "".join(line for lines in texts(code).values() for line in lines)
    said += "".join(take_words(code).say.notices.values())
    assert missing_characters(said) == frozenset()


def test_an_unknown_language_is_refused() -> None:
    with pytest.raises(OptionError, match="no language 'xx'; there are en, de"):
        take_words("xx")


def test_plain_words_are_english_in_characters_of_every_terminal(take) -> None:
    plain, signs = plain_words(), take_words("en")
    for one in take.report.notes:
        said = verdict_text(one, take.report, signs)
        ascii_only = said.translate({ord("♯"): "#", ord("♭"): "b", ord("−"): "-"})
        assert verdict_text(one, take.report, plain) == ascii_only


# --- sentences in German: judged notes of the take, each kind of finding


def test_findings_in_german(take) -> None:
    report, targets = take.report, take.report.targets
    fixed = next(one.note for one in report.notes if targets[one.note].role == "fixed")
    leaning = next(
        one.note for one in report.notes if one.lean_cents and targets[one.note].lean_cents
    )
    shared, place = GERMAN.shared, GERMAN.place(targets[leaning].place)
    anchor = shared.name(targets[leaning].anchor.place.pitch.pitch_class)
    name = shared.name(targets[leaning].place.pitch.pitch_class)
    step = shared.step(targets[leaning].anchor.interval, anchor)
    assert step.startswith("Halbton")

    def said(kind: Kind, note: str, cents: float) -> str:
        notes = () if kind in {"height", "drift"} else (note,)
        return finding_text(Finding(kind, notes, 3, cents, 1.0), report, GERMAN)

    assert said("height", "", -8.0).startswith("Die ganze Aufnahme liegt zu tief, um 8 Cent ")
    assert said("drift", "", 8.0).startswith("Die ganze Aufnahme steigt, um 8 Cent ")
    string = shared.name(targets[fixed].string.pitch_class)
    assert said("string", fixed, 12.0).startswith(
        f"{string} ist an 1 von 3 Stellen zu hoch, um 12 Cent: an die leere Saite {string} "
    )
    assert said("lean", leaning, -20.0) == (
        f"{name} ({step}) ist an 1 von 3 Stellen zu nah an {anchor}, um 20 Cent: weiter weg von "
        f"{anchor} greifen. ({place})"
    )
    assert said("lean", leaning, 20.0).endswith(f"näher an {anchor} greifen. ({place})")
    assert said("return", leaning, 20.0).endswith(f"um 20 Cent größer. ({place})")
    assert said("note", leaning, 20.0).startswith(f"{name} ist an 1 von 3 Stellen zu hoch, ")
    assert re.fullmatch(r"Takt \d+ Schlag \d[½¼¾]?", place)


def test_numbers_and_verdicts_in_german(take) -> None:
    by_note = {one.note: one for one in take.report.notes}
    high = verdict_text(by_note[take.note(4)], take.report, GERMAN)
    assert re.search(r": zu hoch, \+2\d ± \d Cent gegen ", high)
    low = verdict_text(by_note[take.note(11)], take.report, GERMAN)
    assert re.search(r": zu tief, −2\d ± \d Cent gegen ", low)
    notes = len(take.report.notes)
    assert heard_text(take.report, GERMAN).startswith(f"{notes} von {len(take.events)} Tönen ")
    assert GERMAN.clock(7.34) == "0:07,3"
    assert GERMAN.short(7.5) == "7,5"
    assert GERMAN.signed(-0.04) == "0,0"


# --- what was odd: the sentences as listening and audio make them


def of_listening() -> list[TakeNotice]:
    """Every notice of a take judged, as it is made."""
    aligned = SimpleNamespace(fitting=0.42, unaligned_s=((8.0, 69.54),))
    strings = take_reference(origin="beginning", heard=(True, False, True, False))
    heard = [SimpleNamespace(place_unclear=at < 3) for at in range(5)]
    drone = [Steady(196.0, 0.5, 9.0), Steady(293.66, 63.26, 70.0)]
    fine = SimpleNamespace(fitting=1.0, unaligned_s=())
    return [
        *listening_notices(aligned, strings, heard, drone),
        *listening_notices(fine, take_reference(origin="notes"), [], []),
    ]


def of_recordings() -> list[TakeNotice]:
    """Every notice of a recording, as it is made."""
    survey = SimpleNamespace(
        rate=1000, clipped=[[1000, 1900, 2800]], damaged=[61000], not_numbers=[70]
    )
    return list(recording_notices(tuple(decode._notices(survey, 0, -51.2))))


def take_reference(origin: Origin, heard=(False,) * 4) -> TakeReference:
    violin = INSTRUMENTS["violin"]
    return TakeReference(
        violin.open_strings, tuple(open_string_hz(violin)), (1.0,) * 4, heard, origin
    )


NOTICES = {"TakeNotice", "SoundNotice"}


def codes_in(module) -> set[str]:
    """The codes that a module gives to notices, read from its source."""
    found = set()
    for node in ast.walk(ast.parse(inspect.getsource(module))):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in NOTICES:
            found |= {one.value for one in node.args[:1] if isinstance(one, ast.Constant)}
    return found


def test_every_notice_is_tried() -> None:
    assert {one.code for one in of_listening()} == codes_in(notices)
    assert {one.code for one in of_recordings()} == {"quiet", "clipped", "damaged", "no-number"}
    assert codes_in(decode) <= {one.code for one in of_recordings()}


@pytest.mark.parametrize("code", OTHERS)
def test_every_notice_has_words(code: str) -> None:
    made = {one.code for one in (*of_listening(), *of_recordings())}
    assert set(take_words(code).say.notices) == made


@pytest.mark.parametrize("code", OTHERS)
def test_every_blank_of_a_notice_is_filled(code: str) -> None:
    words = take_words(code)
    for one in (*of_listening(), *of_recordings()):
        form = words.say.notices[one.code]
        around = [re.escape(text) for text in re.split(r"\{\w+\}", form)]
        # Each blank with something in it; the first letter may have become a capital.
        assert re.fullmatch("(.+)".join(around), notice_text(one, words), re.IGNORECASE), one


def test_notices_in_german_keep_their_figures() -> None:
    said = {one.code: notice_text(one, GERMAN) for one in (*of_listening(), *of_recordings())}
    assert said["low-fit"].startswith("Nur 42 % von dem, was klingt, ")
    assert "(196,0 Hz ab 0:00,5; 293,7 Hz ab 1:03,3)" in said["drone"]
    assert said["strings-missing"].endswith("leere Saite d′ und e′′.")
    assert said["not-aligned"].startswith("0:08,0 bis 1:09,5: ")
    assert "(Töne: 3): " in said["place-unclear"]
    assert said["quiet"].startswith("Sehr leise (51 dB ")
    assert said["clipped"].startswith("0:01,0 bis 0:02,8: zu laut")
    assert said["damaged"].startswith("1:01,0: beschädigt")
    assert said["no-number"].startswith("0:00,1: enthält")
    assert said["no-strings"].startswith("Die leeren Saiten waren nicht angegeben")


def test_a_notice_without_words_is_shown_as_it_came() -> None:
    english = take_words("en")
    for one in (*of_listening(), *of_recordings()):
        whole = f"{one.message[:1].upper()}{one.message[1:]}."
        assert notice_text(one, english) == whole
    odd = TakeNotice("of-tomorrow", "something {new} was heard", number=3)
    assert notice_text(odd, GERMAN) == "Something {new} was heard."


def test_what_fits_nothing_at_all_is_a_number_too() -> None:
    aligned = SimpleNamespace(fitting=0.0, unaligned_s=())
    strings = take_reference(origin="given", heard=(True,) * 4)
    (none,) = listening_notices(aligned, strings, [], [])
    assert notice_text(none, GERMAN).startswith("Nur 0 % ")


def test_a_take_of_one_passage_is_named_in_its_language(take) -> None:
    passage = take.report.analysis.passages[0]
    named = replace(passage, name="Takt 1 bis 3")
    assert passage_text(take.report, passage, GERMAN).startswith(f"Abschnitt {passage.name}, Takt ")
    assert passage_text(take.report, named, GERMAN).startswith("Takt 1 bis 3")
