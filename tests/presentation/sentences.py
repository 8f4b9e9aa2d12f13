"""What no sentence of ours may look like, whatever figures and words of people it holds."""

import re
from typing import Any

# Figures by name as code keeps them, for templates that name them; one that is missing here asks to be added.
FIGURES: dict[str, Any] = {
    "allowed": "0.3",
    "analyser": "Analyser 1",
    "at": "low",
    "basis": "dry",
    "before": "2 Mar 2025 plus 12 months is 2 Mar 2026",
    "called": "steady",
    "casing": "closed",
    "chance": "31 %",
    "code": "x",
    "count": 3,
    "day": "2026-03-02",
    "days": 30,
    "doubts": [("no_start", {})],
    "elapsed_s": 40.0,
    "event": "emission_relevant_change",
    "every": 2,
    "facts": ["low_use", "output_kw"],
    "found": 8.94,
    "from_h": 1200.5,
    "fuel": "natural_gas_l",
    "fuel_kind": "gas",
    "gap_s": 61.0,
    "gas": "CO₂",
    "high": 1200.0,
    "hours": 4000,
    "kind": "gas",
    "known": "S-100",
    "known_fuel": "natural_gas",
    "label": "CO",
    "left": 9.4,
    "low": -20.0,
    "lower": 9.1,
    "made": 1,
    "moved": 0.41,
    "name": "Yearly check",
    "named_months": [4, 9],
    "needed_s": 120.0,
    "o2_pct": 18.63,
    "of": "By flue",
    "part": "burner_inspection",
    "person": "Ada Test",
    "phases": ["as_found", "as_left"],
    "quantity": "flue_temp_c",
    "quarter": 2,
    "rate": "high",
    "rates": ["high", "low"],
    "read_with": "open",
    "reading": 2,
    "readings": [1, 3],
    "rule": "guarded",
    "said": "the tenant stays",
    "samples": 4,
    "seen": "S-10O",
    "select": {"low_use": True, "output_kw_gt": 25},
    "set": "A contract",
    "state": "left_off",
    "text": "as in annex A",
    "times": 2,
    "to_h": 90.0,
    "unit": "ppm",
    "upper": 400.0,
    "used_h": 4100.0,
    "value": 1300.0,
    "why": [("analyser_not_in_calibration", {"analyser": "Analyser 1", "day": "2026-03-02"})],
    "window_s": 60.0,
    "word": "stable",
}
_DAYS, _YEARS, _MONTHS = re.compile(r"_on$"), re.compile(r"(^|_)year$"), re.compile(r"months$")


def figures_for(template: str) -> dict[str, Any]:
    """A figure for everything that a template names."""
    return {name: _figure(name) for name in named_in(template)}


def named_in(template: str) -> set[str]:
    return set(re.findall(r"%\((\w+)\)[sd]", template))


def _figure(name: str) -> Any:
    if name in FIGURES:
        return FIGURES[name]
    for pattern, value in ((_DAYS, "2026-03-02"), (_YEARS, 2026), (_MONTHS, 12)):
        if pattern.search(name):
            return value
    raise KeyError(f"a template names {name!r}: which figure is it?")


# A code, a literal of the program, an unfilled place, a number that isn't one.
NOT_A_WORD = re.compile(
    r"\b[a-z0-9]+_[a-z0-9_]+\b|\bNone\b(?! (?:is|are|of)\b)|\bTrue\b|\bFalse\b|\bnan\b|\binf\b|%\(|[{}]|\bPromise\b"
)
BAD_STOPS = re.compile(r"\.\.|\. *[;,.:]|[;,:] *\.|[;,] *[;,]|\?\.|!\.|…\.| [;,.:](?!\d)|\(\s*\)|\(\s|\s\)")
HYPHEN_FOR_MINUS = re.compile(r"(?<![\w-])-\d")


def faults_of(said: str, *, most_words: int | None = None) -> list[str]:
    """What is wrong with a sentence; empty where nothing is."""
    found = [f"a code or literal: {each}" for each in NOT_A_WORD.findall(said)]
    found += [f"stops: {each!r}" for each in BAD_STOPS.findall(said)]
    found += [f"a hyphen for a minus: {each}" for each in HYPHEN_FOR_MINUS.findall(said)]
    if "  " in said or said != said.strip():
        found.append("spaces")
    if most_words is not None and len(said.split()) > most_words:
        found.append(f"{len(said.split())} words")
    return found


def is_whole(said: str) -> bool:
    """A sentence of its own: a capital or a figure first, a stop last."""
    return bool(said) and (said[0].isupper() or said[0].isdigit()) and said[-1] in ".!?"
