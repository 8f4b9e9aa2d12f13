"""What a limit set says beside its limits, as it comes in: refused with the field, its value and what is allowed."""

import copy
import json
import re
from pathlib import Path
from typing import Any

import pytest

from fleet.errors import Malformed
from fleet.intake.limit_sets import EVIDENCE, read_limit_set
from tests.intake.refused import said_of

REFERENCE = Path(__file__).resolve().parents[2] / "fixtures" / "reference"
SHIPPED = json.loads((REFERENCE / "limit_sets.json").read_text(), parse_float=str)["profiles"]
CONTENT = next(each for each in SHIPPED if each["id"] == "us-ca-scaqmd-1146")
TUNE_UP = CONTENT["extra_intervals"][0]


def errors(**changes: Any) -> dict[str, str]:
    with pytest.raises(Malformed) as refused:
        read_limit_set(copy.deepcopy(CONTENT | changes))
    found = said_of(refused.value)
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize(
    ("extra", "path", "said"),
    [
        ({name: value for name, value in TUNE_UP.items() if name != "name"}, "extra_intervals.0.name", "is empty"),
        (TUNE_UP | {"name": " "}, "extra_intervals.0.name", ""),
        (TUNE_UP | {"type": "none"}, "extra_intervals.0.type", "is none; a further interval must set one"),
        (TUNE_UP | {"type": "whenever"}, "extra_intervals.0.type", "it must be one of: max_months"),
        (
            TUNE_UP | {"required_fields": "x"},
            "extra_intervals.0.required_fields",
            "is 'x'; it must be one of: us_area_tune_up",
        ),
        (TUNE_UP | {"select": {}}, "extra_intervals.0.select", "is empty"),
        (TUNE_UP | {"times": 9}, "extra_intervals.0.min_gap_months", "it must leave room for 9 a year"),
        (TUNE_UP | {"again_after": {"event": "x"}}, "extra_intervals.0.again_after.months", "is missing"),
    ],
)
def test_a_further_interval_is_read_as_strictly_as_the_set_s_own(extra: Any, path: str, said: str) -> None:
    found = errors(extra_intervals=[extra])
    assert list(found) == [path]
    assert said in found[path]


def test_two_further_intervals_have_two_names_whatever_their_case() -> None:
    found = errors(extra_intervals=[TUNE_UP, TUNE_UP | {"name": "Low-Use Tune-Up"}])
    assert found == {"extra_intervals.1.name": "is 'Low-Use Tune-Up'; it stands there already"}


@pytest.mark.parametrize("name", ["delivery", "repair", "sources"])
def test_no_row_of_a_list_is_null(name: str) -> None:
    assert list(errors(**{name: [None]})) == [f"{name}.0"]


def test_a_delivery_before_something_else_than_a_tenancy_is_refused() -> None:
    assert list(errors(delivery=[{"to": "new tenant", "before": "christmas"}])) == ["delivery.0.before"]


def test_a_predicate_compares_a_number_or_a_day() -> None:
    rule = {"type": "once", "by": "2027-09-30", "select": {"installation_on_lt": "2009-10-01"}}
    assert read_limit_set(copy.deepcopy(CONTENT | {"interval": rule}))["interval"] == rule
    found = errors(interval=rule | {"select": {"installation_on_lt": "soon"}})
    assert found == {"interval.select.installation_on_lt": "is 'soon'; it must be a number or a day to compare with"}


def test_all_that_is_wrong_with_an_interval_is_told_at_once_each_at_its_own_path() -> None:
    first = {"type": "days_after_event", "days": 0, "variants": [{"select": {"Fact!": 1}, "days": 3}]}
    rule = {"type": "once", "evidence": [], "first": first, "variants": [{"select": {}, "by": "soon"}, 7]}
    assert list(errors(interval=rule)) == [
        "interval.first.days", "interval.variants.0.by", "interval.variants.1", "interval.event", "interval.months",
        "interval.evidence", "interval.variants.0.select", "interval.first.variants.0.select.Fact!",
    ]  # fmt: skip


# ---- how well what is shipped is known ----

# Who read what, where: no reader's business.
DIARY = re.compile(
    r"mirror|readable|from memory|\(memory\)|\bread\)|- read\b|\btext read\b|not read\b|read here|second hand"
    r"|legalize|\w\.(?:dev|fr|io)\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("name", ["limit_sets", "record_fields", "diagnostics"])
def test_no_reading_diary_is_shipped(name: str) -> None:
    shipped = (REFERENCE / f"{name}.json").read_text()
    assert DIARY.findall(shipped.replace("official_text_read", "")) == []


@pytest.mark.parametrize("content", SHIPPED, ids=lambda each: str(each["id"]))
def test_nothing_in_a_set_is_known_better_than_one_of_its_sources(content: dict[str, Any]) -> None:
    levels = [each for each in EVIDENCE if each != "own"]
    best = min((levels.index(each["evidence"]) for each in content["sources"]), default=len(levels))
    told = [content, content["interval"], *content["limits"], *content.get("extra_intervals", ())]
    claimed = [each["evidence"] for each in told if each.get("evidence", "own") != "own"]
    assert all(levels.index(each) >= best for each in claimed)


@pytest.mark.parametrize("content", SHIPPED, ids=lambda each: str(each["id"]))
def test_where_something_is_unverified_the_sources_say_what(content: dict[str, Any]) -> None:
    told = [content, content["interval"], *content["limits"], *content.get("extra_intervals", ())]
    if any(each.get("evidence") == "unverified" for each in told):
        assert any(each["evidence"] == "unverified" and each.get("covers") for each in content["sources"])


def test_the_words_of_a_source_stand_only_where_it_was_quoted() -> None:
    assert [each["id"] for content in SHIPPED for each in content["limits"] if "limit_text" in each] == []


@pytest.mark.parametrize(
    ("limit", "path", "said"),
    [
        ({"fires_when": {"op": ">", "value": "-3"}}, "fires_when.value", "is -3; it must be from 0 to 10000"),
        ({"fires_when": {"op": ">", "value": "999999999"}}, "fires_when.value", "from 0 to 10000"),
        ({"unit": "mg/kWh", "fires_when": {"op": ">", "value": "30000"}}, "fires_when.value", "from 0 to 21000"),
        ({"quantity": "co_co2_ratio", "fires_when": {"op": ">", "value": "4"}}, "fires_when.value", "to 0.1"),
        ({"quantity": "ambient_co", "fires_when": {"op": ">=", "value": "35000"}}, "fires_when.value", "to 2000"),
        ({"quantity": "o2", "fires_when": {"op": "outside", "value": ["3", "40"]}}, "fires_when.value.1", "0 to 21"),
        ({"quantity": "o2", "fires_when": {"op": "outside", "value": ["6", "3"]}}, "fires_when.value.0", "end, 3"),
        ({"quantity": "co", "fires_when": {"op": "between", "value": ["9", "-9"]}}, "fires_when.value.1", "from 0"),
    ],
)  # fmt: skip
def test_a_figure_that_the_quantity_cannot_have_is_refused(limit: dict[str, Any], path: str, said: str) -> None:
    base = next(each for each in SHIPPED if each["limits"] and each["limits"][0]["quantity"] == "co")
    row = base["limits"][0] | {"unit": "ppm"} | limit
    found = errors(limits=[row])
    assert said in found[f"limits.0.{path}"]


def test_a_figure_that_a_fact_holds_or_nobody_knows_has_no_bounds() -> None:
    base = next(each for each in SHIPPED if each["limits"] and each["limits"][0]["quantity"] == "co")["limits"][0]
    for value in ("min_combustion_efficiency_pct", None):
        read_limit_set(CONTENT | {"limits": [base | {"fires_when": {"op": "<", "value": value}}]})
