"""The invented settings sheets, and how the appliances of each behave: our own assumptions, measured nowhere."""

import json
from dataclasses import dataclass
from typing import Any

from django.conf import settings

from fleet.combustion import FUELS, o2_pct_from_co2

DATA = settings.BASE_DIR / "fixtures" / "demo"


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
    rise_k: tuple[float, float]
    appliance: str = "boiler"
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


KINDS = {key: Kind(**row) for key, row in json.loads((DATA / "sheets.json").read_text()).items()}
