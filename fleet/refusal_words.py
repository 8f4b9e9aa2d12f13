"""Our own words for what forms refuse: what was wrong with the value, and what is allowed.

Each begins after a field's label: "Postcode is missing; it must be given". They stand in `sentences.json`, by the class
of the field that refuses.
"""

from collections.abc import Collection

from django import forms

from fleet.presentation.sentences import sentences_of

_TABLES = "refused_form."
# What says only what is allowed: before it stands what was given.
SAYS_GIVEN = ("invalid", "invalid_list")


def use_own_words() -> None:
    """Puts our words in the place of the framework's own; before the first form is made."""
    for name, words in sentences_of((_TABLES,)):
        kind = getattr(forms, name.removeprefix(_TABLES))
        kind.default_error_messages = {**vars(kind).get("default_error_messages", {}), **words}


def general(kind: type[forms.Field]) -> Collection[object]:
    """The words of the class of a field and of those that it extends."""
    return [said for each in kind.__mro__ for said in vars(each).get("default_error_messages", {}).values()]
