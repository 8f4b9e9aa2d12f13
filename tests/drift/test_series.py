from uuid import UUID

import numpy as np
import pytest

from fleet.drift import Panel, filter
from tests.drift.states import make_hyper

NAN = np.nan


def panel_of(*visits, **extra):
    """Visits as (unit, t, as found, as left, adjusted)."""
    units, times, found, left, adjusted = zip(*visits, strict=True)
    return Panel.from_records(units, ["g"] * len(units), times, found, left, adjusted, **{"target": 9.0} | extra)


def test_columns_are_units_and_rows_are_visits():
    panel = panel_of(("b", 0.0, 9.1, NAN, False), ("a", 0.5, 8.9, NAN, False), ("a", 1.7, 8.7, 9.0, True))
    assert panel.unit_ids == ("a", "b")
    assert panel.group_ids == ("g", "g")
    np.testing.assert_allclose(panel.as_found, [[8.9, 9.1], [8.7, NAN]])
    np.testing.assert_allclose(panel.as_left, [[NAN, NAN], [9.0, NAN]])
    np.testing.assert_allclose(panel.dt_years, [[0.0, 0.0], [1.2, 0.0]])
    np.testing.assert_array_equal(panel.adjusted, [[False, False], [True, False]])


def test_visits_that_arrive_out_of_order_are_put_in_order():
    visits = [("a", 0.0, 9.1, NAN, False), ("a", 1.0, 8.6, 9.0, True), ("b", 0.2, 9.0, NAN, False)]
    in_order, mixed = panel_of(*visits), panel_of(*visits[::-1])
    np.testing.assert_array_equal(in_order.as_found, mixed.as_found)
    np.testing.assert_array_equal(in_order.t_years, mixed.t_years)
    np.testing.assert_array_equal(filter(in_order, make_hyper()).x, filter(mixed, make_hyper()).x)


def test_entries_at_the_same_time_become_one_visit_of_repeat_readings():
    panel = panel_of(
        ("a", 0.0, 9.0, NAN, False), ("a", 1.0, 8.6, NAN, False), ("a", 1.0, 8.8, 9.1, True), ("a", 1.0, NAN, 9.0, True)
    )
    assert panel.as_found.shape == (2, 1)
    assert panel.as_found[1, 0] == pytest.approx(8.7)
    assert panel.noise_scale[1, 0] == pytest.approx(0.5)
    assert panel.as_left[1, 0] == pytest.approx(9.05)
    assert panel.adjusted[1, 0]


def test_a_quieter_repeat_reading_weighs_more():
    panel = panel_of(("a", 1.0, 8.0, NAN, False), ("a", 1.0, 9.0, NAN, False), noise_scale=[1.0, 0.25])
    assert panel.as_found[0, 0] == pytest.approx(8.8)  # weights 1 and 4
    assert panel.noise_scale[0, 0] == pytest.approx(0.2)


def test_visits_before_the_first_level_are_left_out():
    panel = panel_of(("a", 0.0, NAN, NAN, False), ("a", 1.0, 9.0, NAN, False), ("a", 2.0, NAN, NAN, False))
    np.testing.assert_array_equal(panel.t_years[:, 0], [1.0, 2.0])
    np.testing.assert_array_equal(panel.dt_years[:, 0], [0.0, 1.0])


def test_a_unit_that_never_gave_a_level_keeps_one_empty_visit():
    panel = panel_of(("a", 0.0, NAN, NAN, False), ("a", 1.0, NAN, NAN, False), ("b", 0.0, 9.0, NAN, False))
    assert panel.t_years[0, 0] == 1.0
    assert np.isnan(panel.as_found[:, 0]).all()


def test_an_as_left_reading_without_adjustment_is_not_kept():
    assert np.isnan(panel_of(("a", 0.0, 9.1, 9.2, False)).as_left).all()


def test_missing_may_be_none_and_ids_may_be_uuids():
    unit = UUID(int=7)
    panel = Panel.from_records([unit, unit], [1, 1], [0, 1], [9.0, None], [None, 9.1], [False, True], target=9.0)
    assert panel.unit_ids == (unit,)
    assert np.isnan(panel.as_found[1, 0])


def test_each_record_knows_the_visit_it_went_into():
    panel = panel_of(
        ("b", 1.0, 9.2, NAN, False),
        ("a", 0.0, NAN, NAN, False),  # before the first level
        ("a", 2.0, 8.7, NAN, False),
        ("a", 1.0, 8.9, NAN, False),
        ("a", 2.0, 8.9, NAN, False),  # a repeat reading
    )
    assert panel.visit_of.tolist() == [1, -1, 2, 0, 2]
    np.testing.assert_allclose(panel.as_found.ravel()[panel.visit_of[[0, 2, 3]]], [9.2, 8.8, 8.9])
    assert panel.take([0]).visit_of is None


def test_no_records_make_an_empty_panel():
    panel = Panel.from_records([], [], [], [], [], [], target=9.0)
    assert panel.n_units == 0
    assert filter(panel, make_hyper()).x.shape == (0,)


def test_taking_columns_drops_rows_that_nobody_uses():
    panel = panel_of(("a", 0.0, 9.0, NAN, False), ("b", 0.0, 8.9, NAN, False), ("b", 1.0, 8.8, NAN, False))
    assert panel.take([0]).as_found.shape == (1, 1)
    assert panel.take([1, 0]).unit_ids == ("b", "a")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("group_ids", ["g"]),
        ("group_ids", ["g", "h"]),
        ("t_years", [0.0, NAN]),
        ("t_years", [0.0]),
        ("as_found", [9.0, np.inf]),
        ("as_left", [[9.0, 9.0]]),
        ("adjusted", [True]),
        ("noise_scale", [1.0, 0.0]),
        ("replaced", [True]),
        ("target", [9.0, 9.5]),
        ("target", NAN),
    ],
)
def test_misuse_is_refused_by_the_name_of_the_argument(name, value):
    arguments = {
        "unit_ids": ["a", "a"],
        "group_ids": ["g", "g"],
        "t_years": [0.0, 1.0],
        "as_found": [9.0, 8.9],
        "as_left": [NAN, NAN],
        "adjusted": [False, False],
        "target": 9.0,
    }
    with pytest.raises(ValueError, match=name):
        Panel.from_records(**arguments | {name: value})
