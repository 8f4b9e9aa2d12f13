"""A gas conversion: by a kit the appliance burns another gas from a day on, and a test of it falls due."""

import uuid
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from fleet.assess.due.answers import AFTER_CONVERSION
from fleet.assess.projections import gas_conversion_rows
from fleet.coded import coded, wrong
from fleet.errors import FleetError
from fleet.models import Appliance, GasConversion, ModelSheet, RequiredCheck, User
from fleet.presentation.codes import code_words
from fleet.presentation.sentences import written
from fleet.services import jobs, required_checks
from fleet.services.appliances import change_appliance
from fleet.services.records import append_record, put_rows

SOURCE = "conversion"


@transaction.atomic
def convert_appliance(
    *,
    appliance: Appliance,
    version: int,
    content: dict[str, Any],
    sheet: ModelSheet | None,
    actor: User,
    now: datetime,
    id: uuid.UUID,
) -> GasConversion:
    """It burns the other gas from that day, by the sheet for it, and a test on the new gas is due within some days.

    content: converted_on, to_fuel, kit, label, analyser_fuel, done_by, test_within_days. sheet: the one for the new
    gas; None where there is none, and then readings have no target. What was read before keeps its gas and its sheet,
    which stand in its record. Raises FleetError `invalid`, Conflict where the appliance changed meanwhile.
    """
    day = date.fromisoformat(content["converted_on"])
    _refuse(appliance, day, content, sheet, now)
    full = {
        "id": str(id),
        "appliance": str(appliance.id),
        "from_fuel": _before(appliance, day),
        "sheet": str(sheet.id) if sheet else "",
        **content,
    }
    record = append_record(kind="gas_conversion", subject=id, content=full, actor=actor, now=now)
    put_rows(rows=gas_conversion_rows(full, record.id))
    # Where the pipe brings that gas, the appliance goes on with whatever the pipe will bring.
    from_pipe = appliance.building.gas_on(day).name == content["to_fuel"]
    changes = {"fuel": "" if from_pipe else content["to_fuel"], "sheet": sheet}
    change_appliance(appliance=appliance, version=version, changes=changes, actor=actor, now=now)
    _open_test(appliance, content, day, actor, now)
    return GasConversion.objects.get(id=id)


def _before(appliance: Appliance, day: date) -> str:
    """What it burnt until then: on the day itself the pipe may bring the other gas already."""
    return appliance.burns_on(day - timedelta(days=1)).name


def _refuse(appliance: Appliance, day: date, content: dict[str, Any], sheet: ModelSheet | None, now: datetime) -> None:
    errors = {}
    if not appliance.in_service_on(day) or day > appliance.building.today(now):
        errors["converted_on"] = wrong("in_service_then", day)
    newest = appliance.gas_conversions.order_by("converted_on").last()
    if newest and day <= newest.converted_on:
        errors["converted_on"] = wrong("after_conversion", day, last_on=newest.converted_on)
    if content["to_fuel"] == _before(appliance, day):
        errors["to_fuel"] = coded("burns_already", fuel=[content["to_fuel"]])
    asked = sheet.current.content["fuel"] if sheet and sheet.current else content["to_fuel"]
    if asked != content["to_fuel"]:
        errors["sheet"] = coded("sheet_for", fuel=[asked], converted=[content["to_fuel"]])
    if errors:
        raise FleetError("invalid", "The conversion can't be recorded.", errors=errors)


def _open_test(appliance: Appliance, content: dict[str, Any], day: date, actor: User, now: datetime) -> None:
    """A test of an earlier conversion that nobody made is asked for no more: it would be of a gas that is gone."""
    earlier = RequiredCheck.objects.filter(appliance=appliance, source=SOURCE, until__isnull=True)
    required_checks.end_each(required_checks=earlier, day=day, why=RequiredCheck.Ended.CONVERTED_AGAIN)
    values = {
        "appliance": appliance,
        "name": written("test_after_conversion"),
        "source": SOURCE,
        "rule": {"type": "days_after_event", "event": "gas_conversion", "days": content["test_within_days"]},
        "required_fields": AFTER_CONVERSION,
        "since": day,
        "why": written(
            "converted", fuel=code_words(content["to_fuel"]), kit=content["kit"], done_by=content["done_by"]
        ),
    }
    required_checks.add_required_check(values=values, actor=actor, now=now)
    jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)
