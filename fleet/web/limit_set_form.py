"""A limit set as a form: figures, what they ask for and how well they are known, limit by limit.

What a limit is of, for whom, and the interval rule are structure: they come with a file.
"""

import copy
from collections.abc import Mapping
from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from fleet.coded import Coded
from fleet.intake.fields import DecimalText, Refused
from fleet.intake.limit_sets import FACT_NAME, LimitSetIn
from fleet.presentation.codes import code_words
from fleet.presentation.contents import kept_words, limit_label
from fleet.presentation.figures import unit_words
from fleet.presentation.words import chemical
from fleet.web.typed import Row, Spec, Typed, content_of, from_content, from_post, group_of, meant, shown, specs_of

# Of a limit; the rest of it is structure.
_TYPED = ("limit_text", "severity", "action", "evidence", "source", "note")
PLAIN = specs_of(LimitSetIn, "evidence", "notes")
LIMITS = group_of(LimitSetIn, "limits", *_TYPED)
SOURCES = group_of(LimitSetIn, "sources")
GROUPS = (SOURCES, LIMITS)
TWO_FIGURES, NO_FIGURE = ("outside", "between"), ("missing", "incomplete")


def _specs(limit: Mapping[str, Any]) -> tuple[Spec, ...]:
    """Its figure or figures, then the rest; what must merely be on record has none."""
    op, unit = limit["fires_when"]["op"], unit_words(limit.get("unit") or "")
    if op in NO_FIGURE:
        return LIMITS.specs
    if op in TWO_FIGURES:
        return (
            Spec("lower", _("From"), "figure", hint=unit),
            Spec("upper", _("To"), "figure", hint=unit),
            *LIMITS.specs,
        )
    words = {">": _("At most"), ">=": _("Under"), "<": _("At least"), "!=": _("Must be")}
    return (
        Spec("value", words.get(op, _("Figure")), "text" if op == "!=" else "figure", hint=unit, length=60),
        *LIMITS.specs,
    )


def typed_set(content: Mapping[str, Any], post: QueryDict | None = None) -> Typed:
    """What is typed, or the content as it would have been typed; a row a limit, in the content's order."""
    listed = (SOURCES,)
    typed = from_content(content, PLAIN, listed) if post is None else from_post(post, PLAIN, listed)
    typed.rows["limits"] = [_row(each, index, post) for index, each in enumerate(content["limits"])]
    return typed


def _row(limit: Mapping[str, Any], index: int, post: QueryDict | None) -> Row:
    specs, when = _specs(limit), limit.get("when", "any")
    named = [limit_label(limit), kept_words(limit), *([code_words(when)] if when != "any" else [])]
    title = chemical(", ".join(named))
    if post is None:
        return Row(
            specs,
            _figures(limit) | {each.name: shown(each, limit.get(each.name)) for each in LIMITS.specs},
            title=title,
        )
    sent = from_post(post, [Spec(f"limits-{index}-{each.name}", "") for each in specs], ()).plain
    return Row(specs, {each.name: sent[f"limits-{index}-{each.name}"] for each in specs}, title=title)


def _figures(limit: Mapping[str, Any]) -> dict[str, str]:
    op, value = limit["fires_when"]["op"], limit["fires_when"]["value"]
    if op in NO_FIGURE:
        return {}
    if op in TWO_FIGURES:
        lower, upper = value or (None, None)
        return {"lower": lower or "", "upper": upper or ""}
    return {"value": value or ""}


def set_content(typed: Typed, base: Mapping[str, Any]) -> dict[str, Any]:
    """The base with what is typed in the place of its own figures and words."""
    content = copy.deepcopy(dict(base))
    _put(content, PLAIN, typed.plain)
    content["sources"] = content_of(typed, (), (SOURCES,)).get("sources", [])
    for limit, row in zip(content["limits"], typed.rows["limits"], strict=True):
        _put(limit, LIMITS.specs, row.values)
        limit["fires_when"]["value"] = _value(limit["fires_when"], row)
    return content


def _put(content: dict[str, Any], specs: tuple[Spec, ...], values: Mapping[str, str]) -> None:
    for each in specs:
        if values[each.name]:
            content[each.name] = meant(each, values[each.name])
        elif content.get(each.name):
            del content[each.name]


def _value(fires_when: Mapping[str, Any], row: Row) -> Any:
    said = {each.name: meant(each, row.values[each.name]) or None for each in row.specs}
    if fires_when["op"] in NO_FIGURE:
        return fires_when["value"]
    if fires_when["op"] not in TWO_FIGURES:
        return said["value"]
    ends = [said["lower"], said["upper"]]
    return None if ends == [None, None] else ends


def wrong_figures(typed: Typed, base: Mapping[str, Any]) -> dict[str, Coded]:
    """Words where a figure stood, by the reader's paths: a file may name a fact that holds one, a slip may not."""
    wrong: dict[str, Coded] = {}
    for index, (limit, row) in enumerate(zip(base["limits"], typed.rows["limits"], strict=True)):
        text, value = row.values.get("value", ""), limit["fires_when"]["value"]
        is_fact = isinstance(value, str) and FACT_NAME.fullmatch(value)
        if text and limit["fires_when"]["op"] != "!=" and not is_fact:
            try:
                DecimalText().text(meant(Spec("value", "", "figure"), text))
            except Refused as bad:
                wrong[f"limits.{index}.value"] = bad.errors[""]
    return wrong


def field_paths(errors: Mapping[str, Coded], content: Mapping[str, Any]) -> dict[str, Coded]:
    """The reader's paths as the form has them: a limit's figures are fields of its row."""
    placed = {}
    for path, said in errors.items():
        parts = path.split(".")
        if len(parts) > 2 and parts[0] == "limits" and parts[2] == "fires_when":
            op = content["limits"][int(parts[1])]["fires_when"]["op"]
            path = ".".join([*parts[:2], "lower" if op in TWO_FIGURES else "value"])
        placed[path] = said
    return placed
