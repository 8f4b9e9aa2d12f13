"""The dictionary of the record's fields: what it holds, what a list of required fields asks for, and what a check
lacks.
"""

from pathlib import Path

import pytest

from fleet.assess.due.answers import RECORD, answered_by_register
from fleet.assess.due.record_fields import (
    NEVER_LACKING,
    asked_by,
    asked_of,
    declarable,
    lacking,
    record_fields,
    required_field_lists,
    required_fields_of,
)
from fleet.models import LimitSet, User
from fleet.presentation.due_dates import missing_of

OF_THE_REGISTER = frozenset({
    "premises_address", "owner_or_agent", "appliance_id", "appliance_location", "rated_input_output",
    "technician_licence", "analyser_calibration", "appliance_kind_flue_type", "burner_identity",
})  # fmt: skip
# Answered by what a record says, held against the conversion before it.
OF_THE_CONVERSION = frozenset({"new_gas", "analyser_new_gas"})
ANSWERED_BY = frozenset({"record", "register", "inspection_points", "program", "elsewhere"})


def test_every_field_can_be_answered_by_something_that_this_program_has() -> None:
    """A field that nothing answers would keep every check from counting; one answered by nothing real, none."""
    for name, each in record_fields().items():
        assert each.answered_by and set(each.answered_by) <= ANSWERED_BY, name
        can = {
            "inspection_points": each.may_be_answered,
            "record": name in set(RECORD) | OF_THE_CONVERSION,
            "register": name in OF_THE_REGISTER,
        }
        known = [by for by in each.answered_by if by in NEVER_LACKING or can[by]]
        assert known or name == "assignments", name


def test_what_the_record_answers_is_said_in_the_dictionary() -> None:
    said = {name for name, each in record_fields().items() if "record" in each.answered_by}
    assert set(RECORD) - said == set()
    asked = {name for name in said - set(RECORD) if set(record_fields()[name].needed.values()) & {"M", "C"}}
    assert asked == OF_THE_CONVERSION


def test_every_conditional_field_says_its_condition() -> None:
    for name, each in record_fields().items():
        if "C" in each.needed.values():
            assert each.condition and each.condition_words, name


def test_alternatives_are_fields_themselves() -> None:
    for each in record_fields().values():
        assert set(each.alternatives) | set(each.condition.get("instead_of", ())) <= set(record_fields())


@pytest.mark.parametrize(
    ("required_fields", "mandatory"),
    [("us_area_tune_up", 16), ("us_major_tune_up", 16), ("us_nj_adjustment", 14), ("us_nyc_tune_up", 15),
     ("gb_landlord_check", 17), ("de_flue_loss", 27), ("fr_yearly_upkeep", 20), ("ca_on_label", 11),
     ("it_efficiency_report", 18)],
)  # fmt: skip
def test_the_lists_are_as_long_as_they_were_read(required_fields: str, mandatory: int) -> None:
    """Counts as read from the texts: 16, 16, 14, 15, 16, 27, 19, 11, 17; by us O2 instead of "O2 or CO2" (France,
    Italy) and the next due date (Great Britain) are mandatory too, and delivery where New York asks for it."""
    own = {"us_nyc_tune_up": 1}
    counted = sum(each.needed.get(required_fields) == "M" for each in record_fields().values())
    assert counted == mandatory + own.get(required_fields, 0)


def test_shipped_sets_have_their_required_fields_by_key(installation: User) -> None:
    keys = {key for each in required_field_lists().values() for key in each.sets}
    assert keys <= set(LimitSet.objects.values_list("key", flat=True))
    assert required_fields_of("uk-gsiur-36", {}) == "gb_landlord_check"
    assert required_fields_of("us-trade-co-practice", {}) == ""
    assert required_fields_of("a-copy", {"required_fields": "gb_landlord_check"}) == "gb_landlord_check"
    assert required_fields_of("a-copy", {"required_fields": "unheard of"}) == ""


def test_nothing_is_lacking_without_a_required_fields() -> None:
    assert lacking("", (), ("unsafe",), {}) == ()


def test_a_field_is_lacking_until_it_or_an_alternative_is_answered() -> None:
    asked = {each.name for each in asked_by("gb_landlord_check") if each.needed["gb_landlord_check"] == "M"}
    assert set(lacking("gb_landlord_check", (), (), {})) == asked
    answered = asked - {"burner_pressure", "gas_rate"}
    assert lacking("gb_landlord_check", answered, (), {}) == ("burner_pressure", "gas_rate")
    for either in ("burner_pressure", "gas_rate", "combustion_in_lieu"):
        assert lacking("gb_landlord_check", answered | {either}, (), {}) == ()


@pytest.mark.parametrize(
    ("required_fields", "field", "condition"),
    [("gb_landlord_check", "gas_tightness", "gas work"), ("gb_landlord_check", "unsafe_notice", "unsafe"),
     ("de_flue_loss", "soot", "oil")],
)  # fmt: skip
def test_a_conditional_field_is_lacking_where_its_condition_holds(
    required_fields: str, field: str, condition: str
) -> None:
    assert field in lacking(required_fields, (), (condition,), {})
    assert field not in lacking(required_fields, (), (), {})


def test_fuel_of_twelve_months_is_asked_for_where_more_than_one_fuel_can_burn() -> None:
    assert "fuel_use_12m" in lacking("us_area_tune_up", (), (), {"multi_fuel": True})
    for facts in ({}, {"multi_fuel": False}):
        assert "fuel_use_12m" not in lacking("us_area_tune_up", (), (), facts)


def test_delivery_has_a_day_of_its_own_and_never_holds_a_check_back() -> None:
    assert all("delivery" not in [each.name for each in asked_by(name)] for name in required_field_lists())


def test_a_missing_field_says_by_which_rule_and_where_it_was_looked_for() -> None:
    (missing,) = missing_of("gb_landlord_check", ["flue_ok"])
    assert missing.words == "the flue examined, with what was found"
    assert "Landlord's gas safety check" in missing.why
    assert "as the technician says" in missing.found


def test_the_union_names_each_field_once_with_its_required_checks() -> None:
    union = {each.name: (always, sometimes) for each, always, sometimes in asked_of(
        {"By law": "gb_landlord_check", "Our own": "plain", "Contract": ""}
    )}  # fmt: skip
    assert union["disposition"] == (["By law", "Our own"], [])
    assert union["unsafe_notice"] == ([], ["By law", "Our own"])
    assert union["ambient_co_entry"] == (["Our own"], [])
    assert "delivery" not in union


def test_what_may_be_declared_is_what_nothing_measures() -> None:
    assert {"flue_ok", "defects", "inspections", "customer_acknowledgement"} <= set(declarable())
    assert not {"co", "o2", "technician", "analyser_calibration", "draught"} & set(declarable())


def test_the_dictionary_stands_beside_the_other_reference_data() -> None:
    assert (Path(__file__).parents[3] / "fixtures/reference/record_fields.json").exists()
    assert answered_by_register.__doc__
