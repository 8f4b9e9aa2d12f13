"""Triggers that keep the records append-only in the database itself; the one place with SQL of a vendor.

SQLite rebuilds a table on some later migrations and drops its triggers on the way, so they are installed after
every migration and looked for at every start. On PostgreSQL they are ENABLE ALWAYS and guard TRUNCATE too.
"""

from typing import Any

from django.core.checks import CheckMessage, Error
from django.db import DatabaseError, connections
from django.db.backends.base.base import BaseDatabaseWrapper

TABLES = ("fleet_record", "fleet_auditentry")

_SQLITE = """
CREATE TRIGGER IF NOT EXISTS {table}_no_update BEFORE UPDATE ON {table}
BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END;
CREATE TRIGGER IF NOT EXISTS {table}_no_delete BEFORE DELETE ON {table}
BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END;
CREATE TRIGGER IF NOT EXISTS {table}_no_replace BEFORE INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END;
"""
_POSTGRESQL = """
CREATE OR REPLACE FUNCTION {table}_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{table} is append-only' USING ERRCODE = 'restrict_violation'; END $$;
CREATE OR REPLACE TRIGGER {table}_no_update BEFORE UPDATE OR DELETE ON {table}
FOR EACH ROW EXECUTE FUNCTION {table}_refuse();
CREATE OR REPLACE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table}
FOR EACH STATEMENT EXECUTE FUNCTION {table}_refuse();
ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_no_update;
ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_no_truncate;
"""
_EXPECTED = {
    "sqlite": ("SELECT name FROM sqlite_master WHERE type = 'trigger'", ("no_update", "no_delete", "no_replace")),
    "postgresql": ("SELECT tgname FROM pg_trigger WHERE tgenabled = 'A'", ("no_update", "no_truncate")),
}


def install(connection: BaseDatabaseWrapper) -> None:
    script = _SQLITE if connection.vendor == "sqlite" else _POSTGRESQL
    with connection.cursor() as cursor:
        for table in TABLES:
            for statement in _statements(script.format(table=table), connection.vendor):
                cursor.execute(statement)


def _statements(script: str, vendor: str) -> list[str]:
    if vendor == "postgresql":
        return [script]
    return [f"{part}END;" for part in script.split("END;") if part.strip()]


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of the triggers that should be there and aren't."""
    query, suffixes = _EXPECTED[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(query)
        present = {row[0] for row in cursor.fetchall()}
    return [name for table in TABLES for name in (f"{table}_{suffix}" for suffix in suffixes) if name not in present]


def install_after_migrating(*, using: str, plan: object = None, **_kwargs: Any) -> None:
    connection = connections[using]
    there = set(TABLES) <= set(connection.introspection.table_names())
    # Only where one is missing: the application's own role may not make triggers, and needn't.
    if there and missing(connection):
        install(connection)


def check_triggers(*, databases: list[str] | None = None, **_kwargs: Any) -> list[CheckMessage]:
    """Run by `check --database` and at start: the tables exist, so must their triggers."""
    faults: list[CheckMessage] = []
    for alias in databases or []:
        connection = connections[alias]
        try:
            tables = connection.introspection.table_names()
            absent = missing(connection) if set(TABLES) <= set(tables) else []
        except DatabaseError as bad:
            return [Error(f"the database can't be asked for its triggers: {bad}", id="fleet.E002")]
        if absent:
            hint = "Run migrate as the owner of the tables."
            faults.append(Error(f"append-only triggers missing: {', '.join(absent)}", hint=hint, id="fleet.E001"))
    return faults
