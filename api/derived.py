"""What was derived from a reading, as numbers whose names end in their unit, each with the basis it rests on."""

from dataclasses import asdict
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from fleet.combustion import Doubt
from fleet.models.judgements import Derived, SeriesSteadiness
from fleet.presentation.diagnoses import doubt_words
from fleet.presentation.reading_figures import loss_words

_BASIS = {
    "o2_pct": _("dry, by volume, as read"),
    "co2_pct": _("dry, by volume, as read"),
    "excess_air_ratio": _("air supplied over air needed, exact, from O2; from CO2 where no O2 was read"),
    "dilution_factor": _("20.9 / (20.9 - O2): how many times its undiluted volume the dry gas is; not the excess air"),
    "co_ppm_air_free": _("dry, all excess air removed; none above 18 % O2"),
    "nox_ppm_air_free": _("dry, all excess air removed; none above 18 % O2"),
    "co_co2_ratio": _("CO by CO2, both dry"),
    "co_mg_per_kwh_net": _("per heat input on the net heating value, from the air-free figure and the fuel"),
    "co_mg_per_kwh_gross": _("per heat input on the gross heating value, from the air-free figure and the fuel"),
    "nox_mg_per_kwh_net": _("as NO2, per heat input on the net heating value, from the air-free figure and the fuel"),
    "nox_mg_per_kwh_gross": _(
        "as NO2, per heat input on the gross heating value, from the air-free figure and the fuel"
    ),
    "sensible_loss_pct_net": _(
        "on the net heating value, by enthalpy, gas and air entering at the intake temperature, all water as vapour"
    ),
    "latent_loss_pct_gross": _(
        "on the gross heating value, by enthalpy, gas and air entering at the intake temperature: the water that "
        "leaves as vapour"
    ),
    "unburnt_loss_pct_net": _("on the net heating value, the heat of the CO"),
    "efficiency_pct_net": _("on the net heating value, by enthalpy, gas and air entering at the intake temperature"),
    "efficiency_pct_gross": _(
        "on the gross heating value, by enthalpy, gas and air entering at the intake temperature"
    ),
    "condensate_fraction": _("share of the flue gas's water that condenses at the flue temperature"),
    "condensate_kg_per_kwh_gross": _("liquid water per heat input on the gross heating value"),
    "dew_point_c": _("of the flue gas, at the pressure read, else the site altitude's"),
    "input_kw_gross": _("from the timed meter, gross heating value"),
    "input_kw_net": _("from the timed meter, net heating value"),
    "input_share_pct": _("of the rated input on the sheet, on the sheet's own basis"),
}
_DERIVED = {
    "o2_pct": _("dry, by volume, derived from CO2 and the fuel"),
    "co2_pct": _("dry, by volume, derived from O2 and the fuel"),
}
_FROM_NO = _("estimated from NO, with 5 % of the nitrogen oxides taken as NO2; no limit is held against it")
FIGURES = (*_BASIS, "flue_loss_pct")
Figures = type(
    "Figures", (serializers.Serializer,), {name: serializers.FloatField(allow_null=True) for name in FIGURES}
)


class DoubtField(serializers.DictField):
    """Code, figures, whether it makes the reading invalid, and a sentence for people."""

    def to_representation(self, value: Doubt) -> dict[str, Any]:
        return asdict(value) | {"sentence": doubt_words(value)}


class SteadinessField(serializers.DictField):
    def to_representation(self, value: SeriesSteadiness) -> dict[str, Any]:
        return value.as_json()


class DerivedOut(Figures):  # type: ignore[misc, valid-type]  # its fields are the table above
    """None where a figure can't be told. `invalid`: a doubt takes away what was derived, never a CO finding."""

    basis = serializers.SerializerMethodField()
    uncertainties = serializers.DictField(
        child=serializers.FloatField(allow_null=True),
        help_text="Standard uncertainty of each, from the analyser's accuracy and calibration; null: not stated.",
    )
    qualifiers = serializers.DictField(
        child=serializers.CharField(), help_text="More than or less than, carried from what was read; else it is =."
    )
    steadiness = SteadinessField(
        allow_null=True, help_text="From the series, by quantity: mean, its standard uncertainty, why not steady."
    )
    doubts = serializers.ListField(child=DoubtField())
    invalid = serializers.BooleanField()

    def get_basis(self, derived: Derived) -> dict[str, str]:
        """In words, for each figure that could be told."""
        words = _BASIS | {
            name: _DERIVED[name] for name in _DERIVED if getattr(derived, f"{name.removesuffix('_pct')}_derived")
        }
        if derived.nox_estimated:
            words |= {name: f"{words[name]}; {_FROM_NO}" for name in words if name.startswith("nox_")}
        if derived.flue_loss_coefficients:
            words["flue_loss_pct"] = _("by %s") % loss_words(derived.flue_loss_coefficients)
        return {name: str(said) for name, said in words.items() if getattr(derived, name) is not None}
