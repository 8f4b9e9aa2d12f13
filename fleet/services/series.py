"""Series out of records: what each appliance's visits read of one quantity at one rate, on the scale it drifts on.

CO2 and O2, of which the sheet's target says the one, stand as they are, corrected to 20 °C intake air; the other of
the two is worked out or checks it and is no series of its own. CO stands as log1p of ppm air-free, the flue's
temperature as its rise above the intake air; each only where a limit applies.
"""

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, NamedTuple, cast

import numpy as np

from fleet import drift
from fleet.assess.judging.cards import band_of, target_of
from fleet.assess.judging.cases import is_steady
from fleet.combustion import barometric_pressure_pa, corrected_to_reference
from fleet.drift.biases import Effects
from fleet.models import Appliance, CeilingForecast, Judgement, Reading, SheetVersion, Visit
from fleet.services.ceilings import CO, TEMP_RISE, ceiling_of

DAYS_A_YEAR = 365.25
QUARTERS_A_YEAR = 4
GASES = ("co2", "o2")
CEILED = (CO, TEMP_RISE)
DRIFT_NAMES = {TEMP_RISE: "flue_temp_rise"}
MUST_BE_PLAIN = {CO: {"o2", "co2", "co"}, TEMP_RISE: {"flue_temp", "air_temp"}}
# Standard deviation of a CO reading near zero where the analyser's accuracy is not stated: our own, no source.
CO_ABSOLUTE_SD_PPM = 10.0
COVERAGE = 2.0


@dataclass(frozen=True)
class Entry:
    """One visit of a series, on the scale it drifts on; and what it was as read [% vol, ppm air-free, K].

    analyser, building : by which the readings as found may share an error with others of the quarter or the day.
    first_received_at : None where the record was corrected since: its reading may not be what came in first.
    """

    day: date
    visit_id: str
    found: float
    left: float
    found_raw: float | None
    left_raw: float | None
    adjusted: bool
    replaced: bool
    noise_scale: float
    analyser: str | None = None
    building: str = ""
    first_received_at: datetime | None = None

    @property
    def years(self) -> float:
        return self.day.toordinal() / DAYS_A_YEAR

    @property
    def quarter(self) -> str | None:
        """Analyser and quarter, a fourth of a year counted as `drift.biases` counts it."""
        return self.analyser and f"{self.analyser}/{math.floor(QUARTERS_A_YEAR * self.years)}"

    @property
    def site_day(self) -> str:
        return f"{self.building}/{self.day:%Y-%m-%d}"


class Corridor(NamedTuple):
    """Where a series should stay, on the scale it drifts on: both ends, and what an adjustment aims at.

    lower : None for what has a ceiling alone.    words : which limit the ceiling is.
    """

    lower: float | None
    upper: float
    target: float
    words: str = ""


@dataclass(frozen=True)
class Series:
    """All visits of one appliance at one rate since its fuel or target last changed."""

    appliance: Appliance
    version: SheetVersion
    rate: str
    quantity: str
    entries: tuple[Entry, ...]
    corridor: Corridor

    @property
    def informative(self) -> bool:
        """At least two visits with a reading: says something about drift."""
        return sum(not math.isnan(each.found) for each in self.entries) >= 2

    @property
    def group(self) -> str:
        """Whose law holds for it: that of its model."""
        return str(self.appliance.sheet_id)


def series_kinds(appliances: Iterable[Appliance]) -> set[tuple[str, str]]:
    """Quantity and rate of every series that these appliances' sheets have a target for, or that nears a ceiling."""
    sheets = [each.sheet.current.content for each in appliances if each.sheet and each.sheet.current]
    targets = [(target, rate) for sheet in sheets for rate in sheet["rates"] if (target := target_of(sheet, rate))]
    ceiled = CeilingForecast.objects.order_by().values_list("quantity", "rate").distinct()
    return {(target["quantity"], rate) for target, rate in targets} | set(ceiled)


def series_of(
    appliances: Iterable[Appliance], day: date = date.max, *, only: tuple[str, str] | None = None
) -> dict[tuple[str, str], list[Series]]:
    """Every series of these appliances, by quantity and rate; those of one quantity and rate where `only` says so.

    day: whose gas counts, each appliance's newest without one; what was read with another says nothing about it.
    """
    chosen = {each.id: each for each in appliances if each.sheet and each.sheet.current}
    visits = _visits_of(chosen)
    table: dict[tuple[str, str], list[Series]] = {}
    for key, appliance in chosen.items():
        for rate in _current(appliance).content["rates"]:
            for quantity in (_gas_of(appliance, rate), *CEILED):
                if quantity is None or only not in (None, (quantity, rate)):
                    continue
                if series := _series(appliance, quantity, rate, visits[key], day):
                    table.setdefault((quantity, rate), []).append(series)
    return table


# Long columns that no series reads; of each appliance the newest visit's card is read apart.
_NOT_READ = ("card_seen", "checklist", "not_done", "plate", "judgement__card", "judgement__verdicts", "record__content")


def _visits_of(chosen: Mapping[Any, Appliance]) -> dict[Any, list[Visit]]:
    """Each appliance's tested visits in the order of time."""
    visits: dict[Any, list[Visit]] = {each: [] for each in chosen}
    stored = Visit.objects.filter(appliance__in=chosen, outcome__in=("tested", "partly tested"))
    related = stored.prefetch_related("readings__analyser", "work")
    judged = related.select_related("judgement__sheet_version", "attendance", "record").defer(*_NOT_READ)
    for visit in sorted(judged, key=lambda each: (each.local_date, each.last_moment, each.id)):
        visits[visit.appliance_id].append(visit)
    newest = {made[-1].judgement.pk: made[-1].judgement for made in visits.values() if made}
    for key, card in Judgement.objects.filter(pk__in=newest).values_list("pk", "card"):
        newest[key].card = card
    return visits


def _current(appliance: Appliance) -> SheetVersion:
    version = appliance.sheet.current if appliance.sheet else None
    assert version is not None
    return version


def _gas_of(appliance: Appliance, rate: str) -> str | None:
    target = target_of(_current(appliance).content, rate)
    return str(target["quantity"]) if target else None


def _series(appliance: Appliance, quantity: str, rate: str, visits: list[Visit], day: date) -> Series | None:
    version = _current(appliance)
    target = target_of(version.content, rate)
    entries: list[Entry] = []
    burns = appliance.burns_on(day).fuel
    asked = _Asked(quantity, rate, (target or {}).get("casing", "any"), version.content["control"], appliance)
    for visit in visits:
        same = quantity in CEILED or (target is not None and _same_target(visit, rate, target))
        if visit.burnt != burns or not same:
            entries = []  # Another fuel or target: what came before says nothing about now.
            continue
        if _converted(visit):
            entries = []
        if entry := _entry(visit, asked):
            entries.append(entry)
    if not entries:
        return None
    corridor = _corridor(target) if quantity in GASES and target else _below_ceiling(entries, visits, asked)
    return Series(appliance, version, rate, quantity, tuple(entries), corridor) if corridor else None


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


def _below_ceiling(entries: Sequence[Entry], visits: Sequence[Visit], asked: "_Asked") -> Corridor | None:
    """The strictest limit by the card of the newest visit with such a reading; None where none applies.

    Work on the burner aims at no CO of its own: the series' first value stands for it.
    """
    visit = next(each for each in reversed(visits) if str(each.id) == entries[-1].visit_id)
    reading = asked.usable(visit)[-1]
    read = {**_row_of(visit, reading), "rise_k": _rise_k(reading)}
    ceiling = ceiling_of(visit.judgement.card, asked.rate, asked.quantity, read)
    if ceiling is None or ceiling.upper <= 0:
        return None
    first = next(value for each in entries for value in (each.found, each.left) if not math.isnan(value))
    upper = math.log1p(ceiling.upper) if asked.quantity == CO else ceiling.upper
    return Corridor(None, upper, first, ceiling.words)


# ---- one visit ----


@dataclass(frozen=True)
class _Asked:
    """Which readings of a visit, and of what kind of burner."""

    quantity: str
    rate: str
    casing: str
    control: str
    appliance: Appliance

    def usable(self, visit: Visit) -> list[Reading]:
        """Of this rate and proven, steady, of this flue alone, not void, not over range, the casing not against the
        target's; and with a value."""
        proven = [each for each in visit.readings.all() if each.rate == self.rate and each.rate_proven]
        return [each for each in proven if self._counts(each, visit)]

    def _counts(self, reading: Reading, visit: Visit) -> bool:
        row = _row_of(visit, reading)
        plain = not MUST_BE_PLAIN.get(self.quantity, set(GASES)) & set(reading.qualifiers)
        casing_fits = self.casing == "any" or reading.casing in ("", self.casing)
        own = reading.sampling_point != "common flue" and is_steady(reading, row) is not False
        return own and casing_fits and plain and not row["void"] and self.raw(visit, reading) is not None

    def raw(self, visit: Visit, reading: Reading) -> float | None:
        """As read [% vol, ppm air-free, K]."""
        if self.quantity == TEMP_RISE:
            return _rise_k(reading)
        name = "co_ppm_air_free" if self.quantity == CO else f"{self.quantity}_pct"
        value = _row_of(visit, reading)[name]
        return None if value is None else float(value)


def _row_of(visit: Visit, reading: Reading) -> Mapping[str, Any]:
    return cast(Mapping[str, Any], next(each for each in visit.judgement.derived if each["number"] == reading.number))


def _rise_k(reading: Reading) -> float | None:
    flue, air = reading.flue_temp_c, reading.air_temp_c
    return None if flue is None or air is None else flue - air


def _entry(visit: Visit, asked: _Asked) -> Entry | None:
    usable = asked.usable(visit)
    found = [each for each in usable if each.counted_phase == "as found" and not _converted(visit)]
    left = [each for each in usable if each.counted_phase == "as left"][-1:]
    moved = [each for each in visit.work.all() if each.moves_combustion]
    if not found and not (left and moved):
        return None
    found_raw, found_value, noise = _mean(found, visit, asked)
    left_raw, left_value, _noise = _mean(left, visit, asked)
    by = (found or left)[0].analyser_id
    return Entry(
        day=visit.local_date,
        visit_id=str(visit.id),
        found=found_value,
        left=left_value,
        found_raw=found_raw,
        left_raw=left_raw,
        adjusted=bool(moved),
        replaced=any(each.replaced for each in moved),
        noise_scale=noise / max(len(found), 1),
        analyser=str(by) if by else None,
        building=str(asked.appliance.building_id),
        first_received_at=None if visit.record.amends_id else visit.record.received_at,
    )


def _converted(visit: Visit) -> bool:
    """Converted to another gas at this visit: what it was found at is the old gas's."""
    return any(each.kind == "gas conversion" for each in visit.work.all())


def _mean(readings: list[Reading], visit: Visit, asked: _Asked) -> tuple[float | None, float, float]:
    """Mean as read, mean on the scale it drifts on, and the variance of one as a multiple of the usual."""
    raw = np.array([asked.raw(visit, each) for each in readings], float)
    if not raw.size:
        return None, math.nan, 1.0
    if asked.quantity in GASES:
        value, noise = _at_reference_air(raw, readings, visit, asked)
    elif asked.quantity == CO:
        value, noise = drift.co_scale(raw, [_co_absolute_sd_ppm(visit, each) for each in readings])
    else:
        value, noise = raw, np.ones(raw.size)
    return float(raw.mean()), float(np.mean(value)), float(np.mean(noise))


def _at_reference_air(raw: Any, readings: list[Reading], visit: Visit, asked: _Asked) -> tuple[Any, Any]:
    """Corrected for the intake air's temperature, and for pressure and humidity where the visit has them."""
    building, pressure_pa, humidity = asked.appliance.building, visit.barometric_pressure_pa, visit.air_humidity_pct
    value, spread = corrected_to_reference(
        visit.burnt,
        cast(Any, asked.control),  # the sheet's words were checked when it was stored
        cast(Any, asked.quantity),
        raw,
        np.array([math.nan if each.air_temp_c is None else each.air_temp_c for each in readings]),
        relative_humidity=math.nan if humidity is None else humidity / 100.0,
        pressure_pa=pressure_pa,
        reference_pressure_pa=barometric_pressure_pa(building.altitude_m) if pressure_pa else None,
    )
    return value, 1.0 + (spread / drift.READING_SD[asked.quantity]) ** 2


def _co_absolute_sd_ppm(visit: Visit, reading: Reading) -> float:
    """The analyser's absolute error as a standard deviation, made air-free as the reading was."""
    accuracy = reading.analyser.accuracy.get("co") if reading.analyser else None
    stated = accuracy and accuracy.get("absolute")
    sd_ppm = CO_ABSOLUTE_SD_PPM if stated is None else float(stated) / COVERAGE
    return sd_ppm * float(_row_of(visit, reading)["dilution_factor"])


# ---- what the analyser and the day put in ----


@dataclass(frozen=True)
class Corrections:
    """What is to be taken off readings, on the scale they drift on: by analyser, by analyser and quarter, by site and
    day. {label: [bias, standard deviation, readings]}; `checks`: {analyser: {n, mean_z, score, alarm}}."""

    analyser: Mapping[str, Sequence[float]] = field(default_factory=dict)
    quarter: Mapping[str, Sequence[float]] = field(default_factory=dict)
    site_day: Mapping[str, Sequence[float]] = field(default_factory=dict)
    checks: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @classmethod
    def found(cls, biases: drift.Biases, tau0: float) -> "Corrections":
        """As stored: rounded to a thousandth of a reading's own error; days that shared less are left out."""
        digits = 3 - math.floor(math.log10(tau0))
        checks = biases.checks
        told = zip(checks.analysers, checks.n, checks.mean_z, checks.score, checks.alarm, strict=True)
        return cls(
            _rounded(biases.analyser, digits),
            {f"{label[0]}/{label[1]}": row for label, row in _rounded(biases.analyser_quarter, digits).items()},
            {label: row for label, row in _rounded(biases.site_day, digits).items() if abs(row[0]) >= tau0 / 10},
            {
                str(label): {"n": int(n), "mean_z": round(float(z), 3), "score": round(float(s), 2), "alarm": bool(a)}
                for label, n, z, s, a in told
            },
        )

    def of(self, entry: Entry) -> float:
        """What is taken off this entry's readings."""
        places = ((self.analyser, entry.analyser), (self.quarter, entry.quarter), (self.site_day, entry.site_day))
        return sum(float(table[label][0]) for table, label in places if label is not None and label in table)


def _rounded(effects: Effects, digits: int) -> dict[Any, list[float]]:
    rows = zip(effects.labels, effects.bias, effects.sd, effects.n, strict=True)
    return {label: [round(float(bias), digits), round(float(sd), digits), int(n)] for label, bias, sd, n in rows if n}


# ---- as the filter wants them ----


def panel_of(series: Sequence[Series], corrections: Corrections) -> drift.Panel:
    """One column a series, in the order given."""
    rows = [
        (number, each, entry, corrections.of(entry)) for number, each in enumerate(series) for entry in each.entries
    ]
    return drift.Panel.from_records(
        [number for number, *_rest in rows],
        [each.group for _number, each, *_rest in rows],
        [entry.years for _number, _each, entry, _off in rows],
        [entry.found - off for _number, _each, entry, off in rows],
        [entry.left - off for _number, _each, entry, off in rows],
        [entry.adjusted for _number, _each, entry, _off in rows],
        [entry.noise_scale for _number, _each, entry, _off in rows],
        [entry.replaced for _number, _each, entry, _off in rows],
        target=[each.corridor.target for _number, each, *_rest in rows],
    )


def limits_of(series: Sequence[Series]) -> drift.Limits:
    """The corridors of series of one quantity."""
    lower, upper = [each.corridor.lower for each in series], [each.corridor.upper for each in series]
    floors = None if None in lower else np.array(lower, float)
    return drift.Limits(floors, np.array(upper, float))


def digest_of(series: Sequence[Series]) -> str:
    """The same for the same readings of the same appliances, in any order."""
    told = sorted(
        repr((str(each.appliance.id), each.group, each.corridor.target, *map(_told, each.entries))) for each in series
    )
    return hashlib.sha256("\n".join(told).encode()).hexdigest()


def _told(entry: Entry) -> tuple[Any, ...]:
    numbers = (entry.found, entry.left, entry.noise_scale)
    return (entry.visit_id, f"{entry.day}", *numbers, entry.adjusted, entry.replaced, entry.analyser, entry.building)
