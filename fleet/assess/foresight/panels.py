"""Series as the filter wants them, freed of what the analyser and the day put in."""

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fleet import drift
from fleet.assess.foresight.entries import Entry
from fleet.assess.foresight.series import Series
from fleet.drift.biases import Effects


@dataclass(frozen=True)
class Corrections:
    """What is to be taken off readings, on the scale they drift on: by analyser, by analyser and quarter, by site and
    day. {label: [bias, standard deviation, readings]}; `checks`: {analyser: {n, mean_z, score, alarm}}."""

    analyser: Mapping[str, Sequence[float]] = field(default_factory=dict)
    quarter: Mapping[str, Sequence[float]] = field(default_factory=dict)
    site_day: Mapping[str, Sequence[float]] = field(default_factory=dict)
    checks: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @classmethod
    def found(cls, biases: drift.Biases, tau0: float) -> "Corrections":
        """As stored: rounded to a thousandth of a reading's own error; days that shared less are left out."""
        digits = 3 - math.floor(math.log10(tau0))
        checks = biases.checks
        told = zip(checks.analysers, checks.n, checks.mean_z, checks.score, checks.alarm, strict=True)
        return cls(
            _rounded(biases.analyser, digits),
            {f"{label[0]}/{label[1]}": row for label, row in _rounded(biases.analyser_quarter, digits).items()},
            {label: row for label, row in _rounded(biases.site_day, digits).items() if abs(row[0]) >= tau0 / 10},
            {
                str(label): {"n": int(n), "mean_z": round(float(z), 3), "score": round(float(s), 2), "alarm": bool(a)}
                for label, n, z, s, a in told
            },
        )

    def of(self, entry: Entry) -> float:
        """What is taken off this entry's readings."""
        places = ((self.analyser, entry.analyser), (self.quarter, entry.quarter), (self.site_day, entry.site_day))
        return sum(float(table[label][0]) for table, label in places if label is not None and label in table)


def _rounded(effects: Effects, digits: int) -> dict[Any, list[float]]:
    rows = zip(effects.labels, effects.bias, effects.sd, effects.n, strict=True)
    return {label: [round(float(bias), digits), round(float(sd), digits), int(n)] for label, bias, sd, n in rows if n}


def panel_of(series: Sequence[Series], corrections: Corrections) -> drift.Panel:
    """One column a series, in the order given."""
    rows = [
        (number, each, entry, corrections.of(entry)) for number, each in enumerate(series) for entry in each.entries
    ]
    return drift.Panel.from_records(
        [number for number, *_rest in rows],
        [each.group for _number, each, *_rest in rows],
        [entry.years for _number, _each, entry, _off in rows],
        [entry.found - off for _number, _each, entry, off in rows],
        [entry.left - off for _number, _each, entry, off in rows],
        [entry.adjusted for _number, _each, entry, _off in rows],
        [entry.noise_scale for _number, _each, entry, _off in rows],
        [entry.replaced for _number, _each, entry, _off in rows],
        target=[each.corridor.target for _number, each, *_rest in rows],
    )


def limits_of(series: Sequence[Series]) -> drift.Limits:
    """The corridors of series of one quantity."""
    lower, upper = [each.corridor.lower for each in series], [each.corridor.upper for each in series]
    floors = None if None in lower else np.array(lower, float)
    return drift.Limits(floors, np.array(upper, float))


def digest_of(series: Sequence[Series]) -> str:
    """The same for the same readings of the same appliances, in any order."""
    told = sorted(
        repr((str(each.appliance.id), each.group, each.corridor.target, *map(_told, each.entries))) for each in series
    )
    return hashlib.sha256("\n".join(told).encode()).hexdigest()


def _told(entry: Entry) -> tuple[Any, ...]:
    numbers = (entry.found, entry.left, entry.noise_scale)
    return (entry.visit_id, f"{entry.day}", *numbers, entry.adjusted, entry.replaced, entry.analyser, entry.building)
