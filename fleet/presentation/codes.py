"""The words for the codes that rows, records and the API keep, for the names of quantities, and for the fields that a
refusal names by their paths. A code without a word of its own is said as spelt: that is what is then translated.
"""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.functional import lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from fleet.limits.quantities import label
from fleet.presentation.days import said_day
from fleet.presentation.words import capital, signs, within_ours
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES

WORDS = {
    "email": gettext_noop("e-mail"),
    "analyser_print_out": gettext_noop("analyser print-out"),
    "self_adapting": gettext_noop("self-adapting"),
    "by_the_sites_controls": gettext_noop("by the site's controls"),
    "cannot_tell": gettext_noop("can't be decided"),
    "does_not_apply": gettext_noop("doesn't apply"),
    "urgent": gettext_noop("urgent repair"),
    "installation_on": gettext_noop("day of installation"),
    "output_kw_sum": gettext_noop("output of all together"),
    "co2": gettext_noop("CO₂"),
    "isolated": gettext_noop("isolated and labelled"),
    "natural_gas_l": gettext_noop("low-calorific natural gas (G25)"),
    "natural_gas_10_h2": gettext_noop("natural gas with 10 % hydrogen"),
    "natural_gas_20_h2": gettext_noop("methane with 20 % hydrogen"),
    "natural_gas_30_h2": gettext_noop("natural gas with 30 % hydrogen"),
    "lpg": gettext_noop("LPG"),
    # Facts that limits and intervals ask for.
    "room_sealed": gettext_noop("room-sealed"),
    "oil_light": gettext_noop("light oil"),
    "oil_heavy": gettext_noop("heavy oil"),
    "natural_draft": gettext_noop("natural draught"),
    "permit_on": gettext_noop("day of the permit"),
    "fire_tube": gettext_noop("fire-tube"),
    "chp": gettext_noop("heat and power unit"),
    "min_combustion_efficiency_pct": gettext_noop("the efficiency recorded for it in"),
    "as_left_o2": gettext_noop("the O₂ as left in"),
    # What a limit's figure is counted on.
    "ambient": gettext_noop("in the room"),
    "ambient_ceiling": gettext_noop("in the room, at no time"),
    "air_inlet": gettext_noop("of the intake air"),
    "all_three_filters": gettext_noop("on all three filters"),
    "mean_of_three": gettext_noop("mean of three spots, rounded to a whole one"),
    "dry_at_3_pct_o2": gettext_noop("dry, at 3 % O₂"),
    "dry_at_7_pct_o2": gettext_noop("dry, at 7 % O₂"),
    "fuel_input_gross_seasonal": gettext_noop("of the gross fuel input, by a seasonal type test"),
    "gross_assumed": gettext_noop("gross heating value, as we read it"),
    "per_kwh": gettext_noop("of the heat input"),
    "qa": gettext_noop("by the regulation's own coefficients"),
    "uni_method": gettext_noop("by the UNI method, at the largest effective firing rate"),
    "upstream_of_draught_control": gettext_noop("before the draught control, at rest"),
    "wet_or_dry_same_before_and_after": gettext_noop("wet or dry, the same before and after"),
    # Where a limit set is in force.
    "CA-ON": gettext_noop("Ontario, Canada"),
    "DE": gettext_noop("Germany"),
    "EU": gettext_noop("European Union"),
    "FR": gettext_noop("France"),
    "GB": gettext_noop("Great Britain"),
    "GB-EAW": gettext_noop("England and Wales"),
    "IT": gettext_noop("Italy"),
    "US": gettext_noop("United States"),
    "US-CA-SCAQMD": gettext_noop("South Coast air district, California"),
    "US-CA-SDAPCD": gettext_noop("San Diego County air district, California"),
    "US-NJ": gettext_noop("New Jersey"),
    "US-NY": gettext_noop("New York State"),
    "US-NYC": gettext_noop("New York City"),
    "any": gettext_noop("anywhere"),
}


def code_words(code: str) -> str:
    """
    >>> code_words("as_found"), code_words("by_the_sites_controls")
    ('as found', "by the site's controls")
    """
    word = WORDS.get(code) or WORDS.get(code.lower()) or code.replace("_", " ")
    return _(word) if word else ""


# Where a word is asked for before anybody's language is known.
code_words_lazy = lazy(code_words, str)


# What limits are about.
LABELS = {
    "co": gettext_lazy("CO"),
    "co_ppm_air_free": gettext_lazy("CO air-free"),
    "nox": gettext_lazy("NOx"),
    "o2": gettext_lazy("O₂"),
    "co2": gettext_lazy("CO₂"),
    "intake_o2": gettext_lazy("intake O₂"),
    "co_co2_ratio": gettext_lazy("CO/CO₂ ratio"),
    "rate_gap": gettext_lazy("%(gas)s at %(higher)s less %(gas)s at %(lower)s"),
    "co_trend_in_test": gettext_lazy("rising CO"),
    "flue_temp": gettext_lazy("flue temperature"),
    "soot_number": gettext_lazy("smoke spot"),
    "smoke": gettext_lazy("smoke spot"),
    "o2_trim_setpoint": gettext_lazy("O₂ trim set-point"),
    "co_and_o2_pair": gettext_lazy("CO and O₂ before and after"),
    "examination_26_9": gettext_lazy("examination"),
    "ambient_co": gettext_lazy("ambient CO"),
    "ambient_co_rise": gettext_lazy("rise of ambient CO"),
    "ambient_co_twa8h": gettext_lazy("8 h average of ambient CO"),
    "ambient_co_8h": gettext_lazy("8 h average of ambient CO"),
    "ambient_co_15min": gettext_lazy("15 min average of ambient CO"),
    "ambient_co_24h": gettext_lazy("24 h average of ambient CO"),
}


def label_words(said: Sequence[Any]) -> str:
    """What was read, of its code and figures.

    >>> label_words(["nox", {"at_o2_pct": 3.0}]), label_words(["flue_loss", {}])
    ('NOx at 3 % O₂', 'flue loss')
    """
    code, figures = said
    shown = {name: str(LABELS.get(each, each)) for name, each in figures.items()}
    name = str(LABELS[code]) % shown if code in LABELS else code_words(code)
    if "at_o2_pct" not in figures:
        return name
    return _("%(what)s at %(o2)s %% O₂") % {"what": name, "o2": f"{figures['at_o2_pct']:g}"}


def quantity_label(quantity: str, basis: str | None = None) -> str:
    """The same of a limit's quantity on its basis."""
    return label_words(label(quantity, basis))


# ---- refusals ----

# Of what a path names: the rows of a list by one of them; "values" holds quantities, which name themselves.
FIELDS = {
    "readings": gettext_noop("reading"),
    "defects": gettext_noop("defect"),
    "analysers": gettext_noop("analyser"),
    "targets": gettext_noop("target"),
    "ceilings": gettext_noop("ceiling"),
    "adjusters": gettext_noop("adjuster"),
    "limits": gettext_noop("limit"),
    "sources": gettext_noop("source"),
    "not_done": gettext_noop("firing not done"),
    "restore_steps": gettext_noop("restore step"),
    "inspection_points": gettext_noop("inspection point"),
    "id": gettext_noop("number of the record"),
    "body": gettext_noop("the message as a whole"),
    "after_minutes": gettext_noop("minutes after the first"),
    "kinds": gettext_noop("alerted when"),
    "sent_at": gettext_noop("sent on"),
    "given_on": gettext_noop("told on"),
    "at": gettext_noop("when"),
    "user": gettext_noop("who"),
}
_CODE = re.compile(r"(?<![\w.@/-])'?([a-z][a-z0-9]*(?:_[a-z0-9]+)+)'?(?![\w@/]|\.\w)")
_PATTERN = re.compile(r"(such as [^.;]*)")
_ISO_DAY = re.compile(r"\b\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])\b")


def field_words(path: str) -> str:
    """Where in a message something is.

    >>> field_words("readings.0.values.o2.unit"), field_words("attendance.arrived_at")
    ('Reading 1, O₂, unit', 'Attendance, arrived at')
    """
    quantities = {**READING_QUANTITIES, **CONDITION_QUANTITIES}
    named: list[str] = []
    for part in path.split("."):
        if part.isdigit() and named:
            named[-1] = f"{named[-1]} {int(part) + 1}"
        elif part in quantities:
            named.append(str(quantities[part].label))
        elif part != "values":
            named.append(_(FIELDS[part]) if part in FIELDS else code_words(part))
    return capital(", ".join(named))


def refusal_words(refusal: str) -> str:
    """What was given and what is allowed, codes and days in words; a pattern ("such as 2026-03-02") as it is.

    >>> refusal_words("is '2026-03-02'; it must be one of: as_found, as_left, co2")
    "is '2 March 2026'; it must be one of: as found, as left, CO₂."
    """
    before, asked, codes = refusal.partition("must be one of: ")
    allowed = ", ".join(code_words(each) for each in codes.split(", ")) if asked else ""
    parts = _PATTERN.split(_CODE.sub(lambda found: code_words(found[1]), before))
    spoken = "".join(each if number % 2 else _spoken(each) for number, each in enumerate(parts))
    return within_ours(f"{spoken}{asked}{allowed}") + "."


def _spoken(refusal: str) -> str:
    return signs(_ISO_DAY.sub(lambda found: said_day(found[0]), refusal))


def refusal_lines(errors: Mapping[str, str], labels: Mapping[str, str]) -> list[tuple[str, str]]:
    """Each field by the label that the user saw, else by its path in words, with what is wrong with it."""
    return [
        (labels.get(path.rpartition(".")[2]) or field_words(path), refusal_words(str(said_of)))
        for path, said_of in errors.items()
    ]


# ---- background work ----

_JOBS = {
    "nightly": gettext_noop("Work of the night"),
    "ration_extra_visits": gettext_noop("Who gets an extra visit"),
    "refit": gettext_noop("Learn drift anew"),
    "refresh_appliance": gettext_noop("Look at an appliance again"),
    "refresh_everybody": gettext_noop("Have every appliance looked at again"),
    "refresh_shard": gettext_noop("Look at some appliances again"),
    "open_missing_required_checks": gettext_noop("Open required checks that are missing"),
    "compare_visit": gettext_noop("Hold a visit against others"),
    "alert_on_flag": gettext_noop("Alert of a flag"),
    "send_alert": gettext_noop("Send an alert"),
    "plan_messages": gettext_noop("Plan who is alerted of what"),
    "daily_summary": gettext_noop("Send the day's news"),
    "feed_hooks": gettext_noop("Gather events for webhooks"),
    "send_hook": gettext_noop("Send events to a webhook"),
    "heartbeat": gettext_noop("Heartbeat"),
    "prune_jobs": gettext_noop("Remove old rows of background work"),
}


def job_words(kind: str) -> str:
    return _(_JOBS[kind]) if kind in _JOBS else kind.replace("_", " ").capitalize()
