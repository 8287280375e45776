"""The keys of a lesson file that say what to do this week."""

from __future__ import annotations

import pytest

from skeleton.analysis.lesson import parse_lesson
from skeleton.errors import LessonError

PASSAGE = '[[passage]]\nname = "A"\nmeasures = "1-8"\n'


def test_assignment_and_work_on_a_passage() -> None:
    lesson = parse_lesson(
        'assignment = """\n  By heart.  \n\nThen\tslowly.\r\n"""\n'
        f'{PASSAGE}tempo = 60\nstage = "neighbours"\ngoal = " every D rings "\n'
    )
    assert lesson.assignment == "By heart.\nThen slowly."
    (passage,) = lesson.passages
    assert (passage.tempo, passage.stage, passage.goal) == (60.0, "neighbours", "every D rings")


def test_without_these_keys_nothing_is_said() -> None:
    lesson = parse_lesson(PASSAGE)
    assert lesson.assignment is None
    (passage,) = lesson.passages
    assert (passage.tempo, passage.stage, passage.goal) == (None, None, None)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("assignment = 3", "key 'assignment': 3 is no text"),
        ('assignment = "  \\n "', "key 'assignment'"),
        (f'assignment = "{"a" * 2001}"', "too long; keep it to 2000"),
        ('assignment = "a\\u0007b"', "cannot be printed"),
        (f"{PASSAGE}tempo = 9", "passage 1: key 'tempo': 9 is no tempo; write beats a minute, 10"),
        (f"{PASSAGE}tempo = 401", "10 to 400"),
        (f'{PASSAGE}tempo = "60"', "key 'tempo'"),
        (f"{PASSAGE}tempo = true", "key 'tempo'"),
        (f"{PASSAGE}tempo = nan", "key 'tempo'"),
        (f'{PASSAGE}stage = "full"', "stages are bare, neighbours, all"),
        (f"{PASSAGE}stage = []", "key 'stage'"),
        (f'{PASSAGE}goal = ""', "key 'goal'"),
        (f"{PASSAGE}goals = 1", "did you mean 'goal'"),
    ],
)
def test_values_that_cannot_be_used_are_refused_with_the_key(text: str, said: str) -> None:
    with pytest.raises(LessonError) as caught:
        parse_lesson(text, "lesson.toml")
    assert str(caught.value).startswith("lesson.toml: ")
    assert said in str(caught.value)
