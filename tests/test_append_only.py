"""The triggers are made once and looked for at every start, and their absence is said."""

from collections.abc import Iterator

import pytest
from django.db import OperationalError, connection

from fleet import append_only

SQLITE = ["fleet_record_no_update", "fleet_record_no_delete", "fleet_record_no_replace"]


def drop(name: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}")


@pytest.fixture
def sqlite(installation: object) -> Iterator[None]:
    if connection.vendor != "sqlite":
        pytest.skip("by the names of SQLite's triggers")
    yield


@pytest.mark.parametrize("name", SQLITE)
def test_each_absent_trigger_is_named_with_what_to_do(sqlite: None, name: str) -> None:
    drop(name)
    (fault,) = append_only.check_triggers(databases=["default"])
    assert (fault.id, fault.is_serious()) == ("fleet.E001", True)
    assert name in fault.msg and "migrate" in str(fault.hint)
    assert not any(other in fault.msg for other in SQLITE if other != name)


def test_to_install_again_puts_back_what_is_absent_and_leaves_the_rest(sqlite: None) -> None:
    append_only.install(connection)
    drop(SQLITE[0])
    drop(SQLITE[2])
    assert append_only.missing(connection) == [SQLITE[0], SQLITE[2]]
    append_only.install(connection)
    assert append_only.missing(connection) == []


def test_after_a_migration_it_is_installed_only_where_one_is_absent(
    sqlite: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The application's own role may not make triggers, and needn't."""
    installed: list[str] = []
    monkeypatch.setattr(append_only, "install", lambda on: installed.append(on.alias))
    append_only.install_after_migrating(using="default")
    assert installed == []
    drop(SQLITE[1])
    append_only.install_after_migrating(using="default")
    assert installed == ["default"]


def test_before_the_table_is_there_nothing_is_asked_for(sqlite: None, monkeypatch: pytest.MonkeyPatch) -> None:
    drop(SQLITE[0])
    monkeypatch.setattr(append_only, "TABLES", ("fleet_record", "fleet_not_there"))
    append_only.install_after_migrating(using="default")
    assert append_only.check_triggers(databases=["default"]) == []
    assert append_only.check_triggers(databases=None) == []


def test_a_database_that_cannot_be_asked_is_a_fault_of_its_own(sqlite: None, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(_connection: object) -> list[str]:
        raise OperationalError("no such database")

    monkeypatch.setattr(append_only, "missing", refuses)
    (fault,) = append_only.check_triggers(databases=["default"])
    assert fault.id == "fleet.E002" and "no such database" in fault.msg


def test_the_script_is_cut_into_whole_statements_for_sqlite_and_sent_whole_to_postgresql() -> None:
    parts = append_only._statements(append_only._SQLITE.format(table="t"), "sqlite")
    assert [part.split()[:6][-1] for part in parts] == ["t_no_update", "t_no_delete", "t_no_replace"]
    assert all(part.count("BEGIN") == part.count("END;") == 1 for part in parts)
    script = append_only._POSTGRESQL.format(table="t")
    assert append_only._statements(script, "postgresql") == [script]


def test_both_scripts_make_every_trigger_that_is_looked_for() -> None:
    scripts = {"sqlite": append_only._SQLITE, "postgresql": append_only._POSTGRESQL}
    for vendor, (_query, suffixes) in append_only._EXPECTED.items():
        assert all(f"{{table}}_{each} BEFORE " in scripts[vendor] for each in suffixes)
    # Left plain, a trigger on PostgreSQL sleeps through a replica's session.
    for each in append_only._EXPECTED["postgresql"][1]:
        assert f"ENABLE ALWAYS TRIGGER {{table}}_{each};" in scripts["postgresql"]
