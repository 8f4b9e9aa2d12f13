"""The nightly pass over everybody's required checks, flags and revisits, against the bare SQL that reads the same rows.

A hundred thousand appliances with a required check each and four visits behind it, in a database of its own that is
thrown away.
The peer, in the same run: every SELECT of the pass once more, its rows fetched by the driver alone. Nothing changed:
stored dates are held against calculated ones and nothing is written. Everything changed: each required check and each
revisit is
written. Linear: the time a required check at the full size over that at a quarter of it. Times are those of the
processor in
this process, in which SQLite works too: a neighbour on the machine then changes no ratio.
"""

import os
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import django
from django.conf import settings
from django.db import connection
from django.test.utils import setup_test_environment, teardown_test_environment

from tests.benchmarks.form import checked, table

APPLIANCES, VISITS_EACH, A_BUILDING = 100_000, 4, 10
NOW = datetime(2026, 3, 2, 2, 0, tzinfo=UTC)
GOAL_UNCHANGED, GOAL_CHANGED, GOAL_LINEAR = 15.0, 40.0, 1.3
ANSWERED = ["visit_date", "appliance_id", "technician", "o2", "co2", "co", "ambient_co_entry", "ambient_co_max",
            "disposition", "fuel", "flue_temp", "air_temp", "efficiency_loss", "phase", "firing_rate", "reading_time",
            "adjustments", "parts_cleaning", "restoration", "technician_signature", "analyser_id"]  # fmt: skip


def figures(appliances: int = APPLIANCES) -> list[dict[str, Any]]:
    with _own_database():
        _fill(0, appliances // 4)
        quarter_s, _read = _pass()
        quarter_s, _read = _pass()
        _fill(appliances // 4, appliances)
        _pass()
        unchanged_s, selects = _pass()
        bare_s = min(_replayed(selects) for _round in range(3))
        _forget()
        changed_s, _read = _pass()
    return [
        _times("required_checks.nightly_unchanged", unchanged_s, bare_s, GOAL_UNCHANGED),
        _times("required_checks.nightly_all_changed", changed_s, bare_s, GOAL_CHANGED),
        checked(
            {"name": "required_checks.nightly_bare_sql", "value": bare_s, "unit": f"s for {appliances} required checks"}
        ),
        checked(
            {
                "name": "required_checks.nightly_linear",
                "value": unchanged_s / (4 * quarter_s),
                "unit": "times the time a required check at a quarter of the size",
                "goal": f"at most {GOAL_LINEAR}",
                "met": unchanged_s / (4 * quarter_s) <= GOAL_LINEAR,
            }
        ),
    ]


def _times(name: str, took_s: float, bare_s: float, goal: float) -> dict[str, Any]:
    return checked(
        {
            "name": name,
            "value": took_s,
            "unit": "s",
            "ratio_to": "the bare SQL that reads the same rows",
            "ratio": bare_s / took_s,
            "goal": f"at most {goal:g} times the bare SQL",
            "met": took_s <= goal * bare_s,
        }
    )


def _pass() -> tuple[float, list[tuple[str, Any]]]:
    """Seconds that the pass took, and the SELECTs that it asked."""
    from fleet.assess.appliances import everybody_in_shards
    from fleet.services.revisits import propose_revisits

    selects: list[tuple[str, Any]] = []

    def note(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        if sql.startswith("SELECT"):
            selects.append((sql, params))
        return execute(sql, params, many, context)

    begun = time.process_time()
    with connection.execute_wrapper(note):
        for some in everybody_in_shards():
            propose_revisits(appliances=some, now=NOW)
    return time.process_time() - begun, selects


def _replayed(selects: list[tuple[str, Any]]) -> float:
    begun = time.process_time()
    with connection.cursor() as cursor:
        for sql, params in selects:
            cursor.execute(sql, params)
            cursor.fetchall()
    return time.process_time() - begun


def _forget() -> None:
    from fleet.models import RequiredCheck, Revisit

    RequiredCheck.objects.update(due=None, words="", last_done=None)
    Revisit.objects.all().delete()


@contextmanager
def _own_database() -> Iterator[None]:
    """A database file of its own, brought to today's tables; what is configured is not touched."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    django.setup()
    with tempfile.TemporaryDirectory() as folder:
        name = settings.DATABASES["default"]["NAME"]
        connection.settings_dict.setdefault("TEST", {})["NAME"] = str(Path(folder) / "bench.sqlite3")
        setup_test_environment(debug=False)
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        try:
            yield
        finally:
            connection.creation.destroy_test_db(name, verbosity=0)
            teardown_test_environment()


def _fill(first: int, last: int) -> None:
    """Rows that the pass reads; it never opens the records behind them, so there are none."""
    from fleet.models import Appliance, Building, Client, Contractor, RequiredCheck, User, VisitCheck
    from fleet.models.register import new_id

    user = User.objects.get_or_create(username="bench", defaults={"role": "manager", "last_name": "Bench"})[0]
    Contractor.objects.get_or_create(id=1, defaults={"name": "Bench"})
    sheet = _sheet()
    client = Client.objects.create(name=f"Client {first}", address="1 Test Lane")
    for start in range(first, last, 5000):
        numbers = range(start, min(start + 5000, last))
        buildings = [_building(client, n) for n in numbers if n % A_BUILDING == 0]
        Building.objects.bulk_create(buildings)
        appliances = [
            Appliance(building=buildings[(n - start) // A_BUILDING], sheet=sheet, name=f"Boiler {n}", serial=f"S-{n}",
                      in_service_from=date(2015, 1, 1))
            for n in numbers
        ]  # fmt: skip
        Appliance.objects.bulk_create(appliances)
        required_checks = [
            RequiredCheck(appliance=each, name="Yearly check", source="contract", rule=_rule(n),
                 rule_since=date(2020, 1, 1), since=date(2020, 1, 1), why="signed", decided_by=user,
                 required_fields="plain")
            for n, each in enumerate(appliances)
        ]  # fmt: skip
        RequiredCheck.objects.bulk_create(required_checks)
        checks = [
            VisitCheck(visit_id=new_id(), appliance=each, local_date=_day(n, visit), counts=True, answered=ANSWERED,
                       conditions=[], used={"fuel_kind": "gas"}, made_with=1)
            for n, each in enumerate(appliances)
            for visit in range(VISITS_EACH)
        ]  # fmt: skip
        with connection.constraint_checks_disabled():
            VisitCheck.objects.bulk_create(checks, batch_size=2000)


def _building(client: Any, number: int) -> Any:
    from fleet.models import Building

    return Building(client=client, name=f"House {number}", address="1 Test Lane", time_zone="Europe/Lisbon")


def _sheet() -> Any:
    from fleet.models import ModelSheet

    return ModelSheet.objects.get_or_create(name="Bench sheet")[0]


def _rule(number: int) -> dict[str, Any]:
    kinds = (
        {"type": "max_months", "months": 12},
        {"type": "corresponding_date_keep", "months": 12, "early_window_months": 2},
        {"type": "calendar_years", "every": 3, "variants": [{"select": {"age_years_gt": 12}, "every": 2}]},
    )
    return kinds[number % len(kinds)]


def _day(number: int, visit: int) -> date:
    return date(2022, 1, 5) + timedelta(days=365 * visit + number % 300)


if __name__ == "__main__":
    print(table(figures()))
