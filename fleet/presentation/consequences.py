"""What a draft of a sheet or a limit set would change for an appliance, in sentences."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from fleet.assess.consequences import Consequence
from fleet.assess.due.due_changes import DueChange
from fleet.coded import Coded
from fleet.presentation.due_dates import doubt_words


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
    said += [each.sentence for each in consequence.verdicts]
    said += [_("Begins to apply: %s.") % each for each in consequence.newly]
    said += [_("Ceases to apply: %s.") % each for each in consequence.no_longer]
    return said + [due_change_words(each) for each in consequence.dues]


def _whole_words(outcome: str) -> str:
    """How an appliance stands over all its limits."""
    known = {
        "within": _("within the limits as recorded"),
        "outside": _("outside the limits as recorded"),
        "incomplete": _("judged in part"),
    }
    return known.get(outcome, outcome)


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
