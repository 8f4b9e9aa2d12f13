"""Revisits, the days that are set for them and attempts without access, in words."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.assess.due.revisits import Together, technician_doubts
from fleet.assess.foresight.forecasts import Told
from fleet.coded import Coded
from fleet.limits import Verdict
from fleet.models import NoAccess, Revisit
from fleet.presentation.days import long_day, said_day
from fleet.presentation.due_dates import date_words, undecided_words
from fleet.presentation.figures import chance_words
from fleet.presentation.follow_ups import found_words
from fleet.presentation.forecasts import forecast_words
from fleet.presentation.sentences import sentences
from fleet.presentation.verdicts import limit_words, value_words, what_words
from fleet.presentation.words import within_ours


def reason_words(why: Sequence[Any], earliest: str = "") -> str:
    """Why to come, from its code and figures. earliest: of a check in doubt the first day it can be due, ISO."""
    code, figures = why
    if code == "required_check":
        return f"{figures['name']}: {date_words(figures['steps'])}"
    if code == "retest":
        return retest_words(figures["limit_set"], figures["steps"])
    if code == "defect":
        shown = {"what": within_ours(figures["what"]), "due": date_words(figures["steps"])}
        return _("Defect to be repaired: %(what)s; %(due)s") % shown
    if code == "undecided":
        due = date.fromisoformat(earliest) if earliest else None
        return undecided_words(figures["name"], due, figures["doubts"])
    if code == "nothing_left":
        return _("Nothing asks for it by a date any more; it is booked for %s.") % said_day(figures["day"])
    if code == "flag":
        return found_words(figures["figures"], figures["sentence"])
    return forecast_words(Told(**figures))


def lead_reason(why: Sequence[Any]) -> str:
    """Why to come, as an opening says it: of a finding the verdict with its figure and limit, without its set."""
    code, figures = why
    if code != "flag" or "verdict" not in figures["figures"]:
        return reason_words(why)
    verdict = Verdict(figures["figures"]["verdict"])
    shown = {"what": what_words(verdict), "value": value_words(verdict), "limit": limit_words(verdict)}
    if not shown["limit"]:
        return _("Outside as recorded: %(what)s, %(value)s.") % shown
    return _("Outside as recorded: %(what)s, %(value)s (limit %(limit)s).") % shown


def retest_words(limit_set: str, steps: Iterable[Coded]) -> str:
    """By which set another test is asked for, and when."""
    return _("Another test by %(set)s: %(words)s") % {"set": limit_set, "words": date_words(steps)}


def reason_sentence(reason: Mapping[str, Any]) -> str:
    """Of one of the reasons that a revisit keeps."""
    return reason_words(reason["why"], reason["earliest"])


def beyond_words(revisit: Revisit, a_week: int) -> str:
    """Which risk is accepted by not coming for drift; empty where an extra visit is made or none is asked for."""
    if revisit.extra != Revisit.Extra.BEYOND or revisit.accepted_until is None:
        return ""
    said = {
        "count": a_week,
        "chance": chance_words(revisit.accepted_risk or 0.0),
        "day": long_day(revisit.accepted_until),
    }
    return _("Beyond the %(count)d extra visits a week; accepted risk: %(chance)s before %(day)s.") % said


def set_words(revisit: Revisit, today: date) -> str:
    """What a person has set, and what is odd about it by now; empty for a mere proposal."""
    if revisit.day is None:
        return ""
    said = {"state": revisit.get_state_display().capitalize(), "day": long_day(revisit.day)}
    said["latest"] = long_day(revisit.latest)
    if revisit.has_passed(today):
        return _("%(state)s for %(day)s; the day is over and nobody got to it.") % said
    if revisit.needed_before_its_day and revisit.latest < today and not revisit.is_late(today):
        return _("%(state)s for %(day)s; the accepted risk was used up on %(latest)s.") % said
    if revisit.needed_before_its_day and revisit.latest < today:
        return _("%(state)s for %(day)s, though needed by %(latest)s, which is over.") % said
    if revisit.needed_before_its_day:
        return _("%(state)s for %(day)s, now needed by %(latest)s.") % said
    return _("%(state)s for %(day)s.") % said


def who_words(revisit: Revisit) -> str:
    """Who goes on the day that is set, and what speaks against it; empty for a mere proposal."""
    if revisit.day is None:
        return ""
    if revisit.technician is None:
        return _("Nobody is named to go.")
    return " ".join(filter(None, (_("%s goes.") % revisit.technician.name, who_doubt_words(revisit))))


def who_doubt_words(revisit: Revisit) -> str:
    """What speaks against who is named to go; empty where nothing does."""
    return " ".join(_WHO_DOUBTS[code] % _shown(figures) for code, figures in technician_doubts(revisit))


def _shown(figures: Mapping[str, Any]) -> dict[str, Any]:
    return {**figures, "day": said_day(figures.get("day", ""))}


def together_words(group: Together) -> str:
    """When one attendance can serve these proposals."""
    said = {"begins": long_day(group.begins), "ends": long_day(group.ends)}
    if len(group.revisits) == 1:
        one_day, several = _("By itself on %(ends)s."), _("By itself from %(begins)s to %(ends)s.")
    else:
        one_day = _("Together on %(ends)s; costs no anniversary.")
        several = _("Together from %(begins)s to %(ends)s; costs no anniversary.")
    return (one_day if group.begins == group.ends else several) % said


def attempt_words(attempt: NoAccess) -> str:
    """Evidence of reasonable steps: when somebody came, why they didn't get in, what they left, and who says so."""
    said = [f"{long_day(attempt.local_date)}: {attempt.get_kind_display()}"]
    if attempt.note:
        said.append(within_ours(attempt.note))
    if attempt.letter:
        said.append(_("letter: %s") % within_ours(attempt.letter))
    if count := len(attempt.files.all()):
        said.append(ngettext("%d file beside it", "%d files beside it", count) % count)
    return _("%(what)s, says %(who)s.") % {"what": "; ".join(said), "who": attempt.by}


_WHO_DOUBTS = sentences("who_goes")
_CLASS_WORDS = sentences("urgency")


def urgency_words(urgency_of: Mapping[str, Any]) -> str:
    """What is gravest, and the chance of being outside before the visit that is planned; empty where nothing asks.

    >>> urgency_words({"gravest": "required_check", "chance": 0.42, "planned": "2027-01-01"})
    'due by a date; a chance of 42 % of being outside before 1 January 2027'
    """
    if not urgency_of:
        return ""
    words = [str(_CLASS_WORDS.get(urgency_of["gravest"], _CLASS_WORDS["required_check"]))]
    if urgency_of["chance"]:
        said = {"chance": chance_words(urgency_of["chance"]), "day": said_day(urgency_of["planned"])}
        before = _("a chance of %(chance)s of being outside before %(day)s")
        words.append((before if said["day"] else _("a chance of %(chance)s of being outside in a year")) % said)
    return "; ".join(words)
