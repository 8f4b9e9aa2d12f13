"""Three clients, each with a row of everything that can be theirs, and who may look at it."""

from dataclasses import dataclass
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

from fleet.models import (
    Alert,
    Appliance,
    Attendance,
    Building,
    CalendarLink,
    Client,
    Correction,
    Defect,
    Delivery,
    Flag,
    FlueGroup,
    Forecast,
    ForecastCheck,
    GasConversion,
    GasSupply,
    HookDelivery,
    Judgement,
    LimitSetAssignment,
    NoAccess,
    OutOfUse,
    Person,
    Question,
    Record,
    RequiredCheck,
    Retest,
    Revisit,
    Role,
    StoredFile,
    Tenancy,
    User,
    Visit,
    Webhook,
)
from fleet.models.register import new_id
from tests.cast import make_user
from tests.models.rows import DAY, made

YESTERDAY, NEXT_WEEK = DAY - timedelta(days=1), DAY + timedelta(days=7)

NOTHING_ARRIVED = ["nothing_arrived", {"days": 3, "last": ["answered", {"status": 500}]}]


def place_of(name: str, sheet: Any, person: Person) -> SimpleNamespace:
    """A client's rows by what they are; every one of them is this client's alone."""
    client = made(Client, name=name)
    building = made(Building, client=client, name=f"{name} House", time_zone="Europe/Lisbon")
    appliance = made(Appliance, building=building, name=f"{name} boiler", sheet=sheet)
    of = {"appliance": appliance}
    record = made(Record, kind="visit", subject=new_id())
    attendance = made(Attendance, building=building)
    visit = made(Visit, **of, id=record.subject, record=record, attendance=attendance, local_date=YESTERDAY)
    made(Judgement, visit=visit, card={}, derived=[], verdicts={"verdicts": []})
    flag = made(Flag, **of, visit=visit, kind="outside_a_limit", sentence="", figures={})
    no_access = made(NoAccess, **of)
    hook = made(Webhook, client=client, switched_off_why=NOTHING_ARRIVED)
    technician = make_user(f"{name}_technician", Role.TECHNICIAN, sees_all_clients=False)
    technician.clients.add(client)
    out_of_use, conversion = made(OutOfUse, **of, begins=DAY, ends=DAY), made(GasConversion, **of)
    return SimpleNamespace(
        client=client,
        building=building,
        appliance=appliance,
        visit=visit,
        record=record,
        flag=flag,
        no_access=no_access,
        technician=technician,
        alert=made(Alert, flag=flag),
        question=made(Question, visit=visit),
        correction=made(Correction, visit=visit),
        retest=made(Retest, **of, visit=visit),
        defect=made(Defect, **of, visit=visit, due=YESTERDAY),
        delivery=made(Delivery, visit=visit, due=YESTERDAY),
        tenancy=made(Tenancy, building=building, begins=NEXT_WEEK),
        gas_supply=made(GasSupply, building=building, since=DAY),
        flue_group=made(FlueGroup, building=building),
        out_of_use=out_of_use,
        out_of_use_record=made(Record, kind="out_of_use", subject=out_of_use.id),
        conversion_record=made(Record, kind="gas_conversion", subject=conversion.id),
        required_check=made(RequiredCheck, **of, due=YESTERDAY, since=DAY - timedelta(days=400)),
        revisit=made(Revisit, **of, earliest=YESTERDAY, latest=NEXT_WEEK, state="booked", day=NEXT_WEEK),
        forecast=made(Forecast, **of, quantity="co2", rate="high", lower=9.0, basis="assumptions"),
        forecast_check=made(ForecastCheck, visit=visit, quantity="co2", rate="high", chance=0.2),
        file=made(StoredFile, visit=visit),
        file_of_attempt=made(StoredFile, no_access=no_access),
        of_client=made(LimitSetAssignment, client=client),
        of_building=made(LimitSetAssignment, building=building),
        of_appliance=made(LimitSetAssignment, appliance=appliance),
        hook=hook,
        hook_delivery=made(HookDelivery, hook=hook),
        calendar_of_client=made(CalendarLink, client=client, user=None),
        calendar_of_technician=made(CalendarLink, user=technician),
    )


@dataclass(frozen=True)
class World:
    ours: SimpleNamespace
    theirs: SimpleNamespace
    others: SimpleNamespace
    viewers: dict[str, User]

    @property
    def places(self) -> tuple[SimpleNamespace, ...]:
        return self.ours, self.theirs, self.others

    def who(self, role: str, sees: str = "ours") -> User:
        """sees: "all", "ours" or "none"; or "gone", of all clients but no longer here."""
        return self.viewers[f"{role}_{sees}"]


def make_world(sheet: Any) -> World:
    person = made(Person)
    ours, theirs, others = (place_of(each, sheet, person) for each in ("Weir", "Alder", "Quarry"))
    viewers = {}
    for role in Role.values:
        for sees in ("all", "ours", "none", "gone"):
            user = make_user(f"{role}_{sees}", role, sees_all_clients=sees in ("all", "gone"))
            user.is_active = sees != "gone"
            user.save()
            if sees == "ours":
                user.clients.add(ours.client)
            viewers[user.username] = user
    made(Webhook, name="whole installation", client=None, switched_off_why=NOTHING_ARRIVED)
    return World(ours, theirs, others, viewers)
