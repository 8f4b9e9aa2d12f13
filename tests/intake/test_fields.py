"""Each field reads one thing in one way; what it refuses is named with its value and what is allowed."""

from decimal import Decimal
from typing import Annotated, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.intake import fields
from fleet.intake.fields import without_decimals
from fleet.intake.limit_sets import FIRES_WHEN, KEY, FiresWhen, Select
from fleet.intake.register import CalibrationIn, QualificationIn, StopLevelsIn
from fleet.models import User
from fleet.quantities import CONDITION_QUANTITIES, QUALIFIERS, READING_QUANTITIES, column_unit
from fleet.units import convert
from tests.intake.refused import read_by, refusals

QUANTITIES = {**READING_QUANTITIES, **CONDITION_QUANTITIES}
UNITS = [(name, unit) for name, quantity in QUANTITIES.items() for unit in quantity.units]


def refusal(field: Any, value: Any) -> str:
    """What it says of a value; empty where it takes it."""
    return " ".join(refusals(field, value).values())


# Field, what it takes with what is kept, and what it refuses with what it says.
DECIMAL, BOUNDED = fields.DecimalText(), fields.DecimalText(0, 21)
READ: list[tuple[str, Any, Any, Any]] = [
    ("text", fields.Text(), "  Boiler 3 ", "Boiler 3"),
    ("text", fields.Text(), "e\u0301", "\u00e9"),
    ("text", fields.Text(), "a\u202eb\x07c\ufeff", "abc"),
    ("text", fields.Text(), "two\nlines\tand a tab", "two\nlines\tand a tab"),
    ("text that may be left out", fields.Text(blank=True), "", ""),
    ("word", fields.Word(["open", "closed"]), "open", "open"),
    ("yes or no", fields.YesNo(), False, False),
    ("decimal", DECIMAL, "9.20", "9.20"),
    ("decimal", DECIMAL, "-0.02", "-0.02"),
    ("decimal", DECIMAL, 9, "9"),
    ("decimal", DECIMAL, Decimal("9.20"), "9.20"),
    ("decimal", DECIMAL, "123456789.123456", "123456789.123456"),
    ("decimal from 0 to 21", BOUNDED, "0", "0"),
    ("decimal from 0 to 21", BOUNDED, "21.00", "21.00"),
    ("moment", fields.Moment(), "2026-03-02T09:41:00Z", "2026-03-02T09:41:00+00:00"),
    ("moment", fields.Moment(), "2026-03-02T09:41:07.25-03:30", "2026-03-02T09:41:07.250000-03:30"),
    ("moment or day", fields.MomentOrDay(), "2026-03-02", "2026-03-02"),
    ("moment or day", fields.MomentOrDay(), "2026-03-02T09:41:00+01:00", "2026-03-02T09:41:00+01:00"),
    ("day", fields.Day(), "2024-02-29", "2024-02-29"),
    ("day", fields.Day(), "1900-01-01", "1900-01-01"),
    ("day or year", fields.DayOrYear(), "2010-10", "2010-10"),
    ("day or year", fields.DayOrYear(), "2010", "2010"),
    ("whole number", fields.Whole(), 7, 7),
    ("key", fields.Text(80, pattern=KEY), "us_nj-7", "us_nj-7"),
    *(("telephone number", fields.Phone(), each, each) for each in ("112", "+1 (555) 010-0100", "(+44) 0000 111 222")),
    ("telephone number that may be left out", fields.Phone(blank=True), "", ""),
]
REFUSED: list[tuple[str, Any, Any, str]] = [
    ("text", fields.Text(), 7, "it must be a string"),
    ("text", fields.Text(5), "longer", "5"),
    *(
        ("telephone number", fields.Phone(), each, "it must be a telephone number of 3 to 15 figures")
        for each in ("abc", "11", "1" * 16, "0000 ext 4", "0000+1", "٠٠٠٠", "++0000", "555 0100 (gas)")
    ),
    ("text that is asked for", fields.Text(), " \u200b ", ""),
    ("word", fields.Word(["open", "closed"]), "ajar", "is 'ajar'; it must be one of: open, closed"),
    ("yes or no", fields.YesNo(), "true", "is 'true'; it must be true or false"),
    ("yes or no", fields.YesNo(), 1, "it must be true or false"),
    ("decimal", DECIMAL, "9,2", 'it must be a decimal number such as "9.20"'),
    ("decimal", DECIMAL, "1e3", "decimal number"),
    ("decimal", DECIMAL, " 9", "decimal number"),
    ("decimal", DECIMAL, "９", "decimal number"),
    ("decimal", DECIMAL, ".5", "decimal number"),
    ("decimal", DECIMAL, "+1", "decimal number"),
    ("decimal", DECIMAL, "nan", "decimal number"),
    ("decimal", DECIMAL, True, "decimal number"),
    ("decimal", DECIMAL, 9.2, "decimal number"),
    ("decimal", DECIMAL, "1.1234567", "decimal number"),
    ("decimal from 0 to 21", BOUNDED, "-0.01", "it must be from 0 to 21"),
    ("decimal from 0 to 21", BOUNDED, "21.01", "it must be from 0 to 21"),
    ("moment", fields.Moment(), "2026-03-02T09:41:00", "a time with offset"),
    ("moment", fields.Moment(), "2026-03-02", "a time with offset"),
    ("moment", fields.Moment(), "2026-02-30T09:41:00Z", "a time with offset"),
    ("moment", fields.Moment(), 1772444460, "a time with offset"),
    ("moment", fields.Moment(), "1899-12-31T23:59:00Z", "from 1900 to 2200"),
    ("moment or day", fields.MomentOrDay(), "2026-02-30", "it must be a day"),
    ("day", fields.Day(), "2026-02-29", "it must be a day such as 2026-03-02"),
    ("day", fields.Day(), "02.03.2026", "it must be a day"),
    ("day", fields.Day(), 20260302, "it must be a day"),
    ("day", fields.Day(), "2201-01-01", "from 1900 to 2200"),
    ("day or year", fields.DayOrYear(), "2010-13", "it must be a day"),
    ("day or year", fields.DayOrYear(), "10-2010", "2026-03-02, 2026-03 or 2026"),
    ("day or year", fields.DayOrYear(), 2010, "2026-03-02, 2026-03 or 2026"),
    ("day or year", fields.DayOrYear(), "1899", "from 1900 to 2200"),
    ("whole number", fields.Whole(), "7", "it must be a whole number"),
    ("whole number", fields.Whole(), True, "it must be a whole number"),
    ("whole number", fields.Whole(), 0, "1"),
    ("key", fields.Text(80, pattern=KEY), "two words", "letters, figures, - and _ only"),
    ("key", fields.Text(80, pattern=KEY), "umläut", "letters, figures, - and _ only"),
]


@pytest.mark.parametrize(("name", "field", "value", "kept"), READ, ids=[f"{each[0]} {each[2]!r}" for each in READ])
def test_it_is_kept_as_it_was_read(name: str, field: Any, value: Any, kept: Any) -> None:
    assert read_by(field, value) == kept


@pytest.mark.parametrize(
    ("name", "field", "value", "says"), REFUSED, ids=[f"{each[0]} {each[2]!r}" for each in REFUSED]
)
def test_it_is_refused_with_what_is_allowed(name: str, field: Any, value: Any, says: str) -> None:
    said = refusal(field, value)
    assert said and says in said


@given(st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=20), st.lists(st.integers())))
def test_whatever_comes_is_read_or_refused_and_never_breaks(value: Any) -> None:
    for _name, field, _good, _kept in READ:
        refusal(field, value)


@given(st.text(max_size=80))
def test_cleaned_text_is_clean_and_cleaning_it_again_changes_nothing(text: str) -> None:
    once = fields.cleaned(text)
    assert fields.cleaned(once) == once
    assert once == once.strip()
    assert not {"\u202e", "\u2066", "\x00", "\x1b", "\ufeff"} & set(once)


# ---- what is measured ----


@pytest.mark.parametrize(("name", "unit"), UNITS)
def test_every_unit_that_is_offered_becomes_the_column_s_and_back(name: str, unit: str) -> None:
    quantity = QUANTITIES[name]
    kept = read_by(fields.Measured(quantity), {"value": "12.5", "unit": unit})
    assert (kept["value"], kept["unit"], kept["qualifier"]) == ("12.5", unit, "=")
    back = convert(Decimal(kept["figure"]), column_unit(quantity), unit)
    # Six decimals in the column's unit.
    slack = abs(
        convert(Decimal("0.000001"), column_unit(quantity), unit) - convert(Decimal(0), column_unit(quantity), unit)
    )
    assert abs(back - Decimal("12.5")) <= slack
    assert "E" not in kept["figure"].upper()


@pytest.mark.parametrize("qualifier", QUALIFIERS)
def test_a_figure_is_asked_for_unless_nothing_was_measured(qualifier: str) -> None:
    field = fields.Measured(READING_QUANTITIES["co"])
    bare = refusal(field, {"qualifier": qualifier})
    assert (bare == "") == (qualifier in ("not_measured", "sensor_fault"))
    kept = read_by(field, {"value": "2000", "unit": "ppm", "qualifier": qualifier})
    assert ("figure" in kept) == (bare != "")


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("40", "it must be an object with value, unit, qualifier"),
        ({"value": "40", "unit": "ppm", "accuracy": "5"}, "known are value, unit, qualifier"),
        ({"value": "40", "unit": "ppm", "qualifier": ">"}, "it must be one of: =, "),
        ({"value": "40", "unit": "mg"}, "it must be one of: ppm"),
        ({"value": "40"}, "is missing; it must be one of: ppm"),
        ({"unit": "ppm"}, "is missing; it must be a decimal number"),
    ],
)
def test_a_measured_value_that_is_none_says_what_is_wrong_with_it(value: Any, says: str) -> None:
    assert says in refusal(fields.Measured(READING_QUANTITIES["co"]), value)


# ---- errors and what a record may hold ----


class Part(fields.Shape):
    value: Annotated[str, fields.Text(3)]
    more: Annotated[list[Annotated[str, fields.DecimalText(0, 9)]], fields.Many(0, 2)] = fields.LEFT_OUT


class Whole(fields.Shape):
    parts: Annotated[list[Part], fields.Many(1)]
    one: Part | None = fields.LEFT_OUT


def test_each_fault_stands_at_its_path() -> None:
    assert refusals(Whole, {"parts": [{"value": "a"}, {"value": "long", "more": ["1", "x", "10"]}], "one": []}) == {
        "parts.1.value": "is too long; it may have at most 3 characters",
        "parts.1.more": "is too long a list; it may have at most 2",
        "one": "is []; it must be an object",
    }
    assert refusals(Whole, {"parts": [{"value": "a", "more": ["x"]}, {"value": None}, {}]}) == {
        "parts.0.more.0": "is 'x'; it must be a decimal number such as \"9.20\"",
        "parts.1.value": "is empty; it must be given",
        "parts.2.value": "is missing; it must be given",
    }
    assert refusals(Whole, {"parts": []}) == {"parts": "is too short a list; it must have at least 1"}


def test_what_is_left_out_is_not_kept_and_what_is_null_is() -> None:
    assert fields.read_shape(Whole, {"parts": [{"value": " a "}]}, viewer=User()) == {"parts": [{"value": "a"}]}
    assert fields.read_shape(Whole, {"parts": [{"value": "a"}], "one": None}, viewer=User())["one"] is None
    assert fields.read_shape(Whole, {}, partial=True, viewer=User()) == {}


def test_many_unknown_keys_are_said_in_few_words() -> None:
    said = refusals(Part, {f"key_{number}": 1 for number in range(100_000)})
    assert len(said) == fields.ERRORS_MAX
    assert list(said.values())[:2] == ["is not known here; known are more, value", "is not known here"]


def test_at_most_twenty_faults_are_named() -> None:
    assert len(refusals(Whole, {"parts": [{}] * 1000})) == fields.ERRORS_MAX


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.decimals(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@given(JSON)
def test_no_number_with_a_fraction_stays_a_number(value: Any) -> None:
    def numbers(part: Any) -> list[Any]:
        if isinstance(part, dict):
            return [each for one in part.values() for each in numbers(one)]
        if isinstance(part, list):
            return [each for one in part for each in numbers(one)]
        return [part] if isinstance(part, float | Decimal) else []

    kept = without_decimals(value)
    assert numbers(kept) == []
    assert without_decimals(kept) == kept


# ---- limits: when a value is outside, and for whom ----

FITTING: dict[str, list[Any]] = {
    ">": ["400", 400, None, "co_stop_ppm"],
    ">=": ["0.5", None],
    "<": ["-5", "rated_gas_pressure"],
    "rising_and_over": ["100", None],
    "outside": [["8.5", "9.5"], [None, "9.5"], ["8.5", None], None],
    "between": [["30", "60"], None],
    "!=": ["stable"],
    "missing": [None, ["sheet"], []],
    "incomplete": [["a", "b"], None],
}
UNFITTING: dict[str, list[Any]] = {
    ">": ["Four hundred", True, ["1", "2"], "9,2", {}],
    ">=": ["1e3"],
    "<": [[]],
    "rising_and_over": ["fast!"],
    "outside": ["9", ["1"], ["1", "2", "3"], [None, None], ["a", "b"]],
    "between": [["30", None], [None, "60"], "30"],
    "!=": [None, "", 7],
    "missing": ["sheet", [""], [7]],
    "incomplete": [{"a": 1}],
}


@pytest.mark.parametrize("op", FIRES_WHEN)
def test_each_comparison_takes_what_it_can_compare_with_and_nothing_else(op: str) -> None:
    for value in FITTING[op]:
        assert refusal(FiresWhen(), {"op": op, "value": value}) == "", value
    for value in UNFITTING[op]:
        assert refusal(FiresWhen(), {"op": op, "value": value}) != "", value


@pytest.mark.parametrize(
    "value", [None, ">", {"op": ">"}, {"op": "==", "value": "1"}, {"op": ">", "value": "1", "x": 1}]
)
def test_a_comparison_that_is_none_is_refused(value: Any) -> None:
    assert refusal(FiresWhen(), value)


@pytest.mark.parametrize(
    ("select", "wrong"),
    [
        ({"fuel": ["natural_gas", "lpg"], "output_kW_gt": 25, "condensing": False}, None),
        ({"construction": "not_fire_tube", "type": 2, "installation_on_lt": "2009-10-01"}, None),
        ({}, None),
        ({"output_kw_gt": "big"}, "output_kw_gt"),
        ({"output_kw_gt": True}, "output_kw_gt"),
        ({"installation_on_lt": "2009-02-30"}, "installation_on_lt"),
        ({"Fuel kind": "gas"}, "Fuel kind"),
        ({"fuel": []}, "fuel"),
        ({"fuel": [None]}, "fuel"),
        ({"fuel": {"is": "gas"}}, "fuel"),
        ({"share": 0.5}, "share"),
        ({"ünit": "x"}, "ünit"),
    ],
)
def test_a_predicate_that_no_fact_could_decide_is_named(select: dict[str, Any], wrong: str | None) -> None:
    assert list(refusals(Select(), select)) == ([wrong] if wrong else [])


def test_at_most_twenty_facts_make_a_predicate() -> None:
    assert not refusals(Select(), {f"fact_{number}": True for number in range(20)})
    for data in ({f"fact_{number}": True for number in range(21)}, [], "all"):
        assert refusals(Select(), data)


# ---- the register ----

CALIBRATION = {
    "done_on": "2026-01-10",
    "valid_to": "2027-01-10",
    "certificate": "C-1",
    "by": "a laboratory",
    "passed": True,
}
QUALIFICATION = {
    "scheme": "S",
    "number": "7",
    "fuel_kinds": ["gas"],
    "valid_from": "2026-01-01",
    "valid_to": "2027-01-01",
}
STOP = {"co_ppm_air_free": "400", "ambient_co_ppm": "35", "ambient_co_rise_ppm": "5", "co_rising_above_ppm": "100"}
STOP |= {"spillage_min": "5", "evidence": "own"}


@pytest.mark.parametrize(
    ("shape", "good", "change", "field"),
    [
        (CalibrationIn, CALIBRATION, {"passed": "yes"}, "passed"),
        (CalibrationIn, CALIBRATION, {"done_on": "soon"}, "done_on"),
        (CalibrationIn, CALIBRATION, {"uncertainty": {"o2": {"absolute": "-1"}}}, "uncertainty.o2.absolute"),
        (CalibrationIn, CALIBRATION, {"uncertainty": {"o2": {"relative_pct": "101"}}}, "uncertainty.o2.relative_pct"),
        (CalibrationIn, CALIBRATION, {"uncertainty": {"gold": {}}}, "uncertainty.gold"),
        (QualificationIn, QUALIFICATION, {"fuel_kinds": []}, "fuel_kinds"),
        (QualificationIn, QUALIFICATION, {"fuel_kinds": ["coal"]}, "fuel_kinds.0"),
        (QualificationIn, QUALIFICATION, {"licence": "x"}, "licence"),
        (StopLevelsIn, STOP, {"co_ppm_air_free": "0"}, "co_ppm_air_free"),
        (StopLevelsIn, STOP, {"ambient_co_ppm": None}, "ambient_co_ppm"),
        (StopLevelsIn, STOP, {"spillage_min": "61"}, "spillage_min"),
        (StopLevelsIn, STOP, {"evidence": ""}, "evidence"),
    ],
)
def test_the_register_s_records_name_what_is_wrong(shape: Any, good: dict[str, Any], change: Any, field: str) -> None:
    assert refusals(shape, good) == {}
    assert list(refusals(shape, good | change)) == [field]


@pytest.mark.parametrize("name", STOP)
def test_no_stop_level_may_be_left_out(name: str) -> None:
    """T3: there is always a stop level."""
    assert list(refusals(StopLevelsIn, {each: value for each, value in STOP.items() if each != name})) == [name]
