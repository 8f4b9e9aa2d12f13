"""Flue gas analysers, what they measure and how well, and their calibrations."""

import uuid
from typing import Annotated, Any

from rest_framework import serializers

from api.doors import EntryDoor, EntryListDoor, RecordedDoor
from api.filters import EXTERNAL_REFERENCE
from api.shapes import EntryIn, EntryOut, RowOut
from fleet import clock
from fleet.intake import register
from fleet.intake.fields import LEFT_OUT, Id
from fleet.intake.register import CalibrationIn
from fleet.models import Analyser, Calibration
from fleet.queries.register import visible_analysers
from fleet.services.register import add_calibration, add_kept, change_kept


class AnalyserIn(EntryIn, register.AnalyserIn):
    pass


class AnalyserOut(EntryOut):
    row, columns = Analyser, "name serial co2"
    measures = serializers.ListField(child=serializers.CharField())
    accuracy = serializers.DictField(child=serializers.DictField(child=serializers.FloatField()))


class NewCalibration(CalibrationIn):
    id: Annotated[uuid.UUID, Id()] = LEFT_OUT


class CalibrationOut(RowOut):
    row, columns = Calibration, "id analyser done_on valid_to certificate by passed record"
    uncertainty = serializers.DictField(help_text="The certificate's own expanded figures (k = 2), by quantity.")


class Analysers(EntryListDoor):
    """All analysers of the contractor."""

    subject, query, shape_in, shape_out = "analysers", visible_analysers, AnalyserIn, AnalyserOut
    filters = (EXTERNAL_REFERENCE,)

    def create(self, values: dict[str, Any]) -> Analyser:
        return add_kept(model=Analyser, values=values, actor=self.viewer, now=clock.now())


class OneAnalyser(EntryDoor):
    """One analyser."""

    subject, query, shape_in, shape_out = "analysers", visible_analysers, AnalyserIn, AnalyserOut

    def change(self, entry: Analyser, version: int, changes: dict[str, Any]) -> Analyser:
        return change_kept(entry=entry, version=version, changes=changes, actor=self.viewer, now=clock.now())


class Calibrations(RecordedDoor):
    """An analyser's calibrations. Recorded, never edited."""

    subject, query, shape_in, shape_out = "analysers", visible_analysers, NewCalibration, CalibrationOut
    kind, of, parts = "calibration", "analyser", "calibrations"

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> Calibration:
        return add_calibration(analyser=self.whole, content=content, actor=self.viewer, now=clock.now(), id=id)
