"""Ticks at round places: numbers on one axis, days on the other."""

import math
from datetime import date
from itertools import pairwise

MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120, 240)


def value_ticks(low: float, high: float, at_most: int) -> list[float]:
    """Round numbers, 1, 2 or 5 times a power of ten apart: no more than `at_most` steps from low to high.

    >>> value_ticks(8.7, 10.3, 9)
    [8.8, 9.0, 9.2, 9.4, 9.6, 9.8, 10.0, 10.2]
    """
    if not low < high or at_most < 2:
        raise ValueError(f"no ticks from {low} to {high}, {at_most} at most")
    step = _step((high - low) / at_most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(number * step, 12) for number in range(first, last + 1)]


def tick_decimals(ticks: list[float]) -> int:
    """As many decimals as tell the ticks apart."""
    apart = min((b - a for a, b in pairwise(ticks)), default=1.0)
    return max(0, -math.floor(math.log10(apart) + 1e-9))


def month_ticks(first: date, last: date, months_at_most: int, years_at_most: int) -> tuple[list[date], int]:
    """First days of months from first to last, and how many months lie between them.

    Months carry longer names than years, so fewer of them fit.
    """
    for step in MONTH_STEPS:
        ticks = _firsts_of_months(first, last, step)
        if len(ticks) <= (months_at_most if step < 12 else years_at_most):
            break
    return ticks, step


def _step(least: float) -> float:
    power = 10.0 ** math.floor(math.log10(least))
    return next(times * power for times in (1, 2, 5, 10) if times * power >= least * (1 - 1e-9))


def _firsts_of_months(first: date, last: date, step: int) -> list[date]:
    months = range(first.year * 12, (last.year + 1) * 12, step)
    # Counted from the year 0, so that a step of two years falls on even ones.
    aligned = range(months.start - months.start % step, months.stop, step)
    days = (date(month // 12, month % 12 + 1, 1) for month in aligned)
    return [day for day in days if first <= day <= last]
