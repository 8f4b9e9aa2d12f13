"""What stands on the register, calibrations, qualifications and stop levels, as somebody enters them."""

from typing import Annotated

from django.utils.translation import gettext_lazy as _

from fleet.intake.fields import (
    LEFT_OUT,
    Day,
    DecimalText,
    Email,
    Many,
    Number,
    Phone,
    Shape,
    Text,
    Word,
    YesNo,
    shape_of,
)
from fleet.intake.sheets import BURNS
from fleet.limits.card import ACCURACY_FIELDS
from fleet.models import Analyser, Role
from fleet.quantities import READING_QUANTITIES

FUEL_KINDS = {"gas": _("gas"), "oil": _("oil")}


class ContractorIn(Shape):
    """What pages and paper say of the contractor, and whom they tell people to call."""

    name: Annotated[str, Text(200, label=_("Name"))]
    address: Annotated[str, Text(300, blank=True, label=_("Address"))] = LEFT_OUT
    emergency_numbers: Annotated[
        list[Annotated[str, Phone()]],
        Many(
            1, 10, label=_("Numbers to call on a gas smell or a CO alarm"), help=_("by comma, the first to call first")
        ),
    ]


class ClientIn(Shape):
    name: Annotated[str, Text(200, label=_("Name"))]
    address: Annotated[str, Text(300, blank=True, label=_("Address"))] = LEFT_OUT
    contact: Annotated[str, Text(300, blank=True, label=_("Contact"), under="contact_details")] = LEFT_OUT


class PlaceIn(Shape):
    name: Annotated[str, Text(200, label=_("Name"))]
    address: Annotated[str, Text(300, label=_("Address"))]
    latitude: Annotated[float | None, Number(-90, 90, "°", null=True, label=_("Latitude"))] = LEFT_OUT
    longitude: Annotated[float | None, Number(-180, 180, "°", null=True, label=_("Longitude"))] = LEFT_OUT
    altitude_m: Annotated[float, Number(-450, 6000, "m", label=_("Altitude"))] = LEFT_OUT
    time_zone: Annotated[str, Text(64, label=_("Clock"), help=_("such as Europe/Dublin"))]
    fuel: Annotated[str, Word(BURNS, label=_("What burns here"))] = LEFT_OUT
    access_notes: Annotated[str, Text(2000, blank=True, label=_("Getting in"), under="contact_details")] = LEFT_OUT


class PlateIn(Shape):
    """An appliance as its data plate shows it, and its place in the building."""

    name: Annotated[str, Text(100, label=_("Name"))]
    kind: Annotated[str, Text(40, label=_("Kind"))] = LEFT_OUT
    serial: Annotated[str, Text(100, blank=True, label=_("Serial number"))] = LEFT_OUT
    room: Annotated[str, Text(100, blank=True, label=_("Room"))] = LEFT_OUT
    fuel: Annotated[
        str, Word(BURNS, blank=True, label=_("Fuel"), help=_("Empty where it burns what its building does."))
    ] = LEFT_OUT


class PersonIn(Shape):
    name: Annotated[str, Text(200, label=_("Name"))]
    role: Annotated[str, Word(dict(Role.choices), label=_("Role"))] = LEFT_OUT
    phone: Annotated[str, Phone(blank=True, label=_("Telephone"), under="contact_details")] = LEFT_OUT
    email: Annotated[str, Email(blank=True, label=_("E-mail"), under="contact_details")] = LEFT_OUT


class Accuracy(Shape):
    """The wider of the two counts: absolute in the quantity's own unit, relative in percent of the reading."""

    absolute: Annotated[float, Number(0, 100000)] = LEFT_OUT
    relative_pct: Annotated[float, Number(0, 100)] = LEFT_OUT


Accuracies = shape_of("Accuracies", dict.fromkeys(ACCURACY_FIELDS, Accuracy))
_MEASURED = {name: each.label for name, each in READING_QUANTITIES.items()}


class AnalyserIn(Shape):
    name: Annotated[str, Text(100, label=_("Name"))]
    serial: Annotated[str, Text(100, blank=True, label=_("Serial number"))] = LEFT_OUT
    measures: Annotated[list[Annotated[str, Word(_MEASURED)]], Many(1, len(_MEASURED), label=_("Measures"))]
    co2: Annotated[str, Word(dict(Analyser.Co2.choices), label=_("CO₂"))]
    accuracy: Accuracies  # type: ignore[valid-type]  # its fields are the table above


class Expanded(Shape):
    """An expanded uncertainty (k = 2): absolute in the quantity's own unit, relative in percent; the wider counts."""

    absolute: Annotated[str, DecimalText(0, 100_000)] = LEFT_OUT
    relative_pct: Annotated[str, DecimalText(0, 100)] = LEFT_OUT


Uncertainties = shape_of("Uncertainties", dict.fromkeys(ACCURACY_FIELDS, Expanded))


class CalibrationIn(Shape):
    done_on: Annotated[str, Day(label=_("Done on"), proven_by="certificate")]
    valid_to: Annotated[str, Day(label=_("Valid to"), proven_by="certificate")]
    certificate: Annotated[str, Text(100, label=_("Certificate"))]
    by: Annotated[str, Text(200, label=_("By"))]
    passed: Annotated[bool, YesNo(label=_("Passed"), proven_by="certificate")]
    uncertainty: Uncertainties = LEFT_OUT  # type: ignore[valid-type]  # its fields are the table above


class QualificationIn(Shape):
    scheme: Annotated[str, Text(100, label=_("Scheme"))]
    number: Annotated[str, Text(100, label=_("Number"))]
    fuel_kinds: Annotated[list[Annotated[str, Word(FUEL_KINDS)]], Many(1, label=_("For"))]
    valid_from: Annotated[str, Day(label=_("Valid from"), proven_by="number")]
    valid_to: Annotated[str, Day(label=_("Valid to"), proven_by="number")]


class StopLevelsIn(Shape):
    """All five, always: there is never an appliance without a stop level."""

    co_ppm_air_free: Annotated[str, DecimalText(1, 10_000, "ppm", label=_("CO, air-free"), proven_by="evidence")]
    ambient_co_ppm: Annotated[str, DecimalText(1, 1_000, "ppm", label=_("CO in the room"), proven_by="evidence")]
    ambient_co_rise_ppm: Annotated[
        str, DecimalText(1, 1_000, "ppm", label=_("Rise of CO in the room"), proven_by="evidence")
    ]
    co_rising_above_ppm: Annotated[
        str, DecimalText(1, 10_000, "ppm", label=_("CO that goes on rising, above"), proven_by="evidence")
    ]
    spillage_min: Annotated[str, DecimalText(0, 60, "min", label=_("Spillage"), proven_by="evidence")]
    evidence: Annotated[str, Text(500, label=_("Where they come from"))]
