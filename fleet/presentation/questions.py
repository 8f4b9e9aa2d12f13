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
from fleet.presentation.sentences import sentences
from fleet.presentation.words import listed
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES

QUESTIONS = sentences("questions")
# Why a logged series was not steady.
UNSTEADY = sentences("not_steady")
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
