"""The process in which the music engraver lives; the only module that imports ``verovio``.

Verovio is native code and has been seen to crash on valid files. A crash must not take the
program with it, so it runs in a process of its own, started by ``engraver``
as a plain file, with as few imports as possible::

    python -I -S engraver_worker.py FOLDER_OF_VEROVIO

It reads one request per line from standard input and writes its answer to standard output in
lines of JSON in ASCII, and ends at the end of its input, so that it never outlives its parent.

Request: ``{"musicxml": str, "options": {name: value}, "limit_s": int}``.

Answer: for each page ``{"page": size}`` and then its SVG, so many bytes of UTF-8, as soon as it is
drawn; last ``{"version": str}``. Or at once ``{"refused": reason}`` for music it does not take,
``{"unfit": reason}`` for an option; a reason is one line. What Verovio logs goes to standard error,
where the parent reads it.
"""

from __future__ import annotations

import json
import os
import signal
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Any, BinaryIO

    from verovio import toolkit as Toolkit  # noqa: N812

# Beyond the parent's own limit: the worker only has to end itself where the parent is gone.
_GRACE_S = 10


def main() -> None:
    """Serve requests until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides what an interrupt means
    answers = _private_stdout()
    toolkit = _toolkit(sys.argv[1])
    spare: Toolkit | None = toolkit()  # loading its fonts takes a while: done while waiting
    for line in sys.stdin:
        request = json.loads(line)
        if hasattr(signal, "alarm"):
            signal.alarm(request["limit_s"] + _GRACE_S)
        for answer, page in _engrave(spare or toolkit(), request):
            answers.write(json.dumps(answer).encode("ascii") + b"\n" + page)
            answers.flush()
        if hasattr(signal, "alarm"):
            signal.alarm(0)
        spare = None  # a fresh one for each job: nothing of one can show in the next


def _toolkit(folder: str) -> type[Toolkit]:
    """Load Verovio's bindings from the folder that holds its package.

    The package itself, when imported, only looks for its data, and loads two dozen modules for
    that: half as much time as the engine takes to load. Here it is an empty package.
    """
    package = type(sys)("verovio")
    package.__path__ = [f"{folder}/verovio"]
    sys.modules["verovio"] = package
    from verovio import verovio  # noqa: PLC0415 - found only now

    verovio.setDefaultResourcePath(f"{folder}/verovio/data")
    return verovio.toolkit


def _private_stdout() -> BinaryIO:
    """Keep the answers apart from anything native code prints: that goes to standard error."""
    private = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return private


def _engrave(toolkit: Toolkit, request: dict[str, Any]) -> Iterator[tuple[dict[str, Any], bytes]]:
    """Yield the answer bit by bit, with the bytes that follow each."""
    options = request["options"]
    reason = _unfit(options, toolkit.getAvailableOptions())
    if reason:
        yield {"unfit": reason}, b""
        return
    toolkit.setOptions(options)
    if not toolkit.loadData(request["musicxml"]):
        yield {"refused": "it could not be loaded"}, b""
        return
    for number in range(1, toolkit.getPageCount() + 1):
        page = toolkit.renderToSVG(number).encode("utf-8")
        yield {"page": len(page)}, page
    yield {"version": toolkit.getVersion()}, b""


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
