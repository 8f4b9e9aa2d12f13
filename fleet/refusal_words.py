"""Our own words for what the frameworks refuse: what was wrong with the value, and what is allowed.

Each begins after a field's name or label: "Postcode is missing; it must be given".
"""

from typing import Any

from django import forms
from django.core import validators
from django.db import models
from django.utils.translation import gettext_lazy as _
from rest_framework import serializers
from rest_framework.fields import Field as ApiField

_MISSING = _("is missing; it must be given")
_EMPTY = _("is empty; it must be given")
_WHOLE = _("must be a whole number")
_NUMBER = _("must be a number")
_LIST = _("must be a list")
_OF_LIST = {
    "not_a_list": _LIST,
    "empty": _("is an empty list; it must name at least one"),
    "min_length": _("is too short a list; it must have at least {min_length}"),
    "max_length": _("is too long a list; it may have at most {max_length}"),
}
_OF_FIGURE = {
    "max_value": _("is too high; it must be at most {max_value}"),
    "min_value": _("is too low; it must be at least {min_value}"),
    "max_string_length": _("is too long for a number"),
}
_OF_API: dict[type[ApiField[Any, Any, Any, Any]], dict[str, Any]] = {
    ApiField: {"required": _MISSING, "null": _EMPTY},
    serializers.BooleanField: {"invalid": _("must be true or false")},
    serializers.CharField: {
        "invalid": _("must be a string"),
        "blank": _EMPTY,
        "max_length": _("is too long; it may have at most {max_length} characters"),
        "min_length": _("is too short; it must have at least {min_length} characters"),
    },
    serializers.EmailField: {"invalid": _("must be an e-mail address such as office@heating.example")},
    serializers.SlugField: {"invalid": _("must be made of letters, digits, hyphens and underscores")},
    serializers.URLField: {"invalid": _("must be an address such as https://heating.example/in")},
    serializers.UUIDField: {"invalid": _("must be a UUID such as 019a3c5e-7d10-7c4e-9f2b-3d5a6b7c8d9e")},
    serializers.IntegerField: {"invalid": _WHOLE} | _OF_FIGURE,
    serializers.FloatField: {"invalid": _NUMBER, "overflow": _("is too large for a number")} | _OF_FIGURE,
    serializers.DateField: {
        "invalid": _("must be a day such as 2026-03-02"),
        "datetime": _("must be a day such as 2026-03-02"),
    },
    serializers.DateTimeField: {"invalid": _("must be a time with offset such as 2026-03-02T09:41:00+01:00")},
    serializers.ListField: _OF_LIST,
    serializers.ListSerializer: _OF_LIST,
    serializers.DictField: {
        "not_a_dict": _("must be an object"),
        "empty": _("is an empty object; it must hold something"),
    },
    serializers.JSONField: {"invalid": _("must be JSON")},
}
_OF_VALIDATORS = {
    "max_value": _("is %(value)s; it must be at most %(limit_value)s"),
    "min_value": _("is %(value)s; it must be at least %(limit_value)s"),
    "max_length": _("has %(show_value)s characters; it may have at most %(limit_value)s"),
    "min_length": _("has %(show_value)s characters; it must have at least %(limit_value)s"),
    "null_characters_not_allowed": _("holds a character that can't be kept"),
}
_OF_FORMS: dict[type[forms.Field], dict[str, Any]] = {
    forms.Field: {"required": _MISSING} | _OF_VALIDATORS,
    forms.IntegerField: {"invalid": _WHOLE},
    forms.FloatField: {"invalid": _NUMBER},
    forms.DateField: {"invalid": _("must be a day such as 2026-03-02")},
    forms.TimeField: {"invalid": _("must be a time such as 09:41")},
    forms.DateTimeField: {"invalid": _("must be a day and time such as 2026-03-02 09:41")},
    forms.EmailField: {"invalid": _("must be an e-mail address such as office@heating.example")},
    forms.RegexField: {"invalid": _("must be one of those offered")},
    forms.UUIDField: {"invalid": _("must be one of those offered")},
    forms.ChoiceField: {"invalid_choice": _("is %(value)s; it must be one of those offered")},
    forms.MultipleChoiceField: {
        "invalid_choice": _("is %(value)s; it must be one of those offered"),
        "invalid_list": _("must be chosen from those offered"),
    },
    forms.FileField: {"invalid": _("is no file"), "missing": _MISSING, "empty": _("is an empty file")},
}
_OF_ROWS = {
    "null": _MISSING,
    "blank": _EMPTY,
    "invalid": _("is %(value)s, which can't be read"),
    "invalid_choice": _("is %(value)s, which isn't one of those allowed"),
    "unique": _("is taken already"),
} | _OF_VALIDATORS


def with_given(said: str, given: Any) -> str:
    """What was given, before what it must be.

    >>> with_given("must be a whole number", "two"), with_given("is missing", None)
    ("is 'two'; it must be a whole number", 'is missing')
    """
    return f"is {repr(given)[:60]}; it {said}" if said.startswith("must ") else said


def use_own_words() -> None:
    """Puts our words in the place of the frameworks' own; before the first model, form or shape is made."""
    tables: tuple[dict[Any, dict[str, Any]], ...] = (_OF_API, _OF_FORMS, {models.Field: _OF_ROWS})
    for table in tables:
        for kind, words in table.items():
            kind.default_error_messages = {**vars(kind).get("default_error_messages", {}), **words}
    validators.validate_slug.message = _OF_API[serializers.SlugField]["invalid"]
