"""Visits: recorded once per id, whoever retries; what can't be read is kept; corrections are amendments."""

import uuid
from collections.abc import Mapping
from typing import Annotated, Any

import structlog
from django.db import OperationalError
from django.db.models import Q, QuerySet
from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _
from rest_framework.exceptions import ParseError
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import ActDoor, Door, ListDoor
from api.filters import by_day, by_word, of_appliance, yes_no
from api.parsers import AsSentParser, read_leniently, read_strictly
from api.visit_shapes import VisitLineOut, VisitOut
from fleet import clock
from fleet.assess.judging.visit_facts import VisitFacts
from fleet.coded import Coded, coded
from fleet.errors import FleetError, Malformed, NotFound
from fleet.intake.fields import LEFT_OUT, Id, Shape, Text
from fleet.intake.visits import VisitIn, read_visit, unsafe_appliance
from fleet.models import Visit
from fleet.queries.visits import visible_visits, visit_for
from fleet.services.corrections import correct_visit
from fleet.services.visits import keep_unreadable, record_visit
from reports.visits import visit_pdf

log = structlog.get_logger()


class AmendmentIn(Shape):
    """The whole visit as it should have been sent, and why it is corrected."""

    reason: Annotated[str, Text(500)]
    visit: VisitIn
    shown_by: Annotated[
        uuid.UUID, Id(help=_("A file that came with the visit, from somebody else, and shows that it is right."))
    ] = LEFT_OUT


class Visits(ListDoor):
    """Visits to the appliances that you may see."""

    parser_classes = (AsSentParser,)
    subject, query, makes = "visits", visible_visits, True
    shape_in, shape_out, shape_made = VisitIn, VisitLineOut, VisitOut
    filters = (
        *of_appliance(),
        by_day("since", "local_date__gte", "On this day or after."),
        by_day("until", "local_date__lte", "On this day or before."),
        by_word("outcome", "outcome", Visit.Outcome.values),
        by_word("judged", "judgement__outcome", ["within", "incomplete", "outside", "not_judged"]),
        yes_no("unsafe", Q(unsafe=True), "Declared unsafe by the technician."),
    )

    def rows(self) -> QuerySet[Visit]:
        return super().rows().prefetch_related(None)

    def post(self, request: Request) -> Response:
        """Store a visit as it was sent: 201, 200 for the same again, 409 for other content under its id.

        A message that can't be read, or names an appliance that isn't there for you, is refused and kept: the answer
        names the unreadable record. If it calls an appliance unsafe, that is acted on at once.
        """
        sent: Any = request.data
        body = sent if isinstance(sent, bytes) else b""
        if not body:
            raise ParseError("The body is empty.")
        data: Any = None
        try:
            data = read_strictly(body)
            draft = read_visit(data)
            now = clock.now()
            visit = record_visit(draft=draft, actor=self.viewer, now=now)
        except ParseError as bad:
            errors = {"body": coded("as_said", said=str(bad.detail))}
            raise self._kept(Malformed("visit_malformed", ""), body, errors, read_leniently(body)) from bad
        except Malformed as bad:
            raise self._kept(bad, body, bad.errors or {"body": coded("as_said", said=bad.message)}, data) from bad
        except NotFound as bad:
            raise self._kept(bad, body, {"appliance": coded("not_there")}, data) from bad
        except (FleetError, OperationalError):
            raise  # a conflict or a busy database: the sender knows what to do, and nothing is lost
        except Exception as bad:
            log.exception("visit_failed")
            fault = FleetError("our_fault", "")
            fault.status = 500
            raise self._kept(fault, body, {"body": coded("fault_of_ours")}, data) from bad
        stored_by_this_call = visit.record.received_at == now
        return self.answer(visit_for(self.viewer, visit.id), 201 if stored_by_this_call else 200)

    def _kept(self, refusal: FleetError, body: bytes, errors: Mapping[str, Coded], data: Any) -> FleetError:
        """The refusal, saying that the message is kept and under which id."""
        held = keep_unreadable(
            body=body, errors=errors, unsafe=unsafe_appliance(data), actor=self.viewer, now=clock.now()
        )
        words = "It can't be accepted as it is. It is kept, as it came, for the office to correct."
        answer = type(refusal)(refusal.code, words, errors=errors, unreadable_record=str(held.id))
        answer.status = refusal.status
        return answer

    def answer(self, facts: VisitFacts, status: int) -> Response:
        return self.shown(facts, status, shape=self.shape_made, Location=f"{self.request.path}/{facts.visit.id}")


class OneVisit(Door):
    """One visit, whole: readings as entered, derived figures, verdicts, findings, questions and record hashes."""

    subject, shape_out = "visits", VisitOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(visit_for(self.viewer, id))


class Amendments(ActDoor):
    """Correct a visit: a new record with the whole new content and the reason. The old one stays.

    What makes the visit worse is in force at once. What takes back something that was held against the appliance waits,
    under `corrections`, until somebody else confirms it, and the visit is shown as it was: unless `shown_by` names a
    file that came with it, or a later test has shown how the appliance is.
    """

    subject, query, shape_in, shape_out, versioned = "amendments", visible_visits, AmendmentIn, VisitOut, True

    def act(self, thing: Visit, version: int, said: dict[str, Any]) -> VisitFacts:
        draft = read_visit(self.body()["visit"])
        if draft.id != thing.id:
            errors = {"visit.id": coded("visits_own_id", value=str(draft.id), id=str(thing.id))}
            raise FleetError("invalid", "Some fields can't be accepted.", errors=errors)
        correct_visit(
            draft=draft,
            reason=said["reason"],
            version=version,
            shown_by=said.get("shown_by"),
            actor=self.viewer,
            now=clock.now(),
        )
        return visit_for(self.viewer, thing.id)


class VisitPaper(Door):
    """The visit's record on paper."""

    subject, media_type = "visits", "application/pdf"

    def get(self, request: Request, id: uuid.UUID) -> HttpResponse:
        facts = visit_for(self.viewer, id)
        paper = visit_pdf(facts, known_on=clock.today(facts.appliance.building.time_zone))
        answer = HttpResponse(paper, content_type="application/pdf")
        answer["Content-Disposition"] = f'inline; filename="visit-{id}.pdf"'
        return answer
