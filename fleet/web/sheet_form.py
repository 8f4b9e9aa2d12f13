"""A settings sheet as a form: its fields, targets, ceilings, adjusters and order rules, in the words of the trade."""

from typing import Any

from django.utils.functional import lazy
from django.utils.translation import gettext_lazy as _

from fleet.combustion import FUELS
from fleet.intake.sheets import CEILING_UNITS, CONTROLS, SOURCE_LENGTH
from fleet.presentation.codes import code_words_lazy, quantity_label
from fleet.presentation.figures import unit_words
from fleet.web.typed import YES_NO, Group, Spec, Typed, content_of

GASES = (("co2", "CO₂"), ("o2", "O₂"))
BASES = (("points", _("points")), ("percent_of_target", _("percent of the target")), ("range", _("a range")))
_SOURCE_WORDS = Spec("source_text", _("In the source's words"), length=SOURCE_LENGTH)


def _ceiling_words(quantity: str) -> str:
    unit = unit_words(CEILING_UNITS[quantity])
    return f"{quantity_label(quantity)}, {unit}" if unit else quantity_label(quantity)


_ceiling_words_lazy = lazy(_ceiling_words, str)
NAME = Spec(
    "name", _("Name of the sheet"), length=200, needed=True, hint=_("the manufacturer's model, as the plate has it")
)
PLAIN = (
    Spec("fuel", _("Fuel"), "choice", needed=True,
         choices=[(name, code_words_lazy(fuel.label or name)) for name, fuel in FUELS.items()]),
    Spec("control", _("Air/fuel control"), "choice", needed=True,
         choices=[(each, code_words_lazy(each)) for each in CONTROLS]),
    Spec("condensing", _("Condensing"), "yes no", choices=YES_NO, needed=True),
    Spec("natural_draught", _("Natural draught"), "yes no", choices=YES_NO),
    Spec("rated_input_kw", _("Rated input"), "figure", hint=_("kW"), needed=True),
    Spec("minimum_input_kw", _("Least input"), "figure", hint=_("kW")),
    Spec("input_basis", _("Input counted on"), "choice", needed=True,
         choices=[("net", _("the net heating value")), ("gross", _("the gross heating value"))]),
    Spec("rated_output_kw", _("Rated output"), "figure", hint=_("kW")),
    Spec("minimum_gas_pressure_pa", _("Least gas pressure"), "figure", hint=_("Pa, working, at the inlet")),
    Spec("rates", _("Rates"), "list", hint=_("from the highest to the lowest, between commas"), needed=True),
    Spec("source", _("Source"), hint=_("where the figures come from"), length=SOURCE_LENGTH, needed=True),
)  # fmt: skip
GROUPS = (
    Group(
        "targets",
        _("Targets"),
        _("Where a reading should be, at each rate. How the tolerance is meant is never guessed: without its basis a "
          "target can't be used. Points are % by volume either side; a range has two ends, or is as wide as the "
          "tolerance."),
        _("Target"),
        (
            Spec("rate", _("Rate"), length=20, needed=True),
            Spec("quantity", _("Gas"), "choice", choices=GASES, needed=True),
            Spec("value", _("Target"), "figure", hint=_("% dry")),
            Spec("tolerance", _("Tolerance"), "figure"),
            Spec("tolerance_basis", _("The tolerance is meant in"), "choice", choices=BASES, needed=True),
            Spec("lower", _("Lower end"), "figure", hint=_("% dry, of a range")),
            Spec("upper", _("Upper end"), "figure", hint=_("% dry, of a range")),
            Spec("casing", _("Casing"), "choice", needed=True,
                 choices=[("closed", _("closed")), ("open", _("open")), ("any", _("either"))]),
            _SOURCE_WORDS,
        ),
    ),
    Group(
        "ceilings",
        _("Ceilings"),
        _("Figures that no reading may pass, as found or as left."),
        _("Ceiling"),
        (
            Spec("quantity", _("What"), "choice", needed=True,
                 choices=[(name, _ceiling_words_lazy(name)) for name in CEILING_UNITS]),
            Spec("value", _("At most"), "figure", needed=True),
            Spec("rate", _("Rate"), length=20, needed=True, hint=_("or: any")),
            Spec("action", _("What the manufacturer asks for beyond it")),
            _SOURCE_WORDS,
        ),
    ),
    Group(
        "adjusters",
        _("Adjusters"),
        _("What is turned to move combustion. Which way raises CO₂ differs from one to the next."),
        _("Adjuster"),
        (
            Spec("name", _("Name"), length=100, needed=True),
            Spec("rate", _("Acts on the rate"), length=20, needed=True),
            Spec("raises_co2", _("Raises CO₂"), "choice", needed=True,
                 choices=[("clockwise", _("clockwise")), ("anticlockwise", _("anticlockwise"))]),
            Spec("field_adjustment", _("In the field"), "choice", needed=True,
                 choices=[("allowed", _("adjustment is allowed")), ("check_only", _("check only"))]),
            Spec("place", _("Place"), length=200),
            Spec("tool", _("Tool"), length=100),
            Spec("largest_step_turns", _("Largest step"), "figure", hint=_("turns")),
            Spec("largest_step", _("Largest step, as the source says it"), length=60),
            Spec("sealed", _("Sealed"), "yes no", choices=YES_NO),
            Spec("reseal", _("How it is sealed again"), length=200),
            Spec("who", _("Who may touch it"), length=200),
        ),
    ),
    Group(
        "order_rules",
        _("Order between rates"),
        _("Only where the manufacturer states that one rate lies above another."),
        _("Order"),
        (
            Spec("quantity", _("Gas"), "choice", choices=GASES, needed=True),
            Spec("higher_rate", _("Higher at the rate"), length=20, needed=True),
            Spec("lower_rate", _("Than at the rate"), length=20, needed=True),
            Spec("least_gap", _("By at least"), "figure", hint=_("points")),
            _SOURCE_WORDS,
        ),
        blanks=1,
    ),
)  # fmt: skip


def sheet_content(typed: Typed) -> dict[str, Any]:
    """What is typed, to be read as a sheet: a ceiling's unit follows from what it is of."""
    content = content_of(typed, PLAIN, GROUPS)
    content.setdefault("targets", [])
    for each in content.get("ceilings", ()):
        each["unit"] = CEILING_UNITS.get(each.get("quantity", ""), "")
    return content
