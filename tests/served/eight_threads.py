"""Run as a program: the same visit sent by eight threads at once; prints what each got and what was stored."""

import copy
import json
import os
import threading

os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"

import django

django.setup()

from django.core.management import call_command
from django.db import connection
from rest_framework.test import APIClient

from fleet.models import Client, Reading, Record, Role, Visit
from fleet.services.contractor import begin_installation
from tests import cast

THREADS = 8


def main() -> None:
    call_command("migrate", verbosity=0)
    begin_installation(name="T", address="", emergency_numbers=[], is_demo=False, now=cast.NOON)
    technician = cast.make_user("technician", Role.TECHNICIAN)
    building = cast.make_building(Client.objects.create(name="Weir Trust"))
    appliance = cast.make_appliance(building, cast.make_sheet(technician))
    body = cast.visit_body(appliance, cast.make_person("Ada", technician, technician), cast.make_analyser(technician))
    start, answers = threading.Barrier(THREADS), []

    def send() -> None:
        client = APIClient(SERVER_NAME="127.0.0.1")
        client.force_authenticate(technician)
        start.wait()
        answer = client.post("/api/v1/visits", copy.deepcopy(body), format="json")
        answers.append((answer.status_code, answer.json().get("id")))
        if answer.status_code >= 400:
            print(answer.content[:300])
        connection.close()

    threads = [threading.Thread(target=send) for _ in range(THREADS)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    stored = [Visit.objects.count(), Record.objects.filter(kind="visit").count(), Reading.objects.count()]
    print(json.dumps({"vendor": connection.vendor, "answers": answers, "stored": stored}))


main()
