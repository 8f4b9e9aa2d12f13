"""What a sheet or a limit set says, in words, and what two of their contents say differently."""

import math
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.assess.due.set_rules import extra_intervals
from fleet.intake.fields import DecimalText, Kind, Shape, Text, Word, fields_of, kind_of
from fleet.intake.limit_sets import EVIDENCE, LimitIn, LimitSetIn
from fleet.intake.sheets import ROW_NAMES, AdjusterIn, CeilingIn, OrderRuleIn, SheetIn, TargetIn
from fleet.limits import SEVERITIES, Band, band
from fleet.limits.decision import MARGINS, RULE_NAMES
from fleet.limits.rows import STOP_RANK, rank
from fleet.predicates import figure as figure_in
from fleet.presentation.codes import code_words, quantity_label
from fleet.presentation.due_dates import fact_and_unit, select_words
from fleet.presentation.figures import limit_figure, limits_words, with_unit
from fleet.presentation.intervals import interval_words
from fleet.presentation.words import rate_words, uncapital
from fleet.quantities import GASES

Row = Mapping[str, Any]
Words = str | Promise


# ---- a sheet ----


def band_words(target: Row) -> str:
    """The band in absolute figures, whatever the tolerance is written in.

    >>> band_words({"value": "9.2", "tolerance": "1", "tolerance_basis": "percent_of_target"})
    '9.108 to 9.292 %'
    """
    made = _made_band(target)
    return f"{limits_words(made.lower, made.upper)} %"


def _made_band(target: Row) -> Band:
    ends = {name: target.get(name) for name in ("lower", "upper")}
    return band(target.get("value"), target.get("tolerance"), basis=target["tolerance_basis"], **ends)


def target_words(target: Row) -> str:
    """The band, and how it is written: 9.1 to 9.7 % (9.4 plus and minus 0.3 points)."""
    shown = {"band": band_words(target), "value": text(target.get("value")), "tolerance": text(target.get("tolerance"))}
    words = {
        "points": _("%(band)s (%(value)s plus and minus %(tolerance)s points)"),
        "percent_of_target": _("%(band)s (%(value)s plus and minus %(tolerance)s percent of the target)"),
        "range": _("%(band)s (a range of %(tolerance)s about %(value)s)"),
    }
    if "lower" in target or "upper" in target:
        return _("%(band)s (a range, target %(value)s)") % shown if target.get("value") else shown["band"]
    return words[target["tolerance_basis"]] % shown


def target_name(target: Row) -> str:
    casing = "" if target["casing"] == "any" else _(", casing %s") % target["casing"]
    gas = GASES[target["quantity"]]
    return _("target %(gas)s at %(rate)s%(casing)s") % {
        "gas": gas,
        "rate": rate_words(target["rate"]),
        "casing": casing,
    }


def ceiling_words(ceiling: Row) -> str:
    unit = "" if ceiling["unit"] == "1" else f" {ceiling['unit']}"
    return _("at most %(value)s%(unit)s") % {"value": ceiling["value"], "unit": unit.replace("degC", "°C")}


def ceiling_name(ceiling: Row) -> str:
    return _("ceiling %(what)s at %(rate)s") % {
        "what": quantity_label(ceiling["quantity"]),
        "rate": _rate(ceiling["rate"]),
    }


@dataclass(frozen=True)
class AdjusterSaid:
    """Where it is and what turns it; which way raises CO2, and whether one may; everything else."""

    rate: str
    where: str
    turn: str
    rest: str


_ARRANGED = ("name", "rate", "raises_co2", "field_adjustment", "place", "tool", "who", "sealed", "reseal")
_STEPS = ("largest_step_turns", "largest_step")


def adjuster_said(adjuster: Row) -> AdjusterSaid:
    """
    >>> said = adjuster_said({"name": "Throttle", "rate": "high", "raises_co2": "anticlockwise", "sealed": True,
    ...                       "field_adjustment": "allowed", "largest_step_turns": "0.25", "reseal": "red paint"})
    >>> said.where, said.turn, said.rest
    ('Throttle', 'anticlockwise raises CO₂', 'at most 0.25 turns at a time; sealed, reseal: red paint')
    """
    turn, rest = [_("%s raises CO₂") % code_words(adjuster["raises_co2"])], []
    if adjuster["field_adjustment"] == "check_only":
        turn.append(_("check only, the manufacturer forbids field adjustment"))
    if turns := adjuster.get("largest_step_turns"):
        rest.append(_("at most %s turns at a time") % turns)
    elif step := adjuster.get("largest_step"):
        rest.append(_("at most %s at a time") % step)
    else:
        rest.append(_("largest step not stated"))
    if adjuster.get("sealed"):
        reseal = adjuster.get("reseal")
        rest.append(_("sealed, reseal: %s") % reseal if reseal else _("sealed"))
    elif "sealed" in adjuster:
        rest.append(_("not sealed"))
    if who := adjuster.get("who"):
        rest.append(_("only %s") % who)
    further = [name for name in fields_of(AdjusterIn) if name not in (*_ARRANGED, *_STEPS)]
    rest += [f"{uncapital(label)}: {said}" for label, said in rows_said(AdjusterIn, adjuster, further)]
    where = ", ".join(filter(None, (adjuster["name"], adjuster.get("tool"), adjuster.get("place"))))
    return AdjusterSaid(adjuster["rate"], where, "; ".join(turn), "; ".join(rest))


def adjuster_words(adjuster: Row) -> str:
    said = adjuster_said(adjuster)
    return "; ".join(filter(None, (f"{said.where}: {said.turn}", said.rest)))


def adjuster_name(adjuster: Row) -> str:
    return _("adjuster %(name)s for %(rate)s") % {"name": adjuster["name"], "rate": rate_words(adjuster["rate"])}


def order_words(rule: Row) -> str:
    """By how much the one rate lies above the other.

    >>> order_words({"quantity": "co2", "higher_rate": "high", "lower_rate": "low", "least_gap": "0.3"})
    'CO₂ at high fire at least 0.3 points above low fire'
    """
    shown = {"gas": GASES[rule["quantity"]]}
    shown |= {"higher": rate_words(rule["higher_rate"]), "lower": rate_words(rule["lower_rate"])}
    if rule.get("least_gap"):
        shown["gap"] = rule["least_gap"]
        return _("%(gas)s at %(higher)s at least %(gap)s points above %(lower)s") % shown
    return _("%(gas)s at %(higher)s not below %(lower)s") % shown


def order_name(rule: Row) -> str:
    shown = {"gas": GASES[rule["quantity"]]}
    shown |= {"higher": rate_words(rule["higher_rate"]), "lower": rate_words(rule["lower_rate"])}
    return _("order of %(gas)s, %(higher)s above %(lower)s") % shown


def input_words(sheet: Row) -> str:
    """
    >>> input_words({"rated_input_kw": "24", "minimum_input_kw": "4.8", "input_basis": "net"})
    '4.8 to 24 kW net'
    """
    least, most = sheet.get("minimum_input_kw"), sheet["rated_input_kw"]
    figures = most if least in (None, most) else _("%(least)s to %(most)s") % {"least": least, "most": most}
    return f"{figures} kW {code_words(sheet['input_basis'])}"


def _rate(rate: str) -> str:
    return _("any rate") if rate == "any" else rate


# ---- a limit set ----


def kept_words(limit: Row) -> str:
    """What is kept, with the unit.

    >>> kept_words({"fires_when": {"op": ">", "value": "400"}, "unit": "ppm"})
    'at most 400 ppm'
    """
    op: str = limit["fires_when"]["op"]
    value = limit["fires_when"]["value"]
    if op == "missing":
        return _("must be on record")
    if op == "incomplete":
        return _("must be complete")
    if op == "!=":
        return _("must be %s") % str(value)
    if value is None:
        return _("no figure entered")
    words = {
        ">": _("at most %s"),
        ">=": _("under %s"),
        "<": _("at least %s"),
        "rising_and_over": _("not rising above %s"),
        "outside": "%s",
        "between": _("not from %s"),
    }
    figures = _two(value) if isinstance(value, list) else _figure(value)
    return with_unit(words[op] % figures, limit.get("unit") or "")


def _figure(value: Any) -> str:
    """As the trade writes it; the name of a fact that holds the figure in words.

    >>> _figure("11.0"), _figure("0.004"), _figure("output_kw")
    ('11', '0.004', 'output')
    """
    number = figure_in(value)
    return fact_and_unit(str(value))[0] if number is None else limit_figure(number, 0)


def _two(ends: list[str | None]) -> str:
    lower, upper = (_figure(each) if each else "" for each in ends)
    if not lower or not upper:
        return _("at least %s") % lower if lower else _("at most %s") % upper
    return _("%(lower)s to %(upper)s") % {"lower": lower, "upper": upper}


def evidence_words(evidence: str) -> str:
    return str(EVIDENCE.get(evidence, evidence))


def edition_words(source: Row) -> str:
    """The document, its edition and the state of it that was looked at.

    >>> edition_words({"document": "Rule 9", "edition": "rev. 6", "as_of": "2010-10"})
    'Rule 9, rev. 6, as of October 2010'
    """
    parts = [int(each) for each in (source.get("as_of") or "").split("-") if each]
    shown = ("", "Y", "F Y", "j F Y")[len(parts)]
    as_of = _("as of %s") % date_format(date(*[*parts, 1, 1][:3]), shown) if parts else ""
    return ", ".join(filter(None, (source["document"], source.get("edition"), as_of)))


def source_words(source: Row) -> str:
    """The same, how well it is known, and what comes from it."""
    said = f"{edition_words(source)}: {evidence_words(source['evidence'])}"
    return f"{said} ({source['covers']})" if source.get("covers") else said


def limit_label(limit: Row) -> str:
    return quantity_label(limit["quantity"], limit.get("basis"))


def limit_at(limit: Row) -> str:
    """The rate and when it is read, where the source names them."""
    when = {"any": "", "as_found": _("as found"), "as_left": _("as left"), "as_found_and_as_left": _("found and left")}
    at, read = limit.get("firing_rate") or "any", limit.get("when") or "any"
    return ", ".join(filter(None, ("" if at == "any" else code_words(at), when.get(read, code_words(read)))))


def limit_words(limit: Row) -> str:
    said = f"{limit_label(limit)} {kept_words(limit)}"
    return ", ".join(filter(None, (said, limit_at(limit), select_words(limit.get("select") or {}))))


# ---- what becomes milder ----


def _limit_milder(name: str, then: Row, now: Row) -> str:
    """Of a field of a limit, in words, what it loosens; of a stop also what may only move it elsewhere."""
    before, after = (rank(each["severity"]) for each in (then, now))
    if name == "severity":
        if before >= STOP_RANK > after:
            return _("no longer ends the firing")
        return _("milder") if after < before else ""
    if name == "fires_when":
        loosened = _loosened(_ends(then), _ends(now))
        if loosened is not None:
            return (_("looser: it ends the firing later") if before >= STOP_RANK else _("looser")) if loosened else ""
    if name == "decision_rule":
        return _rule_milder(then, now)
    moves = name in ("quantity", "basis", "unit", "firing_rate", "when", "fires_when", "select")
    return _("a stop that no longer stands where it stood") if before >= STOP_RANK and moves else ""


def _rule_milder(then: Row, now: Row) -> str:
    """What names no known rule is taken to go by the plain figures."""
    before, after = (MARGINS[RULE_NAMES.get(str(each.get("decision_rule")), "simple")] for each in (then, now))
    return _("looser: the analyser's uncertainty counts less against it") if after < before else ""


Ends = tuple[float | None, ...]


def _ends(limit: Row) -> Ends | None:
    """The lower and the upper figure to keep, whether the upper one itself may be reached, and where another limit
    takes over; None on an open side, None for all where it isn't figures that are compared."""
    op, value = limit["fires_when"]["op"], limit["fires_when"]["value"]
    pair = value if isinstance(value, list) else [None, None]
    sides = {"<": (value, None), "outside": pair, "between": (None, pair[0], pair[1])}
    plain = sides.get(op, (None, value) if op in (">", ">=", "rising_and_over") else None)
    if plain is None:
        return None
    lower, upper, end = (None if each is None else figure_in(each) for each in (*plain, None)[:3])
    if any(each is not None and figure_in(each) is None for each in plain):
        return None  # The name of a fact
    return lower, upper, float(op not in (">=", "between")), end, float(op == "rising_and_over")


def _loosened(then: Ends | None, now: Ends | None) -> bool | None:
    """Whether something is kept that was outside; None where that can't be told."""
    if then is None or now is None:
        return None
    (lower, upper, reached, end, rising), (lower_now, upper_now, reached_now, end_now, rising_now) = then, now
    return (
        _less(lower_now, lower, -math.inf)
        or _less(upper, upper_now, math.inf)
        or (upper is not None and upper == upper_now and _less(reached, reached_now, 0))
        or _less(end_now, end, math.inf)
        or _less(rising, rising_now, 0)
    )


def _less(one: float | None, other: float | None, none: float) -> bool:
    return (none if one is None else one) < (none if other is None else other)


def _target_milder(name: str, then: Row, now: Row) -> str:
    if name != "band":
        return ""
    before, after = (_made_band(each) for each in (then, now))
    wider = _less(after.lower, before.lower, -math.inf) or _less(before.upper, after.upper, math.inf)
    return _("it keeps what was outside") if wider else ""


def _ceiling_milder(name: str, then: Row, now: Row) -> str:
    return _("looser") if name == "value" and float(now[name]) > float(then[name]) else ""


def _order_milder(name: str, then: Row, now: Row) -> str:
    return _("looser") if name == "least_gap" and float(now.get(name) or 0) < float(then.get(name) or 0) else ""


def _adjuster_milder(name: str, then: Row, now: Row) -> str:
    if name == "raises_co2":
        return _("turns the other way")
    if name == "field_adjustment":
        return _("may be turned in the field from now on") if now[name] == "allowed" else ""
    if name == "largest_step_turns":
        return _("larger step") if _less(figure_in(then.get(name)), figure_in(now.get(name)), math.inf) else ""
    if name == "sealed":
        return "" if now.get(name) else _("no longer sealed")
    return _("anybody may touch it") if name == "who" and not now.get(name) else ""


def _whole_milder(name: str, then: Row, now: Row) -> str:
    """Of what stands once on a sheet or a set. What comes first stood nowhere before."""
    if not then:
        return ""
    if name == "fuel":
        return _("readings are worked out by another fuel")
    if name == "minimum_gas_pressure_pa":
        return _("looser") if _less(figure_in(now.get(name)), figure_in(then.get(name)), 0) else ""
    return _rule_milder(then, now) if name == "decision_rule" else ""


# ---- what two say differently ----


@dataclass(frozen=True)
class Difference:
    """One thing that two contents say differently; empty where one of them says nothing of it.

    milder : in words, what it loosens, ends or turns the other way; empty where it does nothing of that.
    """

    path: str
    before: str
    after: str
    milder: str = ""


Milder = Callable[[str, Row, Row], str]


@dataclass(frozen=True)
class _Group:
    """Rows of one kind: their shape, how a row is told from others, named, said whole, what makes it milder, and which
    of its fields (or of what follows from several) have words of their own."""

    group: str
    shape: type[Shape]
    key: Collection[str]
    name: Callable[[Row], str]
    words: Callable[[Row], str]
    milder: Milder
    own: Mapping[str, tuple[Words, Callable[[Row], str]]] = field(default_factory=dict)


_SHEET_GROUPS = (
    _Group("targets", TargetIn, ROW_NAMES["targets"], target_name, target_words, _target_milder,
           {"band": (gettext_lazy("band"), band_words)}),
    _Group("ceilings", CeilingIn, ROW_NAMES["ceilings"], ceiling_name, ceiling_words, _ceiling_milder),
    _Group("adjusters", AdjusterIn, ROW_NAMES["adjusters"], adjuster_name, adjuster_words, _adjuster_milder),
    _Group("order_rules", OrderRuleIn, ROW_NAMES["order_rules"], order_name, order_words, _order_milder),
)  # fmt: skip
_LIMITS = _Group(
    "limits",
    LimitIn,
    ("id",),
    lambda limit: _("limit %s") % limit_words(limit),
    limit_words,
    _limit_milder,
    {
        "quantity": (gettext_lazy("what is read"), limit_label),
        "fires_when": (gettext_lazy("figures"), kept_words),
        "select": (gettext_lazy("for which appliances"), lambda limit: select_words(limit.get("select") or {})),
    },
)


def sheet_differences(before: Row, after: Row) -> list[Difference]:
    """What the later content says differently, in the order of a sheet; an empty content says nothing."""
    return [
        *_fields("", before, after, SheetIn, ROW_NAMES, _whole_milder),
        *(d for each in _SHEET_GROUPS for d in _rows(each, before, after)),
    ]


def limit_set_differences(before: Row, after: Row) -> list[Difference]:
    return [
        *_fields(
            "", before, after, LimitSetIn, ("id", "sources", "interval", "extra_intervals", "limits"), _whole_milder
        ),
        *_source_differences(before, after),
        *_interval_differences(before, after),
        *_rows(_LIMITS, before, after),
    ]


def _source_differences(before: Row, after: Row) -> Iterator[Difference]:
    if before.get("sources") != after.get("sources"):
        said = ("; ".join(source_words(each) for each in content.get("sources", ())) for content in (before, after))
        yield Difference(_("sources"), *said)


def _interval_differences(before: Row, after: Row) -> Iterator[Difference]:
    yield from _one_interval(_("interval"), before.get("interval"), after.get("interval"))
    extras = [{each["name"]: each for each in extra_intervals(content)} for content in (before, after)]
    for name in dict.fromkeys([*extras[0], *extras[1]]):
        yield from _one_interval(_("interval %s") % name, extras[0].get(name), extras[1].get(name))


def _one_interval(name: str, then: Row | None, now: Row | None) -> Iterator[Difference]:
    if then == now:
        return
    said = [interval_words(each) if each else "" for each in (then, now)]
    if said[0] == said[1]:
        said = [text(then), text(now)]
    ends = then is not None and then["type"] != "none" and (now is None or now["type"] == "none")
    yield Difference(name, said[0], said[1], milder=_("ends") if ends else "")


def _rows(group: _Group, before: Row, after: Row) -> Iterator[Difference]:
    then, now = (
        {tuple(each[name] for name in group.key): each for each in content.get(group.group, ())}
        for content in (before, after)
    )
    for key in dict.fromkeys([*then, *now]):
        if key not in then:
            yield Difference(group.name(now[key]), "", group.words(now[key]))
        elif key not in now:
            stops = rank(then[key].get("severity", SEVERITIES[0])) >= STOP_RANK
            ends = _("ends, and with it a stop") if stops else _("ends")
            yield Difference(group.name(then[key]), group.words(then[key]), "", ends)
        else:
            yield from _one_row(group, then[key], now[key])


def _one_row(group: _Group, then: Row, now: Row) -> Iterator[Difference]:
    path = f"{group.name(then)}: "
    yield from _fields(path, then, now, group.shape, {*group.key, *group.own}, group.milder)
    for name, (words, said) in group.own.items():
        both = said(then), said(now)
        if both[0] == both[1] and then.get(name) != now.get(name):
            both = text(then.get(name)), text(now.get(name))
        if both[0] != both[1]:
            yield Difference(f"{path}{words}", *both, milder=group.milder(name, then, now))


def _fields(
    path: str, before: Row, after: Row, shape: type[Shape], said_otherwise: Collection[str], milder: Milder
) -> Iterator[Difference]:
    for name, info in fields_of(shape).items():
        if name not in said_otherwise and before.get(name) != after.get(name):
            kind = kind_of(info)
            label = uncapital(kind.heading(name)) if kind else name.replace("_", " ")
            then, now = (_field_said(kind, content.get(name)) for content in (before, after))
            yield Difference(f"{path}{label}", then, now, milder(name, before, after))


def _field_said(kind: Kind | None, value: Any) -> str:
    return _value_said(kind, value) if isinstance(kind, Word) and isinstance(value, str) else text(value)


def rows_said(shape: type[Shape], values: Row, names: Collection[str] | None = None) -> list[tuple[str, str]]:
    """Fields of a shape by their labels, with what is said in them: those of these names, else all that aren't lists of
    parts. What says nothing is left out.

    >>> rows_said(SheetIn, {"fuel": "natural_gas", "rated_input_kw": "24", "condensing": True, "targets": [{}]})
    [('Fuel', 'Natural gas (typical)'), ('Condensing', 'yes'), ('Rated input', '24 kW')]
    """
    asked = (
        (kind_of(info), values.get(name)) for name, info in fields_of(shape).items() if names is None or name in names
    )
    rows = ((kind, value) for kind, value in asked if kind and kind.label and value not in (None, "", []))
    return [
        (str(kind.label), _value_said(kind, value))
        for kind, value in rows
        if not (isinstance(value, list) and isinstance(value[0], dict))
    ]


def _value_said(kind: Kind, value: Any) -> str:
    if isinstance(kind, Word):
        named = kind.choices.get(value) if isinstance(kind.choices, Mapping) else None
        return str(named or code_words(value))
    if isinstance(kind, Text):
        return str(value)
    return f"{text(value)} {kind.unit}" if isinstance(kind, DecimalText) and kind.unit else text(value)


def text(value: Any) -> str:
    """A value of a content as one reads it.

    >>> text(True), text(["high", "low"]), text("natural_gas"), text(None)
    ('yes', 'high, low', 'natural gas', '')
    >>> text([{"to": "client", "days_after_visit": 15}, {"to": "new tenant", "before": "tenancy"}])
    'to: client, days after visit: 15; to: new tenant, before: tenancy'
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, list) and all(isinstance(each, str) for each in value):
        return ", ".join(value)
    if isinstance(value, list):
        return "; ".join(text(each) for each in value)
    if isinstance(value, dict):
        return ", ".join(f"{name.replace('_', ' ')}: {text(each)}" for name, each in value.items())
    known = str(EVIDENCE.get(value, value)) if isinstance(value, str) else str(value)
    return known.replace("_", " ") if " " not in known else known
