"""A database that another line of migrations made is refused at every start: its rows mean something else here."""

from typing import Any

from django.core.checks import CheckMessage, Error
from django.core.management.base import CommandError
from django.db import DatabaseError, connections
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

HINT = (
    "Nothing in it was changed. Start with an empty database: name a new folder in FLEET_VAR_DIR, or an empty "
    "database in FLEET_DATABASE_URL. The old one stays readable by the program that made it."
)


def check_history(*, databases: list[str] | None = None, **_kwargs: Any) -> list[CheckMessage]:
    """Run before each migration and at start: every migration of ours that the database has had is one we know."""
    known = {name for app, name in MigrationLoader(None).disk_migrations if app == "fleet"}
    faults: list[CheckMessage] = []
    for alias in databases or []:
        try:
            applied = {
                name for app, name in MigrationRecorder(connections[alias]).applied_migrations() if app == "fleet"
            }
        except DatabaseError as bad:
            return [Error(f"the database can't be asked for its migrations: {bad}", id="fleet.E003")]
        if strange := sorted(applied - known):
            said = f"the database was made by another version of this program (it has had {', '.join(strange)})"
            faults.append(Error(said, hint=HINT, id="fleet.E004"))
    return faults


def refuse_unknown_history(alias: str) -> None:
    """Before a migration that another command runs: Django then leaves the checks out. Raises CommandError."""
    if faults := check_history(databases=[alias]):
        raise CommandError("\n".join(f"{each.msg}\n{each.hint or ''}" for each in faults))
