"""An SQLite file opened as a journal: its settings, its transactions, its errors in words."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from skeleton.errors import JournalError
from skeleton.journal.schema import migrate

WAIT_S: Final = 30.0
"""How long a process waits for another that writes."""


def open_connection(path: Path) -> sqlite3.Connection:
    """Open or make the file, bring it to this version, and make its commits durable.

    Raises:
        JournalError: it cannot be opened, is no journal, or is damaged.
    """
    with told(path):
        # A folder made for it is nobody else's to read: it is about people.
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        connection = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
        try:
            # A file of another program is refused here, before anything of it is changed.
            migrate(connection, str(path))
            _write_ahead(connection)
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA secure_delete = ON")
        except BaseException:
            connection.close()
            raise
        return connection


@contextmanager
def transaction(connection: sqlite3.Connection, *, writes: bool = True) -> Iterator[None]:
    """Do several changes as one, which is on disk when the block is left without an error.

    Inside another transaction it is part of that one. Where nothing ``writes``, it sees the
    journal as it was at its first question, and keeps nobody waiting.
    """
    inner = connection.in_transaction
    if inner:
        yield
        return
    connection.execute("BEGIN IMMEDIATE" if writes else "BEGIN")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite and the system say about the file into one line for a person."""
    try:
        yield
    except sqlite3.OperationalError as error:
        advice = {
            sqlite3.SQLITE_BUSY: "another program has been writing in it; try again",
            sqlite3.SQLITE_FULL: "the disk is full; make room and try again",
            sqlite3.SQLITE_READONLY: "it may not be written to; choose another with --journal",
            sqlite3.SQLITE_CANTOPEN: "it cannot be opened there; choose another with --journal",
        }.get(_primary(error), str(error))
        raise JournalError(f"{path}: {advice}") from error
    except sqlite3.DatabaseError as error:
        raise JournalError(
            f"{path}: is no journal, or damaged ({error}); bring back a backup, or choose another "
            "with --journal"
        ) from error
    except OSError as error:
        raise JournalError(
            f"{path}: {error.strerror or error}; choose another with --journal"
        ) from error


def _primary(error: sqlite3.Error) -> int:
    # The low byte of an extended result code is the code itself.
    return getattr(error, "sqlite_errorcode", 0) & 0xFF


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Turn write-ahead mode on; SQLite does not wait for others by itself here."""
    patient_until_s = time.monotonic() + WAIT_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if _primary(error) != sqlite3.SQLITE_BUSY or time.monotonic() > patient_until_s:
                raise
            time.sleep(0.02)
        else:
            return
