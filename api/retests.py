"""Retests: another test that a set asks for after a finding, by which day, and the check that ended it."""

from django.db.models import Q
from rest_framework import serializers

from api.doors import ListDoor
from api.fields import CodedRows
from api.filters import by_day, of_appliance, yes_no
from api.shapes import RowOut
from fleet.models import Retest
from fleet.presentation.revisits import retest_words
from fleet.queries.follow_ups import visible_retests


class RetestOut(RowOut):
    row, columns = Retest, "id appliance limit_set event found_on due"
    visit = serializers.UUIDField(source="visit_id", help_text="Of the finding.")
    words = serializers.SerializerMethodField(help_text="How its last day comes about.")
    steps = CodedRows(help_text="The same, each step as its code and its figures.")
    done_by = serializers.UUIDField(source="done_by_id", allow_null=True, help_text="The first check after it.")

    def get_words(self, retest: Retest) -> str:
        return retest_words(retest.limit_set.name, retest.steps)


class Retests(ListDoor):
    """Retests of the appliances that you may see."""

    subject, query, shape_out = "retests", visible_retests, RetestOut
    filters = (
        *of_appliance(),
        yes_no("open", Q(done_by__isnull=True), "Not tested again yet."),
        by_day("due_before", "due__lte", "Due by this day or before."),
    )
