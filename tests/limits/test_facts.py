import pytest

from fleet.intervals.facts import holds
from fleet.limits.facts import undecided

CASES = [
    ({}, {}, True),
    ({"fuel": ["natural_gas", "lpg"]}, {"fuel": "lpg"}, True),
    ({"fuel": ["natural_gas", "lpg"]}, {"fuel": "oil_light"}, False),
    ({"fuel": ["natural_gas", "lpg"]}, {}, None),
    ({"output_kW_gt": 25, "output_kW_le": 50}, {"output_kw": 25}, False),
    ({"output_kW_gt": 25, "output_kW_le": 50}, {"output_kw": 50}, True),
    ({"output_kW_ge": 4, "output_kW_lt": 25}, {"output_kw": 4}, True),
    ({"output_kW_ge": 4, "output_kW_lt": 25}, {"output_kw": 25}, False),
    ({"output_kW_ge": 4}, {"output_kW": "12.5"}, True),
    ({"new_plant": True}, {"new_plant": False}, False),
    ({"new_plant": False}, {"new_plant": False}, True),
    ({"construction": "not_fire_tube"}, {"construction": "water_tube"}, True),
    ({"construction": "not_fire_tube"}, {"construction": "fire_tube"}, False),
    ({"type": 2}, {"type": 2}, True),
    ({"new_plant": True, "fuel": ["lpg"]}, {"fuel": "natural_gas"}, False),
    ({"new_plant": True, "fuel": ["lpg"]}, {"fuel": "lpg"}, None),
    ({"new_plant": True}, {"new_plant": None}, None),
]


@pytest.mark.parametrize(("select", "facts", "expected"), CASES)
def test_both_rooms_read_predicates_alike(select, facts, expected):
    open_predicates = undecided(select, facts)
    assert holds(select, facts) is expected
    assert (None if open_predicates else open_predicates == {}) is expected


def test_the_undecided_predicates_are_named():
    assert undecided({"output_kW_ge": 4, "fuel": ["lpg"]}, {"fuel": "lpg"}) == {"output_kw_ge": 4}
