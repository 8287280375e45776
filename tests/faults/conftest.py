"""What the tests of bad input share: targets and seeds, small scores, memory and time."""

from __future__ import annotations

import importlib.util
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from html import escape
from pathlib import Path
from types import ModuleType

import pytest

LONGEST_S = 10.0
MOST_MB = 1024


@pytest.fixture(scope="session")
def faults() -> ModuleType:
    """The targets (``targets.py``)."""
    name = "faults_targets"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name("targets.py"))
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


def _peak_mb() -> float:
    """The most memory this process has had; 0 where the system does not say."""
    if sys.platform == "win32":
        return 0.0
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1 << 20 if sys.platform == "darwin" else 1 << 10)


@pytest.fixture(scope="session")
def bounded() -> Callable:
    """A block that must not take ten seconds of the processor, nor a gigabyte more than before."""

    @contextmanager
    def block(longest_s: float = LONGEST_S) -> Iterator[None]:
        started, before_mb = time.process_time(), _peak_mb()
        yield
        took_s = time.process_time() - started
        assert took_s < longest_s, f"{took_s:.1f} s of the processor"
        assert _peak_mb() - before_mb < MOST_MB

    return block


ATTRIBUTES = (
    "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
    "</attributes>"
)


def _note(step: str, alter: int, slur: str, inside: str) -> str:
    return (
        f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>4</octave></pitch>"
        f"<duration>1</duration><voice>1</voice><type>quarter</type>"
        f'<notations><slur type="{slur}"/></notations>{inside}</note>'
    )


class Made:
    """A small score as text, with something of one's own in each place that takes text."""

    attributes = ATTRIBUTES

    @staticmethod
    def pair(inside: str = "") -> str:
        """F sharp slurred to G."""
        return _note("F", 1, "start", inside) + _note("G", 0, "stop", "")

    @staticmethod
    def whole(*measures: str, head: str = "", name: str = "Violin", part: str = "P1") -> bytes:
        """A score of one part from what its measures hold; names as they stand in XML."""
        held = "".join(
            f'<measure number="{place}">{ATTRIBUTES if place == 1 else ""}{text}</measure>'
            for place, text in enumerate(measures, 1)
        )
        return (
            f'<score-partwise version="4.0">{head}<part-list><score-part id="{part}">'
            f'<part-name>{name}</part-name></score-part></part-list><part id="{part}">{held}</part>'
            "</score-partwise>"
        ).encode()

    @classmethod
    def saying(cls, text: str) -> bytes:
        """A score that says a text wherever it can: title, names, lyrics, words, numbers, ids."""
        said = escape(text)
        words = (
            f"<direction><direction-type><rehearsal>{said}</rehearsal></direction-type></direction>"
            f"<direction><direction-type><words>{said}</words></direction-type></direction>"
        )
        lyric = f"<lyric><syllabic>single</syllabic><text>{said}</text></lyric>"
        head = (
            f"<work><work-title>{said}</work-title></work><identification>"
            f'<creator type="composer">{said}</creator><rights>{said}</rights></identification>'
            f"<credit><credit-words>{said}</credit-words></credit>"
        )
        pair = cls.pair(lyric).replace("<note>", f'<note id="{said}">', 1)
        text = cls.whole(words + pair, words + pair, head=head, name=said).decode()
        return text.replace('<measure number="2">', f'<measure number="{said}">').encode()


@pytest.fixture(scope="session")
def made() -> type[Made]:
    """Small scores."""
    return Made
