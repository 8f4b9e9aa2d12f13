"""A database that another line of migrations made is refused before anything in it is changed."""

import pytest
from django.core.management.base import CommandError
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder

from fleet import migration_history
from fleet.migration_history import check_history, refuse_unknown_history

pytestmark = pytest.mark.django_db


def had(app: str, *names: str) -> None:
    for name in names:
        MigrationRecorder(connection).record_applied(app, name)


def test_the_database_of_today_is_taken() -> None:
    assert check_history(databases=["default"]) == []
    refuse_unknown_history("default")


def test_each_migration_that_is_not_ours_is_named_with_what_to_do() -> None:
    had("fleet", "0044_former", "0002_older")
    (fault,) = check_history(databases=["default"])
    assert (fault.id, fault.is_serious()) == ("fleet.E004", True)
    assert "(it has had 0002_older, 0044_former)" in fault.msg
    assert "FLEET_VAR_DIR" in str(fault.hint) and "FLEET_DATABASE_URL" in str(fault.hint)


def test_migrations_of_libraries_are_not_ours_to_judge() -> None:
    had("knox", "0099_of_a_later_version")
    assert check_history(databases=["default"]) == []


def test_one_that_is_yet_to_come_is_no_fault() -> None:
    """A new version over an older database of the same line: it is migrated."""
    MigrationRecorder(connection).record_unapplied("fleet", "0001_house")
    assert check_history(databases=["default"]) == []


def test_a_command_that_migrates_stops_with_fault_and_hint_together() -> None:
    had("fleet", "0044_former")
    with pytest.raises(CommandError, match=r"0044_former(.|\n)*Nothing in it was changed"):
        refuse_unknown_history("default")


def test_no_database_named_is_none_asked() -> None:
    had("fleet", "0044_former")
    assert check_history() == []


def test_a_database_that_cannot_be_asked_is_a_fault_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    class Silent:
        def __init__(self, _connection: object) -> None:
            pass

        def applied_migrations(self) -> None:
            raise OperationalError("no such host")

    monkeypatch.setattr(migration_history, "MigrationRecorder", Silent)
    (fault,) = check_history(databases=["default"])
    assert fault.id == "fleet.E003" and "no such host" in fault.msg
