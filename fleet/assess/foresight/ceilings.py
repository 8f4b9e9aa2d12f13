"""The strictest limit that CO or the flue's temperature must stay below, on the scale on which it drifts."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

CO, TEMP_RISE = "co", "temp_rise"
REFERENCE_AIR_TEMP_C = 20.0
# What only asks to be written down is no limit.
NO_LIMIT = ("normal", "record")
BREAKS_ABOVE = (">", ">=", "outside", "between")


class Ceiling(NamedTuple):
    """upper : CO air-free [ppm, dry], or flue less intake air temperature [K].    words : which limit it is."""

    upper: float
    words: str


def ceiling_of(card: Mapping[str, Any], rate: str, quantity: str, read: Mapping[str, Any]) -> Ceiling | None:
    """The strictest of the card's ceilings, limits and stop levels for what is found at this rate; None without one.

    card : that the newest visit was judged by.    read : that visit's derived figures with `rise_k`: a limit on
    another basis (as measured, over CO2, as a loss) is carried over at the O2 and CO2 that were read then.
    Limits whose facts are not recorded, and those for readings as left alone, don't count.
    """
    rows = (row for name in ("ceilings", "limits", "stop_levels") for row in card[name])
    return min(_ceilings(rows, rate, quantity, read), default=None)


def _ceilings(
    rows: Iterator[Mapping[str, Any]], rate: str, quantity: str, read: Mapping[str, Any]
) -> Iterator[Ceiling]:
    carried = _co_ppm_air_free if quantity == CO else _rise_k
    for row in rows:
        if _applies(row, rate) and (upper := carried(row["measure"], float(row["upper"]), read)) is not None:
            yield Ceiling(upper, f"{row['set_name']}: {row['label']} {row['limit_text']} {row['unit']}"[:300])


def _applies(row: Mapping[str, Any], rate: str) -> bool:
    breaks = row["measure"] is not None and row["upper"] is not None and row["op"] in BREAKS_ABOVE
    here = row["rates"] is None or rate in row["rates"]
    as_found = row["phases"] is None or "as_found" in row["phases"]
    return breaks and here and as_found and row["applies"] == "yes" and row["severity"] not in NO_LIMIT


def _co_ppm_air_free(measure: Mapping[str, Any], upper: float, read: Mapping[str, Any]) -> float | None:
    by, dilution = measure["scaled_by"], read["dilution_factor"]
    scale = 1.0 if by is None else read[by]
    if measure["field"] != "co_ppm" or dilution is None or scale is None:
        return None
    span = scale if measure["o2_in_air_pct"] is None else measure["o2_in_air_pct"] - scale
    return float(upper * span / measure["factor"] * dilution)


def _rise_k(measure: Mapping[str, Any], upper: float, read: Mapping[str, Any]) -> float | None:
    """A temperature by the reference air; a loss is proportional to the rise at one O2."""
    if measure["field"] == "flue_temp_c":
        return upper / float(measure["factor"]) - REFERENCE_AIR_TEMP_C
    loss, rise = read["flue_loss_pct"], read["rise_k"]
    if measure["field"] != "flue_loss_pct" or not loss or not rise or min(loss, rise) <= 0:
        return None
    return float(upper / measure["factor"] * rise / loss)
