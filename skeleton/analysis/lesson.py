"""The lesson file: a teacher's own decisions about an etude, in TOML.

Every key is optional::

    title = "Etude 3, for Thursday"
    instrument = "viola"                      # or open_strings = ["C3", "G3", "D4", "A4"]
    a4_hz = 442.0                             # 380 to 480
    rule = "second"                           # first, last, pairs, on-beat
    key = "D major"                           # read against this signature
    key_signs = true                          # the signature's own signs are accidentals too
    keep_open_strings = true                  # in the reduction as well
    part = "P1"                               # id or name
    assignment = "The skeleton by heart."     # what to do this week, for the handout; lines
                                              # of a longer text become paragraphs

    [[passage]]
    name = "opening run"
    measures = "1-8"                          # printed numbers
    tempo = 60                                # beats a minute, for the handout
    stage = "bare"                            # what to play: bare, neighbours, all
    goal = "every D rings"

    [[note]]
    measure = "3"                             # or id = "...", as the outline gives it
    beat = "4/3"                              # as printed in the outline; 1 at the barline
    pitch = "F#5"
    skeleton = false
    anchor = "G5"                             # or a note's id

    [[lean]]
    pitch = "F#"                              # in every octave
    cents = 85                                # how far it leans on the note it hangs on
    anchor = "G"                              # only where it hangs on a G

Reading checks what can be checked without the score; whether measures and notes exist is found
out when the lesson meets its score. Each table of keys below pairs a key with the function that
checks and converts its value, so a new key is one line and a field.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from os import PathLike, fspath
from pathlib import Path
from typing import Any, Final

from skeleton.analysis import lesson_values as values
from skeleton.analysis.results import ChosenLean, Rule
from skeleton.errors import LessonError, OptionError
from skeleton.score.model import Key
from skeleton.theory.instrument import Instrument
from skeleton.theory.pitch import Pitch, PitchClass
from skeleton.theory.tuning import DEFAULT_A4_HZ


@dataclass(frozen=True, slots=True)
class LessonPassage:
    """A passage by its printed measure numbers; both measures belong to it.

    ``tempo`` (beats a minute), ``stage`` and ``goal`` are this week's work on it.
    """

    name: str
    measures: tuple[str, str]
    tempo: float | None = None
    stage: values.StageName | None = None
    goal: str | None = None


@dataclass(frozen=True, slots=True)
class LessonNote:
    """What the lesson says of one note, found by ``id`` or by place.

    ``skeleton`` puts the note into the skeleton or takes it out. ``anchor`` is a note's id, a
    pitch ("G5": the nearest note of that pitch) or a note name ("G": in any octave).
    """

    id: str | None = None
    measure: str | None = None
    beat: Fraction | None = None
    pitch: Pitch | PitchClass | None = None
    skeleton: bool | None = None
    anchor: str | None = None


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson's decisions; what is None is left to the score. ``source`` names it in messages.

    ``assignment`` is what the student is to do this week, a paragraph a line.
    """

    title: str | None = None
    assignment: str | None = None
    instrument: Instrument | None = None
    open_strings: tuple[Pitch, ...] | None = None
    a4_hz: float = DEFAULT_A4_HZ
    rule: Rule = "second"
    key: Key | None = None
    key_signs: bool = False
    keep_open_strings: bool = False
    part: str | None = None
    passages: tuple[LessonPassage, ...] = ()
    notes: tuple[LessonNote, ...] = ()
    leans: tuple[ChosenLean, ...] = ()
    source: str = "lesson"


_Checks = Mapping[str, Callable[[Any], object]]

_PASSAGE: Final[_Checks] = {
    "name": values.text,
    "measures": values.measures,
    "tempo": values.tempo,
    "stage": values.stage,
    "goal": values.text,
}

_NOTE: Final[_Checks] = {
    "id": values.text,
    "measure": values.measure,
    "beat": values.beat,
    "pitch": values.pitch_or_class,
    "skeleton": values.flag,
    "anchor": values.text,
}

_LEAN: Final[_Checks] = {
    "pitch": values.pitch_class,
    "cents": values.lean_cents,
    "anchor": values.pitch_class,
}

_LESSON: Final[_Checks] = {
    "title": values.text,
    "assignment": values.paragraphs,
    "instrument": values.instrument_name,
    "open_strings": values.open_strings,
    "a4_hz": values.a4_hz,
    "rule": values.rule,
    "key": values.key,
    "key_signs": values.flag,
    "keep_open_strings": values.flag,
    "part": values.text,
    "passage": lambda entries: _tables("passage", entries, _PASSAGE, _passage),
    "note": lambda entries: _tables("note", entries, _NOTE, _note),
    "lean": lambda entries: _tables("lean", entries, _LEAN, _lean),
}

_LARGEST_BYTES: Final = 1_000_000
_DEEP_KEY: Final = re.compile(r"""(?<![\w"'-])(?:[\w"'-]{1,200}[ \t]*\.[ \t]*){100}""")
"""A key with a hundred dots: the time to read one grows with the square of them."""

_FIELDS: Final = {"passage": "passages", "note": "notes", "lean": "leans"}
"""Keys whose field has another name than the key."""


def read_lesson(path: str | PathLike[str]) -> Lesson:
    """Read a lesson file.

    Raises:
        LessonError: the file is missing, is no TOML, or a key or value in it cannot be used.
    """
    name = fspath(path)
    try:
        with Path(path).open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except OSError as error:
        reason = error.strerror or "cannot be read"
        raise LessonError(f"{name}: {reason}; name a lesson file in TOML") from error
    if len(data) > _LARGEST_BYTES:
        raise LessonError(f"{name}: is too large for a lesson file; name one in TOML")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise LessonError(f"{name}: is not UTF-8 text; save the lesson file as UTF-8") from error
    return parse_lesson(text, name)


def parse_lesson(text: str, source: str = "lesson") -> Lesson:
    """Read a lesson from TOML text; ``source`` is its name in messages.

    Raises:
        LessonError: the text is no TOML, or a key or value in it cannot be used.
    """
    if _DEEP_KEY.search(text):
        raise LessonError(f"{source}: no TOML: nested too deeply; write plain keys")
    try:
        # TOML ends lines in LF or CRLF; old Mac files end them in CR alone.
        table = tomllib.loads(text.replace("\r\n", "\n").replace("\r", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise LessonError(f"{source}: no TOML: {str(error)[:200]}") from error
    except RecursionError as error:
        raise LessonError(f"{source}: no TOML: nested too deeply; write plain keys") from error
    except ValueError as error:  # integers that Python refuses to convert for their length
        raise LessonError(f"{source}: a number in it is too long; shorten it") from error
    try:
        lesson = Lesson(**_checked(table, _LESSON), source=source)
        _check_whole(lesson)
    except OptionError as error:
        raise LessonError(f"{source}: {error}") from error
    except ValueError as error:  # hexadecimal ones are read, and then too long to be shown
        raise LessonError(f"{source}: a number in it is too long; shorten it") from error
    return lesson


def _checked(table: Mapping[str, Any], checks: _Checks) -> dict[str, Any]:
    """Check a table key by key; the result has the names of the fields."""
    found: dict[str, Any] = {}
    for key, value in table.items():
        if key not in checks:
            close = get_close_matches(key, checks, n=1)
            advice = f"did you mean {close[0]!r}?" if close else f"keys are {', '.join(checks)}"
            raise OptionError(f"key {key[:40]!r} is unknown; {advice}")
        try:
            found[_FIELDS.get(key, key)] = checks[key](value)
        except OptionError as error:
            # Entries of a list of tables name themselves.
            raise OptionError(str(error) if key in _FIELDS else f"key {key!r}: {error}") from error
    return found


def _tables(
    kind: str, entries: object, checks: _Checks, build: Callable[[Mapping[str, Any]], object]
) -> tuple[object, ...]:
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise OptionError(f"key {kind!r} must be a list of tables; write [[{kind}]] above each one")
    built = []
    for place, entry in enumerate(entries, start=1):
        try:
            built.append(build(_checked(entry, checks)))
        except OptionError as error:
            raise OptionError(f"{kind} {place}: {error}") from error
    return tuple(built)


def _passage(entry: Mapping[str, Any]) -> LessonPassage:
    _needs(entry, name='"..."', measures='"1-8"')
    return LessonPassage(**entry)


def _lean(entry: Mapping[str, Any]) -> ChosenLean:
    _needs(entry, pitch='"F#"', cents="90")
    return ChosenLean(entry["pitch"], entry["cents"], entry.get("anchor"))


def _needs(entry: Mapping[str, Any], **examples: str) -> None:
    for key, example in examples.items():
        if key not in entry:
            raise OptionError(f"key {key!r} is missing; write {key} = {example}")


def _note(entry: Mapping[str, Any]) -> LessonNote:
    note = LessonNote(**entry)
    if note.id is not None and (note.measure, note.beat, note.pitch) != (None, None, None):
        raise OptionError("key 'id' already says which note; leave out measure, beat and pitch")
    if note.id is None and (note.measure is None or note.beat is None):
        raise OptionError("which note is not said; write id, or measure and beat (and pitch)")
    if note.skeleton is None and note.anchor is None:
        raise OptionError("nothing is said of the note; write skeleton = true or false, or anchor")
    return note


def _check_whole(lesson: Lesson) -> None:
    """Check what no key shows alone."""
    places: dict[str, int] = {}
    for place, passage in enumerate(lesson.passages, start=1):
        name = passage.name
        if name in places:
            raise OptionError(
                f"passage {place}: key 'name': {name!r} is the name of passage {places[name]} "
                "already; give each passage its own"
            )
        places[name] = place
    seen: dict[tuple[object, ...], tuple[int, LessonNote]] = {}
    for place, note in enumerate(lesson.notes, start=1):
        address = (note.id, note.measure, note.beat, note.pitch)
        other_place, other = seen.setdefault(address, (place, note))
        for key in ("skeleton", "anchor"):
            ours, theirs = getattr(note, key), getattr(other, key)
            if ours is not None and theirs is not None and ours != theirs:
                raise OptionError(
                    f"note {place}: key {key!r} contradicts note {other_place}, which speaks of "
                    "the same note; keep one of them"
                )
    sizes: dict[tuple[object, ...], tuple[int, float]] = {}
    for place, lean in enumerate(lesson.leans, start=1):
        first, cents = sizes.setdefault((lean.pitch_class, lean.anchor), (place, lean.cents))
        if cents != lean.cents:
            raise OptionError(
                f"lean {place}: key 'cents' contradicts lean {first}, which speaks of the same "
                "notes; keep one of them"
            )
