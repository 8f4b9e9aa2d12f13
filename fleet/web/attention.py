"""The start page: what needs attention and why, the gravest first; and answering for a flag, or closing it."""

import uuid
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet import clock
from fleet.assess.due.alerts import AlertedAbout, alerted_about
from fleet.assess.refusals import found
from fleet.errors import FleetError, Forbidden
from fleet.models import Appliance, Contractor, Flag, Forecast, Revisit, User
from fleet.models.access import may_change
from fleet.presentation.days import long_day, weekday, weekday_without_year
from fleet.presentation.drift_chart import band_words, expected_rule, outcome_on, series_words
from fleet.presentation.due_rule import DueRule, row_due_rule, window_words
from fleet.presentation.figures import chance_words, figure
from fleet.presentation.follow_ups import flag_words
from fleet.presentation.reading_rule import ReadingRule
from fleet.presentation.readings import verdict_rule
from fleet.presentation.revisits import beyond_words, reason_words, set_words, who_doubt_words
from fleet.presentation.verdicts import FindingRow, finding_row, verdict_of
from fleet.presentation.words import count_words, listed
from fleet.queries.access import visible_clients
from fleet.queries.attention import Attention, Row, attention_for
from fleet.queries.follow_ups import visible_flags
from fleet.queries.register import the_contractor
from fleet.queries.revisits import visible_revisits
from fleet.services.flags import acknowledge_flag, close_flag
from fleet.web.forecast_accuracy import analyser_words
from fleet.web.forms import ActForm, WordedActForm, chosen_client, chosen_days, taken
from fleet.web.guards import act, page, viewer_of
from fleet.web.places import first_place_of

WITHIN_DAYS = (7, 21, 42, 90)
USUALLY_WITHIN = 21
MOST_ROWS = 100
MOST_QUESTIONS = 6
MOST_LATE_SHOWN = 6


@page("attention", instead=first_place_of)
def attention(request: HttpRequest) -> HttpResponse:
    viewer = viewer_of(request)
    today, clients = clock.today(), list(visible_clients(viewer))
    client = chosen_client(request.GET, clients)
    within = chosen_days(request.GET, "within", WITHIN_DAYS, USUALLY_WITHIN)
    facts = attention_for(viewer, today, due_within=timedelta(days=within), client_id=client.id if client else None)
    contractor, told, listed_once = the_contractor(viewer), alerted_about(facts.unsafe), Listed.of(facts)
    return render(
        request,
        "attention.html",
        {
            "facts": facts,
            "opening": opening(facts),
            "stops": stop_cases(facts.unsafe, told, listed_once.besides),
            "outside": [listed_once.row(_outside, each, contractor, today) for each in listed_once.outside[:MOST_ROWS]],
            "drifting": [
                listed_once.row(_drifting, each, contractor, today) for each in listed_once.drifting[:MOST_ROWS]
            ],
            "due": [_due(each, today, within) for each in facts.due[:MOST_ROWS]],
            "most": MOST_ROWS,
            "accepted": chance_words(contractor.accepted_risk),
            "flag_at": chance_words(contractor.flag_at),
            "clients": clients,
            "client": client,
            "within": within,
            "choices": WITHIN_DAYS,
            "questions": facts.questions[:MOST_QUESTIONS],
            "analysers": [analyser_words(each) for each in facts.analysers_off],
            "odd": list(_odd(facts)),
            "in_doubt": [(each, who_doubt_words(each)) for each in facts.in_doubt],
            "unnamed": facts.unnamed[:MOST_LATE_SHOWN],
            "unnamed_more": max(facts.unnamed_count - MOST_LATE_SHOWN, 0),
            "most_late": MOST_LATE_SHOWN,
            "may_choose": may_change(viewer, "planning_settings"),
            "next": None if facts.due else _next_with_a_date(viewer, today + timedelta(days=within)),
        },
    )


def _next_with_a_date(viewer: User, after: date) -> Revisit | None:
    """The soonest revisit after the days that are shown, for when nothing is due in them."""
    later = visible_revisits(viewer).filter(latest__gt=after)
    return later.order_by("latest", "id").first()


@dataclass(frozen=True)
class Listed:
    """Each appliance once, by its gravest reason: what is framed has no row, what is outside isn't listed as drifting.

    besides : how many further findings an appliance has beside its frame or row; they stand on its page.
    """

    outside: Sequence[Row]
    drifting: Sequence[Row]
    besides: Mapping[uuid.UUID, int]

    @classmethod
    def of(cls, facts: Attention) -> "Listed":
        framed = {each.appliance_id for each in facts.unsafe}
        gravest: dict[uuid.UUID, Row] = {}
        for row in sorted((*facts.outside, *facts.drifting), key=lambda each: -_gravity(_flag(each))):
            if _flag(row).appliance_id not in framed:
                gravest.setdefault(_flag(row).appliance_id, row)
        chosen = {_flag(each).id for each in gravest.values()}
        found = [_flag(each) for each in (*facts.outside, *facts.drifting)]
        return cls(
            outside=[each for each in facts.outside if _flag(each).id in chosen],
            drifting=[each for each in facts.drifting if _flag(each).id in chosen],
            besides=Counter(each.appliance_id for each in found if each.id not in chosen),
        )

    def row(self, made: Callable[..., "AttentionRow"], row: Row, contractor: Contractor, today: date) -> "AttentionRow":
        return replace(made(row, contractor, today), besides=self.besides.get(_flag(row).appliance_id, 0))


def _gravity(flag: Flag) -> float:
    """What is outside before what may be; of each the gravest."""
    if flag.kind == Flag.Kind.DRIFT:
        return float(flag.figures.get("chance", 0)) - 1
    return float(flag.figures["verdict"]["rank"]) if "verdict" in flag.figures else 0.0


def opening(facts: Attention) -> str:
    """The page's first sentence: the day, and what there is of each kind."""
    listed_once = Listed.of(facts)
    counts = [
        (len({each.appliance_id for each in facts.unsafe}), _("unsafe or at stop level")),
        (len(listed_once.outside), _("outside a limit")),
        (len(listed_once.drifting), _("that may be outside before the next visit")),
        (len(facts.due), _("with a date")),
    ]
    said = [f"{count_words(count)} {what}" for count, what in counts if count]
    shown = {"day": weekday_without_year(facts.today), "what": listed(said) or _("nothing waits")}
    return _("%(day)s: %(what)s") % shown


# ---- stop level ----


@dataclass(frozen=True)
class StopCase:
    """One flag that stands framed: what it says, what was done on the spot, and the reading behind it.

    goes_with : since when it is listed, and who answers for it, is said by the flag that it stands beside.
    besides : how many findings its appliance has that aren't framed.
    """

    flag: Flag
    finding: FindingRow | None
    rule: ReadingRule | None
    done: str
    told: AlertedAbout | None = None
    beside: Sequence["StopCase"] = ()
    goes_with: bool = False
    besides: int = 0


def stop_cases(
    flags: Iterable[Flag],
    told: Mapping[uuid.UUID, AlertedAbout | None] | None = None,
    besides: Mapping[uuid.UUID, int] | None = None,
) -> list[StopCase]:
    """One frame an appliance: the gravest flag, the others `beside` it, without what the first says already.

    besides : how many findings it has that aren't framed.
    """
    gathered: dict[uuid.UUID, list[StopCase]] = {}
    for each in flags:
        gathered.setdefault(each.appliance_id, []).append(stop_case(each, (told or {}).get(each.id)))
    return [
        replace(first, beside=[_beside(each, first) for each in others], besides=(besides or {}).get(id, 0))
        for id, (first, *others) in gathered.items()
    ]


def _beside(case: StopCase, first: StopCase) -> StopCase:
    same = case.finding is not None and case.finding == first.finding
    return replace(
        case,
        rule=None if same else case.rule,
        done="" if case.done == first.done else case.done,
        told=None if _who_was(case.told) == _who_was(first.told) else case.told,
        goes_with=_heard(case.flag) == _heard(first.flag),
    )


def _who_was(told: AlertedAbout | None) -> Any:
    return told and [
        told.nobody,
        *([(each.user_id, each.way) for each in some] for some in (told.told, told.failing, told.following)),
    ]


def _heard(flag: Flag) -> Any:
    return flag.visit_id, flag.opened_at, flag.acknowledged_by_id, flag.acknowledged_note


def stop_case(flag: Flag, told: AlertedAbout | None = None) -> StopCase:
    verdict = verdict_of(flag)
    finding = finding_row(verdict) if verdict else None
    return StopCase(flag, finding, verdict_rule(verdict) if verdict else None, " ".join(_on_the_spot(flag)), told)


def _on_the_spot(flag: Flag) -> Iterator[str]:
    """What the visit recorded about it; what it doesn't record is said."""
    if flag.visit is None or flag.figures.get("put_right"):
        return
    details = flag.visit.unsafe_details
    yield _("It was %s.") % flag.visit.get_disposition_display()
    if flag.visit.unsafe:
        told = details.get("told")
        yield _("Told on the spot: %s.") % told if told else _("Who was told on the spot is not recorded.")
        if not details.get("labelled"):
            yield _("A label is not recorded.")


# ---- rows ----


@dataclass(frozen=True)
class AttentionRow:
    """One row: the appliance, by when, and what the template says about it."""

    appliance: Appliance
    when: date | None
    away: str
    is_late: bool
    flag: Flag | None = None
    sentence: str = ""
    finding: FindingRow | None = None
    rule: ReadingRule | DueRule | None = None
    caption: str = ""
    chance: str = ""
    by: str = ""
    band: str = ""
    extra: str = ""
    besides: int = 0


def _outside(row: Row, contractor: Contractor, today: date) -> AttentionRow:
    flag = _flag(row)
    when = flag.appliance.building.today(flag.opened_at) + timedelta(days=contractor.outside_within_days)
    verdict = verdict_of(flag)
    finding = finding_row(verdict) if verdict else None
    return AttentionRow(
        appliance=flag.appliance,
        when=when,
        away=away_words(when, today),
        is_late=when < today,
        flag=flag,
        sentence=flag_words(flag),
        finding=finding,
        rule=verdict_rule(verdict) if verdict else None,
        caption=f"{finding.what}: {finding.value}" if finding else "",
    )


def _drifting(row: Row, contractor: Contractor, today: date) -> AttentionRow:
    flag, forecast = _flag(row), row.forecast
    when = row.revisit.latest if row.revisit else None
    return AttentionRow(
        appliance=flag.appliance,
        when=when,
        away=last_day_words(row.revisit, today) if row.revisit else "",
        is_late=row.revisit is not None and row.revisit.is_late(today),
        flag=flag,
        chance=chance_words(float(flag.figures.get("chance", 0))),
        extra=extra_words(row.revisit, contractor) if row.revisit else "",
        **(_expected(row, forecast, today) if forecast else {"sentence": flag_words(flag)}),
    )


def extra_words(revisit: Revisit, contractor: Contractor) -> str:
    """Whether an extra visit is made for it, and when; else which risk is accepted."""
    if beyond := beyond_words(revisit, contractor.extra_visits_a_week):
        return beyond
    if revisit.extra_week:
        return _("An extra visit in the week of %s is for it.") % long_day(revisit.extra_week)
    return _("Somebody comes to the building by then anyway.") if revisit.extra else ""


def _expected(row: Row, forecast: Forecast, today: date) -> dict[str, Any]:
    """What is expected by the visit that the required checks ask for next."""
    due = next_asked_for(row.revisit.reasons if row.revisit else [])
    outcome = outcome_on(forecast, asked_day(due, today))
    rule = expected_rule(forecast, outcome) if outcome else None
    band = band_words(forecast)
    caption = ""
    if outcome and rule:
        shown = {"value": figure(outcome.median, rule.decimals), "series": series_words(forecast), "band": band}
        caption = _("%(value)s %% expected, %(series)s; band %(band)s") % shown
    return {
        "rule": rule,
        "caption": caption,
        "by": by_words(due, today),
        "band": band,
        "sentence": pace_words(forecast),
    }


def next_asked_for(reasons: list[dict[str, Any]]) -> date | None:
    """The last day of the earliest required check, which may be over; None where there is none."""
    return min(
        (date.fromisoformat(each["latest"]) for each in reasons if each["kind"] == "required_check"), default=None
    )


def asked_day(due: date | None, today: date) -> date:
    """The day to tell a chance for: when the check is due, today where that is over, else a year from now."""
    return max(due, today) if due else today + timedelta(days=365)


def by_words(due: date | None, today: date) -> str:
    """The same as a sentence begins."""
    if due is None:
        return _("Within a year")
    words = _("By the visit due on %s") if due >= today else _("Today, the visit due on %s being still to come,")
    return words % weekday(due)


def pace_words(forecast: Forecast) -> str:
    """How fast it drifts, as a sentence."""
    shown = {"series": series_words(forecast), "pace": figure(abs(forecast.pace_per_year), 2)}
    if abs(forecast.pace_per_year) < 0.01:
        return _("%(series)s keeps its level.") % shown
    if forecast.pace_per_year < 0:
        return _("%(series)s falls about %(pace)s points a year.") % shown
    return _("%(series)s rises about %(pace)s points a year.") % shown


def _due(row: Row, today: date, within: int) -> AttentionRow:
    revisit = row.revisit
    assert revisit is not None  # rows without a flag are made of revisits
    return AttentionRow(
        appliance=revisit.appliance,
        when=revisit.latest,
        away=last_day_words(revisit, today),
        is_late=revisit.is_late(today),
        sentence=reason_words(revisit.why),
        rule=row_due_rule(revisit.earliest, revisit.latest, today, timedelta(days=within)),
        caption=window_words(revisit, today),
    )


def _odd(facts: Attention) -> Iterator[tuple[Revisit, str]]:
    """Revisits that need a word from the office: a day that is too late or over, and doors that stay shut."""
    told = {each.id: each for each in (*facts.needed_earlier, *facts.passed)}
    for each in told.values():
        yield each, set_words(each, facts.today)
    for each in facts.no_access:
        words = ngettext("%d attempt without access", "%d attempts without access", each.no_access)
        yield each, _("%s since the last visit.") % (words % each.no_access)


def _flag(row: Row) -> Flag:
    assert row.flag is not None  # these lists are made of flags
    return row.flag


def away_words(when: date, today: date) -> str:
    """How far a last day is away, or how long ago it passed."""
    days = (when - today).days
    if days < 0:
        return ngettext("%d day late", "%d days late", -days) % -days
    if days == 0:
        return _("today")
    return ngettext("in %d day", "in %d days", days) % days


def last_day_words(revisit: Revisit, today: date) -> str:
    """The same of a planned visit's last day; by a forecast nobody is late."""
    is_over = revisit.latest < today and not revisit.is_late(today)
    return _("accepted risk used up") if is_over else away_words(revisit.latest, today)


# ---- answering for a flag, and closing one ----


def _refused(field: str, request: HttpRequest, refused: FleetError, flag_id: uuid.UUID) -> HttpResponse:
    """Nothing was changed; the flag as it stands now, with what was typed back in its own field."""
    flag = _visible_flag(request, flag_id)
    shown = {"flag": flag, "case": stop_case(flag), "refused": refused, field: request.POST.get("words", "")}
    shown |= {"back": request.POST.get("back", ""), "place": "attention"}
    shown |= {"can_close": may_close(viewer_of(request), flag)}
    return render(request, "flag_refused.html", shown, status=refused.status)


@act("flags", place="attention", refused=partial(_refused, "note"))
def acknowledge(request: HttpRequest, flag_id: uuid.UUID) -> HttpResponse:
    """A named person answers for it; it stays open."""
    flag = _visible_flag(request, flag_id)
    said, actor = taken(ActForm(request.POST)), viewer_of(request)
    acknowledge_flag(flag=flag, version=said["version"], note=said["words"], actor=actor, now=clock.now())
    messages.success(request, _("You answer for it: %s.") % _named(flag))
    return _back(request, flag)


@act("flags", place="attention", refused=partial(_refused, "why"))
def close(request: HttpRequest, flag_id: uuid.UUID) -> HttpResponse:
    """Closed by hand, with its reason; unsafe and stop level only by somebody qualified."""
    flag = _visible_flag(request, flag_id)
    if not may_close(viewer_of(request), flag):
        raise Forbidden("not_allowed", _("The office closes flags that aren't unsafe or at stop level."))
    said = taken(WordedActForm(request.POST))
    close_flag(flag=flag, version=said["version"], why=said["words"], actor=viewer_of(request), now=clock.now())
    messages.success(request, _("Closed: %s.") % _named(flag))
    return _back(request, flag)


def may_close(viewer: User, flag: Flag) -> bool:
    """Unsafe and stop level wait for somebody qualified; everything else is the office's."""
    is_stop = flag.kind in (Flag.Kind.UNSAFE, Flag.Kind.STOP)
    return may_change(viewer, "stop_flags_closed" if is_stop else "other_flags_closed")


def _visible_flag(request: HttpRequest, flag_id: uuid.UUID) -> Flag:
    return found(visible_flags(viewer_of(request)).select_related("visit__judgement"), flag_id)


def _named(flag: Flag) -> str:
    return f"{flag.appliance.name}, {flag.appliance.building.name}"


def _back(request: HttpRequest, flag: Flag) -> HttpResponse:
    if request.POST.get("back") == "appliance":
        return redirect("appliance", appliance_id=flag.appliance_id)
    return redirect("attention")
