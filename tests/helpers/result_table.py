"""The lines of a table of results: what was counted, what came out, what is to be reached."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True)
class Row:
    """A line of the table: what, how many, what came out, what is to be reached."""

    widths: ClassVar[tuple[int, int, int, int]] = (58, 6, 20, 16)

    what: str
    count: int
    value: str
    goal: str
    reached: bool

    def __str__(self) -> str:
        what, count, value, goal = self.widths
        mark = "reached" if self.reached else "NOT REACHED"
        return (
            f"{self.what:<{what}} {self.count:>{count}}  "
            f"{self.value:<{value}} {self.goal:<{goal}} {mark}"
        )
