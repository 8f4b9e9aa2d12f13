"""The invented settings sheets, and how the appliances of each behave: our own assumptions, measured nowhere."""

from dataclasses import dataclass
from typing import Any

from fleet.combustion import FUELS, o2_pct_from_co2

UP, DOWN = "clockwise", "anticlockwise"  # which way raises CO2


@dataclass(frozen=True)
class Kind:
    """One sheet and how its appliances behave; O2 in points.

    drift_mean, drift_sd: yearly drift of O2. weather_per_k: O2 per kelvin of intake air. rise_k: of the flue over the
    intake air at the highest and at the lowest rate. o2_per_turn: of an adjuster.
    """

    name: str
    sheet: dict[str, Any]
    drift_mean: float
    drift_sd: float
    weather_per_k: float
    appliance: str = "boiler"
    rise_k: tuple[float, float] = (40.0, 30.0)
    co_median_ppm: float = 11.0
    o2_per_turn: float = 4.0

    @property
    def fuel(self) -> str:
        return str(self.sheet["fuel"])

    @property
    def is_open_flued(self) -> bool:
        return bool(self.sheet["control"] == "fixed_atmospheric")

    @property
    def targets_o2(self) -> dict[str, float]:
        """By rate the O2 that the sheet's target asks for, on the sheet's own fuel [%]."""
        return {each["rate"]: _o2(each, self.fuel) for each in self.sheet["targets"]}


def _o2(target: dict[str, Any], fuel: str) -> float:
    value = float(target["value"])
    return value if target["quantity"] == "o2" else float(o2_pct_from_co2(FUELS[fuel], value))


def _sheet(
    control: str,
    *,
    high: tuple[str, str],
    low: tuple[str, str] | None,
    tolerance: str,
    kw: tuple[str, str],
    quantity: str = "co2",
    fuel: str = "natural_gas",
    condensing: bool = False,
    basis: str = "points",
    order: bool = False,
) -> dict[str, Any]:
    """high, low: the target at that rate, and which way its adjuster raises CO2. kw: at the highest and lowest rate."""
    of_rates = {"high": high} | ({"low": low} if low else {})
    names = {"high": "main ratio screw", "low": "offset screw"}
    return {
        "fuel": fuel,
        "control": control,
        "condensing": condensing,
        "rated_input_kw": kw[0],
        "minimum_input_kw": kw[1],
        "input_basis": "net",
        "rated_output_kw": kw[0],
        "rates": list(of_rates),
        "targets": [
            {"rate": rate, "quantity": quantity, "value": value, "tolerance": tolerance,
             "tolerance_basis": basis, "casing": "closed"}
            for rate, (value, _way) in of_rates.items()
        ],
        "ceilings": [
            {"quantity": "co_ppm_air_free", "value": "200", "unit": "ppm", "rate": "any", "action": "Find the cause"}
        ],
        "adjusters": [
            {"name": names[rate], "place": "on the gas valve", "tool": "hex key", "raises_co2": way, "rate": rate,
             "sealed": True, "field_adjustment": "allowed", "largest_step": "1/4 turn", "largest_step_turns": "0.25",
             "reseal": "paint mark"}
            for rate, (_value, way) in of_rates.items()
        ],
        "order_rules": [{"quantity": quantity, "higher_rate": "high", "lower_rate": "low"}] if order else [],
        "source": "invented for the demonstration",
    }  # fmt: skip


PREMIX = (-0.10, 0.25, -0.03)
LINKAGE = (0.10, 0.45, -0.06)
OPEN = (-0.05, 0.35, -0.02)

KINDS = {
    "house": Kind(
        "Invented premix boiler 24",
        _sheet("pneumatic_ratio", high=("9.3", UP), low=("8.9", DOWN), tolerance="0.55", kw=("24", "5"),
               condensing=True, order=True),
        *PREMIX,
    ),
    "block": Kind(
        "Invented premix boiler 65",
        _sheet("pneumatic_ratio", high=("9.5", DOWN), low=("9.1", UP), tolerance="0.55", kw=("65", "13"),
               condensing=True),
        *PREMIX,
    ),
    "plant": Kind(
        "Invented premix boiler 110",
        _sheet("pneumatic_ratio", high=("4.6", DOWN), low=("5.2", UP), tolerance="1.0", kw=("110", "22"),
               quantity="o2", condensing=True),
        *PREMIX,
    ),
    "linkage": Kind(
        "Invented burner 180, linkage",
        _sheet("linkage", high=("9.8", UP), low=("9.0", UP), tolerance="0.9", kw=("180", "70")),
        *LINKAGE,
        rise_k=(150.0, 110.0),
    ),
    "oil": Kind(
        "Invented oil boiler 45",
        _sheet("oil_pressure_jet", high=("12.4", DOWN), low=None, tolerance="8", kw=("45", "45"), fuel="light_oil",
               basis="percent_of_target"),
        *LINKAGE,
        rise_k=(160.0, 0.0),
        co_median_ppm=9.0,
    ),
    "open": Kind(
        "Invented atmospheric boiler 30",
        _sheet("fixed_atmospheric", high=("6.6", UP), low=None, tolerance="0.9", kw=("30", "30")),
        *OPEN,
        rise_k=(110.0, 0.0),
    ),
    "water": Kind(
        "Invented water heater 28",
        _sheet("pneumatic_ratio", high=("9.0", UP), low=("8.6", DOWN), tolerance="0.7", kw=("28", "9")),
        *PREMIX,
        appliance="water_heater",
        rise_k=(80.0, 60.0),
    ),
    "propane": Kind(
        "Invented propane heater 20",
        _sheet("fixed_atmospheric", high=("7.9", UP), low=None, tolerance="1.0", kw=("20", "20"), fuel="propane"),
        *OPEN,
        appliance="water_heater",
        rise_k=(100.0, 0.0),
    ),
    "kit": Kind(
        "Invented propane heater 20 with its kit for natural gas",
        _sheet("fixed_atmospheric", high=("6.8", UP), low=None, tolerance="1.0", kw=("20", "20")),
        *OPEN,
        appliance="water_heater",
        rise_k=(100.0, 0.0),
    ),
}  # fmt: skip
