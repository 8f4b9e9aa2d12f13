"""What a visit's readings mean, judged with versions, and judged alike whoever asks."""

from typing import Any

import pytest

from fleet.models import Analyser, Appliance, LimitSet, Person, User
from fleet.presentation.verdicts import set_version_words, summary_words
from fleet.services.judgements import judge_visit
from fleet.services.limit_sets import assign_limit_set
from tests.cast import NOON, SHEET, make_appliance, make_sheet, measured, store, visit_body


def test_derived_figures_agree_with_the_published_ones(body: dict[str, Any], technician: User) -> None:
    """CO 100 ppm at 5.0 % O2 is 131.45 ppm air-free (definition, 20.9 / (20.9 - O2))."""
    body["readings"][0]["values"] |= {"o2": measured("5.0", "%"), "co": measured("100", "ppm")}
    derived = store(body, technician).judgement.derived[0]
    assert derived["co_ppm_air_free"] == pytest.approx(131.45, abs=0.01)
    assert not derived["o2_derived"]


def test_the_missing_one_of_o2_and_co2_is_derived_and_said(body: dict[str, Any], technician: User) -> None:
    derived = store(body, technician).judgement.derived[2]
    assert derived["o2_derived"]
    assert derived["excess_air_ratio"] > 1.2
    assert derived["efficiency_pct_net"] > derived["efficiency_pct_gross"]


@pytest.mark.parametrize(
    ("basis", "outcomes"),
    [("points", ("within", "within")), ("percent_of_target", ("outside", "within")), ("range", ("within", "within"))],
)
def test_one_per_cent_means_three_bands(
    boiler: Appliance,
    person: Person,
    analyser: Analyser,
    manager: User,
    technician: User,
    basis: str,
    outcomes: tuple[str, str],
) -> None:
    """Common practice, no source: natural gas, premix condensing, high fire 9.2 % found at 9.02 and left at 9.19,
    low fire target and reading 9.0; a tolerance of "1 %" is 8.2-10.2, 9.108-9.292 or 8.7-9.7."""
    targets = [{**SHEET["targets"][0], "value": "9.2"}, {**SHEET["targets"][1], "value": "9.0"}]
    targets = [each | {"tolerance": "1", "tolerance_basis": basis} for each in targets]
    adjusters = [SHEET["adjusters"][0] | {"raises_co2": "anticlockwise"}, SHEET["adjusters"][1]]
    sheet = make_sheet(manager, SHEET | {"targets": targets, "adjusters": adjusters}, name=basis)
    appliance = make_appliance(boiler.building, sheet, "Boiler 9")
    visit = store(visit_body(appliance, person, analyser, found=("9.02", "9.0"), left=("9.19", "9.0")), technician)
    judged = {
        (each["rate"], each["phase"]): each["outcome"]
        for each in visit.judgement.verdicts["verdicts"]
        if each["quantity"] == "co2"
    }
    assert (judged["high", "as_found"], judged["high", "as_left"]) == outcomes
    assert judged["low", "as_found"] == judged["low", "as_left"] == "within"
    turning = {each["rate"]: each["raises_co2"] for each in visit.judgement.card["adjusters"]}
    assert turning == {"high": "anticlockwise", "low": "clockwise"}


def test_there_is_a_stop_level_without_sheet_or_set(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    bare = make_appliance(boiler.building, None, "Boiler 3")
    visit = store(visit_body(bare, person, analyser, co="900"), technician)
    worst = visit.judgement.findings.first()
    assert worst.stop
    assert set_version_words(worst.verdict) == "the contractor's stop levels v1"


def test_every_attached_set_is_judged_in_its_own_basis(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    for key in ("de-kueo-co", "us-trade-co-practice", "uk-bs7967-in-service"):
        place = {"limit_set": LimitSet.objects.get(key=key), "appliance": boiler, "since": NOON.date(), "why": "test"}
        assign_limit_set(values=place, actor=manager, now=NOON)
    verdicts = store(body, technician).judgement.verdicts["verdicts"]
    units = {(each["set_id"], each["unit"]) for each in verdicts}
    assert {("uk-bs7967-in-service", ""), ("de-kueo-co", "ppm"), ("us-trade-co-practice", "ppm")} <= units
    assert all(each["review"] for each in verdicts if each["set_id"] == "de-kueo-co")


def test_judging_again_gives_the_same_verdicts(body: dict[str, Any], technician: User) -> None:
    visit = store(body, technician)
    before = visit.judgement.verdicts
    again = judge_visit(visit=visit, now=NOON)
    assert again.verdicts == before
    assert again.findings.count() == 1


def test_a_doubtful_reading_condemns_and_never_clears(body: dict[str, Any], technician: User) -> None:
    """O2 18.5 %: no air-free figure; 60 ppm there would be 520 ppm air-free, so it is never called within."""
    for each in body["readings"]:
        each["values"] = {"o2": measured("18.5", "%"), "co": measured("60", "ppm")}
    visit = store(body, technician)
    assert visit.judgement.derived[0]["co_ppm_air_free"] is None
    assert visit.judgement.derived[0]["invalid"]
    flue = [each for each in visit.judgement.verdicts["verdicts"] if each["rate"]]
    assert not [each for each in flue if each["outcome"] == "within"]
    assert visit.judgement.outcome != "within"


def test_over_range_co_is_at_stop_level(body: dict[str, Any], technician: User) -> None:
    body["readings"][3]["values"]["co"] = measured("2000", "ppm", "more_than")
    visit = store(body, technician)
    assert visit.judgement.verdicts["stop"]
    assert visit.judgement.outcome == "outside"


def test_the_timed_gas_rate_becomes_heat_input_on_both_bases(body: dict[str, Any], technician: User) -> None:
    """0.1 m3 in 60 s of 38 MJ/m3 gross gas at 15 C and 101 325 Pa: 63.3 kW gross, times net/gross 0.903 for net."""
    body["conditions"]["barometric_pressure"] = measured("1013.25", "hPa")
    body["readings"][0]["gas_rate"] = {
        "index_start": "100.0",
        "index_end": "100.1",
        "unit": "m3",
        "seconds": "60",
        "heating_value_mj_m3_gross": "38",
    }
    derived = store(body, technician).judgement.derived[0]
    assert derived["input_kw_gross"] == pytest.approx(63.33, abs=0.05)
    assert derived["input_kw_net"] == pytest.approx(63.33 * 0.9026, rel=0.003)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"co2": measured("9.40", "%"), "ambient_co": measured("0", "ppm")}, "CO at high fire"),
        ({"co": measured("240", "ppm"), "ambient_co": measured("0", "ppm")}, "CO at high fire"),
    ],
    ids=["no CO read", "CO without O2 and CO2"],
)
def test_within_is_not_said_where_co_could_not_be_judged(
    body: dict[str, Any], technician: User, values: dict[str, Any], said: str
) -> None:
    for each in body["readings"]:
        each["values"] = values
    judgement = store(body, technician).judgement
    assert judgement.outcome in ("incomplete", "not_judged")
    assert judgement.outcome == "not_judged" or said in summary_words(judgement)


def test_an_unproven_rate_is_judged_incompletely(body: dict[str, Any], technician: User) -> None:
    body["readings"] = [each | {"rate_proven_by": "not_proven"} for each in body["readings"]]
    judgement = store(body, technician).judgement
    assert judgement.outcome == "incomplete"
    assert "CO₂ at high fire" in summary_words(judgement)


def test_a_set_that_nobody_has_reviewed_is_named_as_such(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    place = {"limit_set": LimitSet.objects.get(key="us-trade-co-practice"), "appliance": boiler}
    assign_limit_set(values=place | {"since": NOON.date(), "why": "test"}, actor=manager, now=NOON)
    assert "(not reviewed)" in summary_words(store(body, technician).judgement)
