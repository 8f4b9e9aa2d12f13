"""A shape as a Django form: its fields, rows of its parts to add and to leave out, what was typed kept as it was typed.

A page's fields refuse nothing: they say what a text stands for, the shape's reader reads it as it reads what programs
send, and what it refuses is put beside the fields.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

from django import forms
from django.forms.formsets import DELETION_FIELD_NAME, TOTAL_FORM_COUNT
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.coded import Coded
from fleet.intake.fields import (
    DecimalText,
    Errors,
    Kind,
    Many,
    Phone,
    Shape,
    Text,
    Word,
    YesNo,
    cleaned,
    fields_of,
    kind_of,
    shape_within,
)
from fleet.presentation.codes import allowed_words, code_words_lazy, field_words

MOST_ROWS = 100
MORE_ROWS = ("5", "10", "20", "50")
LONGEST = 20_000
LONG = 1000  # characters from which on a text is typed in several lines
YES_NO = {"yes": gettext_lazy("yes"), "no": gettext_lazy("no")}


# ---- fields ----


class KindField(forms.Field):
    """A text, cut where it can't be meant any more, which stands for what its kind says.

    is_needed : said of a choice that nobody has made yet.
    """

    def __init__(self, kind: Kind, is_needed: bool = False, **said: Any) -> None:
        unit = kind.unit if isinstance(kind, DecimalText) else ""
        asked = {"label": kind.label, "help_text": kind.help or unit, "widget": _widget(kind, is_needed)}
        super().__init__(required=False, **asked | said)
        self.kind = kind

    def to_python(self, value: Any) -> Any:
        return self.kind.meant(_typed(value))

    def prepare_value(self, value: Any) -> Any:
        return value if isinstance(value, str) else self.kind.written(value)

    def bound_data(self, data: Any, initial: Any) -> str:
        return _typed(data)

    def refusal(self, said: Coded) -> str:
        """What is allowed, in the words of its choices."""
        code, figures = said
        words = {each: str(words) for each, words in getattr(self.widget, "choices", ())}
        allowed = [words.get(each, each) for each in figures.get("allowed", ())]
        return allowed_words((code, figures | {"allowed": allowed} if allowed else figures))


def _typed(value: str | None) -> str:
    return cleaned((value or "")[:LONGEST])


def _widget(kind: Kind, is_needed: bool) -> forms.Widget:
    if isinstance(kind, Word | YesNo):
        choices = kind.choices if isinstance(kind, Word) else YES_NO
        named = choices.items() if isinstance(choices, Mapping) else zip(choices, choices, strict=True)
        words = [(code, code_words_lazy(said) if isinstance(said, str) else said) for code, said in named]
        nothing = gettext_lazy("choose") if is_needed else gettext_lazy("not stated")
        return forms.Select(choices=[("", nothing), *words])
    attrs: dict[str, Any] = {"autocomplete": "off"}
    if isinstance(kind, DecimalText):
        attrs["inputmode"] = "decimal"
    if isinstance(kind, Text):
        attrs["maxlength"] = kind.most
        attrs |= {"inputmode": "tel"} if isinstance(kind, Phone) else {}
        return forms.Textarea(attrs | {"rows": 4}) if kind.most > LONG else forms.TextInput(attrs)
    return forms.TextInput(attrs)


# ---- forms ----


@dataclass(frozen=True)
class Fault:
    """Something that can't be accepted: where it is asked for, in words; empty where the page doesn't ask for it."""

    id: str
    label: str
    said: str


class ShapeForm(forms.Form):
    """The fields of a shape. parts : the rows of each of its lists of parts. title : what a row is called."""

    shape: ClassVar[type[Shape]]
    part_classes: ClassVar[dict[str, type["Parts"]]] = {}
    title = ""

    def __init__(self, data: Any = None, *, auto_id: str = "%s", initial: Any = None, **kwargs: Any) -> None:
        super().__init__(data, auto_id=auto_id, initial=initial, **kwargs)
        self.parts = {
            name: made(data, auto_id=auto_id, prefix=name, initial=self.initial.get(name))
            for name, made in self.part_classes.items()
        }

    @property
    def is_empty(self) -> bool:
        return not any(self[name].value() for name in self.base_fields)

    def content(self) -> dict[str, Any]:
        """What was sent, to be read: an empty field says nothing; an empty row, or one left out, is not there."""
        self.full_clean()
        self.cleaned_data.pop(DELETION_FIELD_NAME, None)
        said = {name: value for name, value in self.cleaned_data.items() if value not in ("", [])}
        rows = {name: [row.content() for row in part.rows] for name, part in self.parts.items()}
        return said | {name: listed for name, listed in rows.items() if listed}

    def refuse(self, errors: Errors) -> None:
        """Put what the reader refuses beside the fields that its paths name, in words."""
        for path, said in errors.items():
            name, _dot, rest = path.partition(".")
            if name in self.parts:
                self.parts[name].refuse(rest, said)
            elif name in self.fields:
                self.add_error(name, self.fields[name].refusal(said))
            else:
                self.add_error(None, forms.ValidationError(allowed_words(said), code=path))

    @property
    def faults(self) -> list[Fault]:
        """All that can't be accepted, in the order of the page."""
        own = [self._fault(name, each) for name, all in self.errors.as_data().items() for each in all]
        return own + [each for part in self.parts.values() for each in part.faults]

    def _fault(self, name: str, bad: forms.ValidationError) -> Fault:
        (said,) = bad.messages
        if name in self.fields:
            return Fault(self[name].auto_id, ", ".join(filter(None, (self.title, str(self[name].label)))), said)
        return Fault(self.prefix or "", self.title or field_words(bad.code or "", self.shape), said)


class Parts(forms.BaseFormSet):
    """The rows of a list of parts. Where none can be added, as many as stand there, whatever was sent.

    kind : of the list. wrong : what is wrong with the list as a whole.
    """

    kind: ClassVar[Many]
    more_rows = MORE_ROWS

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.wrong: list[str] = []

    @cached_property
    def _sent(self) -> int:
        """How many rows were sent; none where that can't be told."""
        return min(max(self.management_form.cleaned_data[TOTAL_FORM_COUNT], 0), MOST_ROWS)

    def total_form_count(self) -> int:
        """Those that stand there, or those up to the last in which something was typed; then the blank ones."""
        if not self.can_delete:
            return len(self.initial or ())
        if not self.is_bound:
            return super().total_form_count()
        typed = [
            index + 1
            for index in range(self._sent)
            if any(_typed(self.data.get(f"{self.add_prefix(index)}-{name}")) for name in self.form.base_fields)
        ]
        return min(max(typed, default=0) + self._blanks(), MOST_ROWS)

    def _blanks(self) -> int:
        """How many empty rows stand ready; more where they were asked for."""
        asked = str(self.data.get(f"{self.prefix}-rows", "")) if self.data.get("more") == self.prefix else ""
        return int(asked) if asked in MORE_ROWS else self.extra

    def get_form_kwargs(self, index: int | None) -> dict[str, Any]:
        """A blank row that wasn't sent is blank, whatever else was sent; whether one is empty, it says itself."""
        is_blank = self.can_delete and self.is_bound and index is not None and index >= self._sent
        return {"empty_permitted": False} | (dict.fromkeys(("data", "files", "initial")) if is_blank else {})

    def add_fields(self, form: ShapeForm, index: int | None) -> None:
        super().add_fields(form, index)
        form.title = form.title or _("%(one)s %(number)d") % {"one": self.kind.one, "number": (index or 0) + 1}

    @cached_property
    def rows(self) -> Sequence[ShapeForm]:
        """Those that the reader is given."""
        if not self.can_delete:
            return self.forms
        return [row for row in self.forms if not (row.is_empty or row[DELETION_FIELD_NAME].value())]

    def refuse(self, path: str, said: Coded) -> None:
        number, _dot, rest = path.partition(".")
        if number.isdecimal() and int(number) < len(self.rows):
            self.rows[int(number)].refuse({rest: said})
        else:
            self.wrong.append(allowed_words(said))

    @property
    def faults(self) -> list[Fault]:
        own = [Fault(self.prefix, str(self.kind.label), each) for each in self.wrong]
        return own + [each for row in self.forms for each in row.faults]


def form_of(
    shape: type[Shape], *names: str, base: type[ShapeForm] = ShapeForm, **part_forms: type[ShapeForm]
) -> type[Any]:
    """The form of a shape: of all that has a label, or of the fields of these names in their order.

    base : what it extends. part_forms : the form of a part, by the name of the list, where it isn't the plain one.
    """
    fields: dict[str, Any] = {}
    parts: dict[str, type[Parts]] = {}
    for name in names or fields_of(shape):
        info = fields_of(shape)[name]
        kind, part = kind_of(info), shape_within(info)
        if isinstance(kind, Many) and part and kind.label:
            parts[name] = formset_of(kind, part_forms.get(name) or form_of(part))
        elif kind and kind.asked_as and kind.label:
            fields[name] = KindField(kind, info.is_required())
    return type(f"{shape.__name__}Form", (base,), fields | {"shape": shape, "part_classes": parts})


def formset_of(kind: Many, form: type[ShapeForm]) -> type[Parts]:
    """The formset of a list of parts; rows can be added and left out where its kind has blank ones."""
    made = forms.formset_factory(
        form, formset=Parts, extra=kind.blanks, can_delete=bool(kind.blanks), max_num=MOST_ROWS, absolute_max=MOST_ROWS
    )
    made.kind = kind
    return made
