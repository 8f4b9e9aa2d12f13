"""A reading made ready for judging: usable numbers, what is derived from them, and what makes it doubtful.

Plain arithmetic on the card's fuel constants, so that another language reaches the same figures.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from fleet.coded import as_row
from fleet.combustion.emissions import LEAST_CO2_MAX_PCT
from fleet.limits.card import Accuracy, Card, FuelConstants
from fleet.limits.quantities import Measure

Case = dict[str, Any]

UNUSABLE = ("not_measured", "sensor_fault")
UNITS = ("_ppm", "_pct", "_pct_net", "_pct_gross", "_c", "_pa", "_min", "_kwh")
COMMON_FLUE = "common_flue"
# The sampling point of a case that holds nothing but ambient CO.
ROOM = "room"
# From here on it is no sample of the flue at all [% O2], and so much CO in it is taken for a sign of more [ppm]; both
# our own.
NO_SAMPLE_O2_PCT = 20.0
SIGN_CO_PPM = 30.0
# What is allowed for where the analyser's own accuracy isn't known (EN 50379-2, from memory).
UNKNOWN_ACCURACY = {"co_ppm": Accuracy(20.0, 5.0), "o2_pct": Accuracy(0.3, 0.0), "co2_pct": Accuracy(0.3, 0.0)}


def read_cases(card: Card, readings: Sequence[Mapping[str, Any]]) -> list[Case]:
    """The readings in the order taken, each with its derived figures and what makes it doubtful, coded or None.

    "doubt" holds for what was read in the flue, "doubt_anywhere" for ambient CO, spillage and flame as well.
    "stands_as_left": found, and no work that moves this rate and no reading of it came after.
    """
    cases: list[Case] = []
    for reading in sorted(readings, key=lambda reading: reading.get("taken_order") or 0):
        case = _usable(reading)
        _complete_o2_co2(card.fuel, case)
        case["doubt_anywhere"] = as_row("invalid") if case.get("invalid") else None
        case["doubt"] = case["doubt_anywhere"] or _doubt_in_flue(case)
        case["ambient_co_rise_ppm"] = _ambient_rise(case, cases)
        case["co_while_rising_ppm"] = _co_while_rising(case, cases, card.co_rise_ppm)
        cases.append(case)
    left = {case.get("rate") for case in cases if case.get("phase") == "as_left"}
    for case in cases:
        moved = any(card.moves(adjuster, case.get("rate")) for adjuster in case.get("work_after") or ())
        case["stands_as_left"] = case.get("phase") == "as_found" and case.get("rate") not in left and not moved
    return cases


def qualifier(case: Mapping[str, Any], field: str) -> str:
    """The qualifier of a figure; one that stands in for what was not measured or failed is a plain figure. With more CO
    than can be shown the excess air is less.
    """
    if field == "excess_air_ratio" and _said(case, "co_ppm") == "more_than":
        return "less_than"
    said = _said(case, field)
    return "=" if said in UNUSABLE else said


def _said(reading: Mapping[str, Any], field: str) -> str:
    """What is said of a field, by its name or without its unit."""
    qualifiers = reading.get("qualifiers")
    if not qualifiers:
        return "="
    return str(qualifiers.get(field) or qualifiers.get(field.rpartition("_")[0]) or "=")


def _usable(reading: Mapping[str, Any]) -> Case:
    """A copy in which a value that was not measured, failed or isn't a number is None; limits ask for words."""
    case = dict(reading)
    for field, value in reading.items():
        if isinstance(value, str):
            if field.endswith(UNITS):
                raise ValueError(f"{field} must be a number, not {value!r}")
        elif isinstance(value, float) and not math.isfinite(value):
            case[field] = None
        elif field == "oil_derivatives" and isinstance(value, bool):
            case[field] = "present" if value else "none"
    if case.get("qualifiers"):
        case |= {field: None for field in reading if _said(reading, field) in UNUSABLE}
    return case


def _complete_o2_co2(fuel: FuelConstants, case: Case) -> None:
    """Fill in the missing one of O2 and CO2 along the fuel's line, and what follows from them.

    Flue gas is stoichiometric gas diluted with air, so CO2 falls in a straight line from its maximum without
    O2 to the CO2 of the air, once its CO has burnt out with half as much of its O2: an atom balance. CO that isn't
    known counts as none. A CO2 above the maximum belongs to no O2 of this fuel.
    """
    o2, co2, co = case.get("o2_pct"), case.get("co2_pct"), (case.get("co_ppm") or 0.0) / 1e4
    span, burnt_out = fuel.co2_max_pct - fuel.co2_air_pct, 1 - co / 200
    case["derived"] = ""
    if o2 is None and co2 is not None and co2 <= fuel.co2_max_pct:
        whole = (fuel.co2_max_pct - (co2 + co) / burnt_out) * fuel.o2_air_pct / span
        o2, case["derived"] = max(0.0, whole * burnt_out + co / 2), "o2_pct"
    elif co2 is None and o2 is not None:
        whole = fuel.co2_max_pct - span * ((o2 - co / 2) / burnt_out) / fuel.o2_air_pct
        co2, case["derived"] = max(0.0, whole * burnt_out - co), "co2_pct"
    case["o2_pct"], case["co2_pct"] = o2, co2
    case["too_dilute"] = o2 is not None and o2 >= fuel.o2_too_dilute_pct
    case["co_ppm_air_free"] = _air_free(case)
    case["co_co2_ratio"] = _ratio(case) if fuel.co2_max_pct >= LEAST_CO2_MAX_PCT else None
    case["excess_air_ratio"] = _excess_air_ratio(fuel, None if o2 is None else (o2 - co / 2) / burnt_out)


def _air_free(case: Case) -> float | None:
    co, o2 = case.get("co_ppm"), case["o2_pct"]
    if co is None or o2 is None or case["too_dilute"]:
        return None
    return float(co * 20.9 / (20.9 - o2))


def _ratio(case: Case) -> float | None:
    co, co2 = case.get("co_ppm"), case["co2_pct"]
    if co is None or co2 is None or co2 <= 0 or case["too_dilute"]:
        return None
    return float(co / (co2 * 1e4))


def _excess_air_ratio(fuel: FuelConstants, o2: float | None) -> float | None:
    if o2 is None or o2 < 0 or o2 >= fuel.o2_air_pct:
        return None
    return float(1 + fuel.dry_products_per_air * o2 / (fuel.o2_air_pct - o2))


def _doubt_in_flue(case: Case) -> list[Any] | None:
    """Why a flue sample can condemn but never clear; None for a plain one."""
    if case.get("sampling_point") == COMMON_FLUE:
        return as_row("common_flue")
    if case["too_dilute"]:
        return as_row("mostly_air", o2_pct=case["o2_pct"])
    return as_row("not_steady") if case.get("steady") is False else None


def _ambient_rise(case: Case, earlier: Sequence[Case]) -> float | None:
    """Rise of ambient CO above the lowest that was read before in this visit."""
    ambient = case.get("ambient_co_ppm")
    before = [case.get("ambient_co_before_ppm")]
    for other in earlier:
        before += [other.get("ambient_co_before_ppm"), other.get("ambient_co_ppm")]
    starts = [value for value in before if value is not None]
    return float(ambient - min(starts)) if ambient is not None and starts else None


def _co_while_rising(case: Case, earlier: Sequence[Case], rise_ppm: float) -> float | None:
    """CO (air-free) if it rose by at least `rise_ppm` in this test, 0 if it didn't, None if nothing compares.

    Compared at one rate and sampling point with the lowest reading since the last turn of an adjuster
    ("adjusted_before": an adjuster was turned just before this reading) and with the last one before that
    turn, which must not have made it worse. Where either lacks an air-free figure both are taken as measured.
    """
    if case.get("co_ppm") is None:
        return None
    rises = [_co_pair(before, case) for before in _to_compare(case, earlier)]
    if not rises:
        return None
    risen = [now for then, now in rises if now - then >= rise_ppm]
    return float(max(risen, default=0.0))


def _to_compare(case: Case, earlier: Sequence[Case]) -> list[Case]:
    """Earlier readings with a CO figure at the same rate and sampling point, back to the last before an adjustment."""
    found: list[Case] = []
    adjusted = case.get("adjusted_before")
    place = case.get("rate"), case.get("sampling_point")
    for before in reversed(earlier):
        if (before.get("rate"), before.get("sampling_point")) == place and before.get("co_ppm") is not None:
            found.append(before)
            if adjusted:
                break
        adjusted = adjusted or before.get("adjusted_before")
    return found


def _co_pair(before: Case, now: Case) -> tuple[float, float]:
    field = "co_ppm" if None in (before["co_ppm_air_free"], now["co_ppm_air_free"]) else "co_ppm_air_free"
    return before[field], now[field]


# ---- held against a row ----

Value = float | str | None


def measured(measure: Measure, case: Case, card: Card) -> tuple[Value, str, float | None]:
    """A reading's value on a row's basis, its qualifier, and the expanded uncertainty of the value.

    Without a usable O2 (or CO2) a concentration is "at_least" what it would be in undiluted gas, CO in a sample that is
    mostly air at least its lower bound. Uncertain are the figure itself and the O2 or CO2 that scaled it, each by the
    analyser's recorded accuracy.
    """
    raw = case.get(measure.field)
    if raw is None or isinstance(raw, str):
        return raw, "=", None
    by, said = measure.scaled_by, qualifier(case, measure.field)
    span, bound = _span(measure, case, card.fuel)
    value = 0.0 if bound and said == "less_than" else raw * measure.factor / span
    if bound and value and case["too_dilute"]:
        value = max(value, least_of_diluted(measure, case, card))
    if measure.whole:
        value = float(math.floor(value + 0.5))
    if bound or case["too_dilute"]:
        return value, "at_least" if bound and said != "more_than" else said, None
    own = _expanded(measure.field, raw, card)
    other = 0.0 if by is None else _expanded(by, case[by], card)
    if own is None or other is None:
        return value, said, None
    own, other = own * measure.factor / span, value * other / span
    return value, said, math.sqrt(own * own + other * other)


def _span(measure: Measure, case: Case, fuel: FuelConstants) -> tuple[float, bool]:
    """What a figure is divided by, and whether that is only its largest, for want of a usable O2 or CO2."""
    by, in_air = measure.scaled_by, measure.o2_in_air_pct
    if by is None:
        return 1.0, False
    known = None if case["too_dilute"] else case[by]
    span = known if known is None or in_air is None else in_air - known
    if span is None or not span > 0:
        return fuel.co2_max_pct if in_air is None else in_air, True
    return span, False


def least_of_diluted(measure: Measure, case: Case, card: Card, *, co_allowed: bool = True) -> float:
    """The least that CO can be on a row's basis in a sample that is mostly air, 0 where it can't be told.

    (CO - U) / (O2 in air - (O2 - U)), or (CO - U) / (CO2 + U) with a CO2 that was measured; every U against it, that of
    CO only if `co_allowed`. What is no sample of the flue has no such bound.
    """
    if measure.field != "co_ppm" or case.get("co_ppm") is None or case["o2_pct"] >= NO_SAMPLE_O2_PCT:
        return 0.0
    co_ppm = max(0.0, case["co_ppm"] - co_allowed * _allowance("co_ppm", case["co_ppm"], card))
    co2_u_pct = _allowance("co2_pct", case["co2_pct"], card)
    if measure.o2_in_air_pct is None:
        measured_co2 = card.analyser.co2 == "measured" and case["derived"] != "co2_pct"
        return co_ppm * measure.factor / (max(0.0, case["co2_pct"]) + co2_u_pct) if measured_co2 else 0.0
    fuel = card.fuel
    o2_u_pct = (
        co2_u_pct * fuel.o2_air_pct / (fuel.co2_max_pct - fuel.co2_air_pct)
        if case["derived"] == "o2_pct"
        else _allowance("o2_pct", case["o2_pct"], card)
    )
    return float(co_ppm * measure.factor / (measure.o2_in_air_pct - case["o2_pct"] + o2_u_pct))


def _allowance(field: str, value: float, card: Card) -> float:
    return (card.analyser.accuracy.get(field) or UNKNOWN_ACCURACY[field]).at(value)


def _expanded(field: str, value: float, card: Card) -> float | None:
    accuracy = card.analyser.accuracy.get(field)
    return None if accuracy is None else accuracy.at(value)
