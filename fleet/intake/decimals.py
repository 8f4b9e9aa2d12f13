"""Decimal numbers as text: what a record may hold, and the pattern by which a JSON Schema says their bounds."""

from decimal import Decimal

PLACES = 6
PLAIN = rf"-?[0-9]{{1,9}}(\.[0-9]{{1,{PLACES}}})?"
_FRACTION = r"(\.[0-9]+)?"


def plain_decimal(value: Decimal) -> str:
    """At most six decimals, no exponent: what a record may hold."""
    text = format(round(value, PLACES), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def decimal_pattern(low: float | None = None, high: float | None = None) -> str:
    """A regular expression for decimal texts from low to high, both included.

    >>> decimal_pattern()
    '^-?[0-9]{1,9}(\\\\.[0-9]{1,6})?$'
    """
    refused = []
    if low is not None:
        refused.append(f"-{_above(-low)}" if low <= 0 else f"(-.*|{_under(low)})")
    if high is not None:
        refused.append(_above(high) if high >= 0 else f"([0-9].*|-{_under(-high)})")
    return "^" + "".join(f"(?!{each}$)" for each in refused) + PLAIN + "$"


def _above(bound: float) -> str:
    """Texts without a sign above a bound that is at least 0."""
    whole, rest = _digits(bound)
    higher = [f"[1-9][0-9]{{{len(whole)},}}", *_differing(whole, higher=True)]
    closer = [f"{each}[0-9]*" for each in _prefixes(rest, higher=True)]
    return f"0*(({'|'.join(higher)}){_FRACTION}|{whole}\\.({'|'.join(closer)}))"


def _under(bound: float) -> str:
    """Texts without a sign under a bound above 0."""
    whole, rest = _digits(bound)
    lower = [*([f"[0-9]{{1,{len(whole) - 1}}}"] if len(whole) > 1 else []), *_differing(whole, higher=False)]
    closer = [f"{each}[0-9]*" for each in _prefixes(rest, higher=False)]
    closer += [rest[:end] for end in range(1, PLACES) if rest[end:].strip("0")]
    said = [f"({'|'.join(lower)}){_FRACTION}"] if lower else []
    said += [f"{whole}(\\.({'|'.join(closer)}))?"] if closer else []
    return f"0*({'|'.join(said)})"


def _digits(bound: float) -> tuple[str, str]:
    whole, _dot, rest = format(Decimal(str(bound)), f".{PLACES}f").partition(".")
    return whole, rest


def _differing(digits: str, *, higher: bool) -> list[str]:
    """Texts of as many digits that are higher, or lower, by the first digit in which they differ."""
    return [f"{each}[0-9]{{{len(digits) - number}}}" for number, each in _stepped(digits, higher=higher)]


def _prefixes(digits: str, *, higher: bool) -> list[str]:
    return [each for _number, each in _stepped(digits, higher=higher)]


def _stepped(digits: str, *, higher: bool) -> list[tuple[int, str]]:
    last = 9 if higher else 0
    return [
        (place + 1, f"{digits[:place]}[{int(each) + 1}-9]" if higher else f"{digits[:place]}[0-{int(each) - 1}]")
        for place, each in enumerate(digits)
        if int(each) != last
    ]
