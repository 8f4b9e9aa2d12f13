"""Words that several pages say: counts, days inside stored sentences, rates, and how a visit turned out."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from fleet.models import Visit


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
    """How it was found and how it was left: "found outside, left within"."""
    words = {"": "", "outside": _("outside"), "within": _("within"), "in part": _("judged in part"), "not judged": ""}
    verdicts = visit.judgement.verdicts
    outcome, was_left = words[visit.judgement.outcome], any(each["phase"] == "as left" for each in verdicts["verdicts"])
    found, left = (words[verdicts["found"]], outcome) if was_left else (outcome, "")
    if not found and not left:
        return _("not judged")
    if found == left:
        return _("%s, found and left") % left
    if found and left:
        return _("found %(found)s, left %(left)s") % {"found": found, "left": left}
    return _("found %s") % found if found else _("left %s") % left
