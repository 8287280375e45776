"""For all tests: published values, the schema of MusicXML, and that long ones wait to be asked."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest
from lxml import etree

TABLES = Path(__file__).resolve().parent / "tables"


@pytest.fixture(scope="session")
def table():
    """Read a table of tests/tables as a list of rows, each a dict of strings by column."""

    def read(name: str, rows: int) -> list[dict[str, str]]:
        lines = (TABLES / name).read_text(encoding="utf-8").splitlines()
        columns, *data = [line.split("\t") for line in lines if not line.startswith("#")]
        # The count is asked for so that a table cut short fails instead of checking less.
        assert len(data) == rows
        return [dict(zip(columns, row, strict=True)) for row in data]

    return read


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what takes minutes, unless the command line speaks of it: ``-m corpus``."""
    for mark in ("corpus", "long"):
        if mark in config.option.markexpr:
            continue
        skip = pytest.mark.skip(reason=f"takes minutes; select with -m {mark}")
        for item in items:
            if item.get_closest_marker(mark) is not None:
                item.add_marker(skip)


# --- the schema of MusicXML

_XLINK_NAMES = ("href", "type", "role", "title", "show", "actuate")
_IMPORTED = {
    "xlink.xsd": ("http://www.w3.org/1999/xlink", _XLINK_NAMES),
    "xml.xsd": ("http://www.w3.org/XML/1998/namespace", ("lang", "space")),
}


class _Offline(etree.Resolver):
    """Stands in for the two schemas that MusicXML's imports by address: their attributes."""

    def resolve(self, system_url, public_id, context):  # noqa: ARG002
        name = system_url.rpartition("/")[2]
        if name not in _IMPORTED:
            return None
        space, attributes = _IMPORTED[name]
        rows = "".join(f'<xs:attribute name="{one}" type="xs:string"/>' for one in attributes)
        return self.resolve_string(
            f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{space}">'
            f"{rows}</xs:schema>",
            context,
        )


@pytest.fixture(scope="session")
def musicxml_schema() -> etree.XMLSchema:
    """MusicXML 4.0 (W3C Community Group), from the package ``musicxml``; no network."""
    spec = importlib.util.find_spec("musicxml")
    assert spec is not None
    assert spec.origin is not None
    (path,) = Path(spec.origin).parent.rglob("musicxml_4_0.xsd")
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Offline())
    return etree.XMLSchema(etree.parse(str(path), parser))
