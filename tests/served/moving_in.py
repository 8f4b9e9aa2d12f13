"""Run as a program on PostgreSQL: a tenancy begins, is called off or has its record sent while something else happens.

Whoever comes second sees what the first wrote. Prints for each pair what stands before the tenancy: the day of the
record and whether it is sent; and how the second ended.
"""

import json
import os
import threading
import time
from collections.abc import Callable
from datetime import date, timedelta

os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"

import django

django.setup()

from django.db import connection, transaction

from fleet.errors import Conflict
from fleet.models import Client, Delivery, LimitSet, Tenancy
from fleet.services.contractor import begin_installation
from fleet.services.deliveries import send_delivery
from fleet.services.limit_sets import assign_limit_set
from fleet.services.tenancies import begin_tenancy, change_tenancy
from tests import cast

LATER, GIVES_UP_S = cast.NOON + timedelta(days=30), 60.0
Act = Callable[[], object]


def main() -> None:
    contractor = Contractor()
    pairs = {
        "a check, then it begins": ("check", "begin"),
        "it begins, then a check": ("begin", "check"),
        "a check, then it is sent": ("check", "send"),
        "it is sent, then a check": ("send", "check"),
        "it is sent, then called off": ("send", "call_off"),
    }
    said = {"vendor": connection.vendor}
    for name, (first, second) in pairs.items():
        house = House(contractor, name, has_begun="begin" not in (first, second))
        ended = one_waits_for_the_other(getattr(house, first), getattr(house, second))
        said[name] = [*house.outcome(), ended]
    print(json.dumps(said))


class Contractor:
    def __init__(self) -> None:
        begin_installation(name="T", address="", emergency_numbers=[], is_demo=False, now=cast.NOON)
        self.manager, self.technician = cast.make_user("manager", "manager"), cast.make_user("tech", "technician")
        self.person, self.analyser = cast.make_person("P", None, self.manager), cast.make_analyser(self.manager)
        self.sheet = cast.make_sheet(self.manager)


class House:
    """A boiler under the landlord's rule of Great Britain, checked on 2 March; from 1 June on it is let."""

    def __init__(self, contractor: Contractor, name: str, *, has_begun: bool) -> None:
        self.contractor = contractor
        self.building = cast.make_building(Client.objects.create(name=name), name)
        self.boiler = cast.make_appliance(self.building, contractor.sheet)
        place = {"limit_set": LimitSet.objects.get(key="uk-gsiur-36"), "building": self.building, "why": "let"}
        assign_limit_set(values=place | {"since": date(2025, 1, 1)}, actor=contractor.manager, now=cast.NOON)
        self.check("2026-03-02")
        if has_begun:
            self.begin()

    def check(self, day: str = "2026-03-30") -> None:
        who = self.contractor
        cast.store(cast.visit_body(self.boiler, who.person, who.analyser, day=day), who.technician, LATER)

    def begin(self) -> None:
        values = {"building": self.building, "begins": date(2026, 6, 1), "source": "the agent"}
        begin_tenancy(values=values, now=LATER)

    def call_off(self) -> None:
        tenancy = Tenancy.objects.get(building=self.building)
        change_tenancy(tenancy=tenancy, version=tenancy.version, changes={"called_off": "withdrew"}, now=LATER)

    def send(self) -> None:
        delivery = Delivery.objects.get(tenancy__building=self.building)
        send_delivery(delivery=delivery, version=delivery.version, how="post", address="x", sent_at=LATER, proof="",
                      file=None, actor=self.contractor.manager, now=LATER)  # fmt: skip

    def outcome(self) -> list[object]:
        standing = Delivery.objects.filter(tenancy__building=self.building).select_related("visit")
        return [[str(each.visit.local_date), each.sent_at is not None] for each in standing]


class Second(threading.Thread):
    """In a session of its own."""

    def __init__(self, act: Act) -> None:
        super().__init__()
        self.act, self.ended = act, "well"

    def run(self) -> None:
        try:
            self.act()
        except Conflict as refused:
            self.ended = refused.code
        except Exception as bad:
            self.ended = repr(bad)
        finally:
            connection.close()


def one_waits_for_the_other(first: Act, second: Act) -> str:
    """The second begins when the first has written; the first ends when the second waits for it, or has ended."""
    other = Second(second)
    with transaction.atomic():
        first()
        other.start()
        ends = time.monotonic() + GIVES_UP_S
        while other.is_alive() and not somebody_waits_for_a_lock() and time.monotonic() < ends:
            time.sleep(0.01)
    other.join()
    return other.ended


def somebody_waits_for_a_lock() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
        return bool(cursor.fetchone()[0])


main()
