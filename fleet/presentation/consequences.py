"""What a draft of a sheet or a limit set would change for an appliance, in sentences."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from fleet.assess.consequences import Consequence
from fleet.assess.due.due_changes import DueChange
from fleet.assess.judging.comparing import Applying, VerdictChange
from fleet.coded import Coded
from fleet.presentation.codes import code_words
from fleet.presentation.due_dates import doubt_words
from fleet.presentation.verdicts import at_words


def consequence_sentences(consequence: Consequence) -> list[str]:
    """What changes, the whole outcome first."""
    said = []
    if consequence.outcome_changes and consequence.visit:
        words = _(
            "Read as on %(day)s it would be %(after)s from now on, where today it is %(before)s. Its record keeps "
            "the verdict of its day."
        )
        before, after = (_whole_words(each) for each in (consequence.outcome_before, consequence.outcome_after))
        said.append(words % {"day": consequence.visit.local_date, "before": before, "after": after})
    said += [verdict_change_words(each) for each in consequence.verdicts]
    said += [_("Begins to apply: %s.") % applying_words(each) for each in consequence.newly]
    said += [_("Ceases to apply: %s.") % applying_words(each) for each in consequence.no_longer]
    return said + [due_change_words(each) for each in consequence.dues]


def _whole_words(outcome: str) -> str:
    """How an appliance stands over all its limits."""
    known = {
        "within": _("within the limits as recorded"),
        "outside": _("outside the limits as recorded"),
        "incomplete": _("incomplete"),
    }
    return known.get(outcome, outcome)


def verdict_change_words(change: VerdictChange) -> str:
    """One reading against one limit, until now and from now on."""
    at = at_words(change)
    read = " ".join(filter(None, (change.label, change.value, _("at %s") % at if at else "")))
    said = {
        "what": _("%(read)s, by the limits of %(source)s") % {"read": read, "source": change.source},
        "before": _outcome_words(change.before, change.limit_before),
        "after": _outcome_words(change.after, change.limit_after),
    }
    if not change.before:
        return _("%(what)s: not held against this one until now, %(after)s from now on.") % said
    if not change.after:
        return _("%(what)s: %(before)s until now, not held against this one from now on.") % said
    return _("%(what)s: %(before)s until now, %(after)s from now on.") % said


def _outcome_words(outcome: str, limit: str) -> str:
    return f"{code_words(outcome)} ({limit})" if limit else code_words(outcome)


def applying_words(one: Applying) -> str:
    """A limit, where it applies and what its application hangs on."""
    at = _(" at %s") % one.rates if one.rates else ""
    unclear = _(", if %s says so, which is not recorded") % ", ".join(one.unrecorded) if one.unrecorded else ""
    return f"{one.label} {one.limit}{at}{unclear}"


def due_change_words(change: DueChange) -> str:
    """A required check's date by today's rules and by the draft's."""
    before, after = _day_words(change.before, change.doubt_before), _day_words(change.after, change.doubt_after)
    said = {"name": change.name, "before": before, "after": after}
    return _("%(name)s: due %(before)s until now, %(after)s from now on.") % said


def _day_words(day: date | None, doubts: Sequence[Coded]) -> str:
    said = str(day) if day else _("no date")
    if not doubts:
        return said
    shown = {"day": said, "why": doubt_words(doubts)}
    return _("%(day)s at the earliest (%(why)s)") % shown if day else _("%(day)s (%(why)s)") % shown
