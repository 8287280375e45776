"""XML and archives made to harm: what is not told in tests/score is told here.

Sources: XML 1.0, 5th edition (4.2 entity declarations, 4.2.2 external entities); PKWARE APPNOTE.
"""

from __future__ import annotations

import functools
import io
import stat
import zipfile
from collections.abc import Iterator
from contextlib import suppress

import pytest
from asking import listening

from skeleton.errors import ScoreError
from skeleton.score.reading import read_bytes

KINDS = ("x.musicxml", "x.mei")


@pytest.fixture(scope="module")
def asked() -> Iterator[tuple[str, list[str]]]:
    """A server on this machine: its address, and the paths it was asked for."""
    yield from listening(b'<!ENTITY x "fetched"><!ATTLIST note id CDATA "fetched">')


def roots(made) -> dict[str, str]:
    mei = (
        '<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score><scoreDef '
        'meter.count="2" meter.unit="4"><staffGrp><staffDef n="1" lines="5" clef.shape="G" '
        'clef.line="2"/></staffGrp></scoreDef><section><measure n="1"><staff n="1"><layer n="1">'
        '<note pname="f" oct="4" dur="4"/></layer></staff></measure></section></score></mdiv>'
        "</body></music></mei>"
    )
    return {"x.musicxml": made.whole(made.pair()).decode(), "x.mei": mei}


def test_the_server_would_be_heard(asked) -> None:
    import urllib.request

    address, paths = asked
    with urllib.request.urlopen(f"{address}/probe") as answer:
        assert b"fetched" in answer.read()
    assert paths.pop() == "/probe"


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "declared",
    [
        '<!DOCTYPE r SYSTEM "{0}/a.dtd">',
        '<!DOCTYPE r PUBLIC "-//X//Y//EN" "{0}/a.dtd">',
        '<!DOCTYPE r [<!ENTITY x SYSTEM "{0}/e">]>',
        '<!DOCTYPE r [<!ENTITY % x SYSTEM "{0}/p"> %x;]>',
        '<!DOCTYPE r [<!NOTATION n SYSTEM "{0}/n"><!ENTITY x SYSTEM "{0}/u" NDATA n>]>',
        '<?xml-stylesheet type="text/xsl" href="{0}/s.xsl"?>',
        '<?xml-model href="{0}/m.rng"?>',
    ],
)
def test_nothing_is_asked_of_a_server(made, asked, kind: str, declared: str) -> None:
    address, paths = asked
    text = declared.format(address) + roots(made)[kind]
    if "<!ENTITY x" in declared:
        text = text.replace("</measure>", "&x;</measure>")
    xi = f'<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="{address}/x" parse="text"/>'
    for data in (text, text.replace("</measure>", f"{xi}</measure>")):
        read = b""
        with suppress(ScoreError):
            read = read_bytes(data.encode(), kind).source.data
        assert b"fetched" not in read
    assert paths == []


def test_nothing_is_opened_by_an_address_of_a_file(made, tmp_path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("S3CRET")
    for kind, text in roots(made).items():
        for where in (secret.as_uri(), str(secret)):
            entity = f'<!DOCTYPE r [<!ENTITY x SYSTEM "{where}">]>' + text.replace(
                "</measure>", "<direction>&x;</direction></measure>"
            )
            with pytest.raises(ScoreError) as told:
                read_bytes(entity.encode(), kind)
            assert "S3CRET" not in str(told.value)
            xi = (f'<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="{where}" '
                  'parse="text"/>')  # fmt: skip
            score = read_bytes(text.replace("</measure>", f"{xi}</measure>").encode(), kind)
            assert b"S3CRET" not in score.source.data


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("where", ["at the head", "behind a long comment"])
def test_an_entity_of_quadratic_growth(made, bounded, kind: str, where: str) -> None:
    filler = "<!--" + "-x" * 40_000 + "-->" if where == "behind a long comment" else ""
    declared = f'{filler}<!DOCTYPE r [<!ENTITY a "{"x" * 50_000}">]>'
    text = declared + roots(made)[kind].replace("</measure>", "&a;" * 50_000 + "</measure>")
    with bounded(3.0), pytest.raises(ScoreError, match="entities"):
        read_bytes(text.encode(), kind)


@pytest.mark.parametrize("kind", KINDS)
def test_a_hundred_thousand_elements_in_each_other(made, bounded, kind: str) -> None:
    deep = "<a>" * 100_000 + "</a>" * 100_000
    text = roots(made)[kind].replace("</measure>", f"{deep}</measure>")
    told = ""
    with bounded(8.0):
        try:
            read_bytes(text.encode(), kind)
        except ScoreError as error:
            told = str(error)
    assert kind == "x.mei" or "nested deeper" in told
    assert len(told) < 400


def test_an_attribute_of_fifty_million(made, bounded) -> None:
    data = made.whole(made.pair(), head=f'<work id="{"x" * 50_000_000}"/>')
    with bounded(5.0), pytest.raises(ScoreError):
        read_bytes(data, "x")


def test_very_many_attributes_and_namespaces(bounded) -> None:
    for pattern in ('a%d="1"', 'xmlns:a%d="u%d"'):
        written = " ".join(pattern.replace("%d", str(place)) for place in range(20_000))
        with bounded(5.0):
            assert read_bytes(f"<score-partwise {written}/>".encode(), "x").parts == ()


# --- archives


def zipped(*members: tuple[str | zipfile.ZipInfo, bytes], method: int = 8) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in members:
            archive.writestr(name, data)
    return out.getvalue()


def container(*paths: str) -> tuple[str, bytes]:
    roots = "".join(f'<rootfile full-path="{path}"/>' for path in paths)
    return "META-INF/container.xml", f"<container>{roots}</container>".encode()


@pytest.mark.parametrize(
    "path",
    ["../../../../etc/passwd", "/etc/passwd", "C:\\Windows\\win.ini", "file:///etc/passwd",
     "http://127.0.0.1:9/s.xml", "", ".", "..", "META-INF/container.xml", "s.xml/", "a" * 70_000],
)  # fmt: skip
def test_a_container_that_leads_out_leads_nowhere(made, path: str) -> None:
    # Where the archive has one score, that is meant, wherever the container points.
    data = zipped(container(path), ("s.xml", made.whole(made.pair())))
    if path == "META-INF/container.xml":
        with pytest.raises(ScoreError, match="<container>"):
            read_bytes(data, "x.mxl")
    else:
        assert len(read_bytes(data, "x.mxl").parts[0].notes) == 2
    with pytest.raises(ScoreError) as told:
        read_bytes(zipped(container(path), ("readme.txt", b"x")), "x.mxl")
    assert "root:" not in str(told.value)


def test_members_named_to_lead_out_are_read_in_memory_only(made, tmp_path, monkeypatch) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    monkeypatch.chdir(inside)
    name = "../../x/../escaped.musicxml"
    data = zipped(container(name), (name, made.whole(made.pair())))
    assert len(read_bytes(data, "x.mxl").parts[0].notes) == 2
    assert [*tmp_path.rglob("*")] == [inside]


def test_a_link_in_an_archive_is_its_text(tmp_path) -> None:
    secret = tmp_path / "secret.musicxml"
    secret.write_text("<score-partwise/>")
    link = zipfile.ZipInfo("s.xml")
    link.create_system = 3
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with pytest.raises(ScoreError, match="not MusicXML"):
        read_bytes(zipped(container("s.xml"), (link, str(secret).encode())), "x.mxl")


def test_zeros_without_end(bounded) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", 8) as archive, archive.open("s.xml", "w") as member:
        for _ in range(10):
            member.write(bytes(10_000_000))
    said_more = bytearray(out.getvalue())
    with bounded(3.0), pytest.raises(ScoreError, match="which no score does"):
        read_bytes(bytes(said_more), "x.mxl")


def test_many_large_members_are_only_looked_into(bounded) -> None:
    # Each may be unpacked by itself; together they are a bomb for who unpacks them all.
    block = bytes(range(256)) * 36_000
    members = [(f"{place}.xml", block) for place in range(12)]
    data = zipped(container(*(name for name, _ in members)), *members)
    assert len(data) < 8_000_000
    with bounded(3.0), pytest.raises(ScoreError, match="no MusicXML"):
        read_bytes(data, "x.mxl")


@functools.cache
def _twice(first: bytes, second: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", 8) as archive:
        archive.writestr("s.xml", first)
        archive.writestr("t.xml", second)
    return out.getvalue().replace(b"t.xml", b"s.xml")


def test_two_members_of_one_name_are_taken_in_their_order(made) -> None:
    first, second = made.whole(made.pair()), made.whole(made.pair(), made.pair())
    assert len(read_bytes(_twice(first, second), "x.mxl").parts[0].notes) == 2
    assert len(read_bytes(_twice(second, first), "x.mxl").parts[0].notes) == 4


def test_a_wrong_checksum(made) -> None:
    data = bytearray(zipped(container("s.xml"), ("s.xml", made.whole(made.pair())), method=0))
    data[data.index(b"<duration>1") + 10] = ord("2")
    with pytest.raises(ScoreError, match=r"damaged.*CRC"):
        read_bytes(bytes(data), "x.mxl")
