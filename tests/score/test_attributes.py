"""Keys, transpositions, clefs, staves; barlines and rehearsal marks; title and names.

Expected values follow MusicXML 4.0 unless marked.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from skeleton.score.model import Barline, ClefChange, Ending
from skeleton.score.reading import read_bytes


def attributes(text: str) -> str:
    return f"<attributes><divisions>4</divisions>{text}</attributes>"


@pytest.mark.parametrize(
    ("fifths", "alters"),
    [
        (0, ()),
        (1, (("F", 1),)),
        (-3, (("B", -1), ("E", -1), ("A", -1))),
        (7, tuple((step, 1) for step in "FCGDAEB")),
        (8, (("F", 2), *((step, 1) for step in "CGDAEB"))),
        (-9, (("B", -2), ("E", -2), *((step, -1) for step in "ADGCF"))),
    ],
)
def test_keys_by_fifths(read_part, note, fifths, alters):
    # Order of sharps and flats: common practice, no source.
    part = read_part(note(), attributes=attributes(f"<key><fifths>{fifths}</fifths></key>"))
    key = part.key_at(Fraction(0))
    assert key.fifths == fifths
    assert key.alters == alters


@pytest.mark.parametrize("text", ["", "<fifths/>", "<fifths>G</fifths>", "<fifths>15</fifths>"])
def test_an_unreadable_key_is_left_out(read_score, note, text):
    odd = f"<attributes><key>{text}</key></attributes>"
    head = attributes("<key><fifths>2</fifths></key>")
    score = read_score(note("A4", 8) + odd + note("B4", 8), attributes=head)
    assert score.parts[0].key_at(Fraction(3)).fifths == 2
    assert [each.code for each in score.notices] == ["bad-key"]


def test_mode_is_kept(read_part, note):
    text = "<key><fifths>0</fifths><mode>minor</mode></key>"
    assert read_part(note(), attributes=attributes(text)).keys[0].key.mode == "minor"


def test_a_key_letter_by_letter(read_part, note):
    text = (
        "<key><key-step>F</key-step><key-alter>1</key-alter>"
        "<key-step>B</key-step><key-alter>-0.5</key-alter></key>"
    )
    key = read_part(note(), attributes=attributes(text)).key_at(Fraction(0))
    assert key.fifths is None
    assert key.alters == (("F", 1), ("B", Fraction(-1, 2)))
    assert key.alter("B") == Fraction(-1, 2)
    assert key.alter("C") == 0


def test_keys_per_staff(read_part, note):
    text = (
        '<key number="1"><fifths>2</fifths></key><key number="2"><fifths>-1</fifths></key>'
        "<staves>2</staves>"
    )
    part = read_part(note("A4", 4, staff="2"), attributes=attributes(text))
    assert part.staves == 2
    assert part.key_at(Fraction(0), 1).fifths == 2
    assert part.key_at(Fraction(0), 2).fifths == -1


def test_a_key_may_change_inside_a_measure(read_part, note):
    part = read_part(
        note("A4", 8) + "<attributes><key><fifths>4</fifths></key></attributes>" + note("B4", 8)
    )
    assert part.key_at(Fraction(1)).fifths == 0
    assert part.key_at(Fraction(2)).fifths == 4


def test_key_changes_stand_in_time_order(read_part, note):
    key = '<attributes><key number="{}"><fifths>{}</fifths></key></attributes>'
    part = read_part(
        note("A4", 8)
        + key.format(1, 3)
        + note("B4", 8)
        + "<backup><duration>16</duration></backup>"
        + key.format(2, -2)
        + note("C3", 16, voice="5", staff="2")
    )
    assert [(change.onset_quarters, change.key.fifths) for change in part.keys] == [
        (0, 0),
        (0, -2),
        (2, 3),
    ]


@pytest.mark.parametrize(
    ("text", "diatonic", "chromatic"),
    [
        ("<diatonic>-1</diatonic><chromatic>-2</chromatic>", -1, -2),  # in B flat
        ("<chromatic>-3</chromatic>", -2, -3),  # in A, letters not given
        (
            "<diatonic>0</diatonic><chromatic>0</chromatic><octave-change>-1</octave-change>",
            -7,
            -12,
        ),  # double bass
        (
            "<diatonic>-1</diatonic><chromatic>-2</chromatic><octave-change>-1</octave-change>",
            -8,
            -14,
        ),
        ("<diatonic>0</diatonic><chromatic>0</chromatic><double/>", 0, 0),
    ],
)
def test_transpositions(read_part, note, text, diatonic, chromatic):
    part = read_part(note(), attributes=attributes(f"<transpose>{text}</transpose>"))
    found = part.transposition_at(Fraction(0))
    assert (found.diatonic, found.chromatic) == (diatonic, chromatic)


def test_transposition_per_staff(read_part, note):
    text = '<staves>2</staves><transpose number="2"><chromatic>-12</chromatic></transpose>'
    part = read_part(note("A4", 4, staff="2"), attributes=attributes(text))
    assert part.transposition_at(Fraction(0), 1).chromatic == 0
    assert part.transposition_at(Fraction(0), 2).chromatic == -12
    assert part.transposition_at(Fraction(0), 2).diatonic == -7


def test_clefs(read_part, note):
    change = (
        '<attributes><clef number="1"><sign>G</sign><line>2</line>'
        "<clef-octave-change>-1</clef-octave-change></clef></attributes>"
    )
    part = read_part(note("A4", 8) + change + note("A4", 8))
    assert part.clefs == (
        ClefChange(Fraction(0), 1, "G", 2),
        ClefChange(Fraction(2), 1, "G", 2, -1),
    )


def test_staves_are_counted_where_notes_say_more(read_part, note):
    assert read_part(note("A4", 16, staff="2")).staves == 2


def test_barlines(read_part, note):
    part = read_part(
        '<barline location="left"><bar-style>heavy-light</bar-style><repeat direction="forward"/>'
        "</barline>" + note("A4", 16),
        '<barline location="left"><ending number="1" type="start"/></barline>'
        + note("A4", 8)
        + '<barline location="middle"><bar-style>dashed</bar-style></barline>'
        + note("A4", 8)
        + '<barline><bar-style>light-heavy</bar-style><fermata/><ending number="1" type="stop"/>'
        '<repeat direction="backward"/></barline>',
    )
    first, second = part.measures
    assert first.left == Barline("heavy-light", "forward")
    assert first.right is None
    assert second.left == Barline(ending=Ending("1", "start"))
    assert second.right == Barline("light-heavy", "backward", Ending("1", "stop"), fermata=True)


def test_rehearsal_marks(read_part, note):
    mark = "<direction><direction-type><rehearsal>{}</rehearsal></direction-type></direction>"
    words = "<direction><direction-type><words>dolce</words></direction-type></direction>"
    part = read_part(mark.format("A") + note("A4", 16), words + note("B4", 16))
    assert [measure.rehearsal for measure in part.measures] == [("A",), ()]


@pytest.mark.parametrize(
    ("head", "title", "composer"),
    [
        ("", None, None),
        ("<work><work-title> A  study </work-title></work>", "A study", None),
        ("<movement-title>Second</movement-title>", "Second", None),
        (
            (
                "<work><work-title/></work><movement-title>Second</movement-title><identification>"
                '<creator type="lyricist">X</creator><creator type="composer">Made Up</creator>'
                "</identification>"
            ),
            "Second",
            "Made Up",
        ),
        (
            (
                "<credit><credit-type>title</credit-type><credit-words>Plain</credit-words></credit>"
                "<credit><credit-type>composer</credit-type><credit-words>Made Up</credit-words>"
                "</credit>"
            ),
            "Plain",
            "Made Up",
        ),
        ("<credit><credit-words>Who knows what this is</credit-words></credit>", None, None),
    ],
)
def test_title_and_composer(score, head, title, composer):
    found = read_bytes(score("", head=head), "x")
    assert (found.title, found.composer) == (title, composer)


def test_part_names(score, measures, note):
    data = score(measures(note()), measures(note())).replace(b"Part 2", b"  ")
    assert [(part.id, part.name) for part in read_bytes(data, "x").parts] == [
        ("P1", "Part 1"),
        ("P2", None),
    ]


def test_parts_and_part_list_that_differ_are_noticed(score, measures, note):
    data = score(measures(note()), measures(note()), measures(note()))
    data = data.replace(b'<part id="P2">', b'<part id="P9">').replace(
        b'<part id="P3">', b'<part id="P1">'
    )
    found = read_bytes(data, "x")
    assert [part.id for part in found.parts] == ["P1", "P9", "P1_2"]
    assert [notice.code for notice in found.notices] == [
        "part-unlisted",
        "part-id-twice",
        "part-missing",
        "part-missing",
    ]
    assert found.part("P1_2") is found.parts[2]


def test_parts_without_pitches_are_left_out(score, measures, note):
    drum = (
        "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave>"
        "</unpitched><duration>16</duration></note>"
    )
    found = read_bytes(score(measures(drum), measures(note("A4", 16))), "x")
    assert [part.id for part in found.parts] == ["P2"]
    assert [(each.code, each.part) for each in found.notices] == [("part-skipped", "P1")]
    assert found.parts[0].notes[0].index == 1


def test_a_score_without_any_pitch_is_a_score(score, measures, note):
    found = read_bytes(score(measures(note("r", 16))), "x")
    assert found.parts == ()
    assert [each.code for each in found.notices] == ["part-skipped", "no-notes"]


def test_part_order_does_not_matter(score, measures, note):
    one = measures(note("A4", 8, slur="start") + note("B4", 8, slur="stop"))
    two = measures(note("C4", 16))
    straight = read_bytes(score(one, two), "x")
    crossed = read_bytes(
        score(one, two).replace(
            b'<part id="P1">' + one.encode() + b'</part><part id="P2">' + two.encode() + b"</part>",
            b'<part id="P2">' + two.encode() + b'</part><part id="P1">' + one.encode() + b"</part>",
        ),
        "x",
    )
    for part_id in ("P1", "P2"):
        left, right = straight.part(part_id), crossed.part(part_id)
        assert [each.id for each in left.notes] == [each.id for each in right.notes]
        assert left.slurs == right.slurs
    assert [part.id for part in crossed.parts] == ["P2", "P1"]
