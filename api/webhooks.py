"""Webhooks: another program is told of events as they happen. A manager makes them; each is off until switched on."""

import uuid
from typing import Annotated, Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import NO_STORE, ActDoor, Door, EntryDoor, ListDoor, version_named
from api.fields import Reference, Said
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import LEFT_OUT, Many, Shape, Text, Word, YesNo
from fleet.models import AllowedTarget, EventKind, HookDelivery, Webhook
from fleet.presentation.webhooks import failure_words
from fleet.queries.access import visible_clients
from fleet.queries.webhooks import allowed_targets, visible_deliveries, visible_hooks
from fleet.services.webhooks import (
    add_hook,
    allow_target,
    change_hook,
    disallow_target,
    remove_hook,
    renew_secret,
    send_trial,
)


class WebhookIn(Shape):
    name: Annotated[str, Text(100)]
    url: Annotated[str, Text(500, help="https; what its name stands for is checked at every try.")]
    kinds: Annotated[list[Annotated[str, Word(EventKind.values)]], Many(1)]
    client: Annotated[Any, Reference(visible_clients, null=True, help="null: the whole installation.")] = LEFT_OUT


class WebhookChange(Shape):
    name: Annotated[str, Text(100)]
    url: Annotated[str, Text(500)]
    kinds: Annotated[list[Annotated[str, Word(EventKind.values)]], Many(1)]
    is_on: Annotated[bool, YesNo()]


class WebhookOut(RowOut):
    row, columns = Webhook, "id name url client is_on failing_since made_at version"
    kinds = serializers.ListField(child=serializers.CharField())
    switched_off_why = Said(
        failure_words, of="switched_off_why", help_text="Why it was switched off, where no person did that."
    )
    owner = serializers.UUIDField(
        source="owner.id", help_text="Who answers for it: it stops where they may see no more what it carries."
    )


class NewWebhookOut(WebhookOut):
    secret = serializers.CharField(help_text="Shown this once: what the signatures are made with.")


class HookDeliveryOut(RowOut):
    row, columns = HookDelivery, "kind made_at tried_at tries status took_ms given_up"
    id = serializers.UUIDField(help_text="The Idempotency-Key of every try.")
    sent_at = serializers.DateTimeField(allow_null=True, help_text="When a 2xx came back; null: not yet.")
    failure = Said(failure_words, of="failure")
    answer_bytes = serializers.IntegerField(allow_null=True, help_text="Of the answer's body, read to at most 64 kB.")


class AllowedTargetIn(Shape):
    host: Annotated[str, Text(253)]
    why: Annotated[str, Text(300)]


class AllowedTargetOut(RowOut):
    row, columns = AllowedTarget, "id host why allowed_by allowed_at"


def with_secret(door: Door, made: tuple[Any, str], status: int) -> Response:
    hook, hook.secret = made  # for this one answer
    return door.shown(hook, status, shape=NewWebhookOut, **NO_STORE)


class Webhooks(ListDoor):
    """What each delivery is: a POST of JSON with id, event, at and what it is about. Headers: Fleet-Event,
    Fleet-Timestamp (seconds since 1970), Fleet-Signature, and Idempotency-Key, the same at every try of one event:
    deliveries come at least once, oldest first, so keep the keys that you have done.

    Fleet-Signature is HMAC-SHA256 in hex, under the secret, of the timestamp, a full stop and the body's bytes as they
    came. Compare in constant time, and refuse a timestamp more than five minutes from your clock. In Python:

    expected = hmac.new(secret.encode(), timestamp.encode() + b"." + body, hashlib.sha256).hexdigest()
    genuine = hmac.compare_digest(expected, signature) and abs(time.time() - int(timestamp)) < 300

    Answer 2xx within 10 seconds. Redirects are not followed. Anything else is tried again with growing waits, up to an
    hour; a 4xx five times; where nothing arrives for three days the hook is switched off and managers are told. Which
    events there are, and what each is about besides appliance, building and client: flag opened, flag answered, flag
    closed (flag); visit recorded, visit corrected (visit, record); revisit changed, day set, day taken back (revisit,
    with the day and the technician named for it); required check counted (required check, with counted_on, next_due and
    its arithmetic in words, and the visit and record that counted it; once a required check and day).

    Addresses that are not public are refused, by what the name stands for at the moment of each try, unless a manager
    has allowed the host by name.
    """

    subject, query = "webhooks", visible_hooks
    shape_in, shape_out, shape_made, makes = WebhookIn, WebhookOut, NewWebhookOut, True

    def post(self, request: Request) -> Response:
        """A new hook, switched off, with its secret. A retry makes another."""
        return with_secret(self, add_hook(values=self.taken(), actor=self.viewer, now=clock.now()), 201)


class OneWebhook(EntryDoor):
    """One hook."""

    subject, query, shape_in, shape_out = "webhooks", visible_hooks, WebhookChange, WebhookOut

    def patch(self, request: Request, id: uuid.UUID) -> Response:
        """Change it, or switch it on or off. Switched on, it carries what happens from then on."""
        return super().patch(request, id)

    def change(self, entry: Webhook, version: int, changes: dict[str, Any]) -> Webhook:
        return change_hook(hook=entry, version=version, changes=changes, actor=self.viewer, now=clock.now())

    def delete(self, request: Request, id: uuid.UUID) -> Response:
        """It sends nothing any more."""
        remove_hook(hook=self.one(), version=version_named(request), now=clock.now())
        return Response(status=204)


class RenewSecret(Door):
    """Another secret, shown this once; the one before signs nothing any more."""

    subject, query, shape_out, versioned = "webhooks", visible_hooks, NewWebhookOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        return with_secret(self, renew_secret(hook=self.one(), version=version_named(request)), 200)


class TrialEvent(ActDoor):
    """A trial event, sent once in the background, even where the hook is off: look at the deliveries a moment later."""

    subject, query, shape_out = "webhooks", visible_hooks, HookDeliveryOut

    def act(self, thing: Webhook, version: int, said: dict[str, Any]) -> HookDelivery:
        return send_trial(hook=thing, now=clock.now())


class HookDeliveries(ListDoor):
    """What was sent to one hook in the last month, and what came of it; oldest first."""

    subject, query, shape_out = "webhooks", visible_hooks, HookDeliveryOut

    def rows(self) -> QuerySet[HookDelivery]:
        return visible_deliveries(self.viewer).filter(hook=self.whole).defer("body")


class AllowedTargets(ListDoor):
    """Hosts that hooks may reach although they are private or answer only to plain http."""

    subject, query, shape_in, shape_out, makes = (
        "allowed_hosts",
        allowed_targets,
        AllowedTargetIn,
        AllowedTargetOut,
        True,
    )

    def post(self, request: Request) -> Response:
        """Allow a host by its name, with the reason."""
        return self.shown(allow_target(**self.taken(), actor=self.viewer, now=clock.now()), 201)


class OneAllowedTarget(Door):
    """One host on the list."""

    subject, query = "allowed_hosts", allowed_targets

    def delete(self, request: Request, id: uuid.UUID) -> Response:
        """Off the list: refused from the next try on."""
        disallow_target(target=self.one(), actor=self.viewer)
        return Response(status=204)
