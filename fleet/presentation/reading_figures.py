"""Readings as tables of figures: as read and worked out, how far to trust them, and what else was read, in words."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.utils.translation import gettext as _

from fleet.assess.judging.visit_facts import ReadingFacts, VisitFacts
from fleet.combustion import LOSS_COEFFICIENTS, Steadiness
from fleet.limits.cases import COMMON_FLUE
from fleet.presentation.codes import code_words
from fleet.presentation.days import day
from fleet.presentation.figures import NONE, decimals_for, derived, figure, read_figure, read_with_unit
from fleet.presentation.questions import unsteady_words
from fleet.presentation.words import listed, rate_words
from fleet.quantities import READING_QUANTITIES

# Shown in the first table's own columns; anything else that was read follows beneath it.
TABLED = ("o2", "co2", "co", "flue_temp", "air_temp")
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


def phase_words(phase: str) -> str:
    return {"as_found": _("found"), "as_left": _("left"), "between": _("between")}.get(phase, phase)


def name_of(each: ReadingFacts) -> str:
    """Which reading it is, and where that was not in the appliance's own flue."""
    reading = each.reading
    name = f"{reading.number}. {rate_words(reading.rate)}, {phase_words(reading.counted_phase)}"
    return f"{name}, {code_words(COMMON_FLUE)}" if reading.sampling_point == COMMON_FLUE else name


def figures_head() -> list[str]:
    return [
        "",
        _("O₂\n%"),
        _("CO₂\n%"),
        _("CO\nppm"),
        _("CO air-\nfree ppm"),
        _("Flue\n°C"),
        _("Air\n°C"),
        _("Excess\nair ratio"),
        _("Eff. net\n%"),
        _("Eff.\ngross %"),
        _("Loss\n%"),
        _("CO/CO₂"),
    ]


def figures_row(each: ReadingFacts) -> list[str]:
    """The figures of one reading, in the head's order without the first column; derived gases carry a mark."""
    reading, found = each.reading, each.derived
    read = {
        name: _signed(
            read_figure(READING_QUANTITIES[name], getattr(reading, READING_QUANTITIES[name].column)),
            each.qualifier(name),
        )
        for name in TABLED
    }
    for gas in ("o2", "co2"):
        if getattr(found, f"{gas}_derived") and getattr(found, f"{gas}_pct") is not None:
            read[gas] = f"{derived(found, f'{gas}_pct')}*"
    air_free = derived(found, "co_ppm_air_free")
    return [
        *(read[name] for name in ("o2", "co2", "co")),
        _signed(air_free, each.qualifier("co")),
        *(read[name] for name in ("flue_temp", "air_temp")),
        *(derived(found, name) for name in ("excess_air_ratio", "efficiency_pct_net", "efficiency_pct_gross")),
        *(derived(found, name) for name in ("flue_loss_pct", "co_co2_ratio")),
    ]


def _signed(shown: str, qualifier: str) -> str:
    """As narrow as a column of figures needs: signs for words."""
    if qualifier == "sensor_fault":
        return _("fault")
    known = {"more_than": f"> {shown}", "less_than": f"< {shown}", "not_known": "?"}
    return shown if shown == NONE else known.get(qualifier, shown)


def taken_words(each: ReadingFacts, facts: VisitFacts) -> str:
    """The time to the precision that it has: nothing is invented."""
    moment = each.reading.taken_at
    if moment is None or each.reading.time_precision in ("day", "unknown"):
        return _("time not known")
    there = moment.astimezone(facts.zone)
    shown = there.strftime("%H:%M:%S" if each.reading.time_precision == "instant" else "%H:%M")
    return shown if there.date() == facts.visit.local_date else f"{day(there.date())} {shown}"


def steadiness_words(each: ReadingFacts) -> str:
    known = {"steady": _("steady"), "not_steady": _("NOT steady"), "not_shown": _("not shown")}
    words = known.get(each.reading.steadiness, each.reading.steadiness)
    series = each.derived.steadiness
    if series and series.overall is not None:
        words = _("steady, logged") if series.overall else _("NOT steady, logged")
    return _("%s, invalid") % words if each.derived.invalid else words


def also_read(each: ReadingFacts) -> str:
    """What else was read, in words; empty where nothing was."""
    reading = each.reading
    parts = [
        f"{quantity.label} {read_with_unit(quantity, getattr(reading, quantity.column), each.qualifier(name))}"
        for name, quantity in READING_QUANTITIES.items()
        if name not in TABLED and (getattr(reading, quantity.column) is not None or name in reading.qualifiers)
    ]
    if reading.oil_derivatives is not None:
        parts.append(_("oil derivatives present") if reading.oil_derivatives else _("no oil derivatives"))
    if reading.flame_unstable:
        parts.append(_("FLAME UNSTABLE"))
    if found := _timed_input(each):
        parts.append(found)
    return "; ".join(parts)


def _timed_input(each: ReadingFacts) -> str:
    if each.derived.input_kw_gross is None:
        return ""
    shown = {name: derived(each.derived, f"input_kw_{name}") for name in ("net", "gross")}
    return _("timed input %(net)s kW net, %(gross)s kW gross") % shown


def how_read(facts: VisitFacts, rate: str) -> str:
    """How the rate was proven, where it was sampled and with which casing: once, where found and left agree."""
    own, all = ([one.reading for one in each if one.reading.rate == rate] for each in (facts.own, facts.readings))
    read = own or all
    proven = {each.rate_proven_by if each.rate_proven else _("not proven") for each in read}
    proofs = [_("proven by %s") % code_words(each) if each != _("not proven") else each for each in sorted(proven)]
    casings = sorted({_("casing %s") % code_words(each.casing) for each in read if each.casing})
    return ", ".join(
        [
            listed(proofs),
            *([listed(casings)] if casings else []),
            listed(sorted({code_words(each.sampling_point) for each in read})),
        ]
    )


def loss_words(name: str) -> str:
    """By which coefficients a flue loss was worked out: the regulation and the fuel that it names."""
    known = LOSS_COEFFICIENTS.get(name)
    shown = {"source": known.source, "fuel": known.fuel} if known else {}
    return _("the coefficients of %(source)s for %(fuel)s") % shown if known else code_words(name)


# ---- the second table: losses, emissions, condensation, input, and how far to trust figures ----


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
    found = each.derived
    shown = [_signed(derived(found, name), found.qualifiers.get(name, "=")) for name in WORKED_OUT]
    # An estimate from NO alone carries a mark, as a gas does that was worked out from the other.
    marked = [
        f"{each}*" if name.startswith("nox_") and each != NONE else each
        for name, each in zip(WORKED_OUT, shown, strict=True)
    ]
    return marked if found.nox_estimated else shown


def read_columns(rows: Iterable[Sequence[Any]]) -> list[int]:
    """The columns that hold anything: what no reading shows isn't a column of dashes."""
    return [number for number, column in enumerate(zip(*rows, strict=True)) if any(each != NONE for each in column)]


def has_worked_out(each: ReadingFacts) -> bool:
    return any(shown != NONE for shown in worked_row(each))


def spread_row(each: ReadingFacts) -> list[str]:
    """Beneath the figures of the first table: the expanded uncertainty of each (k = 2), empty where none is stated."""
    return [_spread(each.derived.uncertainties.get(name)) for name in _FIRST]


def widest_row(readings: Iterable[ReadingFacts]) -> list[str]:
    """The same for all readings in one row: of each column the widest, empty where none of them has one."""
    stated = [each.derived.uncertainties for each in readings]
    return [_spread(max((each.get(name) or 0.0 for each in stated), default=0.0)) for name in _FIRST]


def _spread(u: float | None) -> str:
    return f"±{figure(COVERAGE_FACTOR * u, decimals_for(COVERAGE_FACTOR * u))}" if u else ""


def series_words(each: ReadingFacts) -> str:
    """What the logged series shows, by quantity: its mean at rest, or why it wasn't; empty without a series."""
    labels = {"o2": "O₂", "co2": "CO₂", "co": "CO", "flue_temp": _("flue temperature")}
    shown = each.derived.steadiness.of if each.derived.steadiness else {}
    return "; ".join(_of_quantity(name, label, shown[name]) for name, label in labels.items() if name in shown)


def _of_quantity(name: str, label: str, found: Steadiness) -> str:
    if not found.steady or found.mean is None:
        return _("%(what)s not steady: %(why)s") % {"what": label, "why": unsteady_words(found.reason)}
    decimals = {"co": 0, "flue_temp": 1}.get(name, 2)
    spread = COVERAGE_FACTOR * (found.u or 0.0)
    said = f" ±{figure(spread, decimals)}" if spread >= 0.5 * 10**-decimals else ""
    return _("%(what)s steady at %(mean)s") % {"what": label, "mean": f"{figure(found.mean, decimals)}{said}"}
