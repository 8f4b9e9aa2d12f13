"""CO as the analyser logged it: it may condemn what the one reading beside it doesn't show, and clears nothing.

A series begins while the sample still fills the probe, so its first minute counts for nothing.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from fleet.limits import Verdict, Verdicts
from fleet.models import Reading

START_UP_S = 60.0
MEAN_OVER_S = 30.0
BEGAN, LOGGED = "began", "logged"
CO_QUANTITIES = frozenset({"co", "co_air_free", "co_co2_ratio", "co_trend_in_test"})


def with_logged_co(reading: Reading, case: dict[str, Any]) -> list[dict[str, Any]]:
    """The reading's case after two of its series: CO as it began, past the first minute, and as it was in the end.

    Both are doubtful by themselves: what fires on the second stands, nothing is within by either.
    """
    level = _co_began_and_ended(reading.series)
    if level is None:
        return [case]
    over = "co" in (reading.series or {}).get("over_range", ())
    qualifiers = {name: said for name, said in case["qualifiers"].items() if name != "co"}
    logged = case | {"void": True, "ambient_co_ppm": None}
    began = {"key": f"{case['key']} {BEGAN}", "co_ppm": level[0], "taken_order": case["taken_order"] - 0.4}
    ended = {"key": f"{case['key']} {LOGGED}", "co_ppm": level[1], "taken_order": case["taken_order"] - 0.2}
    said = qualifiers | ({"co": "more than"} if over else {})
    return [logged | began | {"qualifiers": qualifiers}, logged | ended | {"qualifiers": said}, case]


def _co_began_and_ended(series: Mapping[str, Any] | None) -> tuple[float, float] | None:
    """Means of CO over half a minute after the first minute, and over the last half minute [ppm]; None without CO."""
    if not series or "co" not in series:
        return None
    at_s = np.array([float(each) for each in series["at_s"]])
    co = np.array([np.nan if each is None else float(each) for each in series["co"]])
    at_s, co = at_s[~np.isnan(co)], co[~np.isnan(co)]
    if not co.size:
        return None
    settled = at_s >= START_UP_S
    begins = co[settled & (at_s <= at_s[settled][0] + MEAN_OVER_S)] if settled.any() else co[-1:]
    return float(begins.mean()), float(co[at_s >= at_s[-1] - MEAN_OVER_S].mean())


def without_logged(verdicts: Verdicts) -> Verdicts:
    """The verdicts on readings, and of those on series only what fired: nothing else of them is a verdict."""
    kept = [each for each in verdicts.verdicts if _part(each.reading_key) == "" or _condemns(each)]
    derived = [each for each in verdicts.derived if _part(each["key"]) == ""]
    return Verdicts(tuple(kept), tuple(derived))


def _condemns(verdict: Verdict) -> bool:
    """Of a series only its CO was put in the place of what was read; anything else would be said twice."""
    of_co = verdict.quantity in CO_QUANTITIES
    return of_co and verdict.outcome == "outside" and _part(verdict.reading_key) == LOGGED


def number_of(reading_key: str | None) -> int | None:
    """The number of the reading that a verdict is on, or whose series it is on."""
    number = (reading_key or "").split(" ")[0]
    return int(number) if number.isdigit() else None


def _part(reading_key: str | None) -> str:
    return (reading_key or "").partition(" ")[2]


def is_quiet(reading: Reading, steadiness: Mapping[str, Any] | None) -> bool | None:
    """Whether the series had come to rest for target and CO: never with CO over range, None where it can't tell."""
    if reading.series and "co" in reading.series.get("over_range", ()):
        return False
    return steadiness["overall"] if steadiness else None
