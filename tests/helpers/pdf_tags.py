"""The tags of a PDF, as pypdf reads them."""

from __future__ import annotations

import re

from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject


def structure(reader: PdfReader) -> dict[str, list]:
    """Elements of the structure tree by kind: ``/H1``, ``/Figure``..."""
    kinds: dict[str, list] = {}
    waiting = [reader.trailer["/Root"]["/StructTreeRoot"]]
    while waiting:
        one = waiting.pop().get_object()
        if isinstance(one, ArrayObject):
            waiting += list(one)
        elif isinstance(one, DictionaryObject):
            kinds.setdefault(one.get("/S"), []).append(one)
            waiting += [one["/K"]] if "/K" in one else []
    return kinds


def check_tagged(reader: PdfReader) -> list[str]:
    """Assert what ISO 14289-1 (PDF/UA) asks of the file; return the figures' alt texts.

    Marked, a language, a title to show, pdfuaid:part 1, headings and tables as such, an alt text
    on every figure.
    """
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    metadata = root["/Metadata"].get_object().get_data().decode()
    assert re.search(r"pdfuaid:part[>=\"]+1", metadata)
    kinds = structure(reader)
    assert {"/H1", "/H2", "/Table", "/TH", "/Figure"} <= kinds.keys()
    alts = [str(figure.get("/Alt", "")) for figure in kinds["/Figure"]]
    assert all(alts)
    return alts
