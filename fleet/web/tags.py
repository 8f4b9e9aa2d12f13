"""Template tags and filters of our own; every template has them without loading."""

import json
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.core.serializers.json import DjangoJSONEncoder
from django.forms import BoundField
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.intake.visits import VisitIn
from fleet.models import Correction, RequiredCheck
from fleet.models.records import content_of
from fleet.presentation import codes, days, figures
from fleet.presentation.addresses import opens_here_alone
from fleet.presentation.alerts import alert_failure_words
from fleet.presentation.codes import code_words
from fleet.presentation.consequences import consequence_sentences
from fleet.presentation.contents import Difference
from fleet.presentation.corrections import changed_fields, waiting_words
from fleet.presentation.days import day_and_time
from fleet.presentation.drift_chart import DriftChart
from fleet.presentation.due_dates import date_words, doubt_words, not_counted_words, what_if_words
from fleet.presentation.due_rule import DueRule
from fleet.presentation.entries import entry_differences, entry_line, entry_words
from fleet.presentation.follow_ups import closed_words, flag_words, question_words
from fleet.presentation.reading_rule import ReadingRule
from fleet.presentation.revisits import reason_sentence, reason_words, together_words, urgency_words
from fleet.presentation.webhooks import failure_words
from fleet.presentation.words import chemical, count_words, rate_words, said
from fleet.queries.people import PersonDeed
from fleet.web.charts import NARROW, WIDE, drift_svg
from fleet.web.places import places_of, present_of
from fleet.web.strips import KeyItem, key_items, rule_svg, small_rule_svg, today_item

register = template.Library()


@register.simple_tag
def rule(drawn: ReadingRule | DueRule) -> SafeString:
    """{% rule reading %}: a rule with its figures."""
    return format_html('<div class="rule-box">{}</div>', rule_svg(drawn))


@register.simple_tag
def small_rule(drawn: ReadingRule | DueRule) -> SafeString:
    """{% small_rule reading %}: a rule for a row, whose figures stand beside it in words."""
    return format_html('<div class="rule-box">{}</div>', small_rule_svg(drawn))


@register.inclusion_tag("parts/key.html")
def key(*, today: bool = False) -> dict[str, list[KeyItem]]:
    """{% key %} or {% key today=True %}: what the marks mean, under their first use on a page."""
    return {"items": [*key_items(), today_item()] if today else key_items()}


@register.inclusion_tag("parts/drift.html")
def drift(chart: DriftChart) -> dict[str, Any]:
    """{% drift chart %}: the chart in both sizes, of which the style sheet shows one, and its table."""
    return {"chart": chart, "wide": drift_svg(chart, WIDE), "narrow": drift_svg(chart, NARROW)}


@register.simple_tag
def opens_only_here() -> bool:
    """{% opens_only_here as is_here %}: whether links that are given to others open on this machine alone."""
    return opens_here_alone()


@register.simple_tag(takes_context=True)
def refusal_lines(context: template.Context) -> list[tuple[str, str]]:
    """{% refusal_lines as lines %}: what `refused` says of each field, by the labels of `form` where there is one."""
    labels = {each.name: str(each.label) for each in context.get("form") or ()}
    return codes.refusal_lines(context["refused"].errors, labels=labels)


@register.inclusion_tag("parts/places.html", takes_context=True)
def places(context: template.Context) -> dict[str, Any]:
    """The head's places. A page below one of them says which by `place` in its context."""
    request = context.get("request")
    user = getattr(request, "user", None)
    match = getattr(request, "resolver_match", None)
    role, present = getattr(user, "role", ""), context.get("place") or (match.url_name if match else "") or ""
    return {"places": places_of(role), "present": present_of(role, present)}


@register.filter
def plain(field: BoundField) -> SafeString:
    """A field of a form without a placeholder: its label says what it is."""
    return field.as_widget(attrs={"placeholder": False})


@register.filter
def as_json(value: Any) -> str:
    """For an attribute that a script reads."""
    return json.dumps(value, cls=DjangoJSONEncoder)


@register.filter
def figure(value: float | None, decimals: int = 0) -> str:
    """{{ 9.3|figure:2 }} is 9.30; nothing for None."""
    return "" if value is None else figures.figure(value, decimals)


@register.filter
def day(when: date | None) -> str:
    """{{ visit.on|day }} is 3 Jun 2024; nothing for None."""
    return "" if when is None else days.day(when)


@register.filter
def long_day(when: date | None) -> str:
    """{{ revisit.latest|long_day }} is 3 December 2024; nothing for None."""
    return "" if when is None else days.long_day(when)


@register.filter
def weekday(when: date | None) -> str:
    """{{ revisit.latest|weekday }} is Tuesday 3 December 2024; nothing for None."""
    return "" if when is None else days.weekday(when)


@register.filter
def moment(when: datetime | None, time_zone: str) -> str:
    """{{ flag.opened_at|moment:building.time_zone }}: day and time there."""
    return "" if when is None else day_and_time(when, ZoneInfo(time_zone))


@register.filter
def dialled(number: str) -> str:
    """{{ number|dialled }}: for a tel: address, without what is only there to be read."""
    return "".join(each for each in number if each in "+0123456789")


@register.filter
def fours(text: str) -> str:
    """{{ form.secret|fours }}: in groups of four, to be typed by hand."""
    return " ".join(text[start : start + 4] for start in range(0, len(text), 4))


@register.filter
def hash_groups(digest: str) -> str:
    """{{ record.sha256|hash_groups }}: its first twelve figures in groups of four, to be compared by eye."""
    return fours(digest[:12])


@register.filter
def not_counted(required_check: RequiredCheck) -> str:
    """{{ required_check|not_counted }}: the visit that didn't, and why; nothing where the last one did."""
    return not_counted_words(required_check.visited_on, required_check.not_counted)


@register.filter
def corrected_fields(correction: Correction) -> list[Difference]:
    """{{ correction|corrected_fields }}: field, was, would be."""
    return changed_fields(content_of(correction.visit.record), correction.content, VisitIn)


register.filter("alert_failure_words", alert_failure_words)
register.filter("failure_words", failure_words)
register.filter("refused_words", codes.refused_words)
register.filter("date_words", date_words)
register.filter("doubt_words", doubt_words)
register.filter("what_if_words", what_if_words)
register.filter("reason", reason_sentence)
register.filter("reason_words", reason_words)
register.filter("sentences", consequence_sentences)
register.filter("together_words", together_words)
register.filter("urgency_words", urgency_words)
register.filter("said", said)
register.filter("said_day", days.said_day)
register.filter("flag_words", flag_words)
register.filter("closed_words", closed_words)
register.filter("question_words", question_words)
register.filter("waiting_words", waiting_words)
register.filter("entry_words", entry_words)
register.filter("entry_line", entry_line)
register.filter("entry_differences", entry_differences)
register.filter("chemical", chemical)
register.filter("rate", rate_words)
register.filter("in_words", count_words)


@register.filter
def deed_words(deed: PersonDeed) -> str:
    return codes.deed_words(deed.what, deed.name)


@register.filter
def words(code: str) -> str:
    """{{ reading.phase|words }}: what people say for a code."""
    return code_words(code)
