"""What the audit trail says happened."""

from fleet.models import AuditEntry
from fleet.presentation.codes import code_words
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
        said = {"role": code_words, "names": listed}
        return str(_CHANGES[code]) % {
            name: said[name](each) if name in said else each for name, each in figures.items()
        }
    return ": ".join(filter(None, (str(entry.get_kind_display()), entry.path)))
