"""Rows of the decision table that come from the settings sheet: targets, orders between rates, ceilings."""

from fleet.coded import as_row
from fleet.limits.quantities import CO_QUANTITIES, measure_for
from fleet.limits.rows import Row, Source, provenance, rates_named, row
from fleet.limits.tolerance import band, exact


def band_row(sheet: Source, target: Source) -> Row:
    """A target with its tolerance as an absolute band: simple rule, its own rate and casing only."""
    quantity = target["quantity"]
    if quantity not in ("co2", "o2"):
        raise ValueError(f"a target is given in co2 or o2, not {quantity!r}")
    figures = band(
        target.get("value"),
        target.get("tolerance"),
        basis=target.get("tolerance_basis", ""),
        lower=target.get("lower"),
        upper=target.get("upper"),
    )
    return row(
        provenance(sheet, kind="band"),
        measure_for(quantity, "dry", "vol%"),
        limit_id=f"{quantity} {target['rate']} {target.get('casing') or 'any'}",
        op="outside",
        limit=[figures.lower, figures.upper],
        quantity=quantity,
        severity="adjust",
        unit="%",
        basis="dry",
        rates=_target_rates(sheet, target["rate"]),
        rate_text=target["rate"],
        casing=_casing(target.get("casing")),
        target=figures.target,
        tolerance_basis=figures.basis,
        asks="adjust_to_target",
    )


def _target_rates(sheet: Source, rate: str) -> list[str]:
    if rate not in sheet.get("rates", ()):
        raise ValueError(f"the rate {rate!r} is not one of the sheet's rates")
    return [rate]


def _casing(casing: str | None) -> str | None:
    if casing in (None, "any"):
        return None
    if casing not in ("open", "closed"):
        raise ValueError(f"casing must be open, closed or any, not {casing!r}")
    return casing


def order_row(sheet: Source, rule: Source) -> Row:
    """How far a quantity at one rate must lie above the same at another, in points, where the manufacturer states it.

    `rates` has the rate that must be higher first.
    """
    quantity, rates = rule["quantity"], [rule["higher_rate"], rule["lower_rate"]]
    if quantity not in ("co2", "o2"):
        raise ValueError(f"an order between rates is given in co2 or o2, not {quantity!r}")
    for rate in rates:
        _target_rates(sheet, rate)
    if rates[0] == rates[1]:
        raise ValueError(f"an order needs two rates, not {rates[0]!r} twice")
    least_gap = float(exact(rule.get("least_gap") or 0))
    if least_gap < 0:
        raise ValueError(f"the least gap of an order can't be negative: {least_gap}")
    return row(
        provenance(sheet, kind="order"),
        measure_for(quantity, "dry", "vol%"),
        limit_id=f"{quantity} {rates[0]} above {rates[1]}",
        op="<",
        limit=least_gap,
        quantity=quantity,
        label=as_row("rate_gap", gas=quantity, higher=rates[0], lower=rates[1]),
        severity="adjust",
        unit="points",
        basis="dry",
        rates=rates,
        rate_text="",
        source=str(rule.get("source_text") or ""),
        asks="restore_order",
    )


def ceiling_row(sheet: Source, ceiling: Source) -> Row:
    """A figure of the manufacturer's that no reading may pass, at every rate unless the sheet names one."""
    quantity, rate = ceiling["quantity"], ceiling.get("rate") or "any"
    basis = "air_free" if quantity == "co_ppm_air_free" else ceiling.get("basis", "as_measured")
    # Above a manufacturer's own figure for CO an appliance isn't left in use.
    default = "shut_down" if quantity in CO_QUANTITIES else "out_of_limit"
    unit = ceiling.get("unit") or ""
    return row(
        provenance(sheet, kind="ceiling"),
        measure_for(quantity, basis, unit),
        limit_id=f"{quantity} {rate}",
        op=">",
        limit=float(exact(ceiling["value"])),
        quantity=quantity,
        severity=ceiling.get("severity") or default,
        unit=unit,
        basis=basis,
        rates=rates_named(rate, sheet.get("rates", ())),
        rate_text=rate,
        action=ceiling.get("action") or "",
    )
