"""Forecasts: from the appliance's own readings, corrected for intake air, on what the population taught."""

from datetime import date, timedelta

import pytest

from fleet.models import Analyser, Appliance, Contractor, Flag, Forecast, Person, Snapshot, User
from fleet.services import forecasts
from fleet.services.revisits import refresh_appliance
from tests.cast import NOON, make_sheet, measured, store, visit_body


def live(
    boiler: Appliance,
    person: Person,
    analyser: Analyser,
    actor: User,
    found: list[str],
    *,
    left: str | None = "9.40",
    air_c: list[str] | None = None,
) -> None:
    """One visit each March: CO2 at high fire as found, set back to the target each time."""
    for number, value in enumerate(found):
        day = f"{2026 - len(found) + number + 1}-03-02"
        body = visit_body(
            boiler, person, analyser, day=day, found=(value, "9.10"), left=(left, "9.10") if left else None
        )
        for each in body["readings"]:
            each["values"]["air_temp"] = measured(air_c[number] if air_c else "20.0", "degC")
        store(body, actor, NOON)


def test_a_falling_series_is_forecast_to_fall(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.20", "9.20", "9.20"])
    refresh_appliance(appliance=boiler, now=NOON)
    high = Forecast.objects.get(rate="high")
    assert high.drift_pct_per_year < -0.05
    assert high.visits_used == 4
    assert high.sentence.startswith("CO₂ at high fire falls about ")


def test_before_a_fit_it_says_from_assumptions_and_neither_flags_nor_moves_a_revisit(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.15", "9.15", "9.15"])
    assert refresh_appliance(appliance=boiler, now=NOON) is None
    assert set(Forecast.objects.values_list("basis", flat=True)) == {"assumptions"}
    assert not Flag.objects.filter(kind="likely to be outside").exists()


def fitted(quantity: str = "co2", rate: str = "high") -> None:
    """Stand the assumed figures in force as if a fit had given them: what follows must then rest on them."""
    forecasts.snapshot_in_force(quantity=quantity, rate=rate, now=NOON)
    Snapshot.objects.filter(quantity=quantity, rate=rate).update(from_assumptions=False)


def test_a_fitted_forecast_flags_and_moves_the_revisit_and_says_why(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    fitted()
    live(boiler, person, analyser, technician, ["9.40", "9.12", "9.10", "9.11"], left="9.32")
    revisit = refresh_appliance(appliance=boiler, now=NOON)
    flag = Flag.objects.get(kind="likely to be outside")
    assert flag.figures["chance"] >= Contractor.objects.get().flag_at
    assert revisit is not None
    assert revisit.binding == "drift"
    assert revisit.latest == Forecast.objects.get(rate="high").horizon_on
    assert "the chance of being outside 9.1 to 9.7 % reaches 8 %" in revisit.sentence


def test_one_or_two_visits_say_that_they_rest_on_the_fleet(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    fitted()
    live(boiler, person, analyser, technician, ["9.40", "9.30"])
    refresh_appliance(appliance=boiler, now=NOON)
    assert Forecast.objects.get(rate="high").basis == "the fleet"


def test_a_flag_closes_when_its_chance_falls(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    fitted()
    live(boiler, person, analyser, technician, ["9.40", "9.12", "9.10", "9.11"], left="9.32")
    refresh_appliance(appliance=boiler, now=NOON)
    Contractor.objects.update(flag_at=0.999)
    refresh_appliance(appliance=boiler, now=NOON)
    assert Flag.objects.get(kind="likely to be outside").closed_at


def test_cold_intake_air_is_not_taken_for_drift(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    """The same burner read each time in colder air shows less CO2; corrected to 20 °C it has not moved."""
    live(boiler, person, analyser, technician, ["9.40", "9.22", "9.04"], left=None, air_c=["20.0", "10.0", "0.0"])
    refresh_appliance(appliance=boiler, now=NOON)
    shown = Forecast.objects.get(rate="high").series
    assert [each["found_raw_pct"] for each in shown] == [9.4, 9.22, 9.04]
    assert max(each["found_pct"] for each in shown) - min(each["found_pct"] for each in shown) < 0.1


@pytest.mark.parametrize(
    "change",
    [{"rate_proven_by": "not proven"}, {"sampling_point": "common flue"}],
    ids=["unproven rate", "common flue"],
)
def test_readings_that_prove_nothing_stay_out(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, change: dict[str, str]
) -> None:
    body = visit_body(boiler, person, analyser)
    body["readings"] = [each | change for each in body["readings"]]
    store(body, technician)
    assert forecasts.series_of([boiler]) == {}


def test_another_target_begins_a_new_series(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30"])
    other = make_sheet(manager, name="Other sheet")
    content = other.versions.get().content
    content["targets"][0]["value"] = "9.0"
    other.versions.update(content=content)
    Appliance.objects.filter(id=boiler.id).update(sheet=other)
    boiler.refresh_from_db()
    series = forecasts.series_of([Appliance.objects.get(id=boiler.id)])
    assert ("co2", "high") not in series
    assert len(series["co2", "low"][0].entries) == 2


def test_one_appliance_alone_is_forecast_as_with_all_others(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30", "9.20"])
    alone = forecasts.refresh_forecasts(appliances=[boiler], now=NOON)
    forecasts.refresh_forecasts(appliances=list(Appliance.objects.all()), now=NOON)
    together = {each.rate: each for each in Forecast.objects.all()}
    for each in alone:
        assert together[each.rate].level_pct == pytest.approx(each.level_pct)
        assert together[each.rate].horizon_on == each.horizon_on


def test_too_few_series_stay_with_assumptions(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30", "9.20"])
    snapshot = forecasts.refit(quantity="co2", rate="high", now=NOON)
    assert snapshot.from_assumptions
    assert snapshot.series_count == 1
    assert Snapshot.objects.filter(in_force=True, quantity="co2", rate="high").count() == 1


def test_the_chance_is_read_off_the_stored_grid(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.20", "9.20"])
    refresh_appliance(appliance=boiler, now=NOON)
    high = Forecast.objects.get(rate="high")
    chances = [forecasts.chance_on(high, date(2026, 3, 2) + timedelta(days=90 * step)) for step in range(8)]
    assert chances == sorted(chances)
    assert chances[0] == pytest.approx(high.crossing[0]["chance"])
