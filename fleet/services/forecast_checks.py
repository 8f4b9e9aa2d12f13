"""Watching the forecasts: each reading beside what the visits before it led one to expect, and early warnings."""

import math
from collections.abc import Iterator, Sequence
from datetime import datetime

import numpy as np
from django.db.models import Q
from django.utils.translation import gettext as _

from fleet import drift
from fleet.drift.calibration import DOUBTFUL, chances
from fleet.models import Appliance, ForecastCheck, Mark, Snapshot
from fleet.services.forecast_words import quantity_words
from fleet.services.series import Series


def checks_of(
    series: Sequence[Series], panel: drift.Panel, hyper: drift.Hyper, limits: drift.Limits, snapshot: Snapshot
) -> Iterator[ForecastCheck]:
    """A check for each as-found reading after its series' first level; none by assumptions, which promise nothing."""
    if snapshot.from_assumptions or not panel.scored.size:
        return
    chance, told = chances(panel, hyper, limits).ravel(), drift.innovations(panel, hyper)
    regular = (told.w_out + told.w_step <= DOUBTFUL).ravel()
    outside = ((panel.as_found < limits.floor) | (panel.as_found > limits.ceiling)).ravel()
    z, seen = told.z.ravel(), set[int]()
    entries = [(each, entry) for each in series for entry in each.entries]
    for (each, entry), at in zip(entries, panel.places(len(entries)), strict=True):
        if at < 0 or at in seen or math.isnan(chance[at]):
            continue
        seen.add(int(at))
        yield ForecastCheck(
            visit_id=entry.visit_id,
            quantity=each.quantity,
            rate=each.rate,
            day=entry.day,
            analyser_id=entry.analyser,
            snapshot=snapshot,
            chance=round(float(chance[at]), 6),
            outside=bool(outside[at]),
            surprise=round(float(z[at]), 4) if regular[at] and np.isfinite(z[at]) else None,
            ahead=entry.first_received_at is not None and snapshot.made_at < entry.first_received_at,
        )


def put_checks(appliances: Sequence[Appliance], made: Sequence[ForecastCheck]) -> None:
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


# ---- early warnings of the last visit ----


def warnings_of(
    series: Sequence[Series], state: drift.State, snapshot: Snapshot, now: datetime
) -> Iterator[tuple[str, str, Mark | None]]:
    """(visit, code, the mark to open or None) of each series' last visit. Nothing from assumptions opens a mark."""
    said = drift.warnings(state)
    for n, each in enumerate(series):
        last = each.entries[-1]
        code = f"repeat_{each.quantity}_{each.rate}"[:40]
        sentence = "" if snapshot.from_assumptions or math.isnan(last.found) else _warning(each, said, n)
        figures = {"z": _rounded(said.z[n]), "z_before": _rounded(said.z_before[n]), "snapshot": str(snapshot.id)}
        mark = Mark(visit_id=last.visit_id, code=code, sentence=sentence, figures=figures, opened_at=now)
        yield last.visit_id, code, mark if sentence else None


def _warning(series: Series, said: drift.Warnings, n: int) -> str:
    """In words that ask for a second reading and judge nothing; empty where there is no cause."""
    words = {
        "what": quantity_words(series.quantity, series.rate),
        "far": f"{abs(said.z[n]):.1f}",
        "side": _("above") if said.z[n] > 0 else _("below"),
    }
    if said.doubtful[n]:
        return _(
            "%(what)s was read %(far)s times its usual error %(side)s what was expected, more likely a doubtful "
            "reading than a change: repeat the reading."
        ) % words  # fmt: skip
    if said.step[n]:
        return (
            _("%(what)s has more likely than not changed at one go since the visit before: repeat the reading.") % words
        )
    if said.repeat_now[n]:
        return (
            _("%(what)s was read %(far)s times its usual error %(side)s what was expected: repeat the reading.") % words
        )
    if said.same_side[n]:
        return _(
            "%(what)s was read well %(side)s what was expected at two visits running: repeat the reading; something "
            "has changed."
        ) % words  # fmt: skip
    return ""


def _rounded(value: float) -> float | None:
    return round(float(value), 3) if math.isfinite(value) else None


def put_warnings(warned: Sequence[tuple[str, str, Mark | None]]) -> None:
    """Open each once; close, by taking it away, what nobody has settled and no longer holds."""
    if not warned:
        return
    standing = Mark.objects.filter(visit__in={visit for visit, *_rest in warned}, code__startswith="repeat_")
    known = {(str(each.visit_id), each.code): each for each in standing}
    fresh = [mark for visit, code, mark in warned if mark and (visit, code) not in known]
    gone = [
        known[visit, code].id
        for visit, code, mark in warned
        if mark is None and (visit, code) in known and known[visit, code].settled_at is None
    ]
    if gone:
        Mark.objects.filter(id__in=gone, settled_at__isnull=True).delete()
    Mark.objects.bulk_create(fresh)
