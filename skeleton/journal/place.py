"""Where a journal lies when nobody says: in the user's folder for data of programs.

``$XDG_DATA_HOME`` or ``~/.local/share`` on Unix (XDG Base Directory Specification),
``~/Library/Application Support`` on macOS, ``%LOCALAPPDATA%`` on Windows; from memory. A variable
that holds no absolute path is passed over, as that specification asks.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

FOLDER = "etude-skeleton"
FILE = "journal.sqlite"


def default_journal(
    environment: Mapping[str, str] | None = None, platform: str = sys.platform
) -> Path:
    """Return the path of the user's own journal, whether it is there or not."""
    variables = os.environ if environment is None else environment
    if platform == "win32":
        given, otherwise = variables.get("LOCALAPPDATA"), Path.home() / "AppData" / "Local"
    elif platform == "darwin":
        given, otherwise = None, Path.home() / "Library" / "Application Support"
    else:
        given, otherwise = variables.get("XDG_DATA_HOME"), Path.home() / ".local" / "share"
    base = Path(given) if given and Path(given).is_absolute() else otherwise
    return base / FOLDER / FILE
