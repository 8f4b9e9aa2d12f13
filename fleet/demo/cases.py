"""Visits that differ from the ordinary one, each at the first stop from its week on that fits it."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from fleet.combustion import FUELS, co2_pct_from_o2
from fleet.demo.simulation import Life, measured
from fleet.demo.town import Town
from fleet.demo.visits import Stop, body, ordinary_body

Body = dict[str, Any]
PART_WITHIN = timedelta(days=25)


@dataclass(frozen=True)
class Case:
    """week: from which on. fits: at which appliance. made: the message of that visit."""

    week: int
    fits: Callable[[Life], bool]
    made: Callable[[Town, Stop], Body]


# ---- readings that prove nothing ----


def wrong_fuel(town: Town, stop: Stop) -> Body:
    """The analyser was set for another fuel: the first reading is invalid, seen, and read again."""
    made = ordinary_body(town, stop)
    first = made["readings"][0]
    values = first["values"]
    o2 = float(values["o2"]["value"])
    wrong = values | {"co2": measured(float(co2_pct_from_o2(FUELS["propane"], o2)), 2, "%")}
    invalid = first | {"analyser_fuel": "propane", "values": wrong, "taken_at": made["attendance"]["arrived_at"]}
    made["readings"] = [invalid, *made["readings"]]
    for each in made["work"]:
        each["after_reading"] += 1
    made["note"] = "Analyser was still set for propane; set for natural gas and read again."
    return made


def no_cell_for_co(town: Town, stop: Stop) -> Body:
    """Taken with the old instrument, which has no cell for CO: the visit doesn't count as a check."""
    test = stop.test_with(town.unable, town)
    return body(stop, test, test.readings("as_found"), note="My analyser is away; read with the old one.")


def no_demand(town: Town, stop: Stop) -> Body:
    """High fire was reached, low fire wasn't: partly tested, which doesn't count as a check."""
    test = stop.test(town)
    why = "rate not reached: the building took no heat"
    return body(
        stop, test, [test.reading("as_found", "high")], outcome="partly_tested", outcome_reason=why,
        not_done=[{"rate": "low", "phase": "as_found", "why": why}],
    )  # fmt: skip


# ---- carbon monoxide ----


def high_co_put_right(town: Town, stop: Stop) -> Body:
    """CO at stop level as found; cleaned and set, and well below as left."""
    stop.life.co_ppm = 520.0
    return ordinary_body(town, stop) | {"note": "Burner clogged with lint; cleaned, set and read again."}


def unsafe(town: Town, stop: Stop) -> Body:
    """CO over range and rising in the room: shut off, isolated, labelled; nothing more was fired."""
    test = stop.test(town)
    first = test.reading("as_found", "high")
    first["values"] |= {"co": {"value": "2000", "unit": "ppm", "qualifier": "more_than"}}
    first["values"]["ambient_co"] = measured(14, 0, "ppm")
    first["flame_unstable"] = True
    stop.life.waits_for_part, stop.life.part_comes = True, stop.day + PART_WITHIN
    reason = "CO over the instrument's range and rising in the room while firing"
    told = "the caretaker, in person"
    return body(
        stop,
        test,
        [first],
        disposition={
            "state": "isolated",
            "unsafe": True,
            "details": {"isolated": True, "labelled": True, "told": told, "reason": reason},
        },
        left_as_found=False,
        outcome="partly_tested",
        outcome_reason="stopped for safety",
        not_done=[{"rate": "low", "phase": "as_found", "why": "stopped for safety"}],
        defects=[
            {"what": "heat exchanger blocked", "where": "flue side", "severity": "unsafe", "told": told,
             "action": "not to be used until repaired and tested"}
        ],
    )  # fmt: skip


def repaired(town: Town, stop: Stop) -> Body:
    """The part is fitted before anything is fired; then read as left at every rate."""
    life, test = stop.life, stop.test(town)
    life.waits_for_part, life.part_comes, life.co_ppm, life.flue_rise_k = False, None, life.kind.co_median_ppm, 0.0
    life.set_anew(town.rng)
    part = {"kind": "part", "after_reading": 0, "component": "heat exchanger", "replaced": True}
    closes, life.defects = life.defects, []
    return body(stop, test, test.readings("as_left"), work=[part], closes_defects=closes)


# ---- after a gas conversion ----


def first_on_new_gas(town: Town, stop: Stop) -> Body:
    """Read with the analyser set for the new gas, the disturbed joints tested."""
    made = ordinary_body(town, stop)
    for each in made["readings"]:
        each["analyser_fuel"] = stop.life.kind.fuel
    stop.life.converted = False
    return made | {
        "fuel": stop.life.kind.fuel,
        "inspection_points": made["inspection_points"] | {"gas_tightness": True},
    }


# ---- slips of the pen, corrected some days later ----


def mistyped(town: Town, stop: Stop) -> Body:
    """The flue temperature typed without its point; the right message waits to be sent as a correction."""
    right = ordinary_body(town, stop)
    first = right["readings"][0]
    slip = first["values"]["flue_temp"]["value"].replace(".", "")
    wrong = first | {"values": first["values"] | {"flue_temp": {"value": slip, "unit": "degC"}}}
    town.corrections.append((right, stop.member.user, "Flue temperature typed without its decimal point."))
    return right | {"readings": [wrong, *right["readings"][1:]]}


def wrong_serial(town: Town, stop: Stop) -> Body:
    """Two digits of the data plate swapped."""
    right = ordinary_body(town, stop)
    seen = str(right["data_plate"]["serial_seen"])
    town.corrections.append((right, stop.member.user, "Serial number misread; read again from the photo."))
    return right | {"data_plate": {"confirmed": True, "serial_seen": seen[1] + seen[0] + seen[2:]}}


def body_for(town: Town, stop: Stop, week: int) -> Body:
    """The message of this stop: what its appliance waits for, else the first case that is due and fits, else plain."""
    if stop.life.waits_for_part:
        return repaired(town, stop)
    if stop.life.converted:
        return first_on_new_gas(town, stop)
    for each in town.cases:
        if each.week <= week and each.fits(stop.life):
            town.cases.remove(each)
            made: Body = each.made(town, stop)
            return made
    return ordinary_body(town, stop)


def _is(*sheets: str) -> Callable[[Life], bool]:
    return lambda life: life.sheet_key in sheets and not life.common_flue


def _calculates(*sheets: str) -> Callable[[Life], bool]:
    """An instrument that tells CO2 by the fuel it is set to; the third one measures it."""
    return lambda life: life.sheet_key in sheets and life.site % 5 != 2


def all_cases() -> list[Case]:
    """A year of them; the newest are still open at the end of it."""
    return [
        Case(3, _calculates("house", "block"), wrong_fuel),
        Case(5, _is("house"), wrong_serial),
        Case(9, _is("plant"), high_co_put_right),
        Case(13, _is("plant", "block"), mistyped),
        Case(17, _is("oil"), no_cell_for_co),
        Case(21, _is("block", "plant"), unsafe),
        Case(26, _calculates("house", "block"), wrong_fuel),
        Case(30, _is("house"), high_co_put_right),
        Case(36, _is("house", "water"), mistyped),
        Case(43, _calculates("house", "block", "water", "open"), wrong_fuel),
        Case(45, _is("house", "block", "plant", "water", "open"), wrong_serial),
        Case(47, _is("plant", "house", "block", "water"), no_demand),
        Case(49, _is("house", "plant", "block", "water", "open"), unsafe),
    ]
