"""What the whole population teaches of one quantity at one rate: hyper-parameters, and what readings are off by."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from fleet import drift
from fleet.assess.foresight.ceilings import TEMP_RISE
from fleet.assess.foresight.panels import Corrections, digest_of, panel_of
from fleet.assess.foresight.series import Series, series_of
from fleet.models import Appliance, Snapshot

DRIFT_NAMES = {TEMP_RISE: "flue_temp_rise"}


@dataclass(frozen=True)
class Learnt:
    """Hyper-parameters of one quantity at one rate, not yet in force, and how many series they come from.

    instead_of : the snapshot that stood when learning began; another one since then stays.
    """

    quantity: str
    rate: str
    hyper: drift.Hyper
    series_count: int
    corrections: Corrections = field(default_factory=Corrections)
    data_sha256: str = ""
    instead_of: Snapshot | None = None

    @property
    def is_standing(self) -> bool:
        """Nothing is new in it."""
        old = self.instead_of
        new = (self.hyper.version, self.series_count, self.data_sha256)
        return old is not None and (old.digest, old.series_count, old.data_sha256) == new


def learn(*, quantity: str, rate: str, now: datetime) -> Learnt:
    """From all records, for seconds: to be called outside a transaction.

    With fewer series than a fit needs, the hyper-parameters are assumptions.
    """
    everywhere = Appliance.objects.select_related("building", "sheet").prefetch_related(
        "sheet__versions", "building__gas_supplies"
    )
    known = series_of(list(everywhere), now.date(), only=(quantity, rate))
    return learn_from(known.get((quantity, rate), []), quantity=quantity, rate=rate)


def learn_from(known: Sequence[Series], *, quantity: str, rate: str) -> Learnt:
    """From the series that tell about drift, starting at the standing figures; those again where no reading is new."""
    series, standing = [each for each in known if each.informative], standing_snapshot(quantity, rate)
    if len(series) < drift.MIN_SERIES_FOR_FIT:
        return assumed(quantity, rate, len(series), standing)
    digest = digest_of(series)
    if standing and standing.data_sha256 == digest:
        return Learnt(quantity, rate, hyper_of(standing), len(series), corrections_of(standing), digest, standing)
    warm = hyper_of(standing) if standing and not standing.from_assumptions else None
    found = _fitted(series, drift.Prior.of(_drift_name(quantity)), warm)
    corrections = Corrections.found(found, found.hyper.prior.tau0)
    return Learnt(quantity, rate, found.hyper, len(series), corrections, digest, standing)


def _fitted(series: Sequence[Series], prior: drift.Prior, warm: drift.Hyper | None) -> drift.Biases:
    """Outliers, steps, fast units and groups; then what analysers, quarters and days put in, and all learnt anew."""
    panel = panel_of(series, Corrections())
    entries = [entry for each in series for entry in each.entries]
    first = drift.fit(panel, prior, warm=warm)
    quarters, days = [each.analyser for each in entries], [each.site_day for each in entries]
    return drift.biases(panel, first, quarters, days)


def assumed(quantity: str, rate: str, count: int = 0, standing: Snapshot | None = None) -> Learnt:
    """What holds before any fit, and says so."""
    return Learnt(quantity, rate, drift.assumed(_drift_name(quantity)), count, instead_of=standing)


def _drift_name(quantity: str) -> str:
    return DRIFT_NAMES.get(quantity, quantity)


# ---- as stored ----


def standing_snapshot(quantity: str, rate: str) -> Snapshot | None:
    return Snapshot.objects.filter(quantity=quantity, rate=rate, in_force=True).first()


def hyper_of(snapshot: Snapshot) -> drift.Hyper:
    return drift.Hyper.from_json(json.dumps(snapshot.parameters))


def corrections_of(snapshot: Snapshot) -> Corrections:
    return Corrections(**snapshot.biases)
