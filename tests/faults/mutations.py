"""Ways to spoil a file: byte by byte, value by value, element by element.

Each takes the bytes of a good file and a seeded :class:`random.Random`; the same seed spoils in
the same way. What comes out may still be good, odd, or nothing at all.
"""

from __future__ import annotations

import copy
import io
import json
import re
import zipfile
import zlib
from collections.abc import Callable, Sequence
from random import Random

from lxml import etree

Mutation = Callable[[bytes, Random], bytes]

NUMBERS = (
    "0", "-1", "1", "2", "-0", "0.0000001", "1e9", "1e400", "-1e400", "NaN", "nan", "inf",
    "-Infinity", "99999999999999999999", "-99999999999999999999", "9" * 400, "9" * 5000,
    "2147483648", "1/0", "1/3", "999983", "0x10", "1_000", "\u0663", "1,5", "", " ",
)  # fmt: skip
"""What stands where a number should: huge, negative, none at all, written otherwise."""

TEXTS = (
    "", " ", "x" * 5000, "\u202egnp.exe", "\u0085\u2028\u2029", "\x7f\x9b31m", "<b>", "&amp;",
    "]]>", "=1+1", "\ud7ff\ufffd", "\U0001d11e", "a\nb\tc", "null", "true", "[]", "{}",
    "../../x", "%s{0}",
)  # fmt: skip
"""What stands where a text should."""

_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")
_WORD = re.compile(rb"[A-Za-z][A-Za-z0-9_-]*")
_QUOTED = re.compile(rb'"[^"\n]*"')


def bytes_changed(data: bytes, random: Random) -> bytes:
    """Flip, cut, repeat, overwrite: knows nothing of the format."""
    out = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 5, 20))):
        if not out:
            return b""
        at = random.randrange(len(out))
        length = min(random.choice((1, 2, 4, 16, 256)), len(out) - at)
        way = random.randrange(7)
        if way == 0:
            out[at] ^= 1 << random.randrange(8)
        elif way == 1:
            out[at] = random.choice((0, 1, 0x7F, 0x80, 0xFF, 0x22, 0x3C))
        elif way == 2:
            del out[at : at + length]
        elif way == 3:
            out[at:at] = out[at : at + length]
        elif way == 4:
            out[at : at + length] = random.choice((b"\x00", b"\xff", b"\x7f")) * length
        elif way == 5:
            other = random.randrange(len(out))
            out[at : at + length] = out[other : other + length]
        else:
            del out[random.randrange(len(out)) :]
    return bytes(out)


def values_changed(data: bytes, random: Random) -> bytes:
    """Put something else in the place of numbers, words and quoted texts."""
    for _ in range(random.choice((1, 1, 2, 4))):
        pattern, pool = random.choice(
            ((_NUMBER, NUMBERS), (_WORD, None), (_QUOTED, TEXTS), (_QUOTED, NUMBERS))
        )
        found = list(pattern.finditer(data))
        if not found:
            continue
        place = random.choice(found)
        if pool is None:
            new = random.choice(found)[0]
        else:
            new = random.choice(pool).encode("utf-8")
            if pattern is _QUOTED:
                new = b'"' + new + b'"'
        data = data[: place.start()] + new + data[place.end() :]
    return data


def lines_changed(data: bytes, random: Random) -> bytes:
    """Delete, repeat, swap lines."""
    lines = data.splitlines(keepends=True)
    for _ in range(random.choice((1, 2, 3))):
        if not lines:
            return b""
        at, other = random.randrange(len(lines)), random.randrange(len(lines))
        way = random.randrange(4)
        if way == 0:
            del lines[at]
        elif way == 1:
            lines.insert(at, lines[other])
        elif way == 2:
            lines[at], lines[other] = lines[other], lines[at]
        else:
            lines[at] = lines[at].rstrip(b"\r\n") + lines[other]
    return b"".join(lines)


def elements_changed(data: bytes, random: Random) -> bytes:
    """Delete, repeat, move, rename elements of XML; change their texts and attributes."""
    try:
        root = etree.fromstring(data, etree.XMLParser(resolve_entities=False, no_network=True))
    except etree.XMLSyntaxError:
        return bytes_changed(data, random)
    for _ in range(random.choice((1, 1, 2, 4, 8))):
        elements = [one for one in root.iter(etree.Element) if one is not root]
        if not elements:
            break
        one, other = random.choice(elements), random.choice(elements)
        _change(one, other, random)
    return etree.tostring(root, encoding=random.choice(("UTF-8", "UTF-8", "UTF-16", "ISO-8859-1")))


def _change(one: etree._Element, other: etree._Element, random: Random) -> None:
    parent = one.getparent()
    way = random.randrange(10)
    if way == 0:
        parent.remove(one)
    elif way == 1:
        parent.insert(parent.index(one), copy.deepcopy(one))
    elif way == 2:
        one.tag, other.tag = other.tag, one.tag
    elif way == 3:
        other.append(copy.deepcopy(one))
    elif way == 4:
        parent.insert(random.randrange(len(parent) + 1), copy.deepcopy(other))
    elif way in (5, 6):
        one.text = random.choice(NUMBERS)
    elif way == 7:
        one.text = _xml_text(random.choice(TEXTS))
    elif one.attrib and way == 8:
        name = random.choice(list(one.attrib))
        one.set(name, _xml_text(random.choice((*NUMBERS, *TEXTS))))
    elif other.attrib:
        name = random.choice(list(other.attrib))
        one.set(name, other.get(name))


def _xml_text(text: str) -> str:
    """The text without what XML 1.0 cannot hold (production 2, Char)."""
    return "".join(c for c in text if c in "\t\n\r" or ord(c) >= 0x20)


def json_changed(data: bytes, random: Random) -> bytes:
    """Change values, keys and lists of JSON; of one line of it, where it comes in lines."""
    lines = data.split(b"\n")
    at = random.randrange(len(lines))
    try:
        tree = json.loads(data)
        several = False
    except ValueError:
        several = True
        try:
            tree = json.loads(lines[at])
        except ValueError:
            return values_changed(data, random)
    for _ in range(random.choice((1, 1, 2, 4))):
        tree = _changed_json(tree, random)
    text = json.dumps(tree, ensure_ascii=random.random() < 0.5).encode("utf-8", "surrogatepass")
    if not several:
        return text
    lines[at] = text
    return b"\n".join(lines)


def _changed_json(tree: object, random: Random) -> object:
    places: list[tuple[dict | list, object]] = []
    waiting = [tree]
    while waiting:
        one = waiting.pop()
        inside = one.items() if isinstance(one, dict) else enumerate(one) if isinstance(
            one, list) else ()  # fmt: skip
        for key, value in inside:
            places.append((one, key))
            waiting.append(value)
    if not places:
        return random.choice((None, [], {}, 1))
    holder, key = random.choice(places)
    way = random.randrange(8)
    if way == 0:
        del holder[key]
    elif way == 1 and isinstance(holder, list):
        holder.append(copy.deepcopy(holder[key]))
    elif way == 2:
        other, name = random.choice(places)
        if name in other if isinstance(other, dict) else name < len(other):
            holder[key] = copy.deepcopy(other[name])
    else:
        holder[key] = random.choice(
            (None, True, [], {}, 0, -1, 1e308, float("nan"), float("inf"), 10**400, -(10**30), 2.5,
             *TEXTS, *NUMBERS, "\ud800", [[[]]], {"": {}})
        )  # fmt: skip
    return tree


def zip_changed(data: bytes, random: Random) -> bytes:
    """Spoil a zip archive: its bytes, or what one of its members holds."""
    if random.random() < 0.5:
        return bytes_changed(data, random)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = [(name, archive.read(name)) for name in archive.namelist()]
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, EOFError, ValueError,
            zlib.error):  # fmt: skip
        return bytes_changed(data, random)
    if not members:
        return bytes_changed(data, random)
    at = random.randrange(len(members))
    members[at] = (members[at][0], elements_changed(members[at][1], random))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", random.choice((0, 8))) as archive:
        for name, inside in members:
            archive.writestr(name, inside)
    return out.getvalue()


def one_of(*ways: Mutation) -> Mutation:
    """Return a mutation that is each time one of these, or several after one another."""

    def change(data: bytes, random: Random) -> bytes:
        for _ in range(random.choice((1, 1, 1, 2, 3))):
            data = random.choice(ways)(data, random)
        return data

    return change


def spoiled(seeds: Sequence[bytes], way: Mutation, number: int) -> bytes:
    """Return the spoiled file of this number: of one of the seeds, the same every time."""
    random = Random(number)
    return way(random.choice(seeds), random)
