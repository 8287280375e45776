"""One etude for every file with the same music; another as soon as a note differs."""

from __future__ import annotations

from conftest_journal import PITCHES, document
