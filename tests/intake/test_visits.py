"""What comes in is read once, strictly: a clear refusal names the field, the value and what is allowed."""

import copy
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.errors import Malformed
from fleet.intake.decimals import plain_decimal
from fleet.intake.visits import read_visit, unsafe_appliance
from tests.cast import measured
from tests.intake.refused import said_of


def changed(body: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    copied = copy.deepcopy(body)
    place: Any = copied
    *way, last = path.split(".")
    for step in way:
        place = place[int(step)] if step.isdigit() else place[step]
    if value is None:
        del place[last]
    else:
        place[int(last) if last.isdigit() else last] = value
    return copied


@pytest.mark.parametrize(
    ("path", "value", "field", "said"),
    [
        ("readings.0.values.co2", measured("9,2", "%"), "readings.0.values.co2.value", "decimal number"),
        ("readings.0.values.co2", measured("9.2", "ppm"), "readings.0.values.co2.unit", "must be one of: %"),
        ("readings.0.values.co2", measured("9.2", "%", "about"), "readings.0.values.co2.qualifier", "more_than"),
        ("readings.0.values.co2", {"value": True, "unit": "%"}, "readings.0.values.co2.value", "True"),
        ("readings.0.values.co2", {"value": "٩.٢", "unit": "%"}, "readings.0.values.co2.value", "decimal number"),
        ("readings.0.values.co2", {"value": "1e3", "unit": "%"}, "readings.0.values.co2.value", "1e3"),
        (
            "readings.0.values.co_ppm_air_free",
            measured("9", "ppm"),
            "readings.0.values.co_ppm_air_free",
            "is not known here",
        ),
        ("readings.1.phase", "before", "readings.1.phase", "as_found, between, as_left"),
        ("readings.1.taken_at", "2026-03-02T10:05:00", "readings.1.taken_at", "offset"),
        ("readings.1.taken_at", "2026-02-30", "readings.1.taken_at", "must be a day"),
        ("readings.1.taken_at", "0001-01-01", "readings.1.taken_at", "its year must be from 1900 to 2200"),
        ("attendance.arrived_at", "0001-01-01T00:00:00+14:00", "attendance.arrived_at", "from 1900 to 2200"),
        ("attendance.left_at", "9999-12-31T23:59:00-12:00", "attendance.left_at", "from 1900 to 2200"),
        (
            "defects",
            [{"what": "x", "severity": "note", "repair_by": "0001-01-01"}],
            "defects.0.repair_by",
            "1900 to 2200",
        ),
        (
            "defects",
            [{"what": "x", "severity": "note", "repair_by": "2201-01-01"}],
            "defects.0.repair_by",
            "1900 to 2200",
        ),
        ("readings", [{}] * 201, "readings", "at most 200"),
        ("work", [{}] * 201, "work", "at most 200"),
        ("restore_steps", [{}] * 201, "restore_steps", "at most 200"),
        ("not_done", [{}] * 201, "not_done", "at most 200"),
        ("defects", [{}] * 201, "defects", "at most 200"),
        ("appliance", "boiler 1", "appliance", "UUID"),
        ("outcome", "passed", "outcome", "tested, partly_tested, not_tested"),
        ("nonsense", 1, "nonsense", "is not known here"),
        ("fuel", "coal gas", "fuel", "natural_gas"),
        ("work.0.after_reading", 99, "work.0.after_reading", "from 0 to 4"),
        ("work.0.after_reading", 5, "work.0.after_reading", "from 0 to 4"),
        ("work.0.after_reading", -1, "work.0.after_reading", "a whole number of at least 0"),
        ("schema", "visit/9", "schema", "visit/1"),
        ("attendance.arrived_at", None, "attendance.arrived_at", "is missing"),
        ("restore_steps.0", {"step": "x", "answer": "not_done"}, "restore_steps.0.why", "needs its reason"),
    ],
)
def test_a_wrong_field_is_named_with_its_value_and_what_is_allowed(
    body: dict[str, Any], path: str, value: Any, field: str, said: str
) -> None:
    with pytest.raises(Malformed) as refused:
        read_visit(changed(body, path, value))
    errors = said_of(refused.value)
    assert list(errors) == [field]
    assert said in errors[field]


def test_all_wrong_fields_are_named_at_once(body: dict[str, Any]) -> None:
    wrong = changed(changed(body, "outcome", "passed"), "readings.0.phase", "x")
    with pytest.raises(Malformed) as refused:
        read_visit(wrong)
    assert set(said_of(refused.value)) == {"outcome", "readings.0.phase"}


@pytest.mark.parametrize("data", [None, [], "visit", 3, {"id": {}}])
def test_whatever_comes_is_refused_and_never_breaks(db: None, data: Any) -> None:
    with pytest.raises(Malformed):
        read_visit(data)


def test_a_tested_visit_without_readings_is_refused(body: dict[str, Any]) -> None:
    with pytest.raises(Malformed) as refused:
        read_visit(body | {"readings": [], "work": []})
    assert "readings" in said_of(refused.value)


@pytest.mark.parametrize("after", [0, 4])
def test_work_stands_before_all_readings_or_after_any(body: dict[str, Any], after: int) -> None:
    content = read_visit(changed(body, "work.0.after_reading", after)).content
    assert content["work"][0]["after_reading"] == after


def test_work_without_any_reading_comes_after_none(body: dict[str, Any]) -> None:
    untested = body | {"outcome": "not_tested", "outcome_reason": "no gas", "readings": []}
    with pytest.raises(Malformed) as refused:
        read_visit(changed(untested, "work.0.after_reading", 1))
    assert said_of(refused.value) == {"work.0.after_reading": "is 1; it must be from 0 to 0, the readings' number"}


def test_a_number_and_its_text_are_the_same_message(body: dict[str, Any]) -> None:
    as_number = changed(body, "readings.0.values.co2", {"value": Decimal("8.90"), "unit": "%", "qualifier": "="})
    assert read_visit(as_number).submitted_sha256 == read_visit(body).submitted_sha256
    assert read_visit(as_number).content["readings"][0]["values"]["co2"]["value"] == "8.90"


def test_text_that_reorders_or_hides_is_cleaned(body: dict[str, Any]) -> None:
    note = read_visit(body | {"note": "left\u202eright\x00 e\u0301"}).content["note"]
    assert note == "leftright \u00e9"


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "figure"),
    [
        ("flue_temp", "212", "degF", "100"),
        ("draught", "-0.02", "inH2O", "-4.981778"),
        ("gas_pressure_working", "20", "mbar", "2000"),
        ("oil_pressure", "10", "bar", "1000000"),
        ("air_temp", "-3.5", "degC", "-3.5"),
    ],
)
def test_entered_units_become_the_columns(
    body: dict[str, Any], quantity: str, value: str, unit: str, figure: str
) -> None:
    """Conversions by definition: 212 °F is 100 °C; 1 inH2O is 249.08891 Pa (39.2 °F, NIST SP 811)."""
    content = read_visit(changed(body, f"readings.0.values.{quantity}", measured(value, unit))).content
    assert content["readings"][0]["values"][quantity] == {
        "value": value, "unit": unit, "qualifier": "=", "figure": figure,
    }  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.decimals(-500, 500, places=3, allow_nan=False))
def test_a_plain_decimal_has_no_exponent_and_the_same_value(value: Decimal) -> None:
    text = plain_decimal(value)
    assert "E" not in text.upper()
    assert Decimal(text) == value


def test_an_unsafe_call_is_read_out_of_an_unreadable_message(body: dict[str, Any]) -> None:
    broken = body | {"readings": "garbage", "disposition": {"state": "?", "unsafe": True}}
    assert str(unsafe_appliance(broken)) == body["appliance"]
    assert str(unsafe_appliance(broken | {"disposition": {"unsafe": "yes"}})) == body["appliance"]
    assert unsafe_appliance(broken | {"disposition": {"unsafe": "no"}}) is None
    assert unsafe_appliance(broken | {"disposition": {"unsafe": False}}) is None
    assert unsafe_appliance(broken | {"appliance": "x"}) is None
    assert unsafe_appliance([]) is None


def test_two_hundred_defects_and_the_first_and_last_years_are_read(body: dict[str, Any]) -> None:
    defect = {"what": "x", "severity": "note"}
    body |= {"defects": [defect | {"repair_by": "1900-01-01"}, defect | {"repair_by": "2200-12-31"}, *[defect] * 198]}
    assert len(read_visit(body).content["defects"]) == 200


GAS_RATE = {"index_start": "100.000", "index_end": "100.210", "unit": "m3", "seconds": "120"}
SERIES = {"at_s": ["0", "10", "20"], "o2": ["4.6", None, "4.5"], "co": ["40", "41", "40"], "from_cold": False}


@pytest.mark.parametrize(
    ("place", "value", "field", "said"),
    [
        ("gas_rate", GAS_RATE | {"index_end": "100.000"}, "index_end", "above the start, 100.000"),
        ("gas_rate", GAS_RATE | {"unit": "l"}, "unit", "m3, ft3"),
        ("gas_rate", GAS_RATE | {"seconds": "0"}, "seconds", "from 1 to 86400"),
        ("gas_rate", GAS_RATE | {"heating_value_mj_m3_gross": "0.5"}, "heating_value_mj_m3_gross", "from 1 to 200"),
        ("series", SERIES | {"at_s": ["0", "10", "10"]}, "at_s", "each sample must be later than the one before"),
        ("series", SERIES | {"o2": ["4.6"]}, "o2", "has 1 samples; there are 3 times"),
        ("series", SERIES | {"co2": ["9", "26", "9"]}, "co2.1", "from 0 to 25"),
        ("series", SERIES | {"over_range": ["nox"]}, "over_range.0", "o2, co2, co, flue_temp"),
        ("series", SERIES | {"at_s": []}, "at_s", "at least 1"),
    ],
)
def test_a_timed_rate_or_a_logged_series_that_cannot_be_is_named_in_its_reading(
    body: dict[str, Any], place: str, value: Any, field: str, said: str
) -> None:
    for good in ({"gas_rate": GAS_RATE}, {"series": SERIES}):
        body["readings"][1] |= good
    read_visit(copy.deepcopy(body))
    body["readings"][1][place] = value
    with pytest.raises(Malformed) as refused:
        read_visit(body)
    errors = said_of(refused.value)
    assert list(errors) == [f"readings.1.{place}.{field}"]
    assert said in errors[f"readings.1.{place}.{field}"]


@pytest.mark.parametrize("outcome", ["partly_tested", "not_tested"])
def test_what_was_not_wholly_tested_says_why(body: dict[str, Any], outcome: str) -> None:
    with pytest.raises(Malformed) as refused:
        read_visit(body | {"outcome": outcome})
    assert list(said_of(refused.value)) == ["outcome_reason"]
    assert read_visit(body | {"outcome": outcome, "outcome_reason": "no gas"}).content["outcome"] == outcome


@pytest.mark.parametrize(
    ("answer", "kept"), [(True, True), (False, False), ("sound, no spillage", "sound, no spillage")]
)
def test_an_inspection_point_is_answered_by_yes_no_or_words(body: dict[str, Any], answer: Any, kept: Any) -> None:
    body["inspection_points"] = {"flue_ok": answer}
    assert read_visit(copy.deepcopy(body)).content["inspection_points"] == {"flue_ok": kept}
    for wrong in (1, None, ["sound"]):
        body["inspection_points"] = {"flue_ok": wrong}
        with pytest.raises(Malformed) as refused:
            read_visit(copy.deepcopy(body))
        assert list(said_of(refused.value)) == ["inspection_points.flue_ok"]


def test_the_order_of_keys_is_no_other_message_and_a_changed_word_is(body: dict[str, Any]) -> None:
    turned = dict(reversed(body.items()))
    assert read_visit(turned).submitted_sha256 == read_visit(body).submitted_sha256
    assert read_visit(body | {"note": "x"}).submitted_sha256 != read_visit(body).submitted_sha256
