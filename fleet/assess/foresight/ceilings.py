"""The strictest limit that CO or the flue's temperature must stay below, on the scale on which it drifts."""

from typing import Any, NamedTuple

from fleet.limits import Card, Row
from fleet.limits.quantities import Measure
from fleet.models.judgements import Derived

CO, TEMP_RISE = "co", "temp_rise"
REFERENCE_AIR_TEMP_C = 20.0
# What only asks to be written down is no limit.
NO_LIMIT = ("normal", "record")
BREAKS_ABOVE = (">", ">=", "outside", "between")


class Ceiling(NamedTuple):
    """upper : CO air-free [ppm, dry], or flue less intake air temperature [K].

    limit : which it is: its set_name, label and keeps as in the card, unit.
    """

    upper: float
    limit: dict[str, Any]


def ceiling_of(card: Card, rate: str, quantity: str, read: Derived, rise_k: float | None) -> Ceiling | None:
    """The strictest of the card's ceilings, limits and stop levels for what is found at this rate; None without one.

    card : that the newest visit was judged by.    read : that visit's derived figures, rise_k beside them: a limit on
    another basis (as measured, over CO2, as a loss) is carried over at the O2 and CO2 that were read then.
    Limits whose facts are not recorded, and those for readings as left alone, don't count.
    """
    found = []
    for row in (*card.ceilings, *card.limits, *card.stop_levels):
        if row.measure is None or row.upper is None or not _applies(row, rate):
            continue
        if quantity == CO:
            upper = _co_ppm_air_free(row.measure, row.upper, read)
        else:
            upper = _rise_k(row.measure, row.upper, read.flue_loss_pct, rise_k)
        if upper is not None:
            found.append(Ceiling(upper, {name: getattr(row, name) for name in ("set_name", "label", "keeps", "unit")}))
    return min(found, key=lambda each: each.upper, default=None)


def _applies(row: Row, rate: str) -> bool:
    here = row.rates is None or rate in row.rates
    as_found = row.phases is None or "as_found" in row.phases
    breaks = row.op in BREAKS_ABOVE and row.applies == "yes" and row.severity not in NO_LIMIT
    return breaks and here and as_found


def _co_ppm_air_free(measure: Measure, upper: float, read: Derived) -> float | None:
    by, dilution = measure.scaled_by, read.dilution_factor
    scale = 1.0 if by is None else getattr(read, by)
    if measure.field != "co_ppm" or dilution is None or scale is None:
        return None
    span = scale if measure.o2_in_air_pct is None else measure.o2_in_air_pct - scale
    return float(upper * span / measure.factor * dilution)


def _rise_k(measure: Measure, upper: float, loss: float | None, rise: float | None) -> float | None:
    """A temperature by the reference air; a loss is proportional to the rise at one O2."""
    if measure.field == "flue_temp_c":
        return upper / measure.factor - REFERENCE_AIR_TEMP_C
    if measure.field != "flue_loss_pct" or not loss or not rise or min(loss, rise) <= 0:
        return None
    return float(upper / measure.factor * rise / loss)
