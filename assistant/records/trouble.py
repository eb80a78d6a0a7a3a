"""SQLite's troubles in plain words: what went wrong, where, and what to do."""

from __future__ import annotations

import sqlite3

from assistant.errors import RecordError


def said(error: sqlite3.Error, name: str, done: str) -> RecordError:
    """What went wrong, where, and what to do, in place of SQLite's own words."""
    # Extended codes carry the primary one in the low byte; Python's own errors have none.
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code == sqlite3.SQLITE_FULL:
        return RecordError(
            f"{name}: the disk is full, so this was not {done}; all that was confirmed before is "
            "kept. Free some space, then say it again"
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return RecordError(
            f"{name}: this file or its folder can't be written ({error}), so nothing new can be "
            "recorded; what is there is kept. Ask for the right to write there, or choose another "
            "folder with --data or THIRDHAND_DATA"
        )
    if code == sqlite3.SQLITE_NOTADB:
        return RecordError(
            f"{name}: this file is not a Thirdhand record; it is left as it is. Move it away, or "
            "choose another folder with --data or THIRDHAND_DATA"
        )
    if code == sqlite3.SQLITE_CORRUPT:
        return RecordError(
            f"{name}: this file is damaged ({error}). Before anything else copy it, and the file "
            "with -wal at the end of its name, to a safe place; then take the last export"
        )
    if code == sqlite3.SQLITE_IOERR:
        return RecordError(
            f"{name}: the disk didn't take this ({error}), so it was not {done}; all that was "
            "confirmed before is kept. See whether the disk is full, limited or pulled out, then "
            "say it again, or choose another folder with --data or THIRDHAND_DATA"
        )
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return RecordError(
            f"{name}: another program holds this file, so it can't be {done}; close that one, "
            "then try again"
        )
    return RecordError(f"{name}: the record can't be {done}: {error}")
