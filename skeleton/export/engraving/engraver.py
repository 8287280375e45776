"""From MusicXML to pictures: the music engraver in a process of its own.

::

    with Engraver() as engraver:            # its process starts here
        score = read_score(path)            # ... and gets ready meanwhile
        engraved = engraver.engrave(musicxml, Layout(), expect_ids=ids)

Verovio is native code: it can crash, hang or leave something out without a word. Here each of
these ends as an :class:`~skeleton.errors.EngravingError` or a warning, and the program goes on;
the next job gets a new process.

The result is SVG as Verovio wrote it, ids of notes kept; the same music and layout give the same
bytes. :mod:`skeleton.export.engraving.svg` makes a finished picture of it.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Collection, Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryFile
from types import TracebackType
from typing import IO, Any, Final, Literal, Self
from xml.parsers import expat

from skeleton.errors import EngravingError, OptionError
from skeleton.export.lists.words import without_controls

STAFF_UNITS: Final = 720
"""Height of a five-line staff in the coordinates of Verovio's SVG."""

_PAGE_STAFF: Final = STAFF_UNITS / 10  # the same in the unit of page width and margins
# In the same unit, about 27 systems. Verovio could do 60,000, but takes three times as long for
# one huge page as for the same music on several (measured on 2,360 notes: 1.4 s and 0.5 s).
_TALL_PAGE: Final = 4_500
_DYING_S: Final = 2.0
_SECONDS_PER_NOTE: Final = 0.02  # fifty times what was measured (0.0004 s)
_LAST_ANSWERS: Final = frozenset({"version", "refused", "unfit"})
_NAMES_SHOWN: Final = 5
_ID: Final = re.compile(r'<g id="([^"]+)"')
_NOTE_ID: Final = re.compile(r'<g id="([^"]+)" class="note"')
_LOG_LINE: Final = re.compile(r"\[(Warning|Error|Info|Debug)\]\s*(.*)")

Breaks = Literal["auto", "line", "smart", "encoded", "none"]


@dataclass(frozen=True, slots=True)
class Layout:
    """How music is laid out on paper. Lengths in millimetres as printed.

    ``page_height_mm`` None gives a page as tall as its music, and for more than about 27 lines
    of music several, to be joined with :func:`skeleton.export.engraving.svg_edit.join`. ``breaks``:
    ``auto`` fills the lines, ``encoded`` follows the file's line and page breaks, ``line`` only
    its line breaks, ``none`` makes one endless line. ``systems_per_page`` 1 gives one picture
    per line of music. ``stretch_last`` fills the last line. Of the margins the right one must
    not be 0, or the last barline is cut. ``lyric_size`` is in Verovio's unit (half a staff
    space) and sets the size of all text. ``header`` prints title and composer as the file has
    them. ``boxes`` asks where everything stands, for marks; without, large scores take a
    quarter less time.
    """

    page_width_mm: float = 190.0
    page_height_mm: float | None = None
    staff_mm: float = 7.0
    margin_mm: float = 1.0
    right_margin_mm: float = 2.0
    breaks: Breaks = "auto"
    systems_per_page: int = 0
    stretch_last: bool = False
    header: bool = False
    lyric_size: float = 3.4
    staff_spacing: int = 12
    system_spacing: int = 4
    boxes: bool = True

    @property
    def unit_mm(self) -> float:
        """Millimetres on paper of one unit of the SVG's coordinates."""
        return self.staff_mm / STAFF_UNITS

    def options(self) -> dict[str, Any]:
        """Return these wishes as options of Verovio.

        Raises:
            OptionError: the staff has no height.
        """
        if not self.staff_mm > 0:
            raise OptionError(f"a staff {self.staff_mm:g} mm high cannot be drawn; 7 is usual")
        unit_mm = self.staff_mm / _PAGE_STAFF
        height = self.page_height_mm
        margin = round(self.margin_mm / unit_mm)
        return {
            "pageWidth": round(self.page_width_mm / unit_mm),
            "pageHeight": _TALL_PAGE if height is None else round(height / unit_mm),
            "adjustPageHeight": height is None,
            "pageMarginLeft": margin,
            "pageMarginTop": margin,
            "pageMarginBottom": margin,
            "pageMarginRight": round(self.right_margin_mm / unit_mm),
            "breaks": self.breaks,
            "systemMaxPerPage": self.systems_per_page,
            "minLastJustification": 0.0 if self.stretch_last else 0.8,
            "header": "auto" if self.header else "none",
            "footer": "none",
            "lyricSize": self.lyric_size,
            "lyricTopMinMargin": 3.0,
            "lyricWordSpace": 1.6,
            "lyricVerseCollapse": True,
            "spacingStaff": self.staff_spacing,
            "spacingSystem": self.system_spacing,
            "scale": 100,
            "font": "Leipzig",
            # The package brings its own fonts into a picture: see typeface.py.
            "smuflTextFont": "none",
            "svgFormatRaw": True,
            "svgBoundingBoxes": self.boxes,
            "xmlIdSeed": 1,
        }


@dataclass(frozen=True, slots=True)
class Engraved:
    """Pages as the engraver wrote them.

    ``warnings`` are what it said about the music, each once. ``missing`` are the expected ids
    that no page has; a warning names them too. ``unit_mm`` is the size on paper of one unit of
    the coordinates. ``engraver`` is name and version of the program.
    """

    pages: tuple[str, ...]
    warnings: tuple[str, ...]
    missing: tuple[str, ...]
    unit_mm: float
    engraver: str


class Engraver:
    """Verovio in a process of its own, started at once; a context manager that ends it.

    Args:
        limit_s: seconds one job may take, before the music is given up; time for its notes
            (0.02 s each) is added. Music of a page is given up before ten seconds are over.
        command: how to start the process, for tests.

    Not for several threads at once.
    """

    def __init__(self, *, limit_s: float = 8.0, command: Sequence[str] | None = None) -> None:
        self._limit_s = limit_s
        self._command = command
        # For appending: reading here must not move the place where the worker writes.
        self._log: IO[bytes] = TemporaryFile("a+b")  # noqa: SIM115 - closed in close()
        self._log_at = 0
        self._process: subprocess.Popen[bytes] | None = None
        with suppress(EngravingError):  # said when there is something to engrave
            self._process = self._start()

    def __enter__(self) -> Self:
        """Return itself; the process runs already."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        """End the process."""
        self.close()

    def close(self) -> None:
        """End the process; nothing is lost with it."""
        self._stop()
        self._log.close()

    def engrave(
        self,
        musicxml: str,
        layout: Layout | None = None,
        *,
        expect_ids: Collection[str] = (),
        name: str = "the score",
        checked: bool = False,
        on_page: Callable[[str], None] | None = None,
    ) -> Engraved:
        """Engrave music.

        Args:
            musicxml: the score, uncompressed.
            layout: how to lay it out; :class:`Layout` as it stands where None.
            expect_ids: ids of the notes that must be in the pictures.
            name: what to call the score in messages, a file name say.
            checked: the text is well-formed for certain, having been written from a tree.
            on_page: called with each page in turn, while the engraver draws the next one.

        Returns:
            The pages and what was said about them.

        Raises:
            EngravingError: the text is no XML, or Verovio refused it, crashed, took too long or
                drew none of the expected notes.
            OptionError: the layout is beyond what can be drawn.
        """
        layout = layout or Layout()
        musicxml = musicxml.removeprefix("\ufeff")
        if not checked:
            _check_well_formed(musicxml, name)
        musicxml = without_controls(musicxml)  # XML allows some that a page may not hold
        limit_s = self._limit_s + _SECONDS_PER_NOTE * musicxml.count("<note")
        request = {"musicxml": musicxml, "options": layout.options(), "limit_s": int(limit_s)}
        pages, answer = self._ask(json.dumps(request).encode("ascii"), limit_s, name, on_page)
        log = self._read_log()
        if "unfit" in answer:
            raise OptionError(f"this layout cannot be drawn: {answer['unfit']}")
        if "refused" in answer:
            errors = "; ".join(text for level, text in log if level == "Error")
            raise EngravingError(
                f"{name}: the engraver refused the music: {answer['refused']}"
                f"{f' ({errors})' if errors else ''}; check the file in a notation program"
            )
        if not pages:
            raise EngravingError(f"{name}: the engraver drew no page; is there music in it?")
        warnings = [text for level, text in log if level in {"Warning", "Error"}]
        missing = _missing(pages, expect_ids)
        if missing and len(missing) == len(expect_ids):
            raise EngravingError(
                f"{name}: the engraver drew none of the {len(missing)} notes;"
                " check the file in a notation program"
            )
        if missing:
            more = "" if len(missing) <= _NAMES_SHOWN else "..."
            warnings.append(
                f"the engraver left out {len(missing)} of {len(expect_ids)} notes: "
                + ", ".join(missing[:_NAMES_SHOWN])
                + more
            )
        return Engraved(
            pages=tuple(pages),
            warnings=tuple(dict.fromkeys(warnings)),
            missing=missing,
            unit_mm=layout.unit_mm,
            engraver=f"Verovio {answer['version']}",
        )

    def _ask(
        self, request: bytes, limit_s: float, name: str, on_page: Callable[[str], None] | None
    ) -> tuple[list[str], dict[str, Any]]:
        """Return the pages and the last answer."""
        process = self._process or self._start()
        self._process = process
        assert process.stdin is not None  # noqa: S101 - Popen was told to make pipes
        assert process.stdout is not None  # noqa: S101
        late = threading.Event()

        def give_up() -> None:
            late.set()
            process.kill()

        timer = threading.Timer(limit_s, give_up)
        timer.daemon = True
        timer.start()
        pages: list[str] = []
        try:
            with suppress(OSError):  # it died before it read everything: seen below
                process.stdin.write(request + b"\n")
                process.stdin.flush()
            while page := _page(line := process.stdout.readline(), process.stdout):
                pages.append(page)
                if on_page is not None:
                    on_page(page)
        except BaseException:
            self._stop()
            raise
        finally:
            timer.cancel()
        answer = _answer(line)
        if _LAST_ANSWERS & answer.keys():
            return pages, answer
        if not line:
            with suppress(subprocess.TimeoutExpired):
                process.wait(_DYING_S)  # so that the reason is its own, not our kill
        self._stop()
        last = "; ".join(text for _, text in self._read_log()[-1:])
        if late.is_set():
            why = f"the engraver gave no answer within {limit_s:.0f} s"
        elif line:
            why = "the engraver gave an answer that makes no sense"
        else:
            why = f"the engraver crashed ({_end_of(process.returncode)})"
        raise EngravingError(
            f"{name}: {why}{f', its last words: {last}' if last else ''};"
            " try fewer measures, to find the one it stumbles over"
        )

    def _start(self) -> subprocess.Popen[bytes]:
        return subprocess.Popen(  # noqa: S603 - our own worker
            list(self._command or _worker_command()),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._log,
        )

    def _stop(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with suppress(OSError):  # unsent rest of a request
                    pipe.close()

    def _read_log(self) -> list[tuple[str, str]]:
        """Read what was logged since the last time, as (level, text)."""
        self._log.seek(self._log_at)
        data = self._log.read()
        self._log_at += len(data)
        lines = data.decode("utf-8", "replace").splitlines()
        found = [_LOG_LINE.match(line) for line in lines]
        return [
            (match[1], match[2].strip()) if match else ("", line.strip())
            for line, match in zip(lines, found, strict=True)
            if line.strip()
        ]


def _worker_command() -> tuple[str, ...]:
    """Build the command: isolated, so that neither folder nor environment can interfere."""
    spec = find_spec("verovio")
    if spec is None or spec.origin is None:
        raise EngravingError("the engraver is not installed; run: pip install verovio")
    worker = Path(__file__).with_name("engraver_worker.py")
    return (sys.executable, "-I", "-S", str(worker), str(Path(spec.origin).parent.parent))


def _page(line: bytes, pipe: IO[bytes]) -> str:
    """Return the page that a line of the answer announces, "" where it announces none."""
    size = _answer(line).get("page")
    data = pipe.read(size) if isinstance(size, int) and size > 0 else b""
    return data.decode("utf-8", "replace") if len(data) == size else ""


def _answer(line: bytes) -> dict[str, Any]:
    """Return a line of the answer, empty where it makes no sense."""
    if line.endswith(b"\n"):
        with suppress(ValueError):
            answer = json.loads(line)
            if isinstance(answer, dict):
                return answer
    return {}


def _check_well_formed(musicxml: str, name: str) -> None:
    """Refuse damaged text here, since Verovio takes it without a word and drops the rest."""
    parser = expat.ParserCreate("utf-8")
    try:
        parser.Parse(musicxml.encode("utf-8"), True)
    except (expat.ExpatError, UnicodeEncodeError) as error:
        raise EngravingError(f"{name}: not well-formed XML ({error}); export it again") from error


def _missing(pages: Sequence[str], expect_ids: Collection[str]) -> tuple[str, ...]:
    for pattern in (_NOTE_ID, _ID):  # the first has little to find, and is mostly enough
        drawn = {found for page in pages for found in pattern.findall(page)}
        missing = tuple(note_id for note_id in expect_ids if note_id not in drawn)
        if not missing:
            break
    return missing


def _end_of(code: int | None) -> str:
    if code is not None and code < 0 and os.name == "posix":
        with suppress(ValueError):
            return signal.Signals(-code).name
    return f"exit code {code}"
