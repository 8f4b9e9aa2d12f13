"""The contractor's choices and the background work, for the manager."""

import pytest
from rest_framework.test import APIClient

from fleet.models import Appliance, Job
from fleet.services.jobs import request_job
from tests import cast


def test_everybody_reads_the_contractor_and_the_manager_changes_it(boss: APIClient, office: APIClient) -> None:
    read = office.get("/api/v1/contractor")
    assert read.json()["emergency_numbers"] == ["000"]
    change = {"flag_at": "0.25", "outside_within_days": 7}
    version = {"If-Match": read["ETag"]}
    assert office.patch("/api/v1/contractor", change, headers=version).status_code == 403
    change["shown"] = boss.post("/api/v1/contractor/preview", change).json()["shown"]
    changed = boss.patch("/api/v1/contractor", change, headers=version).json()
    assert (changed["flag_at"], changed["outside_within_days"], changed["version"]) == (0.25, 7, 2)
    assert boss.patch("/api/v1/contractor", change, headers=version).status_code == 412


@pytest.mark.parametrize(
    ("field", "value"),
    [("flag_at", 1), ("accepted_risk", "0"), ("extra_visits_a_week", -1), ("outside_within_days", True),
     ("emergency_numbers", []), ("emergency_numbers", ["000", "abc"]), ("is_demo", False)],
)  # fmt: skip
def test_a_choice_out_of_bounds_is_refused(boss: APIClient, field: str, value: object) -> None:
    refused = boss.patch("/api/v1/contractor", {field: value}, headers={"If-Match": '"1"'})
    assert refused.status_code == 422
    assert [each.split(".")[0] for each in refused.json()["errors"]] == [field]


def test_failed_work_is_tried_again_by_the_manager(boss: APIClient, office: APIClient, boiler: Appliance) -> None:
    request_job(kind="refresh_appliance", key="failed", due_at=cast.NOON)
    job = Job.objects.get(key="failed")
    path = f"/api/v1/background-work/{job.id}/retry"
    assert boss.post(path).json()["code"] == "not_failed"
    Job.objects.filter(id=job.id).update(state=Job.State.FAILED, tries=8)
    assert office.post(path).status_code == 403
    assert [each["key"] for each in boss.get("/api/v1/background-work?state=failed").json()["results"]] == ["failed"]
    retried = boss.post(path)
    assert (retried.status_code, retried.json()["state"], retried.json()["tries"]) == (200, "waiting", 0)


def test_failed_work_that_waits_anew_is_not_doubled(boss: APIClient, boiler: Appliance) -> None:
    request_job(kind="refresh_appliance", key="failed", due_at=cast.NOON)
    dead = Job.objects.get(key="failed")
    Job.objects.filter(id=dead.id).update(state=Job.State.FAILED)
    request_job(kind="refresh_appliance", key="failed", due_at=cast.NOON)
    assert boss.post(f"/api/v1/background-work/{dead.id}/retry").json()["code"] == "waits_already"
