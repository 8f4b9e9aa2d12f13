"""What people send from pages: a version that they saw, and words; choices of the filter sentences."""

import uuid
from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from fleet import refusal_words
from fleet.coded import GIVEN_LENGTH
from fleet.errors import FleetError, NotFound
from fleet.intake.fields import FIRST_YEAR, LAST_YEAR, Number, Refused, Text, cleaned
from fleet.models import Client
from fleet.presentation.codes import allowed_words

Words = str | Promise


def refuse_far(day: date) -> None:
    """Raises ValidationError for a day in years that no record can have."""
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        years = {"first": FIRST_YEAR, "last": LAST_YEAR}
        raise ValidationError(_("Give a day of the years %(first)s to %(last)s."), params=years)


def _unless_needed(needed: Words) -> dict[str, Any]:
    """needed : what is said where it is left empty; without it that is allowed."""
    return {"error_messages": {"required": needed}} if needed else {"required": False}


class WordsField(forms.CharField):
    """Words for the record, cleaned as those of the API are. needed : said where they are missing, if they may not."""

    def __init__(self, label: Words | None = None, most: int = 300, needed: Words = "", **kwargs: Any) -> None:
        super().__init__(label=label, max_length=most, **(_unless_needed(needed) | kwargs))

    def to_python(self, value: Any) -> Any:
        return super().to_python(cleaned(value) if isinstance(value, str) else value)


class KindField(forms.CharField):
    """A text that its kind reads and refuses."""

    def __init__(self, kind: Text) -> None:
        super().__init__(label=kind.label, max_length=kind.most, required=not kind.blank)
        self.kind = kind

    def clean(self, value: Any) -> str:
        text = str(super().clean(value))
        try:
            return self.kind.read(text)
        except Refused as bad:
            raise ValidationError(allowed_words(bad.errors[""])) from bad


class FigureField(forms.FloatField):
    """A figure as every form of a shape reads it: ASCII digits, no exponent, a comma for the point too."""

    def to_python(self, value: Any) -> float | None:
        kind, text = Number(), str(value or "").strip()
        try:
            return kind.read(kind.meant(text)) if text else None
        except Refused as bad:
            raise ValidationError(self.error_messages["invalid"], code="invalid") from bad


class DayField(forms.DateField):
    """A day that a record can have. needed : said where it is missing, if it may not."""

    default_validators = [refuse_far]

    def __init__(self, label: Words, needed: Words = "", **kwargs: Any) -> None:
        super().__init__(label=label, **(_unless_needed(needed) | kwargs))


class VersionForm(forms.Form):
    """An act on something that has a version: the one that was seen."""

    version = forms.IntegerField(min_value=1)


class ActForm(VersionForm):
    """An act with the words for the record."""

    words = WordsField(most=500)


class WordedActForm(ActForm):
    """An act that needs its reason."""

    words = WordsField(needed=_("Say why, in a few words."))


class PeriodForm(forms.Form):
    """For whom, and for which days."""

    client = forms.UUIDField(required=False)
    building = forms.UUIDField(label=_("Only one building"), required=False)
    begins = DayField(_("From this day"), required=True)
    ends = DayField(_("To this day"), required=True)


def taken(form: forms.Form) -> dict[str, Any]:
    """The cleaned values. Raises FleetError `invalid`, which names each field by its label."""
    if form.is_valid():
        return dict(form.cleaned_data)
    faults = [(name, each) for name, wrong in form.errors.as_data().items() for each in wrong]
    raise FleetError("invalid", " ".join(dict.fromkeys(_fault_words(form, *each) for each in faults)))


def put_beside(form: forms.Form, refused: FleetError, **fields: str) -> None:
    """What was refused, beside the fields that its paths name. fields : by path the field, of another name."""
    for path, said in refused.errors.items():
        name = path.partition(".")[0]
        if (field := fields.get(name, name)) in form.fields:
            form.add_error(field, allowed_words(said))


def _fault_words(form: forms.Form, name: str, bad: ValidationError) -> str:
    """A sentence of the form's own as it is; a general one after the field's label and what was given."""
    said, field = " ".join(bad.messages), form.fields.get(name)
    if field is None or bad.message not in refusal_words.general(type(field)):
        return said
    if bad.code in refusal_words.SAYS_GIVEN:
        said = _("is %(given)s; %(allowed)s") % {"given": repr(form[name].value())[:GIVEN_LENGTH], "allowed": said}
    return f"{form[name].label} {said}."


def chosen_id(query: QueryDict, name: str) -> uuid.UUID | None:
    """An id out of the address; what isn't one is found nowhere. Raises NotFound."""
    given = query.get(name, "")
    try:
        return uuid.UUID(given) if given else None
    except ValueError as bad:
        raise NotFound("not_found", "There is nothing of that id.") from bad


def chosen_client(query: QueryDict, clients: Iterable[Client]) -> Client | None:
    """The client that a filter sentence names, among those that the viewer may see. Raises NotFound for another."""
    chosen = chosen_id(query, "client")
    found = next((each for each in clients if each.id == chosen), None)
    if chosen and found is None:
        raise NotFound("not_found", "There is no such client that you may see.")
    return found


def chosen_days(query: QueryDict, name: str, known: Iterable[int], usual: int) -> int:
    """One of the known numbers of days; anything else is the usual one."""
    given = query.get(name, "")
    return int(given) if given in {str(each) for each in known} else usual
