"""The truth behind the demonstration's readings: how appliances drift and scatter, and what an instrument shows of it.

Our own assumptions, every one; no published figure for the yearly drift of appliances was found. Forecasts may be held
against `Life`, which keeps what a reading never shows.
"""

import math
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from fleet.combustion import co2_pct_from_o2, gas_properties
from fleet.demo.sheets import KINDS, Kind
from fleet.models import Analyser, Appliance, Person

TOWN_ZONE = "Europe/Dublin"
SEED = 20_260

READING_SD = 0.10
SETTING_SD = 0.15
SITE_DAY_SD = 0.15
ANALYSER_SD = 0.10
INTAKE_SD_K = 6.0
STEP_CHANCE_A_YEAR = 0.03
STEP_PCT = 0.9
CO_BETWEEN, CO_BETWEEN_VISITS, CO_READING = 0.75, 0.35, 0.03
TIMED_SECONDS = 120


@dataclass
class Life:
    """One simulated appliance: what it is, and the truth behind its readings (O2 at 20 °C intake air).

    defects: ids of the open ones. waits_for_part: isolated until it is fitted, part_comes: and when it can be.
    converted: not yet tested on its new gas. stands_still: out of use. no_answer: to a letter after an attempt.
    """

    appliance: Appliance
    sheet_key: str
    site: int
    o2_pct: dict[str, float]
    drift: dict[str, float]
    co_ppm: float
    flue_rise_k: float = 0.0
    last: date | None = None
    common_flue: bool = False
    defects: list[str] = field(default_factory=list)
    waits_for_part: bool = False
    converted: bool = False
    part_comes: date | None = None
    stands_still: bool = False
    no_answer: bool = False

    @property
    def kind(self) -> Kind:
        return KINDS[self.sheet_key]

    def age(self, day: date, rng: np.random.Generator) -> None:
        """Drift, scatter and now and then a step, from the visit before up to this day."""
        years = (day - self.last).days / 365.25 if self.last else 0.0
        for rate in self.o2_pct:
            self.o2_pct[rate] += self.drift[rate] * years + rng.normal(0, 0.10) * math.sqrt(years)
        if rng.random() < STEP_CHANCE_A_YEAR * years:
            step = float(rng.choice([-STEP_PCT, STEP_PCT]))
            self.o2_pct = {rate: max(value + step, 1.2) for rate, value in self.o2_pct.items()}
        self.o2_pct = {rate: max(value, 0.8) for rate, value in self.o2_pct.items()}
        self.flue_rise_k = max(self.flue_rise_k + 3 * years + rng.normal(0, 2) * math.sqrt(years), 0.0)
        self.last = day

    def set_anew(self, rng: np.random.Generator) -> None:
        """Adjusted to its sheet's targets, as well as people do."""
        for rate, target in self.kind.targets_o2.items():
            self.o2_pct[rate] = target + rng.normal(0, SETTING_SD)
        self.flue_rise_k *= 0.5


def begin_life(appliance: Appliance, sheet_key: str, site: int, rng: np.random.Generator) -> Life:
    """As its first visit found it, set near its targets."""
    kind = KINDS[sheet_key]
    common = rng.normal(kind.drift_mean, kind.drift_sd)
    return Life(
        appliance=appliance,
        sheet_key=sheet_key,
        site=site,
        o2_pct={rate: target + rng.normal(0, SETTING_SD) for rate, target in kind.targets_o2.items()},
        drift={rate: common + rng.normal(0, 0.05) for rate in kind.targets_o2},
        co_ppm=float(kind.co_median_ppm * math.exp(rng.normal(0, CO_BETWEEN))),
    )


@dataclass
class Clock:
    """The moments of one technician's readings at one appliance, some minutes after one another."""

    begins: datetime
    minutes: int = 0

    def next(self) -> str:
        self.minutes += 7
        return (self.begins + timedelta(minutes=self.minutes)).isoformat()


@dataclass
class Test:
    """One appliance under test: turns the truth into what an instrument shows.

    bias: of the instrument's O2 [%]. logged: the analyser's series comes with each reading.
    """

    __test__ = False  # not one of pytest's

    life: Life
    person: Person
    analyser: Analyser
    begins: datetime
    bias: float
    rng: np.random.Generator
    logged: bool = True
    last_o2: dict[str, float] = field(default_factory=dict)
    highest_co_ppm: float = 0.0

    def __post_init__(self) -> None:
        self.day = self.begins.date()
        rng, yearly = self.rng, 2 * math.pi * (self.day.timetuple().tm_yday - 110) / 365
        self.at = Clock(self.begins)
        self.air_c = 14.0 + 8.0 * math.sin(yearly) + rng.normal(0, INTAKE_SD_K / 2)
        of_the_day = np.random.default_rng([SEED, self.life.site, self.day.toordinal()])
        self.site_day = float(of_the_day.normal(0, SITE_DAY_SD))
        self.co_today = math.exp(rng.normal(0, CO_BETWEEN_VISITS))
        self.fuel = self.life.appliance.burns_on(self.day).fuel

    def readings(self, phase: str) -> list[dict[str, Any]]:
        """At every rate of the sheet, from the highest."""
        return [self.reading(phase, rate) for rate in self.life.o2_pct]

    def reading(self, phase: str, rate: str) -> dict[str, Any]:
        rng, kind = self.rng, self.life.kind
        weather = kind.weather_per_k * (self.air_c - 20.0)
        o2 = self.life.o2_pct[rate] + weather + self.site_day + self.bias + rng.normal(0, READING_SD)
        o2 = self.last_o2[rate] = min(max(o2, 0.3), 17.0)
        rise = kind.rise_k[0 if rate == "high" else 1] + self.life.flue_rise_k + rng.normal(0, 2)
        values = {
            "o2": measured(o2, 1, "%"),
            "flue_temp": measured(self.air_c + rise, 1, "degC"),
            "air_temp": measured(self.air_c, 1, "degC"),
            **self._gases(o2),
        }
        return {
            "phase": phase,
            "rate": rate,
            "rate_set_by": "service_mode",
            "rate_proven_by": "display",
            "casing": "closed",
            "sampling_point": "appliance_outlet",
            "taken_at": self.at.next(),
            "time_precision": "minute",
            "steadiness": "steady",
            **({"series": self._series(o2, rise, values)} if self.logged else {}),
            **({"gas_rate": self._gas_rate()} if rate == "high" and self._is_timed else {}),
            "analyser": str(self.analyser.id),
            "person": str(self.person.id),
            "values": values,
        }

    @property
    def _is_timed(self) -> bool:
        return bool(self.fuel.composition) and self.logged and self.life.site % 3 == 0

    def _gases(self, o2: float) -> dict[str, dict[str, str]]:
        if self.analyser.co2 == Analyser.Co2.ABSENT:
            return {"co": {"qualifier": "not_measured"}}
        rng = self.rng
        # CO climbs steeply as the air runs short: an assumption of ours, in shape only.
        starved = math.exp(max(0.0, 2.4 - o2) * 2.2)
        co = min(self.life.co_ppm * self.co_today * math.exp(rng.normal(0, CO_READING)) * starved, 1500.0)
        self.highest_co_ppm = max(self.highest_co_ppm, co)
        own = rng.normal(0, 0.05) if self.analyser.co2 == Analyser.Co2.MEASURED else 0.0
        return {
            "co": measured(co, 0, "ppm"),
            "co2": measured(float(co2_pct_from_o2(self.fuel, o2)) + own, 2, "%"),
            "ambient_co": measured(0 if rng.random() < 0.8 else 1, 0, "ppm"),
        }

    def _series(self, o2: float, rise: float, values: dict[str, dict[str, str]]) -> dict[str, Any]:
        """Three minutes at the rate, a sample every ten seconds, coming to rest like a first-order lag."""
        rng, seconds = self.rng, np.arange(0, 181, 10)
        lag = np.exp(-seconds / 25.0)
        columns = {
            "o2": o2 + 1.5 * lag + rng.normal(0, 0.02, seconds.size),
            "flue_temp": self.air_c + rise * (1 - 0.3 * np.exp(-seconds / 30.0)) + rng.normal(0, 0.1, seconds.size),
        }
        if "value" in values["co"]:
            columns["co"] = float(values["co"]["value"]) * (1 + 0.8 * lag) + rng.normal(0, 0.5, seconds.size)
        shown = {name: [f"{max(each, 0.0):.1f}" for each in column] for name, column in columns.items()}
        return {"at_s": [str(each) for each in seconds]} | shown

    def _gas_rate(self) -> dict[str, str]:
        """Two minutes at the meter, at an input a little off the rating."""
        rated_kw = float(self.life.kind.sheet["rated_input_kw"]) * self.rng.normal(0.98, 0.02)
        volume_m3 = rated_kw * TIMED_SECONDS / 1000 / gas_properties(self.fuel).lhv_mj_m3
        return {"index_start": "1000.000", "index_end": f"{1000 + volume_m3:.3f}", "unit": "m3",
                "seconds": str(TIMED_SECONDS), "gas_temp_c": "15"}  # fmt: skip


def measured(value: float, decimals: int, unit: str) -> dict[str, str]:
    return {"value": f"{round(value, decimals) + 0.0:.{decimals}f}", "unit": unit}
