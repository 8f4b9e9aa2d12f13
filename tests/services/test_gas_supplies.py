"""A building's gas from a day on: what is judged with which, and what stands once it is recorded."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.assess.foresight.series import series_of
from fleet.combustion import FUELS
from fleet.errors import FleetError
from fleet.models import Analyser, Appliance, Job, Person, User
from fleet.services.judgements import judge_visit
from fleet.services.register import add_gas_supply, change_gas_supply
from tests.cast import NOON, store, visit_body
from tests.intake.refused import said_of

pytestmark = pytest.mark.django_db

BLEND = {"CH4": "0.85", "H2": "0.15"}


def supply(boiler: Appliance, since: str, fuel: str = "natural_gas_20_h2", **more: Any) -> Any:
    values = {"building": boiler.building, "since": date.fromisoformat(since), "fuel": fuel, "source": "the network"}
    return add_gas_supply(values=values | more, actor=User.objects.all()[0], now=NOON)


def fresh(boiler: Appliance) -> Appliance:
    return Appliance.objects.get(id=boiler.id)


def test_a_gas_counts_from_its_day_on(boiler: Appliance) -> None:
    supply(boiler, "2026-03-02")
    known = fresh(boiler)
    assert known.burns_on(date(2026, 3, 1)).name == "natural_gas"
    assert known.burns_on(date(2026, 3, 2)).name == "natural_gas_20_h2"


def test_the_newest_supply_counts_however_they_were_entered(boiler: Appliance) -> None:
    supply(boiler, "2026-02-01", "methane")
    supply(boiler, "2025-02-01")
    assert fresh(boiler).burns_on(date(2026, 3, 2)).name == "methane"


def test_an_appliance_with_a_fuel_of_its_own_knows_nothing_of_the_pipe(boiler: Appliance) -> None:
    Appliance.objects.update(fuel="propane")
    supply(boiler, "2025-02-01")
    assert fresh(boiler).burns_on(date(2026, 3, 2)).name == "propane"


def test_a_visit_is_judged_with_the_gas_of_its_day_and_keeps_it(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    visit = store(visit_body(boiler, person, analyser), technician)
    assert visit.fuel == "natural_gas"
    supply(boiler, "2026-02-01", "grid gas of the trial", composition=BLEND)
    again = judge_visit(visit=type(visit).objects.get(id=visit.id), now=NOON)
    assert again.card["fuel"]["co2_max_pct"] == FUELS["natural_gas"].co2_max_pct


def test_a_gas_by_composition_is_calculated_with(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    supply(boiler, "2026-02-01", "grid gas of the trial", composition=BLEND)
    visit = store(visit_body(boiler, person, analyser), technician)
    assert (visit.fuel, visit.fuel_composition) == ("grid gas of the trial", BLEND)
    # Stoichiometry by hand: 0.85 CO2 over dry products of 0.85 CH4 + 0.15 H2 in air with 0.04 % CO2.
    air = (0.85 * 2 + 0.15 / 2) / 0.20946
    expected = 100 * (0.85 + air * 0.0004) / (0.85 + air * (1 - 0.20946))
    assert visit.judgement.card["fuel"]["co2_max_pct"] == pytest.approx(expected, rel=1e-12)


def test_what_the_technician_saw_goes_before_the_register(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    supply(boiler, "2026-02-01", "grid gas of the trial", composition=BLEND)
    visit = store(visit_body(boiler, person, analyser) | {"fuel": "propane"}, technician)
    assert (visit.fuel, visit.fuel_composition) == ("propane", {})
    assert "fuel_differs" in {each.code for each in visit.questions.all()}


def test_another_gas_begins_a_new_series(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(visit_body(boiler, person, analyser, day="2026-03-02"), technician)
    known = fresh(boiler)
    assert series_of([known])
    supply(boiler, "2026-03-03")
    known = fresh(boiler)
    assert series_of([known], date(2026, 3, 2))
    assert series_of([known], date(2026, 3, 3)) == {}


@pytest.mark.parametrize(
    ("fuel", "composition", "field"),
    [
        ("moonshine", {}, "fuel"),
        ("a gas", {"CH4": "0.5", "N2": "0.1"}, "composition"),
        ("a gas", {"N2": "1"}, "composition"),
        ("propane", BLEND, "fuel"),
    ],
)
def test_a_gas_that_cannot_be_calculated_with_is_refused(
    boiler: Appliance, fuel: str, composition: dict[str, str], field: str
) -> None:
    with pytest.raises(FleetError) as refused:
        supply(boiler, "2026-02-01", fuel, composition=composition)
    assert (refused.value.code, list(said_of(refused.value))) == ("invalid", [field])  # type: ignore[call-overload]


def test_a_building_has_one_gas_a_day(boiler: Appliance) -> None:
    supply(boiler, "2026-02-01")
    with pytest.raises(FleetError):
        supply(boiler, "2026-02-01", "methane")


def test_a_change_has_the_appliances_looked_at_again(boiler: Appliance) -> None:
    made = supply(boiler, "2026-02-01")
    Job.objects.all().delete()
    change_gas_supply(
        supply=made, version=1, changes={"since": made.since + timedelta(days=3)}, actor=User.objects.all()[0], now=NOON
    )
    assert [each.key for each in Job.objects.all()] == [str(boiler.id)]
