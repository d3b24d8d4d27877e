"""Brings a store file to this version: each step and its number commit together, after a verified copy."""

import sqlite3
from importlib.resources import files
from pathlib import Path

from shared.errors import NewerStoreError, StoreError

STEPS: tuple[str, ...] = (files("shared.store").joinpath("schema.sql").read_text(),)
"""SQL that leads from version n to n + 1; a released step is never edited."""

APPLICATION_ID = 0x4C_41_4E_54
"""Marks the file as ours ("LANT"), so that no other SQLite file is taken for a store."""


def migrate(connection: sqlite3.Connection, path: Path) -> None:
    """Bring the file behind `connection` to the newest version.

    Raises:
        NewerStoreError: it is newer than this program; nothing was touched.
        StoreError: it is some other program's file, or the copy could not be verified.
    """
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > len(STEPS):
        raise NewerStoreError(
            f"{path} is of version {version}, this Lantern knows {len(STEPS)}; install the newer Lantern"
        )
    if version == 0:
        if connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
            raise StoreError(f"{path} holds something that is not Lantern's; choose another store file")
    elif connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise StoreError(f"{path} is another program's file; choose another store file")
    elif version < len(STEPS):
        _copy(connection, path.with_suffix(f".before-{version + 1}{path.suffix}"))
    for number, step in enumerate(STEPS[version:], version + 1):
        connection.executescript(
            f"BEGIN IMMEDIATE; {step}; PRAGMA user_version = {number};"
            f" PRAGMA application_id = {APPLICATION_ID}; COMMIT;"
        )


def _copy(connection: sqlite3.Connection, target: Path) -> None:
    target.unlink(missing_ok=True)
    connection.execute("VACUUM INTO ?", (str(target),))
    with sqlite3.connect(target) as copy:
        verdict = copy.execute("PRAGMA quick_check").fetchone()[0]
    copy.close()
    if verdict != "ok":
        raise StoreError(f"the copy before migration is damaged ({verdict}); nothing was changed")
