"""What a visit's readings suggest: patterns that tell a cause, and what to check for it.

Thresholds and words are data (`fixtures/reference/diagnostics.json`); what a pattern looks for is one small function
here, which returns the figures that fired it. Patterns suggest and never decide. Those that need other appliances or
other visits are in `patterns_elsewhere`.

A doubtful reading may condemn and never clear: where a pattern that makes the readings invalid holds, every explanation
that rests on flue gas is dropped, and what calls for a stop stays.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

ORDER: Final = (
    "shut_down",
    "stop_and_find",
    "invalid_reading",
    "refer",
    "adjust",
    "service",
    "investigate",
    "repeat",
    "query",
    "wait",
)
# Differences of figures read to a digit are exact only to the rounding of a float; a threshold is met all the same.
DECIMALS: Final = 6
# What two readings of one flame seldom share; equal in several of these, they were copied or not read again.
READ_TO_THE_DIGIT: Final = (
    "o2_pct",
    "co2_pct",
    "co_ppm",
    "no_ppm",
    "nox_ppm",
    "flue_temp_c",
    "air_temp_c",
    "draught_pa",
    "gas_pressure_working_pa",
)

Figures = Mapping[str, float]
Thresholds = Mapping[str, float]
Pattern = Mapping[str, Any]
Reading = Mapping[str, float | bool | None]
Rates = Mapping[str, Reading]


@dataclass(frozen=True)
class VisitView:
    """What the patterns look at in one visit; a figure that is missing, None or NaN never fires.

    found, left : by rate position "high" and "low" (a single rate is "high"), the reading as found and as left: o2_pct,
        co2_pct, co_ppm, co_ppm_air_free, o2_corrected_pct (at 20 C intake air), flue_temp_c, air_temp_c, net_temp_k,
        input_share_pct (of the rating at that rate), draught_pa, smoke_spot, oil_derivatives, spillage_min,
        gas_pressure_working_pa, co_slope_ppm_min, co_first_minute_ppm_air_free, outside (its target's verdict; None
        where not judged), invalid.
    last : the same of the visit before, as left or else as found, at the same proven rate.
    co2_basis : "measured", "calculated" or "absent". fuel, analyser_fuel : classes of fuel, "" where unknown.
    co2_max_pct : of the fuel, dry. zero_o2_pct, zero_co_ppm : what the analyser read in fresh air.
    ambient_before_ppm, ambient_max_ppm : CO in the room before firing and the most while firing.
    natural_draught, minimum_working_pressure_pa, spillage_limit_min : of the appliance and the limits that apply.
    adjusted : an adjustment is recorded. readings : every counted reading as read, with "phase" and "rate".
    """

    found: Rates = field(default_factory=dict)
    left: Rates = field(default_factory=dict)
    last: Rates = field(default_factory=dict)
    co2_basis: str = "absent"
    fuel: str = ""
    analyser_fuel: str = ""
    co2_max_pct: float | None = None
    zero_o2_pct: float | None = None
    zero_co_ppm: float | None = None
    ambient_before_ppm: float | None = None
    ambient_max_ppm: float | None = None
    natural_draught: bool | None = None
    minimum_working_pressure_pa: float | None = None
    spillage_limit_min: float | None = None
    adjusted: bool = False
    readings: tuple[Mapping[str, Any], ...] = ()


@dataclass(frozen=True)
class Diagnosis:
    """One pattern that holds; its words stand in the data file and are said by `fleet.presentation.diagnoses`.

    figures : what fired it, each in the unit that its name ends in; those that weren't read are left out.
    named : what else its sentence names, as codes: rate, phase, o2_basis ("corrected" for air temperature or
        "as_read"), fuel, analyser_fuel, reading and other_reading (numbers).
    inputs : ids of the readings, visits, appliances or buildings that went in, where others than this visit did.
    """

    pattern: str
    severity: str
    evidence: str
    figures: Figures
    named: Mapping[str, str] = field(default_factory=dict)
    inputs: Mapping[str, list[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Look:
    """What one function is shown: a visit, one state of it (as found, as left), and there one reading."""

    view: VisitView
    place: Mapping[str, str]
    state: Rates
    reading: Reading

    def now(self, rate: str, key: str) -> float:
        return number(self.state.get(rate, {}).get(key))

    def last(self, rate: str, key: str) -> float:
        return number(self.view.last.get(rate, {}).get(key))

    def rise(self, rate: str, key: str) -> float:
        """How much more it is than when the appliance was last left at this rate."""
        return difference(self.now(rate, key), self.last(rate, key))

    def of(self, key: str) -> float:
        return number(self.reading.get(key))


def number(value: Any) -> float:
    """A figure as it is; NaN for what isn't one, so that no comparison with it holds."""
    if value is None or isinstance(value, (bool, str)):
        return math.nan
    return float(value) if math.isfinite(value) else math.nan


def difference(one: float, other: float) -> float:
    return round(one - other, DECIMALS)


def diagnose(view: VisitView, patterns: Sequence[Pattern]) -> tuple[Diagnosis, ...]:
    """The patterns that hold for a visit, the strictest first.

    patterns : rows of the data file; those about other visits are passed over. ValueError for one that is unknown
        here, lacks a threshold or a known severity.

    >>> row = {"id": "DX14", "severity": "shut_down", "makes_invalid": False, "evidence": "",
    ...        "thresholds": {"ambient_rise_ppm": 5}}
    >>> diagnose(VisitView(ambient_before_ppm=1.0, ambient_max_ppm=6.0), [row])[0].figures["ambient_max_ppm"]
    6.0
    """
    own = [pattern for pattern in patterns if pattern["id"] not in ELSEWHERE]
    held = [(pattern, found) for pattern in own if (found := _diagnosis(pattern, view)) is not None]
    if any(pattern["makes_invalid"] for pattern, _ in held) or _marked_invalid(view):
        held = [(pattern, found) for pattern, found in held if _stays(pattern, view)]
    return tuple(sorted((found for _, found in held), key=lambda found: (ORDER.index(found.severity), found.pattern)))


def diagnosis_of(
    pattern: Pattern, figures: Figures, named: Mapping[str, str], inputs: Mapping[str, list[str]] | None = None
) -> Diagnosis:
    """The pattern with the figures that fired it and what it names."""
    if pattern["severity"] not in ORDER:
        raise ValueError(f"severity must be one of {', '.join(ORDER)}, not {pattern['severity']!r}")
    return Diagnosis(
        pattern["id"],
        pattern["severity"],
        pattern["evidence"],
        {name: value for name, value in figures.items() if not math.isnan(value)},
        dict(named),
        inputs or {},
    )


def _diagnosis(pattern: Pattern, view: VisitView) -> Diagnosis | None:
    if pattern["id"] not in RULES:
        raise ValueError(f"pattern must be one of {', '.join(RULES)}, not {pattern['id']!r}")
    rule = RULES[pattern["id"]]
    try:
        for look in rule.over(view):
            if (figures := rule.fires(look, pattern["thresholds"])) is not None:
                return diagnosis_of(pattern, figures, _named(look))
    except KeyError as missing:
        raise ValueError(f"pattern {pattern['id']} lacks {missing}") from None
    return None


def _named(look: Look) -> dict[str, str]:
    basis = "corrected" if _o2_key(look) == "o2_corrected_pct" else "as_read"
    fuels = {"fuel": look.view.fuel, "analyser_fuel": look.view.analyser_fuel}
    return {**look.place, "o2_basis": basis, **fuels}


def _marked_invalid(view: VisitView) -> bool:
    return any(
        reading.get("invalid") is True for state in (view.found, view.left, view.last) for reading in state.values()
    )


def _stays(pattern: Pattern, view: VisitView) -> bool:
    """Whether a pattern that holds is told although the readings are invalid."""
    when_invalid = RULES[pattern["id"]].when_invalid
    if when_invalid == WITH_HIGH_CO:
        high = Look(view, {}, view.found, view.found["high"])
        return _co(high) >= float(pattern["thresholds"]["high_co_ppm_air_free"])
    return bool(pattern["makes_invalid"]) or when_invalid == STAYS


# What a function is shown.


def _visit(view: VisitView) -> Iterator[Look]:
    """The visit as found, once."""
    yield Look(view, {}, view.found, view.found.get("high", {}))


def _states(view: VisitView) -> Iterator[Look]:
    """The visit as found, then as left."""
    for phase, state in (("as_found", view.found), ("as_left", view.left)):
        yield Look(view, {"phase": phase}, state, {})


def _readings(view: VisitView) -> Iterator[Look]:
    """Each rate as found, then each as left."""
    for look in _states(view):
        for rate in ("high", "low"):
            if rate in look.state:
                yield Look(view, {"rate": rate, **look.place}, look.state, look.state[rate])


# What fires a pattern.


def _leaner_or_richer(look: Look, *, sign: int) -> float:
    """How far O2 moved that way at least, over every rate the appliance has; NaN where one wasn't read."""
    rates = [rate for rate in ("high", "low") if rate == "high" or rate in look.state or rate in look.view.last]
    moved = [sign * look.rise(rate, _o2_key(look)) for rate in rates]
    return math.nan if any(map(math.isnan, moved)) else min(moved)


def _o2_key(look: Look) -> str:
    """O2 at 20 C intake air where both visits have it at every rate read, else O2 as read."""
    key = "o2_corrected_pct"
    read = [rate for rate in ("high", "low") if not math.isnan(look.rise(rate, "o2_pct"))]
    return key if all(not math.isnan(look.rise(rate, key)) for rate in read or ["high"]) else "o2_pct"


def _co(look: Look) -> float:
    """CO air-free; CO as read where it is higher or the sample is too dilute for the other: no CO air-free is less."""
    known = [value for value in (look.of("co_ppm_air_free"), look.of("co_ppm")) if not math.isnan(value)]
    return max(known, default=math.nan)


def _o2_and_co(look: Look, co_from: float, *, o2_moved: float, o2_from: float) -> Figures | None:
    co_rise = look.rise("high", "co_ppm_air_free")
    if not (o2_moved >= o2_from and co_rise >= co_from):
        return None
    return {
        "o2_pct": look.now("high", "o2_pct"),
        "last_o2_pct": look.last("high", "o2_pct"),
        "co_rise_ppm_air_free": co_rise,
    }


def _starved(look: Look, t: Thresholds) -> Figures | None:
    fall = -look.rise("high", "o2_pct")
    return _o2_and_co(look, t["co_rise_ppm_air_free"], o2_moved=fall, o2_from=t["o2_fall_pct"])


def _lifting(look: Look, t: Thresholds) -> Figures | None:
    rise = look.rise("high", "o2_pct")
    return _o2_and_co(look, t["co_rise_ppm_air_free"], o2_moved=rise, o2_from=t["o2_rise_pct"])


def _richer(look: Look, t: Thresholds) -> Figures | None:
    fall, co = _leaner_or_richer(look, sign=-1), look.now("high", "co_ppm_air_free")
    fires = fall >= t["o2_fall_pct"] and co < t["co_below_ppm_air_free"]
    return {"o2_fall_pct": fall, "co_ppm_air_free": co} if fires else None


def _leaner(look: Look, t: Thresholds) -> Figures | None:
    rise, co = _leaner_or_richer(look, sign=1), look.now("high", "co_ppm_air_free")
    fires = rise >= t["o2_rise_pct"] and co < t["co_below_ppm_air_free"]
    return {"o2_rise_pct": rise, "co_ppm_air_free": co} if fires else None


def _outside_at_one_rate(look: Look, *, out: str, within: str) -> Figures | None:
    judged = (look.state.get(out, {}).get("outside"), look.state.get(within, {}).get("outside"))
    return {} if judged[0] is True and judged[1] is False else None


def _low_fire_out(look: Look, _: Thresholds) -> Figures | None:
    return _outside_at_one_rate(look, out="low", within="high")


def _high_fire_out(look: Look, _: Thresholds) -> Figures | None:
    return _outside_at_one_rate(look, out="high", within="low")


def _hotter(look: Look, t: Thresholds) -> Figures | None:
    rise, o2 = look.rise("high", "net_temp_k"), look.rise("high", "o2_pct")
    fires = rise >= t["net_temp_rise_k"] and abs(o2) < t["o2_change_below_pct"]
    return {"net_temp_rise_k": rise, "o2_change_pct": o2} if fires else None


def _diluted(look: Look, t: Thresholds) -> Figures | None:
    fall, o2 = -look.rise("high", "net_temp_k"), look.rise("high", "o2_pct")
    fires = fall >= t["net_temp_fall_k"] and o2 >= t["o2_rise_pct"]
    return {"net_temp_fall_k": fall, "o2_rise_pct": o2} if fires else None


def _off_the_fuel_line(look: Look, t: Thresholds) -> Figures | None:
    """O2 and CO2 of dry flue gas share the line CO2 = CO2max (20.9 - O2) / 20.9."""
    o2, co2, in_air = look.of("o2_pct"), look.of("co2_pct"), t["o2_in_air_pct"]
    expected = number(look.view.co2_max_pct) * (in_air - o2) / in_air
    fires = look.view.co2_basis == "measured" and abs(difference(co2, expected)) > t["co2_gap_above_pct"]
    return {"o2_pct": o2, "co2_pct": co2, "co2_expected_pct": expected} if fires else None


def _another_fuel(look: Look, _: Thresholds) -> Figures | None:
    fuels = {look.view.fuel, look.view.analyser_fuel}
    return {} if len(fuels) == 2 and "" not in fuels else None


def _zero_off(look: Look, t: Thresholds) -> Figures | None:
    o2, co = number(look.view.zero_o2_pct), number(look.view.zero_co_ppm)
    fires = o2 < t["zero_o2_from_pct"] or o2 > t["zero_o2_to_pct"] or abs(co) > t["zero_co_above_ppm"]
    return {"zero_o2_pct": o2, "zero_co_ppm": co} if fires else None


def _co_climbs(look: Look, t: Thresholds) -> Figures | None:
    slope, co = look.of("co_slope_ppm_min"), _co(look)
    fires = slope > t["co_slope_above_ppm_min"] and co >= t["co_from_ppm_air_free"]
    return {"co_slope_ppm_min": slope, "co_ppm_air_free": co} if fires else None


def _co_at_the_start(look: Look, t: Thresholds) -> Figures | None:
    first, co = look.of("co_first_minute_ppm_air_free"), look.of("co_ppm_air_free")
    fires = first >= t["first_minute_from_ppm_air_free"] and co < t["co_below_ppm_air_free"]
    return {"co_first_minute_ppm_air_free": first, "co_ppm_air_free": co} if fires else None


def _room_co_rises(look: Look, t: Thresholds) -> Figures | None:
    before, most = number(look.view.ambient_before_ppm), number(look.view.ambient_max_ppm)
    fires = difference(most, before) >= t["ambient_rise_ppm"]
    return {"ambient_before_ppm": before, "ambient_max_ppm": most} if fires else None


def _spills(look: Look, t: Thresholds) -> Figures | None:
    draught, minutes, limit = look.of("draught_pa"), look.of("spillage_min"), number(look.view.spillage_limit_min)
    fires = look.view.natural_draught is True and draught > t["draught_above_pa"] and minutes > limit
    return {"draught_pa": draught, "spillage_min": minutes, "spillage_limit_min": limit} if fires else None


def _burns_oil(look: Look) -> bool:
    return not look.view.fuel or "oil" in look.view.fuel


def _smoke_rich(look: Look, t: Thresholds) -> Figures | None:
    smoke, fall = look.now("high", "smoke_spot"), -look.rise("high", "o2_pct")
    fires = _burns_oil(look) and smoke >= t["smoke_spot"] and fall >= t["o2_fall_pct"]
    return {"smoke_spot": smoke, "o2_fall_pct": fall} if fires else None


def _smoke_lean(look: Look, t: Thresholds) -> Figures | None:
    smoke, rise = look.now("high", "smoke_spot"), look.rise("high", "o2_pct")
    fires = _burns_oil(look) and smoke >= t["smoke_spot"] and rise >= t["o2_rise_pct"]
    return {"smoke_spot": smoke, "o2_rise_pct": rise} if fires else None


def _oil_on_the_paper(look: Look, _: Thresholds) -> Figures | None:
    return {} if _burns_oil(look) and look.reading.get("oil_derivatives") is True else None


def _overfired(look: Look, t: Thresholds) -> Figures | None:
    share = look.of("input_share_pct")
    return {"input_share_pct": share} if share > t["input_share_above_pct"] else None


def _short_of_gas(look: Look, t: Thresholds) -> Figures | None:
    share, pressure = look.of("input_share_pct"), look.of("gas_pressure_working_pa")
    least = number(look.view.minimum_working_pressure_pa)
    if not (share < t["input_share_below_pct"] and pressure < least):
        return None
    return {"input_share_pct": share, "gas_pressure_working_pa": pressure, "minimum_working_pressure_pa": least}


def _rates_alike(look: Look, t: Thresholds) -> Figures | None:
    o2 = abs(difference(look.now("high", "o2_pct"), look.now("low", "o2_pct")))
    flue = abs(difference(look.now("high", "flue_temp_c"), look.now("low", "flue_temp_c")))
    fires = o2 < t["o2_gap_below_pct"] and flue < t["flue_temp_gap_below_k"]
    return {"o2_gap_pct": o2, "flue_temp_gap_k": flue} if fires else None


def _not_read_again(look: Look, t: Thresholds) -> Figures | None:
    """Each reading as left shows what one as found at its rate shows, in every figure that both have."""
    found = [each for each in look.view.readings if each.get("phase") == "as_found"]
    left = [each for each in look.view.readings if each.get("phase") == "as_left"]
    if not look.view.adjusted or not left:
        return None
    equal = [_most_equal(each, [one for one in found if one.get("rate") == each.get("rate")]) for each in left]
    fires = all(equal) and sum(equal) >= t["least_equal_quantities"]
    return {"equal_quantities": float(sum(equal))} if fires else None


def _most_equal(reading: Mapping[str, Any], others: list[Mapping[str, Any]]) -> int:
    """In how many figures it agrees with one of the others that it differs from in none; 0 where there's none."""
    return max((equal for each in others for equal, differ in [compared(reading, each)] if not differ), default=0)


def compared(one: Mapping[str, Any], other: Mapping[str, Any]) -> tuple[int, int]:
    """In how many figures that both readings have they are equal to the digit, and in how many they differ."""
    pairs = [(one.get(name), other.get(name)) for name in READ_TO_THE_DIGIT]
    read = [pair for pair in pairs if all(_was_read(value) for value in pair)]
    equal = sum(a == b for a, b in read)
    return equal, len(read) - equal


def _was_read(value: Any) -> bool:
    return value is not None and value == value  # NaN is not equal to itself


DROPPED: Final = "dropped"
STAYS: Final = "stays"
WITH_HIGH_CO: Final = "stays_with_high_co"


class Rule(NamedTuple):
    """What a pattern's function is shown, the function, and what becomes of it where the readings are invalid."""

    over: Callable[[VisitView], Iterator[Look]]
    fires: Callable[[Look, Thresholds], Figures | None]
    when_invalid: str = DROPPED


RULES: Final[Mapping[str, Rule]] = {
    "DX01": Rule(_visit, _starved, WITH_HIGH_CO),
    "DX02": Rule(_visit, _richer),
    "DX03": Rule(_visit, _leaner),
    "DX04": Rule(_visit, _lifting, WITH_HIGH_CO),
    "DX05": Rule(_states, _low_fire_out),
    "DX06": Rule(_states, _high_fire_out),
    "DX07": Rule(_visit, _hotter),
    "DX08": Rule(_visit, _diluted),
    "DX09": Rule(_readings, _off_the_fuel_line, STAYS),
    "DX10": Rule(_visit, _another_fuel, STAYS),
    "DX11": Rule(_visit, _zero_off, STAYS),
    "DX12": Rule(_readings, _co_climbs, STAYS),
    "DX13": Rule(_readings, _co_at_the_start),
    "DX14": Rule(_visit, _room_co_rises, STAYS),
    "DX15": Rule(_readings, _spills, STAYS),
    "DX16": Rule(_visit, _smoke_rich),
    "DX17": Rule(_visit, _smoke_lean),
    "DX18": Rule(_readings, _oil_on_the_paper, STAYS),
    "DX19": Rule(_readings, _overfired, STAYS),
    "DX20": Rule(_readings, _short_of_gas, STAYS),
    "DX21": Rule(_states, _rates_alike),
    "DX22": Rule(_visit, _not_read_again, STAYS),
}
# Patterns of `patterns_elsewhere`.
ELSEWHERE: Final = ("DX23", "DX24", "DX25")
