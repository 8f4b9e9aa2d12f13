"""Forecasts of many appliances: calculated before the lock is taken, in as many statements as those of a few."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.db.models import F
from django.test.utils import CaptureQueriesContext

from fleet.models import Analyser, Appliance, Contractor, Forecast, Person, Snapshot, User
from fleet.services import forecasts
from tests.cast import NOON, make_appliance, store, visit_body


def statements(appliances: list[Appliance]) -> list[str]:
    with CaptureQueriesContext(connection) as made:
        forecasts.refresh_forecasts(appliances=appliances, now=NOON)
    return [each["sql"] for each in made]


def test_many_take_as_many_statements_as_few(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    many = [boiler, *(make_appliance(boiler.building, boiler.sheet, f"Boiler {number}") for number in range(2, 7))]
    for each in many:
        for day in ("2025-03-02", "2026-03-02"):
            store(visit_body(each, person, analyser, day=day, left=("9.40", "9.10")), technician)
    loaded = list(Appliance.objects.select_related("building", "sheet").prefetch_related("sheet__versions"))
    forecasts.refresh_forecasts(appliances=loaded, now=NOON)
    few, all_of_them = statements(loaded[:2]), statements(loaded)
    gas = [each for each in all_of_them if "fleet_gassupply" in each]
    assert len(all_of_them) - len(gas) <= len(few)
    assert Forecast.objects.filter(lower__isnull=True).count() == 2 * len(many), "each read its newest visit's card"


@pytest.mark.parametrize("what", ["visit", "choices", "snapshot"])
def test_what_changes_while_it_calculates_is_calculated_with(
    what: str, boiler: Appliance, person: Person, analyser: Analyser, technician: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    for day in ("2024-03-02", "2025-03-02"):
        store(visit_body(boiler, person, analyser, day=day), technician)
    forecasts.refresh_forecasts(appliances=[boiler], now=NOON)
    made = forecasts._all_made
    rounds: list[int] = []

    def meanwhile(*given: Any) -> Any:
        told = made(*given)
        rounds.append(len(rounds))
        if len(rounds) == 1:
            CHANGES[what](boiler, person, analyser, technician)
        return told

    monkeypatch.setattr(forecasts, "_all_made", meanwhile)
    forecasts.refresh_forecasts(appliances=[boiler], now=NOON)
    high = Forecast.objects.get(quantity="co2", rate="high")
    assert len(rounds) == 2
    assert (high.visits_used, high.accepted_risk, high.snapshot.in_force) == {
        "visit": (3, 0.08, True),
        "choices": (2, 0.02, True),
        "snapshot": (2, 0.08, True),
    }[what]


def test_where_nothing_changed_it_calculates_once(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    store(visit_body(boiler, person, analyser), technician)
    forecasts.refresh_forecasts(appliances=[boiler], now=NOON)
    made, rounds = forecasts._all_made, []
    monkeypatch.setattr(forecasts, "_all_made", lambda *given: rounds.append(1) or made(*given))
    forecasts.refresh_forecasts(appliances=[boiler], now=NOON)
    assert len(rounds) == 1


def _another_visit(boiler: Appliance, person: Person, analyser: Analyser, technician: User) -> None:
    store(visit_body(boiler, person, analyser, day="2026-03-02"), technician)


def _other_choices(*_cast: Any) -> None:
    Contractor.objects.update(accepted_risk=0.02, version=F("version") + 1)


def _another_snapshot(*_cast: Any) -> None:
    old = Snapshot.objects.get(quantity="co2", rate="high", in_force=True)
    Snapshot.objects.filter(id=old.id).update(in_force=False)
    old.pk = None
    old.id = Snapshot._meta.pk.get_default()
    old.in_force, old._state.adding = True, True
    old.save()


CHANGES: dict[str, Callable[..., None]] = {
    "visit": _another_visit,
    "choices": _other_choices,
    "snapshot": _another_snapshot,
}
