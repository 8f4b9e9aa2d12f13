"""Words that several places say: counts and lists, how a visit turned out, days, chances and rounding."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import product
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.numerals import MINUS, NARROW_SPACE
from fleet.presentation.days import clock_time, day, month_name, offset, weekday, weekday_without_year
from fleet.presentation.figures import (
    DERIVED_DECIMALS,
    NONE,
    UNIT_WORDS,
    chance_words,
    decimals_for,
    derived,
    figure,
    limits_words,
    qualified,
    read_figure,
    read_with_unit,
    with_unit,
)
from fleet.presentation.words import capital, chemical, count_words, listed, rate_words, said, signs, turned_out
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES

QUANTITIES = [*READING_QUANTITIES.values(), *CONDITION_QUANTITIES.values()]


# ---- counts and lists ----


@pytest.mark.parametrize(
    ("words", "shown"), [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")]
)
def test_a_list_has_commas_and_one_and(words: list[str], shown: str) -> None:
    assert listed(words) == shown


@pytest.mark.parametrize(("count", "shown"), [(0, "none"), (1, "one"), (12, "twelve"), (13, "13"), (1490, "1490")])
def test_small_counts_are_words_and_large_ones_figures(count: int, shown: str) -> None:
    assert count_words(count) == shown


@pytest.mark.parametrize(
    ("given_text", "shown"), [("", ""), ("co", "Co"), ("NOx low", "NOx low"), ("éteint", "Éteint")]
)
def test_a_capital_changes_the_first_letter_alone(given_text: str, shown: str) -> None:
    assert capital(given_text) == shown


@pytest.mark.parametrize(
    ("rate", "shown"), [("high", "high fire"), ("low", "low fire"), ("single", "its one rate"), ("stage 2", "stage 2")]
)
def test_a_rate_is_said_as_one_says_it(rate: str, shown: str) -> None:
    assert rate_words(rate) == shown


def test_gases_have_their_figures_set_low_and_limits_their_signs() -> None:
    assert chemical("CO2 over O2, CO stays") == "CO₂ over O₂, CO stays"
    assert chemical("CO₂") == "CO₂"
    assert signs("CO2 >= 9 %, O2 <= 4 %") == "CO₂ ≥ 9 %, O₂ ≤ 4 %"


@given(st.text(max_size=60))
def test_what_is_stored_is_said_with_one_stop_and_said_again_alike(stored: str) -> None:
    once = said(stored)
    assert said(once) == once
    assert once == "" or once[-1] in ".!?…"


# ---- how a visit turned out ----

OUTCOMES = ("outside", "within", "incomplete", "not_judged")


def visit(found: str, outcome: str) -> Any:
    return SimpleNamespace(judgement=SimpleNamespace(turned_out=SimpleNamespace(found=found), outcome=outcome))


@pytest.mark.parametrize(
    ("found", "outcome", "shown"),
    [
        ("outside", "within", "found outside, left within"),
        ("within", "outside", "found within, left outside"),
        ("within", "within", "within, found and left"),
        ("within", "incomplete", "found within, left incomplete"),
        ("not_judged", "within", "left within"),
        ("outside", "not_judged", "found outside"),
        ("", "outside", "left outside"),
        ("", "not_judged", "not judged"),
        ("incomplete", "incomplete", "incomplete, found and left"),
        ("not_judged", "not_judged", "not judged"),
    ],
)
def test_how_it_was_found_and_left(found: str, outcome: str, shown: str) -> None:
    assert turned_out(visit(found, outcome)) == shown


def test_what_was_left_within_is_never_said_of_a_visit_that_was_not() -> None:
    for found, outcome in product(OUTCOMES, OUTCOMES):
        shown = turned_out(visit(found, outcome))
        if outcome != "within":
            assert "left within" not in shown and "found and left" not in shown.replace(
                f"{outcome}, found and left", ""
            )
        if outcome == "outside":
            assert "outside" in shown


# ---- days and times ----


def test_days_are_written_in_one_style_each() -> None:
    when = date(2026, 3, 2)
    assert (weekday(when), weekday_without_year(when)) == ("Monday 2 March 2026", "Monday 2 March")
    assert [month_name(each) for each in (1, 5, 9, 12)] == ["Jan", "May", "Sep", "Dec"]


@given(st.dates(date(1950, 1, 1), date(2199, 12, 31)), st.dates(date(1950, 1, 1), date(2199, 12, 31)))
def test_a_short_day_leaves_out_only_a_year_that_stands_beside_it(when: date, beside: date) -> None:
    assert day(when) == f"{when.day} {month_name(when.month)} {when.year}"
    assert (day(when, beside) == day(when)) == (when.year != beside.year)


@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1)),
    st.sampled_from(["UTC", "Asia/Kolkata", "America/St_Johns"]),
)
def test_a_time_there_and_its_offset_lead_back_to_the_moment(naive: datetime, zone_name: str) -> None:
    moment, zone = naive.replace(second=0, microsecond=0, tzinfo=UTC), ZoneInfo(zone_name)
    shown = offset(moment, zone).removeprefix("UTC")
    hours, _colon, minutes = shown[1:].partition(":")
    ahead = timedelta(hours=int(hours), minutes=int(minutes or 0)) * (-1 if shown[0] == MINUS else 1)
    there = moment.astimezone(zone)
    clock = datetime.combine(there.date(), datetime.strptime(clock_time(moment, zone), "%H:%M").time(), UTC)
    # Zones of the present have whole minutes.
    assert clock - ahead == moment


# ---- chances ----


@pytest.mark.parametrize(
    ("chance", "shown"),
    [
        (0.0, "under 1 %"),
        (0.0099, "under 1 %"),
        (0.01, "1 %"),
        (0.05, "5 %"),
        (0.306, "31 %"),
        (0.5, "50 %"),
        (0.99, "99 %"),
        (0.9901, "over 99 %"),
        (0.999, "over 99 %"),
        (1.0, "over 99 %"),
    ],
)
def test_a_chance_at_its_ends(chance: float, shown: str) -> None:
    assert chance_words(chance) == shown


@given(st.floats(0, 1), st.floats(0, 1))
def test_a_greater_chance_is_never_said_as_a_smaller_one(one: float, other: float) -> None:
    def rank(chance: float) -> float:
        words = chance_words(chance)
        return {"under 1 %": 0.5, "over 99 %": 99.5}.get(words) or float(words.removesuffix(" %"))

    assert (one <= other) <= (rank(one) <= rank(other))
    assert 0 < rank(one) < 100


# ---- figures ----


@given(st.floats(-2_000_000, 2_000_000), st.integers(0, 4))
def test_a_figure_reads_back_as_the_value_to_its_decimals(value: float, decimals: int) -> None:
    shown = figure(value, decimals)
    plain = shown.replace(NARROW_SPACE, "").replace(MINUS, "-")
    assert abs(Decimal(plain) - Decimal(repr(value))) <= Decimal(10) ** -decimals / 2 + Decimal("1e-9")
    assert "-" not in shown and not shown.startswith(f"{MINUS}0." + "0" * decimals if decimals else f"{MINUS}0")
    assert len(plain.partition(".")[2]) == decimals
    assert (NARROW_SPACE in shown) == (abs(round(value, decimals)) >= 10_000 or abs(value) >= 10_000)


@pytest.mark.parametrize("quantity", QUANTITIES, ids=lambda each: str(each.name))
def test_a_reading_has_its_quantity_s_decimals_its_unit_in_words_and_never_the_unit_one(quantity: Any) -> None:
    shown = read_with_unit(quantity, 3.0)
    assert "degC" not in shown and "vol" not in shown
    assert not shown.endswith(" 1") and shown == shown.strip()
    assert len(read_figure(quantity, 3.0).partition(".")[2]) == quantity.decimals
    assert read_figure(quantity, None) == NONE
    assert read_with_unit(quantity, None, "sensor_fault") == "fault"


@pytest.mark.parametrize(
    ("name", "decimals"),
    # As instruments show them: O2 to a tenth, CO2 to a hundredth, CO, NOx and smoke whole, temperatures to a tenth.
    [("o2", 1), ("co2", 2), ("co", 0), ("nox", 0), ("ambient_co", 0), ("flue_temp", 1), ("air_temp", 1), ("smoke", 0)],
)
def test_each_quantity_is_rounded_one_way(name: str, decimals: int) -> None:
    assert READING_QUANTITIES[name].decimals == decimals


@pytest.mark.parametrize("name", DERIVED_DECIMALS)
def test_what_is_worked_out_has_one_rounding_and_a_dash_where_it_cannot_be(name: str) -> None:
    missing, found = (SimpleNamespace(**{name: value}) for value in (None, 12.3456789))
    assert derived(missing, name) == NONE
    assert len(derived(found, name).partition(".")[2]) == DERIVED_DECIMALS[name]
    if "ppm" in name or "_mg_" in name:
        assert DERIVED_DECIMALS[name] == 0


@given(st.floats(1e-4, 1e5))
def test_an_uncertainty_shows_one_or_two_of_its_figures(uncertainty: float) -> None:
    decimals = decimals_for(uncertainty)
    shown = figure(uncertainty, decimals).replace(NARROW_SPACE, "")
    digits = shown.replace(".", "").lstrip("0")
    assert digits or uncertainty < 1e-6
    if decimals:
        assert len(digits) <= 2
    # Rounding never takes a fifth of it.
    assert decimals == 6 or abs(float(shown) - uncertainty) <= 0.2 * uncertainty


@pytest.mark.parametrize(
    ("qualifier", "shown"),
    [("=", "12"), ("more_than", "more than 12"), ("less_than", "less than 12"), ("at_least", "at least 12")],
)
def test_a_qualifier_is_said_before_the_figure(qualifier: str, shown: str) -> None:
    assert qualified("12", qualifier) == shown


@pytest.mark.parametrize("unit", [*UNIT_WORDS, "Pa", "ppm"])
def test_a_unit_is_said_as_it_is_written_in_the_trade(unit: str) -> None:
    assert with_unit("3", unit) == f"3 {UNIT_WORDS.get(unit, unit)}".strip()
    assert not any(code in with_unit("3", unit) for code in ("degC", "Nm3", "m3", "ppmv", "vol%"))


@pytest.mark.parametrize(
    ("lower", "upper", "shown"),
    [(9.1, 9.7, "9.1 to 9.7"), (None, 250.0, "up to 250"), (8.0, None, "from 8"), (9.108, 9.4, "9.108 to 9.4")],
)
def test_limits_keep_their_own_decimals(lower: float | None, upper: float | None, shown: str) -> None:
    assert limits_words(lower, upper) == shown
