"""For all tests: published values, the schema of MusicXML, packaged scores; long ones wait."""

from __future__ import annotations

import functools
import importlib.util
from pathlib import Path

import hypothesis
import pytest
from lxml import etree

# How long an example takes says something about the machine, and nothing about the program.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")

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


# --- the packaged scores of the second reader

SPREAD = 107


@functools.cache
def _packaged_scores() -> tuple[Path, ...]:
    spec = importlib.util.find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    root = Path(spec.origin).parent
    return tuple(
        sorted(
            path
            for folder in ("corpus", "musicxml")
            for path in (root / folder).rglob("*")
            if path.suffix in {".xml", ".musicxml", ".mxl"}
        )
    )


@pytest.fixture(scope="session")
def packaged_scores() -> tuple[Path, ...]:
    """All MusicXML files that music21 packages: its corpus and its test suites."""
    return _packaged_scores()


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Give each test that asks for ``packaged_score`` all of them if marked, else a spread."""
    if "packaged_score" not in metafunc.fixturenames:
        return
    marked = metafunc.definition.get_closest_marker("corpus")
    files = _packaged_scores()[:: 1 if marked else SPREAD]
    metafunc.parametrize("packaged_score", files, ids=lambda path: path.name)


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
