"""The rules that the invented contractor works under: a neutral set for all, two stricter agreements, a sheet's own."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime

from fleet.demo.places import AGREEMENTS
from fleet.demo.simulation import Life
from fleet.intake.limit_sets import read_limit_set
from fleet.models import Client, LimitSet, User
from fleet.models.register import new_id
from fleet.services import limit_sets
from fleet.services.register import create_entry
from fleet.services.required_checks import add_required_check

NEUTRAL = "demo-neutral"


def apply_rules(
    actor: User, clients: Mapping[str, Client], lives: Iterable[Life], *, reviewer: str, begins: datetime
) -> None:
    """From the first day: the neutral set for every client, an agreement for two, half-yearly checks where asked."""
    since = begins.date()
    review = {"by": reviewer, "on": f"{since:%Y-%m-%d}"}
    neutral = LimitSet.objects.get(key=NEUTRAL)
    own = review | {"source": "our own figures, for the demonstration"}
    limit_sets.review_limit_set(limit_set=neutral, review=own, actor=actor, now=begins)
    for client in clients.values():
        why = "Chosen for the demonstration: yearly, with neutral limits."
        values = {"limit_set": neutral, "client": client, "since": since, "why": why}
        limit_sets.assign_limit_set(values=values, actor=actor, now=begins)
    for key, written in AGREEMENTS.items():
        content = read_limit_set(written)
        agreed = create_entry(model=LimitSet, values={"key": content["id"], "name": content["name"]})
        signed = review | {"source": "the signed agreement (invented)"}
        limit_sets.add_limit_set_version(
            limit_set=agreed, content=content, actor=actor, now=begins, id=new_id(), review=signed
        )
        values = {"limit_set": agreed, "client": clients[key], "since": since, "why": "Signed agreement (invented)."}
        limit_sets.assign_limit_set(values=values, actor=actor, now=begins)
    for life in lives:
        if life.kind.sheet["control"] == "linkage":
            _half_yearly(life, since, actor, begins)


def _half_yearly(life: Life, since: date, actor: User, begins: datetime) -> None:
    values = {"appliance": life.appliance, "name": "Half-yearly check of the settings sheet (invented)"}
    values |= {"source": "manufacturer", "rule": {"type": "max_months", "months": 6}, "since": since}
    add_required_check(values=values | {"why": "The invented sheet asks for it."}, actor=actor, now=begins)
