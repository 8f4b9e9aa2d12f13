"""One appliance: by when to see it and why, how it stands, how it drifts, its visits, and the facts beside them."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet import clock
from fleet.assess.foresight.forecasts import chance_on
from fleet.assess.judging.cards import target_of
from fleet.drift import MIN_SERIES_FOR_FIT
from fleet.intake.register import PlateIn
from fleet.models import Flag, Forecast, OutOfUse, Record, RequiredCheck, Revisit, User, Visit
from fleet.models.access import may_change
from fleet.presentation.codes import code_words
from fleet.presentation.contents import adjuster_said, input_words, rows_said
from fleet.presentation.corrections import why_corrected
from fleet.presentation.days import day, long_day, weekday
from fleet.presentation.drift_chart import DriftChart, band_words, drift_chart, series_words
from fleet.presentation.due_dates import undecided_words
from fleet.presentation.due_rule import DueRule, revisit_rule
from fleet.presentation.figures import chance_words
from fleet.presentation.reading_rule import Wall
from fleet.presentation.readings import VisitCell, reading_tables, visit_cells, walls_of
from fleet.presentation.revisits import lead_reason, set_words, who_words
from fleet.presentation.verdicts import source_rows
from fleet.presentation.visits import opening
from fleet.presentation.words import MOST_WORDS, count_words, listed, rate_words, turned_out
from fleet.queries.histories import History, history_for
from fleet.queries.records import entry_changes
from fleet.web.attention import (
    asked_day,
    away_words,
    by_words,
    last_day_words,
    may_close,
    next_asked_for,
    stop_case,
    stop_cases,
)
from fleet.web.guards import page, viewer_of
from fleet.web.out_of_use import standstills

VISITS_SHOWN = 12
RECORDS_SHOWN = 6
# "It should have been seen by Wednesday 9 November 2026: 21 days late."
WORDS_OF_THE_DATE = 14
STOP_KINDS = (Flag.Kind.UNSAFE, Flag.Kind.STOP)


@page("appliances")
def appliance(request: HttpRequest, appliance_id: uuid.UUID) -> HttpResponse:
    viewer = viewer_of(request)
    history = history_for(viewer, appliance_id)
    today = clock.today(history.appliance.building.time_zone)
    rates, kind = shown_rates(history), history.appliance.kind
    return render(
        request,
        "appliance.html",
        {
            "place": "buildings",
            "history": history,
            "appliance": history.appliance,
            "building": history.appliance.building,
            "sheet": (sheet := history.sheet.content if history.sheet else {}),
            "plate": rows_said(PlateIn, {"kind": code_words(kind), "serial": history.appliance.serial}),
            "input": input_words(sheet) if sheet else "",
            "adjusters": [adjuster_said(each) for each in sheet.get("adjusters", ())],
            "burns": history.appliance.burns_on(today).fuel.label,
            "today": today,
            "answer": answer_of(history, today),
            "stops": stop_cases(each for each in history.flags if each.kind in STOP_KINDS),
            "may_close_stops": may_change(viewer, "stop_flags_closed"),
            "others": [_with_closing(viewer, each) for each in history.flags if each.kind not in STOP_KINDS],
            "verdict": opening(history.last) if history.last else "",
            "tables": reading_tables(history.last) if history.last else [],
            "sources": source_rows(history.last) if history.last else [],
            "charts": (charts := charts_of(history, today)),
            "drawn": any(not each.is_empty for each in charts),
            "expected": any(each.course for each in charts),
            "reasons": reasons_shown(history.revisit.reasons) if history.revisit else [],
            "rates": [rate_words(each) for each in rates],
            "visits": visit_rows(history.visits[:VISITS_SHOWN], rates, shown_quantity(history)),
            "revisit_rule": _revisit_rule(history, today),
            "away": last_day_words(history.revisit, today) if history.revisit else "",
            "day_set": set_words(history.revisit, today) if history.revisit else "",
            "who": who_words(history.revisit) if history.revisit else "",
            "may_set_day": may_change(viewer, "revisits"),
            "plate_seen": next((each for each in history.visits if each.data_plate.get("confirmed")), None),
            **standstills(viewer, history.appliance),
            "required_checks": [(each, _when_due(each, today)) for each in history.required_checks],
            "changes": entry_changes(viewer, history.appliance)[:RECORDS_SHOWN],
            "proof": [proof_link(each) for each in history.records[:RECORDS_SHOWN]],
        },
    )


def _when_due(required_check: RequiredCheck, today: date) -> str:
    """Its date and how far that is; where a fact is missing only that it can't be sooner, which is never late."""
    if required_check.due is None:
        return ""
    shown = {"day": day(required_check.due), "away": away_words(required_check.due, today)}
    return _("as early as %(day)s.") % shown if required_check.cannot_tell else _("%(day)s, %(away)s.") % shown


def _with_closing(viewer: User, flag: Flag) -> dict[str, Any]:
    return {"case": stop_case(flag), "can_close": may_close(viewer, flag)}


# ---- the answer ----


@dataclass(frozen=True)
class Answer:
    """The page's opening: what stands against it, by when to see it, the reason for it, and the chance by then."""

    standing: str
    by: date | None
    is_late: bool
    away: str
    reason: str
    basis: str
    series: str = ""
    band: str = ""
    chance: str = ""
    accepted: str = ""
    undecided: str = ""
    date_set_by: str = ""
    chance_by: str = ""
    reason_below: bool = False


def answer_of(history: History, today: date) -> Answer:
    revisit, standing = history.revisit, _standing(history, today)
    # Beside what is unsafe or out of service a chance of drifting would read as comfort.
    chance = _chance(history, today) if history.gases and not standing else {}
    reason = lead_reason(revisit.why) if revisit and not standing else ""
    is_forecast = revisit is not None and revisit.why[0] == "forecast"
    return Answer(
        standing=standing,
        by=revisit.latest if revisit and not standing else None,
        is_late=revisit is not None and revisit.is_late(today),
        away=last_day_words(revisit, today) if revisit else "",
        reason=reason,
        reason_below=len(f"{standing} {reason}".split()) > MOST_WORDS - WORDS_OF_THE_DATE,
        basis=basis_words(history.gases) if chance else "",
        undecided=_undecided(history),
        # Where the reason is that forecast, it has said so.
        date_set_by="" if standing or is_forecast else date_setter_words(history, today),
        **chance,
    )


def _standing(history: History, today: date) -> str:
    if not history.appliance.in_service_on(today):
        return _("It is out of service, so nothing asks for a visit.")
    stops = {each.kind: each for each in history.flags if each.stops}
    if stop := stops.get(Flag.Kind.UNSAFE) or stops.get(Flag.Kind.STOP):
        since = {"day": weekday(history.appliance.building.today(stop.opened_at))}
        if stop.kind == Flag.Kind.UNSAFE:
            said = _("It was declared unsafe on %(day)s, and nobody has closed that yet.") % since
        else:
            said = _("It was left at a stop level on %(day)s, and nobody has closed that yet.") % since
        return f"{said} {_next_words(history.revisit, today)}"
    if idle := _out_of_use(history, today):
        return _("It is out of use since %s; its required checks are suspended.") % long_day(idle.begins)
    if history.revisit:
        return ""
    if any(each.cannot_tell for each in history.required_checks):
        return _("Nothing asks for a visit by a date that is certain.")
    return _("Nothing asks for a visit by a date: no required check, no forecast and no flag does.")


def _next_words(revisit: Revisit | None, today: date) -> str:
    """The day that is booked, and who goes."""
    if revisit is None or revisit.day is None:
        return _("No day is booked for it.")
    return f"{set_words(revisit, today)} {who_words(revisit)}"


def _undecided(history: History) -> str:
    """How many required checks can't be told, and why each of them."""
    said = [
        undecided_words(each.name, each.due, each.cannot_tell) for each in history.required_checks if each.cannot_tell
    ]
    if not said:
        return ""
    words = ngettext("%s required check can't be told:", "%s required checks can't be told:", len(said))
    return f"{words % count_words(len(said)).capitalize()} {'; '.join(said)}"


def _chance(history: History, today: date) -> dict[str, Any]:
    """The series likeliest to be outside its band by the visit that the required checks ask for next."""
    due = next_asked_for(history.revisit.reasons if history.revisit else [])
    on = asked_day(due, today)
    worst = max(history.gases, key=lambda each: chance_on(each, on))
    return {
        "series": series_words(worst),
        "band": band_words(worst),
        "chance": chance_words(chance_on(worst, on)),
        "accepted": chance_words(worst.accepted_risk),
        "chance_by": by_words(due, today),
    }


def basis_words(forecasts: Sequence[Forecast]) -> str:
    """What the forecasts rest on, said plainly; empty where there are none."""
    if not forecasts:
        return ""
    if any(each.basis == "assumptions" for each in forecasts):
        count = max(each.snapshot.series_count for each in forecasts)
        return _(
            "The forecast is from assumptions: the records hold %(count)d series of this quantity, and a fit needs "
            "%(least)d. It opens no flag and moves no date."
        ) % {"count": count, "least": MIN_SERIES_FOR_FIT}
    used = min(each.visits_used for each in forecasts)
    if any(each.basis == "the fleet" for each in forecasts):
        words = ngettext(
            "With %d visit of its own, the forecast rests on the fleet.",
            "With %d visits of its own, the forecast rests on the fleet.",
            used,
        )
        return words % used
    return _("The forecast rests on %d visits of its own.") % used


def reasons_shown(reasons: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Of what is outside in one quantity the gravest alone; what is cut stands among the visit's findings."""
    shown: dict[Any, dict[str, Any]] = {}
    for number, each in enumerate(reasons):
        verdict = each["why"][1].get("figures", {}).get("verdict")
        of = str(verdict["label"]) if verdict else number
        before = shown.setdefault(of, each)
        if verdict and verdict["rank"] > before["why"][1]["figures"]["verdict"]["rank"]:
            shown[of] = each
    return list(shown.values())


# ---- drift and visits ----


def charts_of(history: History, today: date) -> list[DriftChart]:
    """The gases by which it is set, then what nears a ceiling."""
    ordered = sorted(history.forecasts, key=lambda each: each.has_only_a_ceiling)
    charts = [drift_chart(each, history.revisit, today, _walls(history, each)) for each in ordered]
    # Of what is off nothing is expected.
    return [replace(each, course=(), due=None) for each in charts] if _is_off(history, today) else charts


def _walls(history: History, forecast: Forecast) -> Sequence[Wall]:
    """Limits beside a target's band; a ceiling is the forecast's own."""
    if forecast.has_only_a_ceiling or not history.last:
        return ()
    return walls_of(history.last, forecast.quantity, forecast.rate)


def shown_rates(history: History) -> list[str]:
    """The sheet's rates; without a sheet those that were read last."""
    if history.sheet:
        return list(history.sheet.content["rates"])
    return history.last.rates if history.last else []


def shown_quantity(history: History) -> str:
    """The gas by which the sheet gives its targets; CO2 where it gives none."""
    content = history.sheet.content if history.sheet else {}
    targets = [target_of(content, rate) for rate in content.get("rates", [])]
    return next((each.quantity for each in targets if each), "co2")


@dataclass(frozen=True)
class VisitRow:
    visit: Visit
    cells: Sequence[VisitCell]
    words: str


def visit_rows(visits: Sequence[Visit], rates: Sequence[str], quantity: str) -> list[VisitRow]:
    cells = visit_cells(visits, rates, quantity)
    return [VisitRow(visit, row, _visit_words(visit)) for visit, row in zip(visits, cells, strict=True)]


def _visit_words(visit: Visit) -> str:
    if visit.outcome == Visit.Outcome.NOT_TESTED:
        return f"{visit.get_outcome_display()}: {visit.outcome_reason}"
    words = turned_out(visit)
    return f"{words}; {visit.get_outcome_display()}" if visit.outcome == Visit.Outcome.PARTLY else words


def _revisit_rule(history: History, today: date) -> DueRule | None:
    if history.revisit is None:
        return None
    last = history.visits[0].local_date if history.visits else None
    return revisit_rule(history.revisit, today, horizon=_horizon(history, today), last_visit=last)


def _horizon(history: History, today: date) -> date | None:
    """The first day on which an accepted risk is used up; none from assumptions, which move no date."""
    return next((each.horizon_on for each in _setters(history, today)), None)


def _out_of_use(history: History, today: date) -> OutOfUse | None:
    return next((each for each in history.appliance.out_of_use.all() if not each.ends and each.begins <= today), None)


def _is_off(history: History, today: date) -> bool:
    return any(each.stops for each in history.flags) or _out_of_use(history, today) is not None


def _setters(history: History, today: date) -> list[Forecast]:
    if _is_off(history, today):
        return []
    return [each for each in sorted(history.forecasts, key=lambda each: each.has_only_a_ceiling) if each.sets_date]


def date_setter_words(history: History, today: date) -> str:
    """Which quantity's accepted risk is used up first, and when; empty where none is within what can be said."""
    setters = _setters(history, today)
    if not setters:
        return ""
    first = setters[0]
    words = {
        "series": listed([series_words(each) for each in setters]),
        "accepted": chance_words(first.accepted_risk),
        "day": long_day(first.horizon_on),
    }
    return _("Of what drifts %(series)s sets the date: its accepted risk, %(accepted)s, is used up on %(day)s.") % words


# ---- proof ----


@dataclass(frozen=True)
class ProofLink:
    """One link of the chain: a visit's first record, or a correction with its reason."""

    record: Record
    is_correction: bool
    why: str


def proof_link(record: Record) -> ProofLink:
    return ProofLink(record, record.amends_id is not None, why_corrected(record))
