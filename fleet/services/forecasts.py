"""Snapshots put in force, and everybody's forecasts, checks and early warnings kept by them."""

import json
from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.db.models import Q

from fleet.assess.foresight.checks import Warned
from fleet.assess.foresight.forecasts import Made, forecasts_of
from fleet.assess.foresight.learning import Learnt, assumed, standing_snapshot
from fleet.assess.foresight.series import series_of
from fleet.failpoints import failpoint
from fleet.models import Appliance, Contractor, Forecast, ForecastCheck, Question, Snapshot, Visit


def snapshot_in_force(*, quantity: str, rate: str, now: datetime) -> Snapshot:
    """The standing snapshot of this series; before any fit, one from assumptions that says so."""
    return standing_snapshot(quantity, rate) or put_in_force(learnt=assumed(quantity, rate), now=now)


def put_in_force(*, learnt: Learnt, now: datetime) -> Snapshot:
    """The snapshot of what was learnt, in force from now on instead of the one it began from.

    That one stays where nothing is new; and another one that came into force meanwhile stays, for it is younger.
    Broken off anywhere, the old one stands.
    """
    old = learnt.instead_of
    if old and learnt.is_standing:
        return old
    failpoint("forecasts.learnt")
    with transaction.atomic():
        if old and not Snapshot.objects.filter(id=old.id, in_force=True).update(in_force=False):
            return Snapshot.objects.get(quantity=learnt.quantity, rate=learnt.rate, in_force=True)
        failpoint("forecasts.switch")
        made, _new = Snapshot.objects.get_or_create(
            quantity=learnt.quantity,
            rate=learnt.rate,
            in_force=True,
            defaults={
                "parameters": json.loads(learnt.hyper.to_json()),
                "digest": learnt.hyper.version,
                "series_count": learnt.series_count,
                "biases": vars(learnt.corrections),
                "data_sha256": learnt.data_sha256,
                "from_assumptions": learnt.hyper.n_series == 0,
                "made_at": now,
            },
        )
        failpoint("forecasts.switched")
    return made


# ---- forecasts ----


def refresh_forecasts(*, appliances: Sequence[Appliance], now: datetime) -> list[Forecast]:
    """Forecasts of these appliances on the snapshots in force; what no longer has a series loses its forecast.

    With them each reading held against its forecast, and early warnings. Called outside a transaction it calculates
    before it takes the lock, and once more under it where what it read has changed meanwhile.
    """
    read, made = _rests_on(appliances), _all_made(appliances, now)
    with transaction.atomic():
        if _rests_on(appliances) != read:
            made = _all_made(appliances, now)
        told = [each for one in made for each in one.forecasts]
        _put_forecasts(appliances, told)
        _put_checks(appliances, [each for one in made for each in one.checks])
        _put_warnings([each for one in made for each in one.warnings], now)
    return told


def _rests_on(appliances: Sequence[Appliance]) -> tuple[object, ...]:
    """What forecasts are made of, by its versions: the records of visits, snapshots, the contractor's choices."""
    visits = Visit.objects.filter(appliance__in=appliances).order_by("id").values_list("id", "record")
    snapshots = Snapshot.objects.filter(in_force=True).order_by("id").values_list("id", flat=True)
    return list(visits), list(snapshots), Contractor.objects.get().version


def _all_made(appliances: Sequence[Appliance], now: datetime) -> list[Made]:
    """Of every quantity at every rate."""
    contractor = Contractor.objects.get()
    standing = {(each.quantity, each.rate): each for each in Snapshot.objects.filter(in_force=True)}
    made = []
    for (quantity, rate), series in series_of(appliances, now.date()).items():
        snapshot = standing.get((quantity, rate)) or snapshot_in_force(quantity=quantity, rate=rate, now=now)
        made.append(forecasts_of(series, snapshot, contractor, now))
    return made


_KEY_FIELDS = {"id", "appliance", "quantity", "rate"}


def _put_forecasts(appliances: Sequence[Appliance], made: Sequence[Forecast]) -> None:
    kept = {(each.appliance_id, each.quantity, each.rate) for each in made}
    standing = Forecast.objects.filter(appliance__in=appliances).values_list("id", "appliance", "quantity", "rate")
    if stale := [row[0] for row in standing if row[1:] not in kept]:
        Forecast.objects.filter(id__in=stale).delete()
    Forecast.objects.bulk_create(
        made,
        update_conflicts=True,
        unique_fields=["appliance", "quantity", "rate"],
        update_fields=[each.name for each in Forecast._meta.fields if each.name not in _KEY_FIELDS],
    )


# ---- what watches them ----


def _put_checks(appliances: Sequence[Appliance], made: Sequence[ForecastCheck]) -> None:
    """What was forecast ahead of its visit stands; all else is as the snapshot in force has it."""
    standing = ForecastCheck.objects.filter(visit__appliance__in=appliances).annotate(
        fixed=Q(ahead=True, visit__record__amends__isnull=True)
    )
    stored = {_key(each): each for each in standing}
    wanted = {_key(each): each for each in made}
    old = [each for key, each in stored.items() if not each.fixed and _told(each) != _told(wanted.get(key))]
    fresh = [each for key, each in wanted.items() if key not in stored or stored[key] in old]
    if old:
        ForecastCheck.objects.filter(id__in=[each.id for each in old]).delete()
    ForecastCheck.objects.bulk_create(fresh, batch_size=500)


def _key(check: ForecastCheck) -> tuple[str, str, str]:
    return str(check.visit_id), check.quantity, check.rate


def _told(check: ForecastCheck | None) -> tuple[object, ...] | None:
    if check is None:
        return None
    return check.snapshot_id, check.chance, check.outside, check.surprise, str(check.analyser_id)


def _put_warnings(warned: Sequence[Warned], now: datetime) -> None:
    """Open each once; close, by taking it away, what nobody has resolved and no longer holds."""
    standing = Question.objects.filter(visit__in={each.visit_id for each in warned}, code__startswith="repeat_")
    known = {(str(each.visit_id), each.code): each for each in standing}
    fresh = [
        Question(visit_id=each.visit_id, code=each.code, figures=each.figures, opened_at=now)
        for each in warned
        if each.figures and (each.visit_id, each.code) not in known
    ]
    gone = [
        known[each.visit_id, each.code].id
        for each in warned
        if not each.figures and (each.visit_id, each.code) in known
    ]
    if gone:
        Question.objects.filter(id__in=gone, resolved_at__isnull=True).delete()
    Question.objects.bulk_create(fresh)
