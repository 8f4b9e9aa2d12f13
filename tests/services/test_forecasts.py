"""Forecasts: from the appliance's own readings, corrected for intake air, on what the population taught."""

import math
from collections.abc import Iterator
from datetime import date, timedelta

import pytest

from fleet import drift, failpoints
from fleet.intake.sheets import read_sheet
from fleet.models import (
    Analyser,
    Appliance,
    CeilingForecast,
    Contractor,
    Flag,
    Forecast,
    ForecastCheck,
    Mark,
    Person,
    Snapshot,
    User,
)
from fleet.models.register import new_id
from fleet.queries.forecasts import visible_ceiling_forecasts, visible_forecasts
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
    co: list[str] | None = None,
) -> None:
    """One visit each March: CO2 at high fire as found, set back to the target each time."""
    for number, value in enumerate(found):
        day = f"{2026 - len(found) + number + 1}-03-02"
        body = visit_body(
            boiler, person, analyser, day=day, found=(value, "9.10"), left=(left, "9.10") if left else None,
            co=co[number] if co else "40",
        )  # fmt: skip
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
    assert high.sentence.startswith("CO₂ at high fire has fallen 0.10 points a year over 4 visits")


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
    assert "8 chances in 100 of reaching the lower limit, 9.1 % by" in revisit.sentence


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
    assert set(series) == {("co2", "low"), ("co", "high"), ("co", "low")}


def test_a_conversion_to_another_gas_keeps_only_what_was_left(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30"])
    body = visit_body(boiler, person, analyser, day="2026-04-02", found=("8.10", "8.00"))
    body["work"][0] = {"kind": "gas conversion", "after_reading": 2}
    store(body, technician, NOON + timedelta(days=31))
    entry = forecasts.series_of([boiler])["co2", "high"][0].entries
    assert [(each.found_raw, each.left_raw, each.adjusted) for each in entry] == [(None, 9.4, True)]
    assert math.isnan(entry[0].found)


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


# ---- towards a ceiling ----


def test_co_is_forecast_towards_the_strictest_limit_that_applies(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    """The sheet's ceiling of 250 ppm is stricter than the stop line of 400 ppm."""
    live(boiler, person, analyser, technician, ["9.40", "9.40"], left=None, co=["40", "40"])
    refresh_appliance(appliance=boiler, now=NOON)
    made = CeilingForecast.objects.get(quantity="co", rate="high")
    assert (made.unit, made.upper, made.accepted_chance) == ("ppm", 250.0, 0.02)
    assert made.limit_words == "Test sheet: CO air-free <= 250 ppm"
    o2_pct = boiler.visits.latest("local_date").judgement.derived[0]["o2_pct"]
    air_free_ppm = pytest.approx(40 * 20.9 / (20.9 - o2_pct), abs=0.05)
    assert made.series[-1]["found_raw"] == air_free_ppm
    assert made.series[-1]["found"] == air_free_ppm, "drawn in ppm, not on the scale it drifts on"
    now = made.course[0]
    assert 0 <= now["low90"] < now["low50"] < now["median"] < now["high50"] < now["high90"] < 1000
    assert now["median"] == pytest.approx(made.level, rel=0.05)


def test_rising_co_flags_the_appliance_and_names_the_quantity_and_the_limit(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    fitted("co", "high")
    live(boiler, person, analyser, technician, ["9.40"] * 4, left=None, co=["40", "70", "110", "180"])
    refresh_appliance(appliance=boiler, now=NOON)
    flag = Flag.objects.get(kind="likely to be outside")
    assert flag.key == "high co"
    assert flag.sentence.startswith("CO air-free at high fire has risen ")
    assert "250 ppm (Test sheet: CO air-free <= 250 ppm)" in flag.sentence


def test_of_all_quantities_the_first_whose_accepted_chance_is_used_up_binds(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User
) -> None:
    for quantity in ("co", "co2"):
        fitted(quantity, "high")
    live(boiler, person, analyser, technician, ["9.40"] * 4, left=None, co=["40", "70", "110", "180"])
    refresh_appliance(appliance=boiler, now=NOON)
    gases, ceilings = visible_forecasts(dispatcher), visible_ceiling_forecasts(dispatcher)
    told = {f"{each.quantity} {each.rate}": each for each in (*gases, *ceilings)}
    days = {name: each.horizon_on for name, each in told.items() if each.horizon_on and each.basis != "assumptions"}
    assert [name for name, each in told.items() if each.binds] == [min(days, key=lambda name: days[name])]
    gases.update(horizon_on=None)
    ceilings.update(basis="assumptions")
    assert not any(each.binds for each in (*gases.all(), *ceilings.all()))


def test_the_flues_rise_is_forecast_only_where_a_limit_applies(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30"])
    ceiling = {"quantity": "flue_temp", "value": "200", "unit": "degC", "rate": "any", "action": "Clean it"}
    sheet = make_sheet(manager, SHEET | {"ceilings": [*SHEET["ceilings"], ceiling]}, name="Hot")
    hot = make_appliance(boiler.building, sheet, "Boiler 8")
    live(hot, person, analyser, technician, ["9.40", "9.30"])
    forecasts.refresh_forecasts(appliances=[boiler, hot], now=NOON)
    made = CeilingForecast.objects.filter(quantity="temp_rise")
    assert {each.appliance_id for each in made} == {hot.id}
    assert made[0].upper == pytest.approx(200 - 20)
    assert made[0].series[0]["found_raw"] == pytest.approx(58 - 20)


def test_a_ceiling_whose_series_ended_loses_its_forecast_and_its_flag(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    fitted("co", "high")
    live(boiler, person, analyser, technician, ["9.40"] * 4, left=None, co=["40", "70", "110", "180"])
    refresh_appliance(appliance=boiler, now=NOON)
    Appliance.objects.filter(id=boiler.id).update(sheet=None)
    refresh_appliance(appliance=Appliance.objects.get(id=boiler.id), now=NOON)
    assert not CeilingForecast.objects.exists()
    assert Flag.objects.get(kind="likely to be outside").closed_why == "The series has ended."


# ---- the switch from one snapshot to the next ----


@pytest.fixture
def broken_off() -> Iterator[None]:
    yield
    failpoints.disarm()


class Broken(Exception):
    """The process ended here."""


@pytest.mark.django_db
@pytest.mark.parametrize("point", ["forecasts.learnt", "forecasts.switch", "forecasts.switched"])
def test_a_refit_broken_off_anywhere_leaves_the_old_snapshot_in_force(
    installation: User, broken_off: None, point: str
) -> None:
    old = forecasts.snapshot_in_force(quantity="co2", rate="high", now=NOON)

    def break_off() -> None:
        raise Broken

    failpoints.arm(point, break_off)
    newer = forecasts.Learnt("co2", "high", drift.assumed("o2"), 7, instead_of=old)
    with pytest.raises(Broken):
        forecasts.put_in_force(newer, now=NOON)
    assert Snapshot.objects.get() == old
    assert forecasts.snapshot_in_force(quantity="co2", rate="high", now=NOON) == old


@pytest.mark.django_db
def test_of_two_refits_at_once_the_first_to_end_stays(installation: User) -> None:
    old = forecasts.snapshot_in_force(quantity="co2", rate="high", now=NOON)
    first, second = (forecasts.Learnt("co2", "high", drift.assumed("o2"), n, instead_of=old) for n in (7, 8))
    stands = forecasts.put_in_force(first, now=NOON)
    assert forecasts.put_in_force(second, now=NOON) == stands
    assert Snapshot.objects.get(in_force=True).series_count == 7


# ---- held against what was found, and early warnings ----


def test_each_reading_is_held_against_its_forecast_and_what_was_ahead_is_kept(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    """A snapshot of the day before knew nothing of the visits; one of the day after did, but may not rewrite them."""
    fitted()
    Snapshot.objects.filter(rate="high").update(made_at=NOON - timedelta(days=1))
    live(boiler, person, analyser, technician, ["9.40", "9.20", "9.00"], left=None)
    refresh_appliance(appliance=boiler, now=NOON)
    checks = ForecastCheck.objects.filter(quantity="co2", rate="high").order_by("day")
    assert [(each.day.year, each.outside, each.ahead) for each in checks] == [(2025, False, True), (2026, True, True)]
    assert all(each.analyser == analyser and each.surprise is not None for each in checks)
    before = list(checks.values_list("id", "chance"))
    later = forecasts.Learnt("co2", "high", drift.assumed("o2"), 40, instead_of=Snapshot.objects.get(rate="high",
                             quantity="co2", in_force=True))  # fmt: skip
    forecasts.put_in_force(later, now=NOON + timedelta(days=1))
    Snapshot.objects.update(from_assumptions=False)
    refresh_appliance(appliance=boiler, now=NOON + timedelta(days=1))
    assert list(checks.values_list("id", "chance")) == before


def test_what_a_snapshot_was_learnt_from_is_told_apart_and_reckoned_anew(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    fitted()
    Snapshot.objects.update(made_at=NOON + timedelta(days=1))
    live(boiler, person, analyser, technician, ["9.40", "9.20"], left=None)
    for _time in range(2):
        refresh_appliance(appliance=boiler, now=NOON)
        assert [each.ahead for each in ForecastCheck.objects.filter(quantity="co2", rate="high")] == [False]


def test_from_assumptions_nothing_is_held_and_no_reading_is_asked_for_again(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.40", "7.00"], left=None)
    refresh_appliance(appliance=boiler, now=NOON)
    assert not ForecastCheck.objects.exists()
    assert not Mark.objects.filter(code__startswith="repeat_").exists()


def test_a_reading_far_from_what_was_expected_asks_to_be_repeated_once(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    fitted()
    live(boiler, person, analyser, technician, ["9.40", "9.40", "7.00"], left=None)
    for _time in range(2):
        refresh_appliance(appliance=boiler, now=NOON)
    mark = Mark.objects.get(code="repeat_co2_high")
    assert mark.visit.local_date == date(2026, 3, 2)
    assert "repeat the reading" in mark.sentence
    assert not Flag.objects.filter(kind="outside a limit", sentence__contains="repeat").exists()
