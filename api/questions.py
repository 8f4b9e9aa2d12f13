"""Questions: what is odd about an accepted visit, for the office to look at."""

from typing import Annotated, Any

from django.db.models import Q

from api.doors import ActDoor, ListDoor
from api.fields import Said
from api.filters import by_id, by_text, of_appliance, yes_no
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import Shape, Text
from fleet.models import Question
from fleet.presentation.follow_ups import question_words
from fleet.queries.follow_ups import visible_questions
from fleet.queries.visits import visible_visits
from fleet.services.visits import resolve_question


class QuestionOut(RowOut):
    row, columns = Question, "id visit code figures opened_at resolved_at resolved_by resolved_note version"
    sentence = Said(question_words)


class ResolveQuestionIn(Shape):
    note: Annotated[str, Text(500)]


class Questions(ListDoor):
    """Questions on the visits that you may see."""

    subject, query, shape_out = "questions", visible_questions, QuestionOut
    filters = (
        *of_appliance("visit__appliance"),
        by_id("visit", "visit", visible_visits),
        by_text("code", "code"),
        yes_no("open", Q(resolved_at__isnull=True), "Not resolved."),
    )


class ResolveQuestion(ActDoor):
    """Somebody looked at it and says what came of it. The visit itself is corrected by an amendment."""

    subject, query, shape_in, shape_out, versioned = (
        "questions",
        visible_questions,
        ResolveQuestionIn,
        QuestionOut,
        True,
    )

    def act(self, thing: Question, version: int, said: dict[str, Any]) -> Question:
        return resolve_question(question=thing, version=version, note=said["note"], actor=self.viewer, now=clock.now())
