"""What only_where keeps: the values, of the shape that condition and values broadcast to, copied where it must be."""

import numpy as np
import pytest

from fleet.combustion.arrays import only_where

ROW = np.array([1.0, 2.0, 3.0])


def test_what_holds_throughout_is_passed_on_uncopied() -> None:
    assert np.shares_memory(only_where(ROW > 0, ROW), ROW)
    assert not np.shares_memory(only_where(ROW > 1, ROW), ROW)


@pytest.mark.parametrize("held", [True, False])
def test_a_condition_of_more_rows_than_the_values_gives_them_all(held: bool) -> None:
    kept = only_where(np.array([[True] * 3, [held] * 3]), ROW)
    assert np.array_equal(kept, [ROW, ROW if held else ROW * np.nan], equal_nan=True)


def test_one_condition_for_all_values_is_enough() -> None:
    assert only_where(np.bool_(True), ROW).tolist() == ROW.tolist()
    assert np.isnan(only_where(np.bool_(False), ROW)).tolist() == [True] * 3
    assert isinstance(only_where(np.bool_(True), np.float64(1.0)), float)
