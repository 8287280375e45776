"""What was odd about a take, in its language.

Notices come as English sentences with a code, and with their figures beside them. English shows
the sentences as they are; another language has a text of its own for each code, whose blanks are
filled with the figures. A notice that has no such text is shown as it came: in a foreign language
rather than not at all.
"""

from __future__ import annotations

from skeleton.export.lists.words import one_line
from skeleton.export.take.words import TakeWords
from skeleton.listening.notices import TakeNotice


def notice_text(notice: TakeNotice, words: TakeWords) -> str:
    """Return a notice as a sentence on one line.

    Args:
        notice: about the recording or about the take judged.
        words: the language.
    """
    form = words.say.notices.get(notice.code)
    if form is None:
        said = f"{one_line(notice.message)}."
    else:
        said = form.format_map(_figures(notice, words))
    return said[:1].upper() + said[1:]


def _figures(notice: TakeNotice, words: TakeWords) -> dict[str, str]:
    """Return what the blanks of a text may ask for, by name; empty what the notice has not."""
    say, shared = words.say, words.shared
    times = [words.clock(one) for one in notice.times_s]
    tones = (
        say.tone.format(hz=shared.number(one.hz, 1), time=words.clock(one.start_s))
        for one in notice.drone
    )
    return {
        "number": "" if notice.number is None else str(notice.number),
        "when": say.span.format(start=times[0], end=times[1]) if len(times) > 1 else "".join(times),
        "tones": say.between_strings.join(tones),
        "strings": shared.listed(map(shared.pitch, notice.strings)),
    }
