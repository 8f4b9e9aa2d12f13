"""What is measured at an appliance: one row a quantity, shared by every room.

The name is what messages and records use, the column is where the figure stands, in the unit that the column's
name says. `low` and `high` bound what an instrument can show (beyond: kept, and a question to the office);
`decimals` is how a page shows it.
"""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Quantity:
    name: str
    column: str
    unit: str
    label: str | Promise
    low: float
    high: float
    decimals: int
    units: tuple[str, ...]


def _row(
    name: str, column: str, label: str | Promise, low: float, high: float, decimals: int, *units: str
) -> tuple[str, Quantity]:
    return name, Quantity(name, column, units[0], label, low, high, decimals, units)


_PRESSURES = ("Pa", "hPa", "mbar", "inH2O", "mmH2O")
_TEMPERATURES = ("degC", "degF")

# What a sheet gives targets of.
GASES = {"co2": "CO₂", "o2": "O₂"}

READING_QUANTITIES: dict[str, Quantity] = dict(
    [
        _row("o2", "o2_pct", GASES["o2"], 0, 21.5, 1, "%"),
        _row("co2", "co2_pct", GASES["co2"], 0, 21, 2, "%"),
        _row("co", "co_ppm", _("CO"), 0, 100_000, 0, "ppm"),
        _row("no", "no_ppm", _("NO"), 0, 5_000, 0, "ppm"),
        _row("nox", "nox_ppm", _("NOx"), 0, 5_000, 0, "ppm"),
        _row("flue_temp", "flue_temp_c", _("Flue temperature"), -20, 1_000, 1, *_TEMPERATURES),
        _row("air_temp", "air_temp_c", _("Intake air temperature"), -50, 80, 1, *_TEMPERATURES),
        _row("draught_fire", "draught_fire_pa", _("Draught over the fire"), -500, 500, 1, *_PRESSURES),
        _row("draught", "draught_pa", _("Draught at the outlet"), -500, 500, 1, *_PRESSURES),
        _row("ambient_co", "ambient_co_ppm", _("CO in the room"), 0, 10_000, 0, "ppm"),
        _row("intake_o2", "intake_o2_pct", _("O₂ in the intake"), 0, 21.5, 1, "%"),
        _row("intake_co2", "intake_co2_pct", _("CO₂ in the intake"), 0, 21, 2, "%"),
        _row(
            "gas_pressure_standing", "gas_pressure_standing_pa", _("Gas pressure, standing"), 0, 50_000, 0, *_PRESSURES
        ),
        _row("gas_pressure_working", "gas_pressure_working_pa", _("Gas pressure, working"), 0, 50_000, 0, *_PRESSURES),
        _row("burner_pressure", "burner_pressure_pa", _("Burner pressure"), -1_000, 50_000, 0, *_PRESSURES),
        _row("flow_temp", "flow_temp_c", _("Flow temperature"), -20, 250, 0, *_TEMPERATURES),
        _row("return_temp", "return_temp_c", _("Return temperature"), -20, 250, 0, *_TEMPERATURES),
        _row("spillage", "spillage_min", _("Spillage"), 0, 120, 1, "min"),
        _row("smoke", "smoke_spot", _("Smoke spot"), 0, 9, 0, "1"),
        _row("oil_pressure", "oil_pressure_pa", _("Oil pressure"), 0, 5_000_000, 0, "kPa", "bar", "psi", "Pa"),
    ]
)
CONDITION_QUANTITIES: dict[str, Quantity] = dict(
    [
        _row("ambient_co_before", "ambient_co_before_ppm", _("CO in the room before"), 0, 10_000, 0, "ppm"),
        _row("ambient_co_after", "ambient_co_after_ppm", _("CO in the room after"), 0, 10_000, 0, "ppm"),
        _row("air_humidity", "air_humidity_pct", _("Humidity of the air"), 0, 100, 0, "%"),
        _row("zero_o2", "zero_o2_pct", _("O₂ in fresh air"), 0, 25, 1, "%"),
        _row("zero_co", "zero_co_ppm", _("CO in fresh air"), 0, 1_000, 0, "ppm"),
        _row("run_hours", "run_hours_h", _("Run hours"), 0, 1_000_000, 1, "h"),
        _row("outdoor_temp", "outdoor_temp_c", _("Outdoor temperature"), -50, 60, 0, *_TEMPERATURES),
        _row(
            "barometric_pressure",
            "barometric_pressure_pa",
            _("Barometric pressure"),
            50_000,
            110_000,
            0,
            "hPa",
            "Pa",
            "mbar",
            "kPa",
            "inHg",
        ),
    ]
)
QUALIFIERS = ("=", "more_than", "less_than", "not_measured", "sensor_fault")

# What each quantity's column is measured in, for units that differ from the first one offered to a person.
COLUMN_UNITS = {"pa": "Pa", "c": "degC", "pct": "%", "ppm": "ppm", "min": "min", "h": "h", "spot": "1", "kw": "kW"}


def column_unit(quantity: Quantity) -> str:
    """The unit that the column's own name says: draught_pa -> Pa."""
    return COLUMN_UNITS[quantity.column.rsplit("_", 1)[1]]
