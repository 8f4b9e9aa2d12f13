"""Run as a program: the last two managers end one another at once, again and again; prints what came of each time."""

import json
import os
import threading

os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"

import django

django.setup()

from django.core.management import call_command
from django.db import connection

from fleet.errors import FleetError
from fleet.models import Person, Role, User
from fleet.services.access import create_user
from fleet.services.people import end_access
from tests.cast import NOON

TIMES = 8


def main() -> None:
    call_command("migrate", verbosity=0)
    for name in ("ada", "bo"):
        create_user(username=name, password="a-long-enough-secret", role=Role.MANAGER, name=name)
    print(json.dumps({"vendor": connection.vendor, "outcomes": [end_one_another() for _ in range(TIMES)]}))


def end_one_another() -> list[str]:
    """What became of each of the two tries, and how many managers are left."""
    made = {each.id: each.password for each in User.objects.all()}
    people, start, outcome = list(Person.objects.select_related("user")), threading.Barrier(2), []

    def end(mine: Person, theirs: Person) -> None:
        start.wait()
        try:
            end_access(person=theirs, version=theirs.version, actor=mine.user, now=NOON)
            outcome.append("ended")
        except FleetError as refused:
            outcome.append(refused.code)
        finally:
            connection.close()

    threads = [threading.Thread(target=end, args=pair) for pair in (people, people[::-1])]
    for each in threads:
        each.start()
    for each in threads:
        each.join(60)
    left = User.objects.filter(is_active=True).count()
    for user, password in made.items():
        User.objects.filter(id=user).update(is_active=True, password=password)
    return [*sorted(outcome), str(left)]


main()
