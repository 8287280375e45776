"""All packaged scores of the second reader through the main commands; ends in a table.

What a score is refused for must be one of the reasons below, each read by a person; every SVG
parses, and every MusicXML output is valid where its source is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import pytest
from lxml import etree

from skeleton.analysis.analyse import analyse
from skeleton.analysis.results import Analysis
from skeleton.errors import SkeletonError
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.lists.checklist import checklist
from skeleton.export.lists.checklist_data import checklist_csv, checklist_json
from skeleton.export.lists.checklist_text import checklist_text
from skeleton.export.lists.document import plain_text
from skeleton.export.lists.outline import outline_json
from skeleton.export.lists.outline_text import outline_document
from skeleton.export.views import VIEWS, View, musicxml, pictures
from skeleton.score.reading import read

REASONS: Final = ("no part with pitched notes; name a score that has one",)


@pytest.fixture(scope="module")
def engraver() -> Iterator[Engraver]:
    with Engraver() as running:
        yield running


def steps(
    found: Analysis, engraver: Engraver, check_valid: Callable[[bytes], None]
) -> dict[str, Callable[[], object]]:
    """What the commands make, by the words of the command line."""

    def picture(view: View) -> Callable[[], object]:
        def draw() -> object:
            drawn = pictures(found, view, engraver)
            for page in drawn.pages:
                assert etree.fromstring(page.encode()).tag == "{http://www.w3.org/2000/svg}svg"
            return drawn.notices

        return draw

    def file(view: View) -> Callable[[], object]:
        def write() -> object:
            data, notices = musicxml(found, view)
            check_valid(data)
            return notices

        return write

    commands = {"bare": "reduce", "neighbours": "reduce, neighbours", "all": "reduce, all"}
    made: dict[str, Callable[[], object]] = {
        "outline": lambda: plain_text(outline_document(found)) and (),
        "outline --json": lambda: outline_json(found) and (),
        "checklist": lambda: checklist_text(checklist(found)) and (),
        "checklist, data": lambda: (
            checklist_csv(checklist(found)) and checklist_json(checklist(found)) and ()
        ),
    }
    for view in VIEWS:
        name = commands.get(view, "annotate")
        made[f"{name} .svg"] = picture(view)
        made[f"{name} .musicxml"] = file(view)
    return made


def walk(
    path: Path,
    engraver: Engraver,
    schema: etree.XMLSchema,
    record: Callable[[str, object], None],
) -> None:
    """Take a score through all steps; record how each ended."""
    try:
        found = analyse(read(path))
    except SkeletonError as error:
        record("step read and analyse", reason(error))
        return
    notices = len(found.notices)
    record("step read and analyse", "with notices" if notices else "done")
    parser = etree.XMLParser(no_network=True, load_dtd=False, huge_tree=True)
    source_is_valid = schema.validate(etree.fromstring(found.score.source.data, parser))

    def check_valid(data: bytes) -> None:
        if not schema.validate(etree.fromstring(data, parser)):
            assert not source_is_valid, schema.error_log[0]

    for name, step in steps(found, engraver, check_valid).items():
        try:
            said = step()
        except SkeletonError as error:
            record(f"step {name}", reason(error))
        else:
            record(f"step {name}", "with notices" if said else "done")


def reason(error: SkeletonError) -> str:
    """Return the reason among those that were read by a person."""
    text = str(error)
    assert "\n" not in text
    for known in REASONS:
        if known in text:
            return f"refused: {known}"
    raise AssertionError(f"a reason that nobody has read: {text}")


def test_a_spread_of_the_scores(packaged_score, engraver, musicxml_schema, record_property):
    walk(packaged_score, engraver, musicxml_schema, record_property)


@pytest.mark.corpus
def test_every_score(packaged_score, engraver, musicxml_schema, record_property):
    walk(packaged_score, engraver, musicxml_schema, record_property)
