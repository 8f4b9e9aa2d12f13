"""Forecast accuracy: is the chance that they gave the share that came true."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.assess.foresight.forecast_accuracy import AnalyserOff, Compared
from fleet.drift import Reliability, Surprises
from fleet.presentation.days import day
from fleet.presentation.figures import figure
from fleet.presentation.words import listed, rate_words
from fleet.quantities import GASES
from fleet.queries.forecasts import ForecastAccuracy, QuantityAccuracy, forecast_accuracy_for
from fleet.web.guards import page, viewer_of

NAMES = GASES | {"co": "CO", "temp_rise": _("The flue's rise above the intake air")}


@page("forecast_accuracy")
def forecast_accuracy(request: HttpRequest) -> HttpResponse:
    found = forecast_accuracy_for(viewer_of(request))
    shown = {
        "place": "statements",
        "opening": opening(found),
        "parts": [_part(each) for each in found.quantities],
        "analysers": [analyser_words(each) for each in found.analysers],
        "from_assumptions": found.from_assumptions,
    }
    return render(request, "forecast_accuracy.html", shown)


def opening(found: ForecastAccuracy) -> str:
    """Whether any quantity's forecasts have lost touch with what was found; and on what that rests."""
    if not found.quantities:
        return _("No forecast has been held against a reading yet.")
    lost = [NAMES[each.quantity] for each in found.quantities if is_lost(each)]
    if lost:
        return _("The forecasts of %s have not come about as often as they said.") % listed(lost)
    if any(each.ahead for each in found.quantities):
        return _("The forecasts have come about as often as they said.")
    return _("The forecasts fit the records that they were learnt from; none has been held against a later one yet.")


def is_lost(quantity: QuantityAccuracy) -> bool:
    return any(each.calibration.lost for each in (quantity.ahead, quantity.learnt) if each)


def analyser_words(off: AnalyserOff) -> str:
    """An analyser to be checked, by name, with how much it is off; nothing about its appliances."""
    words = {
        "name": off.name,
        "quantity": NAMES[off.quantity],
        "rate": rate_words(off.rate),
        "off": _off_figure(off),
        "side": _("high") if off.off > 0 else _("low"),
        "count": off.readings,
        "since": day(off.since),
    }
    told = ngettext(
        "%(name)s reads %(quantity)s %(off)s %(side)s at %(rate)s, over %(count)d reading since %(since)s.",
        "%(name)s reads %(quantity)s %(off)s %(side)s at %(rate)s, over %(count)d readings since %(since)s.",
        off.readings,
    )
    return told % words


def _off_figure(off: AnalyserOff) -> str:
    if off.quantity == "co":
        return f"{figure(abs(100 * math.expm1(off.off)), 0)} %"
    if off.quantity == "temp_rise":
        return f"{figure(abs(off.off), 1)} K"
    return _("%s points") % figure(abs(off.off), 2)


# ---- one quantity ----


@dataclass(frozen=True)
class BinRow:
    """Readings whose chance was forecast within a range: how many, the mean chance, the share found, its interval."""

    chances: str
    count: int
    forecast: str
    outside: int
    share: str
    interval: str
    is_off: bool


@dataclass(frozen=True)
class SurpriseRow:
    name: str
    count: int
    mean: str
    spread: str
    is_off: bool


@dataclass(frozen=True)
class Table:
    title: str
    said: str
    alarm: str
    bins: Sequence[BinRow]
    surprises: Sequence[SurpriseRow]


@dataclass(frozen=True)
class Part:
    name: str
    tables: Sequence[Table]


def _part(quantity: QuantityAccuracy) -> Part:
    basis = [
        (_("Forecast before the visit, by figures learnt before it"), quantity.ahead),
        (_("Learnt from the same readings"), quantity.learnt),
    ]
    accepted = quantity.accepted_risk
    return Part(NAMES[quantity.quantity], [_table(title, held, accepted) for title, held in basis if held])


def _table(title: str, held: Compared, accepted: float | None) -> Table:
    told = held.calibration
    rows = [_surprise_row(_("All readings"), told.surprises)]
    rows += [_surprise_row(str(name or _("no analyser named")), each) for name, each in told.by_label.items()]
    return Table(title, _said(held, accepted), alarm_words(held), _bins(told.reliability), rows)


def _said(held: Compared, accepted: float | None) -> str:
    words = {
        "outside": held.outside,
        "readings": held.readings,
        "found": _pct(held.found_share),
        "forecast": _pct(held.forecast_share),
        "accepted": _pct(accepted or 0.0),
    }
    said = _("%(outside)d of %(readings)d readings were found outside: %(found)s, forecast %(forecast)s.") % words
    return said if accepted is None else f"{said} {_('Accepted by the planned visit: %(accepted)s.') % words}"


def alarm_words(held: Compared) -> str:
    """What is lost, in words; empty where nothing is."""
    told, lost = held.calibration, []
    if told.reliability.off.any():
        lost.append(_("chances that are not the shares found"))
    if told.surprises.mean_off:
        side = _("above") if told.z_mean > 0 else _("below")
        lost.append(_("readings that lie %s what was expected") % side)
    if told.surprises.spread_off:
        side = _("further from") if told.z_sd > 1 else _("closer to")
        lost.append(_("readings that lie %s what was expected than they should") % side)
    return _("The forecasts are off: %s.") % listed(lost) if lost else ""


def _bins(table: Reliability) -> list[BinRow]:
    return [
        BinRow(
            f"{_pct(table.edges[n])} {_('to')} {_pct(table.edges[n + 1])}",
            int(table.count[n]),
            _pct(table.forecast[n]),
            int(table.outside[n]),
            _pct(table.share[n]),
            f"{_pct(table.share_low[n])} {_('to')} {_pct(table.share_high[n])}",
            bool(table.off[n]),
        )
        for n in range(len(table.count))
        if table.count[n]
    ]


def _surprise_row(name: str, told: Surprises) -> SurpriseRow:
    known = told.n > 1
    return SurpriseRow(
        name,
        told.n,
        figure(told.mean, 2) if known else "",
        figure(told.sd, 2) if known else "",
        known and (told.mean_off or told.spread_off),
    )


def _pct(share: float) -> str:
    return f"{figure(100 * share, 0 if share >= 0.1 or share == 0 else 1)} %"
