from dataclasses import replace

import numpy as np
import pytest

from fleet.drift import Panel, filter, warnings
from tests.drift.states import make_hyper, make_state

NAN = np.nan
ROBUST = make_hyper(e_o=0.02, lam=0.02)


def told_of(*found):
    """Warnings after yearly readings of a unit that stands at 9."""
    n = len(found)
    panel = Panel.from_records("a" * n, "g" * n, range(n), found, [NAN] * n, [False] * n, target=9.0)
    return warnings(filter(panel, ROBUST))


@pytest.mark.parametrize(
    ("z", "before", "repeat_now", "same_side"),
    [
        (3.1, 0.0, True, False),
        (-3.1, NAN, True, False),
        (2.9, 0.0, False, False),
        (2.1, 2.1, False, True),
        (-2.1, -2.5, False, True),
        (2.1, -2.1, False, False),
        (2.1, 1.9, False, False),
        (NAN, 4.0, False, False),
    ],
)
def test_surprises_call_for_a_repeat_alone_or_twice_on_one_side(z, before, repeat_now, same_side):
    state = replace(make_state(9.0, 0.0, 0.1, 0.1), z=np.array([z]), z_before=np.array([before]))
    told = warnings(state)
    assert (told.repeat_now[0], told.same_side[0]) == (repeat_now, same_side)


def test_a_good_reading_gives_no_cause():
    told = told_of(9.0, 8.95, 8.9)
    assert not (told.repeat_now | told.same_side | told.step | told.doubtful)[0]
    assert abs(told.z[0]) < 1


def test_a_wild_reading_is_doubtful_and_to_be_repeated():
    told = told_of(9.0, 8.95, 11.5)
    assert told.repeat_now[0] and told.doubtful[0] and not told.step[0]
    assert told.w_out[0] > 0.5 > told.w_step[0]


def test_where_steps_are_likelier_than_bad_readings_a_step_is_told():
    stepping = make_hyper(e_o=0.001, lam=0.1)
    panel = Panel.from_records("aaa", "ggg", range(3), [9.0, 8.95, 9.9], [NAN] * 3, [False] * 3, target=9.0)
    told = warnings(filter(panel, stepping))
    assert told.step[0] and not told.doubtful[0]


def test_a_first_reading_surprises_nobody():
    told = told_of(11.0)
    assert not (told.repeat_now | told.same_side | told.step | told.doubtful)[0]
    assert np.isnan(told.z[0]) and np.isnan(told.w_out[0])
