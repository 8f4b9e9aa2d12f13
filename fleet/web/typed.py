"""A content as a form: each field by itself, rows to add and to leave out, and what was typed kept as it was typed."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from django.http import QueryDict
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.coded import Coded
from fleet.intake.fields import DecimalText, Kind, Many, Shape, Text, Word, cleaned, fields_of, kind_of, shape_within
from fleet.presentation.codes import allowed_words, code_words_lazy

Words = str | Promise

MOST_ROWS = 100
LONGEST = 20_000
LONG = 1000  # characters from which on a text is typed in several lines
YES_NO = (("yes", gettext_lazy("yes")), ("no", gettext_lazy("no")))


@dataclass(frozen=True)
class Spec:
    """One field. kind: text, figure, choice, yes no, list (between commas), lines (one each).

    needed : a choice without an answer, or an empty figure, is refused; said beside the field, decided by the reader.
    """

    name: str
    label: Words
    kind: str = "text"
    hint: Words = ""
    choices: Sequence[tuple[str, Words]] = ()
    length: int = 300
    needed: bool = False


@dataclass(frozen=True)
class Group:
    """Rows of one kind. blanks : as many empty rows stand ready at the end; 0 where rows can't be added or left out."""

    name: str
    title: Words
    words: Words
    one: Words
    specs: Sequence[Spec]
    blanks: int = 2


def specs_of(shape: type[Shape], *names: str) -> tuple[Spec, ...]:
    """The fields of a shape that a page asks for, or those of these names, but for lists of parts."""
    asked = ((name, info, kind_of(info)) for name, info in fields_of(shape).items() if not names or name in names)
    return tuple(
        _spec(name, kind, info.is_required())
        for name, info, kind in asked
        if kind and kind.asked_as and kind.label and not shape_within(info)
    )


def _spec(name: str, kind: Kind, needed: bool) -> Spec:
    spec = Spec(name, kind.label, kind.asked_as, kind.help, needed=needed)
    if isinstance(kind, Word):
        named = kind.choices if isinstance(kind.choices, Mapping) else {each: each for each in kind.choices}
        choices = [(code, code_words_lazy(said) if isinstance(said, str) else said) for code, said in named.items()]
        return replace(spec, choices=choices)
    if isinstance(kind, Text):
        return replace(spec, length=kind.most, kind="long" if kind.most > LONG else spec.kind)
    if isinstance(kind, DecimalText):
        return replace(spec, hint=kind.help or kind.unit)
    return replace(spec, choices=YES_NO) if spec.kind == "yes no" else spec


def group_of(shape: type[Shape], name: str, *names: str) -> Group:
    """The rows that a shape lists under a name, with the fields of these names."""
    info = fields_of(shape)[name]
    kind, part = kind_of(info), shape_within(info)
    assert isinstance(kind, Many) and part
    return Group(name, kind.label, kind.help, kind.one, specs_of(part, *names), kind.blanks)


@dataclass
class Row:
    """What is typed in one row, by field. specs : of this row."""

    specs: Sequence[Spec]
    values: dict[str, str]
    left_out: bool = False
    title: str = ""

    @property
    def is_empty(self) -> bool:
        return not any(self.values.values())


@dataclass
class Typed:
    """All that is typed: plain fields by name, rows by group."""

    plain: dict[str, str]
    rows: dict[str, list[Row]] = field(default_factory=dict)


def from_content(content: Mapping[str, Any], specs: Sequence[Spec], groups: Sequence[Group]) -> Typed:
    """A content as it would have been typed."""
    return Typed(
        plain={each.name: shown(each, content.get(each.name)) for each in specs},
        rows={
            group.name: [
                Row(group.specs, {each.name: shown(each, row.get(each.name)) for each in group.specs})
                for row in content.get(group.name, ())
            ]
            for group in groups
        },
    )


def from_post(post: QueryDict, specs: Sequence[Spec], groups: Sequence[Group]) -> Typed:
    """What somebody sent: empty rows are nothing."""
    return Typed(
        plain={each.name: _given(post, each.name) for each in specs},
        rows={group.name: [row for row in _rows(post, group) if not row.is_empty] for group in groups},
    )


def _rows(post: QueryDict, group: Group) -> Iterator[Row]:
    for index in range(count_of(post, group.name)):
        place = f"{group.name}-{index}"
        values = {each.name: _given(post, f"{place}-{each.name}") for each in group.specs}
        yield Row(group.specs, values, left_out=bool(post.get(f"{place}-leave")))


def count_of(post: QueryDict, group: str) -> int:
    """How many rows of a group were sent."""
    given = post.get(f"{group}-rows", "0")
    return min(int(given), MOST_ROWS) if given.isascii() and given.isdigit() and len(given) < 9 else 0


def _given(post: QueryDict, name: str) -> str:
    return cleaned(post.get(name, "")[:LONGEST])


def content_of(typed: Typed, specs: Sequence[Spec], groups: Sequence[Group]) -> dict[str, Any]:
    """What it says, to be read: an empty field says nothing; a row that is left out is not there."""
    content = _said(typed.plain, specs)
    for group in groups:
        if rows := [_said(row.values, row.specs) for row in typed.rows[group.name] if not row.left_out]:
            content[group.name] = rows
    return content


def _said(values: Mapping[str, str], specs: Sequence[Spec]) -> dict[str, Any]:
    return {each.name: meant(each, values[each.name]) for each in specs if values.get(each.name)}


def shown(spec: Spec, value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ("\n" if spec.kind == "lines" else ", ").join(value)
    return str(value)


def meant(spec: Spec, text: str) -> Any:
    """The value that a text stands for; what can't be told is left to the reader to refuse.

    >>> meant(Spec("value", "", "figure"), "9,4"), meant(Spec("sealed", "", "yes no"), "no")
    ('9.4', False)
    """
    if spec.kind == "yes no":
        return {"yes": True, "no": False}.get(text, text)
    if spec.kind == "figure":
        return text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
    if spec.kind in ("list", "lines"):
        parts = text.split("\n" if spec.kind == "lines" else ",")
        return [part.strip() for part in parts if part.strip()]
    return text


# ---- as a page asks for it ----


@dataclass(frozen=True)
class Asked:
    """A field on the page with what is typed in it, and what is wrong with that."""

    spec: Spec
    id: str
    value: str
    error: str = ""


@dataclass(frozen=True)
class AskedRow:
    title: str
    id: str
    fields: Sequence[Asked]
    left_out: bool
    is_new: bool


@dataclass(frozen=True)
class AskedGroup:
    group: Group
    rows: Sequence[AskedRow]


@dataclass(frozen=True)
class Fault:
    """Something that can't be accepted: where it is asked for, in words; empty where no one field is to blame."""

    id: str
    label: str
    said: str


@dataclass(frozen=True)
class AskedForm:
    """All fields of a page, and what is wrong, in the order of the page."""

    plain: Sequence[Asked]
    groups: Sequence[AskedGroup]
    faults: Sequence[Fault]


def asked_form(
    typed: Typed, specs: Sequence[Spec], groups: Sequence[Group], errors: Mapping[str, Coded] | None = None
) -> AskedForm:
    """The fields with what is typed, blank rows at the end of each group, errors beside the fields they are about."""
    placed = {_place(path, typed): allowed_words(said) for path, said in (errors or {}).items()}
    plain = [Asked(each, each.name, typed.plain[each.name], placed.get(each.name, "")) for each in specs]
    asked = [AskedGroup(group, list(_asked_rows(group, typed.rows[group.name], placed))) for group in groups]
    rows = [row for each in asked for row in each.rows]
    known = {each.id: str(each.spec.label) for each in plain}
    known |= {each.id: f"{row.title}, {each.spec.label}" for row in rows for each in row.fields}
    known |= {row.id: row.title for row in rows}
    faults = [Fault(at if at in known else "", known.get(at, at), said) for at, said in placed.items()]
    return AskedForm(plain, asked, faults)


def _asked_rows(group: Group, rows: Sequence[Row], placed: Mapping[str, str]) -> Iterator[AskedRow]:
    blank = [Row(group.specs, dict.fromkeys((each.name for each in group.specs), "")) for _n in range(group.blanks)]
    for index, row in enumerate([*rows, *blank]):
        place = f"{group.name}-{index}"
        title = row.title or _("%(one)s %(number)d") % {"one": group.one, "number": index + 1}
        fields = [
            Asked(each, f"{place}-{each.name}", row.values[each.name], placed.get(f"{place}-{each.name}", ""))
            for each in row.specs
        ]
        yield AskedRow(title, place, fields, row.left_out, is_new=index >= len(rows))


def _place(path: str, typed: Typed) -> str:
    """Where on the page the reader's path is: its rows are counted without those left out."""
    name, _dot, rest = path.partition(".")
    if name not in typed.rows:
        return name
    number, _dot, last = rest.partition(".")
    taken = [index for index, row in enumerate(typed.rows[name]) if not row.left_out]
    if not (number.isdigit() and int(number) < len(taken)):
        return name
    place = f"{name}-{taken[int(number)]}"
    return f"{place}-{last}" if last else place
