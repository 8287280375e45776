"""What a folder of handouts was made from, so that what has not changed is not made again.

A small JSON file in the folder, ``.handouts.json``::

    {"format": 1, "handouts": {"etude.pdf": {"from": sha256, "files": {"etude.pdf": sha256}}}}

A page stands there as ``etude.html``, with the sounds beside it among its files. ``from`` covers
everything a handout depends on: the bytes of score and lesson file, the options, the versions of
this program and of what it engraves, typesets and sounds with. ``files`` are the results, so that
one that was changed or lost is made again. A state that cannot be read is taken as empty.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, Final

from skeleton.cli.options import Request, lesson_file
from skeleton.export.writing import write_set

STATE_FILE: Final = ".handouts.json"

_MADE_WITH: Final = ("etude-skeleton", "verovio", "typst", "numpy", "soundfile")


def read_state(folder: Path) -> dict[str, Any]:
    """Return what is known of the handouts in a folder, by file name."""
    try:
        state = json.loads((folder / STATE_FILE).read_text(encoding="utf-8"))
        handouts = state["handouts"] if state["format"] == 1 else {}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}
    return handouts if isinstance(handouts, dict) else {}


def write_state(folder: Path, handouts: Mapping[str, Any]) -> None:
    """Write what is known.

    Raises:
        OutputError: it cannot be written.
    """
    text = json.dumps({"format": 1, "handouts": handouts}, indent=1, sort_keys=True)
    write_set({folder / STATE_FILE: f"{text}\n"}, within=folder)


def fingerprint(request: Request, options: Mapping[str, object]) -> str | None:
    """Return a hash of all that a handout depends on; None where the score cannot be read."""
    try:
        score = request.etude.read_bytes()
    except OSError:
        return None
    lesson = None
    if not request.no_lesson:
        try:
            lesson = (request.lesson or lesson_file(request.etude)).read_bytes()
        except OSError:
            lesson = None
    asked = {
        name: value
        for name, value in asdict(request).items()
        if name not in {"etude", "lesson", "output", "quiet"}
    }
    said = json.dumps(
        [request.etude.name, asked, dict(options), [_version(name) for name in _MADE_WITH]],
        sort_keys=True,
    )
    whole = hashlib.sha256(said.encode())
    for part in (score, lesson):
        whole.update(b"none" if part is None else hashlib.sha256(part).digest())
    return whole.hexdigest()


def is_current(folder: Path, known: object, wanted: str | None) -> bool:
    """Whether a handout was made from just this, and its files are as they were written."""
    if wanted is None or not isinstance(known, dict) or known.get("from") != wanted:
        return False
    files = known.get("files")
    if not isinstance(files, dict) or not files or any(Path(name).name != name for name in files):
        return False
    try:
        return all(digest((folder / name).read_bytes()) == was for name, was in files.items())
    except OSError:
        return False


def digest(data: bytes) -> str:
    """Return the SHA-256 of bytes as hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return ""
