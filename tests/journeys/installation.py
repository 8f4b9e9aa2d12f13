"""A small installation in a database file of its own, made by a process of its own: `python -m` this, with
FLEET_VAR_DIR set. Prints ids, passwords and the technician's token as JSON.

The records' tables only grow, so tests of a running service begin from a fresh file each instead of emptying one.
"""

import json
import os
import secrets
from datetime import timedelta

from fleet import clock


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    call_command("collectstatic", interactive=False, verbosity=0)
    print(json.dumps(_people_and_places()))


def _people_and_places() -> dict[str, str]:
    from fleet.models import Client, Person, Role, User
    from fleet.services.access import create_token, create_user
    from fleet.services.contractor import begin_installation
    from fleet.services.register import add_qualification
    from fleet.services.required_checks import add_required_check
    from tests import cast
    from tests.reports.cases import attach

    now = clock.now()
    begin_installation(name="Invented Heating", address="", emergency_numbers=["0000"], is_demo=True, now=now)
    passwords = {role: secrets.token_urlsafe(16) for role in cast.ROLES}
    for role, password in passwords.items():
        everywhere = role != Role.AUDITOR
        create_user(username=role, password=password, role=role, name=f"Invented {role}", sees_all_clients=everywhere)
    manager, technician = User.objects.get(username="manager"), User.objects.get(username="technician")
    client = Client.objects.create(name="Invented Schools")
    User.objects.get(username="auditor").clients.add(client)
    boiler = cast.make_appliance(cast.make_building(client, "Invented House"), cast.make_sheet(manager), room="cellar")
    attach(("demo-neutral",), boiler, manager)
    since = now.date() - timedelta(days=400)
    values = {"appliance": boiler, "name": "Yearly check", "source": "contract", "since": since, "why": "signed"}
    add_required_check(values=values | {"rule": {"type": "max_months", "months": 12}}, actor=manager, now=now)
    person = Person.objects.get(user=technician)
    papers = {"scheme": "trade register", "number": "Q-1", "fuel_kinds": ["gas"]}
    papers |= {"valid_from": "2015-01-01", "valid_to": f"{now.date() + timedelta(days=30):%Y-%m-%d}"}
    add_qualification(person=person, content=papers, actor=manager, now=now, id=cast.new_id())
    analyser = cast.make_analyser(manager)
    _token, secret = create_token(
        user=technician, actor=technician, now=clock.now(), name="phone", scope="write", days=1
    )
    ids = {"client": client.id, "building": boiler.building_id, "appliance": boiler.id}
    ids |= {"person": person.id, "analyser": analyser.id}
    return {name: str(each) for name, each in ids.items()} | passwords | {"token": secret, "serial": boiler.serial}


if __name__ == "__main__":
    main()
