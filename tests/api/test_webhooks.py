"""Webhooks at the door: made off, shown with their secret once, changed by version, and nowhere else's business."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import AllowedTarget, HookDelivery, Job, User, Webhook
from tests.api.conftest import Door

LIST, HOSTS = "/api/v1/webhooks", "/api/v1/webhook-hosts"
HOOK = {"name": "office", "url": "https://office.example/in", "kinds": ["flag_opened"], "client": None}


@pytest.fixture
def made(boss: APIClient) -> dict[str, Any]:
    return dict(boss.post(LIST, HOOK).json())


def path(made: dict[str, Any], act: str = "") -> str:
    return f"{LIST}/{made['id']}{act}"


def test_it_is_made_off_and_its_secret_is_shown_once(boss: APIClient) -> None:
    answer = boss.post(LIST, HOOK)
    made = answer.json()
    assert (answer.status_code, answer["Cache-Control"], answer["ETag"]) == (201, "no-store", '"1"')
    assert (made["is_on"], made["kinds"], len(made["secret"])) == (False, ["flag_opened"], 64)
    assert "secret" not in boss.get(path(made)).json()
    assert all("secret" not in each for each in boss.get(LIST).json()["results"])


def test_a_retry_makes_another_with_another_secret(boss: APIClient) -> None:
    first, second = (boss.post(LIST, HOOK).json() for _n in range(2))
    assert first["id"] != second["id"] and first["secret"] != second["secret"]


def test_it_is_changed_and_switched_on_by_its_version(boss: APIClient, made: dict[str, Any]) -> None:
    assert boss.patch(path(made), {"is_on": True}).status_code == 428
    on = boss.patch(path(made), {"is_on": True, "name": "the office"}, headers={"If-Match": '"1"'})
    assert (on.status_code, on["ETag"]) == (200, '"2"')
    assert (on.json()["is_on"], on.json()["name"], on.json()["url"]) == (True, "the office", HOOK["url"])
    stale = boss.patch(path(made), {"is_on": False}, headers={"If-Match": '"1"'})
    assert (stale.status_code, boss.get(path(made)).json()["is_on"]) == (412, True)


@pytest.mark.parametrize(
    ("field", "value"),
    [("url", "http://office.example/"), ("url", "https://10.0.0.1/"), ("url", "office"), ("kinds", []),
     ("kinds", ["nothing"]), ("kinds", ["flag_opened", "flag_opened"]), ("name", "")],
)  # fmt: skip
def test_what_it_can_not_be_is_refused_when_made_and_when_changed(
    boss: APIClient, made: dict[str, Any], field: str, value: Any
) -> None:
    for refused in (
        boss.post(LIST, HOOK | {field: value}),
        boss.patch(path(made), {field: value}, headers={"If-Match": '"1"'}),
    ):
        assert (refused.status_code, [each.split(".")[0] for each in refused.json()["errors"]]) == (422, [field])
    assert Webhook.objects.count() == 1
    assert Webhook.objects.get().version == 1


def test_another_secret_is_shown_once_by_the_version(boss: APIClient, made: dict[str, Any]) -> None:
    assert boss.post(path(made, "/secret")).status_code == 428
    renewed = boss.post(path(made, "/secret"), headers={"If-Match": '"1"'})
    assert (renewed.status_code, renewed["Cache-Control"], renewed["ETag"]) == (200, "no-store", '"2"')
    assert renewed.json()["secret"] != made["secret"]
    assert boss.post(path(made, "/secret"), headers={"If-Match": '"1"'}).status_code == 412


def test_a_removed_one_is_listed_nowhere(boss: APIClient, made: dict[str, Any]) -> None:
    assert boss.delete(path(made)).status_code == 428
    assert boss.delete(path(made), headers={"If-Match": '"7"'}).status_code == 412
    gone = boss.delete(path(made), headers={"If-Match": '"1"'})
    assert (gone.status_code, gone.content) == (204, b"")
    assert boss.get(path(made)).status_code == 404
    assert boss.get(LIST).json()["results"] == []
    assert boss.get(path(made, "/attempts")).status_code == 404


def test_a_trial_waits_to_be_sent_and_is_seen_among_the_attempts(boss: APIClient, made: dict[str, Any]) -> None:
    trial = boss.post(path(made, "/trial"))
    assert (trial.status_code, trial.json()["kind"], trial.json()["sent_at"]) == (200, "trial", None)
    assert Job.objects.filter(kind="send_hook", key=made["id"], state="waiting").count() == 1
    (listed,) = boss.get(path(made, "/attempts")).json()["results"]
    assert listed == trial.json() and "body" not in listed
    other = boss.post(LIST, HOOK).json()
    assert boss.get(path(other, "/attempts")).json()["results"] == []


def test_hosts_are_allowed_with_a_reason_and_taken_off_again(boss: APIClient) -> None:
    allowed = boss.post(HOSTS, {"host": "Inner.Example.", "why": "our own receiver"})
    assert (allowed.status_code, allowed.json()["host"], allowed.json()["allowed_by"]) == (
        201, "inner.example", "manager"
    )  # fmt: skip
    assert boss.post(LIST, HOOK | {"url": "http://inner.example/in"}).status_code == 201
    again = boss.post(HOSTS, {"host": "inner.example", "why": "once more"})
    assert (again.status_code, list(again.json()["errors"])) == (422, ["host"])
    one = f"{HOSTS}/{allowed.json()['id']}"
    assert boss.delete(one).status_code == 204
    assert boss.delete(one).status_code == 404
    assert not AllowedTarget.objects.exists()
    assert boss.post(LIST, HOOK | {"url": "http://inner.example/in"}).status_code == 422


@pytest.mark.parametrize("why", [{}, {"why": ""}, {"why": " "}])
def test_a_host_without_a_reason_is_not_allowed(boss: APIClient, why: dict[str, str]) -> None:
    refused = boss.post(HOSTS, {"host": "inner.example"} | why)
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["why"])


def test_only_managers_have_anything_to_do_with_them(
    door: Door, office: APIClient, field: APIClient, auditor: User, made: dict[str, Any]
) -> None:
    for one in (office, field, door(auditor)):
        for each in (LIST, path(made), path(made, "/attempts"), HOSTS):
            assert one.get(each).status_code == 403, each
        assert one.post(LIST, HOOK).status_code == 403
        assert one.post(path(made, "/trial")).status_code == 403
        assert one.delete(path(made), headers={"If-Match": '"1"'}).status_code == 403
    assert Webhook.objects.count() == 1 and not HookDelivery.objects.exists()


def test_a_manager_of_named_clients_neither_makes_nor_sees_the_whole_installations(
    door: Door, made: dict[str, Any], others: dict[str, Any]
) -> None:
    some = others["dispatcher"]
    some.role = "manager"
    some.save()
    theirs = door(some)
    assert theirs.get(LIST).json()["results"] == []
    assert theirs.get(path(made)).status_code == 404
    assert theirs.patch(path(made), {"is_on": True}, headers={"If-Match": '"1"'}).status_code == 404
    assert theirs.post(LIST, HOOK).status_code == 403
    own = theirs.post(LIST, HOOK | {"client": str(others["client"].id)})
    assert own.status_code == 201
    assert [each["id"] for each in theirs.get(LIST).json()["results"]] == [own.json()["id"]]
