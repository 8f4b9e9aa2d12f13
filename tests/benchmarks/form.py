"""What a figure must look like, and how it is shown."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

SUBJECTS = ("combustion", "drift", "required_checks", "evidence", "api", "web", "routing", "reports", "intake", "scale")
KEYS = ("name", "value", "unit", "ratio_to", "ratio", "goal", "met")
HEADS = ("figure", "value", "unit", "times better than", "", "goal", "met")


def checked(given: Mapping[str, Any]) -> dict[str, Any]:
    """The figure with every key in place; ValueError names the figure, what is wrong and what is allowed.

    >>> checked({"name": "drift.fit", "value": 12.0, "unit": "ms"})["ratio"] is None
    True
    """
    name = given.get("name")
    if not isinstance(name, str) or name.split(".")[0] not in SUBJECTS or not name.partition(".")[2]:
        raise ValueError(f"name: {name!r} must be SUBJECT.WORDS with a subject of {', '.join(SUBJECTS)}")
    if unknown := sorted(set(given) - set(KEYS)):
        raise ValueError(f"{name}: {', '.join(unknown)} is not known; known are {', '.join(KEYS)}")
    figure: dict[str, Any] = dict.fromkeys(KEYS) | dict(given)
    if not _is_finite(figure["value"]):
        raise ValueError(f"{name}: value {figure['value']!r} must be a finite number")
    if not isinstance(figure["unit"], str):
        raise ValueError(f"{name}: unit {figure['unit']!r} must be a text")
    if (figure["ratio"] is None) != (figure["ratio_to"] is None):
        raise ValueError(f"{name}: ratio and ratio_to must both be given or neither")
    if figure["ratio"] is not None and not (_is_finite(figure["ratio"]) and float(figure["ratio"]) > 0):
        raise ValueError(f"{name}: ratio {figure['ratio']!r} must be a number above zero")
    if (figure["goal"] is None) != (figure["met"] is None):
        raise ValueError(f"{name}: goal and met must both be given or neither")
    return figure | {
        "value": float(figure["value"]),
        "ratio": None if figure["ratio"] is None else float(figure["ratio"]),
        "met": None if figure["met"] is None else bool(figure["met"]),
    }


def _is_finite(value: Any) -> bool:
    try:
        return math.isfinite(float(value))
    except (TypeError, ValueError):
        return False


def table(figures: Sequence[Mapping[str, Any]]) -> str:
    """The figures in columns, plain text."""
    rows = [HEADS, *(_row(each) for each in figures)]
    widths = [max(len(row[n]) for row in rows) for n in range(len(HEADS))]
    numbers = (1, 3)
    lines = (
        "  ".join(cell.rjust(width) if n in numbers else cell.ljust(width) for n, (cell, width) in enumerate(cells))
        for cells in (list(zip(row, widths, strict=True)) for row in rows)
    )
    return "\n".join(line.rstrip() for line in lines)


def _row(figure: Mapping[str, Any]) -> tuple[str, ...]:
    met = {None: "", True: "yes", False: "NO"}[figure["met"]]
    goal = "" if figure["goal"] is None else str(figure["goal"])
    return (
        figure["name"],
        _short(figure["value"]),
        figure["unit"],
        "" if figure["ratio"] is None else _short(figure["ratio"]),
        figure["ratio_to"] or "",
        goal,
        met,
    )


def _short(value: float) -> str:
    """Four significant digits, thousands apart; a whole number as it is."""
    if value.is_integer() or abs(value) >= 1e4:
        return f"{value:,.0f}"
    return f"{value:.4g}"
