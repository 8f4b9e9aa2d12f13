"""What the audit trail says happened."""

from typing import Any

from django.utils.translation import gettext as _

from fleet.models import ApiToken, AuditEntry
from fleet.presentation.codes import code_words
from fleet.presentation.days import said_day
from fleet.presentation.sentences import sentences
from fleet.presentation.words import listed

_CHANGES = sentences("access_changes")


def entry_words(entry: AuditEntry) -> str:
    """In a few words, without who and when.

    >>> entry_words(AuditEntry(kind="exported", path="/statements/paper/")), entry_words(AuditEntry(kind="logged_in"))
    ('taken out as a file: /statements/paper/', 'logged in')
    """
    if entry.said:
        code, figures = entry.said
        shown = {name: _shown(code, name, each) for name, each in figures.items()}
        try:
            return str(_CHANGES[code]) % shown
        except KeyError:  # written when less was told; an entry is never changed
            return str(_CHANGES[f"{code}_once"]) % shown
    return ": ".join(filter(None, (str(entry.get_kind_display()), entry.path)))


def _shown(code: str, name: str, figure: Any) -> Any:
    if figure is None:
        return _("all clients of its owner") if code == "token_made" else _("all clients")
    if isinstance(figure, list):
        return listed([code_words(each) for each in figure] if name == "fields" else figure)
    if name == "scope":
        return str(ApiToken.Scope(figure).label)
    if name == "role" or code == "role_changed":
        return code_words(figure)
    return said_day(figure) if name == "until" else figure
