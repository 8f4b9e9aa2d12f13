"""What the audit trail says happened."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from django.utils.translation import gettext as _

from fleet.models import ApiToken, AuditEntry
from fleet.presentation.codes import code_words
from fleet.presentation.days import said_day
from fleet.presentation.sentences import sentences
from fleet.presentation.words import listed

_CHANGES = sentences("access_changes")


def entry_words(entry: AuditEntry, names: Mapping[str, str] = MappingProxyType({})) -> str:
    """In a few words, without who and when. names : of what has an id in the address.

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
    named = listed([name for id, name in names.items() if id in entry.path])
    words = ": ".join(filter(None, (str(entry.get_kind_display()), entry.path)))
    return f"{words} ({named})" if named else words


def done_by(entry: AuditEntry) -> str:
    """Whoever did it, and by which token; empty where nobody is known."""
    if entry.kind == AuditEntry.Kind.ACCESS_CHANGED and entry.by is None and not entry.network:
        return _("at the terminal")
    who = str(entry.by or entry.user or "")
    return _("%(who)s, by the token %(token)s") % {"who": who, "token": entry.token} if entry.token else who


def _shown(code: str, name: str, figure: Any) -> Any:
    if figure is None:
        return _("all clients of its owner") if code.startswith("token_") else _("all clients")
    if isinstance(figure, list):
        return listed([code_words(each) for each in figure] if name == "fields" else figure)
    if name == "scope":
        return str(ApiToken.Scope(figure).label)
    if name == "role" or code == "role_changed":
        return code_words(figure)
    return said_day(figure) if name == "until" else figure
