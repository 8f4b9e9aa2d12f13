"""Killed workers, a forgetful broker, a dead one, two clocks: each job has one effect, and none is lost."""

import json
import math
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from statistics import median

import pytest

from fleet.worker import DEAF
from tests import servers
from tests.chaos.stage import FULL, SHAPES, Stage, stage
from tests.servers import REPOSITORY

JOBS, KILLS = (400, 4) if FULL else (40, 2)
# Times are promises of a machine with nothing beside: held by `make chaos`, never by a test among others.
STOPS_WITHIN_S, PICKED_UP_WITHIN_S = (5.0, 60.0) if FULL else (math.inf, math.inf)
STOPPED_S, SLOWED_MS = 60.0, 50.0
TURNS = 4
KILLED = 9
# Generous: on a busy machine a worker's start alone may take minutes, and 400 jobs many of them.
WAITS_S = 900.0 if FULL else 240.0


def until(scene: Stage, holds: Callable[[], bool], what: str) -> None:
    try:
        servers.until(holds, what, WAITS_S)
    except AssertionError as late:
        raise AssertionError(f"{late}: {scene.said()}") from late


def on(*shapes: str) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("set_stage", shapes, indirect=True, scope="module")


on_both = on(*SHAPES)
on_files_at_least = on(*(SHAPES if FULL else SHAPES[:1]))
on_servers = on(*SHAPES[1:])


@pytest.fixture(scope="module")
def set_stage(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with stage(request.param, tmp_path_factory.mktemp("stage")) as scene:
        yield scene


@pytest.fixture
def scene(set_stage: Stage) -> Iterator[Stage]:
    """The stage with no work, no message and no process on it."""
    set_stage.clear()
    yield set_stage
    set_stage.clear()


@on_both
def test_every_job_has_one_effect_whoever_is_killed_and_whatever_the_broker_forgets(scene: Stage) -> None:
    assert scene.do("request", str(JOBS)) == 0
    assert scene.number("SELECT count(*) FROM fleet_job") == JOBS
    scene.start("clock")
    victims = [scene.start_worker() for _ in range(KILLS)]
    held = 0
    for number, victim in enumerate(victims):
        kill_in_flight(scene, victim)
        if number == 0:
            held = scene.empty_broker()
            scene.start_worker()
    assert held > 0, "the broker held nothing when it was emptied: that proves nothing"
    until(scene, lambda: scene.unended() == 0, "the end of all work")
    assert scene.effects() == (JOBS, JOBS)
    assert scene.number("SELECT sum(tries) FROM fleet_job") >= JOBS + KILLS


def kill_in_flight(scene: Stage, victim: int) -> None:
    """Kill -9 while a job is in its hands: what it had begun has no effect now. One just ended doesn't count."""
    while True:
        until(scene, lambda: scene.in_flight(victim) > 0, "a job in flight")  # noqa: B023  # asked at once
        os.kill(victim, signal.SIGKILL)
        assert scene.wait(victim) == -signal.SIGKILL
        if scene.in_flight(victim) > 0:
            return
        victim = scene.start_worker()


# ---- broken off at every failpoint ----

OF_THE_REQUEST = ["jobs.request"]
OF_THE_OUTBOX = ["worker.marked", "worker.sent"]
OF_THE_RUN = ["jobs.claim", "jobs.claim.marked", "tasks.claimed", "tasks.calculated", "tasks.effect", "jobs.finish",
              "tasks.finished", "tasks.written"]  # fmt: skip


def test_every_failpoint_of_background_work_is_tried_here() -> None:
    sources = [(REPOSITORY / "fleet" / name).read_text() for name in ("tasks.py", "worker.py", "services/jobs.py")]
    named = re.findall(r'failpoint\("([a-z.]+)"\)', "".join(sources))
    assert sorted(named) == sorted(OF_THE_REQUEST + OF_THE_OUTBOX + OF_THE_RUN)


@on_both
def test_whatever_point_a_process_dies_at_the_job_has_its_effect_once(scene: Stage) -> None:
    for point in OF_THE_REQUEST:
        assert scene.do("request named", point, kill_at=point) == KILLED
        assert scene.number("SELECT count(*) FROM fleet_job") == 0
    for point in OF_THE_OUTBOX + OF_THE_RUN:
        assert scene.do("request named", point) == 0
    for point in OF_THE_OUTBOX:
        forget_hints(scene)
        assert scene.do("scan", kill_at=point) == KILLED
    for point in OF_THE_RUN:
        assert scene.do("run", job_id(scene, point), kill_at=point) == KILLED
    written_before_it_died = [point for (point,) in scene.execute("SELECT job_key FROM counted_effect")]
    assert written_before_it_died == ["tasks.written"]
    run_out(scene)
    for point in OF_THE_OUTBOX + OF_THE_RUN:
        for _twice in range(2):
            assert scene.do("run", job_id(scene, point)) == 0
    assert scene.effects() == (len(OF_THE_OUTBOX + OF_THE_RUN),) * 2
    assert scene.unended() == 0


def job_id(scene: Stage, key: str) -> str:
    return str(scene.execute(f"SELECT id FROM fleet_job WHERE key = '{key}'")[0][0])


def forget_hints(scene: Stage) -> None:
    scene.execute("UPDATE fleet_job SET published_at = NULL")


def run_out(scene: Stage) -> None:
    """As if a minute had passed: claims of the dead have run out."""
    scene.execute("UPDATE fleet_job SET claimed_until = '2020-01-01 00:00:00+00:00' WHERE state = 'running'")


@on_files_at_least
def test_a_hint_that_died_on_its_way_is_given_again(scene: Stage) -> None:
    for point in OF_THE_OUTBOX:
        scene.do("request named", point)
        assert scene.do("scan", kill_at=point) == KILLED
    clock, worker = scene.start("clock"), scene.start_worker()
    until(scene, lambda: scene.unended() == 0, "both")
    assert scene.effects() == (2, 2)
    assert {clock, worker} == set(scene.begun)


# ---- clocks, stops, the broker ----


@on_files_at_least
def test_two_clocks_at_once_have_the_effects_of_one(scene: Stage) -> None:
    for _clock in range(2):
        scene.start("tick each second")
    scene.start_worker()
    slots = 20 if FULL else 3
    until(scene, lambda: scene.effects()[1] >= slots, f"the effects of {slots} slots")
    every, different = scene.effects()
    assert every == different
    assert scene.number("SELECT count(DISTINCT key) FROM fleet_job") == scene.number("SELECT count(*) FROM fleet_job")


@on_files_at_least
def test_a_worker_in_the_middle_of_long_work_stops_cleanly_and_gives_it_back(scene: Stage) -> None:
    scene.do("request named", "long")
    scene.start("clock")
    worker = scene.start_worker()
    until(scene, lambda: scene.in_flight(worker) > 0, "the long work in flight")
    began = time.monotonic()
    os.kill(worker, signal.SIGTERM)
    assert scene.wait(worker) == 0
    assert time.monotonic() - began < STOPS_WITHIN_S  # a promise to whoever stops it, not a benchmark
    if "threads" in scene.pool:
        assert scene.execute("SELECT state, tries FROM fleet_job") == [("waiting", 0)]
    assert scene.effects() == (0, 0)


@on_files_at_least
def test_a_deaf_worker_ends_by_itself_with_the_status_by_which_it_is_started_anew(scene: Stage) -> None:
    assert scene.do("work deaf", *scene.pool) == DEAF, scene.said()


@on_servers
def test_a_broker_that_stops_delays_work_and_loses_none(scene: Stage) -> None:
    scene.start("clock")
    scene.start_worker()
    scene.do("request named", "before")
    until(scene, lambda: scene.effects() == (1, 1), "the work before")
    scene.stop_broker()
    stopped = time.monotonic()
    scene.do("request named", "meanwhile")
    until(scene, lambda: scene.effects() == (2, 2), "the work meanwhile")
    while FULL and time.monotonic() - stopped < STOPPED_S:
        time.sleep(1)
    scene.start_broker()
    scene.do("request named", "afterwards")
    asked = time.monotonic()
    until(scene, lambda: scene.effects() == (3, 3), "the work afterwards")
    assert time.monotonic() - asked < PICKED_UP_WITHIN_S


@on_servers
@pytest.mark.skipif(not FULL, reason="measured by make chaos alone")
def test_a_visit_is_taken_as_fast_without_a_broker_as_with_it(scene: Stage) -> None:
    """By turns in one run, so that the machine's other work falls on both; what the visits call for waits meanwhile."""
    scene.start("clock")
    assert scene.do("post visits", "10", "to warm up") == 0, scene.said()
    took: dict[str, list[float]] = {"with a broker": [], "without one": []}
    for turn in range(TURNS):
        took["with a broker"] += posted(scene, f"with {turn}")
        scene.stop_broker()
        took["without one"] += posted(scene, f"without {turn}")
        scene.start_broker()
    with_it, without = (median(each) for each in took.values())
    print(f"median of a visit: {with_it:.0f} ms with a broker, {without:.0f} ms without one")
    assert without - with_it < SLOWED_MS


def posted(scene: Stage, name: str) -> list[float]:
    """Milliseconds of each visit."""
    assert scene.do("post visits", "15", name) == 0, scene.said()
    return list(json.loads((scene.folder / name).read_text()))


def test_pages_and_api_load_nothing_that_could_talk_to_a_broker() -> None:
    """Requests never wait for a broker, dead or alive: their processes don't even know how to call one."""
    code = (
        "import sys, fleet.wsgi\n"
        "from django.urls import get_resolver\n"
        "get_resolver().url_patterns\n"
        "print(sorted({name.split('.')[0] for name in sys.modules} & {'celery', 'kombu', 'redis', 'amqp'}))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=REPOSITORY, capture_output=True, text=True, check=False,
        env=os.environ | {"DJANGO_SETTINGS_MODULE": "fleet.settings"},
    )  # fmt: skip
    assert ran.stdout.strip() == "[]", ran.stderr[-2000:]
