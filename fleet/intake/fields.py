"""One row a field: from it follow how it is read and refused, its JSON Schema, its label and its field on a page.

    serial: Annotated[str, Text(40, label=_("Serial number"), help=_("as on the data plate"))]

A shape (`Shape`) is a body or a part of one; keys that it doesn't know are refused, for a misspelt field must not
vanish. What is wrong is said as code and figures by its path; `presentation` has the sentences.
"""

import re
import unicodedata
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from itertools import islice
from typing import Annotated, Any, ClassVar, TypeVar, get_args, get_origin

from django.core.exceptions import ValidationError as NotValid
from django.core.validators import validate_email
from django.utils.dateparse import parse_datetime
from django.utils.functional import Promise
from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationError,
    ValidationInfo,
    create_model,
    model_validator,
)
from pydantic.fields import FieldInfo
from pydantic_core import PydanticCustomError, core_schema

from fleet.coded import Coded, coded, wrong
from fleet.errors import FleetError, Forbidden, Malformed
from fleet.intake.decimals import PLAIN, decimal_pattern, plain_decimal
from fleet.models import User
from fleet.models.access import ACCESS, may_change
from fleet.predicates import day_in
from fleet.quantities import QUALIFIERS, Quantity, column_unit
from fleet.units import convert

Words = str | Promise
Errors = Mapping[str, Coded]

# Of a field that may be left out: its default stands for nothing and is never kept.
LEFT_OUT: Any = Field(default=None)
ERRORS_MAX, PATH_LENGTH = 20, 120
LARGEST = 1_000_000_000
# Control characters, and those that reorder text on screen or paper.
_UNWANTED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]")
# Beyond these no test was made and none will fall due; near the calendar's ends its arithmetic breaks.
FIRST_YEAR, LAST_YEAR = 1900, 2200


# ---- what is wrong ----


class Refused(PydanticCustomError):
    """Raised where something is read: each part that is wrong, by its path from there; "" is the value itself."""

    def __new__(cls, errors: Errors) -> "Refused":
        return super().__new__(cls, "refused", "refused", {"errors": dict(errors)})

    @property
    def errors(self) -> Errors:
        said: Errors = (self.context or {})["errors"]
        return said


def refused(code: str, given: object, **figures: object) -> Refused:
    """What to raise of one value."""
    return Refused({"": wrong(code, given, **figures)})


def below(path: str, part: str) -> str:
    return f"{path}.{part}" if path and part else path or part


def errors_of(bad: ValidationError, shape: type["Shape"]) -> dict[str, Coded]:
    """{"readings.2.values.o2": (code, figures)}: the first 20 of what is wrong."""
    return {path[:PATH_LENGTH]: said for path, said in islice(_said(bad, shape), ERRORS_MAX)}


def _said(bad: ValidationError, shape: type["Shape"]) -> Iterator[tuple[str, Coded]]:
    for each in bad.errors(include_url=False):
        place = ".".join(str(part) for part in each["loc"])
        if each["type"] == "missing":
            kind = _kind_at(shape, each["loc"])
            yield place, kind.nothing() if isinstance(kind, Word) else coded("missing")
        elif each["type"] == "refused":
            yield from ((below(place, at) or "body", said) for at, said in each["ctx"]["errors"].items())
        else:
            yield place or "body", _FRAMEWORK[each["type"]](each["input"], each.get("ctx", {}))


def _kind_at(shape: type["Shape"] | None, path: tuple[int | str, ...]) -> "Kind | None":
    kind = None
    for part in (each for each in path if isinstance(each, str)):
        info = fields_of(shape)[part] if shape else None
        kind, shape = (kind_of(info), shape_within(info)) if info else (None, None)
    return kind


# Pydantic's own refusals of lists.
_FRAMEWORK: dict[str, Callable[[Any, dict[str, Any]], Coded]] = {
    "list_type": lambda given, of: coded("blank") if given is None else wrong("list", given),
    "too_short": lambda given, of: coded("list_short", least=of["min_length"]),
    "too_long": lambda given, of: coded("list_long", most=of["max_length"]),
}


# ---- kinds of fields ----


@dataclass(frozen=True, kw_only=True)
class Kind:
    """What a field may hold, and what is said of it; each kind reads in its own way.

    null : may be null.
    under : the row of the table of rights that says who may see and change it, where the whole thing's doesn't.
    proven_by : the field beside it that says what it rests on; whoever changes the one says the other anew.
    """

    label: Words = ""
    help: Words = ""
    null: bool = False
    under: str = ""
    proven_by: str = ""
    # How a page asks for it; "" where no page does.
    asked_as: ClassVar[str] = ""

    def read(self, given: Any, info: ValidationInfo) -> Any:
        """The value as it is kept. Raises Refused."""
        raise NotImplementedError

    def schema(self) -> dict[str, Any]:
        """JSON Schema of what it takes, but for null and words."""
        raise NotImplementedError

    def nothing(self) -> Coded:
        """What is said of null where it may not be."""
        return coded("blank")

    def written(self, value: Any) -> str:
        """A value as people write it: in a field of a page, in a cell of a table."""
        return "" if value is None else str(value)

    def meant(self, text: str) -> Any:
        """The value that is written; what can't be told is left to the reader to refuse."""
        return text

    def heading(self, name: str) -> str:
        """Over the column of a table: what it is, and in which unit. name : of the field, where it has no label."""
        return str(self.label) or name.replace("_", " ")

    def _read(self, given: Any, info: ValidationInfo) -> Any:
        if given is None and not self.null:
            raise Refused({"": self.nothing()})
        return None if given is None else self.read(given, info)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(self._read)

    def __get_pydantic_json_schema__(
        self, core: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        said = self.schema()
        if self.null:
            said = {"anyOf": [said, {"type": "null"}]}
        return said | self.words()

    def words(self) -> dict[str, Any]:
        named: dict[str, Any] = {"title": str(self.label), "description": str(self.help), "x-proven-by": self.proven_by}
        named |= {"x-changed-by": sorted(ACCESS[self.under].change)} if self.under else {}
        return {name: said for name, said in named.items() if said}


@dataclass(frozen=True)
class Text(Kind):
    """A string in Unicode NFC, without control or reordering characters; not empty, unless it may be `blank`."""

    most: int = 200
    blank: bool = False
    pattern: str = ""
    mismatch: ClassVar[str] = "pattern"
    asked_as = "text"

    def read(self, given: Any, info: ValidationInfo | None = None) -> str:
        if not isinstance(given, str):
            raise refused("string", given)
        text = cleaned(given)
        if not text and not self.blank:
            raise Refused({"": coded("blank")})
        if len(text) > self.most:
            raise Refused({"": coded("too_long", most=self.most)})
        if self.pattern and text and not re.fullmatch(self.pattern, text):
            raise refused(self.mismatch, text)
        return text

    def schema(self) -> dict[str, Any]:
        said: dict[str, Any] = {"type": "string", "maxLength": self.most}
        if self.pattern:
            return said | {"pattern": f"^({self.pattern})?$" if self.blank else f"^{self.pattern}$"}
        return said if self.blank else said | {"pattern": f"[^\\s{_UNWANTED.pattern[1:-1]}]"}


@dataclass(frozen=True)
class Phone(Text):
    """A number to be dialled, spaced as people write it: 3 digits, as short ones have, to the 15 of ITU-T E.164."""

    most: int = 60
    pattern: str = r"[ (]*[+]?([ ()-]*[0-9]){3,15}[ )]*"
    mismatch = "phone"


@dataclass(frozen=True)
class Email(Text):
    most: int = 254

    def read(self, given: Any, info: ValidationInfo | None = None) -> str:
        text = super().read(given, info)
        try:
            if text:
                validate_email(text)
        except NotValid as bad:
            raise refused("email", given) from bad
        return text

    def schema(self) -> dict[str, Any]:
        return super().schema() | {"format": "email"}


@dataclass(frozen=True)
class Word(Kind):
    """One of a few codes. choices : the codes, or by code the words that a page says for it."""

    choices: Sequence[str] | Mapping[str, Words] = ()
    blank: bool = False
    asked_as = "choice"

    def read(self, given: Any, info: ValidationInfo) -> str:
        if isinstance(given, str) and (given in self.choices or (self.blank and not given)):
            return given
        raise refused("one_of", given, allowed=list(self.choices))

    def nothing(self) -> Coded:
        return wrong("one_of", None, allowed=list(self.choices))

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "enum": [*self.choices, *([""] if self.blank else [])]}


@dataclass(frozen=True)
class YesNo(Kind):
    """true or false, and no word or number in their place."""

    asked_as = "yes no"

    def written(self, value: Any) -> str:
        return ("yes" if value else "no") if isinstance(value, bool) else super().written(value)

    def meant(self, text: str) -> bool | str:
        return {"yes": True, "no": False}.get(text, text)

    def read(self, given: Any, info: ValidationInfo) -> bool:
        if not isinstance(given, bool):
            raise refused("yes_no", given)
        return given

    def schema(self) -> dict[str, Any]:
        return {"type": "boolean"}


@dataclass(frozen=True)
class DecimalText(Kind):
    """A decimal number as it was read: "9.20" stays "9.20". ASCII digits, no exponent, no boolean."""

    low: float | None = None
    high: float | None = None
    unit: Words = ""
    asked_as = "figure"

    def meant(self, text: str) -> str:
        """A comma may stand for the point."""
        return text.replace(",", ".") if re.fullmatch("-?[0-9]*,[0-9]+", text) else text

    def heading(self, name: str) -> str:
        return f"{super().heading(name)}, {self.unit}" if self.unit else super().heading(name)

    def read(self, given: Any, info: ValidationInfo | None = None) -> Any:
        return self.text(given)

    def text(self, given: Any) -> str:
        text = str(given) if isinstance(given, int | Decimal) and not isinstance(given, bool) else given
        if not (isinstance(text, str) and re.fullmatch(PLAIN, text)):
            raise refused("decimal", given)
        if (self.low is not None and float(text) < self.low) or (self.high is not None and float(text) > self.high):
            code = "between" if self.high is not None else "at_least"
            raise Refused({"": coded(code, value=text, low=self.low, high=self.high)})
        return text

    def schema(self) -> dict[str, Any]:
        least = {"exclusiveMinimum": -LARGEST} if self.low is None else {"minimum": self.low}
        most = {"exclusiveMaximum": LARGEST} if self.high is None else {"maximum": self.high}
        number = {"type": "number"} | least | most
        return {"anyOf": [{"type": "string", "pattern": decimal_pattern(self.low, self.high)}, number]}

    def words(self) -> dict[str, Any]:
        return super().words() | ({"x-unit": str(self.unit)} if self.unit else {})


@dataclass(frozen=True)
class Number(DecimalText):
    """The same for a column that calculates: kept as a float in the unit that the field's name says."""

    def read(self, given: Any, info: ValidationInfo | None = None) -> float:
        return float(self.text(given))


@dataclass(frozen=True)
class Whole(Kind):
    """A whole number as a number, not as a word for one."""

    low: int = 1
    high: int | None = None

    def read(self, given: Any, info: ValidationInfo) -> int:
        is_whole = isinstance(given, int) and not isinstance(given, bool)
        if is_whole and self.low <= given and (self.high is None or given <= self.high):
            return int(given)
        code = "whole_at_least" if self.high is None else "whole_between"
        raise refused(code, given, low=self.low, high=self.high)

    def schema(self) -> dict[str, Any]:
        return {"type": "integer", "minimum": self.low} | ({} if self.high is None else {"maximum": self.high})


@dataclass(frozen=True)
class Moment(Kind):
    """An RFC 3339 time with its offset."""

    def read(self, given: Any, info: ValidationInfo | None = None) -> Any:
        return self.moment(given).isoformat()

    def moment(self, given: Any) -> datetime:
        try:
            moment = parse_datetime(given) if isinstance(given, str) else None
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo is None:
            raise refused("moment", given)
        _check_year(moment, given)
        return moment

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "format": "date-time"}


@dataclass(frozen=True)
class MomentOf(Moment):
    """The same for a column: kept as a moment."""

    def read(self, given: Any, info: ValidationInfo | None = None) -> datetime:
        return self.moment(given)


@dataclass(frozen=True)
class MomentOrDay(Moment):
    """A time with offset, or only a day where no more is known."""

    def read(self, given: Any, info: ValidationInfo | None = None) -> str:
        if isinstance(given, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", given):
            return read_day(given).isoformat()
        return self.moment(given).isoformat()

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "description": "A time with offset, or only a day where no more is known."}


def read_day(given: Any) -> date:
    """The calendar day that a text says. Raises Refused."""
    day = day_in(given) if isinstance(given, str) else None
    if day is None:
        raise refused("day", given)
    _check_year(day, given)
    return day


def _check_year(day: date, given: Any) -> None:
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise refused("year", given, first=FIRST_YEAR, last=LAST_YEAR)


@dataclass(frozen=True)
class Day(Kind):
    """A calendar day."""

    asked_as = "text"

    def read(self, given: Any, info: ValidationInfo | None = None) -> Any:
        return read_day(given).isoformat()

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "format": "date"}


@dataclass(frozen=True)
class DayOf(Day):
    """The same for a column: kept as a date."""

    def read(self, given: Any, info: ValidationInfo | None = None) -> date:
        return read_day(given)


@dataclass(frozen=True)
class DayOrYear(Day):
    """A day, or only its month or year where no more is known: 2026-03-02, 2026-03, 2026."""

    def read(self, given: Any, info: ValidationInfo | None = None) -> str:
        if not (isinstance(given, str) and re.fullmatch(r"[0-9]{4}(-[0-9]{2}){0,2}", given)):
            raise refused("day_or_year", given)
        read_day(f"{given}-01-01"[:10])
        return given

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": "^[0-9]{4}(-[0-9]{2}){0,2}$"}


@dataclass(frozen=True)
class Id(Kind):
    """A UUID as a string."""

    def read(self, given: Any, info: ValidationInfo | None = None) -> Any:
        return read_id(given)

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "format": "uuid"}


@dataclass(frozen=True)
class IdText(Id):
    """The same, kept as text."""

    def read(self, given: Any, info: ValidationInfo | None = None) -> str:
        return str(read_id(given))


def read_id(given: Any) -> uuid.UUID:
    """Raises Refused saying what an id looks like."""
    try:
        if isinstance(given, str):
            return uuid.UUID(given)
    except ValueError:
        pass
    raise refused("uuid", given)


@dataclass(frozen=True)
class Measured(Kind):
    """{"value": "9.20", "unit": "%", "qualifier": "="}: kept as entered, with the figure in the column's unit."""

    quantity: Quantity

    def read(self, given: Any, info: ValidationInfo) -> dict[str, str]:
        if not isinstance(given, dict):
            raise refused("measured", given)
        if unknown := set(given) - {"value", "unit", "qualifier"}:
            raise Refused({"": coded("measured_unknown", unknown=sorted(unknown))})
        qualifier = given.get("qualifier", "=")
        if qualifier not in QUALIFIERS:
            raise Refused({"qualifier": wrong("one_of", qualifier, allowed=list(QUALIFIERS))})
        if qualifier in ("not_measured", "sensor_fault"):
            return {"qualifier": qualifier}
        return self._figure(given, qualifier)

    def _figure(self, given: dict[str, Any], qualifier: str) -> dict[str, str]:
        unit = given.get("unit")
        if unit not in self.quantity.units:
            raise Refused({"unit": wrong("one_of", unit, allowed=self.quantity.units)})
        try:
            value = DecimalText().text(given.get("value"))
        except Refused as bad:
            raise Refused({"value": bad.errors[""]}) from bad
        figure = convert(Decimal(value), unit, column_unit(self.quantity))
        return {"value": value, "unit": unit, "qualifier": qualifier, "figure": plain_decimal(figure)}

    def schema(self) -> dict[str, Any]:
        return measured_schema(list(self.quantity.units))


def measured_schema(units: list[str] | None = None) -> dict[str, Any]:
    """{"value": "9.20", "unit": "%", "qualifier": "="}; value and unit are absent where nothing was measured."""
    unit: dict[str, Any] = {"type": "string"} | ({"enum": units} if units else {})
    return {
        "type": "object",
        "properties": {
            "value": {"type": "string"},
            "unit": unit,
            "qualifier": {"type": "string", "enum": list(QUALIFIERS), "default": "="},
        },
    }


class Kept(Kind):
    """Kept as it came."""

    def read(self, given: Any, info: ValidationInfo) -> Any:
        return given

    def schema(self) -> dict[str, Any]:
        return {}


class AnyObject(Kind):
    """An object, kept as it came."""

    def read(self, given: Any, info: ValidationInfo) -> Any:
        if not isinstance(given, dict):
            raise refused("object", given)
        return given

    def schema(self) -> dict[str, Any]:
        return {"type": "object", "additionalProperties": True}


@dataclass(frozen=True)
class Part(Kind):
    """A shape of its own, which reads itself."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return handler(source)

    def __get_pydantic_json_schema__(
        self, core: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return handler(core) | self.words()


@dataclass(frozen=True)
class Many(Kind):
    """A list. one, blanks : on a page, what one of it is called, and how many empty rows stand ready for more."""

    least: int = 0
    most: int | None = None
    one: Words = ""
    blanks: int = 2
    asked_as = "list"

    def written(self, value: Any) -> str:
        return ", ".join(value) if isinstance(value, list) else super().written(value)

    def meant(self, text: str) -> list[str]:
        return [part.strip() for part in text.split(",") if part.strip()]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        items = next(get_args(each)[0] for each in (source, *get_args(source)) if get_origin(each) is list)
        listed = core_schema.list_schema(
            handler.generate_schema(items), min_length=self.least, max_length=self.most, strict=True
        )
        return core_schema.nullable_schema(listed) if self.null else listed

    def __get_pydantic_json_schema__(
        self, core: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return handler(core) | self.words()


# ---- shapes ----


class Shape(BaseModel):
    # No docstring: it would stand in the API's description under every shape that has none of its own.
    model_config = ConfigDict(extra="ignore", frozen=True, arbitrary_types_allowed=True)

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        said = handler.resolve_ref_schema(handler(core))
        for name, each in said["properties"].items():
            each.pop("default", None)
            if not label_of(cls, name):
                each.pop("title", None)
        return {name: each for name, each in said.items() if name != "title"} | {"additionalProperties": False}

    @model_validator(mode="before")
    @classmethod
    def _known_only(cls, given: Any) -> Any:
        """Refuses keys that it doesn't know, which are said once."""
        if not isinstance(given, dict):
            raise Refused({"": coded("blank") if given is None else wrong("object", given)})
        known = fields_of(cls)
        unknown = [str(key) for key in given if key not in known]
        if unknown:
            first, *more = unknown[:ERRORS_MAX]
            raise Refused({first: coded("unknown", known=sorted(known))} | dict.fromkeys(more, coded("unknown_too")))
        return given

    @model_validator(mode="after")
    def _checked(self) -> "Shape":
        if errors := dict(self._unproven()) | dict(self.wrong()):
            raise Refused(errors)
        return self

    def _unproven(self) -> Iterator[tuple[str, Coded]]:
        for name, proof in _proofs_of(type(self)):
            if name in self.model_fields_set and not getattr(self, proof):
                yield proof, coded("proof_needed", of=[name])

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        """What stands between fields and is wrong, each by its path; asked where every field by itself is right."""
        return iter(())

    def said(self) -> dict[str, Any]:
        """What was given, by name."""
        return self.model_dump(by_alias=True, exclude_unset=True)


AnyShape = TypeVar("AnyShape", bound=Shape)


@cache
def fields_of(shape: type[Shape]) -> dict[str, FieldInfo]:
    """The fields by the names that a body gives them."""
    return {info.alias or name: info for name, info in shape.model_fields.items()}


def kind_of(info: FieldInfo) -> Kind | None:
    return next((each for each in info.metadata if isinstance(each, Kind)), None)


def shape_within(info: FieldInfo) -> type[Shape] | None:
    """The shape of a part, or of each of a list of parts."""
    asked: list[Any] = [info.annotation]
    for each in asked:
        if isinstance(each, type) and issubclass(each, Shape):
            return each
        asked += get_args(each)
    return None


def label_of(shape: type[Shape], name: str) -> Words:
    """What people call the field; empty where its name says it."""
    info = fields_of(shape).get(name)
    kind = kind_of(info) if info else None
    return kind.label if kind else ""


def columns_of(shape: type[Shape], *but: str) -> dict[str, tuple[str, Kind]]:
    """The columns of a table of such things, in which each cell is `written` and says what is `meant`: by heading the
    field's name and kind. Parts and what no page asks for have none."""
    kinds = ((name, kind_of(info)) for name, info in fields_of(shape).items() if not shape_within(info))
    return {kind.heading(name): (name, kind) for name, kind in kinds if kind and kind.asked_as and name not in but}


@cache
def partial_of(shape: type[AnyShape]) -> type[AnyShape]:
    """The same with every field left out at will: what a change may say."""
    fields: dict[str, Any] = {
        name: (Annotated[info.annotation, *info.metadata] if info.metadata else info.annotation, LEFT_OUT)
        for name, info in shape.model_fields.items()
    }
    return create_model(shape.__name__, __base__=shape, __doc__=shape.__doc__, **fields)


def shape_of(name: str, fields: Mapping[str, Any]) -> Any:
    """A shape of these fields, each of which may be left out."""
    left_out: dict[str, Any] = {each: (field, LEFT_OUT) for each, field in fields.items()}
    return create_model(name, __base__=Shape, **left_out)


def read_shape(shape: type[Shape], data: Any, *, viewer: User, partial: bool = False) -> dict[str, Any]:
    """What a body says. Raises FleetError `invalid` with each field that is wrong, NotFound of its fields, and
    Forbidden with those that this viewer may not change."""
    try:
        read = (partial_of(shape) if partial else shape).model_validate(data, context={"viewer": viewer})
    except ValidationError as bad:
        raise FleetError("invalid", "Some fields can't be accepted.", errors=errors_of(bad, shape)) from bad
    given = {name: row for name, row in rights_of(shape).items() if name in read.model_fields_set}
    beyond = {name: ACCESS[row].change for name, row in given.items() if not may_change(viewer, row)}
    if beyond:
        errors = {name: coded("changed_by", roles=sorted(roles)) for name, roles in beyond.items()}
        raise Forbidden("not_allowed", "Some of these fields are for others to change.", errors=errors)
    return read.said()


@cache
def _proofs_of(shape: type[Shape]) -> tuple[tuple[str, str], ...]:
    """Each field that rests on another, with that, the first last: it is the one that is named of several."""
    kinds = {name: kind_of(info) for name, info in reversed(shape.model_fields.items())}
    return tuple((name, kind.proven_by) for name, kind in kinds.items() if kind and kind.proven_by)


@cache
def rights_of(shape: type[Shape]) -> dict[str, str]:
    """By field the row of the table of rights that it is under, of those that aren't under the whole thing's."""
    kinds = {name: kind_of(info) for name, info in fields_of(shape).items()}
    return {name: kind.under for name, kind in kinds.items() if kind and kind.under}


def read_as(shape: type[Shape], data: Any, code: str, refusal: str) -> dict[str, Any]:
    """The same as a record may hold it. Raises Malformed."""
    try:
        content: dict[str, Any] = without_decimals(shape.model_validate(data).said())
    except ValidationError as bad:
        raise Malformed(code, refusal, errors=errors_of(bad, shape)) from bad
    return content


# ---- text and numbers ----


def without_decimals(value: Any) -> Any:
    """The same, with numbers that aren't whole as decimal strings."""
    if isinstance(value, dict):
        return {str(key): without_decimals(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [without_decimals(each) for each in value]
    if isinstance(value, Decimal | float):
        return str(value)
    return value


def cleaned(text: str) -> str:
    """In Unicode NFC, without control or reordering characters and space at its ends."""
    return unicodedata.normalize("NFC", _UNWANTED.sub("", text)).strip()


def file_schema(shape: type[Shape]) -> dict[str, Any]:
    """The JSON Schema (2020-12) of a file, named as its field `schema` names it."""
    kind = kind_of(fields_of(shape)["schema"])
    assert isinstance(kind, Word)
    named = {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": next(iter(kind.choices))}
    return named | shape.model_json_schema()
