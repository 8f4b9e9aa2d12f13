"""The year, week by week: the older records brought in first, then booked, attended, sent and answered."""

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fleet.assess.appliances import everybody_in_shards, with_places
from fleet.assess.foresight.learning import learn_from
from fleet.assess.foresight.series import series_of
from fleet.demo import alerts, office
from fleet.demo.cases import all_cases, body_for, high_co_put_right
from fleet.demo.events import Event, all_events
from fleet.demo.office import ATTEMPTS, evening
from fleet.demo.pictures import soot_photo
from fleet.demo.places import CLIENTS, SCHOOLS
from fleet.demo.simulation import TOWN_ZONE, Life
from fleet.demo.town import OLDER_YEARS, Town
from fleet.demo.visits import Stop, begins_at, ordinary_body, send
from fleet.intake.visits import read_visit
from fleet.models import Appliance, Job, Revisit, StoredFile, Visit
from fleet.models.records import part_id
from fleet.services import forecasts, revisits
from fleet.services.corrections import correct_visit
from fleet.services.files import store_file

Say = Callable[[str], Any]
SAY_EACH = 100
MONTH_WEEKS = 4


# ---- what was done before the service was used ----


def bring_in_older(town: Town, say: Say) -> int:
    """Some years of earlier tests, without what analysers logged, entered on the first day. Returns how many."""
    plan = sorted(
        ((day, life.site, number) for number, life in enumerate(town.lives.values()) for day in _older_days(town, life))
    )
    end_waiting(town.begins)  # what the register asked for while it was made
    lives = list(town.lives.values())
    attendances: dict[tuple[int, date], list[uuid.UUID]] = defaultdict(list)
    for done, (day, site, number) in enumerate(plan, start=1):
        group = attendances[site, day]
        group.append(group[0] if group else uuid.uuid4())
        begins = begins_at(day, len(group) - 1)
        stop = Stop(lives[number], town.member_of(lives[number]), begins, group[0])
        send(ordinary_body(town, stop, logged=False), actor=town.manager, now=town.begins)
        if done % SAY_EACH == 0 or done == len(plan):
            end_waiting(town.begins)
            say(f"older visits {done} of {len(plan)}")
    return len(plan)


def _older_days(town: Town, life: Life) -> Iterator[date]:
    """About a year apart, all appliances of a building on one day; the last some time before the service's first."""
    shorter = life.appliance.building.client.name == CLIENTS[SCHOOLS] or life.sheet_key == "linkage"
    first = 10 + (life.site * 89) % (130 if shorter else 340)
    for number in range(OLDER_YEARS):
        slack = (life.site * 31 + number * 17) % 24
        yield office.workday(town.begins.date() - timedelta(days=first + 365 * number + slack))


# ---- the year itself ----


def live(town: Town, say: Say) -> int:
    """Returns how many visits there were."""
    town.cases, town.attempts = all_cases(), list(ATTEMPTS)
    waiting, made, week = all_events(town), 0, 0
    monday = office.workday(town.begins.date() + timedelta(days=1))
    monday -= timedelta(days=monday.weekday())
    weeks = (town.today - monday).days // 7 + 1
    while monday < town.today:
        visited = _week(town, monday, week, waiting)
        made += len(visited)
        if week % MONTH_WEEKS == 0:
            say(f"week {week + 1} of {weeks}, {made} visits")
        monday, week = monday + timedelta(days=7), week + 1
    call_out(town)
    say(f"week {weeks} of {weeks}, {made + 1} visits")
    return made + 1


def _week(town: Town, monday: date, week: int, waiting: list[Event]) -> list[Visit]:
    until = min(monday + timedelta(days=7), town.today)
    office.take_back(town, monday, week)
    office.book(town, monday)
    office.confirm(town, monday)
    visits = _attend(town, monday, until, week)
    touched = {each.appliance_id for each in visits}
    while waiting and waiting[0].day < until:
        touched |= waiting.pop(0).happens() or set()
    now = evening(until - timedelta(days=1), 20)
    _correct(town, now)
    alerts.alert(town, now)
    alerts.close_what_is_over(town, now)
    _look_again(touched, now, everybody=week % MONTH_WEEKS == 0)
    office.send_records(town, monday)
    office.hear_of_repairs(town, monday)
    office.answer_questions(town, monday)
    end_waiting(now)
    return visits


def _attend(town: Town, monday: date, until: date, week: int) -> list[Visit]:
    """The days that were booked, building by building; at one or another nobody lets them in."""
    booked = Revisit.objects.filter(day__gte=monday, day__lt=until).select_related("appliance__building__client")
    attendances: dict[tuple[date, uuid.UUID], list[Revisit]] = defaultdict(list)
    for each in booked.order_by("day", "appliance__building__name", "appliance__name"):
        assert each.day is not None
        attendances[each.day, each.appliance.building_id].append(each)
    visits: list[Visit] = []
    for (day, _building), some in attendances.items():
        attendance = uuid.uuid4()
        for number, revisit in enumerate(some):
            life = town.lives.get(revisit.appliance_id)
            if life is None or life.stands_still or _not_let_in(town, revisit, life, week):
                continue
            stop = Stop(life, town.member_of(life), begins_at(day, number), attendance)
            visits.append(_visit(town, stop, week))
    return visits


def _not_let_in(town: Town, revisit: Revisit, life: Life, week: int) -> bool:
    made = next((each for each in town.attempts if each.week <= week), None)
    if made is None or not office.is_soon_late(revisit):
        return False
    town.attempts.remove(made)
    life.no_answer = not made.answered
    office.attempt(made, revisit, town.member_of(life).user)
    return True


def _visit(town: Town, stop: Stop, week: int) -> Visit:
    content = body_for(town, stop, week)
    user = stop.member.user
    visit = send(content, actor=user, now=evening(stop.day))
    found = content.get("defects", [])
    stop.life.defects = [
        str(part_id(visit.id, "defect", number))
        for number, each in enumerate(found, start=1)
        if not each.get("done") and each["severity"] != "note"
    ]
    if any(each["severity"] in ("urgent", "unsafe") for each in found):
        store_file(visit=visit, name="defect.png", media_type=StoredFile.MediaType.PNG, data=soot_photo(),
                   what=StoredFile.What.DEFECT, actor=user, now=evening(stop.day))  # fmt: skip
    return visit


def call_out(town: Town) -> None:
    """An hour ago, at a flat where the alarm had sounded: nobody has answered that alert yet."""
    flats = (each for each in town.lives.values() if each.appliance.name == "Flat 2 boiler" and not each.waits_for_part)
    life, now = next(flats), town.now - timedelta(minutes=40)
    begins = (now - timedelta(minutes=70)).astimezone(ZoneInfo(TOWN_ZONE))
    member = town.member_of(life)
    stop = Stop(life, member, begins, uuid.uuid4(), called=True)
    visit = send(high_co_put_right(town, stop), actor=member.user, now=now)
    _look_again({visit.appliance_id}, now, everybody=False)
    alerts.alert(town, now)


def _correct(town: Town, now: datetime) -> None:
    for right, actor, reason in town.corrections:
        correct_visit(draft=read_visit(right), reason=reason, version=1, actor=actor, now=now)
    town.corrections.clear()


def _look_again(visited: set[uuid.UUID], now: datetime, *, everybody: bool) -> None:
    """What background work does: after visits for their appliances, once a month for all, as the days have passed."""
    if visited:
        revisits.refresh_appliances(appliances=with_places(Appliance.objects.filter(id__in=visited)), now=now)
    if everybody:
        for some in everybody_in_shards():
            revisits.propose_shard(appliances=some, now=now)
        revisits.ration_extra_visits(now=now)


def end_waiting(now: datetime) -> None:
    """What each visit asks for was done above for many at once, or is left: comparing visits with one another would
    keep a worker for minutes, and the next visit is compared with these."""
    done = ("refresh_appliance", "compare_visit", "ration_extra_visits")
    Job.objects.filter(kind__in=done, state=Job.State.WAITING).update(state=Job.State.DONE, finished_at=now)


def learn(now: datetime) -> None:
    """As a night does: every series anew, then everybody's forecast, required checks and next visit."""
    known = Appliance.objects.select_related("building", "sheet").prefetch_related("sheet__versions")
    for (quantity, rate), series in series_of(list(known)).items():
        forecasts.put_in_force(learnt=learn_from(series, quantity=quantity, rate=rate), now=now)
    revisits.refresh_everybody(now=now)
