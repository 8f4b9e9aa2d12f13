"""What the evaluator is given: each reading with its derived figures, CO as it was logged, CO in the room.

CO as the analyser logged it may condemn what the one reading beside it doesn't show, and clears nothing. A series
begins while the sample still fills the probe, so its first minute counts for nothing.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fleet.limits import Verdict, Verdicts
from fleet.limits.cases import ROOM
from fleet.limits.quantities import CO_QUANTITIES
from fleet.models import Analyser, Reading, Visit
from fleet.models.judgements import Derived, SeriesSteadiness

# ---- what the evaluator is given ----


def only_analyser(readings: Sequence[Reading]) -> Analyser | None:
    """The analyser of all readings; None where they were taken with several, each with an accuracy of its own."""
    used = {each.analyser for each in readings}
    return used.pop() if len(used) == 1 else None


def cases_of(visit: Visit, derived: Mapping[int, Derived] | None = None) -> list[dict[str, Any]]:
    """What the evaluator is given: each reading with its derived figures, and CO in the room before and after.

    derived: by the reading's number; without it as they stand in the visit's judgement.
    """
    order = taken_order(visit)
    figures = visit.judgement.figures if derived is None else derived
    return [
        *(
            case
            for each in visit.readings.all()
            for case in with_logged_co(each, _case(visit, each, figures[each.number], order))
        ),
        *ambient_cases(visit),
    ]


def _case(visit: Visit, reading: Reading, derived: Derived, order: dict[int, int]) -> dict[str, Any]:
    """A reading as the evaluator wants it: what was read, how, and the figures only the server derives."""
    read = (
        *("o2_pct", "co2_pct", "co_ppm", "no_ppm", "nox_ppm", "flue_temp_c", "air_temp_c", "ambient_co_ppm"),
        *("intake_o2_pct", "draught_pa", "draught_fire_pa", "spillage_min", "smoke_spot", "oil_derivatives"),
    )
    return {
        "key": str(reading.number),
        "rate": reading.rate,
        "phase": reading.counted_phase,
        "casing": reading.casing or None,
        "sampling_point": reading.sampling_point,
        "rate_proven": reading.rate_proven,
        "invalid": derived.invalid,
        "steady": is_steady(reading, derived),
        "taken_order": order[reading.number],
        "qualifiers": reading.qualifiers,
        "adjusted_before": any(
            each.after_reading == reading.number - 1 and each.moves_combustion for each in visit.work.all()
        ),
        "work_after": [
            each.adjuster for each in visit.work.all() if each.after_reading >= reading.number and each.moves_combustion
        ],
        "flame": "unstable" if reading.flame_unstable else None,
        "ambient_co_before_ppm": visit.ambient_co_before_ppm,
        **{name: getattr(reading, name) for name in read},
        **{name: getattr(derived, name) for name in ("efficiency_pct_net", "efficiency_pct_gross", "flue_loss_pct")},
    }


def is_steady(reading: Reading, derived: Derived) -> bool | None:
    """Steady if the logged series of O2 or CO2 and of CO shows it and the technician doesn't say otherwise.

    Without a series what the technician said; not steady as soon as either says so.
    """
    said = {"steady": True, "not_steady": False}.get(reading.steadiness)
    shown = is_quiet(reading, derived.steadiness)
    return False if False in (said, shown) else said if shown is None else True


def ambient_cases(visit: Visit) -> list[dict[str, Any]]:
    """A case for each of ambient CO before ("before", as found) and after ("after") that was read.

    "after" is as left only beside a reading that counts as left: else the room alone would stand for the burner.
    """
    left = any(each.counted_phase == "as_left" for each in visit.readings.all())
    read = [
        ("before", visit.ambient_co_before_ppm, "as_found", -math.inf),
        ("after", visit.ambient_co_after_ppm, "as_left" if left else "as_found", math.inf),
    ]
    return [
        {
            "key": key,
            "phase": phase,
            "sampling_point": ROOM,
            "taken_order": order,
            "ambient_co_ppm": ambient_co_ppm,
            "qualifiers": {"ambient_co": visit.condition_qualifiers.get(f"ambient_co_{key}", "=")},
        }
        for key, ambient_co_ppm, phase, order in read
        if ambient_co_ppm is not None
    ]


def taken_order(visit: Visit) -> dict[int, int]:
    """Place of each reading by its number: by the clock where every reading has a time, else as they are numbered.

    Readings may arrive out of order (two people at one appliance), and what rises by the clock falls by number.
    """
    readings = list(visit.readings.all())
    times_s = {each.number: each.taken_at.timestamp() for each in readings if each.taken_at is not None}
    if len(times_s) < len(readings):
        times_s = {}
    ordered = sorted(readings, key=lambda each: (times_s.get(each.number, 0.0), each.number))
    return {each.number: place for place, each in enumerate(ordered, start=1)}


START_UP_S = 60.0
MEAN_OVER_S = 30.0
BEGAN, LOGGED = "began", "logged"
CO_OF_A_SERIES = CO_QUANTITIES | {"co_trend_in_test"}


def with_logged_co(reading: Reading, case: dict[str, Any]) -> list[dict[str, Any]]:
    """The reading's case after two of its series: CO as it began, past the first minute, and as it was in the end.

    Both are doubtful by themselves: what fires on the second stands, nothing is within by either.
    """
    level = _co_began_and_ended(reading.series)
    if level is None:
        return [case]
    over = "co" in (reading.series or {}).get("over_range", ())
    qualifiers = {name: said for name, said in case["qualifiers"].items() if name != "co"}
    logged = case | {"invalid": True, "ambient_co_ppm": None}
    began = {"key": f"{case['key']} {BEGAN}", "co_ppm": level[0], "taken_order": case["taken_order"] - 0.4}
    ended = {"key": f"{case['key']} {LOGGED}", "co_ppm": level[1], "taken_order": case["taken_order"] - 0.2}
    said = qualifiers | ({"co": "more_than"} if over else {})
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
    after_start = at_s >= START_UP_S
    begins = co[after_start & (at_s <= at_s[after_start][0] + MEAN_OVER_S)] if after_start.any() else co[-1:]
    return float(begins.mean()), float(co[at_s >= at_s[-1] - MEAN_OVER_S].mean())


def without_logged(verdicts: Verdicts) -> Verdicts:
    """The verdicts on readings, and of those on series only what fired: nothing else of them is a verdict."""
    return Verdicts(tuple(each for each in verdicts.verdicts if not is_of_series(each) or _condemns(each)))


def _condemns(verdict: Verdict) -> bool:
    """Of a series only its CO was put in the place of what was read; anything else would be said twice."""
    of_co = verdict.quantity in CO_OF_A_SERIES
    return of_co and verdict.outcome == "outside" and _part(verdict.reading_key) == LOGGED


def number_of(reading_key: str | None) -> int | None:
    """The number of the reading that a verdict is on, or whose series it is on."""
    number = (reading_key or "").split(" ")[0]
    return int(number) if number.isdigit() else None


def is_of_series(verdict: Verdict) -> bool:
    return _part(verdict.reading_key) != ""


def _part(reading_key: str | None) -> str:
    return (reading_key or "").partition(" ")[2]


def is_quiet(reading: Reading, steadiness: SeriesSteadiness | None) -> bool | None:
    """Whether the series had come to rest for target and CO: never with CO over range, None where it can't tell."""
    if reading.series and "co" in reading.series.get("over_range", ()):
        return False
    return steadiness.overall if steadiness else None
