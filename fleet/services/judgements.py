"""Judge a visit: derive what the readings mean, hold them against every limit that applies, keep it with versions."""

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, cast

import numpy as np
from django.db import transaction
from django.utils.translation import gettext as _

from fleet.combustion import (
    FUELS,
    LOSS_COEFFICIENTS,
    Fuel,
    air_free,
    barometric_pressure_pa,
    co2_pct_from_o2,
    co_co2_ratio,
    dew_point_c,
    doubts,
    excess_air_ratio_from_co2,
    excess_air_ratio_from_o2,
    heat_balance,
    o2_pct_from_co2,
    regulation_loss,
)
from fleet.limits import Band, band, evaluate, standing
from fleet.models import Analyser, Finding, Judgement, Reading, Visit
from fleet.queries.cards import card_for
from fleet.services.ambient import ambient_cases
from fleet.services.taking import taken_order

ENGINE = "judgement/1"
# The only statutory loss formula whose limits ship with us, by fuel: its coefficients go by name with each figure.
LOSS_SETS = {
    "natural_gas": "de_2010_natural_gas",
    "natural_gas_l": "de_2010_natural_gas",
    "methane": "de_2010_natural_gas",
    "propane": "de_2010_liquefied_gas",
    "butane": "de_2010_liquefied_gas",
    "light_oil": "de_2010_light_oil",
}


def target_of(sheet: Mapping[str, Any], rate: str) -> dict[str, Any] | None:
    """The sheet's O2 or CO2 target at this rate; with the casing closed where it has both states."""
    targets = [each for each in sheet.get("targets", []) if each["rate"] == rate and each["quantity"] in ("co2", "o2")]
    return min(targets, key=lambda each: each.get("casing") == "open", default=None)


def band_of(target: Mapping[str, Any]) -> Band:
    """The target's tolerance in absolute figures."""
    return band(
        target.get("value"),
        target.get("tolerance"),
        basis=target["tolerance_basis"],
        lower=target.get("lower"),
        upper=target.get("upper"),
    )


@transaction.atomic
def judge_visit(*, visit: Visit, now: datetime) -> Judgement:
    """Judge, or judge anew, and keep card, derived figures and verdicts with the versions they were made with."""
    readings = list(visit.readings.all())
    derived = derive(visit, readings)
    made_with = card_for(visit.appliance, visit.local_date, _main_analyser(readings), fuel=visit.fuel)
    order = taken_order(visit)
    cases = [_case(visit, each, figures, order) for each, figures in zip(readings, derived, strict=True)]
    verdicts = evaluate(made_with.table, [*cases, *ambient_cases(visit)])
    said = verdicts.as_json()
    outcome = _outcome(said, _rates_read(readings))
    judgement, made = Judgement.objects.update_or_create(
        visit=visit,
        defaults={
            "engine": ENGINE,
            "sheet_version": made_with.sheet,
            "stop_lines": made_with.stop_lines,
            "card": made_with.table,
            "derived": derived,
            "verdicts": said | outcome,
            "outcome": outcome["outcome"],
            "summary": outcome["summary"],
            "judged_at": now,
        },
    )
    judgement.limit_set_versions.set(made_with.limit_sets)
    if not made:
        judgement.findings.all().delete()
    Finding.objects.bulk_create(_finding(judgement, number, each) for number, each in enumerate(verdicts.findings, 1))
    return judgement


# ---- what the readings mean ----


def derive(visit: Visit, readings: list[Reading]) -> list[dict[str, Any]]:
    """One row of derived figures a reading, in their order; all readings in one pass. None where it can't be told.

    Excess air is exact from O2, from CO2 where no O2 was read; efficiencies are by enthalpy with gas and air
    entering at the intake temperature; the regulation's loss stands beside them under its coefficients' name.
    """
    if not readings:
        return []
    fuel = FUELS[visit.fuel]
    co_ppm = _column(readings, "co_ppm")
    o2_pct, co2_pct = _oxygen_and_carbon_dioxide(fuel, readings)
    flue_c, air_c = _column(readings, "flue_temp_c"), _column(readings, "air_temp_c")
    from_co2 = np.isnan(_column(readings, "o2_pct"))
    ratio = np.where(from_co2, excess_air_ratio_from_co2(fuel, co2_pct), excess_air_ratio_from_o2(fuel, o2_pct))
    pressure_pa = visit.barometric_pressure_pa or float(barometric_pressure_pa(visit.appliance.building.altitude_m))
    balance = heat_balance(fuel, ratio, flue_c, air_c, pressure_pa=pressure_pa, co_ppm=np.nan_to_num(co_ppm))
    loss_set = LOSS_SETS.get(fuel.name)
    loss = regulation_loss(LOSS_COEFFICIENTS[loss_set], o2_pct, flue_c, air_c) if loss_set else np.nan * ratio
    columns: dict[str, Any] = {
        "o2_pct": o2_pct,
        "co2_pct": co2_pct,
        "excess_air_ratio": ratio,
        "co_ppm_air_free": air_free(co_ppm, o2_pct),
        "co_co2_ratio": co_co2_ratio(co_ppm, co2_pct),
        "efficiency_pct_net": balance.efficiency_pct_net,
        "efficiency_pct_gross": balance.efficiency_pct_gross,
        "condensate_fraction": balance.condensate_fraction,
        "dew_point_c": dew_point_c(fuel, ratio, pressure_pa=pressure_pa),
        "flue_loss_pct": loss,
        "input_kw_gross": _column(readings, "input_kw_gross"),
        "input_kw_net": _column(readings, "input_kw_gross") * fuel.net_per_gross,
    }
    return [
        {
            "number": each.number,
            **{name: _number(values[n]) for name, values in columns.items()},
            "flue_loss_coefficients": loss_set,
            "o2_derived": each.o2_pct is None,
            "co2_derived": each.co2_pct is None,
            "doubts": (found := _doubts(fuel, each)),
            "void": any(doubt["voids"] for doubt in found),
        }
        for n, each in enumerate(readings)
    ]


def _oxygen_and_carbon_dioxide(fuel: Fuel, readings: list[Reading]) -> tuple[Any, Any]:
    """O2 and CO2 as read; the missing one follows from the other and the site's fuel."""
    o2_pct, co2_pct = _column(readings, "o2_pct"), _column(readings, "co2_pct")
    return (
        np.where(np.isnan(o2_pct), o2_pct_from_co2(fuel, co2_pct), o2_pct),
        np.where(np.isnan(co2_pct), co2_pct_from_o2(fuel, o2_pct), co2_pct),
    )


def _doubts(fuel: Fuel, reading: Reading) -> list[dict[str, Any]]:
    basis = reading.analyser.co2 if reading.analyser else "calculated"
    values = (_or_nan(reading.o2_pct), _or_nan(reading.co2_pct), _or_nan(reading.co_ppm))
    return [
        {"code": each.code, "sentence": each.sentence, "figures": _figures(each.figures), "voids": each.voids}
        for each in doubts(fuel, *values, co2_basis=cast(Any, basis))  # the column's choices are its words
    ]


def _figures(figures: Mapping[str, float]) -> dict[str, float | None]:
    return {name: _number(value) for name, value in figures.items()}


def _column(readings: list[Reading], name: str) -> Any:
    return np.array([_or_nan(getattr(each, name)) for each in readings])


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def _number(value: Any) -> float | None:
    number = float(value)
    return None if math.isnan(number) else round(number, 6)


# ---- what the evaluator is given ----


def _main_analyser(readings: list[Reading]) -> Analyser | None:
    return next((each.analyser for each in readings if each.analyser), None)


def _case(visit: Visit, reading: Reading, derived: dict[str, Any], order: dict[int, int]) -> dict[str, Any]:
    """A reading as the evaluator wants it: what was read, how, and the figures only the server derives."""
    read = [
        "o2_pct",
        "co2_pct",
        "co_ppm",
        "no_ppm",
        "nox_ppm",
        "flue_temp_c",
        "air_temp_c",
        "ambient_co_ppm",
        "intake_o2_pct",
        "draught_pa",
        "draught_fire_pa",
        "spillage_min",
        "smoke_spot",
        "oil_derivatives",
    ]
    phase = "check" if reading.counted_phase == "between" else reading.counted_phase
    return {
        "key": str(reading.number),
        "rate": reading.rate,
        "phase": phase,
        "casing": reading.casing or None,
        "sampling_point": reading.sampling_point,
        "rate_proven": reading.rate_proven,
        "void": derived["void"],
        "steady": {"steady": True, "not steady": False}.get(reading.steadiness),
        "taken_order": order[reading.number],
        "qualifiers": reading.qualifiers,
        "adjusted_before": any(
            each.after_reading == reading.number - 1 and each.moves_combustion for each in visit.work.all()
        ),
        "flame": "unstable" if reading.flame_unstable else None,
        "ambient_co_before_ppm": visit.ambient_co_before_ppm,
        **{name: getattr(reading, name) for name in read},
        **{name: derived[name] for name in ("efficiency_pct_net", "efficiency_pct_gross", "flue_loss_pct")},
    }


# ---- what came of it ----

CO_QUANTITIES = ("co", "co_air_free")


def _outcome(verdicts: dict[str, Any], rates: list[str]) -> dict[str, Any]:
    """How the appliance was left, over all limits, and one sentence that says it.

    "outside" if anything that stands is outside; "within" only if CO was judged against the stop line at every rate
    read and no target or CO limit is left undecided; "in part" if something was judged within, but not all of that.
    """
    left = standing(verdicts["verdicts"])
    outside = [each for each in left if each["outcome"] == "outside"]
    within = [each for each in left if each["outcome"] == "within"]
    if outside:
        outcome, summary = "outside", max(outside, key=lambda each: each["rank"])["sentence"]
    elif not (within and rates):
        outcome, summary = "not judged", _("No reading could be judged.")
    elif open_ends := _undecided(left, rates):
        said = _("Judged in part: %(within)s What could not be judged: %(rest)s.")
        outcome, summary = "in part", said % {"within": _within_words(within), "rest": "; ".join(open_ends[:4])}
    else:
        outcome, summary = "within", _within_words(within)
    return {"outcome": outcome, "summary": summary[:1000], "stop_as_left": any(each["stop"] for each in outside)}


def _undecided(left: Sequence[Mapping[str, Any]], rates: list[str]) -> list[str]:
    """What keeps a visit from being called within: CO not judged at a rate, or a target or CO limit undecided."""
    judged_co = {
        each["rate"]
        for each in left
        if each["kind"] == "stop line" and each["quantity"] in CO_QUANTITIES and each["outcome"] == "within"
    }
    missing = [_("CO at %s") % rate for rate in rates if rate not in judged_co]
    open_ends = [
        f"{each['label']} {_('at')} {each['rate']}" if each["rate"] else each["label"]
        for each in left
        if each["outcome"] in ("not judged", "cannot tell")
        and (each["kind"] == "band" or each["quantity"] in CO_QUANTITIES)
        and each["rate"] in rates
    ]
    return list(dict.fromkeys([*missing, *open_ends]))


def _within_words(within: Sequence[Mapping[str, Any]]) -> str:
    """The sets by which something was within, those that nobody has reviewed named as such."""
    when = _("As left") if any(each["phase"] == "as left" for each in within) else _("As found")
    names = {(f"{each['set_name']} v{each['set_version']}", each["review"] == "unreviewed") for each in within}
    said = [f"{name} ({_('not reviewed')})" if unreviewed else name for name, unreviewed in sorted(names)]
    return _("%(when)s, within the limits of %(sets)s as recorded.") % {"when": when, "sets": _and(said)}


def _and(names: list[str]) -> str:
    return (
        names[0] if len(names) == 1 else _("%(some)s and %(last)s") % {"some": ", ".join(names[:-1]), "last": names[-1]}
    )


def _rates_read(readings: list[Reading]) -> list[str]:
    return list(dict.fromkeys(each.rate for each in readings if each.counted_phase != "between"))


def _finding(judgement: Judgement, number: int, verdict: Any) -> Finding:
    return Finding(
        judgement=judgement,
        number=number,
        reading=int(verdict.reading_key) if (verdict.reading_key or "").isdigit() else None,
        phase="between" if verdict.phase == "check" else verdict.phase or "",
        rate=verdict.rate or "",
        quantity=verdict.quantity,
        value=verdict.value if isinstance(verdict.value, float | int) else None,
        severity=verdict.severity,
        stop=verdict.stop,
        limit_set=f"{verdict.set_name} v{verdict.set_version}",
        action=verdict.action or "",
        sentence=verdict.sentence,
    )
