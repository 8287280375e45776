"""The process in which the music engraver lives; the only module that imports ``verovio``.

Verovio is native code and has been seen to crash on valid files. A crash must not take the
program with it, so it runs in a process of its own, started by ``engraver``
as a plain file, with as few imports as possible::

    python -I -S engraver_worker.py FOLDER_OF_VEROVIO

It reads one request per line from standard input and writes one answer per line to standard
output, both JSON in ASCII, and ends at the end of its input, so that it never outlives its
parent.

Request: ``{"musicxml": str, "options": {name: value}, "limit_s": int}``.

Answer: ``{"pages": [svg, ...], "version": str}``, or ``{"refused": reason}`` for music it does not
take, ``{"unfit": reason}`` for an option; a reason is one line. What Verovio logs goes to standard
error, where the parent reads it.
"""

from __future__ import annotations

import json
import os
import signal
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, TextIO

    from verovio import toolkit as Toolkit  # noqa: N812

# Beyond the parent's own limit: the worker only has to end itself where the parent is gone.
_GRACE_S = 10


def main() -> None:
    """Serve requests until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides what an interrupt means
    answers = _private_stdout()
    if len(sys.argv) > 1:
        sys.path.append(sys.argv[1])
    from verovio import toolkit  # noqa: PLC0415 - found only now

    spare: Toolkit | None = toolkit()  # loading its fonts takes a while: done while waiting
    for line in sys.stdin:
        request = json.loads(line)
        if hasattr(signal, "alarm"):
            signal.alarm(request["limit_s"] + _GRACE_S)
        answer = _engrave(spare or toolkit(), request)
        if hasattr(signal, "alarm"):
            signal.alarm(0)
        answers.write(json.dumps(answer) + "\n")
        answers.flush()
        spare = None  # a fresh one for each job: nothing of one can show in the next


def _private_stdout() -> TextIO:
    """Keep the answers apart from anything native code prints: that goes to standard error."""
    private = os.fdopen(os.dup(1), "w", encoding="ascii", newline="\n")
    os.dup2(2, 1)
    return private


def _engrave(toolkit: Toolkit, request: dict[str, Any]) -> dict[str, Any]:
    options = request["options"]
    reason = _unfit(options, toolkit.getAvailableOptions())
    if reason:
        return {"unfit": reason}
    toolkit.setOptions(options)
    if not toolkit.loadData(request["musicxml"]):
        return {"refused": "it could not be loaded"}
    pages = [toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1)]
    return {"pages": pages, "version": toolkit.getVersion()}


def _unfit(options: dict[str, Any], available: dict[str, Any]) -> str | None:
    """Check options, since ``setOptions`` takes unknown names and values without a word."""
    known: dict[str, Any] = {}
    for group in available["groups"].values():
        known.update(group["options"])
    for name, value in options.items():
        about = known.get(name)
        if about is None:
            return f"it has no option {name}"
        if "values" in about and value not in about["values"]:
            return f"option {name} is {value!r}, not one of {', '.join(about['values'])}"
        if "min" in about and not about["min"] <= value <= about["max"]:
            return f"option {name} is {value}, not within {about['min']} to {about['max']}"
    return None


if __name__ == "__main__":
    main()
