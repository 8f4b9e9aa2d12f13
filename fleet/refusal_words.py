"""Our own words for what the frameworks refuse: what was wrong with the value, and what is allowed.

Each begins after a field's name or label: "Postcode is missing; it must be given". They stand in `sentences.json`, by
the class of the field that refuses.
"""

from typing import Any

from django import forms
from django.core import validators
from django.db import models
from rest_framework import fields, serializers

from fleet.presentation.sentences import sentences_of

_KINDS = {
    "refused_api": {**vars(fields), **vars(serializers)},
    "refused_form": vars(forms),
    "refused_row": vars(models),
}


def with_given(said: str, given: Any) -> str:
    """What was given, before what it must be.

    >>> with_given("must be a whole number", "two"), with_given("is missing", None)
    ("is 'two'; it must be a whole number", 'is missing')
    """
    return f"is {repr(given)[:60]}; it {said}" if said.startswith("must ") else said


def use_own_words() -> None:
    """Puts our words in the place of the frameworks' own; before the first model, form or shape is made."""
    for name, words in sentences_of(tuple(_KINDS)):
        where, kind_name = name.split(".")
        kind = _KINDS[where][kind_name]
        kind.default_error_messages = {**vars(kind).get("default_error_messages", {}), **words}
    validators.validate_slug.message = serializers.SlugField.default_error_messages["invalid"]
