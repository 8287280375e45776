"""Bytes of a MusicXML file to an element tree, read with every door shut.

The parser fetches nothing: no network, no external document type, no entity beyond the five
that XML predefines and character references. A document type line is accepted and ignored,
because most exporters write one. Declared entities are refused: no exporter uses them, and
they are how a small file becomes a huge one.

Limits, all of them the parser's own: 256 nested elements, 10 million bytes in one text.

Sources: XML 1.0, 5th edition (predefined entities 4.6, detection of encodings appendix F);
MusicXML 4.0 (the two roots, ``score-partwise`` and ``score-timewise``).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final, TypeAlias, TypedDict, TypeVar, cast

from lxml import etree

from skeleton.errors import ScoreError
from skeleton.score.model import Notice

Element: TypeAlias = "etree._Element"  # noqa: SLF001  the only name lxml has for it
"""An element of the tree, for annotations."""

PartKey: TypeAlias = "Element | str | None"
"""What tells one part from another: its element, in a timewise file its id."""

PARTWISE: Final = "score-partwise"
TIMEWISE: Final = "score-timewise"

_LONGEST_TEXT: Final = 1000

HEAD_BYTES: Final = 65536
"""What is looked at to tell whether bytes are a score."""

_BLANK: Final = b" \t\r\n\0"
_DECLARED: Final = re.compile(rb"^<\?xml[^>]*?encoding\s*=\s*[\"']([A-Za-z0-9._-]+)[\"']")
_WRONG_BYTES: Final = re.compile(
    r"invalid bytes|not proper UTF-8|input conversion failed", re.IGNORECASE
)
_NAMESPACE: Final = re.compile(r"^\{[^}]*\}")

_Result = TypeVar("_Result")


@dataclass(frozen=True, slots=True)
class PartSource:
    """The measures of one part: pairs of the element with the number and the one with music.

    In a partwise file both are the ``<measure>``; in a timewise file the second is the
    ``<part>`` inside it. No two parts of a file have the same ``key``.
    """

    key: PartKey
    id: str | None
    measures: list[tuple[Element, Element]]


def parse(data: bytes, name: str, *, remarks: bool = False) -> tuple[Element, tuple[Notice, ...]]:
    """Return the root of any well-formed XML, and what was odd about its bytes.

    Args:
        data: the file, in any encoding that XML allows.
        name: the file's name, for messages.
        remarks: keep comments, processing instructions and the white space between elements.

    Raises:
        ScoreError: empty, not XML, damaged, or with entities of its own.
    """
    root, notices = in_its_encoding(
        data,
        name,
        lambda text, encoding: etree.fromstring(
            text, etree.XMLParser(encoding=encoding, **parser_options(remarks=remarks))
        ),
    )
    refuse_entities(root, name)
    return root, notices


def in_its_encoding(
    data: bytes, name: str, work: Callable[[bytes, str | None], _Result]
) -> tuple[_Result, tuple[Notice, ...]]:
    """Parse bytes in the encoding they are in, whatever they say of it.

    Args:
        data: the file.
        name: its name, for messages.
        work: parses bytes in an encoding, or in the one that they declare where it is None; is
            called again where the bytes turn out to be in another one.

    Returns:
        What ``work`` returned, and what was odd about the bytes.

    Raises:
        ScoreError: empty, or ``work`` has met with what is no XML.
    """
    if not data[:4096].strip(_BLANK) and not data.strip(_BLANK):
        raise ScoreError(f"{name}: the file is empty; export the score again")
    text = data if data[:1] == b"<" else data.lstrip(b" \t\r\n")
    encoding = _true_encoding(text)
    try:
        return work(text, encoding), ()
    except etree.XMLSyntaxError as error:
        if encoding is not None or not _WRONG_BYTES.search(str(error)):
            raise ScoreError(_damage(name, data, error)) from None
        try:
            result = work(text, "windows-1252")
        except etree.XMLSyntaxError:
            raise ScoreError(_damage(name, data, error)) from None
    return result, (
        Notice("encoding", "the bytes do not fit the declared encoding; read as Windows-1252"),
    )


class ParserOptions(TypedDict):
    """What a parser of lxml is told."""

    resolve_entities: bool
    no_network: bool
    load_dtd: bool
    huge_tree: bool
    remove_comments: bool
    remove_pis: bool
    remove_blank_text: bool


def parser_options(*, remarks: bool = False) -> ParserOptions:
    """Return the options that shut every door; ``remarks`` as for :func:`parse`."""
    return {
        "resolve_entities": False,
        "no_network": True,
        "load_dtd": False,
        "huge_tree": False,
        "remove_comments": not remarks,
        "remove_pis": not remarks,
        "remove_blank_text": not remarks,
    }


def score_root(root: Element, name: str) -> Element:
    """Return the root of a score, with a namespace taken off where a file has one.

    Raises:
        ScoreError: the root is no MusicXML score; the message says what it is.
    """
    if root.tag not in (PARTWISE, TIMEWISE):
        tag = local_name(root)
        if tag in (PARTWISE, TIMEWISE):
            take_namespaces_off(root)
            return root
        if tag == "opus":
            raise ScoreError(
                f"{name}: this is an opus, a list of scores; give one of the scores it names"
            )
        if tag in ("html", "HTML"):
            raise ScoreError(f"{name}: this is a web page, no score; download the file itself")
        if tag in ("container", "sounds"):
            raise ScoreError(f"{name}: <{tag}> belongs beside a score; give the score itself")
        raise ScoreError(
            f"{name}: line {root.sourceline}: the root is <{tag[:60]}>, not <{PARTWISE}> or "
            f"<{TIMEWISE}>; export the score as MusicXML"
        )
    return root


def looks_like_score(data: bytes) -> bool:
    """Whether the bytes seem to hold a MusicXML score, without reading them to the end."""
    head = data[:HEAD_BYTES].replace(b"\0", b"")
    return b"<score-partwise" in head or b"<score-timewise" in head


def local_name(element: Element) -> str:
    """Return an element's name without its namespace."""
    return _NAMESPACE.sub("", str(element.tag))


def take_namespaces_off(element: Element) -> None:
    """Give an element and all inside it their names without namespaces."""
    for each in element.iter(etree.Element):
        each.tag = local_name(each)


def part_sources(root: Element) -> Iterator[PartSource]:
    """Yield the parts of a partwise or timewise score in their order, nothing copied."""
    if root.tag == PARTWISE:
        for part in root.iterchildren("part"):
            yield PartSource(
                part,
                part.get("id"),
                [(measure, measure) for measure in part.iterchildren("measure")],
            )
        return
    found: dict[str | None, PartSource] = {}
    for measure in root.iterchildren("measure"):
        for part in measure.iterchildren("part"):
            part_id = part.get("id")
            if part_id not in found:
                found[part_id] = PartSource(part_id, part_id, [])
            found[part_id].measures.append((measure, part))
    yield from found.values()


def text_of(element: Element | None) -> str | None:
    """Return an element's text with white space made single, None where there is none.

    What is longer than a name or a title ever is ends in an ellipsis.
    """
    if element is None:
        return None
    text = " ".join("".join(map(str, element.itertext())).split())
    return (text if len(text) <= _LONGEST_TEXT else f"{text[: _LONGEST_TEXT - 1]}…") or None


def _true_encoding(data: bytes) -> str | None:
    """Name the encoding where the declaration is missing or cannot be true, else None."""
    if data[:2] == b"<\0":
        return "UTF-16LE"
    if data[:2] == b"\0<":
        return "UTF-16BE"
    declared = _DECLARED.match(data[:200])
    if declared and declared[1].lower().startswith((b"utf-16", b"ucs-2", b"utf-32")):
        return "utf-8"  # were it true, the declaration could not be read as single bytes
    return None


def refuse_entities(root: Element, name: str) -> None:
    """Refuse a document that declares entities.

    Raises:
        ScoreError: it does.
    """
    subset = root.getroottree().docinfo.internalDTD
    if subset is not None and list(cast("Any", subset).iterentities()):
        raise ScoreError(f"{name}: {_ENTITIES}")


_ENTITIES: Final = (
    "the file declares entities of its own in its DOCTYPE, which are not read; "
    "remove them or export the score again"
)


def _damage(name: str, data: bytes, error: etree.XMLSyntaxError) -> str:
    reason = str(error.msg).split(", line ")[0].split("\n")[0][:200]
    line = error.lineno or 1
    if "entity" in reason.lower() and "not defined" not in reason:
        return f"{name}: line {line}: {_ENTITIES}"
    head = data[:400].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if head.startswith((b"<!doctype html", b"<html")):
        return f"{name}: this is a web page, no score; download the file itself"
    if "Excessive depth" in reason:
        return f"{name}: line {line}: elements are nested deeper than any score; export it again"
    if not head.replace(b"\0", b"").startswith((b"<", b"\xff\xfe<", b"\xfe\xff<")):
        return f"{name}: this is not MusicXML and no other format that is known; export it again"
    if looks_like_score(data) and b"</score-" not in data[-400:].replace(b"\0", b""):
        return f"{name}: line {line}: the file ends too early ({reason}); get it again"
    return f"{name}: line {line}: not well-formed XML ({reason}); export the score again"
