"""Every error this package raises on purpose.

::

    SkeletonError            anything below; the message is one line for a person
    ├── ScoreError           a score that cannot be read: missing, damaged, not music
    ├── LessonError          a lesson file with a bad key or value
    ├── OptionError          a request that does not fit: unknown rule, part, format
    ├── TakeError            a recording that cannot be read, or in which nothing sounds
    ├── JournalError         a journal that cannot be opened, read or written
    ├── EngravingError       the engraver refused the music or died on it
    └── OutputError          a result that could not be written where it was asked for

A message says what is wrong, where (file, part, measure, beat) and what to do about it.
"""

from __future__ import annotations


class SkeletonError(Exception):
    """Root of all errors raised on purpose; ``str(error)`` is one line for a person."""


class ScoreError(SkeletonError):
    """The score cannot be read."""


class LessonError(SkeletonError):
    """The lesson file cannot be used."""


class OptionError(SkeletonError):
    """An option or argument does not fit this score or this program."""


class TakeError(SkeletonError):
    """The recording cannot be read, or nothing can be heard in it."""


class JournalError(SkeletonError):
    """The journal cannot be opened, read or written, or does not hold what was asked for."""


class EngravingError(SkeletonError):
    """The engraver could not draw the music."""


class OutputError(SkeletonError):
    """A result cannot be written to the place that was asked for."""
