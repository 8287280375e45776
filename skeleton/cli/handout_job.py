"""What handouts are to be made, and how each ended: plain data that goes between processes."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final, Literal

from skeleton.cli.options import Request

Form = Literal["pdf", "html"]
"""A sheet of paper, or a page for a browser; also the ending of the file."""

_OF_ONE_FORM: Final[dict[Form, frozenset[str]]] = {
    "pdf": frozenset({"paper"}),
    "html": frozenset({"sounds", "embed_mb"}),
}


@dataclass(frozen=True, slots=True)
class Wanted:
    """How a handout is to be made.

    ``with_score`` adds the marked etude. ``paper`` (``a4``, ``letter``) counts for a PDF only;
    ``sounds``, and up to how many megabytes they become part of the page, for a page only.
    """

    form: Form = "pdf"
    paper: Literal["a4", "letter"] = "a4"
    language: str = "en"
    with_score: bool = False
    sounds: bool = True
    embed_mb: float = 8.0

    def options(self) -> dict[str, object]:
        """Return what counts for its form, by name."""
        others = frozenset[str]().union(
            *(names for form, names in _OF_ONE_FORM.items() if form != self.form)
        )
        return {name: value for name, value in asdict(self).items() if name not in others}


@dataclass(frozen=True, slots=True)
class Job:
    """An etude to do, where its handout goes, and a hash of all that this depends on."""

    request: Request
    wanted: Wanted
    output: Path
    fingerprint: str | None


@dataclass(frozen=True, slots=True)
class Done:
    """How a job ended: files by name with their hashes, or an error in one line.

    ``sounds`` is the number of sound files beside a page, ``notices`` that of what was odd.
    """

    files: dict[str, str]
    notices: int = 0
    sounds: int = 0
    error: str | None = None
