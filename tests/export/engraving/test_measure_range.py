"""A stretch of a score as a score of its own."""

from __future__ import annotations

from fractions import Fraction

import pytest
from lxml import etree

import skeleton
from skeleton.export.engraving.engraver import Engraver, Layout
from skeleton.export.engraving.measure_range import measure_range
from skeleton.score.marking import marked_root
from skeleton.score.reading import read_bytes

ATTRIBUTES = (
    "<attributes><divisions>2</divisions><key><fifths>2</fifths></key>"
    "<time><beats>2</beats><beat-type>4</beat-type></time>"
    "<clef><sign>C</sign><line>3</line></clef></attributes>"
)


def note(
    pitch: str = "A4", duration: int = 1, notations: str = "", *, alter: int = 0, tie: str = ""
) -> str:
    ties = "".join(f'<tie type="{kind}"/>' for kind in tie.split())
    notations += "".join(f'<tied type="{kind}"/>' for kind in tie.split())
    held = f"<notations>{notations}</notations>" if notations else ""
    kind = {1: "eighth", 2: "quarter", 4: "half"}[duration]
    sign = f"<alter>{alter}</alter>" if alter else ""
    return (
        f"<note><pitch><step>{pitch[0]}</step>{sign}<octave>{pitch[1]}</octave></pitch>"
        f"<duration>{duration}</duration>{ties}<voice>1</voice><type>{kind}</type>{held}</note>"
    )


def slur(kind: str, number: int = 1) -> str:
    return f'<slur type="{kind}" number="{number}"/>'


def wedge(kind: str) -> str:
    return f'<direction><direction-type><wedge type="{kind}"/></direction-type></direction>'


def tree(*measures: str) -> etree._Element:
    held = "".join(
        f'<measure number="{number}">{"" if number > 1 else ATTRIBUTES}{music}</measure>'
        for number, music in enumerate(measures, start=1)
    )
    data = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Viola</part-name>'
        f'</score-part></part-list><part id="P1">{held}</part></score-partwise>'
    ).encode()
    return marked_root(read_bytes(data, "etude.musicxml"))


def found(root: etree._Element, path: str) -> list[str]:
    return [str(one) for one in root.xpath(path)]


PLAIN = note() * 4


def test_clef_key_metre_and_divisions_stand_at_the_start_and_numbers_stay() -> None:
    change = "<attributes><clef><sign>G</sign><line>2</line></clef></attributes>"
    root = tree(PLAIN, PLAIN + change, PLAIN, PLAIN)
    cut = measure_range(root, 2, 3)
    assert found(cut, "//measure/@number") == ["3", "4"]
    (attributes,) = cut.iter("attributes")
    assert [one.tag for one in attributes] == ["divisions", "key", "time", "clef"]
    assert attributes.findtext("clef/sign") == "G"
    assert attributes.findtext("key/fifths") == "2"
    assert root.xpath("count(//measure)") == 4


def test_what_the_first_measure_says_itself_comes_before_what_was_in_force() -> None:
    own = "<attributes><key><fifths>-1</fifths></key></attributes>"
    cut = measure_range(tree(PLAIN, own + PLAIN), 1, 1)
    (attributes,) = cut.iter("attributes")
    assert found(attributes, "key/fifths/text()") == ["-1"]
    assert attributes.findtext("divisions") == "2"


def test_ids_stay_what_they_are() -> None:
    root = tree(PLAIN, PLAIN, PLAIN)
    assert found(measure_range(root, 1, 1), "//note/@id") == found(root, "//measure[2]/note/@id")


def test_slurs_inside_stay_and_those_that_cross_an_end_go() -> None:
    first = note() * 3 + note(notations=slur("start"))
    second = (
        note(notations=slur("stop")) + note(notations=slur("start")) + note(notations=slur("stop"))
        + note(notations=slur("start", 2))
    )  # fmt: skip
    third = note(notations=slur("stop", 2)) + note() * 3
    cut = measure_range(tree(first, second, third), 1, 1)
    assert found(cut, "//slur/@type") == ["start", "stop"]
    assert found(cut, "//note[slur or notations]/@id") == found(cut, "//note[.//slur]/@id")


def test_a_hairpin_without_its_other_end_goes_with_its_direction() -> None:
    root = tree(wedge("crescendo") + PLAIN, PLAIN + wedge("stop"), wedge("diminuendo") + PLAIN)
    assert not found(measure_range(root, 0, 0), "//wedge/@type")
    assert not found(measure_range(root, 1, 2), "//direction")
    assert found(measure_range(root, 0, 1), "//wedge/@type") == ["crescendo", "stop"]


def test_a_note_tied_into_the_stretch_is_its_own_and_gets_its_sign_back() -> None:
    # C sharp is in the key of D, G sharp is not (any primer of music theory).
    for pitch, signs in (("G4", ["sharp"]), ("C5", [])):
        root = tree(
            note(pitch, 4, alter=1, tie="start"), note(pitch, 4, alter=1, tie="stop start"),
            note(pitch, 4, alter=1, tie="stop"),
        )  # fmt: skip
        cut = measure_range(root, 1, 1)
        assert not found(cut, "//tie | //tied")
        assert found(cut, "//accidental/text()") == signs
        whole = measure_range(root, 0, 2)
        assert len(found(whole, "//tied/@type")) == 4


def test_half_an_ending_loses_its_bracket() -> None:
    start = '<barline location="left"><ending number="1" type="start"/></barline>'
    stop = (
        '<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/>'
        "</barline>"
    )
    root = tree(PLAIN, start + PLAIN, PLAIN + stop)
    assert not found(measure_range(root, 2, 2), "//ending/@type")
    assert found(measure_range(root, 1, 2), "//ending/@type") == ["start", "stop"]


@pytest.mark.parametrize(
    "name",
    ["slurs-of-many-sizes.musicxml", "viola-crossings.musicxml", "cello-under-the-thumb.mxl"],
)
def test_cuts_of_the_demo_etudes_are_valid_read_alike_and_engrave_without_a_word(
    name, scores, musicxml_schema
) -> None:
    # Outside checks: the schema of MusicXML 4.0, and what the engraver says.
    score = skeleton.read(scores / name)
    root = marked_root(score)
    part = score.parts[0]
    with Engraver() as engraver:
        for first in range(0, len(part.measures), 5):
            last = min(first + 6, len(part.measures) - 1)
            cut = measure_range(root, first, last)
            data = etree.tostring(cut)
            assert musicxml_schema.validate(etree.fromstring(data)), musicxml_schema.error_log[0]
            again = read_bytes(data, "cut.musicxml").parts[0]
            begin = part.measures[first].onset_quarters
            wanted = [
                (one.id, one.pitch, one.onset_quarters - begin)
                for one in part.notes
                if first <= one.measure <= last
            ]
            assert [(one.id, one.pitch, one.onset_quarters) for one in again.notes] == wanted
            assert again.key_at(Fraction(0)).alters == part.key_at(begin).alters
            assert again.measures[0].metre == part.measures[first].metre
            ids = [one.id for one in again.notes if one.kind == "note"]
            engraved = engraver.engrave(data.decode(), Layout(), expect_ids=ids)
            assert engraved.warnings == ()
