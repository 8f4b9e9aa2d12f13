"""The rules that the invented contractor works under: a neutral set for all, two stricter agreements, a sheet's own."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

from fleet.demo.places import LETTINGS, SCHOOLS
from fleet.demo.simulation import Life
from fleet.intake.limit_sets import read_limit_set
from fleet.models import Client, LimitSet, User
from fleet.models.register import new_id
from fleet.services import limit_sets
from fleet.services.register import create_entry
from fleet.services.required_checks import add_required_check

NEUTRAL, SCHOOL_CONTRACT, LETTING_RULES = "demo-neutral", "demo-contract-schools", "demo-letting-rules"


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
    for key, content in ((SCHOOLS, _school_contract()), (LETTINGS, _letting_rules())):
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


def _agreement(key: str, name: str, **content: Any) -> dict[str, Any]:
    """Read as anybody's set is: what the reader refuses would not show on a page either."""
    written = {
        "id": key,
        "name": name,
        "jurisdiction": "any",
        "kind": "contract",
        "evidence": "own",
        "decision_rule": "simple",
        "required_fields": "plain",
        "sources": [],
        "notes": "An invented agreement, stricter than the neutral set.",
    }
    return read_limit_set(written | content)


def _school_contract() -> dict[str, Any]:
    stricter = {
        "id": "contract-co", "quantity": "co", "unit": "ppm", "basis": "air_free", "firing_rate": "any",
        "when": "as_left", "severity": "out_of_limit", "action": "Bring it under the contract's limit",
        "source": "invented contract", "evidence": "own", "fires_when": {"op": ">", "value": "80"},
        "limit_text": "<= 80",
    }  # fmt: skip
    return _agreement(
        SCHOOL_CONTRACT,
        "Contract of the schools (invented)",
        interval={"type": "max_months", "months": 9},
        limits=[stricter],
        delivery=[{"to": "the school's office", "days_after_visit": 14}],
    )


def _letting_rules() -> dict[str, Any]:
    return _agreement(
        LETTING_RULES,
        "Letting agreement (invented)",
        interval={"type": "max_months", "months": 12},
        limits=[],
        delivery=[
            {"to": "landlord", "days_after_visit": 21},
            {"to": "new tenant", "before": "tenancy", "when": "before moving in"},
        ],
        repair=[{"severity": "repair", "days": 21, "note": "as agreed with the landlords"}],
    )
