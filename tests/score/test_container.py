"""Zipped scores. MusicXML 4.0, "Compressed .MXL files"; PKWARE APPNOTE for names and flags."""

from __future__ import annotations

import io
import struct
import zipfile

import pytest

from skeleton.errors import ScoreError
from skeleton.score import container
from skeleton.score.reading import read, read_bytes

CONTAINER = '<?xml version="1.0"?><container><rootfiles>{}</rootfiles></container>'
ROOTFILE = '<rootfile full-path="{}"{}/>'


@pytest.fixture(scope="module")
def music(score, measures, note) -> bytes:
    return score(measures(note("F#4", 4) + note("G4", 4)))


def zipped(members: dict[str, bytes | str], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return stream.getvalue()


def mxl(path: str, members: dict[str, bytes | str], media: str = "") -> bytes:
    root = CONTAINER.format(ROOTFILE.format(path, media))
    return zipped({"META-INF/container.xml": root, **members})


def check(data: bytes, codes: list[str] | None = None) -> None:
    found = read_bytes(data, "lesson.mxl")
    assert [str(note.pitch) for note in found.parts[0].notes] == ["F#4", "G4"]
    assert [each.code for each in found.notices] == (codes or [])


def refused(data: bytes) -> str:
    with pytest.raises(ScoreError) as caught:
        read_bytes(data, "lesson.mxl")
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith("lesson.mxl")
    return message


def test_the_file_that_the_container_names(music):
    check(mxl("score.xml", {"score.xml": music}))
    check(mxl("a/b.musicxml", {"a/b.musicxml": music, "other.xml": b"<x/>"}))


def test_mimetype_and_media_type_are_welcome_and_not_needed(music):
    root = CONTAINER.format(
        ROOTFILE.format("s.xml", ' media-type="application/vnd.recordare.musicxml+xml"')
    )
    check(
        zipped(
            {
                "mimetype": "application/vnd.recordare.musicxml",
                "META-INF/container.xml": root,
                "s.xml": music,
            }
        )
    )


def test_the_first_root_file_that_is_musicxml(music):
    root = CONTAINER.format(
        ROOTFILE.format("cover.svg", "") + ROOTFILE.format("s.xml", "")
        + ROOTFILE.format("later.xml", "")
    )  # fmt: skip
    check(
        zipped(
            {
                "META-INF/container.xml": root,
                "cover.svg": "<svg/>",
                "later.xml": b"<score-partwise/>",
                "s.xml": music,
            }
        )
    )


def test_a_container_with_a_namespace(music):
    root = CONTAINER.format(ROOTFILE.format("s.xml", "")).replace(
        "<container>", '<container xmlns="urn:oasis:names:tc:opendocument:xmlns:container">'
    )
    check(zipped({"META-INF/container.xml": root, "s.xml": music}))


def test_stored_and_utf16_members(music):
    check(zipped({"META-INF/container.xml": CONTAINER.format(ROOTFILE.format("s.xml", "")),
                  "s.xml": music}, zipfile.ZIP_STORED))  # fmt: skip
    check(mxl("s.xml", {"s.xml": music.decode().encode("utf-16")}))


@pytest.mark.parametrize(
    "path", ["./s.xml", "/s.xml", "S.XML", "elsewhere.xml", "../../s.xml", "a\\s.xml"]
)
def test_a_path_that_is_a_little_wrong(music, path):
    check(mxl(path, {"s.xml": music}))


def test_a_name_in_another_encoding_than_the_container(music):
    # Without the flag for UTF-8 a reader takes the bytes of a name as CP437.
    stream = io.BytesIO(
        mxl("\u00c9tude.xml", {"Xtude.xml": music, "second.xml": b"<score-partwise/>"})
    )
    for codec in ("utf-8", "cp1252"):
        raw = "\u00c9".encode(codec)
        data = stream.getvalue().replace(b"Xtude.xml", raw + b"tude.xml"[len(raw) - 1 :])
        wanted = "\u00c9" + "tude.xml"[len(raw) - 1 :]
        root = CONTAINER.format(ROOTFILE.format(wanted, ""))
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            name = next(n for n in archive.namelist() if n.endswith("ude.xml"))
            assert name != wanted, "the archive must really spell it otherwise"
        members = zipfile.ZipFile(io.BytesIO(data)).infolist()
        found = next(container._named(members, [], [wanted]), None)
        assert found is not None
        assert found.filename == name
        assert root


def test_without_a_container(music):
    check(zipped({"notes.txt": "x", "a/s.musicxml": music}), ["no-container"])
    check(zipped({"__MACOSX/s.xml": b"\0", "b.xml": b"<x/>", "s.xml": music}), ["no-container"])


def test_a_container_that_names_nothing(music):
    check(
        zipped({"META-INF/container.xml": CONTAINER.format(""), "s.xml": music}),
        ["bad-container"],
    )


def test_a_zip_that_is_no_score():
    assert "no MusicXML" in refused(zipped({"word/document.xml": "<document/>", "a.txt": "x"}))
    assert "no MusicXML" in refused(zipped({}))


def test_a_root_file_that_is_no_score():
    assert "<document>" in refused(mxl("s.xml", {"s.xml": "<document/>"}))


def test_an_archive_cut_off(music):
    whole = mxl("s.xml", {"s.xml": music})
    for length in range(4, len(whole), 37):
        refused(whole[:length])


def test_an_archive_with_a_wrong_byte(music):
    whole = bytearray(mxl("s.xml", {"s.xml": music}))
    place = whole.index(b"s.xml") + 40
    whole[place] ^= 0xFF
    assert "damaged" in refused(bytes(whole))


def test_encrypted(music):
    data = bytearray(mxl("s.xml", {"s.xml": music}))
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        place = data.rindex(signature)
        data[place + offset] |= 1
    assert "encrypted" in refused(bytes(data))


def test_a_method_nobody_knows(music):
    data = bytearray(mxl("s.xml", {"s.xml": music}))
    for signature, offset in ((b"PK\x03\x04", 8), (b"PK\x01\x02", 10)):
        place = data.rindex(signature)
        data[place + offset : place + offset + 2] = struct.pack("<H", 77)
    assert "cannot be unpacked" in refused(bytes(data))


def test_a_member_that_says_it_holds_two_gigabytes(music):
    data = bytearray(mxl("s.xml", {"s.xml": music}))
    place = data.rindex(b"PK\x01\x02") + 24
    data[place : place + 4] = struct.pack("<I", 2_000_000_000)
    assert "2000000000 bytes" in refused(bytes(data))


def test_a_member_that_unpacks_out_of_proportion():
    data = mxl("s.xml", {"s.xml": b"<score-partwise>" + b" " * 20_000_000 + b"</score-partwise>"})
    assert len(data) < 100_000
    assert "which no score does" in refused(data)


def test_a_member_that_holds_more_than_it_says(music):
    data = bytearray(mxl("s.xml", {"s.xml": music}))
    for signature, offset in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        place = data.rindex(signature)
        data[place + offset : place + offset + 4] = struct.pack("<I", 100)
    assert "damaged" in refused(bytes(data))


def test_a_zip_in_a_zip(music):
    inner = mxl("s.xml", {"s.xml": music})
    assert "itself a zip" in refused(mxl("s.xml", {"s.xml": inner}))


def test_entities_in_the_container(music):
    root = CONTAINER.format(ROOTFILE.format("&x;", "")).replace(
        "<container>", '<!DOCTYPE container [<!ENTITY x "s.xml">]><container>'
    )
    data = zipped({"META-INF/container.xml": root, "s.xml": music})
    assert "entities" in refused(data)


def test_what_it_holds_counts_more_than_its_suffix(tmp_path, music):
    for name, data in (("a.xml", mxl("s.xml", {"s.xml": music})), ("b.mxl", music),
                       ("c.mid", music)):  # fmt: skip
        path = tmp_path / name
        path.write_bytes(data)
        found = read(path)
        assert len(found.parts[0].notes) == 2
        assert found.source.name == name
        assert found.source.data == music
