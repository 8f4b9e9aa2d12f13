"""The same code on PostgreSQL: one visit by eight threads is stored once; the services hold; roles stand apart."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from tests import servers
from tests.needs import needs_program


@pytest.fixture(scope="module")
def database() -> Iterator[str]:
    needs_program("postgres")
    with servers.postgresql() as address:
        yield address


@pytest.fixture(scope="module")
def migrated(database: str, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Name of a database with the tables, to be copied: making them takes longer than most tests."""
    ran = program(["manage.py", "migrate"], fresh(database, "migrated"), tmp_path_factory.mktemp("migrated"))
    assert ran.returncode == 0, ran.stderr[-3000:]
    return "migrated"


def fresh(database: str, name: str, template: str = "template1") -> str:
    """A database of its own in the same cluster."""
    server, _slash, _name = database.rpartition("/")
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {template}".encode())
    return f"{server}/{name}"


def program(arguments: list[str], database: str, folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"FLEET_DATABASE_URL": database, "FLEET_VAR_DIR": str(folder)} | more
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=servers.REPOSITORY, env=environment, capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip


def test_the_same_visit_by_eight_threads_at_once_is_stored_once(database: str, migrated: str, tmp_path: Path) -> None:
    ran = program(["-m", "tests.served.eight_threads"], fresh(database, "threads", migrated), tmp_path)
    assert ran.returncode == 0, ran.stderr[-3000:]
    said = json.loads(ran.stdout.splitlines()[-1])
    assert said["vendor"] == "postgresql"
    assert said["stored"] == [1, 1, 4], ran.stdout[-3000:]
    assert sorted(status for status, _id in said["answers"]) == [200] * 7 + [201]
    assert len({visit for _status, visit in said["answers"]}) == 1


def test_of_the_last_two_managers_who_end_one_another_at_once_one_stays(
    database: str, migrated: str, tmp_path: Path
) -> None:
    addresses = {"postgresql": fresh(database, "managers", migrated), "sqlite": f"sqlite:///{tmp_path / 'two.sqlite3'}"}
    for vendor, address in addresses.items():
        ran = program(["-m", "tests.served.two_managers"], address, tmp_path)
        assert ran.returncode == 0, ran.stderr[-3000:]
        said = json.loads(ran.stdout.splitlines()[-1])
        assert said["vendor"] == vendor
        assert said["outcomes"] == [["ended", "last_manager", "1"]] * 8


def test_work_that_is_asked_for_while_it_is_taken_up_or_done_is_not_lost(
    database: str, migrated: str, tmp_path: Path
) -> None:
    """Either its run waits for what it is asked for, or it waits to be run again."""
    ran = program(["-m", "tests.served.asked_meanwhile"], fresh(database, "asked", migrated), tmp_path)
    assert ran.returncode == 0, ran.stderr[-3000:]
    said = json.loads(ran.stdout.splitlines()[-1])
    assert said.pop("vendor") == "postgresql"
    saw_it, waits_again = [True, 0], [False, 1]
    assert said == {
        "one, before it is taken up": saw_it,
        "one, just before it is done": waits_again,
        "many, before it is taken up": saw_it,
        "many, just before it is done": waits_again,
    }


def test_who_moves_in_while_a_check_comes_in_or_its_record_is_sent_has_the_newest_one(
    database: str, migrated: str, tmp_path: Path
) -> None:
    """Whoever comes second waits and sees the first; nothing fails but a sending of what is no longer the newest."""
    ran = program(["-m", "tests.served.moving_in"], fresh(database, "moving_in", migrated), tmp_path)
    assert ran.returncode == 0, ran.stderr[-3000:]
    said = json.loads(ran.stdout.splitlines()[-1])
    assert said.pop("vendor") == "postgresql"
    newest_waits = ["2026-03-30", False]
    assert said == {
        "a check, then it begins": [newest_waits, "well"],
        "it begins, then a check": [newest_waits, "well"],
        "a check, then it is sent": [newest_waits, "changed_meanwhile"],
        "it is sent, then a check": [newest_waits, "well"],
        "it is sent, then called off": [["2026-03-02", True], "well"],
    }


# What leans on the database itself: claims and locks, triggers, upserts of many rows, JSON. `make journeys` runs all.
SAMPLE = ("days", "required_checks", "flags", "forecasts_of_many", "jobs", "records", "tenancies", "visits")
SERVICES = [f"tests/services/test_{each}.py" for each in SAMPLE]


def test_the_services_hold_on_postgresql(database: str, tmp_path: Path) -> None:
    files = ["tests/services"] if os.environ.get("FLEET_TEST_JOURNEYS") == "full" else SERVICES
    arguments = ["-m", "pytest", *files, "-q", "-x", "-p", "no:xdist"]
    ran = program(arguments, fresh(database, "services"), tmp_path)
    assert ran.returncode == 0, ran.stdout[-3000:]
    assert " passed" in ran.stdout or "100%" in ran.stdout


def test_the_applications_role_may_append_records_and_alter_nothing(database: str, tmp_path: Path) -> None:
    address = fresh(database, "roles")
    ran = program(
        ["manage.py", "migrate_as_owner"], address, tmp_path,
        FLEET_DATABASE_OWNER_URL=address, FLEET_APP_ROLE="fleet_app", FLEET_APP_ROLE_PASSWORD="of-a-test",
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-3000:]
    own = address.replace("owner@", "fleet_app:of-a-test@")
    again = program(["manage.py", "migrate"], own, tmp_path)
    assert again.returncode == 0, again.stderr[-3000:]
    with psycopg.connect(own, autocommit=True) as connection:
        connection.execute("SELECT count(*) FROM fleet_record")
        for refused in (
            "UPDATE fleet_record SET kind = ''",
            "TRUNCATE fleet_record CASCADE",
            "ALTER TABLE fleet_record DISABLE TRIGGER ALL",
            "DROP TRIGGER fleet_record_no_update ON fleet_record",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                connection.execute(refused)
