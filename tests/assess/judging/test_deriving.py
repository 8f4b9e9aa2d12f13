"""What a visit's readings mean as the judgement keeps it: uncertainty, what is carried, series, input, humidity."""

import json
from dataclasses import fields
from datetime import date
from typing import Any

import pytest

from fleet.combustion import FUELS, gas_properties
from fleet.errors import Malformed
from fleet.intake.visits import read_visit
from fleet.models import Analyser, Appliance, Calibration, Contractor, Person, User, Visit
from fleet.models.judgements import Derived
from fleet.presentation.follow_ups import question_words
from fleet.services.judgements import judge_visit
from fleet.services.register import add_gas_supply
from fleet.services.visits import amend_visit
from tests.cast import NOON, make_analyser, make_sheet, measured, reading, store, visit_body
from tests.intake.refused import said_of

pytestmark = pytest.mark.django_db

TIMES = [str(second) for second in range(0, 181, 10)]


def series(**columns: Any) -> dict[str, Any]:
    """Three minutes at rest, a sample every ten seconds; a column given as text is that figure all the time."""
    shown = {"o2": "4.3", "co": "40", "flue_temp": "58.0"} | columns
    return {"at_s": TIMES} | {
        name: [value] * len(TIMES) if isinstance(value, str) else value for name, value in shown.items()
    }


@pytest.fixture
def one(boiler: Appliance, person: Person, analyser: Analyser) -> dict[str, Any]:
    """A visit with one reading as found at high fire."""
    body = visit_body(boiler, person, analyser, left=None)
    return body | {"readings": body["readings"][:1], "left_as_found": True}


def told(visit: Visit) -> dict[str, Any]:
    return dict(visit.judgement.derived[0])


def test_each_figure_is_a_field_and_is_kept_as_it_is_read(one: dict[str, Any], technician: User) -> None:
    one["readings"][0]["series"] = series(o2=["4.3", "5.0"] * 9 + ["4.3"])
    judgement = store(one, technician).judgement
    judgement.refresh_from_db()
    figures = judgement.figures[1]
    assert vars(figures).keys() == {each.name for each in fields(Derived)}
    assert json.loads(json.dumps(figures.as_json())) == judgement.derived[0]


def outcome(visit: Visit, kind: str) -> str:
    mine = [
        each for each in visit.judgement.verdicts["verdicts"] if each["kind"] == kind and each["reading_key"] == "1"
    ]
    return str(mine[0]["outcome"])


# ---- how far a figure can be trusted ----


def test_o2_is_as_uncertain_as_the_analyser_states(one: dict[str, Any], technician: User) -> None:
    one["readings"][0]["values"] |= {"o2": measured("4.3", "%")}
    assert told(store(one, technician))["uncertainties"]["o2_pct"] == pytest.approx(0.15)


def test_the_certificates_own_uncertainty_comes_on_top(one: dict[str, Any], technician: User) -> None:
    one["readings"][0]["values"] |= {"o2": measured("4.3", "%")}
    Calibration.objects.update(uncertainty={"o2": {"absolute": "0.4"}})
    # Half of each expanded figure, in squares: JCGM 100:2008, 5.1.2.
    assert told(store(one, technician))["uncertainties"]["o2_pct"] == pytest.approx((0.15**2 + 0.2**2) ** 0.5)


def test_an_analyser_out_of_calibration_states_nothing(one: dict[str, Any], technician: User) -> None:
    one["readings"][0]["values"] |= {"o2": measured("4.3", "%")}
    Calibration.objects.update(valid_to="2026-03-01")
    visit = store(one, technician)
    assert told(visit)["uncertainties"]["o2_pct"] is None
    assert visit.judgement.card["analyser"]["accuracy"] == {}


def test_more_than_goes_on_to_what_follows_from_it(one: dict[str, Any], technician: User) -> None:
    one["readings"][0]["values"]["co"] = measured("2000", "ppm", "more_than")
    carried = told(store(one, technician))["qualifiers"]
    assert carried["co_ppm_air_free"] == carried["co_co2_ratio"] == carried["co_mg_per_kwh_gross"] == "more_than"
    assert carried["efficiency_pct_net"] == carried["excess_air_ratio"] == "less_than"
    assert carried["dew_point_c"] == "more_than"
    assert carried["o2_pct"] == "less_than" and "input_kw_net" not in carried


def test_nox_is_estimated_from_no_where_that_is_all_there_is(one: dict[str, Any], technician: User) -> None:
    one["readings"][0]["values"] |= {"o2": measured("0.0", "%"), "no": measured("38", "ppm")}
    figures = told(store(one, technician))
    # 5 % NO2 is common practice, no source.
    assert (figures["nox_estimated"], figures["nox_ppm_air_free"]) == (True, pytest.approx(40.0))


# ---- the logged series ----


def test_a_series_at_rest_is_steady_with_its_mean(one: dict[str, Any], technician: User) -> None:
    one["readings"][0] |= {"series": series(), "steadiness": "not_shown"}
    visit = store(one, technician)
    shown = told(visit)["steadiness"]
    assert (shown["overall"], shown["o2"]["mean"]) == (True, pytest.approx(4.3))
    assert outcome(visit, "band") == "outside"


def test_a_restless_series_keeps_the_target_from_being_judged(one: dict[str, Any], technician: User) -> None:
    rising = [f"{4.3 + 0.1 * n:.1f}" for n in range(len(TIMES))]
    one["readings"][0] |= {"series": series(o2=rising), "steadiness": "steady"}
    visit = store(one, technician)
    assert (told(visit)["steadiness"]["overall"], outcome(visit, "band")) == (False, "not_judged")
    question = visit.questions.get(code="steadiness_differs")
    assert "O₂" in question_words(question)


def test_a_restless_flue_temperature_leaves_target_and_co_alone(one: dict[str, Any], technician: User) -> None:
    warming = [f"{40 + 2 * n}" for n in range(len(TIMES))]
    one["readings"][0] |= {"series": series(flue_temp=warming), "steadiness": "steady"}
    visit = store(one, technician)
    shown = told(visit)["steadiness"]
    assert (shown["overall"], shown["flue_temp"]["steady"], outcome(visit, "band")) == (True, False, "outside")


def test_the_contractors_own_criterion_counts(one: dict[str, Any], technician: User) -> None:
    Contractor.objects.update(steadiness={"min_time_s": 600})
    one["readings"][0] |= {"series": series()}
    shown = told(store(one, technician))["steadiness"]
    assert shown["overall"] is False
    assert shown["o2"]["reason"][1]["needed_s"] == 600


# ---- heat input and humidity ----


def test_the_timed_input_stands_beside_the_rating(one: dict[str, Any], technician: User) -> None:
    lhv = gas_properties(FUELS["natural_gas"]).lhv_mj_m3
    # 60 kW net for 100 s at 15 °C and at the pressure of the standard atmosphere at sea level: no correction at all.
    rate = {"index_start": "0", "index_end": f"{60 * 100 / 1000 / lhv:.6f}", "unit": "m3", "seconds": "100"}
    one["readings"][0]["gas_rate"] = rate
    figures = told(store(one, technician))
    # Net over gross is taken at 25 °C, the meter's gross value at 15 °C: 0.09 % between them.
    assert figures["input_kw_net"] == pytest.approx(60, rel=1e-3)
    assert figures["input_share_pct"] == pytest.approx(100, abs=0.1)


def test_at_the_lowest_rate_the_input_stands_beside_the_least(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    body = visit_body(boiler, person, analyser, left=None)
    rate = {"index_start": "0", "index_end": "0.1", "unit": "m3", "seconds": "300"}
    body["readings"][1]["gas_rate"] = rate | {"heating_value_mj_m3_gross": "38.7"}
    figures = store(body, technician).judgement.derived[1]
    assert figures["input_share_pct"] == pytest.approx(100 * figures["input_kw_net"] / 12, abs=0.01)


def test_oil_has_no_heating_value_by_volume_and_so_no_timed_input(one: dict[str, Any], technician: User) -> None:
    one["readings"][0]["gas_rate"] = {"index_start": "0", "index_end": "1", "unit": "m3", "seconds": "100"}
    assert told(store(one | {"fuel": "light_oil"}, technician))["input_kw_gross"] is None


def test_humid_air_raises_the_dew_point(one: dict[str, Any], technician: User) -> None:
    dry = told(store(one, technician))["dew_point_c"]
    again = one | {"id": "0198c2a4-7c00-7d3e-8f10-2b5a6c7d8e9f"}
    again["attendance"] = one["attendance"] | {"id": "0198c2a4-7c00-7d3e-8f10-2b5a6c7d8e90"}
    again["conditions"] = one["conditions"] | {"air_humidity": measured("50", "%")}
    # Air of 20 °C and 50 % adds about 1.2 K: computed reference of combustion with humid air, 0.3 K of slack.
    assert told(store(again, technician))["dew_point_c"] - dry == pytest.approx(1.2, abs=0.3)


def test_the_sheet_of_the_day_counts_after_another_was_given(
    one: dict[str, Any], technician: User, boiler: Appliance, manager: User
) -> None:
    visit = store(one, technician)
    Appliance.objects.update(sheet=make_sheet(manager, name="Another sheet"))
    again = judge_visit(visit=Visit.objects.get(id=visit.id), now=NOON)
    assert again.card["sheet"]["name"] == "Test sheet"


@pytest.mark.parametrize(
    ("broken", "field"),
    [
        ({"at_s": ["0", "0"], "o2": ["4", "4"]}, "readings.0.series.at_s"),
        ({"at_s": ["0", "10"], "o2": ["4"]}, "readings.0.series.o2"),
        ({"at_s": [], "o2": []}, "readings.0.series.at_s"),
        ({"at_s": ["0"], "o2": ["quick"]}, "readings.0.series.o2"),
        ({"at_s": ["0"], "so2": ["4"]}, "readings.0.series.so2"),
    ],
)
def test_a_series_that_cannot_be_read_is_refused_by_its_field(
    one: dict[str, Any], broken: dict[str, Any], field: str
) -> None:
    one["readings"][0] = reading("as_found", "high", 5) | {"series": broken, "analyser": "a", "person": "p"}
    with pytest.raises(Malformed) as refused:
        read_visit(one)
    assert any(each.startswith(field) for each in said_of(refused.value))  # type: ignore[attr-defined]  # path to words


def test_two_analysers_lend_each_other_no_accuracy(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    body = visit_body(boiler, person, analyser)
    other = make_analyser(manager)
    for each in body["readings"][2:]:
        each["analyser"] = str(other.id)
    assert store(body, technician).judgement.card["analyser"]["accuracy"] == {}


def test_more_than_of_no_goes_on_to_the_estimated_nox(one: dict[str, Any], technician: User) -> None:
    one["readings"][0]["values"] |= {"o2": measured("4.0", "%"), "no": measured("3000", "ppm", "more_than")}
    assert told(store(one, technician))["qualifiers"]["nox_ppm_air_free"] == "more_than"


def test_a_visit_recorded_without_a_sheet_stays_without(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    sheet, body = boiler.sheet, visit_body(boiler, person, analyser)
    Appliance.objects.update(sheet=None)
    visit = store(body, technician)
    Appliance.objects.update(sheet=sheet)
    again = amend_visit(draft=read_visit(body | {"note": "a"}), reason="a", version=1, actor=technician, now=NOON)
    assert (again.id, again.judgement.sheet_version) == (visit.id, None)


def test_a_visit_moved_to_another_day_takes_that_days_gas(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    values = {"building": boiler.building, "since": date(2026, 3, 1), "fuel": "natural_gas_20_h2", "source": "network"}
    add_gas_supply(values=values, actor=technician, now=NOON)
    body = visit_body(boiler, person, analyser)
    assert store(body, technician).fuel == "natural_gas_20_h2"
    earlier = visit_body(boiler, person, analyser, day="2026-02-20")
    moved = earlier | {"id": body["id"], "attendance": earlier["attendance"] | {"id": body["attendance"]["id"]}}
    assert amend_visit(draft=read_visit(moved), reason="a", version=1, actor=technician, now=NOON).fuel == "natural_gas"
