"""An interval rule as one says it: whom it asks what of, what comes first or again, what may be later."""

from calendar import monthrange
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.assess.due.set_rules import extra_intervals
from fleet.intervals.kinds import KINDS
from fleet.presentation.codes import code_words
from fleet.presentation.due_dates import months_words, select_words, shown_figures
from fleet.presentation.sentences import sentences

Row = Mapping[str, Any]
INTERVALS = sentences("intervals")


def interval_words(rule: Row) -> str:
    """An interval rule as one says it: for whom, every variant, what comes first or again, and grace.

    >>> interval_words({"type": "max_months", "months": 12})
    'no more than 12 months after the check before'
    """
    return "; ".join(interval_lines(rule))


def interval_lines(rule: Row) -> list[str]:
    """The same a line each: the rule itself first."""
    said = [_interval(rule)]
    if select := rule.get("select"):
        said = [_("%(who)s only: %(what)s") % {"who": select_words(select), "what": said[0]}]
    for each in rule.get("variants", ()):
        what = "; ".join([_interval({**rule, **each}), *_leave(each)])
        said.append(_("%(who)s: %(what)s") % {"who": select_words(each["select"]), "what": what})
    if first := rule.get("first"):
        said.append(_("the first: %s") % interval_words(first))
    if again := rule.get("again_after"):
        shown = {"length": months_words(again["months"]), "event": code_words(str(again["event"]))}
        said.append(_("again at the latest %(length)s after each %(event)s") % shown)
    if rule.get("shared_flue") == "strictest":
        said.append(_("where several appliances share one flue, the strictest of their intervals goes for each"))
    return [*said, *_leave(rule)]


def set_interval_lines(content: Row) -> list[str]:
    """All interval rules of a set, a line each: its own first, then each further one with its name."""
    return [
        *interval_lines(content["interval"]),
        *(_("%(name)s: %(rule)s") % {"name": each["name"], "rule": interval_words(each)}
          for each in extra_intervals(content)),
    ]  # fmt: skip


def _leave(rule: Row) -> Iterator[str]:
    """What a rule lets be later than its date."""
    if months := rule.get("one_off_alignment_extension_months"):
        said = _("once, to align it with another appliance there: in the %s that begin with the due day")
        yield said % months_words(months)
    for part, months in rule.get("component_defer_months", {}).items():
        shown = {"part": code_words(part), "months": months_words(months)}
        yield _("%(part)s may wait for the next shutdown, at most %(months)s") % shown
    if grace := rule.get("grace", {}).get("if_not_operating_on_due_date"):
        yield ngettext("out of use on that day: %d day after restart", "out of use on that day: %d days after restart",
                       grace["days"]) % grace["days"]  # fmt: skip


def _interval(rule: Row) -> str:
    kind = KINDS.get(rule["type"])
    if kind is None:
        return code_words(str(rule["type"]))
    code, figures = kind.said(rule)
    return str(INTERVALS[code]) % (shown_figures(figures) | _days_of_the_year(figures))


def _days_of_the_year(figures: Row) -> dict[str, str]:
    shown = {}
    if day_and_month := figures.get("day_and_month"):
        shown["day_and_month"] = _day_and_month(*day_and_month)
    if windows := figures.get("windows"):
        shown["windows"] = "; ".join(_window(each) for each in windows)
    if months := figures.get("named_months"):
        shown["named_months"] = _(" or ").join(date_format(date(2001, month, 1), "F") for month in months)
    return shown


def _window(window: Row) -> str:
    opens = _day_and_month(window.get("from_day", 1), window["from_month"])
    closes = _day_and_month(window.get("to_day", 31), window["to_month"])
    return _("%(opens)s to %(closes)s") % {"opens": opens, "closes": closes}


def _day_and_month(day: int, month: int) -> str:
    """As a rule means it: a day that the month lacks is its last; of February that is told in words."""
    if month == 2 and day > 28:
        return _("the end of February")
    return date_format(date(2001, month, min(day, monthrange(2001, month)[1])), "j F")
