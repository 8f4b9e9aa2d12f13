"""Appliances; each with its whole history, and the decision table for the phone; groups on one flue: found unsafe, it
concerns them all."""

import uuid
from datetime import date
from typing import Annotated, Any

from django.db.models import Q
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.defects import DefectOut
from api.derived import DerivedOut
from api.doors import ActDoor, Door, EntryDoor, EntryListDoor
from api.fields import Facts, Reference, Said, VerdictField
from api.filters import EXTERNAL_REFERENCE, by_id, id_of, of_building, parameter, yes_no
from api.flags import FlagOut
from api.forecasts import ForecastOut
from api.no_access import NoAccessOut
from api.records import RecordOut
from api.required_checks import RequiredCheckOut
from api.revisits import RevisitOut
from api.shapes import EntryIn, EntryOut
from api.visit_shapes import VisitLineOut, VisitOut
from fleet import clock
from fleet.assess.due.answers import asked_of_visit
from fleet.assess.judging.cards import card_for
from fleet.assess.refusals import found
from fleet.coded import wrong
from fleet.errors import FleetError
from fleet.intake import register
from fleet.intake.fields import LEFT_OUT, DayOf, Text, without_decimals
from fleet.intake.visits import SoFarIn
from fleet.models import Appliance, FlueGroup
from fleet.presentation.advice import advice_words, withheld_words
from fleet.queries.advice import Advised, advise_on
from fleet.queries.buildings import visible_buildings
from fleet.queries.histories import history_for
from fleet.queries.register import all_sheets, visible_analysers, visible_appliances, visible_flue_groups
from fleet.services.appliances import change_appliance, take_on_appliance


class PlateIn(register.PlateIn):
    sheet: Annotated[Any, Reference(all_sheets, null=True)] = LEFT_OUT
    facts: Annotated[dict[str, Any], Facts()] = LEFT_OUT


class ApplianceIn(EntryIn, PlateIn):
    building: Annotated[Any, Reference(visible_buildings)]
    flue_group: Annotated[Any, Reference(visible_flue_groups, null=True)] = LEFT_OUT
    in_service_from: Annotated[date, DayOf()]
    in_service_to: Annotated[date | None, DayOf(null=True)] = LEFT_OUT


class ApplianceOut(EntryOut):
    row, columns = Appliance, "building sheet name kind serial room fuel flue_group facts in_service_from in_service_to"
    client = serializers.UUIDField(source="building.client_id")
    burns = serializers.SerializerMethodField(help_text="Today: its own fuel, else the gas of its building.")

    def get_burns(self, appliance: Appliance) -> str:
        return appliance.burns_on(clock.today(appliance.building.time_zone)).name


class HistoryOut(serializers.Serializer[Any]):
    appliance = ApplianceOut()
    sheet_version = serializers.IntegerField(source="sheet.number", default=None, allow_null=True)
    last = VisitOut(allow_null=True, help_text="The newest visit with readings, whole.")
    visits = VisitLineOut(many=True, help_text="Newest first.")
    forecasts = ForecastOut(many=True)
    revisit = RevisitOut(allow_null=True)
    flags = FlagOut(many=True)
    required_checks = RequiredCheckOut(many=True)
    defects = DefectOut(many=True)
    attempts = NoAccessOut(many=True, help_text="Attempts without access, newest first.")
    records = RecordOut(many=True)


class AskedFieldOut(serializers.Serializer[Any]):
    """A field of the record, and which required checks of the appliance ask for it."""

    name = serializers.CharField()
    words = serializers.CharField()
    mandatory_for = serializers.ListField(child=serializers.CharField(), help_text="Names of required checks.")
    conditional_for = serializers.ListField(child=serializers.CharField(), help_text="Only where `condition` holds.")
    condition = serializers.CharField()
    answered = serializers.BooleanField(help_text="The register answers it already.")
    inspection_points = serializers.BooleanField(
        help_text="The visit's `inspection_points` answers it, under this name."
    )
    fires = serializers.BooleanField(help_text="Reading it needs the burner to fire: after a stop it is not asked for.")
    how = serializers.CharField(help_text="What answers it.")


class CardOut(serializers.Serializer[Any]):
    """The table, as `limits.card` describes it, and the record's fields that a visit is to fill; `day` is the site's
    today."""

    day = serializers.DateField()
    card = serializers.DictField()
    fields_asked = AskedFieldOut(many=True, source="asked.fields")
    fields_left_out = serializers.SerializerMethodField(help_text="Why some are not asked for.")

    def get_fields_left_out(self, shown: dict[str, Any]) -> str:
        stopped = _("Stopped for safety: nothing is asked for that needs it to fire.")
        return stopped if shown["asked"].stopped else ""


class Appliances(EntryListDoor):
    """Appliances of the buildings that you may see."""

    subject, query, shape_in, shape_out = "appliances", visible_appliances, ApplianceIn, ApplianceOut
    filters = (
        *of_building("building"),
        by_id("flue_group", "flue_group", visible_flue_groups),
        by_id("sheet", "sheet", all_sheets),
        yes_no("in_service", Q(in_service_to__isnull=True), "Not taken out of service."),
        EXTERNAL_REFERENCE,
    )

    def values(self) -> dict[str, Any]:
        values = super().values()
        check_flue(values.get("flue_group"), values["building"].id)
        return values

    def create(self, values: dict[str, Any]) -> Appliance:
        return take_on_appliance(values=values, actor=self.viewer, now=clock.now())


class OneAppliance(EntryDoor):
    """One appliance. It stays in its building; put elsewhere it is taken out of service and taken on there."""

    subject, query, shape_in, shape_out = "appliances", visible_appliances, ApplianceIn, ApplianceOut
    fixed = ("id", "building")

    def change(self, entry: Appliance, version: int, changes: dict[str, Any]) -> Appliance:
        check_flue(changes.get("flue_group"), entry.building_id)
        return change_appliance(appliance=entry, version=version, changes=changes, actor=self.viewer, now=clock.now())


def check_flue(flue_group: Any, building_id: uuid.UUID) -> None:
    if flue_group is not None and flue_group.building_id != building_id:
        errors = {"flue_group": wrong("flue_elsewhere", str(flue_group.id))}
        raise FleetError("invalid", "The flue isn't in the appliance's building.", errors=errors)


class ApplianceHistory(Door):
    """One appliance with everything recorded about it."""

    subject, shape_out = "appliances", HistoryOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(history_for(self.viewer, id))


class ResponseOut(serializers.Serializer[Any]):
    """What earlier adjustments taught of the adjuster: points of CO2 a turn, with a 90 % interval."""

    points_per_turn = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    based_on = serializers.CharField(help_text="What weighs most: this appliance, this model or the fleet.")
    steps = serializers.IntegerField()


class AdviceOut(serializers.Serializer[Any]):
    """Advice on the last reading. Stop rules come first; withheld advice says why. Nothing is stored."""

    action = serializers.CharField(source="advice.action", help_text="stop, none, investigate, adjust or withheld.")
    adjuster = serializers.CharField(source="advice.adjuster", allow_null=True)
    direction = serializers.CharField(source="advice.direction", allow_null=True)
    turns = serializers.FloatField(source="advice.turns", allow_null=True, help_text="About how far, once learned.")
    turns_low = serializers.FloatField(source="advice.turns_low", allow_null=True)
    turns_high = serializers.FloatField(source="advice.turns_high", allow_null=True)
    code = serializers.CharField(source="advice.code", help_text="Why withheld, or what to look into; else empty.")
    sentence = Said(advice_words, of="advice")
    withheld_reason = Said(withheld_words, of="advice", allow_null=True)
    response = ResponseOut(allow_null=True)
    derived = DerivedOut()
    verdicts = serializers.ListField(child=VerdictField(), help_text="On the last reading, strictest first.")


class ApplianceAdvice(ActDoor):
    """What to do next in a test that goes on; for whoever is at the appliance with a connection.

    Advice on the last of the readings so far. Nothing is stored.
    """

    subject, query, shape_in, shape_out = "advice", visible_appliances, SoFarIn, AdviceOut

    def act(self, thing: Appliance, version: int, said: dict[str, Any]) -> Advised:
        return advise_on(appliance=thing, so_far=without_decimals(said), viewer=self.viewer, now=clock.now())


class ApplianceCard(Door):
    """Today's decision table: targets, limits and stop levels in absolute figures, and the adjusters."""

    subject, query, shape_out = "cards", visible_appliances, CardOut
    filters = (parameter("analyser", "With this analyser's accuracy.", "uuid"),)

    def get(self, request: Request, id: uuid.UUID) -> Response:
        appliance = self.one()
        wanted = id_of(request, "analyser")
        analyser = found(visible_analysers(self.viewer), wanted) if wanted else None
        today = clock.today(appliance.building.time_zone)
        table = card_for(appliance, today, analyser).table
        return self.shown({"day": today, "card": table.as_json(), "asked": asked_of_visit(appliance, today)})


class FlueGroupIn(EntryIn):
    building: Annotated[Any, Reference(visible_buildings)]
    name: Annotated[str, Text(100)]


class FlueGroupOut(EntryOut):
    row, columns = FlueGroup, "building name"


class FlueGroups(EntryListDoor):
    """Flue groups of the buildings that you may see."""

    subject, query, shape_in, shape_out = "flue_groups", visible_flue_groups, FlueGroupIn, FlueGroupOut
    filters = (*of_building("building"), EXTERNAL_REFERENCE)


class OneFlueGroup(EntryDoor):
    """One flue group. It stays in its building."""

    subject, query, shape_in, shape_out = "flue_groups", visible_flue_groups, FlueGroupIn, FlueGroupOut
    fixed = ("id", "building")
