"""What readings mean beyond the first table: losses, emissions, condensation, input, and how far to trust figures."""

from collections.abc import Iterable, Iterator
from typing import Any

from django.utils.translation import gettext as _

from fleet.queries.visits import ReadingFacts
from reports.figures import NONE, chemical, decimals_for, derived, figure

# The figures of the second table, in its order.
WORKED_OUT = (
    "sensible_loss_pct_net",
    "latent_loss_pct_gross",
    "unburnt_loss_pct_net",
    "condensed_pct",
    "condensate_kg_per_kwh_gross",
    "dew_point_c",
    "co_mg_per_kwh_net",
    "co_mg_per_kwh_gross",
    "nox_ppm_air_free",
    "nox_mg_per_kwh_gross",
    "input_kw_net",
    "input_share_pct",
)
# The figures of the first table that an uncertainty can be told of, in its order.
_FIRST = (
    "o2_pct",
    "co2_pct",
    "co_ppm",
    "co_ppm_air_free",
    "flue_temp_c",
    "air_temp_c",
    "excess_air_ratio",
    "efficiency_pct_net",
    "efficiency_pct_gross",
    "flue_loss_pct",
    "co_co2_ratio",
)
COVERAGE_FACTOR = 2


def worked_head() -> list[str]:
    return [
        "",
        _("Sensible\nnet %"),
        _("Latent\ngross %"),
        _("Unburnt\nnet %"),
        _("Water\nliquid %"),
        _("Water\nkg/kWh"),
        _("Dew\n°C"),
        _("CO mg/\nkWh net"),
        _("CO mg/\nkWh gr."),
        _("NOx air-\nfree ppm"),
        _("NOx mg/\nkWh gr."),
        _("Input\nkW net"),
        _("of\nrated %"),
    ]


def worked_row(each: ReadingFacts) -> list[str]:
    """The figures of one reading in the head's order without the first column, "more than" and "less than" carried."""
    found = each.derived | {"condensed_pct": _percent(each.derived.get("condensate_fraction"))}
    carried = found.get("qualifiers", {})
    shown = [_said(derived(found, name), carried.get(name, "=")) for name in WORKED_OUT]
    # An estimate from NO alone carries a mark, as a gas does that was worked out from the other.
    estimated = found.get("nox_estimated", False)
    marked = [
        f"{each}*" if name.startswith("nox_") and each != NONE else each
        for name, each in zip(WORKED_OUT, shown, strict=True)
    ]
    return marked if estimated else shown


def has_worked_out(each: ReadingFacts) -> bool:
    return any(shown != NONE for shown in worked_row(each))


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _said(shown: str, qualifier: str) -> str:
    known = {"more than": f"> {shown}", "less than": f"< {shown}", "not known": "?"}
    return shown if shown == NONE else known.get(qualifier, shown)


def spread_row(each: ReadingFacts) -> list[str]:
    """Beneath the figures of the first table: the expanded uncertainty of each (k = 2), empty where none is stated."""
    stated = each.derived.get("uncertainties", {})
    return [_spread(stated.get(name)) for name in _FIRST]


def widest_row(readings: Iterable[ReadingFacts]) -> list[str]:
    """The same for all readings in one row: of each column the widest, empty where none of them has one."""
    stated = [each.derived.get("uncertainties", {}) for each in readings]
    return [_spread(max((each.get(name) or 0.0 for each in stated), default=0.0)) for name in _FIRST]


def _spread(u: float | None) -> str:
    return f"±{figure(COVERAGE_FACTOR * u, decimals_for(COVERAGE_FACTOR * u))}" if u else ""


def series_words(each: ReadingFacts) -> str:
    """What the logged series shows, by quantity: its mean at rest, or why it wasn't; empty without a series."""
    return "; ".join(_of_quantity(name, found) for name, found in _quantities(each.derived.get("steadiness")))


def _quantities(shown: dict[str, Any] | None) -> Iterator[tuple[str, dict[str, Any]]]:
    labels = {"o2": "O₂", "co2": "CO₂", "co": "CO", "flue_temp": _("flue temperature")}
    for name, label in labels.items():
        if shown and name in shown:
            yield label, shown[name]


def _of_quantity(label: str, found: dict[str, Any]) -> str:
    if not found["steady"] or found["mean"] is None:
        return _("%(what)s not steady: %(why)s") % {"what": label, "why": chemical(found["reason"]).rstrip(".")}
    u = found["u"]
    spread = "" if u is None else f" ±{figure(COVERAGE_FACTOR * u, 2)}"
    return _("%(what)s steady at %(mean)s") % {"what": label, "mean": f"{figure(found['mean'], 2)}{spread}"}
