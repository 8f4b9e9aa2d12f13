"""Forecasts: each appliance's readings as a drifting series, judged against what the whole population taught.

One path for one appliance and for all: a series table per quantity and rate, one panel, one filter, one forecast.
"""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

import numpy as np
from django.db import transaction
from numpy.typing import ArrayLike

from fleet import drift
from fleet.failpoints import failpoint
from fleet.models import Appliance, CeilingForecast, Contractor, Forecast, ForecastCheck, Mark, Snapshot, Visit
from fleet.services.ceilings import CO, TEMP_RISE
from fleet.services.forecast_checks import checks_of, put_checks, put_warnings, warnings_of
from fleet.services.forecast_words import UNITS, Outlook, pace_figure, sentence
from fleet.services.series import (
    CEILED,
    DAYS_A_YEAR,
    DRIFT_NAMES,
    Corrections,
    Entry,
    Series,
    digest_of,
    limits_of,
    panel_of,
    series_kinds,
    series_of,
)

__all__ = ["series_kinds", "series_of"]

CAP_YEARS = 3.0
COURSE_MONTHS = 18
FEW_VISITS = 3
AnyForecast = Forecast | CeilingForecast


# ---- what the population teaches ----


def snapshot_in_force(*, quantity: str, rate: str, now: datetime) -> Snapshot:
    """The standing snapshot of this series; before any fit, one from assumptions that says so."""
    return _standing(quantity, rate) or put_in_force(_assumed(quantity, rate, 0), now=now)


def _standing(quantity: str, rate: str) -> Snapshot | None:
    return Snapshot.objects.filter(quantity=quantity, rate=rate, in_force=True).first()


@dataclass(frozen=True)
class Learnt:
    """Hyper-parameters of one quantity at one rate, not yet in force, and how many series they come from.

    instead_of : the snapshot that stood when learning began; another one since then stays.
    """

    quantity: str
    rate: str
    hyper: drift.Hyper
    series_count: int
    corrections: Corrections = field(default_factory=Corrections)
    data_sha256: str = ""
    instead_of: Snapshot | None = None


def refit(*, quantity: str, rate: str, now: datetime) -> Snapshot:
    """Learn one quantity at one rate anew from all records, and switch to it in one step."""
    return put_in_force(learn(quantity=quantity, rate=rate, now=now), now=now)


def learn(*, quantity: str, rate: str, now: datetime) -> Learnt:
    """Reads and reckons only, for seconds: to be called outside a transaction.

    With fewer series than a fit needs, the hyper-parameters are assumptions.
    """
    everywhere = Appliance.objects.select_related("building", "sheet").prefetch_related(
        "sheet__versions", "building__gas_supplies"
    )
    known = series_of(list(everywhere), now.date(), only=(quantity, rate))
    return _learn_from(known.get((quantity, rate), []), quantity, rate)


def refit_from(known: Sequence[Series], *, quantity: str, rate: str, now: datetime) -> Snapshot:
    """As `refit`, from series that are at hand."""
    return put_in_force(_learn_from(known, quantity, rate), now=now)


def _learn_from(known: Sequence[Series], quantity: str, rate: str) -> Learnt:
    """From the series that tell about drift, starting at the standing figures; those again where no reading is new."""
    series, standing = [each for each in known if each.informative], _standing(quantity, rate)
    if len(series) < drift.MIN_SERIES_FOR_FIT:
        return _assumed(quantity, rate, len(series), standing)
    digest = digest_of(series)
    if standing and standing.data_sha256 == digest:
        return Learnt(quantity, rate, _hyper(standing), len(series), _corrections(standing), digest, standing)
    warm = _hyper(standing) if standing and not standing.from_assumptions else None
    found = _fitted(series, drift.Prior.of(_drift_name(quantity)), warm)
    return Learnt(quantity, rate, found.hyper, len(series), _told(found), digest, standing)


def _fitted(series: Sequence[Series], prior: drift.Prior, warm: drift.Hyper | None) -> drift.Biases:
    """Outliers, steps, fast units and groups; then what analysers, quarters and days put in, and all learnt anew."""
    panel = panel_of(series, Corrections())
    entries = [entry for each in series for entry in each.entries]
    first = drift.fit(panel, prior, warm=warm)
    quarters, days = [each.analyser for each in entries], [each.site_day for each in entries]
    return drift.biases(panel, first, quarters, days)


def _told(found: drift.Biases) -> Corrections:
    return Corrections.found(found, found.hyper.prior.tau0)


def _assumed(quantity: str, rate: str, count: int, standing: Snapshot | None = None) -> Learnt:
    return Learnt(quantity, rate, drift.assumed(_drift_name(quantity)), count, instead_of=standing)


def _drift_name(quantity: str) -> str:
    return DRIFT_NAMES.get(quantity, quantity)


def _hyper(snapshot: Snapshot) -> drift.Hyper:
    return drift.Hyper.from_json(json.dumps(snapshot.parameters))


def _corrections(snapshot: Snapshot) -> Corrections:
    return Corrections(**snapshot.biases)


def put_in_force(learnt: Learnt, *, now: datetime) -> Snapshot:
    """The snapshot of what was learnt, in force from now on instead of the one it began from.

    That one stays where nothing is new; and another one that came into force meanwhile stays, for it is younger.
    Broken off anywhere, the old one stands.
    """
    old = learnt.instead_of
    if old and (old.digest, old.series_count, old.data_sha256) == (
        learnt.hyper.version,
        learnt.series_count,
        learnt.data_sha256,
    ):
        return old
    failpoint("forecasts.learnt")
    with transaction.atomic():
        if old and not Snapshot.objects.filter(id=old.id, in_force=True).update(in_force=False):
            return Snapshot.objects.get(quantity=learnt.quantity, rate=learnt.rate, in_force=True)
        failpoint("forecasts.switch")
        made, _new = Snapshot.objects.get_or_create(
            quantity=learnt.quantity,
            rate=learnt.rate,
            in_force=True,
            defaults={
                "parameters": json.loads(learnt.hyper.to_json()),
                "digest": learnt.hyper.version,
                "series_count": learnt.series_count,
                "biases": vars(learnt.corrections),
                "data_sha256": learnt.data_sha256,
                "from_assumptions": learnt.hyper.n_series == 0,
                "made_at": now,
            },
        )
        failpoint("forecasts.switched")
    return made


# ---- forecasts ----


class _Made(NamedTuple):
    """What one pass over the series of one quantity at one rate gives."""

    forecasts: list[AnyForecast]
    checks: list[ForecastCheck]
    warnings: list[tuple[str, str, Mark | None]]


def refresh_forecasts(*, appliances: Sequence[Appliance], now: datetime) -> list[Forecast]:
    """Forecasts of these appliances on the snapshots in force; what no longer has a series loses its forecast.

    With them the forecasts towards a ceiling, each reading held against its forecast, and early warnings. Returns the
    forecasts of the gases. Called outside a transaction it reckons before it takes the lock, and once more under it
    where what it read has changed meanwhile.
    """
    read, made = _rests_on(appliances), _all_made(appliances, now)
    with transaction.atomic():
        if _rests_on(appliances) != read:
            made = _all_made(appliances, now)
        told = [each for one in made for each in one.forecasts]
        gases = [each for each in told if isinstance(each, Forecast)]
        _put(Forecast, appliances, gases)
        _put(CeilingForecast, appliances, [each for each in told if isinstance(each, CeilingForecast)])
        put_checks(appliances, [each for one in made for each in one.checks])
        put_warnings([each for one in made for each in one.warnings])
    return gases


def _rests_on(appliances: Sequence[Appliance]) -> tuple[object, ...]:
    """What forecasts are made of, by its versions: the records of visits, snapshots, the contractor's choices."""
    visits = Visit.objects.filter(appliance__in=appliances).order_by("id").values_list("id", "record")
    snapshots = Snapshot.objects.filter(in_force=True).order_by("id").values_list("id", flat=True)
    return list(visits), list(snapshots), Contractor.objects.get().version


def _all_made(appliances: Sequence[Appliance], now: datetime) -> list[_Made]:
    """Of every quantity at every rate."""
    contractor = Contractor.objects.get()
    standing = {(each.quantity, each.rate): each for each in Snapshot.objects.filter(in_force=True)}
    made = []
    for (quantity, rate), series in series_of(appliances, now.date()).items():
        snapshot = standing.get((quantity, rate)) or snapshot_in_force(quantity=quantity, rate=rate, now=now)
        made.append(_made(series, snapshot, accepted_chance(quantity, contractor), now))
    return made


_KEY_FIELDS = {"id", "appliance", "quantity", "rate"}


def _put(model: type[Any], appliances: Sequence[Appliance], made: Sequence[AnyForecast]) -> None:
    kept = {(each.appliance_id, each.quantity, each.rate) for each in made}
    standing = model.objects.filter(appliance__in=appliances).values_list("id", "appliance", "quantity", "rate")
    if stale := [row[0] for row in standing if row[1:] not in kept]:
        model.objects.filter(id__in=stale).delete()
    model.objects.bulk_create(
        made,
        update_conflicts=True,
        unique_fields=["appliance", "quantity", "rate"],
        update_fields=[each.name for each in model._meta.fields if each.name not in _KEY_FIELDS],
    )


def _made(series: Sequence[Series], snapshot: Snapshot, accepted: float, now: datetime) -> _Made:
    hyper, panel = _hyper(snapshot), panel_of(series, _corrections(snapshot))
    state, limits = drift.filter(panel, hyper), limits_of(series)
    view = _View(series, snapshot, hyper, state, limits, accepted, now)
    return _Made(
        view.forecasts(),
        list(checks_of(series, panel, hyper, limits, snapshot)),
        list(warnings_of(series, state, snapshot, now)),
    )


def accepted_chance(quantity: str, contractor: Contractor) -> float:
    """The contractor's choice for this quantity; of CO never above that for everything else."""
    if quantity == CO:
        return min(contractor.accepted_chance_co, contractor.accepted_chance)
    return contractor.accepted_chance_rise if quantity == TEMP_RISE else contractor.accepted_chance


_FAN = {"low90": 0.05, "low50": 0.25, "median": 0.5, "high50": 0.75, "high90": 0.95}
_STEPS = np.arange(COURSE_MONTHS + 1) / 12.0
_GRID = np.array((0.0, *drift.HORIZON_GRID_YEARS))


@dataclass(frozen=True)
class _View:
    """Series of one quantity at one rate, what is known of each, and what of it is to be said."""

    series: Sequence[Series]
    snapshot: Snapshot
    hyper: drift.Hyper
    state: drift.State
    limits: drift.Limits
    alpha: float
    now: datetime

    def forecasts(self) -> list[AnyForecast]:
        years, binding = drift.horizon(self.state, self.hyper, self.limits, self.alpha, CAP_YEARS)
        chance = drift.crossing_probability(self.state, self.hyper, self.limits, _GRID[:, None])
        then = drift.reading_distribution(self.state, self.hyper, np.nan_to_num(years, nan=0.0))
        is_lower = then.below(self.limits.floor) > 1.0 - then.below(self.limits.ceiling)
        ceiled = self.series[0].quantity in CEILED
        course = self._course()
        made: list[AnyForecast] = []
        for n, each in enumerate(self.series):
            if math.isnan(float(self.state.x[n])):
                continue
            outlook = self._outlook(each, n, float(years[n]), str(binding[n]), is_lower=bool(is_lower[n]))
            common = self._common(each, outlook, chance[:, n])
            common["course"] = _course_of(each, {name: values[:, n] for name, values in course.items()})
            made.append(self._ceiling(each, n, common) if ceiled else self._gas(each, n, common))
        return made

    def _outlook(self, series: Series, n: int, years: float, binding: str, *, is_lower: bool) -> Outlook:
        group = self.hyper.groups.get(series.group)
        until = None if binding in ("longest", "cap") else timedelta(days=math.floor(years * DAYS_A_YEAR))
        return Outlook(
            pace=float(self.state.mu[n]),
            model_pace=group.m if group else None,
            horizon_on=None if until is None else series.entries[-1].day + until,
            is_due=binding == "now",
            is_lower=is_lower,
            accepted_chance=self.alpha,
        )

    def _common(self, series: Series, outlook: Outlook, chance: Any) -> dict[str, Any]:
        grid = zip(_GRID, chance, strict=True)
        return {
            "appliance": series.appliance,
            "quantity": series.quantity,
            "rate": series.rate,
            "snapshot": self.snapshot,
            "sheet_version": series.version,
            "last_visit_on": series.entries[-1].day,
            "visits_used": len(series.entries),
            "basis": _basis(self.snapshot, series),
            "accepted_chance": self.alpha,
            "horizon_on": outlook.horizon_on,
            "crossing": [{"years": float(years), "chance": round(float(each), 6)} for years, each in grid],
            "sentence": sentence(series, outlook),
            "made_at": self.now,
        }

    def _gas(self, series: Series, n: int, common: dict[str, Any]) -> Forecast:
        return Forecast(
            **common,
            level_pct=float(self.state.x[n]),
            drift_pct_per_year=float(self.state.mu[n]),
            drift_sd_pct_per_year=float(np.sqrt(self.state.Pmm[n])),
            lower_pct=series.corridor.lower,
            upper_pct=series.corridor.upper,
            target_pct=series.corridor.target,
            series=[_shown(entry, series.quantity) for entry in series.entries],
        )

    def _ceiling(self, series: Series, n: int, common: dict[str, Any]) -> CeilingForecast:
        is_co = series.quantity == CO
        level, pace = float(self.state.x[n]), float(self.state.mu[n])
        return CeilingForecast(
            **common,
            unit=UNITS[series.quantity],
            level=float(in_unit(series.quantity, level)),
            pace_per_year=pace_figure(CO, pace) / 100.0 * math.exp(level) if is_co else pace,
            upper=round(float(in_unit(series.quantity, series.corridor.upper)), 3),
            limit_words=series.corridor.words,
            series=[_shown(entry, series.quantity) for entry in series.entries],
        )

    def _course(self) -> dict[str, Any]:
        reading = drift.reading_distribution(self.state, self.hyper, _STEPS[:, None])
        values = reading.quantile(np.array([*_FAN.values()])[:, None, None])
        return dict(zip(_FAN, in_unit(self.series[0].quantity, values), strict=True))


def in_unit(quantity: str, value: ArrayLike) -> Any:
    """From the scale that a quantity drifts on to its unit: CO is log1p of ppm and never below nothing."""
    return np.maximum(np.expm1(value), 0.0) if quantity == CO else np.asarray(value)


def _basis(snapshot: Snapshot, series: Series) -> str:
    if snapshot.from_assumptions:
        return "assumptions"
    return "the fleet" if len(series.entries) < FEW_VISITS else "its own record"


def _course_of(series: Series, quantiles: Mapping[str, Any]) -> list[dict[str, Any]]:
    last = series.entries[-1].day
    return [
        {"date": f"{last + timedelta(days=round(float(step) * DAYS_A_YEAR)):%Y-%m-%d}"}
        | {name: round(float(values[n]), 4) for name, values in quantiles.items()}
        for n, step in enumerate(_STEPS)
    ]


def _shown(entry: Entry, quantity: str) -> dict[str, Any]:
    """As the chart draws it, in the quantity's unit: corrected, and as read."""
    suffix, decimals = ("", 1) if quantity in CEILED else ("_pct", 3)

    def rounded(value: float | None) -> float | None:
        return None if value is None or math.isnan(value) else round(value, decimals)

    found, left = (float(in_unit(quantity, value)) for value in (entry.found, entry.left))
    read = {
        "found": found,
        "left": left if entry.adjusted else None,
        "found_raw": entry.found_raw,
        "left_raw": entry.left_raw,
    }
    told = {f"{name}{suffix}": rounded(value) for name, value in read.items()}
    return {"date": f"{entry.day:%Y-%m-%d}", "visit": entry.visit_id, **told}


# ---- what follows from them ----


def chance_on(forecast: AnyForecast, day: date) -> float:
    """Chance that the true value has left its limits by `day`, read off the stored grid by straight lines."""
    years = max((day - forecast.last_visit_on).days / DAYS_A_YEAR, 0.0)
    grid = [each["years"] for each in forecast.crossing]
    return float(np.interp(years, grid, [each["chance"] for each in forecast.crossing]))


def horizon_by(forecast: AnyForecast, accepted: float) -> date | None:
    """The day on which another accepted chance would be used up, off the stored grid as `drift.horizon` reads it."""
    grid = [float(each["years"]) for each in forecast.crossing]
    chance = np.maximum.accumulate([float(each["chance"]) for each in forecast.crossing])
    reached = np.flatnonzero(chance >= accepted)
    if not reached.size:
        return None
    n, years = int(reached[0]), 0.0
    if n > 0:
        share = float((accepted - chance[n - 1]) / (chance[n] - chance[n - 1]))
        years = max(grid[n - 1] + share * (grid[n] - grid[n - 1]), grid[1])
    return None if years >= CAP_YEARS else forecast.last_visit_on + timedelta(days=math.floor(years * DAYS_A_YEAR))
