"""From facts to drawings: scales, pins and walls."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.models import Forecast, Revisit
from fleet.presentation.drift_chart import drift_chart, expected_rule, outcome_on
from fleet.presentation.due_rule import revisit_rule, row_due_rule
from fleet.presentation.figures import chance_words
from fleet.presentation.reading_rule import Pin, ReadingRule, Wall, reading_words
from fleet.presentation.readings import verdict_rule
from fleet.presentation.words import count_words, said
from fleet.web.strips import rule_svg
from tests.limits.cast import make_verdict
from tests.web.drawn import texts

DAY = date(2026, 3, 2)
VERDICT: dict[str, Any] = {
    "kind": "ceiling", "label": ["co_ppm_air_free", {}], "quantity": "co_ppm_air_free", "unit": "ppm", "value": 310.0,
    "qualifier": "=", "lower": None, "upper": 250.0, "phase": "as_left",
}  # fmt: skip


def forecast() -> Forecast:
    points = [
        {"date": f"{DAY + timedelta(days=days):%Y-%m-%d}", "low90": 8.0, "low50": 8.5, "median": middle,
         "high50": 9.7, "high90": 10.0}
        for days, middle in ((0, 9.4), (100, 9.0), (200, 8.6))
    ]  # fmt: skip
    series = [{"date": "2026-03-02", "found": 9.1, "left": None, "found_raw": 9.0, "left_raw": None}]
    return Forecast(
        quantity="co2", rate="high", lower=9.1, upper=9.7, target=9.4, course=points, series=series,
        last_visit_on=DAY, horizon_on=DAY + timedelta(days=90),
    )  # fmt: skip


def test_a_verdict_against_a_limit_gets_a_wall_and_its_pin_on_the_side_of_its_phase() -> None:
    rule = verdict_rule(make_verdict(**VERDICT))
    assert rule is not None
    assert (rule.walls, [pin.text for pin in rule.left], rule.found) == ([Wall(250.0, "upper")], ["310"], [])
    assert rule.low == 0.0


def test_a_verdict_against_a_target_gets_a_band_and_no_wall() -> None:
    band = VERDICT | {"kind": "band", "label": ["co2", {}], "quantity": "co2", "unit": "%", "value": 10.3}
    rule = verdict_rule(make_verdict(**band | {"lower": 9.1, "upper": 9.7, "phase": "as_found"}))
    assert rule is not None
    assert (rule.band_lower, rule.band_upper, list(rule.walls)) == (9.1, 9.7, [])
    assert [pin.at for pin in rule.found] == [10.3]


@pytest.mark.parametrize("change", [{"value": None}, {"value": "unstable"}, {"upper": None}])
def test_a_verdict_without_figures_has_no_rule(change: dict[str, Any]) -> None:
    assert verdict_rule(make_verdict(**VERDICT | change)) is None


def test_what_is_expected_lies_on_straight_lines_between_stored_days() -> None:
    course = forecast()
    on = outcome_on(course, DAY + timedelta(days=50))
    assert on is not None
    assert on.median == pytest.approx(9.2)
    after, before = outcome_on(course, DAY + timedelta(days=999)), outcome_on(course, DAY - timedelta(days=9))
    assert (after and after.median, before and before.median) == (8.6, 9.4)
    assert outcome_on(Forecast(course=[]), DAY) is None


def test_what_is_expected_is_an_open_pin_with_its_spread_beside_the_last_one() -> None:
    course = forecast()
    on = outcome_on(course, DAY + timedelta(days=200))
    assert on is not None
    rule = expected_rule(course, on)
    assert [(pin.at, pin.spread) for pin in rule.found] == [(8.6, (8.0, 10.0))]
    assert [pin.at for pin in rule.left] == [9.1]
    assert rule.low < 8.0 < 10.0 < rule.high


def test_a_chart_keeps_raw_values_beside_corrected_ones() -> None:
    chart = drift_chart(forecast(), None, DAY, [Wall(8.9, "lower"), Wall(10.1, "upper"), Wall(10.5, "upper")])
    assert [(each.found, each.found_as_read) for each in chart.visits] == [(9.1, 9.0)]
    assert (chart.lower, chart.upper, chart.due) == (8.9, 10.1, None)


def test_a_window_that_opened_years_ago_is_shown_from_the_last_visit() -> None:
    revisit = Revisit(earliest=date(2021, 1, 1), latest=date(2027, 3, 2))
    assert revisit_rule(revisit, DAY, last_visit=DAY).opens == DAY
    assert revisit_rule(revisit, DAY).opens == date(2021, 1, 1)
    passed = Revisit(earliest=date(2025, 1, 1), latest=date(2025, 6, 1))
    assert revisit_rule(passed, DAY, last_visit=DAY).opens == date(2025, 1, 1)


def test_the_day_that_is_set_stands_on_the_rule() -> None:
    revisit = Revisit(earliest=DAY, latest=DAY + timedelta(days=30), day=DAY + timedelta(days=9))
    assert revisit_rule(revisit, DAY).planned == DAY + timedelta(days=9)
    assert revisit_rule(Revisit(earliest=DAY, latest=DAY), DAY).planned is None


def test_rows_share_one_scale_and_never_open_after_their_last_day() -> None:
    rule = row_due_rule(date(2026, 9, 1), date(2026, 3, 9), DAY, timedelta(days=21))
    assert rule is not None and rule.opens == rule.last_day == date(2026, 3, 9)
    assert (rule.first, rule.until) == (DAY - timedelta(days=90), DAY + timedelta(days=28))


def test_a_row_that_would_be_hatching_alone_has_no_rule() -> None:
    ended, ahead = DAY - timedelta(days=90), timedelta(days=21)
    assert row_due_rule(None, ended, DAY, ahead) is None
    assert row_due_rule(None, ended + timedelta(days=1), DAY, ahead) is not None
    planned = row_due_rule(None, ended, DAY, ahead, planned=DAY)
    assert planned is not None and planned.planned == DAY


def test_a_risk_used_up_years_ahead_leaves_the_window_its_room() -> None:
    revisit = Revisit(earliest=DAY, latest=DAY + timedelta(days=14))
    rule = revisit_rule(revisit, DAY, horizon=DAY + timedelta(days=700))
    assert rule.until == DAY + timedelta(days=104)
    assert revisit_rule(revisit, DAY, horizon=DAY + timedelta(days=60)).until is None


def test_a_limit_that_may_not_apply_is_no_hatching_and_has_a_question_mark() -> None:
    rule = ReadingRule("CO", "ppm", 0, 500, 0, walls=[Wall(300, "upper", is_sure=False)], found=[Pin(310)])
    assert 'class="beyond"' not in rule_svg(rule)
    assert "300?" in texts(rule_svg(rule))
    assert "whether it applies or is kept can't be told" in reading_words(rule)


def test_at_least_points_beyond_the_line() -> None:
    rule = ReadingRule("CO air-free", "ppm", 0, 500, 0, found=[Pin(420, qualifier="at_least")])
    assert "≥ 420 found" in texts(rule_svg(rule))
    assert "found at least 420" in reading_words(rule)


@pytest.mark.parametrize(
    ("chance", "words"), [(0, "under 1 %"), (0.004, "under 1 %"), (0.42, "42 %"), (1, "over 99 %")]
)
def test_a_chance_is_never_none_and_never_certain(chance: float, words: str) -> None:
    assert chance_words(chance) == words


def test_stored_sentences_speak_their_days_and_end() -> None:
    assert said("CO2 reaches 8 %") == "CO₂ reaches 8 %."
    assert said("Serial 2026-01-07 stays.") == "Serial 2026-01-07 stays."
    assert (said(""), count_words(0), count_words(13)) == ("", "none", "13")
