"""The lesson file: what it may say, and what it is told when it errs."""

from fractions import Fraction

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, LessonNote, LessonPassage, parse_lesson, read_lesson
from skeleton.errors import LessonError, OptionError
from skeleton.score.reading import read_bytes
from skeleton.theory.instrument import INSTRUMENTS
from skeleton.theory.pitch import parse_pitch, parse_pitch_class

WHOLE = """
title = "Etude 3, for Thursday"
instrument = "Bratsche"
open_strings = ["C3", "G3", "D4", "A4"]
a4_hz = 442
rule = "last"
key = "D major"
key_signs = true
keep_open_strings = true
part = "P1"

[[passage]]
name = "run"
measures = "1-8"

[[passage]]
name = "end"
measures = 9

[[note]]
measure = 3
beat = "4/3"
pitch = "F#5"
skeleton = false

[[note]]
id = "n7"
anchor = "G5"
"""


def test_every_key():
    lesson = parse_lesson(WHOLE, "lesson.toml")
    assert lesson.title == "Etude 3, for Thursday"
    assert lesson.instrument is not None
    assert lesson.instrument.name == "viola"
    assert [str(string) for string in lesson.open_strings or ()] == ["C3", "G3", "D4", "A4"]
    assert (lesson.a4_hz, lesson.rule, lesson.part) == (442.0, "last", "P1")
    assert lesson.key is not None
    assert lesson.key.fifths == 2
    assert lesson.key_signs
    assert lesson.keep_open_strings
    assert lesson.passages == (LessonPassage("run", ("1", "8")), LessonPassage("end", ("9", "9")))
    assert lesson.notes == (
        LessonNote(None, "3", Fraction(4, 3), parse_pitch("F#5"), skeleton=False),
        LessonNote("n7", anchor="G5"),
    )
    assert lesson.source == "lesson.toml"


def test_an_empty_file_is_a_lesson():
    assert parse_lesson("") == Lesson()


@pytest.mark.parametrize(
    ("beat", "expected"),
    [("2", 2), ("2.5", "5/2"), ('"4/3"', "4/3"), ('"1.333333"', "1333333/1000000"), ("1.0", 1)],
)
def test_beats(beat, expected):
    lesson = parse_lesson(f'[[note]]\nmeasure = "1"\nbeat = {beat}\nskeleton = true')
    assert lesson.notes[0].beat == Fraction(expected)


def test_a_note_name_without_octave():
    lesson = parse_lesson('[[note]]\nmeasure = "1"\nbeat = 1\npitch = "F#"\nskeleton = true')
    assert lesson.notes[0].pitch == parse_pitch_class("F#")


NOTE = '[[note]]\nid = "n1"\n'
PASSAGE = '[[passage]]\nname = "a"\nmeasures = "1"\n'


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("rule = what", ["no TOML", "line 1"]),
        ('instrumnt = "viola"', ["'instrumnt'", "did you mean 'instrument'"]),
        ("xyz = 1", ["'xyz'", "keys are title, "]),
        ('rule = "secnd"', ["'rule'", "'secnd'", "did you mean 'second'"]),
        ("rule = 2", ["'rule'", "second, first, last, pairs, on-beat"]),
        ('instrument = "vioal"', ["'instrument'", "did you mean 'viola'"]),
        ("instrument = 4", ["'instrument'", "quotes"]),
        ('open_strings = "G3"', ["'open_strings'", '["G3", "D4", "A4", "E5"]']),
        ('open_strings = ["G"]', ["'open_strings'", "'G'", "octave"]),
        ('open_strings = ["G3", "G3"]', ["'open_strings'", "twice"]),
        ("open_strings = []", ["'open_strings'", "at least one"]),
        ("a4_hz = 44", ["'a4_hz'", "380 to 480"]),
        ("a4_hz = nan", ["'a4_hz'", "380 to 480"]),
        ('a4_hz = "440"', ["'a4_hz'", "such as 440.0"]),
        ("a4_hz = true", ["'a4_hz'"]),
        ('key = "H major"', ["'key'", "D major"]),
        ("key = 8", ["'key'", "seven"]),
        ("key = true", ["'key'"]),
        ('key_signs = "yes"', ["'key_signs'", "true"]),
        ("keep_open_strings = 1", ["'keep_open_strings'", "true"]),
        ('title = ""', ["'title'"]),
        ("passage = 3", ["'passage'", "[[passage]]"]),
        ('[[passage]]\nname = "a"', ["passage 1", "'measures'", "missing"]),
        ('[[passage]]\nmeasures = "1"', ["passage 1", "'name'", "missing"]),
        ('[[passage]]\nname = "a"\nmeasures = "1-2-3"', ["passage 1", "'measures'", '"1-8"']),
        ('[[passage]]\nname = "a"\nmeasures = "1"\nbars = 3', ["passage 1", "'bars'"]),
        (PASSAGE * 2, ["passage 2", "'name'", "'a'", "passage 1"]),
        ("note = [1]", ["'note'", "[[note]]"]),
        (NOTE, ["note 1", "skeleton"]),
        ("[[note]]\nskeleton = true", ["note 1", "measure and beat"]),
        (NOTE + "beat = 1\nskeleton = true", ["note 1", "'id'"]),
        (NOTE + "skelton = true", ["note 1", "'skelton'", "did you mean 'skeleton'"]),
        (
            f"{NOTE}skeleton = true\n{NOTE}skeleton = false",
            ["note 2", "'skeleton'", "contradicts note 1"],
        ),
        (f'{NOTE}anchor = "G5"\n{NOTE}anchor = "A5"', ["note 2", "'anchor'", "contradicts"]),
        ('[[note]]\nmeasure = "1"\nbeat = 0\nskeleton = true', ["note 1", "'beat'", "4/3"]),
        ('[[note]]\nmeasure = "1"\nbeat = "1/0"\nskeleton = true', ["note 1", "'beat'"]),
        (
            '[[note]]\nmeasure = "1"\nbeat = 1\npitch = "H4"\nskeleton = true',
            ["note 1", "'pitch'", "'H4'"],
        ),
    ],
)
def test_errors_name_file_key_and_remedy(text, parts):
    with pytest.raises(LessonError) as caught:
        parse_lesson(text, "my lesson.toml")
    message = str(caught.value)
    assert message.startswith("my lesson.toml: ")
    assert "\n" not in message
    for part in parts:
        assert part in message


def test_read_from_a_file(tmp_path):
    path = tmp_path / "lesson.toml"
    path.write_bytes(b"\xef\xbb\xbf" + WHOLE.replace("\n", "\r\n").encode())
    assert read_lesson(path) == parse_lesson(WHOLE, str(path))


def test_files_that_cannot_be_read(tmp_path):
    latin = tmp_path / "latin.toml"
    latin.write_bytes('title = "\xe9"'.encode("latin-1"))
    for path, words in (
        (tmp_path / "none.toml", "No such"),
        (tmp_path, "directory"),
        (latin, "UTF-8"),
    ):
        with pytest.raises(LessonError, match=words) as caught:
            read_lesson(path)
        assert str(caught.value).startswith(str(path))


SCORE = "D4 A4 F#4! C5 | G4 F#4!+C5 C5 r"


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ('part = "P9"', ["'part'", "'P9'", "P1 (Violin)"]),
        ('part = "Violn"', ["'part'", "did you mean 'Violin'"]),
        (
            '[[passage]]\nname = "a"\nmeasures = "1-9"',
            ["passage 1", "'a'", "no measure 9", "1 to 2"],
        ),
        ('[[passage]]\nname = "a"\nmeasures = "2-1"', ["passage 1", "ends before"]),
        (
            '[[note]]\nid = "n77"\nskeleton = true',
            ["note 1", "'id'", "no note 'n77'", "did you mean"],
        ),
        ('[[note]]\nmeasure = "7"\nbeat = 1\nskeleton = true', ["note 1", "'measure'", "7"]),
        (
            '[[note]]\nmeasure = "1"\nbeat = 1.5\nskeleton = true',
            ["note 1", "'beat'", "3/2", "1, 2, 3, 4"],
        ),
        (
            '[[note]]\nmeasure = "1"\nbeat = 3\npitch = "F4"\nskeleton = true',
            ["note 1", "'pitch'", "no F4", "there is F#4"],
        ),
        (
            '[[note]]\nmeasure = "2"\nbeat = 2\nskeleton = true',
            ["note 1", "2 such notes", "F#4 (id n6)", "C5 (id n7)"],
        ),
        ('[[note]]\nid = "n3"\nanchor = "Bb4"', ["note 1", "'anchor'", "no other Bb4"]),
        ('[[note]]\nid = "n3"\nanchor = "n3"', ["note 1", "'anchor'", "itself"]),
        ('[[note]]\nid = "n3"\nanchor = "n99"', ["note 1", "'anchor'", "G5"]),
        (
            '[[note]]\nid = "n3"\nanchor = "n4"\n[[note]]\nid = "n4"\nskeleton = false',
            ["n4", "C5", "keep one"],
        ),
        (
            '[[note]]\nid = "n3"\nskeleton = true\n[[note]]\nmeasure=1\nbeat=3\nskeleton=false',
            ["note 2", "'skeleton'", "contradicts"],
        ),
    ],
)
def test_errors_found_with_the_score(music, text, parts):
    with pytest.raises(LessonError) as caught:
        analyse(music(SCORE), parse_lesson(text, "my.toml"))
    message = str(caught.value)
    assert message.startswith("my.toml: ")
    assert "\n" not in message
    for part in parts:
        assert part in message


def test_notes_by_place(music):
    # Beats of 6/8 are counted in eighths, and a beat copied from an output is rounded.
    score = music("C5:1/6 gB4 F4:1/6 C5:1/6 F4:5/2", time="6/8")
    for beat, expected in (("1.333333", "n3"), ('"4/3"', "n3"), ("2", "n5")):
        lesson = parse_lesson(f"[[note]]\nmeasure = 1\nbeat = {beat}\nskeleton = true")
        (note,) = analyse(score, lesson).parts[0].skeleton
        assert note.place.id == expected


def test_a_tied_note_is_spoken_of_through_its_attack(music):
    lesson = parse_lesson('[[note]]\nid = "n2"\nskeleton = true')
    (note,) = analyse(music("C5:4~ | ~C5:4".replace(":4~", "~:4")), lesson).parts[0].skeleton
    assert note.place.id == "n1"


def test_notes_of_other_parts_are_passed_over(music):
    score = music.score(music.part("C5 C5 C5 C5"), music.part("F4 F4 F4 F4", name="Viola"))
    lesson = parse_lesson('[[note]]\nid = "p2n1"\nskeleton = true')
    assert analyse(score, lesson, part="P1").parts[0].skeleton == ()
    assert len(analyse(score, lesson).parts[1].skeleton) == 1


def test_passages_of_the_lesson(music):
    score = music(" | ".join(["C5 D5 E5 F5"] * 9))
    lesson = parse_lesson(
        '[[passage]]\nname = "late"\nmeasures = "7-9"\n'
        '[[passage]]\nname = "first"\nmeasures = "1\u20134"\n'
    )
    passages = analyse(score, lesson).passages
    assert [(p.name, p.first_index, p.last_index, p.last_measure) for p in passages] == [
        ("first", 0, 3, "4"),
        ("late", 6, 8, "9"),
    ]


def test_a_number_printed_twice_in_a_row_is_one_measure_to_the_lesson(music):
    document = music.document(music.part(" | ".join(["C5 D5 E5 F5"] * 5)))
    score = read_bytes(document.replace(b'number="3"', b'number="2"'), "split")
    lesson = parse_lesson('[[passage]]\nname = "a"\nmeasures = "2"')
    (passage,) = analyse(score, lesson).passages
    assert (passage.first_index, passage.last_index) == (1, 2)


def test_options_come_before_the_lesson(music):
    score = music("(C5 D5 F4) F#4!")
    lesson = parse_lesson('rule = "last"\na4_hz = 415\ninstrument = "cello"')
    analysis = analyse(score, lesson)
    assert (analysis.rule, analysis.a4_hz, analysis.parts[0].instrument.name) == (
        "last",
        415.0,
        "cello",
    )
    analysis = analyse(score, lesson, rule="first", a4_hz=442.0)
    assert (analysis.rule, analysis.a4_hz) == ("first", 442.0)
    strings = parse_lesson('open_strings = ["C2", "C3"]')
    viola = analyse(score, strings, instrument=INSTRUMENTS["viola"]).parts[0].instrument
    assert viola == INSTRUMENTS["viola"]
    with pytest.raises(OptionError, match="did you mean 'first'"):
        analyse(score, rule="frist")


ODD = ("1", "-1", "1e300", "inf", "true", '""', '"\\u0007"', "[]", "{}", "[[1]]", "2020-01-01")
KEYS = ("title", "instrument", "open_strings", "a4_hz", "rule", "key", "key_signs", "part")
TABLES = {"passage": ("name", "measures"), "note": ("id", "measure", "beat", "pitch", "anchor")}


@pytest.mark.parametrize("value", [*ODD, '"' + "x" * 500 + '"', "9" * 400])
def test_odd_values_are_refused_in_one_line_or_taken(value):
    texts = [f"{key} = {value}" for key in (*KEYS, *TABLES)]
    texts += [f"[[{name}]]\n{key} = {value}" for name, keys in TABLES.items() for key in keys]
    refused = []
    for text in texts:
        try:
            parse_lesson(text, "odd.toml")
        except LessonError as error:
            refused.append(str(error))
    assert len(refused) >= len(texts) - 4
    for message in refused:
        assert message.startswith("odd.toml: ")
        assert "\n" not in message
        assert len(message) < 300


@pytest.mark.parametrize("text", ["9" * 5000, "0x" + "F" * 5000, "[" * 5000])
def test_values_that_python_itself_refuses(text):
    for key in ("a4_hz", "title", "key", "passage"):
        with pytest.raises(LessonError, match=r"odd\.toml: "):
            parse_lesson(f"{key} = {text}", "odd.toml")
