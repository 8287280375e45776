"""From an etude full of accidentals to what it stands on.

::

    import skeleton

    score = skeleton.read("etude.musicxml")
    found = skeleton.analyse(score)                 # skeleton, accidentals, matches, passages
    skeleton.pictures(found, "bare")                # shows itself in a notebook
    skeleton.musicxml(found, "annotated")           # bytes to hand out

Names are imported when they are used, so that ``import skeleton`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from skeleton.analysis.analyse import analyse
    from skeleton.analysis.lesson import Lesson, read_lesson
    from skeleton.analysis.results import Analysis
    from skeleton.errors import (
        EngravingError,
        LessonError,
        OptionError,
        OutputError,
        ScoreError,
        SkeletonError,
    )
    from skeleton.export.handout.make import handout
    from skeleton.export.lists.checklist import checklist
    from skeleton.export.lists.outline import outline
    from skeleton.export.views import Pictures, musicxml, pictures
    from skeleton.intonation.targets import targets
    from skeleton.score.model import Score
    from skeleton.score.reading import read

__all__ = [
    "Analysis",
    "EngravingError",
    "Lesson",
    "LessonError",
    "OptionError",
    "OutputError",
    "Pictures",
    "Score",
    "ScoreError",
    "SkeletonError",
    "analyse",
    "checklist",
    "handout",
    "musicxml",
    "outline",
    "pictures",
    "read",
    "read_lesson",
    "targets",
]

_HOMES = {
    "Analysis": "skeleton.analysis.results",
    "EngravingError": "skeleton.errors",
    "Lesson": "skeleton.analysis.lesson",
    "LessonError": "skeleton.errors",
    "OptionError": "skeleton.errors",
    "OutputError": "skeleton.errors",
    "Pictures": "skeleton.export.views",
    "Score": "skeleton.score.model",
    "ScoreError": "skeleton.errors",
    "SkeletonError": "skeleton.errors",
    "analyse": "skeleton.analysis.analyse",
    "checklist": "skeleton.export.lists.checklist",
    "handout": "skeleton.export.handout.make",
    "musicxml": "skeleton.export.views",
    "outline": "skeleton.export.lists.outline",
    "pictures": "skeleton.export.views",
    "read": "skeleton.score.reading",
    "read_lesson": "skeleton.analysis.lesson",
    "targets": "skeleton.intonation.targets",
}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - whatever the name stands for
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'skeleton' has no attribute {name!r}")
    return getattr(import_module(home), name)


def __dir__() -> list[str]:
    return sorted(__all__)
