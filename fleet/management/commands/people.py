"""Who may log in, from the machine itself: for whoever is locked out of the pages."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet import clock
from fleet.errors import FleetError
from fleet.models import Client, Person, Role
from fleet.presentation.addresses import password_link
from fleet.presentation.codes import wrong_text
from fleet.services.people import end_access, invite_newcomer, let_back, reset_log_in


class Command(BaseCommand):
    help = "Who may log in: list them, invite somebody by a one-time link, end somebody's access, make a new link."

    def add_arguments(self, parser: ArgumentParser) -> None:
        acts = parser.add_subparsers(dest="act", required=True)
        acts.add_parser("list", help="one line a log-in")
        invited = acts.add_parser("invite", help="prints the link, which opens once, within seven days")
        invited.add_argument("user", help="the user name")
        invited.add_argument("name", help="as it stands on records")
        invited.add_argument("--role", choices=Role.values, default=Role.MANAGER.value)
        invited.add_argument("--email", default="")
        invited.add_argument("--client", action="append", help="sees this client alone; may be given again")
        ended = acts.add_parser("end", help="it opens nothing from now on, nor do its tokens and links")
        ended.add_argument("user")
        again = acts.add_parser("reset", help="prints a new link; who had left is let back in; the password ends")
        again.add_argument("user")
        again.add_argument("--second-factor", action="store_true", help="take it off too")

    def handle(self, *_args: Any, act: str, **options: Any) -> None:
        try:
            {"list": self._list, "invite": self._invite, "end": self._end, "reset": self._reset}[act](**options)
        except FleetError as refused:
            errors = (f"{path} {wrong_text(said)}." for path, said in refused.errors.items())
            raise CommandError(" ".join([refused.message, *errors])) from refused

    def _list(self, **_options: Any) -> None:
        for each in Person.objects.filter(user__isnull=False).select_related("user").order_by("user__username"):
            user = each.user
            assert user is not None  # by the filter
            sees = "all clients" if user.sees_all_clients else ", ".join(str(one) for one in user.clients.all())
            last = f"last {user.last_login:%Y-%m-%d}" if user.last_login else "never logged in"
            self.stdout.write("  ".join((user.username, each.name, user.role, sees, user.state, last)))

    def _invite(
        self, *, user: str, name: str, role: str, email: str, client: list[str] | None, **_options: Any
    ) -> None:
        clients = list(Client.objects.filter(name__in=client)) if client else None
        if missing := set(client or ()) - {each.name for each in clients or ()}:
            raise CommandError(f"There is no client named {', '.join(sorted(missing))}.")
        values = {"username": user, "role": role, "email": email, "clients": clients}
        self._print_link(
            invite_newcomer(person={"name": name, "phone": ""}, values=values, actor=None, now=clock.now())
        )

    def _end(self, *, user: str, **_options: Any) -> None:
        person = _person_of(user)
        end_access(person=person, version=person.version, actor=None, now=clock.now())
        self.stdout.write("Ended: the log-in, its tokens and its calendar links open nothing any more.")

    def _reset(self, *, user: str, second_factor: bool, **_options: Any) -> None:
        person = _person_of(user)
        by: dict[str, Any] = {"person": person, "actor": None, "now": clock.now()}
        if person.user and not person.user.is_active:
            let_back(version=person.version, **by)
        reset_log_in(version=person.version, second_factor=second_factor, why="by manage.py people reset", **by)
        self._print_link(person)

    def _print_link(self, person: Person) -> None:
        assert person.user is not None
        self.stdout.write(password_link(person.user))


def _person_of(username: str) -> Person:
    person = Person.objects.select_related("user").filter(user__username=username).first()
    if person is None:
        raise CommandError(f"There is no log-in {username!r}; manage.py people list names them.")
    return person
