"""Forecasts: from the appliance's own readings, corrected for intake air, on what the population taught."""

from collections.abc import Iterator
from datetime import date, timedelta

import pytest

from fleet import drift, failpoints
from fleet.assess.foresight.forecasts import chance_on
from fleet.assess.foresight.learning import Learnt, learn
from fleet.models import (
    Analyser,
    Appliance,
    Contractor,
    Flag,
    Forecast,
    ForecastCheck,
    Person,
    Question,
    Snapshot,
    User,
)
from fleet.presentation.follow_ups import closed_words, flag_words, question_words
from fleet.presentation.forecasts import ceiling_words, forecast_sentence
from fleet.presentation.revisits import reason_words
from fleet.queries.forecasts import visible_forecasts
from fleet.services import forecasts
from fleet.services.revisits import refresh_appliance
from tests.cast import NOON, SHEET, make_appliance, make_sheet
from tests.drifting import RANGE, live, with_targets


def test_a_falling_series_is_forecast_to_fall(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.20", "9.20", "9.20"])
    refresh_appliance(appliance=boiler, now=NOON)
    high = Forecast.objects.get(quantity="co2", rate="high")
    assert high.pace_per_year < -0.05
    assert high.visits_used == 4
    assert forecast_sentence(high).startswith("CO₂ at high fire has fallen 0.10 points a year over 4 visits")


def test_before_a_fit_it_says_from_assumptions_and_neither_flags_nor_moves_a_revisit(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.15", "9.15", "9.15"])
    assert refresh_appliance(appliance=boiler, now=NOON) is None
    assert set(Forecast.objects.values_list("basis", flat=True)) == {"assumptions"}
    assert not Flag.objects.filter(kind="may_be_outside").exists()


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
    flag = Flag.objects.get(kind="may_be_outside")
    assert flag.figures["chance"] >= Contractor.objects.get().flag_at
    assert revisit is not None
    assert revisit.date_set_by == "drift"
    assert revisit.latest == Forecast.objects.get(quantity="co2", rate="high").horizon_on
    assert "a chance of 8 % of reaching the lower limit of 9.1 % by" in reason_words(revisit.why)


def test_one_or_two_visits_say_that_they_rest_on_the_fleet(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    fitted()
    live(boiler, person, analyser, technician, ["9.40", "9.30"])
    refresh_appliance(appliance=boiler, now=NOON)
    assert Forecast.objects.get(quantity="co2", rate="high").basis == "the fleet"


def test_a_flag_closes_when_its_chance_falls(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    fitted()
    live(boiler, person, analyser, technician, ["9.40", "9.12", "9.10", "9.11"], left="9.32")
    refresh_appliance(appliance=boiler, now=NOON)
    Contractor.objects.update(flag_at=0.999)
    refresh_appliance(appliance=boiler, now=NOON)
    assert Flag.objects.get(kind="may_be_outside").closed_at


def test_cold_intake_air_is_not_taken_for_drift(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    """The same burner read each time in colder air shows less CO2; corrected to 20 °C it has not moved."""
    live(boiler, person, analyser, technician, ["9.40", "9.22", "9.04"], left=None, air_c=["20.0", "10.0", "0.0"])
    refresh_appliance(appliance=boiler, now=NOON)
    shown = Forecast.objects.get(quantity="co2", rate="high").series
    assert [each["found_raw"] for each in shown] == [9.4, 9.22, 9.04]
    assert max(each["found"] for each in shown) - min(each["found"] for each in shown) < 0.1


def test_a_target_given_as_a_range_is_aimed_at_in_its_middle(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    ranged = with_targets(boiler, manager, RANGE)
    live(ranged, person, analyser, technician, ["9.40", "9.30", "9.20"])
    forecasts.put_in_force(learnt=learn(quantity="co2", rate="high", now=NOON), now=NOON)
    refresh_appliance(appliance=ranged, now=NOON)
    made = Forecast.objects.get(quantity="co2", rate="high")
    assert made.visits_used == 3
    assert (made.lower, made.target, made.upper) == (9.0, pytest.approx(9.3), 9.6)


def test_one_appliance_alone_is_forecast_as_with_all_others(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30", "9.20"])
    alone = forecasts.refresh_forecasts(appliances=[boiler], now=NOON)
    forecasts.refresh_forecasts(appliances=list(Appliance.objects.all()), now=NOON)
    together = {(each.quantity, each.rate): each for each in Forecast.objects.all()}
    for each in alone:
        assert together[each.quantity, each.rate].level == pytest.approx(each.level)
        assert together[each.quantity, each.rate].horizon_on == each.horizon_on


def test_too_few_series_stay_with_assumptions(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30", "9.20"])
    snapshot = forecasts.put_in_force(learnt=learn(quantity="co2", rate="high", now=NOON), now=NOON)
    assert snapshot.from_assumptions
    assert snapshot.series_count == 1
    assert Snapshot.objects.filter(in_force=True, quantity="co2", rate="high").count() == 1


def test_the_chance_is_read_off_the_stored_grid(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.20", "9.20"])
    refresh_appliance(appliance=boiler, now=NOON)
    high = Forecast.objects.get(quantity="co2", rate="high")
    chances = [chance_on(high, date(2026, 3, 2) + timedelta(days=90 * step)) for step in range(8)]
    assert chances == sorted(chances)
    assert chances[0] == pytest.approx(high.crossing[0]["chance"])


# ---- towards a ceiling ----


def test_co_is_forecast_towards_the_strictest_limit_that_applies(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    """The sheet's ceiling of 250 ppm is stricter than the stop level of 400 ppm."""
    live(boiler, person, analyser, technician, ["9.40", "9.40"], left=None, co=["40", "40"])
    refresh_appliance(appliance=boiler, now=NOON)
    made = Forecast.objects.get(quantity="co", rate="high")
    assert (made.unit, made.upper, made.accepted_risk) == ("ppm", 250.0, 0.02)
    assert ceiling_words(made.limit) == "Test sheet: CO air-free ≤ 250 ppm"
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
    flag = Flag.objects.get(kind="may_be_outside")
    assert flag.key == "high co"
    assert flag_words(flag).startswith("CO air-free at high fire has risen ")
    assert "250 ppm (Test sheet: CO air-free ≤ 250 ppm)" in flag_words(flag)


def test_of_all_quantities_the_first_whose_accepted_risk_is_used_up_binds(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User
) -> None:
    for quantity in ("co", "co2"):
        fitted(quantity, "high")
    live(boiler, person, analyser, technician, ["9.40"] * 4, left=None, co=["40", "70", "110", "180"])
    refresh_appliance(appliance=boiler, now=NOON)
    seen = visible_forecasts(dispatcher)
    told = {f"{each.quantity} {each.rate}": each for each in seen}
    days = {name: each.horizon_on for name, each in told.items() if each.horizon_on and each.basis != "assumptions"}
    assert [name for name, each in told.items() if each.sets_date] == [min(days, key=lambda name: days[name])]
    Forecast.objects.filter(lower__isnull=False).update(horizon_on=None)
    Forecast.objects.filter(lower__isnull=True).update(basis="assumptions")
    assert not any(each.sets_date for each in seen.all())


def test_the_flues_rise_is_forecast_only_where_a_limit_applies(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30"])
    ceiling = {"quantity": "flue_temp", "value": "200", "unit": "degC", "rate": "any", "action": "Clean it"}
    sheet = make_sheet(manager, SHEET | {"ceilings": [*SHEET["ceilings"], ceiling]}, name="Hot")
    hot = make_appliance(boiler.building, sheet, "Boiler 8")
    live(hot, person, analyser, technician, ["9.40", "9.30"])
    forecasts.refresh_forecasts(appliances=[boiler, hot], now=NOON)
    made = Forecast.objects.filter(quantity="temp_rise")
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
    assert not Forecast.objects.exists()
    assert closed_words(Flag.objects.get(kind="may_be_outside")) == "The series has ended."


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
    newer = Learnt("co2", "high", drift.assumed("o2"), 7, instead_of=old)
    with pytest.raises(Broken):
        forecasts.put_in_force(learnt=newer, now=NOON)
    assert Snapshot.objects.get() == old
    assert forecasts.snapshot_in_force(quantity="co2", rate="high", now=NOON) == old


@pytest.mark.django_db
def test_of_two_refits_at_once_the_first_to_end_stays(installation: User) -> None:
    old = forecasts.snapshot_in_force(quantity="co2", rate="high", now=NOON)
    first, second = (Learnt("co2", "high", drift.assumed("o2"), n, instead_of=old) for n in (7, 8))
    stands = forecasts.put_in_force(learnt=first, now=NOON)
    assert forecasts.put_in_force(learnt=second, now=NOON) == stands
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
    later = Learnt("co2", "high", drift.assumed("o2"), 40, instead_of=Snapshot.objects.get(rate="high",
                             quantity="co2", in_force=True))  # fmt: skip
    forecasts.put_in_force(learnt=later, now=NOON + timedelta(days=1))
    Snapshot.objects.update(from_assumptions=False)
    refresh_appliance(appliance=boiler, now=NOON + timedelta(days=1))
    assert list(checks.values_list("id", "chance")) == before


def test_what_a_snapshot_was_learnt_from_is_told_apart_and_calculated_anew(
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
    assert not Question.objects.filter(code__startswith="repeat_").exists()


def test_a_reading_far_from_what_was_expected_asks_to_be_repeated_once(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    fitted()
    live(boiler, person, analyser, technician, ["9.40", "9.40", "7.00"], left=None)
    for _time in range(2):
        refresh_appliance(appliance=boiler, now=NOON)
    question = Question.objects.get(code="repeat_co2_high")
    assert question.visit.local_date == date(2026, 3, 2)
    assert "repeat the reading" in question_words(question)
    assert not Flag.objects.filter(kind="outside_a_limit", sentence__contains="repeat").exists()
