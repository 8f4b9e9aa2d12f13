"""What is odd about a visit, why a series was not steady and why a record is no evidence, in sentences of the codes
and figures that are kept."""

import math
from collections.abc import Callable, Mapping
from typing import Any

from django.utils.translation import gettext_lazy

from fleet.coded import Coded
from fleet.combustion import FUELS
from fleet.models import Visit
from fleet.numerals import figure, limit_figure
from fleet.presentation.codes import code_words
from fleet.presentation.days import said_day
from fleet.presentation.words import listed
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES

QUESTIONS = {
    "analyser_unknown": gettext_lazy("Analyser %(analyser)s is not on the register."),
    "analyser_not_in_calibration": gettext_lazy("%(analyser)s had no calibration in force on %(day)s."),
    "person_unknown": gettext_lazy("The person %(person)s is not on the register."),
    "person_not_qualified": gettext_lazy("%(person)s had no qualification for %(fuel_kind)s in force on %(day)s."),
    "not_signed": gettext_lazy("The visit is not signed by anybody on the register."),
    "analyser_changed": gettext_lazy("As found and as left were read with different analysers."),
    "analyser_does_not_measure": gettext_lazy(
        "Reading %(reading)s has %(gas)s, which %(analyser)s does not measure."
    ),
    "reading_implausible": gettext_lazy(
        "Reading %(reading)s: %(quantity)s %(value)s is beyond what an instrument shows (%(low)s to %(high)s)."
    ),
    "value_implausible": gettext_lazy("%(quantity)s %(value)s is beyond what can be (%(low)s to %(high)s)."),
    "readings_identical": gettext_lazy(
        "Readings %(readings)s, at two rates, agree to the last digit: was one copied?"
    ),
    "as_found_after_work": gettext_lazy("Reading %(reading)s was called as found but follows work on the burner."),
    "as_left_before_work": gettext_lazy("Reading %(reading)s was called as left, but work on the burner follows."),
    "steadiness_differs": gettext_lazy("Reading %(reading)s was called %(called)s; its series shows otherwise."),
    "time_ahead": gettext_lazy("A reading is dated more than a day ahead of its arrival here."),
    "times_out_of_order": gettext_lazy("The readings' times don't follow their order."),
    "left_differs_without_work": gettext_lazy(
        "At %(rate)s, %(gas)s went from %(found)s to %(left)s with no work logged."
    ),
    "fuel_differs": gettext_lazy("The visit says %(fuel)s burnt; the register says %(known_fuel)s."),
    "gas_conversion": gettext_lazy("A gas conversion: all its readings were judged as %(fuel)s."),
    "tested_while_out_of_use": gettext_lazy(
        "It was tested, but is recorded as out of use since %(day)s: record its restart."
    ),
    "serial_differs": gettext_lazy("The data plate shows serial %(seen)s; the register has %(known)s."),
    "plate_not_confirmed": gettext_lazy("The data plate was not confirmed on arrival."),
    "unsafe_left_in_use": gettext_lazy("It was declared unsafe and yet left in use."),
    "stop_level_left_in_use": gettext_lazy("A reading at stop level stands and it was left in use."),
    "left_off": gettext_lazy("It was %(state)s without being declared unsafe: see why, and who was told."),
    "no_sheet": gettext_lazy("There is no settings sheet for the appliance: readings have no target."),
    "rate_unknown": gettext_lazy("The sheet knows %(rates)s; a reading says %(rate)s."),
    "rates_missing": gettext_lazy("Called tested, but nothing was read at %(rates)s."),
    "phone_was_milder": gettext_lazy(
        "The phone showed within; judged here it is outside. Tell the technician."
    ),
}  # fmt: skip
# Why a logged series was not steady.
UNSTEADY = {
    "over_range": gettext_lazy("%(quantity)s was over range in the last %(window_s)s s"),
    "not_read": gettext_lazy("no %(quantity)s in the last %(window_s)s s"),
    "too_short": gettext_lazy("only %(elapsed_s)s s at this rate; %(needed_s)s s are needed"),
    "too_few": gettext_lazy("too few samples: %(samples)s in the last %(window_s)s s"),
    "gap": gettext_lazy("gap of %(gap_s)s s in the series"),
    "moved": gettext_lazy("%(quantity)s moved %(moved)s %(unit)s in the last %(window_s)s s; %(allowed)s is allowed"),
    "rises": gettext_lazy("flue temperature rises %(moved)s K/min; %(allowed)s is allowed"),
    "falls": gettext_lazy("flue temperature falls %(moved)s K/min; %(allowed)s is allowed"),
}
_SERIES = {
    "o2": (gettext_lazy("O₂"), gettext_lazy("points")),
    "co2": (gettext_lazy("CO₂"), gettext_lazy("points")),
    "co": (gettext_lazy("CO"), gettext_lazy("ppm")),
    "flue_temp": (gettext_lazy("flue temperature"), ""),
}
_LABELS = {each.column: each.label for each in (*READING_QUANTITIES.values(), *CONDITION_QUANTITIES.values())}


def oddity_words(code: str, figures: Mapping[str, Any]) -> str:
    """One oddity or doubt, as a sentence."""
    kind = "reading_implausible" if code == "value_implausible" and "reading" in figures else code
    said = str(QUESTIONS[kind]) % {name: _shown(name, value) for name, value in figures.items()}
    return f"{said.removesuffix('.')}: {unsteady_words(figures['why'])}." if figures.get("why") else said


def unsteady_words(reason: Coded | None) -> str:
    """Why a logged series was not steady, or not yet; empty where it was."""
    if reason is None:
        return ""
    code, figures = reason
    quantity, unit = _SERIES[figures.get("quantity", "flue_temp")]
    said = {name: _trimmed(value, 2) for name, value in figures.items() if name != "quantity"}
    if "allowed" in figures:
        # Never shown as more than it is, and what moved never as if it were allowed.
        allowed = math.floor(figures["allowed"] * 100 + 1e-9) / 100
        apart = (n for n in range(2, 10) if round(figures["moved"], n) > allowed)
        said |= {"allowed": _trimmed(allowed, 2), "moved": _trimmed(figures["moved"], next(apart, 10))}
    return str(UNSTEADY[code]) % (said | {"quantity": quantity, "unit": unit})


def _trimmed(value: float, decimals: int) -> str:
    shown = figure(value, decimals)
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def _shown(name: str, value: Any) -> str:
    if name in _OF_THEIR_OWN:
        return str(_OF_THEIR_OWN[name](value))
    return limit_figure(value, 0) if isinstance(value, float) else str(value)


def fuel_words(name: str) -> str:
    return str(FUELS[name].label) if name in FUELS else code_words(name)


_OF_THEIR_OWN: dict[str, Callable[[Any], object]] = {
    "day": said_day,
    "quantity": lambda column: _LABELS[column],
    "readings": lambda numbers: listed([str(each) for each in numbers]),
    "rates": ", ".join,
    "called": code_words,
    "fuel_kind": code_words,
    "fuel": fuel_words,
    "known_fuel": fuel_words,
    "state": lambda state: Visit.Disposition(state).label,
}
