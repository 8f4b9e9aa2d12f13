"""What one visit read of one quantity at one rate: which of its readings count, and on which scale they drift."""

import math
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, cast

import numpy as np

from fleet import drift
from fleet.assess.foresight.ceilings import CO, TEMP_RISE
from fleet.assess.judging.cases import is_steady
from fleet.combustion import barometric_pressure_pa, corrected_to_reference
from fleet.limits.cases import COMMON_FLUE
from fleet.models import Appliance, Reading, Visit

DAYS_A_YEAR = 365.25
QUARTERS_A_YEAR = 4
GASES = ("co2", "o2")
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


@dataclass(frozen=True)
class Asked:
    """Which readings of a visit, and of what kind of burner."""

    quantity: str
    rate: str
    casing: str
    control: str
    appliance: Appliance

    def usable(self, visit: Visit) -> list[Reading]:
        """Of this rate and proven, steady, of this flue alone, not invalid, not over range, the casing not against the
        target's; and with a value."""
        proven = [each for each in visit.readings.all() if each.rate == self.rate and each.rate_proven]
        return [each for each in proven if self._counts(each, visit)]

    def _counts(self, reading: Reading, visit: Visit) -> bool:
        derived = visit.judgement.figures[reading.number]
        plain = not MUST_BE_PLAIN.get(self.quantity, set(GASES)) & set(reading.qualifiers)
        casing_fits = self.casing == "any" or reading.casing in ("", self.casing)
        own = reading.sampling_point != COMMON_FLUE and is_steady(reading, derived) is not False
        return own and casing_fits and plain and not derived.invalid and self.raw(visit, reading) is not None

    def raw(self, visit: Visit, reading: Reading) -> float | None:
        """As read [% vol, ppm air-free, K]."""
        if self.quantity == TEMP_RISE:
            return rise_k(reading)
        name = "co_ppm_air_free" if self.quantity == CO else f"{self.quantity}_pct"
        value: float | None = getattr(visit.judgement.figures[reading.number], name)
        return value


def rise_k(reading: Reading) -> float | None:
    flue, air = reading.flue_temp_c, reading.air_temp_c
    return None if flue is None or air is None else flue - air


def entry_of(visit: Visit, asked: Asked) -> Entry | None:
    usable = asked.usable(visit)
    found = [each for each in usable if each.counted_phase == "as_found" and not converted(visit)]
    left = [each for each in usable if each.counted_phase == "as_left"][-1:]
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


def converted(visit: Visit) -> bool:
    """Converted to another gas at this visit: what it was found at is the old gas's."""
    return any(each.kind == "gas_conversion" for each in visit.work.all())


def _mean(readings: list[Reading], visit: Visit, asked: Asked) -> tuple[float | None, float, float]:
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


def _at_reference_air(raw: Any, readings: list[Reading], visit: Visit, asked: Asked) -> tuple[Any, Any]:
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
    dilution = visit.judgement.figures[reading.number].dilution_factor
    assert dilution is not None  # where CO is air-free
    return sd_ppm * dilution
