"""A statement in words, and each of its appliances as a rule over the period; alike on the page and on paper."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.assess.statements import Line, SetOutcome, Statement
from fleet.presentation.contents import evidence_words
from fleet.presentation.days import long_day
from fleet.presentation.strips import Head, Mark, Span, Strip, Upright
from fleet.presentation.verdicts import set_words
from fleet.presentation.words import count_words, lead_and_rest, listed

# A due date further out than this stands beyond the line's end: it would press the period into a corner.
FURTHEST = timedelta(days=2 * 366)
ROOM_AFTER = timedelta(days=14)
# Where the rule's parts stand, in em of its text.
LINE_Y, HEIGHT, HEAD_Y, RADIUS = 2.0, 3.0, 0.5, 0.38
HALF_PERIOD, HALF_BEYOND, HALF_WALL = 0.33, 0.56, 0.88


# ---- the answer ----


def opening(statement: Statement) -> tuple[str, str]:
    """The lead, and what it has no room for: how many there were, how many have a record and what it says, what is
    late, open or no evidence.
    """
    if not statement.lines:
        return _("No appliance of %s was in service in this period.") % subject_of(statement), ""
    return lead_and_rest(_answer(statement))


def subject_of(statement: Statement) -> str:
    client, building = statement.client, statement.building
    return f"{building.name}, {client.name}" if building else str(client.name)


def _answer(statement: Statement) -> Iterator[str]:
    lines = statement.lines
    words = ngettext(
        "%(count)s appliance of %(subject)s was in service in this period.",
        "%(count)s appliances of %(subject)s were in service in this period.",
        len(lines),
    )
    yield words % {"count": _capital(len(lines)), "subject": subject_of(statement)}
    if without := len(statement.without_record):
        yield ngettext("%s has no record of a test.", "%s have no record of a test.", without) % _capital(without)
    if said := [f"{count_words(count)} {word}" for count, word in outcome_counts(statement)]:
        yield _("As last recorded, against the sets named below: %s.") % listed(said)
    yield _late(len(statement.late), undecided := len(statement.undecided))
    if undecided:
        words = ngettext(
            "%s has a required check that can't be told.", "%s have a required check that can't be told.", undecided
        )
        yield words % _capital(undecided)
    if tried := sum(len(each.attempts) for each in lines):
        words = ngettext(
            "%s time in this period somebody came and did not get to an appliance.",
            "%s times in this period somebody came and did not get to an appliance.",
            tried,
        )
        yield words % _capital(tried)
    if open_flags := sum(bool(each.flags) for each in lines):
        yield ngettext("%s has an open flag.", "%s have an open flag.", open_flags) % _capital(open_flags)
    if doubtful := sum(bool(each.not_evidence) for each in lines):
        words = ngettext(
            "The last record of %s is no evidence: no calibration or no qualification covers its day.",
            "The last records of %s are no evidence: no calibration or no qualification covers their day.",
            doubtful,
        )
        yield words % count_words(doubtful)


def _capital(count: int) -> str:
    return count_words(count).capitalize()


def _late(count: int, undecided: int) -> str:
    if not count and undecided:
        return _("None is known to be past its due date.")
    if not count:
        return _("None is past its due date.")
    return ngettext("%s is past its due date.", "%s are past their due date.", count) % _capital(count)


def outcome_counts(statement: Statement) -> list[tuple[int, str]]:
    """How many appliances were last recorded how, only what occurs. What is outside counts so out of use too."""
    counted = Counter(_counted_as(each) for each in statement.lines if each.last or each.idle_throughout)
    words = {
        "within": _("within"),
        "outside": _("outside"),
        "incomplete": _("incomplete"),
        "withheld": _("withheld until somebody has reviewed the set"),
        "not_judged": _("not judged"),
        "out_of_use": _("out of use"),
    }
    return [(counted[outcome], word) for outcome, word in words.items() if counted[outcome]]


def _counted_as(line: Line) -> str:
    return "out_of_use" if line.idle_at_end and line.outcome != "outside" else line.outcome


# ---- its lines ----


def no_date_words(line: Line) -> str:
    """Why it has no due date, where nothing more is known of one."""
    if line.idle_at_end:
        return _("Out of use: no check falls due until it is started again.")
    return _("No due date is known.")


def sets_by_outcome(line: Line) -> list[tuple[str, str]]:
    """The sets of each outcome together, the outcome that weighs most first."""
    words = {
        "outside": _("outside"),
        "cannot_tell": _("can't be decided"),
        "incomplete": _("incomplete"),
        "withheld": _("withheld until somebody has reviewed it"),
        "not_judged": _("not judged"),
        "within": _("within"),
    }
    sets = {said: [_set_words(each) for each in line.outcomes if each.on_paper == key] for key, said in words.items()}
    return [(said, ", ".join(each)) for said, each in sets.items() if each]


def _set_words(each: SetOutcome) -> str:
    """The set in its version, with the doubts about it."""
    doubts = [] if each.reviewed else [_("not reviewed")]
    doubts += [evidence_words(each.evidence)] if each.evidence in ("unverified", "own") and each.kind == "limit" else []
    beside = f" ({', '.join(doubts)})" if doubts else ""
    return f"{set_words(each.name)} v{each.version}{beside}"


# ---- the rule of one line ----


@dataclass(frozen=True)
class StatementRule:
    """Days on a line from `low` to `high`.

    begins, ends: the days in service; late_to: the day up to which being late is counted; last and due: None where
    there is none.
    """

    low: date
    high: date
    begins: date
    ends: date
    late_to: date
    last: date | None
    due: date | None

    def pct(self, when: date) -> float:
        return 100 * min(max((when - self.low) / (self.high - self.low), 0.0), 1.0)


def axis_of(statement: Statement) -> tuple[date, date]:
    """One line for all rows: the period and every due date that isn't far beyond it."""
    near = [each.due for each in statement.lines if each.due and each.due <= statement.ends + FURTHEST]
    return statement.begins, max([statement.ends, *near]) + ROOM_AFTER


def statement_rule(statement: Statement, line: Line) -> StatementRule:
    return StatementRule(
        *axis_of(statement),
        begins=max(statement.begins, line.appliance.in_service_from),
        ends=min(statement.ends, line.appliance.in_service_to or statement.ends),
        late_to=min(statement.ends, statement.known_on),
        last=line.last.local_date if line.last else None,
        due=line.due,
    )


def statement_strip(rule: StatementRule) -> Strip:
    """The rule as marks: the days in service as the stretch, the last record as a filled pin, the due date as a wall
    with hatching over the days of the period that lie past it."""
    return Strip([*_days_of(rule), *_pin_of(rule)], HEIGHT, _rule_words(rule))


def _days_of(rule: StatementRule) -> Iterator[Mark]:
    wall = None if rule.due is None or rule.due > rule.high else rule.pct(rule.due)
    late = (wall, rule.pct(rule.late_to)) if wall is not None and rule.pct(rule.late_to) > wall else None
    yield Span(0, 100, LINE_Y, 0, "line")
    start, end = rule.pct(rule.begins), rule.pct(rule.ends)
    for first, last in [(start, min(end, late[0])), (max(start, late[1]), end)] if late else [(start, end)]:
        if first < last:
            yield Span(first, last, LINE_Y - HALF_PERIOD, 2 * HALF_PERIOD, "stretch")
    if late:
        yield Span(*late, LINE_Y - HALF_BEYOND, 2 * HALF_BEYOND, "beyond")
    if wall is not None:
        yield Upright(wall, LINE_Y - HALF_WALL, LINE_Y + HALF_WALL, "wall")


def _pin_of(rule: StatementRule) -> Iterator[Mark]:
    if rule.last is not None:
        at = rule.pct(rule.last)
        yield Upright(at, HEAD_Y, LINE_Y - (HALF_PERIOD if rule.last >= rule.low else 0), "stem")
        yield Head(at, HEAD_Y, RADIUS, "left", 0 if rule.last >= rule.low else -1)


def _rule_words(rule: StatementRule) -> str:
    """All that the rule shows, as sentences."""
    period = {"begins": long_day(rule.begins), "ends": long_day(rule.ends)}
    parts = [_("In service from %(begins)s to %(ends)s, within the period.") % period]
    parts.append(_("Last record %s.") % long_day(rule.last) if rule.last else _("No test on record."))
    parts += [_("Next due %s.") % long_day(rule.due)] if rule.due else []
    return " ".join(parts)
