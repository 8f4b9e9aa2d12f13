"""The demonstration as `make run` loads it: invented, whole, and equal to its records."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests import servers

ASK = """
import django; django.setup()
import json
from collections import Counter
from datetime import timedelta
from django.db.models import Count, Q
from fleet.models import *
from fleet.queries.attention import attention_for
from fleet.queries.statements import statement_for
from fleet import clock
today = clock.now().date()
begins = today - timedelta(days=365)
flags = Flag.objects.filter(closed_at=None)
alerts = Flag.objects.filter(kind__in=(Flag.Kind.UNSAFE, Flag.Kind.STOP))
manager, auditor = User.objects.get(username="manager"), User.objects.get(username="auditor")
attention = attention_for(manager, today)
client = auditor.clients.first()
statement = statement_for(auditor, client_id=client.id, begins=begins, ends=today, today=today)
year = Visit.objects.filter(local_date__gte=begins)
sizes = [each.n for each in Building.objects.annotate(n=Count("appliances", filter=Q(appliances__in_service_to=None)))]
judged = year.values_list("judgement__derived", flat=True)
late = RequiredCheck.objects.filter(until=None, due__lt=today)
deliveries, defects = Delivery.objects.all(), Defect.objects.all()
signed = [(each.signed_by.user_id, each.record.actor_id)
          for each in year.select_related("signed_by", "record")]
print(json.dumps({
    "sizes": sizes, "appliances": Appliance.objects.filter(in_service_to=None).count(),
    "is_demo": Contractor.objects.get().is_demo, "today": str(today),
    "visits": Visit.objects.count(), "of_the_year": year.count(),
    "doesn't count": VisitCheck.objects.filter(counts=False, visit__unsafe=False).count(),
    "flagged": flags.values("appliance").distinct().count() / Appliance.objects.count(),
    "sent_by_others": sum(signer != sender for signer, sender in signed),
    "senders": len({sender for _signer, sender in signed}),
    "forecasts": Counter(Forecast.objects.values_list("basis", flat=True)),
    "ahead": ForecastCheck.objects.filter(ahead=True).count(),
    "drifting": len(attention.drifting), "unsafe_first": [each.kind for each in attention.unsafe],
    "lines": len(statement.lines), "with_record": sum(each.last is not None for each in statement.lines),
    "waiting": sorted(set(Job.objects.filter(state="waiting").values_list("kind", flat=True))),
    "late": late.count(),
    "late_without_a_reason": [str(each.appliance) for each in late
                              if not (each.not_counted or each.appliance.no_access.exists())],
    "states": {
        "no access with a letter": NoAccess.objects.exclude(letter="").count(),
        "out of use": OutOfUse.objects.filter(ends=None).count(),
        "out of use and started again": OutOfUse.objects.exclude(ends=None).count(),
        "replacement": Appliance.objects.exclude(replaces=None).count(),
        "gas conversion": GasConversion.objects.count(),
        "correction": Record.objects.filter(kind="visit").exclude(amends=None).count(),
        "invalid reading": sum(any(each["invalid"] for each in derived) for derived in judged),
        "delivery owed": deliveries.filter(sent_at=None, not_needed=[]).count(),
        "delivery made": deliveries.exclude(sent_at=None).count(),
        "delivery that came back": Sending.objects.exclude(failed_at=None).count(),
        "defect open": defects.filter(done=False, closed_by=None, resolved_at=None).count(),
        "defect repaired at a visit": defects.exclude(closed_by=None).count(),
        "defect closed in the office": defects.exclude(resolved_at=None).count(),
        "tenancy": Tenancy.objects.filter(called_off="").count(),
        "tenancy ahead": Tenancy.objects.filter(begins__gt=today).count(),
        "tenancy called off": Tenancy.objects.exclude(called_off="").count(),
        "occupier told or agreed": OccupierNotice.objects.count(),
        "day booked": Revisit.objects.filter(state=Revisit.State.BOOKED, technician__isnull=False).count(),
        "day confirmed": Revisit.objects.filter(state=Revisit.State.CONFIRMED, technician__isnull=False).count(),
        "alert answered": alerts.exclude(acknowledged_at=None).count(),
        "alert unanswered": alerts.filter(acknowledged_at=None, closed_at=None).count(),
        "alert answered and open": alerts.exclude(acknowledged_at=None).filter(closed_at=None).count(),
        "alert closed": alerts.exclude(closed_at=None).count(),
        "unreadable record": UnreadableRecord.objects.filter(resolved_at=None).count(),
        "unreadable record resolved": UnreadableRecord.objects.exclude(resolved_at=None).count(),
        "photo of a defect": StoredFile.objects.filter(what="defect").count(),
        "photo of a letter": StoredFile.objects.filter(what="letter").count(),
        "question for the office": Question.objects.filter(resolved_at=None).count(),
        "question answered": Question.objects.exclude(resolved_at=None).count(),
        "lapsed instrument used": Question.objects.filter(code="analyser_not_in_calibration").count(),
        "found outside": year.filter(judgement__outcome="outside").count(),
        "shared flue": FlueGroup.objects.get().appliances.count(),
        "drift flag closed again": Flag.objects.filter(kind=Flag.Kind.DRIFT).exclude(closed_at=None).count(),
    },
}))
"""
# Of these one is enough to be seen; of everything else there are at least two.
ONCE = {
    "out of use and started again",
    "delivery owed",
    "defect open",
    "defect closed in the office",
    "tenancy called off",
    "alert unanswered",
    "alert answered and open",
    "unreadable record",
    "unreadable record resolved",
    "day booked",
    "day confirmed",
    "question for the office",
    "lapsed instrument used",
}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Environment of an installation that `set_up --demo` made."""
    folder = tmp_path_factory.mktemp("demo")
    environment = os.environ | {"FLEET_VAR_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "fleet.settings"}
    said = run(["manage.py", "set_up", "--demo"], environment)
    (folder / "said.txt").write_text(said)
    return environment


def run(arguments: list[str], environment: dict[str, str]) -> str:
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=servers.REPOSITORY,
        env=environment,
        capture_output=True,
        text=True,
        timeout=400,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


@pytest.fixture(scope="module")
def facts(demo: dict[str, str]) -> dict[str, Any]:
    return dict(json.loads(run(["-c", ASK], demo).splitlines()[-1]))


def test_buildings_have_one_to_nine_appliances(facts: dict[str, Any]) -> None:
    assert (min(facts["sizes"]), max(facts["sizes"])) == (1, 9)
    assert facts["appliances"] > 150
    assert facts["is_demo"]


def test_progress_is_shown(demo: dict[str, str]) -> None:
    said = (Path(demo["FLEET_VAR_DIR"]) / "said.txt").read_text()
    assert "older visits 100 of " in said
    assert "week 9 of " in said


def test_every_state_is_there_to_be_seen(facts: dict[str, Any]) -> None:
    wanted = {name: 1 if name in ONCE else 2 for name in facts["states"]}
    rare = {name: count for name, count in facts["states"].items() if count < wanted[name]}
    assert rare == {}


def test_hardly_a_check_does_not_count(facts: dict[str, Any]) -> None:
    """But for those that were stopped because the appliance was unsafe."""
    assert 1 <= facts["doesn't count"] <= 2


def test_what_is_late_is_late_for_a_reason(facts: dict[str, Any]) -> None:
    """Somebody came and didn't get in, or what they did there doesn't count: stopped for safety, no heat taken."""
    assert 1 <= facts["late"] <= 5
    assert facts["late_without_a_reason"] == []


def test_technicians_sign_and_send_their_own_visits(facts: dict[str, Any]) -> None:
    assert (facts["sent_by_others"], facts["senders"]) == (0, 5)


def test_three_to_fifteen_in_a_hundred_appliances_are_flagged(facts: dict[str, Any]) -> None:
    assert 0.03 <= facts["flagged"] <= 0.15
    assert "unsafe" in facts["unsafe_first"]


def test_its_forecasts_rest_on_its_own_records_and_were_made_ahead(facts: dict[str, Any]) -> None:
    assert set(facts["forecasts"]) <= {"its own record", "the fleet"}
    assert sum(facts["forecasts"].values()) > 240
    assert facts["ahead"] > 300
    assert facts["drifting"] > 0


def test_a_statement_covers_the_whole_population(facts: dict[str, Any]) -> None:
    assert facts["lines"] == facts["with_record"] == 20


def test_only_the_unanswered_alert_waits_for_the_worker(facts: dict[str, Any]) -> None:
    assert facts["waiting"] == ["alert_on_flag", "send_alert"]


def test_rows_and_records_are_equal(demo: dict[str, str]) -> None:
    assert "equal" in run(["manage.py", "rebuild", "--check"], demo)


def test_its_accounts_have_passwords_of_this_installation_only(demo: dict[str, str]) -> None:
    kept = Path(demo["FLEET_VAR_DIR"]) / "demo-accounts.txt"
    passwords = [line.split()[1] for line in kept.read_text().splitlines()]
    assert len(set(passwords)) == 8
    assert min(len(each) for each in passwords) >= 12
    assert kept.stat().st_mode & 0o077 == 0


def test_setting_up_again_changes_nothing(demo: dict[str, str]) -> None:
    kept = (Path(demo["FLEET_VAR_DIR"]) / "demo-accounts.txt").read_text()
    run(["manage.py", "set_up", "--demo"], demo)
    assert (Path(demo["FLEET_VAR_DIR"]) / "demo-accounts.txt").read_text() == kept


def test_the_demo_is_refused_on_another_address_than_this_machine(demo: dict[str, str]) -> None:
    refused = subprocess.run(
        [sys.executable, "manage.py", "serve", "--host", "0.0.0.0"],
        cwd=servers.REPOSITORY, env=demo, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert refused.returncode != 0
    assert "this machine only" in refused.stderr
