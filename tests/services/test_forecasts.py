"""Forecasts: from the appliance's own readings, corrected for intake air, on what the population taught."""

import math
from datetime import date, timedelta

import pytest

from fleet.intake.sheets import read_sheet
from fleet.models import Analyser, Appliance, Contractor, Flag, Forecast, Person, Snapshot, User
from fleet.models.register import new_id
from fleet.services import forecasts
from fleet.services.appliances import add_sheet_version
from fleet.services.revisits import refresh_appliance
from tests.cast import NOON, SHEET, make_appliance, make_sheet, measured, store, visit_body


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
    [
        {"rate_proven_by": "not proven"},
        {"sampling_point": "common flue"},
        {"casing": "open"},
        {"steadiness": "not steady"},
    ],
    ids=["unproven rate", "common flue", "casing open against a closed target", "not steady"],
)
def test_readings_that_prove_nothing_stay_out(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, change: dict[str, str]
) -> None:
    body = visit_body(boiler, person, analyser)
    body["readings"] = [each | change for each in body["readings"]]
    store(body, technician)
    assert forecasts.series_of([boiler]) == {}


@pytest.mark.parametrize(
    ("targets_casing", "change"),
    [("closed", {"casing": None}), ("any", {"casing": "open"}), ("closed", {"steadiness": "not shown"})],
    ids=["casing not recorded", "any casing", "steadiness not shown"],
)
def test_what_is_not_known_against_a_reading_leaves_it_in(
    boiler: Appliance,
    person: Person,
    analyser: Analyser,
    technician: User,
    manager: User,
    targets_casing: str,
    change: dict[str, str | None],
) -> None:
    appliance = with_targets(boiler, manager, {"casing": targets_casing})
    body = visit_body(appliance, person, analyser)
    for each in body["readings"]:
        each |= change
        if each["casing"] is None:
            del each["casing"]
    store(body, technician)
    assert len(forecasts.series_of([appliance])["co2", "high"][0].entries) == 1


def with_targets(boiler: Appliance, manager: User, changes: dict[str, str | None]) -> Appliance:
    """Another boiler whose sheet's targets are changed so; None takes a field away."""
    targets = [
        {name: value for name, value in (each | changes).items() if value is not None} for each in SHEET["targets"]
    ]
    sheet = make_sheet(manager, SHEET | {"targets": targets}, name="Changed targets")
    return make_appliance(boiler.building, sheet, "Boiler 7")


RANGE = {"value": None, "tolerance": None, "tolerance_basis": "range", "lower": "9.0", "upper": "9.6"}


def test_a_target_given_as_a_range_is_aimed_at_in_its_middle(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    ranged = with_targets(boiler, manager, RANGE)
    live(ranged, person, analyser, technician, ["9.40", "9.30", "9.20"])
    forecasts.refit(quantity="co2", rate="high", now=NOON)
    refresh_appliance(appliance=ranged, now=NOON)
    made = Forecast.objects.get(rate="high")
    assert made.visits_used == 3
    assert (made.lower_pct, made.target_pct, made.upper_pct) == (9.0, pytest.approx(9.3), 9.6)


def test_another_range_begins_a_new_series(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    ranged = with_targets(boiler, manager, RANGE)
    live(ranged, person, analyser, technician, ["9.40", "9.30"])
    content = ranged.sheet.versions.get().content
    content["targets"][0]["upper"] = "9.8"
    add_sheet_version(
        sheet=ranged.sheet, content=read_sheet(content), actor=manager, now=NOON + timedelta(days=1), id=new_id()
    )
    series = forecasts.series_of([Appliance.objects.get(id=ranged.id)])
    assert set(series) == {("co2", "low")}


def test_a_conversion_to_another_gas_keeps_only_what_was_left(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30"])
    body = visit_body(boiler, person, analyser, day="2026-04-02", found=("8.10", "8.00"))
    body["work"][0] = {"kind": "gas conversion", "after_reading": 2}
    store(body, technician, NOON + timedelta(days=31))
    entry = forecasts.series_of([boiler])["co2", "high"][0].entries
    assert [(each.found_raw_pct, each.left_raw_pct, each.adjusted) for each in entry] == [(None, 9.4, True)]
    assert math.isnan(entry[0].found_pct)


def test_a_conversion_without_a_reading_after_it_says_nothing(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    body = visit_body(boiler, person, analyser, left=None)
    body["work"] = [{"kind": "gas conversion", "after_reading": 2}]
    store(body, technician)
    assert forecasts.series_of([boiler]) == {}


def test_two_visits_of_one_day_stand_in_the_order_of_their_readings(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    """The morning's visit is sent after the evening's."""
    evening, morning = visit_body(boiler, person, analyser), visit_body(boiler, person, analyser)
    for each in evening["readings"]:
        each["taken_at"] = each["taken_at"].replace("T10", "T18")
    store(evening, technician)
    store(morning, technician)
    entries = forecasts.series_of([boiler])["co2", "high"][0].entries
    assert [each.visit_id for each in entries] == [morning["id"], evening["id"]]


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
