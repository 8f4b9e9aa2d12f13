"""What the readings suggest, in the words of the data file filled with the figures that fired it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from fleet.assess.judging.diagnosing import CO2_OF, patterns
from fleet.combustion import FUELS, Doubt
from fleet.limits import Diagnosis as Suggestion
from fleet.models import Diagnosis, Visit
from fleet.numerals import MINUS, figure
from fleet.presentation.codes import code_words
from fleet.presentation.figures import DERIVED_DECIMALS, NONE
from fleet.presentation.questions import fuel_words
from fleet.presentation.sentences import sentences

Diagnosed = Diagnosis | Suggestion
PATTERN = "pattern_"
# What makes a reading doubtful by itself, whatever it is held against.
DOUBTS = sentences("reading_doubts")
DOUBT_DECIMALS = DERIVED_DECIMALS | {
    "expected_co2_pct": DERIVED_DECIMALS["co2_pct"],
    "apparent_co2_max_pct": 1,
    "fuel_co2_max_pct": 1,
    "co_ppm": 0,
    "flue_temp_c": 1,
}


class _Shown(dict[str, str]):
    """Figures by name; one that wasn't read shows as "-"."""

    def __missing__(self, name: str) -> str:
        return "-"


def title_words(diagnosis: Diagnosed) -> str:
    return _(_row(diagnosis.pattern)["title"])


def diagnosis_words(diagnosis: Diagnosed) -> str:
    """What shows it."""
    return sentence_of(_row(diagnosis.pattern), diagnosis.figures, diagnosis.named)


@dataclass(frozen=True)
class PatternRow:
    """A row of the table of what the readings suggest."""

    title: str
    sentence: str
    causes: list[str]
    checks: list[str]
    evidence: str


def pattern_rows(visit: Visit) -> list[PatternRow]:
    """The patterns that a visit shows."""
    return [
        PatternRow(title_words(each), diagnosis_words(each), causes_of(each), checks_of(each), each.evidence)
        for each in visit.diagnoses.all()
    ]


def pattern_question_words(code: str, figures: Mapping[str, Any]) -> str:
    """A question that a pattern asks about the record."""
    row = _row(code.removeprefix(PATTERN).upper())
    read = {name: value for name, value in figures.items() if name != "named"}
    return f"{_(row['title'])}: {sentence_of(row, read, figures['named'])}"


def causes_of(diagnosis: Diagnosed) -> list[str]:
    """Likely causes."""
    return [_(each) for each in _row(diagnosis.pattern)["causes"]]


def checks_of(diagnosis: Diagnosed) -> list[str]:
    """What to check."""
    return [_(each) for each in _row(diagnosis.pattern)["checks"]]


def doubt_words(doubt: Doubt) -> str:
    """A doubt of a reading: one that a pattern found is said by its words."""
    code, figures = doubt.code, doubt.figures
    if code.startswith(PATTERN):
        return sentence_of(_row(code.removeprefix(PATTERN).upper()), figures, doubt.named)
    shown = {name: NONE if value is None else figure(value, DOUBT_DECIMALS[name]) for name, value in figures.items()}
    said = str(DOUBTS[code]) % shown
    if code != "pair_misfits_fuel" or figures["o2_pct"] is None:
        return said
    fuel = doubt.named.get("fuel")
    return f"{said} {_('The pair would fit %s.') % fuel_words(fuel) if fuel else _('The pair fits no fuel of ours.')}"


def sentence_of(row: Mapping[str, Any], figures: Mapping[str, float], named: Mapping[str, str]) -> str:
    """The sentence of a row of the data file with these figures."""
    shown = _Shown({name: _shown(name, value) for name, value in figures.items()})
    return _(row["sentence"]).format_map(_Shown(shown | _named(named)))


def _named(named: Mapping[str, str]) -> dict[str, str]:
    fire = {"high": _(" at high fire"), "low": _(" at low fire")}
    phase = {"as_found": _(", as found"), "as_left": _(", as left")}
    said = dict(named)
    said["where"] = fire.get(named.get("rate", ""), "") + phase.get(named.get("phase", ""), "")
    said["basis"] = _(" (not corrected for air temperature)") if named.get("o2_basis") == "as_read" else ""
    if "fuel" in named:
        said["fuel"] = code_words(named["fuel"])
    if "analyser_fuel" in named:
        said["analyser_fuel"] = _set_to(named["analyser_fuel"])
    if "reading" in named:
        said["label"] = _("Reading %s of this visit") % named["reading"]
        said["other_label"] = _("Reading %s of another visit") % named["other_reading"]
    return said


def _set_to(fuel: str) -> str:
    """The fuel that an analyser was set to, or its class."""
    if not fuel.startswith(CO2_OF):
        return code_words(fuel)
    known = FUELS[fuel.removeprefix(CO2_OF)]
    shown = {"fuel": fuel_words(known.name), "co2": figure(known.co2_max_pct, 1)}
    return _("%(fuel)s (%(co2)s %% CO₂ at most)") % shown


def _shown(name: str, value: float) -> str:
    """Percentages with one decimal or two, ppm whole, anything else in four digits."""
    if math.isnan(value):
        return "-"
    if name.endswith("_pct"):
        return figure(value, 2).removesuffix("0")
    return figure(value, 0) if "ppm" in name else f"{value:.4g}".replace("-", MINUS)


def _row(pattern: str) -> Mapping[str, Any]:
    return next(each for each in patterns() if each["id"] == pattern)
