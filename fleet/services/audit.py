"""The audit trail: one entry for what somebody did, written beside it."""

from contextvars import ContextVar
from datetime import datetime, timedelta
from typing import Any

from fleet.coded import as_row
from fleet.models import AuditEntry, User

MOST_REFUSED = 20
# So many more of what names something or would change it: it is never hidden by asking for pages.
MOST_NAMED = 200
# Of the request that is being answered; empty at the terminal and in background work.
asking_network: ContextVar[str] = ContextVar("asking_network", default="")


def note(*, kind: str, user: User | None, now: datetime, path: str = "", token: str = "", said: Any = ()) -> AuditEntry:
    """That somebody came, went, looked at something or took it out. token: by which one, by its name."""
    about = {"path": path, "token": token, "said": list(said), "network": asking_network.get()}
    return AuditEntry.objects.create(kind=kind, user=user, at=now, **about)


def note_view_refused(
    *, user: User, now: datetime, method: str, status: int, path: str, token: str, is_named: bool
) -> None:
    """That an auditor asked for what they may not see, or would have changed something: once an hour for each method
    and address, and at most MOST_REFUSED an hour, MOST_NAMED of those that name something or would change it; the last
    of each says so."""
    kind, most = AuditEntry.Kind.VIEW_REFUSED, MOST_NAMED if is_named else MOST_REFUSED
    lately = AuditEntry.objects.filter(kind=kind, user=user, at__gt=now - timedelta(hours=1))
    figures = [said[1] for said in lately.values_list("said", flat=True)]
    known = {(each["method"], each["path"]) for each in figures if each["named"] == is_named}
    if len(known) < most and (method, path) not in known:
        code = "views_refused_beyond" if len(known) == most - 1 else "view_refused_as"
        said = as_row(code, method=method, status=status, path=path, named=is_named)
        note(kind=kind, user=user, now=now, path=path, token=token, said=said)


def note_refused(*, user: User | None, now: datetime, times: int = 0) -> None:
    """That a log-in was refused: of one person and network once an hour, and once more when their tries are used up.

    Of one person at most MOST_REFUSED an hour from everywhere, and as many of all names that are nobody's; the last of
    them says so. times: how many tries are used up with this one; 0 where more are left.
    """
    kind = AuditEntry.Kind.LOG_IN_REFUSED
    lately = AuditEntry.objects.filter(kind=kind, user=user, at__gt=now - timedelta(hours=1))
    known = [(network, *said[:1]) for network, said in lately.values_list("network", "said")[:MOST_REFUSED]]
    said = as_row("refused_often", times=times) if times else []
    if len(known) >= MOST_REFUSED or (asking_network.get(), *said[:1]) in known:
        return
    note(kind=kind, user=user, now=now, said=as_row("refused_beyond") if len(known) == MOST_REFUSED - 1 else said)


def note_change(*, user: User, actor: User | None, now: datetime, code: str, **figures: Any) -> AuditEntry:
    """That who may come in, as what, for which clients or by which token changed; actor is none at the terminal."""
    said, network = as_row(code, **figures), asking_network.get()
    return AuditEntry.objects.create(
        kind=AuditEntry.Kind.ACCESS_CHANGED, user=user, by=actor, at=now, said=said, network=network
    )
