"""Forecasts: each appliance's readings as a drifting series, judged against what the whole population taught.

One path for one appliance and for all: a series table per quantity and rate, one panel, one filter, one forecast.
"""

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple, cast

import numpy as np
from django.db import transaction
from django.utils.translation import gettext as _

from fleet import drift
from fleet.combustion import FUELS, corrected_to_reference
from fleet.models import Appliance, Contractor, Flag, Forecast, Reading, SheetVersion, Snapshot, Visit
from fleet.services import flags
from fleet.services.judgements import band_of, target_of

DAYS_A_YEAR = 365.25
CAP_YEARS = 3.0
COURSE_MONTHS = 18
FEW_VISITS = 3


@dataclass(frozen=True)
class Entry:
    """One visit of a series: values corrected to 20 °C intake air, and what they were as read."""

    day: date
    visit_id: str
    found_pct: float
    left_pct: float
    found_raw_pct: float | None
    left_raw_pct: float | None
    adjusted: bool
    replaced: bool
    noise_scale: float


class Corridor(NamedTuple):
    """Where a series should stay [% vol]: the sheet's band, both ends, and what an adjustment aims at."""

    lower: float
    upper: float
    target: float


@dataclass(frozen=True)
class Series:
    """All visits of one appliance at one rate since its fuel or target last changed."""

    appliance: Appliance
    version: SheetVersion
    rate: str
    quantity: str
    entries: tuple[Entry, ...]

    @property
    def informative(self) -> bool:
        """At least two visits with a reading: says something about drift."""
        return sum(not math.isnan(each.found_pct) for each in self.entries) >= 2


def refresh_forecasts(*, appliances: Sequence[Appliance], now: datetime) -> list[Forecast]:
    """Forecasts of these appliances on the snapshots in force; what no longer has a series loses its forecast."""
    table = series_of(appliances)
    made: list[Forecast] = []
    with transaction.atomic():
        for (quantity, rate), series in table.items():
            made += _forecast(series, snapshot_in_force(quantity=quantity, rate=rate, now=now), now)
        kept = {(each.appliance_id, each.quantity, each.rate) for each in made}
        for stale in Forecast.objects.filter(appliance__in=appliances):
            if (stale.appliance_id, stale.quantity, stale.rate) not in kept:
                stale.delete()
        Forecast.objects.bulk_create(
            made,
            update_conflicts=True,
            unique_fields=["appliance", "quantity", "rate"],
            update_fields=[each.name for each in Forecast._meta.fields if each.name not in _KEY_FIELDS],
        )
    return made


_KEY_FIELDS = {"id", "appliance", "quantity", "rate"}


def snapshot_in_force(*, quantity: str, rate: str, now: datetime) -> Snapshot:
    """The standing snapshot of this series; before any fit, one from assumptions that says so."""
    standing = Snapshot.objects.filter(quantity=quantity, rate=rate, in_force=True).first()
    return standing or put_in_force(Learnt(quantity, rate, drift.assumed(quantity), 0), now=now)


class Learnt(NamedTuple):
    """Hyper-parameters of one quantity at one rate, not yet in force, and how many series they come from."""

    quantity: str
    rate: str
    hyper: drift.Hyper
    series_count: int


def refit(*, quantity: str, rate: str, now: datetime) -> Snapshot:
    """Learn one quantity at one rate anew from all records, and switch to it in one step."""
    return put_in_force(learn(quantity=quantity, rate=rate), now=now)


def learn(*, quantity: str, rate: str) -> Learnt:
    """Reads and reckons only, for seconds: to be called outside a transaction.

    With fewer series than a fit needs, the hyper-parameters are assumptions.
    """
    everywhere = Appliance.objects.select_related("building", "sheet").prefetch_related("sheet__versions")
    return _learn_from(series_of(list(everywhere)).get((quantity, rate), []), quantity, rate)


def refit_from(known: Sequence[Series], *, quantity: str, rate: str, now: datetime) -> Snapshot:
    """As `refit`, from series that are at hand."""
    return put_in_force(_learn_from(known, quantity, rate), now=now)


def _learn_from(known: Sequence[Series], quantity: str, rate: str) -> Learnt:
    series = [each for each in known if each.informative]
    enough = len(series) >= drift.MIN_SERIES_FOR_FIT
    hyper = drift.fit(_panel(series), drift.Prior.of(quantity)) if enough else drift.assumed(quantity)
    return Learnt(quantity, rate, hyper, len(series))


def put_in_force(learnt: Learnt, *, now: datetime) -> Snapshot:
    """The snapshot of what was learnt, in force from now on instead of the standing one, unless they are the same."""
    quantity, rate, hyper, count = learnt
    with transaction.atomic():
        standing = Snapshot.objects.filter(quantity=quantity, rate=rate, in_force=True)
        if (same := standing.filter(digest=hyper.version).first()) and same.series_count == count:
            return same
        standing.update(in_force=False)
        return Snapshot.objects.create(
            quantity=quantity,
            rate=rate,
            parameters=json.loads(hyper.to_json()),
            digest=hyper.version,
            series_count=count,
            from_assumptions=hyper.n_series == 0,
            made_at=now,
            in_force=True,
        )


# ---- series out of records ----


def series_kinds(appliances: Iterable[Appliance]) -> set[tuple[str, str]]:
    """Quantity and rate of every series that these appliances' sheets have a target for."""
    sheets = [each.sheet.current.content for each in appliances if each.sheet and each.sheet.current]
    targets = [(target, rate) for sheet in sheets for rate in sheet["rates"] if (target := target_of(sheet, rate))]
    return {(target["quantity"], rate) for target, rate in targets}


def series_of(appliances: Iterable[Appliance]) -> dict[tuple[str, str], list[Series]]:
    """Every series of these appliances, by quantity and rate. The sheet's target says which quantity."""
    chosen = {each.id: each for each in appliances if each.sheet and each.sheet.current}
    visits: dict[Any, list[Visit]] = {each: [] for each in chosen}
    stored = Visit.objects.filter(appliance__in=chosen, outcome__in=("tested", "partly tested"))
    related = stored.prefetch_related("readings__analyser", "work")
    judged = related.select_related("judgement__sheet_version", "attendance")
    for visit in sorted(judged, key=lambda each: (each.local_date, each.last_moment, each.id)):
        visits[visit.appliance_id].append(visit)
    table: dict[tuple[str, str], list[Series]] = {}
    for key, appliance in chosen.items():
        for rate in _current(appliance).content["rates"]:
            if series := _series(appliance, rate, visits[key]):
                table.setdefault((series.quantity, rate), []).append(series)
    return table


def _current(appliance: Appliance) -> SheetVersion:
    version = appliance.sheet.current if appliance.sheet else None
    assert version is not None
    return version


def _series(appliance: Appliance, rate: str, visits: list[Visit]) -> Series | None:
    version = _current(appliance)
    target = target_of(version.content, rate)
    if target is None:
        return None
    entries: list[Entry] = []
    for visit in visits:
        if visit.fuel != appliance.burns or not _same_target(visit, rate, target):
            entries = []  # Another fuel or target: what came before says nothing about now.
            continue
        if _converted(visit):
            entries = []
        if entry := _entry(visit, rate, target, version.content["control"]):
            entries.append(entry)
    return Series(appliance, version, rate, target["quantity"], tuple(entries)) if entries else None


def _same_target(visit: Visit, rate: str, target: dict[str, Any]) -> bool:
    judged_by = visit.judgement.sheet_version if hasattr(visit, "judgement") else None
    then = target_of(judged_by.content, rate) if judged_by else None
    return (
        then is not None
        and then["quantity"] == target["quantity"]
        and _corridor(then).target == _corridor(target).target
    )


def _corridor(target: dict[str, Any]) -> Corridor:
    """The target's band; one without a figure to aim at is aimed at in its middle."""
    band = band_of(target)
    assert band.lower is not None and band.upper is not None  # a sheet's target is stored with both ends
    middle = (band.lower + band.upper) / 2
    return Corridor(band.lower, band.upper, middle if band.target is None else band.target)


def _entry(visit: Visit, rate: str, target: dict[str, Any], control: str) -> Entry | None:
    quantity = target["quantity"]
    usable = [each for each in visit.readings.all() if each.rate == rate and _usable(each, visit, target)]
    found = [each for each in usable if each.counted_phase == "as found" and not _converted(visit)]
    left = [each for each in usable if each.counted_phase == "as left"][-1:]
    moved = [each for each in visit.work.all() if each.moves_combustion]
    if not found and not (left and moved):
        return None
    found_raw, found_pct, noise = _corrected(found, visit, quantity, control)
    left_raw, left_pct, _noise = _corrected(left, visit, quantity, control)
    return Entry(
        day=visit.local_date,
        visit_id=str(visit.id),
        found_pct=found_pct,
        left_pct=left_pct,
        found_raw_pct=found_raw,
        left_raw_pct=left_raw,
        adjusted=bool(moved),
        replaced=any(each.replaced for each in moved),
        noise_scale=noise / max(len(found), 1),
    )


def _converted(visit: Visit) -> bool:
    """Converted to another gas at this visit: what it was found at is the old gas's."""
    return any(each.kind == "gas conversion" for each in visit.work.all())


def _usable(reading: Reading, visit: Visit, target: dict[str, Any]) -> bool:
    """Steady, at a proven rate, of this flue alone, not void, not over range, the casing not against the target's."""
    void = {each["number"] for each in visit.judgement.derived if each["void"]}
    plain = not {"o2", "co2"} & set(reading.qualifiers)
    casing = target.get("casing", "any")
    casing_fits = casing == "any" or reading.casing in ("", casing)
    own = reading.rate_proven and reading.sampling_point != "common flue" and reading.steadiness != "not steady"
    return own and casing_fits and plain and reading.number not in void


def _corrected(readings: list[Reading], visit: Visit, quantity: str, control: str) -> tuple[float | None, float, float]:
    """Mean as read, mean at 20 °C intake air [% vol], and the variance of one as a multiple of the usual."""
    by_number = {each["number"]: each for each in visit.judgement.derived}
    values = [(by_number[each.number][f"{quantity}_pct"], each.air_temp_c) for each in readings]
    known = [(float(value), math.nan if air is None else air) for value, air in values if value is not None]
    if not known:
        return None, math.nan, 1.0
    raw = np.array([value for value, _air in known])
    corrected, spread = corrected_to_reference(
        FUELS[visit.fuel],
        cast(Any, control),  # the sheet's words were checked when it was stored
        cast(Any, quantity),
        raw,
        np.array([air for _value, air in known]),
    )
    noise = 1.0 + (float(np.mean(spread)) / drift.Prior.of(quantity).tau0) ** 2
    return float(raw.mean()), float(np.mean(corrected)), noise


# ---- from series to forecasts ----


def _panel(series: Sequence[Series]) -> drift.Panel:
    entries = [(number, each, entry) for number, each in enumerate(series) for entry in each.entries]
    return drift.Panel.from_records(
        [number for number, _series, _entry in entries],
        [str(each.appliance.sheet_id) for _number, each, _entry in entries],
        [_years(entry.day) for *_rest, entry in entries],
        [entry.found_pct for *_rest, entry in entries],
        [entry.left_pct for *_rest, entry in entries],
        [entry.adjusted for *_rest, entry in entries],
        [entry.noise_scale for *_rest, entry in entries],
        [entry.replaced for *_rest, entry in entries],
        target=[_band(each).target for _number, each, _entry in entries],
    )


def _years(day: date) -> float:
    return day.toordinal() / DAYS_A_YEAR


def _band(series: Series) -> Corridor:
    target = target_of(series.version.content, series.rate)
    assert target is not None  # a series is only made where there is one
    return _corridor(target)


def _forecast(series: Sequence[Series], snapshot: Snapshot, now: datetime) -> list[Forecast]:
    hyper = drift.Hyper.from_json(json.dumps(snapshot.parameters))
    state = drift.filter(_panel(series), hyper)
    alpha = Contractor.objects.get().accepted_chance
    bands = [_band(each) for each in series]
    limits = drift.Limits(np.array([each.lower for each in bands]), np.array([each.upper for each in bands]))
    years, binding = drift.horizon(state, hyper, limits, alpha, CAP_YEARS)
    grid = np.array((0.0, *drift.HORIZON_GRID_YEARS))
    crossing = drift.crossing_probability(state, hyper, limits, grid[:, None])
    steps = np.arange(COURSE_MONTHS + 1) / 12.0
    reading = drift.reading_distribution(state, hyper, steps[:, None])
    quantiles = {name: reading.quantile(p) for name, p in _FAN.items()}
    return [
        Forecast(
            appliance=each.appliance,
            quantity=each.quantity,
            rate=each.rate,
            snapshot=snapshot,
            sheet_version=each.version,
            last_visit_on=each.entries[-1].day,
            visits_used=len(each.entries),
            basis=_basis(snapshot, each),
            level_pct=float(state.x[n]),
            drift_pct_per_year=float(state.mu[n]),
            drift_sd_pct_per_year=float(np.sqrt(state.Pmm[n])),
            lower_pct=bands[n].lower,
            upper_pct=bands[n].upper,
            target_pct=bands[n].target,
            accepted_chance=alpha,
            horizon_on=_horizon_on(each, float(years[n]), str(binding[n])),
            crossing=[
                {"years": float(g), "chance": round(float(c), 6)} for g, c in zip(grid, crossing[:, n], strict=True)
            ],
            course=_course(each, steps, {name: values[:, n] for name, values in quantiles.items()}),
            series=[_shown(entry) for entry in each.entries],
            sentence=_sentence(each, float(state.mu[n]), _horizon_on(each, float(years[n]), str(binding[n])), alpha),
            made_at=now,
        )
        for n, each in enumerate(series)
        if not math.isnan(float(state.x[n]))
    ]


_FAN = {"low90": 0.05, "low50": 0.25, "median": 0.5, "high50": 0.75, "high90": 0.95}


def _basis(snapshot: Snapshot, series: Series) -> str:
    if snapshot.from_assumptions:
        return "assumptions"
    return "the fleet" if len(series.entries) < FEW_VISITS else "its own record"


def _horizon_on(series: Series, years: float, binding: str) -> date | None:
    """The day on which the accepted chance is used up; None where that is beyond what can be said."""
    if binding in ("longest", "cap"):
        return None
    return series.entries[-1].day + timedelta(days=math.floor(years * DAYS_A_YEAR))


def _course(series: Series, steps: Any, quantiles: dict[str, Any]) -> list[dict[str, Any]]:
    last = series.entries[-1].day
    return [
        {"date": f"{last + timedelta(days=round(float(step) * DAYS_A_YEAR)):%Y-%m-%d}"}
        | {name: round(float(values[n]), 4) for name, values in quantiles.items()}
        for n, step in enumerate(steps)
    ]


def _shown(entry: Entry) -> dict[str, Any]:
    def rounded(value: float | None) -> float | None:
        return None if value is None or math.isnan(value) else round(value, 3)

    return {
        "date": f"{entry.day:%Y-%m-%d}",
        "visit": entry.visit_id,
        "found_pct": rounded(entry.found_pct),
        "left_pct": rounded(entry.left_pct if entry.adjusted else math.nan),
        "found_raw_pct": rounded(entry.found_raw_pct),
        "left_raw_pct": rounded(entry.left_raw_pct),
    }


def _sentence(series: Series, drift_pct: float, horizon_on: date | None, alpha: float) -> str:
    name = {"co2": "CO₂", "o2": "O₂"}[series.quantity]
    band = _band(series)
    words = {
        "quantity": name,
        "rate": series.rate,
        "pace": f"{abs(drift_pct):.2f}",
        "band": f"{band.lower:g} to {band.upper:g} %",
        "chance": f"{100 * alpha:g}",
        "day": f"{horizon_on:%Y-%m-%d}" if horizon_on else "",
    }
    if abs(drift_pct) < 0.01:
        pace = _("%(quantity)s at %(rate)s fire keeps its level") % words
    elif drift_pct < 0:
        pace = _("%(quantity)s at %(rate)s fire falls about %(pace)s points a year") % words
    else:
        pace = _("%(quantity)s at %(rate)s fire rises about %(pace)s points a year") % words
    if horizon_on is None:
        rest = _("the chance of being outside %(band)s stays below %(chance)s %% for three years") % words
    else:
        rest = _("the chance of being outside %(band)s reaches %(chance)s %% on %(day)s") % words
    return f"{pace}; {rest}."


def chance_on(forecast: Forecast, day: date) -> float:
    """Chance that the true value has left the band by `day`, read off the stored grid by straight lines."""
    years = max((day - forecast.last_visit_on).days / DAYS_A_YEAR, 0.0)
    grid = [each["years"] for each in forecast.crossing]
    return float(np.interp(years, grid, [each["chance"] for each in forecast.crossing]))


def flag_drift(*, appliance: Appliance, planned: date, now: datetime) -> None:
    """Drift flags of one appliance by the chance before its next planned visit; series that ended close theirs."""
    flag_at = Contractor.objects.get().flag_at
    forecasts = list(appliance.forecasts.select_related("snapshot"))
    for each in forecasts:
        chance = chance_on(each, planned)
        sentence = _("%(said)s By the visit due %(day)s it is %(chance).0f %%.") % {
            "said": each.sentence,
            "day": f"{planned:%Y-%m-%d}",
            "chance": 100 * chance,
        }
        flags.put_drift_flag(forecast=each, chance=chance, flag_at=flag_at, sentence=sentence, now=now)
    keys = {f"{each.rate} {each.quantity}" for each in forecasts}
    ended = Flag.objects.filter(appliance=appliance, kind=Flag.Kind.DRIFT, closed_at__isnull=True).exclude(key__in=keys)
    ended.update(closed_at=now, closed_why=_("The series has ended."), updated_at=now)
