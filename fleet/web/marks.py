"""Template tags and filters of our own; every template has them without loading."""

from datetime import date
from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.web import figures
from fleet.web.charts import NARROW, WIDE, DriftChart, drift_svg
from fleet.web.key import KeyItem, key_items, today_item
from fleet.web.places import places_of
from fleet.web.rules import DueRule, ReadingRule, rule_svg, small_rule_svg

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


@register.inclusion_tag("parts/places.html", takes_context=True)
def places(context: template.Context) -> dict[str, Any]:
    """The head's places. A page below one of them says which by `place` in its context."""
    request = context.get("request")
    user = getattr(request, "user", None)
    match = getattr(request, "resolver_match", None)
    present = context.get("place") or (match.url_name if match else None)
    return {"places": places_of(getattr(user, "role", "")), "present": present}


@register.filter
def figure(value: float | None, decimals: int = 0) -> str:
    """{{ 9.3|figure:2 }} is 9.30; nothing for None."""
    return "" if value is None else figures.figure(value, decimals)


@register.filter
def day(when: date | None) -> str:
    """{{ visit.on|day }} is 3 Jun 2024; nothing for None."""
    return "" if when is None else figures.day(when)
