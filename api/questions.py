"""Marks: what is odd about an accepted visit, for the office to look at."""

import uuid

from django.db.models import Q, QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
from api.fields import Said
from api.filters import by_id, by_text, of_appliance, yes_no
from api.shapes import RowOut
from api.versions import version_named
from fleet import clock
from fleet.intake.fields import StrictSerializer, Text
from fleet.models import Question
from fleet.presentation.follow_ups import question_words
from fleet.queries.follow_ups import visible_questions
from fleet.queries.visits import visible_visits
from fleet.services.visits import resolve_question


class QuestionOut(RowOut):
    row, columns = Question, "id visit code figures opened_at resolved_at resolved_by resolved_note version"
    sentence = Said(question_words)


class ResolveQuestionIn(StrictSerializer):
    note = Text(500)


class Questions(ListDoor):
    """Marks on the visits that you may see."""

    subject, shape_out = "questions", QuestionOut
    filters = (
        *of_appliance("visit__appliance"),
        by_id("visit", "visit", visible_visits),
        by_text("code", "code"),
        yes_no("open", Q(resolved_at__isnull=True), "Not resolved."),
    )

    def rows(self) -> QuerySet[Question]:
        return visible_questions(self.viewer)


class ResolveQuestion(Door):
    """Somebody looked at it and says what came of it. The visit itself is repaired by an amendment."""

    subject, shape_in, shape_out, versioned = "questions", ResolveQuestionIn, QuestionOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        question = found(visible_questions(self.viewer), id)
        version, note = version_named(request), self.taken()["note"]
        return self.shown(
            resolve_question(question=question, version=version, note=note, actor=self.viewer, now=clock.now())
        )
