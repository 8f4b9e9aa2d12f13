"""Series out of records: what each appliance's visits read of one quantity at one rate, on the scale it drifts on.

CO2 and O2, of which the sheet's target says the one, stand as they are, corrected to 20 °C intake air; the other of
the two is worked out or checks it and is no series of its own. CO stands as log1p of ppm air-free, the flue's
temperature as its rise above the intake air; each only where a limit applies.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

from django.db.models import Prefetch

from fleet.assess.foresight.ceilings import CO, TEMP_RISE, ceiling_of
from fleet.assess.foresight.entries import GASES, Asked, Entry, converted, entry_of, rise_k
from fleet.assess.judging.cards import Target, target_of
from fleet.limits import Band
from fleet.models import Appliance, Forecast, Judgement, Reading, SheetVersion, Visit, WorkItem

CEILED = (CO, TEMP_RISE)


class Corridor(NamedTuple):
    """Where a series should stay, on the scale it drifts on: both ends, and what an adjustment aims at.

    lower : None for what has a ceiling alone.    limit : which the ceiling is, as `ceilings.Ceiling` has it.
    """

    lower: float | None
    upper: float
    target: float
    limit: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class Series:
    """All visits of one appliance at one rate since its fuel or target last changed."""

    appliance: Appliance
    version: SheetVersion
    rate: str
    quantity: str
    entries: tuple[Entry, ...]
    corridor: Corridor

    @property
    def informative(self) -> bool:
        """At least two visits with a reading: says something about drift."""
        return sum(not math.isnan(each.found) for each in self.entries) >= 2

    @property
    def group(self) -> str:
        """Whose law holds for it: that of its model."""
        return str(self.appliance.sheet_id)


def series_kinds(appliances: Iterable[Appliance]) -> set[tuple[str, str]]:
    """Quantity and rate of every series that these appliances' sheets have a target for, or that nears a ceiling."""
    sheets = [each.sheet.current.content for each in appliances if each.sheet and each.sheet.current]
    targets = [target for sheet in sheets for rate in sheet["rates"] if (target := target_of(sheet, rate))]
    ceiled = Forecast.objects.filter(quantity__in=CEILED).order_by().values_list("quantity", "rate").distinct()
    return {(each.quantity, each.rate) for each in targets} | set(ceiled)


def series_of(
    appliances: Iterable[Appliance], day: date = date.max, *, only: tuple[str, str] | None = None
) -> dict[tuple[str, str], list[Series]]:
    """Every series of these appliances, by quantity and rate; those of one quantity and rate where `only` says so.

    day: whose gas counts, each appliance's newest without one; what was read with another says nothing about it.
    """
    chosen = {each.id: each for each in appliances if each.sheet and each.sheet.current}
    visits = _visits_of(chosen)
    table: dict[tuple[str, str], list[Series]] = {}
    for key, appliance in chosen.items():
        for rate in _current(appliance).content["rates"]:
            for quantity in (_gas_of(appliance, rate), *CEILED):
                if quantity is None or only not in (None, (quantity, rate)):
                    continue
                if series := _series(appliance, quantity, rate, visits[key], day):
                    table.setdefault((quantity, rate), []).append(series)
    return table


# Long columns that no series reads; of each appliance the newest visit's card is read apart.
_NOT_READ = (
    *("card_seen", "restore_steps", "not_done", "data_plate"),
    *("judgement__card", "judgement__verdicts", "record__content"),
)


def _visits_of(chosen: Mapping[Any, Appliance]) -> dict[Any, list[Visit]]:
    """Each appliance's tested visits in the order of time."""
    visits: dict[Any, list[Visit]] = {each: [] for each in chosen}
    stored = Visit.objects.filter(appliance__in=chosen, outcome__in=("tested", "partly_tested"))
    numbered = (Prefetch("readings", Reading.objects.order_by("number")),
                Prefetch("work", WorkItem.objects.order_by("number")))  # fmt: skip
    related = stored.prefetch_related(*numbered, "readings__analyser")
    judged = related.select_related("judgement__sheet_version", "attendance", "record").defer(*_NOT_READ)
    for visit in sorted(judged, key=lambda each: (each.local_date, each.last_moment, each.id)):
        visits[visit.appliance_id].append(visit)
    newest = {made[-1].judgement.pk: made[-1].judgement for made in visits.values() if made}
    for key, card in Judgement.objects.filter(pk__in=newest).values_list("pk", "card"):
        newest[key].card = card
    return visits


def _current(appliance: Appliance) -> SheetVersion:
    version = appliance.sheet.current if appliance.sheet else None
    assert version is not None
    return version


def _gas_of(appliance: Appliance, rate: str) -> str | None:
    target = target_of(_current(appliance).content, rate)
    return target.quantity if target else None


def _series(appliance: Appliance, quantity: str, rate: str, visits: list[Visit], day: date) -> Series | None:
    version = _current(appliance)
    target = target_of(version.content, rate)
    entries: list[Entry] = []
    burns = appliance.burns_on(day).fuel
    asked = Asked(quantity, rate, target.casing if target else "any", version.content["control"], appliance)
    for visit in visits:
        same = quantity in CEILED or (target is not None and _same_target(visit, rate, target))
        if visit.burnt != burns or not same:
            entries = []  # Another fuel or target: what came before says nothing about now.
            continue
        if converted(visit):
            entries = []
        if entry := entry_of(visit, asked):
            entries.append(entry)
    if not entries:
        return None
    corridor = _corridor(target.band) if quantity in GASES and target else _below_ceiling(entries, visits, asked)
    return Series(appliance, version, rate, quantity, tuple(entries), corridor) if corridor else None


def _same_target(visit: Visit, rate: str, target: Target) -> bool:
    judged_by = visit.judgement.sheet_version if hasattr(visit, "judgement") else None
    then = target_of(judged_by.content, rate) if judged_by else None
    if then is None or then.quantity != target.quantity:
        return False
    return _corridor(then.band).target == _corridor(target.band).target


def _corridor(band: Band) -> Corridor:
    """The target's band; one without a figure to aim at is aimed at in its middle."""
    assert band.lower is not None and band.upper is not None  # a sheet's target is stored with both ends
    middle = (band.lower + band.upper) / 2
    return Corridor(band.lower, band.upper, middle if band.target is None else band.target)


def _below_ceiling(entries: Sequence[Entry], visits: Sequence[Visit], asked: Asked) -> Corridor | None:
    """The strictest limit by the card of the newest visit with such a reading; None where none applies.

    Work on the burner aims at no CO of its own: the series' first value stands for it.
    """
    visit = next(each for each in reversed(visits) if str(each.id) == entries[-1].visit_id)
    reading = asked.usable(visit)[-1]
    read = visit.judgement.figures[reading.number]
    ceiling = ceiling_of(visit.judgement.table, asked.rate, asked.quantity, read, rise_k(reading))
    if ceiling is None or ceiling.upper <= 0:
        return None
    first = next(value for each in entries for value in (each.found, each.left) if not math.isnan(value))
    upper = math.log1p(ceiling.upper) if asked.quantity == CO else ceiling.upper
    return Corridor(None, upper, first, ceiling.limit)
