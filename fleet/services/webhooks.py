"""Webhooks: events gathered for each hook, signed, and sent in order, oldest first, until the receiver took them.

What happened is found again from the tables, from a while before the last look on; an event is kept once by its key,
so nothing is lost where a transaction ended late. At least once: a worker that dies after sending sends
again under the same Idempotency-Key.
"""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

import structlog
from django.db import transaction
from django.db.models import F, Q, QuerySet

from fleet import web_addresses
from fleet.coded import coded, wrong
from fleet.errors import FleetError, Forbidden, NotFound
from fleet.models import AllowedTarget, EventKind, HookDelivery, Job, User, Webhook
from fleet.models.register import new_id
from fleet.models.webhooks import TRIAL
from fleet.presentation.webhooks import Event, allowed_hosts, events_of, secret_of, signature, trial_words, unfed_words
from fleet.queries.access import visible_clients
from fleet.queries.webhooks import hooks_of, visible_hooks
from fleet.services import jobs
from fleet.services.audit import note_change
from fleet.services.register import change_entry, create_entry

log = structlog.get_logger()
Effect = Callable[[], object]
Clock = Callable[[], datetime]
OVERLAP = timedelta(minutes=5)
SENT_AT_ONCE = 20
LONGEST_WAIT_S = 3600
# A receiver that says "no" to one event for good (a 4xx) must not hold up all others.
MOST_REFUSALS = 5
WAIT_AND_SEE = frozenset({408, 425, 429})
FAILING_DAYS = 3
KEPT = timedelta(days=30)
MOST_HOOKS = 50


# ---- making and changing ----


@transaction.atomic
def add_hook(*, values: dict[str, Any], actor: User, now: datetime) -> tuple[Webhook, str]:
    """A hook, switched off, and its secret, which is shown this once. values: name, url, kinds, client or None.

    Raises FleetError `invalid`, Forbidden for a scope that the actor may not see whole.
    """
    _check_scope(values.get("client"), actor)
    _check_kinds(values["kinds"])
    web_addresses.read_target(values["url"], allowed_hosts())
    if Webhook.objects.filter(removed_at__isnull=True).count() >= MOST_HOOKS:
        raise FleetError(
            "too_many_hooks", "There are %(most)d webhooks; remove one first.", figures={"most": MOST_HOOKS}
        )
    hook = create_entry(model=Webhook, values=values | {"made_by": actor, "made_at": now})
    return hook, secret_of(hook)


@transaction.atomic
def change_hook(*, hook: Webhook, version: int, changes: dict[str, Any], actor: User, now: datetime) -> Webhook:
    """Change name, url, kinds, or switch it on or off. Switched on, it carries what happens from now on, and whoever
    did that answers for it."""
    if "kinds" in changes:
        _check_kinds(changes["kinds"])
    if "url" in changes:
        web_addresses.read_target(changes["url"], allowed_hosts())
    if changes.get("is_on") and not hook.is_on:
        changes = changes | {"on_since": now, "read_until": now, "failing_since": None, "switched_off_why": []}
        changes |= {} if actor == hook.owner else {"kept_by": actor}
        _give_up_waiting(hook, "off_meanwhile")
    return change_entry(entry=hook, version=version, changes=changes)


@transaction.atomic
def renew_secret(*, hook: Webhook, version: int) -> tuple[Webhook, str]:
    """Another secret, shown this once; the one before signs nothing any more."""
    changed = change_entry(entry=hook, version=version, changes={"secret_number": hook.secret_number + 1})
    return changed, secret_of(changed)


@transaction.atomic
def remove_hook(*, hook: Webhook, version: int, now: datetime) -> None:
    """It sends nothing any more and is listed nowhere."""
    change_entry(entry=hook, version=version, changes={"is_on": False, "removed_at": now})
    _give_up_waiting(hook, "removed")


def keep_hooks(*, user: User, actor: User, now: datetime) -> None:
    """What the user answered for, and the actor may see, goes on as it was: the actor answers for it."""
    kept = [each for each in hooks_of(actor, user) if each.owner == user]
    if not kept:
        return
    Webhook.objects.filter(id__in=[each.id for each in kept]).update(kept_by=actor, version=F("version") + 1)
    note_change(user=user, actor=actor, now=now, code="webhooks_kept", names=[each.name for each in kept])


def stop_hooks(*, user: User, actor: User | None, now: datetime) -> int:
    """Of those that the user answers for: what carries more than they may see now sends nothing any more. Returns how
    many."""
    owned = Q(kept_by=user) | Q(kept_by__isnull=True, made_by=user)
    if stopped := [each.name for each in _switched_on().filter(owned) if _stopped(each)]:
        note_change(user=user, actor=actor, now=now, code="webhooks_stopped", names=stopped)
    return len(stopped)


def _switched_on() -> QuerySet[Webhook]:
    known = Webhook.objects.filter(is_on=True, removed_at__isnull=True)
    return known.select_related("made_by", "kept_by").order_by("id")


def _stopped(hook: Webhook) -> bool:
    """Whether its owner may see no more what it carries, so that it was switched off."""
    if visible_hooks(hook.owner).filter(id=hook.id).exists():
        return False
    why = coded("owner_gone", name=str(hook.owner))
    Webhook.objects.filter(id=hook.id).update(is_on=False, switched_off_why=why, version=F("version") + 1)
    log.warning("webhook_of_nobody_stopped", hook=str(hook.id))
    return True


def _give_up_waiting(hook: Webhook, why: str) -> None:
    _waiting(hook).update(given_up=True, failure=coded(why))


def _check_scope(client: Any, actor: User) -> None:
    if client is None and not actor.sees_all_clients:
        raise Forbidden("not_allowed", "A hook of the whole installation is for managers who see all clients.")
    if client is not None and not visible_clients(actor).filter(id=client.id).exists():
        raise NotFound("not_found", "There is no such client that you may see.")


def _check_kinds(kinds: Any) -> None:
    known = set(EventKind.values)
    if not kinds or not set(kinds) <= known or len(set(kinds)) != len(kinds):
        errors = {"kinds": wrong("kinds", kinds, allowed=EventKind.values)}
        raise FleetError("invalid", "The kinds of events can't be accepted.", errors=errors)


def allow_target(*, host: str, why: str, actor: User, now: datetime) -> AllowedTarget:
    """Hooks may reach this host although it is private or answers only to plain http. Raises FleetError `invalid`."""
    name = host.strip().rstrip(".").lower()
    if not name or "/" in name or "@" in name or any(each.isspace() for each in name) or not name.isascii():
        errors = {"host": wrong("host", host)}
        raise FleetError("invalid", "The host can't be accepted.", errors=errors)
    if not why.strip():
        raise FleetError("invalid", "Allowing a host needs its reason.", errors={"why": coded("say_why")})
    if AllowedTarget.objects.filter(host=name).exists():
        raise FleetError("invalid", "The host is allowed already.", errors={"host": coded("on_the_list")})
    allowed = create_entry(
        model=AllowedTarget, values={"host": name, "why": why, "allowed_by": actor, "allowed_at": now}
    )
    log.warning("private_target_allowed", host=name, by=str(actor.id))
    return allowed


def disallow_target(*, target: AllowedTarget, actor: User) -> None:
    """Off the list: what leads there is refused from the next try on."""
    AllowedTarget.objects.filter(id=target.id).delete()
    log.warning("private_target_disallowed", host=target.host, by=str(actor.id))


@transaction.atomic
def send_trial(*, hook: Webhook, now: datetime) -> HookDelivery:
    """An event that says nothing happened, to see whether it arrives; sent once, even where the hook is off."""
    event = Event(TRIAL, f"{TRIAL} {new_id()}", now, {"words": trial_words()})
    delivery = HookDelivery.objects.create(hook=hook, **_as_delivery(event))
    jobs.request_job(kind="send_hook", key=str(hook.id), due_at=now)
    return delivery


# ---- gathering ----


def feed_hooks(*, now: datetime) -> list[Webhook]:
    """The timetable's: for each hook that is on, what happened since the last look; and what waits is sent.

    A transaction each: one that can't be fed holds up no other, and is looked at again the next time. Returns those.
    """
    unfed = []
    for hook in _switched_on():
        try:
            if not _stopped(hook):
                gather_events(hook=hook, now=now)
        except Exception:
            log.exception("webhook_not_fed", hook=str(hook.id))
            unfed.append(hook)
    HookDelivery.objects.filter(made_at__lt=now - KEPT).exclude(sent_at__isnull=True, given_up=False).delete()
    return unfed


@transaction.atomic
def gather_events(*, hook: Webhook, now: datetime) -> int:
    """Keep each event once and ask for what waits to be sent. Returns how many were new."""
    since = max(each for each in (hook.on_since, (hook.read_until or now) - OVERLAP) if each)
    found = events_of(hook, since, now)
    known = set(
        HookDelivery.objects.filter(hook=hook, event__in=[each.key for each in found]).values_list("event", flat=True)
    )
    new = [HookDelivery(hook=hook, **_as_delivery(each)) for each in found if each.key not in known]
    HookDelivery.objects.bulk_create(new, ignore_conflicts=True)
    Webhook.objects.filter(id=hook.id).update(read_until=now)
    _ask_to_send(hook, now)
    return len(new)


def _ask_to_send(hook: Webhook, now: datetime) -> None:
    """Where something waits and nobody is at it: a failing hook keeps to its own, longer waits."""
    at_it = Job.objects.filter(kind="send_hook", key=str(hook.id), state__in=(Job.State.WAITING, Job.State.RUNNING))
    if _waiting(hook).exists() and not at_it.exists():
        jobs.request_job(kind="send_hook", key=str(hook.id), due_at=now)


def _waiting(hook: Webhook) -> QuerySet[HookDelivery]:
    return HookDelivery.objects.filter(hook=hook, sent_at__isnull=True, given_up=False).order_by("id")


def _as_delivery(event: Event) -> dict[str, Any]:
    """Columns of the delivery; the body is made once, so that every try signs and sends the same."""
    delivery_id = new_id()
    body = {"id": str(delivery_id), "event": event.kind, "at": event.at.astimezone(UTC).isoformat(), **event.about}
    return {
        "id": delivery_id,
        "kind": event.kind,
        "event": event.key,
        "body": json.dumps(body, ensure_ascii=False, separators=(",", ":")),
        "made_at": event.at,
    }


# ---- sending ----


def send_waiting(*, hook: Webhook, clock: Clock) -> Effect:
    """Send what waits, oldest first, until one fails; gives what is to be kept. No transaction is open meanwhile.

    clock : tells the present moment. Each try has its own, however long those before it took: a receiver refuses what
    was signed long ago.
    """
    trials, others = _waiting(hook).filter(kind=TRIAL), _waiting(hook).exclude(kind=TRIAL)
    tried: list[tuple[HookDelivery, dict[str, Any]]] = []
    for delivery in [*trials[:SENT_AT_ONCE], *others[:SENT_AT_ONCE]]:
        if delivery.kind != TRIAL and not Webhook.objects.filter(id=hook.id, is_on=True).exists():
            break  # perhaps only since the one before was sent
        outcome = _send(hook, delivery, clock)
        tried.append((delivery, outcome))
        if not outcome.get("sent_at") and not outcome["given_up"]:
            break
    return partial(_keep_tries, hook, tried, clock)


def _send(hook: Webhook, delivery: HookDelivery, clock: Clock) -> dict[str, Any]:
    """One try: what the delivery's row then says."""
    tries = delivery.tries + 1
    row: dict[str, Any] = {"tries": tries, "tried_at": clock(), "status": None, "took_ms": None, "answer_bytes": None}
    refused = False
    try:
        allowed = allowed_hosts()
        target = web_addresses.read_target(hook.url, allowed)
        address = web_addresses.checked_address(target, allowed)
        body = delivery.body.encode()
        answer = web_addresses.post(target, address, headers=_headers(hook, delivery, body, clock()), body=body)
    except FleetError as bad:
        failure = coded("address_refused", wrong=bad.errors["url"])
    except web_addresses.Unreachable as bad:
        failure = bad.why
    else:
        row |= {"status": answer.status, "took_ms": answer.took_ms, "answer_bytes": answer.read_bytes}
        if 200 <= answer.status < 300:
            return row | {"sent_at": clock(), "failure": [], "given_up": False}
        refused = 400 <= answer.status < 500 and answer.status not in WAIT_AND_SEE
        failure = coded("redirects" if 300 <= answer.status < 400 else "answered", status=answer.status)
    given_up = delivery.kind == TRIAL or (refused and tries >= MOST_REFUSALS)
    return row | {"failure": failure, "given_up": given_up}


def _headers(hook: Webhook, delivery: HookDelivery, body: bytes, now: datetime) -> dict[str, str]:
    timestamp = str(int(now.timestamp()))
    return {
        "Content-Type": "application/json",
        "User-Agent": "fleet-webhook/1",
        "Fleet-Event": delivery.kind,
        "Fleet-Timestamp": timestamp,
        "Fleet-Signature": signature(secret_of(hook), timestamp, body),
        "Idempotency-Key": str(delivery.id),
        "Connection": "close",
    }


def _keep_tries(hook: Webhook, tried: list[tuple[HookDelivery, dict[str, Any]]], clock: Clock) -> None:
    """What came of each try; the next run where something still waits, and the alarm where it has failed for days."""
    now = clock()
    for delivery, row in tried:
        HookDelivery.objects.filter(id=delivery.id).update(**row)
    counted = [row for delivery, row in tried if delivery.kind != TRIAL]
    if counted:
        _note_health(hook, counted[-1], now)
    if following := _waiting(hook).filter(hook__is_on=True).first():
        wait_s = min(2**following.tries, LONGEST_WAIT_S) if following.tries else 0
        jobs.request_job(kind="send_hook", key=str(hook.id), due_at=now + timedelta(seconds=wait_s))


def _note_health(hook: Webhook, last: dict[str, Any], now: datetime) -> None:
    standing = Webhook.objects.filter(id=hook.id, is_on=True)
    if last.get("sent_at"):
        standing.filter(failing_since__isnull=False).update(failing_since=None)
        return
    if hook.failing_since is None:
        standing.update(failing_since=now)
        return
    if now - hook.failing_since < timedelta(days=FAILING_DAYS):
        return
    why = coded("nothing_arrived", days=FAILING_DAYS, last=last["failure"])
    if standing.update(is_on=False, switched_off_why=why, version=F("version") + 1):
        log.error("webhook_switched_off", hook=str(hook.id), failure=last["failure"])


# ---- jobs ----


def feed_hooks_job(*, job: Job, now: datetime) -> Effect:
    """Fed before the job's own transaction: what could be gathered stays, whatever becomes of the job."""
    if unfed := feed_hooks(now=now):
        jobs.report_progress(job=job, progress=unfed_words([each.name for each in unfed]), now=now)
    return lambda: None


def send_hook_job(*, job: Job, clock: Clock) -> Effect:
    return send_waiting(hook=Webhook.objects.get(id=job.key), clock=clock)
