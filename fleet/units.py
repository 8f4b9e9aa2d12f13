"""The one pint registry: parse at the doors, show on pages and paper. Inside, plain floats in the unit of the name."""

from decimal import Decimal
from functools import cache

import pint


@cache
def registry() -> pint.UnitRegistry[Decimal]:
    """Built on first use (a third of a second); Decimals in, Decimals out, so nothing read is rounded."""
    return pint.UnitRegistry(non_int_type=Decimal)


_NAMES = {"%": "percent", "1": "dimensionless", "min": "minute", "h": "hour", "ft3": "foot**3", "m3": "meter**3"}


def convert(value: Decimal, unit: str, to: str) -> Decimal:
    """`value` of `unit` in `to`. Raises ValueError where one isn't a measure of the other."""
    if unit == to:
        return value
    units = registry()
    try:
        converted = units.Quantity(value, _NAMES.get(unit, unit)).to(_NAMES.get(to, to))
    except (pint.PintError, AttributeError) as bad:
        raise ValueError(f"{unit!r} can't be read as {to!r}") from bad
    return Decimal(converted.magnitude)
