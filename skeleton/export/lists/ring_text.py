"""Whether open strings rang in a take, in the words of a student."""

from __future__ import annotations

from collections import Counter
from typing import Final

from skeleton.export.lists.words import counted, listed, pitch_text
from skeleton.listening.report import TakeReport
from skeleton.listening.resonance import Resonance

WHY: Final = {
    "open-string": "it may be the open string itself",
    "double-stop": "another note sounds with it",
    "not-measured": "the note itself was not measured",
    "no-string": "no open string should answer it",
    "too-short": "too little time to hear it",
    "masked": "the next note covers the string",
    "earlier": "the string may ring from an earlier note",
    "no-comparison": "too few other notes to know the room by",
    "hidden": "room or noise would hide it",
}

_TOLD: Final = 2

METHOD: Final = (
    "(Heard in what sounds on after a note; best with a short rest after it. While the note sounds "
    "nothing can be told. A note a little off makes its string ring too, only weaker, so this is "
    "no verdict on its pitch. Tried out on computer-made takes only: trust your ear first.)"
)
"""How it is measured and where that ends."""


def ring_text(report: TakeReport, *, signs: bool = False) -> str | None:
    """Return what is to say of open strings that answered; None where no note is named like one.

    Args:
        report: the take judged.
        signs: write pitches with the signs of the trade.
    """
    found = report.resonances
    if not found:
        return None
    told = [one for one in found if one.sign != "not measurable"]
    rang = Counter(_name(one, report, signs=signs) for one in found if one.sign == "answers")
    silent = Counter(
        _name(one, report, signs=signs) for one in found if one.sign == "does not answer"
    )
    of = counted(len(found), "playing")
    lead = f"Ringing open strings: of {of} of notes named like one, {len(told)} could be told"
    parts = [lead]
    if rang:
        parts.append(f"{rang.total()} made a string ring ({_names(rang)})")
    if silent:
        parts.append(f"{silent.total()} made none ring ({_names(silent)})")
    reasons = Counter(WHY[one.why] for one in found if one.why is not None)
    if reasons:
        most = ", ".join(f"{why} ({times})" for why, times in reasons.most_common(_TOLD))
        parts.append(f"why not the others: {most}{', and more' if len(reasons) > _TOLD else ''}")
    return f"{'; '.join(parts)}. {METHOD}"


def ring_cell(found: list[Resonance]) -> str:
    """Return what a table says of one note: yes with the strength, no, or nothing."""
    levels = [one.level_db for one in found if one.sign == "answers" and one.level_db is not None]
    if levels:
        return f"yes, {max(levels):+.0f} dB"
    return "no" if any(one.sign == "does not answer" for one in found) else ""


def _name(one: Resonance, report: TakeReport, *, signs: bool) -> str:
    return pitch_text(report.targets[one.note].place.pitch, signs=signs)


def _names(of: Counter[str]) -> str:
    named = [name if times == 1 else f"{name} {times} times" for name, times in of.most_common()]
    return listed(named)
