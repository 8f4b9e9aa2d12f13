"""Flue gas analysers, what they measure and how well, and their calibrations."""

import uuid
from typing import Any

from rest_framework import serializers

from api.doors import EntryDoor, EntryListDoor, RecordedDoor
from api.fields import Id, Number
from api.filters import EXTERNAL_REFERENCE
from api.shapes import EntryIn, EntryOut, RowOut
from fleet import clock
from fleet.intake.fields import StrictSerializer, Text, Word, YesNo
from fleet.intake.register import CalibrationIn
from fleet.limits.card import ACCURACY_FIELDS
from fleet.models import Analyser, Calibration
from fleet.quantities import READING_QUANTITIES
from fleet.queries.register import visible_analysers
from fleet.services.register import add_calibration


class Accuracy(StrictSerializer):
    """The wider of the two counts: absolute in the quantity's own unit, relative in percent of the reading."""

    absolute = Number(0, 100_000, required=False)
    relative_pct = Number(0, 100, required=False)


Accuracies = type("Accuracies", (StrictSerializer,), {name: Accuracy(required=False) for name in ACCURACY_FIELDS})


class AnalyserIn(EntryIn):
    name = Text(100)
    serial = Text(100, required=False)
    measures = serializers.ListField(
        child=Word(choices=list(READING_QUANTITIES)), min_length=1, max_length=len(READING_QUANTITIES)
    )
    co2 = Word(choices=Analyser.Co2.values)
    accuracy = Accuracies()


class AnalyserOut(EntryOut):
    row, columns = Analyser, "name serial co2"
    measures = serializers.ListField(child=serializers.CharField())
    accuracy = serializers.DictField(child=serializers.DictField(child=serializers.FloatField()))


class NewCalibration(CalibrationIn):
    id = Id(required=False)
    passed = YesNo()


class CalibrationOut(RowOut):
    row, columns = Calibration, "id analyser done_on valid_to certificate by passed record"
    uncertainty = serializers.DictField(help_text="The certificate's own expanded figures (k = 2), by quantity.")


class Analysers(EntryListDoor):
    """All analysers of the contractor."""

    subject, query, shape_in, shape_out = "analysers", visible_analysers, AnalyserIn, AnalyserOut
    filters = (EXTERNAL_REFERENCE,)


class OneAnalyser(EntryDoor):
    """One analyser."""

    subject, query, shape_in, shape_out = "analysers", visible_analysers, AnalyserIn, AnalyserOut


class Calibrations(RecordedDoor):
    """An analyser's calibrations. Recorded, never edited."""

    subject, query, shape_in, shape_out = "analysers", visible_analysers, NewCalibration, CalibrationOut
    kind, of, parts = "calibration", "analyser", "calibrations"

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> Calibration:
        return add_calibration(analyser=self.whole, content=content, actor=self.viewer, now=clock.now(), id=id)
