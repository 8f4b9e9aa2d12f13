"""The words for the codes that rows, records and the API keep, for the names of quantities, and for the fields that a
refusal names by their paths. A code without a word of its own is said as spelt: that is what is then translated.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.utils.functional import lazy
from django.utils.translation import gettext as _

from fleet.errors import FleetError
from fleet.limits.quantities import label
from fleet.presentation.days import long_day, said_day
from fleet.presentation.sentences import sentences
from fleet.presentation.words import capital, rate_words, said, signs, within_ours
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES

WORDS = sentences("codes")


def code_words(code: str) -> str:
    """
    >>> code_words("as_found"), code_words("by_the_sites_controls")
    ('as found', "by the site's controls")
    """
    if word := WORDS.get(code) or WORDS.get(code.lower()):
        return str(word)
    return _(code.replace("_", " ")) if code else ""


# Where a word is asked for before anybody's language is known.
code_words_lazy = lazy(code_words, str)


# What limits are about.
LABELS = sentences("quantities")


def label_words(said: Sequence[Any]) -> str:
    """What was read, of its code and figures.

    >>> label_words(["nox", {"at_o2_pct": 3.0}]), label_words(["flue_loss", {}])
    ('NOx at 3 % O₂', 'flue loss')
    """
    code, figures = said
    shown = {name: str(LABELS[each]) if each in LABELS else rate_words(str(each)) for name, each in figures.items()}
    name = str(LABELS[code]) % shown if code in LABELS else code_words(code)
    if "at_o2_pct" not in figures:
        return name
    return _("%(what)s at %(o2)s %% O₂") % {"what": name, "o2": f"{figures['at_o2_pct']:g}"}


def quantity_label(quantity: str, basis: str | None = None) -> str:
    """The same of a limit's quantity on its basis."""
    return label_words(label(quantity, basis))


# ---- refusals ----

# Of what a path names: the rows of a list by one of them; "values" holds quantities, which name themselves.
FIELDS = sentences("refused_fields")
_CODE = re.compile(r"(?<![\w.@/-])'?([a-z][a-z0-9]*(?:_[a-z0-9]+)+)'?(?![\w@/]|\.\w)")
_PATTERN = re.compile(r"(such as [^.;]*)")
_ISO_DAY = re.compile(r"\b\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])\b")


def field_words(path: str) -> str:
    """Where in a message something is.

    >>> field_words("readings.0.values.o2.unit"), field_words("attendance.arrived_at")
    ('Reading 1, O₂, unit', 'Attendance, arrived at')
    """
    quantities = {**READING_QUANTITIES, **CONDITION_QUANTITIES}
    named: list[str] = []
    for part in path.split("."):
        if part.isdigit() and named:
            named[-1] = f"{named[-1]} {int(part) + 1}"
        elif part in quantities:
            named.append(str(quantities[part].label))
        elif part != "values":
            named.append(str(FIELDS[part]) if part in FIELDS else code_words(part))
    return capital(", ".join(named))


def refused_words(refused: FleetError) -> str:
    """Why nothing was done, in the reader's language."""
    shown = {name: long_day(each) if isinstance(each, date) else each for name, each in refused.figures.items()}
    sentence = _(refused.template)
    return said(sentence % shown if shown else sentence)


def refusal_words(refusal: str) -> str:
    """What was given and what is allowed, codes and days in words; a pattern ("such as 2026-03-02") as it is.

    >>> refusal_words("is '2026-03-02'; it must be one of: as_found, as_left, co2")
    "is '2 March 2026'; it must be one of: as found, as left, CO₂."
    """
    before, asked, codes = refusal.partition("must be one of: ")
    allowed = ", ".join(code_words(each) for each in codes.split(", ")) if asked else ""
    parts = _PATTERN.split(_CODE.sub(lambda found: code_words(found[1]), before))
    spoken = "".join(each if number % 2 else _spoken(each) for number, each in enumerate(parts))
    return within_ours(f"{spoken}{asked}{allowed}") + "."


def _spoken(refusal: str) -> str:
    return signs(_ISO_DAY.sub(lambda found: said_day(found[0]), refusal))


def refusal_lines(errors: Mapping[str, str], labels: Mapping[str, str]) -> list[tuple[str, str]]:
    """Each field by the label that the user saw, else by its path in words, with what is wrong with it."""
    return [
        (labels.get(path.rpartition(".")[2]) or field_words(path), refusal_words(str(said_of)))
        for path, said_of in errors.items()
    ]


# ---- background work ----

_JOBS = sentences("background_work")


def job_words(kind: str) -> str:
    return str(_JOBS[kind]) if kind in _JOBS else kind.replace("_", " ").capitalize()
