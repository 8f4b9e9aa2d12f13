"""What was derived from a reading, as numbers whose names end in their unit, each with the basis it rests on."""

from typing import Any

from rest_framework import serializers

_BASIS = {
    "o2_pct": "dry, by volume, as read",
    "co2_pct": "dry, by volume, as read",
    "excess_air_ratio": "exact, from O2; from CO2 where no O2 was read",
    "co_ppm_air_free": "dry, all excess air removed; none above 18 % O2",
    "co_co2_ratio": "CO by CO2, both dry",
    "efficiency_pct_net": "on the net heating value, by enthalpy, gas and air entering at the intake temperature",
    "efficiency_pct_gross": "on the gross heating value, by enthalpy, gas and air entering at the intake temperature",
    "condensate_fraction": "share of the flue gas's water that condenses at the flue temperature",
    "dew_point_c": "of the flue gas, at the pressure read, else the site altitude's",
    "input_kw_gross": "from the timed meter, gross heating value",
    "input_kw_net": "from the timed meter, net heating value",
}
_DERIVED = {
    "o2_pct": "dry, by volume, derived from CO2 and the fuel",
    "co2_pct": "dry, by volume, derived from O2 and the fuel",
}


def _figure() -> serializers.FloatField:
    return serializers.FloatField(allow_null=True)


class DerivedOut(serializers.Serializer[Any]):
    """None where a figure can't be told. `void`: a doubt takes away what was derived, never a CO finding."""

    o2_pct = _figure()
    co2_pct = _figure()
    excess_air_ratio = _figure()
    co_ppm_air_free = _figure()
    co_co2_ratio = _figure()
    efficiency_pct_net = _figure()
    efficiency_pct_gross = _figure()
    condensate_fraction = _figure()
    dew_point_c = _figure()
    flue_loss_pct = _figure()
    input_kw_gross = _figure()
    input_kw_net = _figure()
    basis = serializers.SerializerMethodField()
    doubts = serializers.ListField(child=serializers.DictField())
    void = serializers.BooleanField()

    def get_basis(self, derived: dict[str, Any]) -> dict[str, str]:
        """In words, for each figure that could be told."""
        words = _BASIS | {name: _DERIVED[name] for name in _DERIVED if derived[f"{name.removesuffix('_pct')}_derived"]}
        if derived["flue_loss_coefficients"]:
            words["flue_loss_pct"] = f"by the coefficients {derived['flue_loss_coefficients']}"
        return {name: said for name, said in words.items() if derived[name] is not None}
