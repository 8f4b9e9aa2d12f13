"""Rows of the decision table: one shape for target bands, orders, ceilings, limits of sets and stop levels.

A row is plain data. It names what is read, on which rates and phases, the comparison, and what follows; the
evaluator needs nothing else.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from fleet.coded import as_row
from fleet.limits.decision import RULE_NAMES
from fleet.limits.quantities import ANY_RATES, NOMINAL_RATES, Measure, Reading, label, measure_for
from fleet.limits.tolerance import exact
from fleet.limits.verdicts import COPIED
from fleet.predicates import Facts, fact_name, recorded, undecided

Origin = dict[str, Any]
Source = Mapping[str, Any]

# From the mildest to the strictest, as in the limit sets; ending the firing stands with the stop actions.
SEVERITIES = (
    "normal",
    "record",
    "advise",
    "service_due",
    "adjust",
    "investigate",
    "out_of_limit",
    "stop_work",
    "stop_firing",
    "shut_down",
    "immediate_hazard",
    "immediately_dangerous",
    "evacuate",
)
STOP_RANK = SEVERITIES.index("stop_work")

COMPARISONS = {"rising_and_over": ">"} | {
    op: op for op in (">", ">=", "<", "!=", "outside", "between", "missing", "incomplete")
}
PHASES = {"any": None, "as_found": ["as_found"], "as_left": ["as_left"], "as_found_and_as_left": None}


@dataclass(frozen=True, init=False)
class Row:
    """One row of the table: what is read, at which rates and phases, what must be kept, and what follows if it isn't.

    lower, upper : the figures to keep, None on an open side; `upper_open`: reaching the upper one breaks it already.
    range_end : above it another limit decides. limit : as the source gives it, a figure, a pair or a word.
    label, keeps : what is read and what it must keep, coded; measure : where the value comes from; None where no
    reading gives it, and then `needs` says what would, coded. action : in the source's own words; asks : our code.
    rates, phases, casing : None for any. unrecorded : the facts that it hangs on; `applies` "unclear" where there are.
    every_reading : asked of each reading, also of one without the value. target, provable : of a band alone.
    """

    kind: str = ""
    set_id: str = ""
    set_name: str = ""
    set_version: str = ""
    evidence: str = ""
    review: str = ""
    reviewed_by: str = ""
    lower: float | None = None
    upper: float | None = None
    upper_open: bool = False
    range_end: float | None = None
    limit_id: str = ""
    decision_rule: str = "simple"
    quantity: str = ""
    label: Sequence[Any] = ()
    unit: str = ""
    basis: str = ""
    rates: Sequence[str] | None = None
    rate_text: str = "any"
    phases: Sequence[str] | None = None
    casing: str | None = None
    needs: list[Any] | None = None
    measure: Measure | None = None
    op: str = ""
    limit: Any = None
    target: float | None = None
    keeps: list[Any] | None = None
    source_limit_text: str = ""
    severity: str = ""
    rank: int = 0
    stop: bool = False
    action: str = ""
    asks: str = ""
    source: str = ""
    note: str = ""
    applies: str = "yes"
    unrecorded: Sequence[str] = ()
    every_reading: bool = False
    provable: bool | None = None
    tolerance_basis: str | None = None

    def __init__(self, given: Mapping[str, Any]) -> None:
        """By the names of the fields; what isn't named is as it stands above."""
        vars(self).update(given)

    @classmethod
    def of_json(cls, told: Mapping[str, Any]) -> "Row":
        return cls(told if told["measure"] is None else {**told, "measure": Measure(**told["measure"])})

    def as_json(self) -> dict[str, Any]:
        plain = self._whole() | {"measure": self.measure and dict(vars(self.measure))}
        if self.tolerance_basis is None:
            del plain["tolerance_basis"]  # of a band alone
        return plain

    def but(self, **changes: Any) -> "Row":
        """The same with other fields."""
        return Row(self._whole() | changes)

    def _whole(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__dataclass_fields__}

    @cached_property
    def copied(self) -> dict[str, Any]:
        """What each verdict by this row takes from it as it stands."""
        return {name: getattr(self, name) for name in COPIED}


def rank(severity: str) -> int:
    """Place of a severity in the order; ValueError for a word that isn't in it."""
    if severity not in SEVERITIES:
        raise ValueError(f"unknown severity: {severity!r}")
    return SEVERITIES.index(severity)


def provenance(source: Source, *, kind: str) -> Origin:
    """Which set or sheet a row comes from, how well it is known and who reviewed it."""
    status = str(source.get("status", ""))
    return {
        "kind": kind,
        "set_id": str(source.get("id", "")),
        "set_name": str(source.get("name") or ("" if kind == "stop_level" else source.get("id", ""))),
        "set_version": str(source.get("version", "")),
        "evidence": str(source.get("evidence", "")),
        "review": status,
        "reviewed_by": str(source.get("reviewed_by", "")) if status == "reviewed" else "",
    }


def row(origin: Origin, reading: Reading, *, op: str, limit: Any, quantity: str, severity: str, **rest: Any) -> Row:
    """One row; `rest` by its fields' names."""
    place, stop = rank(severity), rank(severity) >= STOP_RANK
    told = {"label": label(quantity, rest.get("basis")), "keeps": keeps(op, limit), "unrecorded": []} | rest
    told |= {"quantity": quantity, "severity": severity, "rank": place, "stop": stop, "limit": limit}
    read = {"op": COMPARISONS[op], "needs": reading.needs, "measure": reading.measure}
    return Row({**origin, **_kept(op, limit, stop=stop), **read, **told})


def _kept(op: str, limit: Any, *, stop: bool) -> dict[str, Any]:
    """The figures to keep, whether the upper one itself breaks the limit, and where another limit takes over.

    A range that asks for a stop has no such end: above it the stop stands.
    """
    lower = upper = range_end = None
    if op in ("outside", "between") and limit is not None:
        lower, upper = limit if op == "outside" else (None, limit[0])
        range_end = limit[1] if op == "between" and not stop else None
    elif op == "<":
        lower = limit
    elif op in (">", ">=", "rising_and_over"):
        upper = limit
    return {"lower": lower, "upper": upper, "upper_open": op in (">=", "between"), "range_end": range_end}


def keeps(op: str, limit: Any) -> list[Any] | None:
    """What a reading must keep, coded: ["at_most", {"upper": 400.0}]; None without a figure.

    A figure that is named and not entered stands by its name, what must be a word by that word.
    """
    if limit is None:
        return None
    if op == "outside":
        lower, upper = limit
        if lower is None:
            return as_row("at_most", upper=upper)
        return as_row("at_least", lower=lower) if upper is None else as_row("from_to", lower=lower, upper=upper)
    if op == "between":
        return as_row("below", upper=limit[0])
    kept = {">": "at_most", ">=": "below", "<": "at_least", "rising_and_over": "not_rising_above", "!=": "is"}[op]
    return as_row(kept, **{{"<": "lower", "!=": "word"}.get(op, "upper"): limit})


def rates_named(text: str, rates: Sequence[str]) -> list[str] | None:
    """The sheet's rates that a source's wording means; None where it means any.

    A sheet lists its rates from the highest to the lowest. Without a sheet the plain words are kept.
    """
    if text in ANY_RATES:
        return None
    if text in rates:
        return [text]
    if text in NOMINAL_RATES:
        return [rates[0]] if rates else ["high", "single"]
    return [rates[-1]] if text == "low" and rates else [text]


def limit_row(limit_set: Source, limit: Source, facts: Facts, rates: Sequence[str]) -> Row | None:
    """One limit of a set in its own unit and basis; None where the facts say that it isn't for this one."""
    open_predicates = undecided(limit.get("select") or {}, facts)
    if open_predicates is None:
        return None
    op, quantity, severity = limit["fires_when"]["op"], limit["quantity"], limit["severity"]
    if op not in COMPARISONS:
        raise ValueError(f"unknown comparison: {op!r}")
    value = _limit_value(op, limit["fires_when"]["value"], facts)
    reading = _limit_reading(limit, op, value)
    stop = rank(severity) >= STOP_RANK
    rule = _rule(limit.get("decision_rule") or limit_set.get("decision_rule") or "simple")
    return row(
        provenance(limit_set, kind="limit"),
        reading,
        limit_id=limit["id"],
        op=op,
        limit=value,
        quantity=quantity,
        severity=severity,
        # The operator's benefit of the doubt never holds back a stop action.
        decision_rule="simple" if stop and rule == "relaxed" else rule,
        unit="" if op == "missing" or limit.get("unit") in (None, "1") else limit["unit"],
        basis=limit.get("basis") or "",
        evidence=limit.get("evidence") or limit_set.get("evidence", ""),
        rates=rates_named(limit.get("firing_rate") or "any", rates),
        rate_text=limit.get("firing_rate") or "any",
        phases=PHASES.get(limit.get("when") or "any", [limit.get("when")]),
        keeps=keeps(op, value) or _unfigured(limit),
        source_limit_text=limit.get("limit_text") or "",
        action=limit.get("action") or "",
        source=limit.get("source") or "",
        note=limit.get("note") or "",
        applies="unclear" if open_predicates else "yes",
        unrecorded=sorted({fact_name(name) for name in open_predicates}),
    )


def _limit_value(op: str, value: Any, facts: Facts) -> Any:
    """The figure, pair or word to compare with; None where none is entered.

    A figure named by a word ("min_combustion_efficiency_pct") is looked up in the facts.
    """
    if op == "!=":
        return value
    if op in ("outside", "between"):
        return None if value is None else [None if end is None else float(exact(end)) for end in value]
    if op in ("missing", "incomplete") or value is None:
        return None
    try:
        return float(exact(value))
    except ValueError:
        known = recorded(str(value), facts)
        return None if known is None else float(exact(known))


def _limit_reading(limit: Source, op: str, value: Any) -> Reading:
    if limit.get("when") == "type_test":
        return Reading(None, as_row("needs_type_test"))
    if op == "missing":
        return Reading(None)
    if op == "incomplete":
        return Reading(None, as_row("needs_examination"))
    reading = measure_for(limit["quantity"], limit.get("basis"), limit.get("unit"))
    if reading.measure is None or value is not None:
        return reading
    named = limit["fires_when"]["value"]
    return Reading(None, as_row("needs_named_figure", name=named) if named else as_row("needs_figure"))


def _rule(name: str) -> str:
    if name not in RULE_NAMES:
        raise ValueError(f"unknown decision rule: {name!r}")
    return RULE_NAMES[name]


def _unfigured(limit: Source) -> list[Any] | None:
    """What is kept where there is no figure: in the source's own words if it has any, else by the figure's name."""
    op, value = limit["fires_when"]["op"], limit["fires_when"]["value"]
    if op != "missing" and not isinstance(value, str):
        return None
    if limit.get("limit_text"):
        return as_row("as_written", text=str(limit["limit_text"]))
    return as_row("on_record") if op == "missing" else keeps(op, value)


def left_out(limit_set: Source, limit: Source, facts: Facts) -> dict[str, Any]:
    """A limit that isn't for this appliance, with the facts that say so."""
    names = {fact_name(name.lower()) for name in limit["select"]}
    known = {name: recorded(name, facts) for name in sorted(names)}
    return {"id": limit["id"], "set_id": limit_set["id"], "select": dict(limit["select"]), "facts": known}


# ---- what ends the firing, whatever sheet and sets say: the contractor's own stop levels ----

# Spillage beyond this fails with a cold vent: published residential practice, from memory.
SPILLAGE_MIN = 5


def stop_rows(levels: Source) -> list[Row]:
    """The contractor's own stop levels; ValueError where CO or ambient CO has none."""
    for name in ("co_ppm_air_free", "ambient_co_ppm"):
        if not levels.get(name) or exact(levels[name]) <= 0:
            raise ValueError(f"there is always a stop level: {name} must be a figure above zero")
    origin = provenance(levels, kind="stop_level")
    return [_stop_row(origin, levels, **line) for line in _stop_levels(levels)]


def _stop_levels(levels: Source) -> list[dict[str, Any]]:
    def figure(name: str, default: float | None = None) -> float | None:
        return default if levels.get(name) is None else float(exact(levels[name]))

    return [
        {"quantity": "co_ppm_air_free", "op": ">", "limit": figure("co_ppm_air_free"), "every_reading": True},
        {"quantity": "co_trend_in_test", "op": "rising_and_over", "limit": figure("co_rising_above_ppm", 100)},
        {"quantity": "ambient_co", "op": ">=", "limit": figure("ambient_co_ppm")},
        {"quantity": "ambient_co_rise", "op": ">=", "limit": figure("ambient_co_rise_ppm", 5)},
        {"quantity": "spillage_time", "op": ">", "limit": figure("spillage_min", SPILLAGE_MIN), "unit": "min"},
        {"quantity": "flame", "op": "!=", "limit": "stable", "unit": ""},
    ]


def _stop_row(origin: Origin, levels: Source, *, quantity: str, unit: str = "ppm", **rest: Any) -> Row:
    basis = "air_free" if quantity == "co_ppm_air_free" else "as_measured"
    return row(
        origin,
        measure_for(quantity, basis, unit),
        quantity=quantity,
        limit_id=quantity,
        severity="stop_firing",
        unit=unit,
        basis=basis,
        action=levels.get("action") or "",
        asks="ventilate" if quantity.startswith("ambient") else "leave_off",
        **rest,
    )


def dilution_row(stop_level: Row) -> Row:
    """What is said of the CO in a sample that is mostly air, under the stop level that can't be judged there."""
    raw = {"quantity": "co", "label": label("co", None), "basis": "as_measured", "keeps": None}
    return stop_level.but(**raw, action="", asks="repeat_sample")
