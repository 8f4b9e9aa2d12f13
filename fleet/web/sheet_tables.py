"""A settings sheet drawn and said: targets as stretches, ceilings as walls, a column a rate, and all in a sentence."""

from collections.abc import Iterator, Mapping
from typing import Any

from django.utils.translation import gettext as _

from fleet.assess.judging.cards import targets_of
from fleet.limits import Band
from fleet.limits.quantities import decimals_of
from fleet.presentation.codes import quantity_label
from fleet.presentation.contents import band_words, ceiling_words
from fleet.presentation.figures import decimals_shown, unit_words
from fleet.presentation.reading_rule import ReadingRule, Wall
from fleet.presentation.readings import RATES_ABREAST, Cell, PairRow, PairTable
from fleet.presentation.words import at_rate, capital, listed, rate_words
from fleet.quantities import GASES


def answer_of(content: Mapping[str, Any]) -> str:
    """What the manufacturer asks for, in a sentence: every band, then every ceiling."""
    targets = [
        _("%(gas)s %(band)s at %(rate)s")
        % {"gas": GASES[each["quantity"]], "band": band_words(each), "rate": rate_words(each["rate"])}
        for each in content.get("targets", ())
    ]
    ceilings = [
        f"{quantity_label(each['quantity'])} {ceiling_words(each)}"
        + ("" if each["rate"] == "any" else _(" at %s") % rate_words(each["rate"]))
        for each in content.get("ceilings", ())
    ]
    said = "; ".join(filter(None, (listed(targets), listed(ceilings))))
    return f"{said[:1].upper()}{said[1:]}." if said else _("It asks for no figure.")


def target_tables(content: Mapping[str, Any]) -> list[PairTable]:
    """Targets as stretches and ceilings as walls, a column a rate, each quantity on one scale."""
    rates = list(content.get("rates", ()))
    rows = [*_target_rows(content), *_ceiling_rows(content)]
    chunks = [rates[start : start + RATES_ABREAST] for start in range(0, len(rates), RATES_ABREAST)]
    return [
        PairTable(
            [(rate_words(rate), _input_words(content, rate)) for rate in chunk],
            [PairRow(name, unit, [_cell(rate, rules.get(rate)) for rate in chunk]) for name, unit, rules in rows],
        )
        for chunk in chunks
        if rows
    ]


def _input_words(content: Mapping[str, Any], rate: str) -> str:
    rates = content["rates"]
    figure = content["rated_input_kw"] if rate == rates[0] else None
    if rate == rates[-1] and rates[1:]:
        figure = content.get("minimum_input_kw")
    return f"{figure} kW {content['input_basis']}" if figure else _("no input stated")


def _cell(rate: str, rule: ReadingRule | None) -> Cell:
    return Cell(rate_words(rate), rule, "" if rule else _("nothing stated"))


Drawn = tuple[str, str, dict[str, ReadingRule]]


def _target_rows(content: Mapping[str, Any]) -> Iterator[Drawn]:
    """One row a gas and state of the casing."""
    targets = targets_of(content)
    for quantity, casing in dict.fromkeys((each.quantity, each.casing) for each in targets):
        bands = {each.rate: each.band for each in targets if (each.quantity, each.casing) == (quantity, casing)}
        ends = [end for each in bands.values() for end in (each.lower, each.upper) if end is not None]
        room = max(max(ends) - min(ends), 0.4)
        low, high = max(min(ends) - room, 0.0), max(ends) + room
        unit = _("% dry") if casing == "any" else _("%% dry, casing %s") % casing
        rules = {rate: _target_rule(quantity, rate, each, low, high) for rate, each in bands.items()}
        yield GASES[quantity], unit, rules


def _target_rule(quantity: str, rate: str, drawn: Band, low: float, high: float) -> ReadingRule:
    return ReadingRule(
        label=at_rate(GASES[quantity], rate),
        unit="%",
        low=low,
        high=high,
        decimals=decimals_of(quantity),
        band_lower=drawn.lower,
        band_upper=drawn.upper,
        target=drawn.target,
    )


def _ceiling_rows(content: Mapping[str, Any]) -> Iterator[Drawn]:
    """One row a quantity: a ceiling at any rate stands at every rate."""
    ceilings = content.get("ceilings", ())
    for quantity in dict.fromkeys(each["quantity"] for each in ceilings):
        mine = [each for each in ceilings if each["quantity"] == quantity]
        high = 1.5 * max(float(each["value"]) for each in mine) or 1.0
        unit, name = unit_words(mine[0]["unit"]), capital(quantity_label(quantity))
        rules = {}
        for rate in content["rates"]:
            walls = [Wall(float(each["value"]), "upper") for each in mine if each["rate"] in (rate, "any")]
            if walls:
                named = at_rate(name, rate)
                decimals = decimals_shown(0, [float(each["value"]) for each in mine])
                rules[rate] = ReadingRule(named, unit, 0.0, high, decimals, walls=walls)
        yield name, unit, rules
