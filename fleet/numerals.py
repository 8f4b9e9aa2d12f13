"""How a number is written, for every room: its decimals, thousands apart, a true minus sign."""

from collections.abc import Iterable

NARROW_SPACE = "\u202f"
MINUS = "\u2212"
MOST_DECIMALS = 6


def figure(value: float, decimals: int) -> str:
    """The figure at this many decimals, thousands apart from 10 000 on, with a true minus sign.

    >>> figure(9.3, 2), figure(-3.0, 0), figure(-0.004, 0)
    ('9.30', '−3', '0')
    """
    plain = f"{abs(value):.{decimals}f}"
    is_negative = value < 0 and float(plain) != 0
    if float(plain) >= 10_000:
        plain = f"{abs(value):,.{decimals}f}".replace(",", NARROW_SPACE)
    return (MINUS if is_negative else "") + plain


def figure_apart(value: float, decimals: int, limits: Iterable[float]) -> str:
    """The figure with as many more decimals as it takes not to look like a limit that it isn't.

    >>> figure_apart(250.4, 0, [250.0]), figure_apart(260.4, 0, [250.0])
    ('250.4', '260')
    """
    others = [limit for limit in limits if limit != value]
    for more in range(decimals, MOST_DECIMALS):
        if all(figure(value, more) != figure(limit, more) for limit in others):
            return figure(value, more)
    return figure(value, MOST_DECIMALS)


def decimals_shown(least: int, limits: Iterable[float]) -> int:
    """The decimals of a reading, or as many as a limit beside it has.

    >>> decimals_shown(0, [250.0]), decimals_shown(0, [0.004, 1.0])
    (0, 3)
    """
    return max((_own_decimals(each, least) for each in limits), default=least)


def limit_figure(value: float, decimals: int) -> str:
    """A limit at the decimals of its readings, or with its own where it has more.

    >>> limit_figure(0.004, 0)
    '0.004'
    """
    return figure(value, _own_decimals(value, decimals))


def _own_decimals(value: float, least: int) -> int:
    return next((n for n in range(least, MOST_DECIMALS) if round(value, n) == value), MOST_DECIMALS)
