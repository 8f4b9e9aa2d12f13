"""Corrections of visits that take something back: they wait until somebody else confirms or refuses them."""

from typing import Annotated, Any

from django.db.models import Q
from rest_framework import serializers

from api.doors import ActDoor, ListDoor
from api.fields import Said
from api.filters import by_id, of_appliance, yes_no
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import Shape, Text
from fleet.models import Correction
from fleet.presentation.corrections import waiting_words
from fleet.queries.visits import visible_corrections, visible_visits
from fleet.services.corrections import confirm_correction, refuse_correction


class CorrectionOut(RowOut):
    row = Correction
    columns = "id visit reason of_version submitted_sha256 made_by made_at ended ended_at ended_by ended_note version"
    takes_back = serializers.ListField(child=serializers.CharField(), help_text="Codes of what it takes back.")
    sentence = Said(waiting_words)


class EndCorrectionIn(Shape):
    note: Annotated[str, Text(500)]


class Corrections(ListDoor):
    """Corrections that took something back, of the visits that you may see: those that wait and those that ended."""

    subject, query, shape_out = "amendments", visible_corrections, CorrectionOut
    filters = (
        *of_appliance("visit__appliance"),
        by_id("visit", "visit", visible_visits),
        yes_no("waiting", Q(ended_at__isnull=True), "Neither confirmed nor refused."),
    )


class _EndCorrection(ActDoor):
    subject, query, shape_in, shape_out, versioned = (
        "amendments",
        visible_corrections,
        EndCorrectionIn,
        CorrectionOut,
        True,
    )


class ConfirmCorrection(_EndCorrection):
    """Somebody else than who made it says that it is right: it is in force from now on."""

    def act(self, thing: Correction, version: int, said: dict[str, Any]) -> None:
        confirm_correction(correction=thing, version=version, note=said["note"], actor=self.viewer, now=clock.now())


class RefuseCorrection(_EndCorrection):
    """It doesn't come into force: the visit stands as it was, and the correction stays listed."""

    def act(self, thing: Correction, version: int, said: dict[str, Any]) -> None:
        refuse_correction(correction=thing, version=version, note=said["note"], actor=self.viewer, now=clock.now())
