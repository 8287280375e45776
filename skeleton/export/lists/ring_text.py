"""Whether open strings rang in a take, in the words of a student."""

from __future__ import annotations

from collections import Counter
from typing import Final

from skeleton.export.take.words import TakeWords
from skeleton.listening.report import TakeReport
from skeleton.listening.resonance import Resonance

_TOLD: Final = 2


def ring_text(report: TakeReport, words: TakeWords) -> str | None:
    """Return what is to say of open strings that answered; None where no note is named like one.

    Args:
        report: the take judged.
        words: the language.
    """
    found, say = report.resonances, words.say
    if not found:
        return None
    told = [one for one in found if one.sign != "not measurable"]
    rang = Counter(_name(one, report, words) for one in found if one.sign == "answers")
    silent = Counter(_name(one, report, words) for one in found if one.sign == "does not answer")
    parts = [words.counted(say.ring_told, len(found), told=len(told))]
    for form, names in ((say.ring_rang, rang), (say.ring_silent, silent)):
        if names:
            parts.append(form.format(times=names.total(), names=_names(names, words)))
    reasons = Counter(say.ring_why[one.why] for one in found if one.why is not None)
    if reasons:
        most = ", ".join(f"{why} ({times})" for why, times in reasons.most_common(_TOLD))
        more = say.ring_more if len(reasons) > _TOLD else ""
        parts.append(say.ring_others.format(why=most + more))
    return f"{'; '.join(parts)}. {say.ring_method}"


def ring_cell(found: list[Resonance]) -> str:
    """Return what a table says of one note: yes with the strength, no, or nothing."""
    levels = [one.level_db for one in found if one.sign == "answers" and one.level_db is not None]
    if levels:
        return f"yes, {max(levels):+.0f} dB"
    return "no" if any(one.sign == "does not answer" for one in found) else ""


def _name(one: Resonance, report: TakeReport, words: TakeWords) -> str:
    return words.shared.pitch(report.targets[one.note].place.pitch)


def _names(of: Counter[str], words: TakeWords) -> str:
    return words.shared.listed(
        name if times == 1 else words.say.ring_name.format(name=name, times=times)
        for name, times in of.most_common()
    )
