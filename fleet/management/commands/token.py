"""Tokens of other programs from the machine itself: make, list, end."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet import clock
from fleet.errors import FleetError
from fleet.models import ApiToken, User
from fleet.presentation.codes import wrong_text
from fleet.queries.access import tokens_of, visible_clients
from fleet.services.access import MOST_DAYS, create_token, revoke_token


class Command(BaseCommand):
    help = "Tokens of other programs: make one for a user, list them, end one."

    def add_arguments(self, parser: ArgumentParser) -> None:
        acts = parser.add_subparsers(dest="act", required=True)
        made = acts.add_parser("make", help="prints the token, once")
        made.add_argument("user", help="the user name whose rights it has")
        made.add_argument("name", help="what it is for")
        made.add_argument("--scope", choices=ApiToken.Scope.values, default=ApiToken.Scope.READ)
        made.add_argument("--days", type=int, default=90, help=f"1 to {MOST_DAYS}")
        made.add_argument("--client", action="append", help="sees this client alone; may be given again")
        listed = acts.add_parser("list", help="one line a token")
        listed.add_argument("user", nargs="?")
        ended = acts.add_parser("end", help="it opens nothing from now on")
        ended.add_argument("key", help="its first characters, as list has them")

    def handle(self, *_args: Any, act: str, **options: Any) -> None:
        try:
            {"make": self._make, "list": self._list, "end": self._end}[act](**options)
        except FleetError as refused:
            said = (f"{path} {wrong_text(each)}." for path, each in refused.errors.items())
            raise CommandError(" ".join([refused.message, *said])) from refused

    def _make(self, *, user: str, name: str, scope: str, days: int, client: list[str] | None, **_options: Any) -> None:
        owner = user_of(user)
        clients = [each for each in visible_clients(owner) if each.name in client] if client else None
        if missing := set(client or ()) - {each.name for each in clients or ()}:
            raise CommandError(f"{user} sees no client named {', '.join(sorted(missing))}.")
        _token, secret = create_token(
            user=owner, name=name, scope=scope, days=days, clients=clients, actor=None, now=clock.now()
        )
        self.stdout.write(secret)

    def _list(self, *, user: str | None, **_options: Any) -> None:
        tokens = tokens_of(user_of(user)) if user else ApiToken.objects.select_related("user").order_by("created")
        for each in tokens:
            sees = ", ".join(str(one) for one in each.clients.all()) if each.is_limited else "all of its owner"
            used = f"used {each.used_on}" if each.used_on else "never used"
            said = (
                each.token_key,
                each.user.username,
                each.name,
                each.scope,
                sees,
                used,
                f"ends {each.expiry:%Y-%m-%d}",
            )
            self.stdout.write("  ".join(said))

    def _end(self, *, key: str, **_options: Any) -> None:
        revoke_token(actor=None, now=clock.now(), key=key)


def user_of(name: str) -> User:
    user = User.objects.filter(username=name, is_active=True).first()
    if user is None:
        raise CommandError(f"There is no active account {name!r}.")
    return user
