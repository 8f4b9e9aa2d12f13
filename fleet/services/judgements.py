"""Judge a visit: derive what the readings mean, hold them against every limit that applies, keep it with versions."""

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
from django.db import transaction
from django.utils.translation import gettext as _

from fleet.combustion import (
    LOSS_COEFFICIENTS,
    Criterion,
    Fuel,
    barometric_pressure_pa,
    doubts_of_rows,
    figures_with_uncertainty,
    humidity_ratio,
    nox_from_no,
    overall,
    standard_uncertainties,
    steadiness,
)
from fleet.limits import Band, band, evaluate, fuel_class, standing
from fleet.models import Analyser, Finding, Judgement, Reading, SheetVersion, Visit
from fleet.queries.cards import card_for
from fleet.services.ambient import ambient_cases
from fleet.services.diagnoses import put_diagnoses, setting_doubts
from fleet.services.logged import is_quiet, number_of, with_logged_co, without_logged
from fleet.services.records import content_of
from fleet.services.taking import taken_order

ENGINE = "judgement/2"
# The only statutory loss formula whose limits ship with us, by class of fuel: its coefficients go by name with each
# figure.
LOSS_SETS = {
    "natural_gas": "de_2010_natural_gas",
    "lpg": "de_2010_liquefied_gas",
    "oil_light": "de_2010_light_oil",
}
READ = ("o2_pct", "co2_pct", "co_ppm", "no_ppm", "nox_ppm", "flue_temp_c", "air_temp_c", "input_kw_gross")


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
    made_with = card_for(visit.appliance, visit.local_date, only_analyser(readings), visit=visit)
    derived = derive(visit, readings, sheet=sheet_content(made_with.sheet), site=content_of(visit.record)["site"])
    verdicts = without_logged(evaluate(made_with.table, cases_of(visit, derived)))
    said = verdicts.as_json()
    outcome = outcome_of(said, readings)
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
    put_diagnoses(visit=visit, judgement=judgement, now=now)
    return judgement


def sheet_content(sheet: SheetVersion | None) -> dict[str, Any]:
    """What the sheet asks for; nothing where there is none."""
    return dict(sheet.content) if sheet else {}


# ---- what the readings mean ----


def derive(
    visit: Visit, readings: list[Reading], *, sheet: Mapping[str, Any], site: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """One row of derived figures a reading, in their order; all readings in one pass. None where it can't be told.

    Keys as in `combustion.derived_figures`, with `input_share_pct` of the sheet's rated input, `uncertainties` (the
    standard uncertainty of each figure from the analyser's accuracy while it is in calibration), `qualifiers` carried
    from what was read, `steadiness` of the series, `doubts` and whether they void the reading. The regulation's loss
    stands beside the engineering figures under its coefficients' name.

    site: the facts of the site as the record has them.
    """
    if not readings:
        return []
    fuel = visit.burnt
    read = {name: _column(readings, name) for name in READ}
    read["nox_ppm"] = np.where(np.isnan(read["nox_ppm"]), nox_from_no(read["no_ppm"]), read["nox_ppm"])
    pressure_pa = visit.barometric_pressure_pa or float(barometric_pressure_pa(float(site["altitude_m"])))
    loss_set = LOSS_SETS.get(fuel_class(fuel) or "")
    stated = _stated(visit, readings, read)
    found = figures_with_uncertainty(
        fuel,
        read,
        stated,
        [_qualifiers(each) for each in readings],
        co2_basis=[_co2_basis(each) for each in readings],
        pressure_pa=pressure_pa,
        humidity_ratio=_humidity(visit, read["air_temp_c"], pressure_pa),
        loss=LOSS_COEFFICIENTS[loss_set] if loss_set else None,
    )
    # Of what was read itself, where that is no derived figure; the derived ones go over them.
    trust = {name: stated[name] for name in ("co_ppm", "nox_ppm", "flue_temp_c", "air_temp_c")} | dict(found.u)
    known = read | dict(found.figures)
    own: dict[str, Any] = {name: float(value) for name, value in site.get("steadiness", {}).items()}
    criterion = Criterion(**own)
    doubted = [
        shown + setting_doubts(visit, each) for shown, each in zip(_doubts(fuel, readings, read), readings, strict=True)
    ]
    return [
        {
            "number": each.number,
            **(figures := {name: _number(values[n]) for name, values in found.figures.items()}),
            "input_share_pct": _input_share_pct(each.rate, figures, sheet),
            "uncertainties": {
                name: _number(values[n]) for name, values in trust.items() if not math.isnan(known[name][n])
            },
            "qualifiers": dict(found.qualifiers[n]),
            "flue_loss_coefficients": loss_set,
            "o2_derived": each.o2_pct is None,
            "co2_derived": each.co2_pct is None,
            "nox_estimated": each.nox_ppm is None and each.no_ppm is not None,
            "steadiness": series_steadiness(each.series, criterion) if each.series else None,
            "doubts": doubted[n],
            "void": any(doubt["voids"] for doubt in doubted[n]),
        }
        for n, each in enumerate(readings)
    ]


def _stated(visit: Visit, readings: list[Reading], read: Mapping[str, Any]) -> dict[str, Any]:
    """Standard uncertainty of what was read: of each reading by its own analyser, if that was in calibration."""
    stated = {name: np.full(len(readings), math.nan) for name in READ}
    for analyser in {each.analyser for each in readings if each.analyser}:
        calibration = analyser.calibration_on(visit.local_date)
        mine = np.array([each.analyser == analyser for each in readings])
        if calibration:
            of_analyser = standard_uncertainties(analyser.accuracy, read, calibration=calibration.uncertainty)
            for name in READ:
                stated[name] = np.where(mine, of_analyser[name], stated[name])
    return stated


def _qualifiers(reading: Reading) -> dict[str, str]:
    """What isn't plain; nitrogen oxides estimated from NO inherit its word."""
    estimated = reading.nox_ppm is None and "no" in reading.qualifiers
    said: dict[str, str] = dict(reading.qualifiers)
    return said | ({"nox": said["no"]} if estimated else {})


def _co2_basis(reading: Reading) -> Any:
    """Whether its CO2 is a measurement of its own; an analyser that nobody knows is taken to calculate it."""
    return reading.analyser.co2 if reading.analyser else "calculated"


def _humidity(visit: Visit, air_temp_c: Any, pressure_pa: float) -> Any:
    """Water in the combustion air [kg/kg dry air]; dry air where its humidity or temperature was not read."""
    if visit.air_humidity_pct is None:
        return 0.0
    return np.nan_to_num(humidity_ratio(air_temp_c, visit.air_humidity_pct / 100, pressure_pa))


def _input_share_pct(rate: str, figures: Mapping[str, float | None], sheet: Mapping[str, Any]) -> float | None:
    """The timed input in percent of the sheet's rating at the highest rate, or of its least input at the lowest."""
    rates = sheet.get("rates", [])
    rated = sheet.get("rated_input_kw") if rate in rates[:1] else None
    if rate in rates[1:] and rate == rates[-1]:
        rated = sheet.get("minimum_input_kw")
    read_kw = figures[f"input_kw_{sheet['input_basis']}"] if rated else None
    return None if rated is None or read_kw is None else round(100 * read_kw / float(rated), 2)


def series_steadiness(series: Mapping[str, Any], criterion: Criterion) -> dict[str, Any]:
    """Whether the logged series had come to rest, by quantity, and `overall` for target and CO."""
    names = [name for name in ("o2", "co2", "co", "flue_temp") if name in series]
    values = {name: [_or_nan(each) for each in series[name]] for name in names}
    over = {name: np.ones(len(series["at_s"]), bool) for name in series.get("over_range", ()) if name in names}
    found = steadiness(
        [float(each) for each in series["at_s"]],
        values,
        from_cold=series.get("from_cold", False),
        criterion=criterion,
        over_range=over,
    )
    said = {name: _plain(each) for name, each in found.items()}
    return said | {"overall": overall(found)}


def _plain(found: Any) -> dict[str, Any]:
    """A steadiness as a document holds it: rounded, None for NaN."""
    fields = {name: getattr(found, name) for name in found.__dataclass_fields__}
    return {name: _number(value) if isinstance(value, float) else value for name, value in fields.items()}


def _doubts(fuel: Fuel, readings: list[Reading], read: Mapping[str, Any]) -> list[list[dict[str, Any]]]:
    found = doubts_of_rows(
        fuel,
        read["o2_pct"],
        read["co2_pct"],
        read["co_ppm"],
        co2_basis=[_co2_basis(each) for each in readings],
        flue_temp_c=read["flue_temp_c"],
    )
    return [
        [
            {"code": each.code, "sentence": each.sentence, "figures": _figures(each.figures), "voids": each.voids}
            for each in of_one
        ]
        for of_one in found
    ]


def _figures(figures: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _number(value) if isinstance(value, float) else value for name, value in figures.items()}


def _column(readings: list[Reading], name: str) -> Any:
    return np.array([_or_nan(getattr(each, name)) for each in readings])


def _or_nan(value: float | str | None) -> float:
    return math.nan if value is None else float(value)


def _number(value: Any) -> float | None:
    number = float(value)
    return round(number, 6) if math.isfinite(number) else None


# ---- what the evaluator is given ----


def only_analyser(readings: Sequence[Reading]) -> Analyser | None:
    """The analyser of all readings; None where they were taken with several, each with an accuracy of its own."""
    used = {each.analyser for each in readings}
    return used.pop() if len(used) == 1 else None


def cases_of(visit: Visit, derived: Sequence[Mapping[str, Any]] | None = None) -> list[dict[str, Any]]:
    """What the evaluator is given: each reading with its derived figures, and CO in the room before and after.

    derived: one a reading; without it as they stand in the visit's judgement.
    """
    order = taken_order(visit)
    rows = visit.judgement.derived if derived is None else derived
    return [
        *(
            case
            for each, figures in zip(visit.readings.all(), rows, strict=True)
            for case in with_logged_co(each, _case(visit, each, figures, order))
        ),
        *ambient_cases(visit),
    ]


def _case(visit: Visit, reading: Reading, derived: Mapping[str, Any], order: dict[int, int]) -> dict[str, Any]:
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
        "steady": is_steady(reading, derived),
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


def is_steady(reading: Reading, derived: Mapping[str, Any]) -> bool | None:
    """Steady if the logged series of O2 or CO2 and of CO shows it and the technician doesn't say otherwise.

    Without a series what the technician said; not steady as soon as either says so.
    """
    said = {"steady": True, "not steady": False}.get(reading.steadiness)
    shown = is_quiet(reading, derived.get("steadiness"))
    return False if False in (said, shown) else said if shown is None else True


# ---- what came of it ----

CO_QUANTITIES = ("co", "co_air_free")


def outcome_of(verdicts: Mapping[str, Any], readings: Sequence[Reading]) -> dict[str, Any]:
    """How the appliance was left, over all limits, and one sentence that says it.

    "outside" if anything that stands is outside; "within" only if CO was judged against the stop line at every rate
    read and no target or CO limit is left undecided; "in part" if something was judged within, but not all of that.
    """
    left, rates = standing(verdicts["verdicts"]), _rates_read(readings)
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
        and (each["kind"] in ("band", "order") or each["quantity"] in CO_QUANTITIES)
        and (each["kind"] == "order" or each["rate"] in rates)
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


def _rates_read(readings: Sequence[Reading]) -> list[str]:
    return list(dict.fromkeys(each.rate for each in readings if each.counted_phase != "between"))


def _finding(judgement: Judgement, number: int, verdict: Any) -> Finding:
    return Finding(
        judgement=judgement,
        number=number,
        reading=number_of(verdict.reading_key),
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
