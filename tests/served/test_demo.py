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
from datetime import date
from fleet.models import *
from fleet.queries.attention import attention_for
from fleet.queries.statements import statement_for
from fleet import clock
today = clock.now().date()
flagged = Appliance.objects.filter(flags__closed_at=None, flags__isnull=False).distinct()
lapsed = [each for each in Analyser.objects.all() if each.calibration_on(today) is None]
manager, auditor = User.objects.get(username="manager"), User.objects.get(username="auditor")
attention = attention_for(manager, today)
client = auditor.clients.first()
statement = statement_for(auditor, client_id=client.id, begins=date(today.year - 1, 1, 1), ends=today, today=today)
newest, oldest = Visit.objects.latest("local_date"), Visit.objects.earliest("local_date")
neutral = LimitSet.objects.get(key="demo-neutral").current.content["limits"]
cold = Forecast.objects.filter(basis="assumptions").count()
print(json.dumps({
    "buildings": Building.objects.count(), "appliances": Appliance.objects.count(),
    "sheets": ModelSheet.objects.count(),
    "years": (newest.local_date - oldest.local_date).days / 365,
    "flagged": flagged.count() / Appliance.objects.count(),
    "unsafe": Flag.objects.filter(kind="unsafe", closed_at=None).count(),
    "lapsed": len(lapsed), "lapsed_marks": Mark.objects.filter(code="analyser_not_in_calibration").count(),
    "shared_flue": FlueGroup.objects.get().appliances.count(),
    "o2_only": [Reading.objects.filter(analyser=each).count() for each in Analyser.objects.filter(co2="absent")],
    "contract": LimitSet.objects.get(key="demo-contract-schools").current.content["limits"][0]["fires_when"]["value"],
    "neutral": [each["fires_when"]["value"] for each in neutral if each["id"] == "demo-co-adjust"],
    "is_demo": Contractor.objects.get().is_demo, "forecasts": Forecast.objects.count(), "cold": cold,
    "unsafe_first": [each.kind for each in attention.unsafe], "drifting": len(attention.drifting),
    "lines": len(statement.lines), "with_record": sum(each.last is not None for each in statement.lines),
    "waiting": Job.objects.filter(state="waiting").count(),
}))
"""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Environment of an installation that `set_up --demo` made."""
    folder = tmp_path_factory.mktemp("demo")
    environment = os.environ | {"FLEET_VAR_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "fleet.settings"}
    run(["manage.py", "set_up", "--demo"], environment)
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


def test_it_is_as_large_as_promised(facts: dict[str, Any]) -> None:
    assert (facts["buildings"], facts["appliances"], facts["sheets"]) == (60, 240, 8)
    assert 4.5 < facts["years"] <= 5.1
    assert facts["is_demo"]
    assert facts["waiting"] == 0


def test_five_to_fifteen_in_a_hundred_appliances_are_flagged(facts: dict[str, Any]) -> None:
    assert 0.05 <= facts["flagged"] <= 0.15


def test_every_special_case_is_there_to_be_seen(facts: dict[str, Any]) -> None:
    assert facts["unsafe"] == 1
    assert "unsafe" in facts["unsafe_first"]
    assert facts["lapsed"] == 1
    assert facts["lapsed_marks"] > 0
    assert facts["shared_flue"] >= 2
    assert facts["o2_only"][0] > 0
    assert float(facts["contract"]) < float(facts["neutral"][0])


def test_its_forecasts_rest_on_its_own_records(facts: dict[str, Any]) -> None:
    assert facts["forecasts"] > 240
    assert facts["cold"] == 0
    assert facts["drifting"] > 0


def test_a_statement_covers_the_whole_population(facts: dict[str, Any]) -> None:
    assert facts["lines"] == facts["with_record"] == 32


def test_rows_and_records_are_equal(demo: dict[str, str]) -> None:
    assert "equal" in run(["manage.py", "rebuild", "--check"], demo)


def test_its_accounts_have_passwords_of_this_installation_only(demo: dict[str, str]) -> None:
    kept = Path(demo["FLEET_VAR_DIR"]) / "demo-accounts.txt"
    passwords = [line.split()[1] for line in kept.read_text().splitlines()]
    assert len(set(passwords)) == 4
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
