"""Words that several places say: counts, lists, rates, gases, sentences, and how a visit turned out."""

from collections.abc import Iterable, Sequence
from itertools import accumulate

from django.utils.translation import gettext as _

from fleet.models import Visit

# Of a lead in whole.
MOST_WORDS = 60


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


def rate_words(rate: str) -> str:
    """A sheet's name for a rate, as one says it."""
    known = {"high": _("high fire"), "low": _("low fire"), "single": _("its one rate")}
    return known.get(rate, rate)


def at_rate(label: str, rate: str) -> str:
    """CO₂ at high fire."""
    return _("%(quantity)s at %(rate)s") % {"quantity": label, "rate": rate_words(rate)}


def listed(words: Sequence[str]) -> str:
    """One, two and more in a sentence."""
    if len(words) < 2:
        return "".join(words)
    return _("%(some)s and %(last)s") % {"some": ", ".join(words[:-1]), "last": words[-1]}


def lead_and_rest(sentences: Iterable[str]) -> tuple[str, str]:
    """As many of the first sentences as a lead holds, and what is left of them."""
    said = list(sentences)
    fits = sum(total <= MOST_WORDS for total in accumulate(len(each.split()) for each in said))
    return " ".join(said[:fits]), " ".join(said[fits:])


def within_ours(written: str) -> str:
    """What somebody wrote, to stand within a sentence of ours: without its own full stop."""
    return written.rstrip(". ")


def within_list(label: str) -> str:
    """A label to stand within a list: with a small letter, unless it is a formula.

    >>> within_list("Flue temperature"), within_list("CO in the room")
    ('flue temperature', 'CO in the room')
    """
    return label[:1].lower() + label[1:] if label[1:2].islower() else label


def capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def uncapital(words: str) -> str:
    """As it stands within a sentence; what is written with capitals stays.

    >>> uncapital("Lower end"), uncapital("CO in the room"), uncapital("O₂")
    ('lower end', 'CO in the room', 'O₂')
    """
    return words[:1].lower() + words[1:] if words[1:2].islower() or words[1:2] == " " else words


def shortened(written: str, most: int) -> str:
    """What somebody wrote, cut after so many words.

    >>> shortened("stopped for safety.", 3), shortened("nobody was in and no key was left", 4)
    ('stopped for safety', 'nobody was in and …')
    """
    words = within_ours(written).split()
    return " ".join(words) if len(words) <= most else " ".join([*words[:most], "…"])


def chemical(words: str) -> str:
    """Gases with their figures set low, as the trade writes them."""
    return words.replace("CO2", "CO₂").replace("O2", "O₂")


def signs(words: str) -> str:
    """A sentence of the judgement as paper prints it."""
    return chemical(words).replace("<=", "≤").replace(">=", "≥")


def said(sentence: str) -> str:
    """A sentence as pages and paper say it: gases and signs as the trade has them, and a full stop.

    >>> said("O2 was outside (limit <= 4 %)")
    'O₂ was outside (limit ≤ 4 %).'
    """
    spoken = signs(sentence).strip()
    return spoken if not spoken or spoken.endswith((".", "!", "?", "…")) else f"{spoken}."


def turned_out(visit: Visit) -> str:
    """How it was found and how it was left: "found outside, left within"."""
    words = {"": "", "outside": _("outside"), "within": _("within"), "incomplete": _("incomplete"), "not_judged": ""}
    found, left = words[visit.judgement.turned_out.found], words[visit.judgement.outcome]
    if not found and not left:
        return _("not judged")
    if found == left:
        return _("%s, found and left") % left
    if found and left:
        return _("found %(found)s, left %(left)s") % {"found": found, "left": left}
    return _("found %s") % found if found else _("left %s") % left
