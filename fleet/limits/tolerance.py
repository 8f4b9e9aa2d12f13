"""Tolerance bands: a target and a tolerance as written, made into absolute figures."""

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

BASES = ("points", "percent_of_target", "range")


@dataclass(frozen=True)
class Band:
    """Absolute limits in the target's own unit, both inclusive; None where that side is open.

    basis : how the tolerance was meant: "points", "percent_of_target" or "range".
    """

    target: float | None
    lower: float | None
    upper: float | None
    basis: str

    def __post_init__(self) -> None:
        if self.basis not in BASES:
            raise ValueError(f"tolerance basis must be one of {', '.join(BASES)}, not {self.basis!r}")
        if self.lower is None and self.upper is None:
            raise ValueError("a band needs a lower or an upper figure")
        if self.lower is not None and self.upper is not None and self.lower > self.upper:
            raise ValueError(f"the lower figure {self.lower} is above the upper figure {self.upper}")
        if self.target is not None and not self.contains(self.target):
            raise ValueError(f"the target {self.target} lies outside its own band")

    def contains(self, value: float) -> bool:
        """Whether the value lies in the band, its ends included."""
        return (self.lower is None or value >= self.lower) and (self.upper is None or value <= self.upper)


def exact(value: object) -> Decimal:
    """A number or a decimal string as an exact decimal; ValueError when it is neither or not finite."""
    try:
        number = Decimal(str(value).strip())
    except InvalidOperation:
        raise ValueError(f"not a number: {value!r}") from None
    if not number.is_finite():
        raise ValueError(f"not a number: {value!r}")
    return number


def band(
    target: object = None, tolerance: object = None, *, basis: str, lower: object = None, upper: object = None
) -> Band:
    """The band that a target and a tolerance stand for; the sums are exact decimals.

    target, tolerance, lower, upper : numbers or decimal strings, in the unit of the quantity
        (the tolerance in percent where the basis is percent of the target).
    basis : "points" is plus and minus the tolerance; "percent_of_target" is plus and minus that share of the
        target; "range" is the lower and upper figures as given or, without them, a band as wide as the
        tolerance with the target in its middle. ValueError for anything else: the basis is never guessed.

    >>> band("9.2", "1", basis="points")
    Band(target=9.2, lower=8.2, upper=10.2, basis='points')
    >>> band("9.2", "1", basis="percent_of_target")
    Band(target=9.2, lower=9.108, upper=9.292, basis='percent_of_target')
    >>> band("9.2", "1", basis="range")
    Band(target=9.2, lower=8.7, upper=9.7, basis='range')
    """
    middle = None if target is None else exact(target)
    if basis == "range" and (lower is not None or upper is not None):
        return Band(_float(middle), _float(lower), _float(upper), basis)
    if basis not in BASES:
        raise ValueError(f"tolerance basis must be one of {', '.join(BASES)}, not {basis!r}")
    if middle is None or tolerance is None:
        raise ValueError(f"a tolerance in {basis} needs a target and a tolerance")
    half = _half_width(middle, exact(tolerance), basis)
    return Band(float(middle), float(middle - half), float(middle + half), basis)


def _half_width(target: Decimal, tolerance: Decimal, basis: str) -> Decimal:
    if tolerance < 0:
        raise ValueError(f"a tolerance can't be negative: {tolerance}")
    return {"points": tolerance, "percent_of_target": abs(target) * tolerance / 100, "range": tolerance / 2}[basis]


def _float(value: object) -> float | None:
    return None if value is None else float(exact(value))
