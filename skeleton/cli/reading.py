"""From a request to an analysis: reading the score, finding the lesson, telling the notices."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import typer

from skeleton.analysis import lesson_values as values
from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, read_lesson
from skeleton.analysis.results import Analysis
from skeleton.cli.messages import notice_lines, say
from skeleton.cli.options import Request, lesson_file
from skeleton.errors import OptionError
from skeleton.score.model import Notice, Score
from skeleton.score.reading import read
from skeleton.theory.pitch import parse_pitch


def analysis_of(request: Request) -> Analysis:
    """Read and analyse the etude, and tell its notices on standard error.

    Raises:
        ScoreError: the score cannot be read.
        LessonError: the lesson file cannot be used.
        OptionError: an option does not fit this score.
        typer.BadParameter: an option fits no score.
    """
    decided = decisions(request)
    lesson = replace(lesson_of(request), **decided)
    analysis = analyse(read(request.etude), lesson, part=request.part)
    tell(request, analysis.score, analysis.notices)
    return analysis


def tell(request: Request, score: Score, notices: Iterable[Notice]) -> None:
    """Tell notices on standard error, unless that was asked to be left out."""
    if request.quiet:
        return
    names = {part.id: part.name or part.id for part in score.parts}
    several = len(names) > 1
    for line in notice_lines(notices, (lambda part: names.get(part, part)) if several else None):
        say(line)


def lesson_of(request: Request) -> Lesson:
    """Return the lesson that was named, or lies beside the etude, or an empty one.

    Raises:
        LessonError: the lesson file cannot be used.
    """
    if request.lesson is not None:
        return read_lesson(request.lesson)
    beside = lesson_file(request.etude)
    if request.no_lesson or not beside.is_file():
        return Lesson()
    lesson = read_lesson(beside)
    if not request.quiet:
        say(f"note: lesson file {beside} taken (--no-lesson leaves it out)")
    return lesson


def decisions(request: Request) -> dict[str, Any]:
    """Return the fields of a lesson that the options decide, checked as a lesson file is.

    Raises:
        typer.BadParameter: a value is wrong, whatever the score.
    """
    found: dict[str, Any] = {}
    if request.rule is not None:
        found["rule"] = checked("--rule", values.rule, request.rule.lower())
    if request.key_signs is not None:
        found["key_signs"] = request.key_signs
    if request.key is not None:
        found["key"] = checked("--key", values.key, request.key)
    if request.a4_hz is not None:
        found["a4_hz"] = checked("--a4", values.a4_hz, request.a4_hz)
    if request.instrument is not None:
        # One takes the other's place, also where the lesson file has the other.
        found |= {"instrument": None, "open_strings": None}
        found |= checked("--instrument", _instrument, request.instrument)
    return found


def checked(option: str, check: Callable[[Any], Any], value: object) -> Any:  # noqa: ANN401
    """Return the value of an option as a lesson file's check of it gives it.

    Raises:
        typer.BadParameter: the value is wrong.
    """
    try:
        return check(value)
    except OptionError as error:
        raise typer.BadParameter(str(error), param_hint=option) from error


def _instrument(text: str) -> dict[str, Any]:
    names = re.split(r"[\s,]+", text.strip())
    if len(names) > 1 or any(char.isdigit() for char in text):
        try:
            for name in names:
                parse_pitch(name)
        except OptionError:
            pass
        else:
            return {"open_strings": values.open_strings(names)}
    return {"instrument": values.instrument_name(text)}
