"""The words for the codes that rows, records and the API keep, for the names of quantities, and for the fields that a
refusal names by their paths. A code without a word of its own is said as spelt: that is what is then translated.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

from django.utils.functional import lazy
from django.utils.translation import gettext as _

from fleet.coded import Coded
from fleet.errors import FleetError
from fleet.intake.fields import Many, Shape, fields_of, kind_of, shape_within
from fleet.limits.quantities import label
from fleet.presentation.days import long_day, said_day
from fleet.presentation.sentences import sentences
from fleet.presentation.words import capital, rate_words, said, signs, uncapital, within_ours

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


_DEEDS = sentences("deeds")


def deed_words(what: str, name: str = "") -> str:
    """
    >>> deed_words("flag_answered", "stop_level"), deed_words("visit")
    ('answered a flag: stop level', 'sent a visit')
    """
    of = code_words(name) if what.startswith("flag_") else name
    return f"{_DEEDS[what]}: {of}" if of else str(_DEEDS[what])


# ---- refusals ----

_WRONG = sentences("wrong")
_FIELDS = sentences("refused_fields")


def field_words(path: str, shape: type[Shape] | None = None) -> str:
    """Where in a message something is, by the labels of its shape.

    >>> field_words("attendance.arrived_at"), field_words("targets.0.lower")
    ('Attendance, arrived at', 'Target 1, lower')
    """
    named: list[str] = []
    for part in path.split("."):
        if part.isdigit() and named:
            named[-1] = f"{named[-1]} {int(part) + 1}"
            continue
        info = fields_of(shape).get(part) if shape else None
        kind = kind_of(info) if info else None
        label = (kind.one if isinstance(kind, Many) else "") or (kind.label if kind else "")
        if part != "values":
            named.append(uncapital(str(label or _FIELDS.get(part) or code_words(part))))
        shape = shape_within(info) if info else None
    return capital(", ".join(named))


def refused_words(refused: FleetError) -> str:
    """Why nothing was done, in the reader's language."""
    shown = {name: long_day(each) if isinstance(each, date) else each for name, each in refused.figures.items()}
    sentence = _(refused.template)
    return said(sentence % shown if shown else sentence)


def wrong_text(said: Coded) -> str:
    """What is wrong with a value and what is allowed, for whoever writes programs: codes and days as they are sent.

    >>> from fleet.coded import wrong
    >>> wrong_text(wrong("one_of", "odd", allowed=["as_found", "as_left"])), wrong_text(("blank", {}))
    ("is 'odd'; it must be one of: as_found, as_left", 'is empty; it must be given')
    """
    return _said_wrong(said, str, str)


def wrong_words(said: Coded) -> str:
    """The same for people: codes and days in words.

    >>> from fleet.coded import wrong
    >>> wrong_words(wrong("one_of", None, allowed=["as_found", "co2"]))
    'is missing; it must be one of: as found, CO₂.'
    """
    return within_ours(signs(_said_wrong(said, code_words, said_day))) + "."


def allowed_words(said: Coded) -> str:
    """What is allowed, beside a field in which nothing was given."""
    code, figures = said
    return wrong_words((code, {name: each for name, each in figures.items() if name != "given" or each is not None}))


def _said_wrong(said: Coded, word: Callable[[str], str], day: Callable[[str], str]) -> str:
    code, figures = said
    shown = {name: _shown(name, each, word, day) for name, each in figures.items()}
    sentence = str(_WRONG[code]) % shown
    if "given" in figures and figures["given"] is None:
        return _("is missing; %s") % sentence
    given = shown.get("given") or shown.get("given_on")
    return _("is %(given)s; %(allowed)s") % {"given": given, "allowed": sentence} if given else sentence


def _shown(name: str, figure: Any, word: Callable[[str], str], day: Callable[[str], str]) -> Any:
    if isinstance(figure, list):
        return ", ".join(word(str(each)) for each in figure) or _("none")
    if isinstance(figure, float):
        return f"{figure:g}"
    return day(figure) if name.endswith("_on") else figure


def refusal_lines(
    errors: Mapping[str, Coded], shape: type[Shape] | None = None, labels: Mapping[str, str] | None = None
) -> list[tuple[str, str]]:
    """Each field by the label that the user saw, else by its path in words, with what is wrong with it."""
    labels = labels or {}
    return [
        (labels.get(path.rpartition(".")[2]) or field_words(path, shape), wrong_words(said_of))
        for path, said_of in errors.items()
    ]


# ---- background work ----

_JOBS = sentences("background_work")


def job_words(kind: str) -> str:
    return str(_JOBS[kind]) if kind in _JOBS else kind.replace("_", " ").capitalize()
