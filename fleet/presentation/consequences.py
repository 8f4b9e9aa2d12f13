"""What a draft of a sheet, a limit set or the planning settings would change, in sentences."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet.assess.consequences import Consequence
from fleet.assess.due.due_changes import DueChange
from fleet.assess.judging.cases import is_of_series
from fleet.assess.judging.comparing import Applying, VerdictChange
from fleet.coded import Coded
from fleet.limits import Verdict
from fleet.presentation.codes import code_words, label_words
from fleet.presentation.contents import Difference
from fleet.presentation.days import long_day
from fleet.presentation.due_dates import doubt_words, fact_words
from fleet.presentation.figures import with_unit
from fleet.presentation.sentences import sentences
from fleet.presentation.verdicts import at_words, keeps_words, limit_words, set_words, value_words
from fleet.presentation.words import listed, rate_words, within_ours


def consequence_sentences(consequence: Consequence) -> list[str]:
    """What changes, the whole outcome first."""
    said = []
    if consequence.outcome_changes and consequence.visit:
        words = _(
            "Read as on %(day)s it would be %(after)s from now on, where today it is %(before)s. Its record keeps "
            "the verdict of its day."
        )
        before, after = (_whole_words(each) for each in (consequence.outcome_before, consequence.outcome_after))
        said.append(words % {"day": long_day(consequence.visit.local_date), "before": before, "after": after})
    said += [verdict_change_words(each) for each in consequence.verdicts]
    said += [_("Begins to apply: %s.") % applying_words(each) for each in consequence.newly]
    said += [_("Ceases to apply: %s.") % applying_words(each) for each in consequence.no_longer]
    return said + [due_change_words(each) for each in consequence.dues]


def _whole_words(outcome: str) -> str:
    """How an appliance stands over all its limits."""
    known = {"within": _("within the limits as recorded"), "outside": _("outside the limits as recorded")}
    return known.get(outcome) or code_words(outcome)


def verdict_change_parts(change: VerdictChange) -> dict[str, str]:
    """What was read, where, and the figures to keep before and after; empty where the limit did not stand there."""
    about = change.about
    return {
        "source": set_words(about.set_name),
        "label": label_words(about.label),
        "value": "" if about.value is None else value_words(about),
        "at": at_words(about),
        "before": change.before,
        "after": change.after,
        "limit_before": limit_words(change.then) if change.then else "",
        "limit_after": limit_words(change.now) if change.now else "",
    }


def verdict_change_words(change: VerdictChange) -> str:
    """One reading against one limit, until now and from now on; the value once, where it is the same one."""
    parts = verdict_change_parts(change)
    at = _("at %s") % parts["at"] if parts["at"] else ""
    both = [each for each in (change.then, change.now) if each]
    one = len({(each.value, is_of_series(each)) for each in both}) == 1
    read = " ".join(filter(None, (parts["label"], _read_words(change.about) if one else "", at)))
    said = {
        "what": _("%(read)s, by the limits of %(source)s") % {"read": read, "source": parts["source"]},
        "before": _outcome_words(change, change.then, one=one),
        "after": _outcome_words(change, change.now, one=one),
    }
    if not change.before:
        return _("%(what)s: not held against this one until now, %(after)s from now on.") % said
    if not change.after:
        return _("%(what)s: %(before)s until now, not held against this one from now on.") % said
    return _("%(what)s: %(before)s until now, %(after)s from now on.") % said


def _read_words(verdict: Verdict) -> str:
    if verdict.value is None:
        return ""
    return _("%s as it was logged") % value_words(verdict) if is_of_series(verdict) else value_words(verdict)


def _outcome_words(change: VerdictChange, verdict: Verdict | None, *, one: bool) -> str:
    """outside (9.1 to 9.7 %); with the value, where before and after speak of two, and what of its grade turns."""
    if verdict is None:
        return ""
    said = ["" if one else _read_words(verdict), limit_words(verdict)]
    if change.graded_otherwise and change.then and change.now:
        ends = _("it ends the firing") if verdict.stop else _("it doesn't end the firing")
        asks = _("asks for “%s”") % within_ours(verdict.action) if verdict.action else _("asks for nothing further")
        said += [
            _("grade: %s") % code_words(verdict.severity),
            asks if change.then.action != change.now.action else "",
            ends if change.then.stop != change.now.stop else "",
        ]
    shown = ", ".join(filter(None, said))
    return f"{code_words(verdict.outcome)} ({shown})" if shown else code_words(verdict.outcome)


def applying_words(one: Applying) -> str:
    """A limit, where it applies and what its application hangs on."""
    at = _(" at %s") % rate_words(one.rates) if one.rates else ""
    words = ngettext(
        ", if %s says so, which is not recorded", ", if %s say so, which is not recorded", len(one.unrecorded)
    )
    unclear = words % listed([fact_words(each) for each in one.unrecorded]) if one.unrecorded else ""
    limit = with_unit(keeps_words(one.keeps), one.unit) if one.keeps else ""
    return " ".join(filter(None, (label_words(one.label), limit))) + at + unclear


def due_change_words(change: DueChange) -> str:
    """A required check's date by today's rules and by the draft's."""
    before, after = _long_day(change.before, change.doubt_before), _long_day(change.after, change.doubt_after)
    said = {"name": change.name, "before": before, "after": after}
    return _("%(name)s: due %(before)s until now, %(after)s from now on.") % said


def _long_day(day: date | None, doubts: Sequence[Coded]) -> str:
    said = long_day(day) if day else _("no date")
    if not doubts:
        return said
    shown = {"day": said, "why": doubt_words(doubts)}
    return _("%(day)s at the earliest (%(why)s)") % shown if day else _("%(day)s (%(why)s)") % shown


# ---- all of it at a glance ----


def nothing_new_words(version: int) -> str:
    return _("It says nothing that version %d doesn't say.") % version


def consequences_summary(changing: int, moved: int, same: int, unread: int, unseen: int) -> str:
    """Of how many appliances how many change.

    moved : as many more keep their verdicts, though what they are held against is told otherwise; same : for as many
    nothing changes.
    unread : of all these no visit has readings. unseen : of the changing ones, of clients that the viewer may not see.
    """
    count = changing + moved + same
    if not count:
        return _("No appliance is under it.")
    said = {"changing": changing, "all": count, "moved": moved}
    of_one = _("One appliance is under it; it changes.") if changing else _("One appliance is under it.")
    of_all = ngettext(
        "Of %(all)d appliances under it %(changing)d changes.",
        "Of %(all)d appliances under it %(changing)d change.",
        changing,
    )
    of_none = _("%(all)d appliances are under it.")
    words = [of_one if count == 1 else (of_all if changing else of_none) % said]
    if not (changing or moved):
        words.append(_("What stands today stays; later visits are judged by what it says differently."))
    if moved:
        of_moved = ngettext(
            "%(moved)d keeps its verdicts and days, under other figures, grades or adjusters.",
            "%(moved)d keep their verdicts and days, under other figures, grades or adjusters.",
            moved,
        )
        words.append(of_moved % said)
    if unread:
        words.append(_("%d of them have no visit with readings.") % unread)
    if unseen:
        words.append(_("%d that change are of clients that you may not see.") % unseen)
    return " ".join(words)


MOST_MILDER = 3


def milder_words(differences: Sequence[Difference]) -> str:
    """What a draft loosens, ends or turns the other way, by name; empty where it does nothing of that."""
    said = [f"{each.path} ({each.milder})" for each in differences if each.milder]
    if not said:
        return ""
    more = len(said) - MOST_MILDER
    shown = [*said[:MOST_MILDER], *([_("%d more, below") % more] if more > 0 else [])]
    return _("To look at twice: %s.") % "; ".join(shown)


SETTINGS = sentences("planning_settings")
NOTHING_CHANGES = gettext_lazy("Nothing would change: these are the settings that stand.")


def move_words(before: date | None, after: date | None) -> str:
    """A planned visit's last day that moves, comes or goes."""
    if after is None:
        return _("no date any more")
    if before is None:
        return _("%s instead of no date") % long_day(after)
    days = abs((after - before).days)
    later = ngettext("%d day later", "%d days later", days) if after > before else ""
    moved = (later or ngettext("%d day earlier", "%d days earlier", days)) % days
    shown = {"after": long_day(after), "before": long_day(before), "moved": moved}
    return _("%(after)s instead of %(before)s, %(moved)s") % shown


def planning_summary(opening: int, closing: int, moving: int, beyond: tuple[int, int]) -> str:
    """beyond : as many cases stay listed beyond the extra visits, until now and from now on."""
    parts = [
        ngettext("%d drift flag opens", "%d drift flags open", opening) % opening,
        ngettext("%d closes", "%d close", closing) % closing,
        ngettext("%d planned visit moves", "%d planned visits move", moving) % moving,
    ]
    if not any(beyond):
        return _("%s; no case is beyond the extra visits.") % ", ".join(parts)
    staying = ngettext("%d case stays listed", "%d cases stay listed", beyond[1]) % beyond[1]
    shown = {"changes": ", ".join(parts), "staying": staying, "before": beyond[0]}
    return _("%(changes)s; %(staying)s beyond the extra visits instead of %(before)d.") % shown
