"""The second table of figures and how far the first can be trusted, on paper and page."""

from typing import Any

import pytest

from fleet.assess.judging.visit_facts import ReadingFacts
from fleet.models import Analyser
from fleet.models.judgements import Derived, SeriesSteadiness
from fleet.presentation.figures import NONE, decimals_for
from fleet.presentation.reading_figures import (
    has_worked_out,
    read_columns,
    series_words,
    spread_row,
    widest_row,
    worked_head,
    worked_row,
)
from fleet.presentation.visits import side_figures
from fleet.queries.visits import visit_for
from tests.cast import measured, store


def facts(**derived: Any) -> ReadingFacts:
    return ReadingFacts(reading=None, derived=Derived(derived), verdicts=())  # type: ignore[arg-type]  # not asked here


def test_each_figure_stands_under_its_head() -> None:
    row = worked_row(facts(sensible_loss_pct_net=2.26, condensate_fraction=0.142, input_share_pct=96.7))
    assert len(row) == len(worked_head()) - 1
    assert (row[0], row[3], row[-1]) == ("2.3", "14", "97")


def test_more_than_is_carried_as_a_sign() -> None:
    row = worked_row(facts(co_mg_per_kwh_net=2148.0, qualifiers={"co_mg_per_kwh_net": "more_than"}))
    assert row[6] == "> 2148"


def test_what_pulls_both_ways_is_not_known() -> None:
    assert "?" in worked_row(facts(co_mg_per_kwh_net=2148.0, qualifiers={"co_mg_per_kwh_net": "not_known"}))


def test_a_judgement_of_before_has_nothing_worked_out() -> None:
    old = ReadingFacts(reading=None, derived=Derived.of_json({"o2_pct": 5.0}), verdicts=())  # type: ignore[arg-type]  # not asked here
    assert not has_worked_out(old)
    assert set(worked_row(old)) == {NONE}
    assert not any(spread_row(old))
    assert series_words(old) == ""


def test_an_uncertainty_is_expanded_and_none_is_invented() -> None:
    row = spread_row(facts(uncertainties={"o2_pct": 0.15, "co_ppm": None}))
    assert (row[0], row[2]) == ("±0.3", "")


def test_the_widest_of_all_readings_counts() -> None:
    rows = [facts(uncertainties={"o2_pct": 0.15}), facts(uncertainties={"o2_pct": 0.25})]
    assert widest_row(rows)[0] == "±0.5"
    assert not any(widest_row([]))


@pytest.mark.parametrize(("uncertainty", "decimals"), [(0.32, 1), (0.0192, 3), (24.0, 0), (3.2, 0), (1.5, 1), (0.1, 2)])
def test_an_uncertainty_shows_one_figure_or_two(uncertainty: float, decimals: int) -> None:
    assert decimals_for(uncertainty) == decimals


def test_a_series_says_where_it_came_to_rest_or_why_not() -> None:
    steady = {"steady": True, "mean": 4.31, "u": 0.012, "reason": None}
    restless = {"steady": False, "mean": 60.0, "u": 1.0, "reason": ["rises", {"moved": 5.04, "allowed": 2.0}]}
    window = {"n": 60, "window_s": 60.0, "slope_per_min": 0.0, "range": 0.1}
    kept = {"o2": steady | window, "flue_temp": restless | window, "overall": True}
    words = series_words(facts(steadiness=SeriesSteadiness.of_json(kept)))
    assert "O₂ steady at 4.31 ±0.02" in words
    assert "flue temperature not steady: flue temperature rises 5.04 K/min; 2 is allowed" in words


def test_the_probability_of_conformity_stands_beside_and_decides_nothing(body: Any, technician: Any) -> None:
    for each, o2_pct in zip(body["readings"], ("5.8", "5.5", "4.9", "5.5"), strict=True):
        each["values"]["o2"] = measured(o2_pct, "%")
    said = side_figures(visit_for(technician, store(body, technician).id))
    assert len(said) == 2
    assert all("with" in each and "%" in each for each in said)


def test_without_a_stated_accuracy_no_probability_is_invented(body: Any, technician: Any) -> None:
    Analyser.objects.update(accuracy={})
    assert side_figures(visit_for(technician, store(body, technician).id)) == []


def test_a_column_that_no_reading_fills_is_not_shown():
    assert read_columns([["1", NONE, NONE], ["2", NONE, "3"]]) == [0, 2]
    assert read_columns([]) == []
