"""A limit set as a form: figures, what they ask for and how well they are known, limit by limit.

What a limit is of, for whom, and the interval rule are structure: they come with a file.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _

from fleet.coded import coded
from fleet.intake.fields import DecimalText, Errors, Kind, Refused, Text
from fleet.intake.limit_sets import FACT_NAME, LimitIn, LimitSetIn
from fleet.presentation.codes import code_words
from fleet.presentation.contents import kept_words, limit_label
from fleet.presentation.figures import unit_words
from fleet.presentation.words import chemical
from fleet.web.shape_forms import KindField, ShapeForm, form_of

TWO_FIGURES, NO_FIGURE = ("outside", "between"), ("missing", "incomplete")
FIGURES = ("lower", "upper", "value")


def _figure_kinds(limit: Mapping[str, Any]) -> dict[str, Kind]:
    """Its figure or figures; what must merely be on record has none."""
    op, unit = limit["fires_when"]["op"], unit_words(limit.get("unit") or "")
    if op in NO_FIGURE:
        return {}
    if op in TWO_FIGURES:
        return {"lower": DecimalText(unit=unit, label=_("From")), "upper": DecimalText(unit=unit, label=_("To"))}
    if op == "!=":
        return {"value": Text(60, label=_("Must be"), help=unit)}
    words = {">": _("At most"), ">=": _("Under"), "<": _("At least")}
    return {"value": DecimalText(unit=unit, label=words.get(op, _("Figure")))}


def _figures(limit: Mapping[str, Any]) -> dict[str, str | None]:
    op, value = limit["fires_when"]["op"], limit["fires_when"]["value"]
    return dict(zip(("lower", "upper"), value or (None, None), strict=True)) if op in TWO_FIGURES else {"value": value}


def _upon(base: Mapping[str, Any], said: Mapping[str, Any], names: Iterable[str]) -> dict[str, Any]:
    """The base with what is said of these names; what was nothing there and is nothing now stays as it was."""
    return {name: value for name, value in base.items() if name not in names or not value} | dict(said)


class _LimitForm(ShapeForm):
    """initial : the limit. Its figures are fields of their own, before the rest."""

    def __init__(self, data: Any = None, *, initial: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(data, initial=dict(initial) | _figures(initial), **kwargs)
        self.limit, kinds, when = initial, _figure_kinds(initial), initial.get("when", "any")
        self.fields = {name: KindField(kind) for name, kind in kinds.items()} | self.fields
        named = [limit_label(initial), kept_words(initial), *([code_words(when)] if when != "any" else [])]
        self.title = chemical(", ".join(named))

    def clean(self) -> None:
        """Words where a figure stood are refused: a file may name a fact that holds one, a slip may not."""
        before = self.initial.get("value")
        is_fact = isinstance(before, str) and FACT_NAME.fullmatch(before)
        for name, field in self.fields.items():
            text = self.cleaned_data.get(name)
            if name in FIGURES and self.initial.get(name) and not text and not self._may_be_open(name):
                self.refuse({name: coded("figure_emptied", stood=str(self.initial[name]))})
            if isinstance(field, KindField) and isinstance(field.kind, DecimalText) and text and not is_fact:
                try:
                    DecimalText().text(text)
                except Refused as bad:
                    self.refuse({name: bad.errors[""]})

    def _may_be_open(self, name: str) -> bool:
        """One end of two, while the other stands."""
        others = [each for each in ("lower", "upper") if each in self.fields and each != name]
        return any(self.cleaned_data.get(each) for each in others)

    def content(self) -> dict[str, Any]:
        said = super().content()
        figures = {name: said.pop(name, None) for name in FIGURES}
        when = self.limit["fires_when"]
        if when["op"] in TWO_FIGURES:
            ends = [figures["lower"], figures["upper"]]
            when = when | {"value": None if ends == [None, None] else ends}
        elif when["op"] not in NO_FIGURE:
            when = when | {"value": figures["value"]}
        return _upon(self.limit, said | {"fires_when": when}, self.base_fields)

    def refuse(self, errors: Errors) -> None:
        """What the reader says of the figures stands at the first, unless one of them is wrong by itself."""
        for path, said in errors.items():
            if not path.startswith("fires_when"):
                super().refuse({path: said})
            elif not any(name in self.errors for name in FIGURES):
                super().refuse({next((name for name in FIGURES if name in self.fields), path): said})


class _LimitSetContent(ShapeForm):
    """initial : the content that stands, in the place of whose figures and words what is typed is put."""

    def content(self) -> dict[str, Any]:
        said = {"sources": []} | super().content()
        return _upon(self.initial, said, [*self.base_fields, *self.parts])


_LIMIT = ("limit_text", "severity", "action", "evidence", "source", "note")
LimitSetForm = form_of(
    LimitSetIn,
    *("evidence", "notes", "sources", "limits"),
    base=_LimitSetContent,
    limits=form_of(LimitIn, *_LIMIT, base=_LimitForm),
)
