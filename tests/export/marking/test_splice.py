"""Additions to a file's own bytes: right places, any encoding, and out again without a trace."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from skeleton.errors import OutputError
from skeleton.export.marking.splice import LIGHT, Addition, NoteMarks, additions, splice, take_out

PITCH = "<pitch><step>C</step><octave>5</octave></pitch><duration>1</duration><voice>1</voice>"
MARKS = NoteMarks("n1", light=True, lyrics=((1, "below", "G♯−½"), (3, "above", "<&>")))


def document(*notes: str, head: str = '<?xml version="1.0" encoding="UTF-8"?>') -> str:
    return (
        f"{head}<score-partwise><part-list/><part><measure>{''.join(notes)}</measure></part>"
        "</score-partwise>"
    )


def marked(data: bytes, marks: dict[int, NoteMarks], count: int) -> bytes:
    """Splice, and make sure that it comes out again and that only what was asked for went in."""
    added = additions(data, marks, count)
    result = splice(data, added)
    assert take_out(result, added) == data
    assert len(result) == len(data) + sum(len(addition.data) for addition in added)
    return result


def note_of(data: bytes, index: int = 0) -> etree._Element:
    return list(etree.fromstring(data).iter("note"))[index]


ENCODINGS = {
    "utf-8": ("UTF-8", "utf-8", b""),
    "utf-8 with a mark": ("UTF-8", "utf-8", b"\xef\xbb\xbf"),
    "no declaration": ("", "utf-8", b""),
    "utf-16 little end first": ("UTF-16", "utf-16-le", b"\xff\xfe"),
    "utf-16 big end first": ("UTF-16", "utf-16-be", b"\xfe\xff"),
    "latin 1": ("ISO-8859-1", "iso-8859-1", b""),
    "windows": ("windows-1252", "cp1252", b""),
    "cyrillic": ("windows-1251", "cp1251", b""),
    "ascii": ("US-ASCII", "ascii", b""),
}


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("end", ["\n", "\r\n", ""])
def test_any_encoding_and_line_end(encoding: str, end: str) -> None:
    name, codec, mark = ENCODINGS[encoding]
    head = f'<?xml version="1.0" encoding="{name}"?>' if name else ""
    words = {"cp1251": "Этюд", "ascii": "Etude"}.get(codec, "Étude")
    text = document(
        f"<!--{words}-->{end}  <note>{end}    {PITCH}{end}  </note>{end}", head=f"{head}{end}"
    )
    if not head:
        text = text.lstrip()
    data = mark + text.encode(codec)
    note = note_of(marked(data, {0: MARKS}, 1))
    assert note.get("id") == "n1"
    assert note.get("color") == LIGHT
    assert [lyric.findtext("text") for lyric in note.findall("lyric")] == ["G♯−½", "<&>"]
    assert [lyric.get("number") for lyric in note.findall("lyric")] == ["1", "3"]


def test_lines_and_indentation_are_those_of_the_file() -> None:
    data = document(f"\r\n\t<note>\r\n\t\t{PITCH}\r\n\t</note>\r\n").encode()
    added = additions(data, {0: NoteMarks(lyrics=((1, "below", "G"),))}, 1)
    (only,) = added
    assert only.data.startswith(b"\r\n\t\t<lyric ")
    assert splice(data, added).count(b"\r\n\t\t<lyric") == 1


def test_one_line_files_stay_on_their_line() -> None:
    data = document(f"<note>{PITCH}</note>").encode()
    assert b"\n" not in marked(data, {0: MARKS}, 1)


@pytest.mark.parametrize(
    "note",
    [
        f"<note default-x='1 > 0'>{PITCH}</note>",
        f"<note\n default-x = '12'\n>{PITCH}</note >",
        f'<note attack=">">{PITCH}<!-- </note> --></note>',
        f"<note>{PITCH}<?editor <note> ?></note>",
        f"<note>{PITCH}<lyric><text><![CDATA[</note><note>]]></text></lyric></note>",
        f"<note><!-- first -->{PITCH}</note>",
    ],
)
def test_traps_in_the_text(note: str) -> None:
    data = document(note, f"<note>{PITCH}</note>").encode()
    result = marked(data, {0: MARKS, 1: NoteMarks("n2")}, 2)
    first, second = etree.fromstring(result).iter("note")
    assert (first.get("id"), second.get("id")) == ("n1", "n2")
    assert [e.get("number") for e in first.findall("lyric")][-2:] == ["1", "3"]
    assert not second.findall("lyric")


@pytest.mark.parametrize("tail", ["<play/>", "<listen><wait/></listen>", "<play/><listen/>"])
def test_lyrics_stand_before_play_and_listen(tail: str) -> None:
    data = document(f"<note>{PITCH}<lyric><text>la</text></lyric>{tail}</note>").encode()
    note = note_of(marked(data, {0: MARKS}, 1))
    tags = [child.tag for child in note][3:]
    assert tags[:3] == ["lyric", "lyric", "lyric"]
    assert tags[3:] == [child.tag for child in etree.fromstring(f"<x>{tail}</x>")]


def test_a_play_inside_something_else_is_not_meant() -> None:
    inner = "<notations><other-notation type='single'><play/></other-notation></notations>"
    note = note_of(marked(document(f"<note>{PITCH}{inner}</note>").encode(), {0: MARKS}, 1))
    assert note[-1].tag == "lyric"


def test_what_the_file_says_is_left() -> None:
    sign = '<accidental color="#FF0000">sharp</accidental>'
    data = document(f"<note id='own' color='#00FF00'>{PITCH}{sign}</note>").encode()
    result = marked(data, {0: NoteMarks("n1", light=True)}, 1)
    assert result == data


def test_the_sign_of_a_grey_note_stays_black() -> None:
    data = document(f"<note>{PITCH}<accidental>sharp</accidental></note>").encode()
    note = note_of(marked(data, {0: NoteMarks(light=True)}, 1))
    assert note.get("color") == LIGHT
    assert note.find("accidental").get("color") == "#000000"


def test_an_empty_note_can_have_an_id() -> None:
    data = document("<note/>").encode()
    assert note_of(marked(data, {0: NoteMarks("n1")}, 1)).get("id") == "n1"


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (document("<m:note xmlns:m='own'/>").encode(), "0 of its 1"),
        (document(f"<note>{PITCH}</note>", head='<?xml version="1.0" encoding="x-own"?>').encode(),
         "x-own"),
        (document(f"<note>{PITCH}</note>", head='<?xml version="1.0" encoding="Shift_JIS"?>')
         .encode(), "multi-byte"),
        (("\n" + document(f"<note>{PITCH}</note>")).encode(), "declaration"),
        (document(f"<note>{PITCH}</note>", "<note/>").encode(), "2 of its 1 notes"),
    ],
)  # fmt: skip
def test_files_that_cannot_be_marked_in_place_are_refused(data: bytes, why: str) -> None:
    with pytest.raises(OutputError, match=why):
        additions(data, {0: MARKS}, 1)


def test_take_out_sees_that_it_has_another_file() -> None:
    data = document(f"<note>{PITCH}</note>").encode()
    added = additions(data, {0: MARKS}, 1)
    with pytest.raises(OutputError, match="does not hold the marks"):
        take_out(data, added)


@given(st.binary(), st.lists(st.tuples(st.integers(0, 50), st.binary(min_size=1)), max_size=6))
def test_taking_out_undoes_putting_in(data: bytes, places: list[tuple[int, bytes]]) -> None:
    added = sorted((Addition(min(at, len(data)), text) for at, text in places),
                   key=lambda addition: addition.offset)  # fmt: skip
    assert take_out(splice(data, added), added) == data
