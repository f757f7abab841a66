"""The tables of the journal, made and changed by migrations that the file itself records."""

from __future__ import annotations

from typing import Final

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

APPLICATION_ID: Final = 0x5F1ED06
"""Written into the file's header, so that another program's database is told from a journal."""

MIGRATIONS: Final = Migrations("journal")


@MIGRATIONS()
def m001_sessions_and_events(db: Database) -> None:
    """Make the tables: sessions with their packs, and their events in order."""
    db.create_table(
        "sessions",
        {
            "id": str,
            "started_at": str,
            "patient_code": str,
            "pack_name": str,
            "pack_text": str,
            "rows": int,
            "ended": int,
        },
        pk="id",
        not_null={"started_at", "pack_name", "pack_text", "rows", "ended"},
        defaults={"rows": 0, "ended": 0},
        strict=True,
    )
    db.create_table(
        "events",
        {
            "session_id": str,
            "number": int,
            "kind": str,
            "version": int,
            "data": str,
            "digest": str,
        },
        pk=("session_id", "number"),
        not_null={"kind", "version", "data", "digest"},
        foreign_keys=[("session_id", "sessions", "id")],
        strict=True,
    )


def is_newer(db: Database) -> bool:
    """Whether the file was changed by a migration that this version does not know."""
    known = {migration.name for migration in MIGRATIONS.pending(Database(memory=True))}
    return any(migration.name not in known for migration in MIGRATIONS.applied(db))
