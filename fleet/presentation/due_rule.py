"""A due date on the rule: the window, its last day, when the accepted risk is used up, when a visit is planned."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.translation import gettext, ngettext

from fleet.models import Revisit
from fleet.presentation.days import day, long_day
from fleet.presentation.rule_layout import Caption, Line, PinMark, RuleSide, lay
from fleet.presentation.strips import Strip

SHORTEST_LINE = timedelta(days=30)
ROOM_AT_ENDS = 0.08
LOOK_BACK = timedelta(days=90)
LONGEST_WINDOW = timedelta(days=200)


@dataclass(frozen=True)
class DueRule:
    """When something is due, as seen on `today`.

    opens, last_day : the window and the last day in it.
    horizon : the day on which the accepted risk of being outside is used up.
    planned : the day for which a visit is planned; with `is_supposed` the day that is only asked about.
    first, until : what the line covers, where rows share one scale; without them it holds every day given.
    """

    today: date
    opens: date | None = None
    last_day: date | None = None
    horizon: date | None = None
    planned: date | None = None
    first: date | None = None
    until: date | None = None
    is_supposed: bool = False

    def __post_init__(self) -> None:
        if self.opens and self.last_day and self.opens > self.last_day:
            raise ValueError(f"the window can't end on {self.last_day}, before it opens on {self.opens}")
        if self.first and self.until and self.first >= self.until:
            raise ValueError(f"the line can't end on {self.until}, having begun on {self.first}")


def due_strip(due: DueRule, *, is_small: bool = False) -> Strip:
    """The rule as marks."""
    first, until = line_ends(due)

    def place(when: date) -> float:
        return 100 * (when - first).days / (until - first).days

    word = gettext("done then") if due.is_supposed else gettext("planned")
    above = RuleSide(_pin(due, due.planned, place, word), _wall_caption(due, place))
    below = RuleSide(_pin(due, due.horizon, place, gettext("risk used up")), _opening_caption(due, place))
    return lay(due_line(due, place), above, below, due_words(due), is_small=is_small)


def due_line(due: DueRule, place: Callable[[date], float]) -> Line:
    """The line where `place` gives a day's place in per cent; what lies beyond its ends is cut there."""
    stop = 100.0 if due.last_day is None else place(due.last_day)
    start = None if due.opens is None else place(due.opens)
    is_open = start is not None and start < 100 and stop > 0
    return Line(
        stretch=(max(start, 0.0), min(stop, 100.0)) if start is not None and is_open else None,
        beyond=[(max(stop, 0.0), 100.0)] if stop < 100 else [],
        walls=[stop] if 0 < stop < 100 else [],
        today=_if_inside(place(due.today)),
        cut=_cut(start, stop) if start is not None and is_open else [],
    )


def _cut(start: float, stop: float) -> list[int]:
    return [end for end, is_cut in ((-1, start < 0), (1, stop > 100)) if is_cut]


def due_words(due: DueRule) -> str:
    """All that the rule shows, as sentences."""
    said = [
        (due.opens, gettext("Window from %(day)s.")),
        (due.last_day, gettext("Last day %(day)s.")),
        (due.horizon, gettext("The accepted risk is used up on %(day)s.")),
    ]
    sentences = [words % {"day": long_day(when)} for when, words in said if when]
    today = gettext("Today is %(day)s.") % {"day": long_day(due.today)}
    return " ".join([*sentences, _planned_in_words(due), today])


def line_ends(due: DueRule) -> tuple[date, date]:
    """The days at the line's two ends."""
    days = [each for each in (due.today, due.opens, due.last_day, due.horizon, due.planned) if each]
    length = max(max(days) - min(days), SHORTEST_LINE)
    room = length * ROOM_AT_ENDS
    first, until = due.first or min(days) - room, due.until or min(days) + length + room
    return first, max(until, first + timedelta(days=1))


def _if_inside(at_pct: float) -> float | None:
    return at_pct if 0 <= at_pct <= 100 else None


def _pin(due: DueRule, when: date | None, place: Callable[[date], float], word: str) -> list[PinMark]:
    if when is None:
        return []
    at = place(when)
    beyond = (at > 100) - (at < 0)
    return [PinMark(min(max(at, 0.0), 100.0), day(when, due.today), word, beyond)]


def _wall_caption(due: DueRule, place: Callable[[date], float]) -> list[Caption]:
    if due.last_day is None or _if_inside(place(due.last_day)) is None:
        return []
    return [Caption(place(due.last_day), day(due.last_day, due.today), 1)]


def _opening_caption(due: DueRule, place: Callable[[date], float]) -> list[Caption]:
    if due.opens is None or _if_inside(place(due.opens)) is None:
        return []
    return [Caption(place(due.opens), day(due.opens, due.today), 1)]


def _planned_in_words(due: DueRule) -> str:
    if due.planned is None:
        return gettext("No visit planned.")
    words = gettext("Were it done on %(day)s") if due.is_supposed else gettext("Planned for %(day)s")
    planned = words % {"day": long_day(due.planned)}
    days_late = 0 if due.last_day is None else (due.planned - due.last_day).days
    if days_late <= 0:
        return f"{planned}."
    late = ngettext("%(count)s day late", "%(count)s days late", days_late) % {"count": days_late}
    return f"{planned}, {late}."


# ---- from rows ----


def revisit_rule(
    revisit: Revisit, today: date, *, horizon: date | None = None, last_visit: date | None = None
) -> DueRule:
    """The window of the reason that sets the date, its last day, the day set, and when the accepted risk is used up.

    A window that opened with the rule itself, years ago, is shown from the last visit on.
    """
    opens = revisit.earliest
    if last_visit and opens < last_visit <= revisit.latest:
        opens = last_visit
    # A risk used up years ahead would leave no room for the window: its pin stands at the end.
    near = max(filter(None, (today, revisit.latest, revisit.day))) + LOOK_BACK
    until = near if horizon and horizon > near else None
    return DueRule(today, opens=opens, last_day=revisit.latest, horizon=horizon, planned=revisit.day, until=until)


def row_due_rule(
    opens: date | None, last_day: date, today: date, ahead: timedelta, *, planned: date | None = None
) -> DueRule | None:
    """For rows that share one scale: from a quarter of a year before today to the end of what the list covers.

    planned : stands on it where the list covers it. None where nothing but hatching would be drawn.
    """
    first, until = today - LOOK_BACK, today + ahead + timedelta(days=7)
    planned = planned if planned and planned <= until else None
    if last_day <= first and not planned:
        return None
    opens = min(opens, last_day) if opens else None
    return DueRule(today, opens, last_day, planned=planned, first=first, until=until)


def window_words(revisit: Revisit, today: date) -> str:
    """The window in short, beneath a small rule; one that opened with the required check itself says nothing."""
    if revisit.latest - revisit.earliest > LONGEST_WINDOW:
        return gettext("last day %s") % day(revisit.latest, today)
    shown = {"opens": day(revisit.earliest, today), "last": day(revisit.latest, today)}
    return gettext("from %(opens)s, last day %(last)s") % shown
