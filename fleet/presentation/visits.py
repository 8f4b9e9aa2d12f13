"""A visit in words: what was found and how it was left, by which limits; who, with what, when; what was done."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import tzinfo

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.assess.judging.visit_facts import AnalyserFacts, PersonFacts, VisitFacts
from fleet.limits import Verdict, standing
from fleet.models import Defect, Visit, WorkItem
from fleet.models.records import content_of
from fleet.presentation.codes import code_words
from fleet.presentation.contents import input_words
from fleet.presentation.days import day_and_time, long_day, time_there, weekday
from fleet.presentation.figures import chance_words, derived, read_figure, read_with_unit
from fleet.presentation.verdicts import (
    LimitSource,
    limit_words,
    source_of,
    sources,
    value_words,
    verdicts_of,
    what_words,
)
from fleet.presentation.words import MOST_WORDS, capital, listed, rate_words, shortened, within_list, within_ours
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES, Quantity

MOST_NAMED = 3
# Of what somebody wrote in a lead.
MOST_OF_REASON = 12


# ---- the answer ----


def opening(facts: VisitFacts) -> str:
    """As found and as left with figure and limit, what was done, when; the sets last. At most 60 words in whole."""
    for most_named in (MOST_NAMED, 2, 1):
        said = " ".join(filter(None, _opening(facts, most_named)))
        if len(said.split()) <= MOST_WORDS:
            return said
    return " ".join(filter(None, _opening(facts, 0)))


def _opening(facts: VisitFacts, most_named: int) -> Iterator[str]:
    """most_named : so many figures and sets at most are named, the others are counted."""
    visit = facts.visit
    if visit.outcome != Visit.Outcome.TESTED:
        shown = {
            "outcome": capital(visit.get_outcome_display()),
            "why": shortened(visit.outcome_reason, MOST_OF_REASON if most_named else MOST_OF_REASON // 3),
        }
        yield _("%(outcome)s: %(why)s.") % shown
    yield from _by_phase(facts, most_named)
    yield _not_read_again(facts, most_named)
    if not facts.readings:
        yield _("Nothing was read, so nothing was held against a limit.")
    elif not any(each.phase == "as_left" for each in verdicts_of(facts)):
        yield _("It was left as found.") if _is_as_found(facts) else _("No reading was taken as left.")
    shown = {"left": capital(visit.get_disposition_display()), "day": weekday(visit.local_date)}
    yield _("%(left)s on %(day)s.") % shown
    yield _held_against(facts, most_named)


def _is_as_found(facts: VisitFacts) -> bool:
    """Said so, or nothing that moves combustion was done after the readings."""
    return facts.visit.left_as_found or not facts.judgement.turned_out.before_work


def _by_phase(facts: VisitFacts, most_named: int) -> list[str]:
    """What stands against the limits as found and as left, once where it is the same."""
    found, left = (_stands(_of_phase(facts, phase), most_named) for phase in ("as_found", "as_left"))
    if found and found == left and not _outside(_of_phase(facts, "as_found")):
        return [_("As found and as left, %s.") % found]
    return [words % said for words, said in ((_("As found, %s."), found), (_("As left, %s."), left)) if said]


def _stands(rows: list[Verdict], most_named: int) -> str:
    """Silent where nothing was read."""
    if outside := _outside(rows):
        return _("outside as recorded: %s") % _named_excesses(outside, most_named)
    if any(each.outcome == "within" for each in rows):
        return _("what could be judged was within its limits as recorded")
    return _("no reading could be judged") if rows else ""


def _outside(rows: Iterable[Verdict]) -> list[Verdict]:
    return [each for each in rows if each.outcome == "outside"]


def _of_phase(facts: VisitFacts, phase: str) -> list[Verdict]:
    return [each for each in verdicts_of(facts) if each.phase == phase and (each.rate or each.outcome == "outside")]


def _not_read_again(facts: VisitFacts, most_named: int) -> str:
    """What was found outside and never judged again as left: it stands, whatever else was put right."""
    rows = verdicts_of(facts)
    again = {
        what_words(each, with_phase=False)
        for each in rows
        if each.phase == "as_left" and each.outcome in ("outside", "within")
    }
    if not any(each.phase == "as_left" for each in rows):
        return ""
    stands = [each for each in _outside(standing(rows)) if each.phase == "as_found"]
    left_over = [each for each in stands if what_words(each, with_phase=False) not in again]
    found = [each.what for each in excesses(left_over, with_phase=False)]
    return _("Not judged again as left, so it stands: %s.") % _first(found, most_named) if found else ""


def _held_against(facts: VisitFacts, most_named: int) -> str:
    """The sets that something was found within or outside of, with the doubts about them."""
    rows = [each for phase in ("as_found", "as_left") for each in _of_phase(facts, phase)]
    judged = sources(each for each in rows if each.outcome in ("outside", "within"))
    return _("Held against %s.") % _sets_in_short(judged, most_named) if judged else ""


def _sets_in_short(found: list[LimitSource], most_named: int) -> str:
    """Named where they are few; counted where they are many, with how many of them are open to doubt."""
    if len(found) <= most_named:
        return listed([each.named_with_doubt for each in found])
    shown = {"count": len(found), "doubtful": sum(each.is_open_to_doubt for each in found)}
    if not shown["doubtful"]:
        return ngettext("the set listed below", "the %(count)d sets listed below", len(found)) % shown
    return (
        ngettext(
            "the set listed below (not reviewed or unverified)",
            "the %(count)d sets listed below (%(doubtful)d of them not reviewed or unverified)",
            len(found),
        )
        % shown
    )


@dataclass(frozen=True)
class Excess:
    """One quantity at one rate, its figure furthest out, and every verdict by which it is outside."""

    what: str
    value: str
    verdicts: tuple[Verdict, ...]

    @property
    def limits(self) -> str:
        """Of each set the strictest."""
        by_set: dict[str, str] = {}
        for each in self.verdicts:
            source = source_of(each)
            by_set.setdefault(source.named, ", ".join(filter(None, (limit_words(each), source.named_with_doubt))))
        return "; ".join(by_set.values())

    @property
    def strictest(self) -> str:
        """The first limit alone, with the doubts about its set; empty where it has no figure."""
        verdict = self.verdicts[0]
        limit = limit_words(verdict)
        return ", ".join([_("limit %s") % limit, *source_of(verdict).doubts]) if limit else ""


def excesses(outside: list[Verdict], *, with_phase: bool) -> list[Excess]:
    """What is outside, the strictest first, each quantity once at a rate."""
    gathered: dict[tuple[str, str], list[Verdict]] = {}
    for each in outside:
        gathered.setdefault((what_words(each, with_phase=with_phase), each.unit), []).append(each)
    return [
        Excess(what, value_words(max(verdicts, key=_beyond)), tuple(verdicts))
        for (what, _unit), verdicts in gathered.items()
    ]


def _beyond(verdict: Verdict) -> float:
    """How far its value is beyond its limit; none where either is no figure."""
    if not isinstance(verdict.value, float | int):
        return 0.0
    above = 0.0 if verdict.upper is None else verdict.value - verdict.upper
    return max(above, 0.0 if verdict.lower is None else verdict.lower - verdict.value)


def _named_excesses(outside: list[Verdict], most_named: int) -> str:
    found = excesses(outside, with_phase=False)
    return _first(
        [f"{each.what} {each.value}" + (f" ({each.strictest})" if each.strictest else "") for each in found], most_named
    )


def _first(named: list[str], most_named: int) -> str:
    """The first of them, the others counted."""
    more = len(named) - most_named
    if more <= 0:
        return "; ".join(named)
    counted = ngettext("%d more, listed below", "%d more, listed below", more) % more
    return "; ".join([*named[:most_named], counted]) if most_named else _("%d, listed below") % more


# ---- what stands framed at the top ----


def stop_heading(facts: VisitFacts) -> str:
    """Why the paper opens with a frame; empty where it doesn't."""
    if facts.visit.unsafe:
        return _("Declared unsafe")
    stops = [each for each in verdicts_of(facts) if each.stop]
    if any(each.phase == "as_left" for each in stops):
        return _("At a stop level as left")
    if stops:
        return _("At a stop level as found")
    if any(each.reading.flame_unstable for each in facts.readings):
        return _("Flame unstable")
    return ""


def stop_levels(facts: VisitFacts) -> Iterator[str]:
    """What was done about it and who was told, then each reading at a stop level."""
    visit, details = facts.visit, facts.visit.unsafe_details
    if details.get("reason"):
        yield _("Reason: %s") % details["reason"]
    if visit.unsafe:
        told = details.get("told")
        parts = [
            _("Isolated.") if details.get("isolated") else _("Isolating is NOT recorded."),
            _("Labelled.") if details.get("labelled") else _("Labelling is NOT recorded."),
            _("Told: %s.") % within_ours(told) if told else _("Who was told is not recorded."),
        ]
        yield " ".join(parts)
    isolated = visit.unsafe and details.get("isolated") and visit.disposition == Visit.Disposition.ISOLATED
    if not isolated:
        yield _("As it stands: %s.") % visit.get_disposition_display()
    stops = excesses([each for each in verdicts_of(facts) if each.stop], with_phase=True)
    for each in stops[: 2 * MOST_NAMED]:
        shown = {"what": capital(each.what), "value": each.value, "limits": each.limits}
        yield _("%(what)s: %(value)s, outside as recorded (%(limits)s).") % shown
    if len(stops) > 2 * MOST_NAMED:
        yield _("And more, listed under the findings.")
    unstable = [
        f"{rate_words(each.reading.rate)} ({each.reading.number})"
        for each in facts.readings
        if each.reading.flame_unstable and not any(stop.verdicts[0].quantity == "flame" for stop in stops)
    ]
    if unstable:
        yield _("Flame unstable at %s.") % listed(unstable)


# ---- facts in two columns ----


def appliance_pairs(facts: VisitFacts) -> list[tuple[str, str]]:
    appliance, sheet = facts.appliance, facts.card.sheet
    place = ", ".join(filter(None, (appliance.room, appliance.building.name, appliance.building.address)))
    kind = ", ".join(code_words(each) for each in (appliance.kind, sheet.control) if each)
    named = f"{sheet.name} v{sheet.version}" if sheet.version else _("no settings sheet, so no target")
    return [
        (_("Appliance"), f"{appliance.name}: {kind}"),
        (_("Place"), place),
        (_("Settings sheet"), named),
        (_("Serial"), _serial(facts)),
        (_("Fuel"), code_words(facts.visit.fuel)),
        (_("Input"), _input(facts)),
        (_("Air"), f"{_air(facts)}; {_room(facts.visit)}"),
    ]


def _serial(facts: VisitFacts) -> str:
    seen, known = facts.visit.data_plate.get("serial_seen", ""), facts.appliance.serial
    data_plate = _("data plate confirmed") if facts.visit.data_plate.get("confirmed") else _("data plate NOT confirmed")
    if seen and seen != known:
        data_plate = _("%(data_plate)s, it shows %(seen)s") % {"data_plate": data_plate, "seen": seen}
    return f"{known or _('none on the register')}, {data_plate}"


def _input(facts: VisitFacts) -> str:
    sheet = _judged_sheet(facts)
    parts = []
    if sheet.get("rated_input_kw"):
        parts.append(_("rated %s") % input_words(sheet))
    for each in facts.readings:
        if each.derived.input_kw_gross is not None:
            shown = {name: derived(each.derived, f"input_kw_{name}") for name in ("net", "gross")}
            shown["rate"] = rate_words(each.reading.rate)
            parts.append(_("timed at %(rate)s %(net)s kW net, %(gross)s kW gross") % shown)
    return "; ".join(parts) or _("not recorded")


def _judged_sheet(facts: VisitFacts) -> dict[str, str]:
    """The content of the sheet's version that the visit was judged by."""
    version, sheet = facts.card.sheet.version, facts.appliance.sheet
    versions = sheet.versions.all() if sheet else ()
    return next((dict(each.content) for each in versions if str(each.number) == version), {})


def visit_pairs(facts: VisitFacts) -> list[tuple[str, str]]:
    zone = facts.zone
    return [
        *((_("Technician"), _person(each, facts)) for each in facts.people),
        *((_("Analyser"), _analyser(each, facts)) for each in facts.analysers),
        (_("Times"), _times(facts, zone)),
        *([(_("Not wholly tested"), facts.visit.outcome_reason)] if facts.visit.outcome_reason else []),
    ]


def _person(each: PersonFacts, facts: VisitFacts) -> str:
    if each.person is None:
        return _("%s, not on the register: NO qualification can be shown") % each.name
    kind = _("oil") if facts.visit.fuel.endswith("oil") else _("gas")
    if each.qualification is None:
        shown = {"name": each.name, "kind": kind, "day": long_day(facts.visit.local_date)}
        return _("%(name)s, NO qualification for %(kind)s in force on %(day)s") % shown
    held = each.qualification
    shown = {"name": each.name, "kind": kind, "held": f"{held.scheme} {held.number}", "day": long_day(held.valid_to)}
    return _("%(name)s, qualified for %(kind)s by %(held)s to %(day)s") % shown


def _analyser(each: AnalyserFacts, facts: VisitFacts) -> str:
    if each.analyser is None:
        return _("%s, not on the register: NO calibration can be shown") % each.name
    name = f"{each.name} ({each.analyser.serial})" if each.analyser.serial else each.name
    if each.calibration is None:
        shown = {"name": name, "day": long_day(facts.visit.local_date)}
        calibrated = _("%(name)s, NO calibration in force on %(day)s") % shown
    else:
        made = each.calibration
        shown = {"name": name, "certificate": made.certificate, "by": made.by}
        shown |= {"done": long_day(made.done_on), "to": long_day(made.valid_to)}
        calibrated = _("%(name)s, certificate %(certificate)s by %(by)s of %(done)s, covers to %(to)s") % shown
    return f"{calibrated}. {_measures(each)}"


def _measures(each: AnalyserFacts) -> str:
    assert each.analyser is not None
    labels = {name: str(row.label) for name, row in READING_QUANTITIES.items()}
    names = [within_list(labels.get(name, name)) for name in each.analyser.measures]
    said = _("Measures: %s") % (listed(names) or _("not recorded"))
    if each.analyser.co2 == "measured" and "co2" in each.analyser.measures:
        return f"{said}."
    co2 = {"measured": _("CO₂ is measured"), "calculated": _("CO₂ is calculated from O₂, not measured")}
    return f"{said}; {co2.get(each.analyser.co2, _('it gives no CO₂'))}."


def _times(facts: VisitFacts, zone: tzinfo) -> str:
    """Arrived and left; the offset from UTC only in the hours that the clocks show twice."""
    arrived, left = facts.visit.attendance.arrived_at, facts.visit.attendance.left_at
    moments = {_("arrived"): arrived, _("left"): left}
    said = [f"{word} {time_there(each, zone)}" for word, each in moments.items() if each]
    return ", ".join([*said, facts.appliance.building.time_zone]) if said else _("not recorded")


def _air(facts: VisitFacts) -> str:
    quantity = READING_QUANTITIES["air_temp"]
    intake = sorted({each.reading.air_temp_c for each in facts.readings if each.reading.air_temp_c is not None})
    parts = [_("%s at the intake") % _range([read_with_unit(quantity, each) for each in intake])] if intake else []
    for name, words in (("outdoor_temp", _("%s outdoors")), ("barometric_pressure", _("pressure %s"))):
        condition = CONDITION_QUANTITIES[name]
        value = getattr(facts.visit, condition.column)
        if value is not None:
            said = facts.visit.condition_qualifiers.get(name, "=")
            parts.append(words % read_with_unit(condition, value, said))
    return ", ".join(parts) or _("temperature not read")


def _range(shown: list[str]) -> str:
    return shown[0] if shown[0] == shown[-1] else _("%(low)s to %(high)s") % {"low": shown[0], "high": shown[-1]}


def _room(visit: Visit) -> str:
    """Ambient CO before and after, the unit once where both were read."""
    before, after = (CONDITION_QUANTITIES[f"ambient_co_{when}"] for when in ("before", "after"))
    is_both = visit.ambient_co_before_ppm is not None and visit.ambient_co_after_ppm is not None
    first = read_figure if is_both else read_with_unit
    shown = {"before": _room_figure(visit, before, first), "after": _room_figure(visit, after, read_with_unit)}
    return _("CO in the room before %(before)s, after %(after)s") % shown


def _room_figure(visit: Visit, quantity: Quantity, words: Callable[[Quantity, float | None, str], str]) -> str:
    value, said = getattr(visit, quantity.column), visit.condition_qualifiers.get(quantity.name, "=")
    return _("not read") if value is None and said == "=" else words(quantity, value, said)


# ---- work, defects, steps ----


def work_line(item: WorkItem) -> str:
    done = code_words(item.kind)
    kind = _("%s replaced") % done if item.replaced else done
    given = (
        item.component or code_words(item.concerned),
        item.adjuster,
        item.rate and _("at %s") % rate_words(item.rate),
        item.direction,
        item.amount,
    )
    details = [within_ours(each) for each in given]
    after = _("after reading %d") % item.after_reading if item.after_reading else _("before any reading")
    said = ", ".join(filter(None, [*details, after]))
    return f"{capital(kind)}: {said}. {item.note}".strip()


def defect_line(defect: Defect) -> str:
    where = f" ({defect.where})" if defect.where else ""
    parts = [f"{within_ours(defect.what)}{where}: {code_words(defect.severity)}."]
    if defect.action:
        parts.append(f"{capital(within_ours(defect.action))}.")
    if defect.done:
        parts.append(_("Repaired at this visit."))
    elif defect.closed_by_id:
        parts.append(_("Repaired by a later visit."))
    else:
        parts.append(_("Open, to be repaired by %s.") % long_day(defect.repair_by) if defect.repair_by else _("Open."))
    parts.append(_("Told: %s.") % within_ours(defect.told) if defect.told else _("Who was told is not recorded."))
    return " ".join(parts)


def restore_lines(visit: Visit) -> Iterator[str]:
    """Not done first, each with its reason; then what doesn't apply; then what was done."""
    answers = visit.restore_steps
    for each in answers:
        if each["answer"] == "not_done":
            yield _("NOT done: %(step)s. Why: %(why)s") % {
                "step": within_ours(each["step"]),
                "why": each.get("why") or _("not said"),
            }
    for each in visit.not_done:
        shown = {"rate": rate_words(each["rate"]), "phase": code_words(each["phase"]), "why": each["why"]}
        yield _("NOT read: %(rate)s, %(phase)s. Why: %(why)s") % shown
    for answer, words in (("does_not_apply", _("Does not apply: %s.")), ("done", _("Done: %s."))):
        steps = [within_ours(each["step"]) for each in answers if each["answer"] == answer]
        if steps:
            yield words % ", ".join(steps)


# ---- the record ----


def signature_words(facts: VisitFacts) -> str:
    visit = facts.visit
    if visit.signed_at is None:
        return _("Not signed.")
    given = content_of(visit.record).get("signature", {}).get("person", "")
    name = visit.signed_by.name if visit.signed_by else _("%s, not on the register") % given
    signed = f"{name}, {day_and_time(visit.signed_at, facts.zone)}"
    if not visit.record.amends_id or _signed_again(facts):
        return signed
    shown = {"signed": signed, "who": visit.record.actor, "name": name}
    return _("%(signed)s, as first recorded; corrected by %(who)s, not signed by %(name)s.") % shown


def _signed_again(facts: VisitFacts) -> bool:
    """Who signed corrected it themself, and signed what they sent then."""
    visit, before = facts.visit, facts.records[-2]
    theirs = visit.signed_by is not None and visit.signed_by.user_id == visit.record.actor_id
    return theirs and visit.signed_at is not None and visit.signed_at > before.received_at


def suggestion_note() -> str:
    """Beside every pattern: what it is, and who decides."""
    return _(
        "A pattern suggests where to look; it proves nothing and no verdict rests on it. A licensed person decides, by "
        "the manufacturer's instructions and the local code."
    )


def side_figures(facts: VisitFacts) -> list[str]:
    """Beside each target as last judged: how likely the true value keeps it, and whether the analyser could prove it.

    Nothing is decided by these: targets go by the simple rule.
    """
    last = {each.limit_id: each for each in verdicts_of(facts) if each.kind == "band"}
    return [_side_figure(each) for each in last.values() if each.conformity is not None]


def _side_figure(verdict: Verdict) -> str:
    shown = {
        "what": capital(what_words(verdict)),
        "value": value_words(verdict),
        "limit": limit_words(verdict),
        "chance": chance_words(verdict.conformity or 0.0),
    }
    said = _("%(what)s: read %(value)s; the true value keeps %(limit)s with %(chance)s") % shown
    if verdict.provable is False:
        return _("%s; with this analyser's accuracy no reading could prove this band at 95 %%.") % said
    return f"{said}."
