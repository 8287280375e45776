"""What was odd about a take, in its language.

Notices come as English sentences with a code. English shows them as they are; another language has
a text of its own for each code, and of the sentence only its figures are used: times, numbers,
frequencies. A notice that has no such text, or lacks the figures that the text asks for, is shown
as it came: in a foreign language rather than not at all.
"""

from __future__ import annotations

import re
from typing import Final

from skeleton.export.lists.words import one_line
from skeleton.export.take.words import TakeWords
from skeleton.listening.take_reference import TakeReference
from skeleton.score.model import Notice

_TIME: Final = re.compile(r"\d+:\d\d\.\d")
_TONE: Final = re.compile(r"(?P<hz>\d+(?:\.\d+)?) Hz from (?P<time>\d+:\d\d\.\d)")
_NUMBER: Final = re.compile(r"(?<![\d.:])\d+(?![\d.:])")


def notice_text(notice: Notice, reference: TakeReference, words: TakeWords) -> str:
    """Return a notice as a sentence on one line.

    Args:
        notice: about the recording or about the take judged.
        reference: what the take was judged against, for the names of its strings.
        words: the language.
    """
    form = words.say.notices.get(notice.code)
    said = one_line(notice.message) + "."
    if form is not None:
        found = _figures(notice.message, reference, words)
        if all(found.get(blank) for blank in re.findall(r"{(\w+)}", form)):
            said = form.format_map(found)
    return said[:1].upper() + said[1:]


def _figures(message: str, reference: TakeReference, words: TakeWords) -> dict[str, str]:
    def local(figure: str) -> str:
        return figure.replace(".", words.shared.decimal)

    times = [local(one) for one in _TIME.findall(message)]
    number = _NUMBER.search(message)
    tones = (
        words.say.tone.format(hz=local(one["hz"]), time=local(one["time"]))
        for one in _TONE.finditer(message)
    )
    missing = (
        words.shared.pitch(string)
        for string, heard in zip(reference.strings, reference.heard, strict=True)
        if not heard
    )
    return {
        "when": words.say.span.format(start=times[0], end=times[1])
        if len(times) > 1
        else "".join(times),
        "number": number[0] if number else "",
        "tones": words.say.between_strings.join(tones),
        "strings": words.shared.listed(missing),
    }
