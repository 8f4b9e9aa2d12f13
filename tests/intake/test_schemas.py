"""The published schemas and the readers say the same of a file: what the one takes the other takes.

Only what stands between fields, which a schema can't say, is the reader's alone; each schema's descriptions name it.
"""

import copy
import json
import re
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from fleet.combustion import FUELS
from fleet.errors import Malformed
from fleet.intake import limit_sets, sheets
from fleet.intake.fields import Shape, file_schema
from fleet.intake.limit_sets import read_limit_set_file
from fleet.intake.sheets import read_sheet_file
from fleet.limits.card import CONTROLS
from tests.cast import SHEET
from tests.intake.refused import said_of

REFERENCE = Path(__file__).resolve().parents[2] / "fixtures" / "reference"
SHIPPED = json.loads((REFERENCE / "limit_sets.json").read_text(), parse_float=str)["profiles"]
SETS = [each for each in SHIPPED if each["kind"] != "target"]


def schema(shape: type[Shape]) -> Any:
    described = json.loads(json.dumps(file_schema(shape)), parse_float=Decimal)
    Draft202012Validator.check_schema(described)
    return Draft202012Validator(described)


SHEETS, LIMIT_SETS = schema(sheets.SheetFileIn), schema(limit_sets.LimitSetFileIn)

# What only a reader can tell, as it says it.
BETWEEN_FIELDS = re.compile(
    "it must not be above the upper end|it must lie from|a target needs both ends|no tolerance besides"
    "|only where the tolerance is a range|needs a target and a tolerance|the rates here are|stands there already"
    "|makes a band from|all that the rated input holds|it must be from 0 to|each stands once"
    "|must not be above the rated|another rate than"
    "|too many facts|it must be below months|in two windows|it must leave room for"
)


def refusal(read: Any, file: Any) -> dict[str, str]:
    try:
        read(copy.deepcopy(file))
    except Malformed as bad:
        return said_of(bad)
    return {}


def check_agreement(validator: Any, read: Any, file: Any) -> None:
    taken, refused = validator.is_valid(file), refusal(read, file)
    if not taken:
        assert refused, [each.message for each in validator.iter_errors(file)]
    elif refused:
        # A variant has with its rule what its type needs.
        assert all(BETWEEN_FIELDS.search(said) or ".variants." in path for path, said in refused.items()), refused


# ---- documents: a good one, and the same with something put, changed or left out anywhere ----


def decimals(low: int, high: int) -> st.SearchStrategy[Any]:
    places = st.decimals(low, high, places=2).map(lambda value: f"{value:f}")
    return st.one_of(
        places, st.integers(low, high), st.sampled_from([str(low), str(high), f"{high}.000000", f"0{high}"])
    )


def words(most: int) -> st.SearchStrategy[str]:
    letters = st.characters(codec="ascii", categories=["L", "N", "P"])
    return st.text(letters, min_size=1, max_size=min(most, 8))


def some(**fields: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=fields)


@st.composite
def targets(draw: st.DrawFn, rate: str) -> dict[str, Any]:
    named = {
        "rate": rate,
        "quantity": draw(st.sampled_from(["co2", "o2"])),
        "casing": draw(st.sampled_from(["any", "open"])),
    }
    if draw(st.booleans()):
        return named | {"tolerance_basis": "range", "lower": draw(decimals(0, 9)), "upper": draw(decimals(10, 21))}
    bases = st.sampled_from(["points", "percent_of_target", "range"])
    return (
        named
        | {"tolerance_basis": draw(bases), "value": draw(decimals(0, 21)), "tolerance": draw(decimals(0, 100))}
        | draw(some(source_text=words(300)))
    )


@st.composite
def sheet_files(draw: st.DrawFn) -> dict[str, Any]:
    rates = draw(st.lists(words(20), min_size=1, max_size=3, unique=True))
    rate = st.sampled_from(rates)
    ceiling = st.sampled_from(list(sheets.CEILING_UNITS.items()))
    content = {
        "fuel": draw(st.sampled_from(list(FUELS))),
        "control": draw(st.sampled_from(CONTROLS)),
        "condensing": draw(st.booleans()),
        "rated_input_kw": draw(decimals(1, 50_000)),
        "input_basis": draw(st.sampled_from(["net", "gross"])),
        "rates": rates,
        "targets": [draw(targets(each)) for each in rates],
        "ceilings": [
            {"quantity": quantity, "unit": unit, "value": draw(decimals(0, 900)), "rate": draw(st.just("any") | rate)}
            for quantity, unit in draw(st.lists(ceiling, max_size=3))
        ],
        "adjusters": [
            {"name": draw(words(100)), "raises_co2": "clockwise", "rate": draw(rate), "field_adjustment": "allowed"}
            | draw(some(largest_step_turns=decimals(1, 50), sealed=st.booleans(), tool=words(100)))
        ],
        "order_rules": [
            {"quantity": "co2", "higher_rate": draw(rate), "lower_rate": draw(rate)}
            | draw(some(least_gap=decimals(0, 21)))
        ],
        "source": draw(words(300)),
    }  # fmt: skip
    more = {"minimum_gas_pressure_pa": decimals(1, 100_000), "rated_output_kw": decimals(1, 99)}
    content |= draw(some(natural_draught=st.booleans(), **more))
    file = {"schema": "fleet-sheet/1", "name": draw(words(200)), "content": content}
    return file | draw(some(external_reference=words(100) | st.none(), version=st.integers(-1, 9)))


def limit_set_file(content: dict[str, Any]) -> dict[str, Any]:
    return {"schema": "fleet-limit-set/1", "key": "a-set", "name": "A set", "content": content}


JUNK = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-1, 200),
    decimals(0, 30),
    st.sampled_from(["", " ", "any", "21.0000001", "-0", "-1", "1e3", "00021", "range", "high", "x" * 400, "½"]),
    st.sampled_from([[], {}, ["a", "a"], [None, None], {"type": "none"}, {"op": ">", "value": "lots of it"}]),
    words(9),
)


def places(part: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every path in a document, but for what is kept for the reader as it came."""
    below = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
    mine = [(key, each) for key, each in below if key not in limit_sets.KEPT]
    return [(*path, key) for key, _each in mine] + [p for key, each in mine for p in places(each, (*path, key))]


@st.composite
def spoilt(draw: st.DrawFn, files: st.SearchStrategy[dict[str, Any]]) -> dict[str, Any]:
    """One thing changed, left out, or put where nothing belongs."""
    file = copy.deepcopy(draw(files))
    path = draw(st.sampled_from(places(file)))
    part: Any = file
    for step in path[:-1]:
        part = part[step]
    what = draw(st.sampled_from(["change", "leave out", "put"]))
    if what == "leave out":
        del part[path[-1]]
    elif what == "put" and isinstance(part, dict):
        part[draw(st.sampled_from(["misspelt", "lower", "tolerance", "first", "variants", "month", "event"]))] = draw(
            JUNK
        )
    else:
        part[path[-1]] = draw(JUNK)
    return file


@given(sheet_files())
def test_what_the_sheet_schema_takes_the_reader_takes_but_for_what_stands_between_fields(file: dict[str, Any]) -> None:
    check_agreement(SHEETS, read_sheet_file, file)


@given(spoilt(sheet_files()))
def test_a_spoilt_sheet_is_refused_by_both_or_taken_by_both(file: dict[str, Any]) -> None:
    check_agreement(SHEETS, read_sheet_file, file)


@pytest.mark.parametrize("content", SETS, ids=lambda each: str(each["id"]))
def test_every_shipped_set_is_a_file_that_both_take(content: dict[str, Any]) -> None:
    file = limit_set_file(content)
    assert [each.message for each in LIMIT_SETS.iter_errors(file)] == []
    assert read_limit_set_file(file)["content"] == content


@given(spoilt(st.sampled_from(SETS).map(limit_set_file)))
def test_a_spoilt_limit_set_is_refused_by_both_or_taken_by_both(file: dict[str, Any]) -> None:
    check_agreement(LIMIT_SETS, read_limit_set_file, file)


windows = st.fixed_dictionaries(
    {}, optional={name: st.integers(0, 32) for name in ("from_month", "from_day", "to_month", "to_day")}
)


@given(
    st.fixed_dictionaries(
        {
            "type": st.sampled_from(
                ["max_months", "calendar_years", "by_day_each_year", "times_per_year", "none", "odd"]
            )
            | st.sampled_from(["months_or_hours_first", "in_each_window", "in_named_months"])
        },
        optional={
            "months": st.integers(0, 1300),
            "every": st.integers(1, 3),
            "month": st.integers(0, 13),
            "day": st.integers(1, 32),
            "times": st.integers(1, 4),
            "min_gap_months": st.integers(1, 9),
            "max_gap_months": st.integers(1, 9),
            "hours": st.integers(0, 9),
            "windows": st.lists(windows, max_size=3) | JUNK,
            "named_months": st.lists(st.integers(0, 13), max_size=3) | JUNK,
            "component_defer_months": st.dictionaries(words(9), st.integers(0, 1300), max_size=2) | JUNK,
        },
    )
)
def test_an_interval_rule_is_taken_by_both_or_by_neither(rule: dict[str, Any]) -> None:
    plain = next(each for each in SETS if each["id"] == "demo-neutral")
    check_agreement(LIMIT_SETS, read_limit_set_file, limit_set_file(plain | {"interval": rule}))


def test_the_cast_s_sheet_is_a_file_that_both_take() -> None:
    file = {"schema": "fleet-sheet/1", "name": "Test sheet", "content": SHEET}
    assert SHEETS.is_valid(file)
    assert read_sheet_file(file)["content"] == SHEET


def test_a_file_of_another_kind_is_named_by_its_schema() -> None:
    assert list(refusal(read_sheet_file, {"schema": "fleet-limit-set/1", "name": "x", "content": SHEET})) == ["schema"]
