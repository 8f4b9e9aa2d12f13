"""Words that several pages say: counts, days inside stored sentences, rates, and how a visit turned out."""

import re
from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from fleet.models import Visit
from fleet.web.figures import long_day
from reports.figures import signs

_ISO_DAY = re.compile(r"\b(\d{4})-(\d{2})-(\d{2})\b")


def count_words(count: int) -> str:
    """Small counts as words, larger ones as figures.

    >>> count_words(2), count_words(27)
    ('two', '27')
    """
    words = (
        _("none"),
        _("one"),
        _("two"),
        _("three"),
        _("four"),
        _("five"),
        _("six"),
        _("seven"),
        _("eight"),
        _("nine"),
        _("ten"),
        _("eleven"),
        _("twelve"),
    )
    return words[count] if count < len(words) else str(count)


def said(sentence: str) -> str:
    """A stored sentence as a page says it: days in words, gases and signs as the trade writes them, a full stop.

    >>> said("O2 was outside (limit <= 4 %) on 2027-01-07")
    'O₂ was outside (limit ≤ 4 %) on 7 January 2027.'
    """
    spoken = signs(_ISO_DAY.sub(_spoken, sentence)).strip()
    return spoken if not spoken or spoken.endswith((".", "!", "?", "…")) else f"{spoken}."


def _spoken(found: re.Match[str]) -> str:
    try:
        return long_day(date(*(int(part) for part in found.groups())))
    except ValueError:
        return found.group(0)


def chance_words(chance: float) -> str:
    """A chance in per cent, never rounded to none or to certainty.

    >>> chance_words(0.604), chance_words(0.0001), chance_words(0.9999)
    ('60 %', 'under 1 %', 'over 99 %')
    """
    if chance < 0.01:
        return _("under 1 %")
    return _("over 99 %") if chance > 0.99 else f"{100 * chance:.0f} %"


def rate_words(rate: str) -> str:
    """A sheet's name for a rate, as one says it."""
    known = {"high": _("high fire"), "low": _("low fire"), "single": _("its one rate")}
    return known.get(rate, rate)


def and_words(parts: Sequence[str]) -> str:
    """One, two and more in a sentence."""
    if len(parts) < 2:
        return "".join(parts)
    return _("%(some)s and %(last)s") % {"some": ", ".join(parts[:-1]), "last": parts[-1]}


def turned_out(visit: Visit) -> str:
    """How it was found, by judged rows alone, and how it was left, by all that stands: "found outside, left within"."""
    words = {"": "", "outside": _("outside"), "within": _("within"), "in part": _("judged in part"), "not judged": ""}
    phases = {each["phase"] for each in visit.judgement.verdicts["verdicts"]}
    outcome = words[visit.judgement.outcome]
    found, left = (words[_worst(visit, "as found")], outcome) if "as left" in phases else (outcome, "")
    if not found and not left:
        return _("not judged")
    if found == left:
        return _("%s, found and left") % left
    if found and left:
        return _("found %(found)s, left %(left)s") % {"found": found, "left": left}
    return _("found %s") % found if found else _("left %s") % left


def _worst(visit: Visit, phase: str) -> str:
    outcomes = {each["outcome"] for each in visit.judgement.verdicts["verdicts"] if each["phase"] == phase}
    return next((word for word in ("outside", "within") if word in outcomes), "")
