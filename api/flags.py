"""Flags: what needs attention, with the reason; a named person answers for it, somebody allowed closes it."""

from typing import Annotated, Any

from django.db.models import Q
from rest_framework import serializers

from api.doors import ActDoor, ListDoor, OneDoor
from api.fields import Said
from api.filters import by_word, of_appliance, yes_no
from api.shapes import RowOut
from fleet import clock
from fleet.errors import Forbidden
from fleet.intake.fields import LEFT_OUT, Shape, Text
from fleet.models import Flag
from fleet.models.access import may_change
from fleet.presentation.follow_ups import closed_words, flag_words
from fleet.queries.follow_ups import visible_flags
from fleet.services.flags import acknowledge_flag, close_flag


class FlagOut(RowOut):
    row = Flag
    columns = (
        "id appliance visit kind figures opened_at updated_at acknowledged_at acknowledged_by "
        "acknowledged_note closed_at closed_by version"
    )
    sentence = Said(flag_words)
    closed_why = Said(closed_words)
    closed_figures = serializers.DictField(help_text="At the moment of closing: the chance and snapshot, or the visit.")


class AcknowledgeIn(Shape):
    note: Annotated[str, Text(500, blank=True)] = LEFT_OUT


class CloseIn(Shape):
    why: Annotated[str, Text(500)]


class Flags(ListDoor):
    """Flags of the appliances that you may see."""

    subject, query, shape_out = "flags", visible_flags, FlagOut
    filters = (
        *of_appliance(),
        by_word("kind", "kind", Flag.Kind.values),
        yes_no("open", Q(closed_at__isnull=True), "Not closed."),
        yes_no("acknowledged", Q(acknowledged_at__isnull=False), "A named person answers for it."),
    )


class OneFlag(OneDoor):
    """One flag."""

    subject, query, shape_out = "flags", visible_flags, FlagOut


class AcknowledgeFlag(ActDoor):
    """You answer for it: alerts and escalation stop, the flag stays open."""

    subject, query, shape_in, shape_out, versioned = "flags", visible_flags, AcknowledgeIn, FlagOut, True

    def act(self, thing: Flag, version: int, said: dict[str, Any]) -> Flag:
        note = said.get("note", "")
        return acknowledge_flag(flag=thing, version=version, note=note, actor=self.viewer, now=clock.now())


class CloseFlag(ActDoor):
    """Close with the reason. Unsafe and stop level only by a qualified person, after a test as left or removal."""

    subject, query, shape_in, shape_out, versioned = "flags", visible_flags, CloseIn, FlagOut, True

    def act(self, thing: Flag, version: int, said: dict[str, Any]) -> Flag:
        is_stop = thing.kind in (Flag.Kind.UNSAFE, Flag.Kind.STOP)
        if not is_stop and not may_change(self.viewer, "other_flags_closed"):
            raise Forbidden("not_allowed", "The office closes flags that aren't unsafe or stop level.")
        return close_flag(flag=thing, version=version, why=said["why"], actor=self.viewer, now=clock.now())
