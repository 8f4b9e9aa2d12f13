"""A settings sheet as a form: its fields, targets, ceilings, adjusters and order rules as its shape has them."""

from dataclasses import replace
from typing import Any

from django.utils.functional import lazy

from fleet.intake.sheets import CEILING_UNITS, SheetFileIn, SheetIn
from fleet.presentation.codes import quantity_label
from fleet.presentation.figures import unit_words
from fleet.web.typed import Typed, content_of, group_of, specs_of

NAME = specs_of(SheetFileIn, "name")[0]
PLAIN = specs_of(SheetIn)


def _ceiling_words(quantity: str) -> str:
    unit = unit_words(CEILING_UNITS[quantity])
    return f"{quantity_label(quantity)}, {unit}" if unit else quantity_label(quantity)


_ceiling_words_lazy = lazy(_ceiling_words, str)
_CEILINGS = group_of(SheetIn, "ceilings")
_OF_WHAT = [(name, _ceiling_words_lazy(name)) for name in CEILING_UNITS]
GROUPS = (
    group_of(SheetIn, "targets"),
    replace(_CEILINGS, specs=(replace(_CEILINGS.specs[0], choices=_OF_WHAT), *_CEILINGS.specs[1:])),
    group_of(SheetIn, "adjusters"),
    group_of(SheetIn, "order_rules"),
)


def sheet_content(typed: Typed) -> dict[str, Any]:
    """What is typed, to be read as a sheet: a ceiling's unit follows from what it is of."""
    content = content_of(typed, PLAIN, GROUPS)
    content.setdefault("targets", [])
    for each in content.get("ceilings", ()):
        each["unit"] = CEILING_UNITS.get(each.get("quantity", ""), "")
    return content
