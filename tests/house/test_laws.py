"""The three laws of the map: services write, queries look for a viewer, what is assessed is only read."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
# Calls by which a row is written, on a manager, a queryset or a row.
WRITES = {"create", "get_or_create", "update_or_create", "bulk_create", "bulk_update", "save", "create_user", "delete"}
# Rows that are wholly a record's: the same whenever they are projected, so no moment enters.
OF_A_RECORD = "projects a record: the same rows at any moment"
# A row of the register keeps the version it is at and not when it came to it; its caller takes `now`.
OF_THE_REGISTER = "a row of the register keeps no moment; the service that calls it takes `now`"
HANDED = "calls the service that it is handed, which takes `now`"
DUE_AT = "takes its moment as `due_at`, which is when the work may begin"
SENDS = "runs for minutes and takes the `clock`: each try has a moment of its own"
SERVICES = {
    "records.put_rows": OF_A_RECORD,
    "visits.project_visit": OF_A_RECORD,
    "projections.rebuild": OF_A_RECORD,
    "judgements.put_check": OF_A_RECORD,
    "judgements.catch_up": OF_A_RECORD,
    "follow_ups.follow_visit": OF_A_RECORD,
    "register.create_entry": OF_THE_REGISTER,
    "register.change_entry": OF_THE_REGISTER,
    "register.change_row": OF_THE_REGISTER,
    "access.create_user": OF_THE_REGISTER,
    "required_checks.end_each": "keeps the day on which they end; the service that calls it takes `now`",
    "alerts.change_on_call": OF_THE_REGISTER,
    "alerts.take_off_call": OF_THE_REGISTER,
    "webhooks.renew_secret": OF_THE_REGISTER,
    "webhooks.disallow_target": "its row goes; the log, which has its own moment, says by whom",
    "jobs.request_job": DUE_AT,
    "jobs.request_jobs": DUE_AT,
    "jobs.request_slot": DUE_AT,
    "jobs.withdraw_hints": "takes back what was noted as published, and nothing keeps when",
    "alerts.send_alert": SENDS,
    "alerts.send_alert_job": SENDS,
    "alerts.send_daily_summary": SENDS,
    "alerts.daily_summary_job": SENDS,
    "webhooks.send_waiting": SENDS,
    "webhooks.send_hook_job": SENDS,
    "register.create_once": HANDED,
    "records.found_or_made": HANDED,
    "records.record_once": HANDED,
}
QUERIES = {
    "calendars.address_for": "whoever holds an address's secret is its reader; nobody is logged in",
    "calendars.events_for": "what the holder of an address sees is the address's, not a user's",
}


def functions(room: str) -> Iterator[tuple[str, ast.FunctionDef]]:
    """Public functions of a room by "file.name"."""
    for path in sorted((ROOT / "fleet" / room).rglob("*.py")):
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield f"{path.stem}.{node.name}", node


def positional(node: ast.FunctionDef) -> list[str]:
    return [each.arg for each in (*node.args.posonlyargs, *node.args.args)]


def named(node: ast.FunctionDef) -> list[str]:
    return [each.arg for each in node.args.kwonlyargs]


def called(node: ast.AST) -> set[str]:
    """Names that it calls or hands on, whatever they hang on."""
    names = {each.attr for each in ast.walk(node) if isinstance(each, ast.Attribute)}
    return names | {each.id for each in ast.walk(node) if isinstance(each, ast.Name)}


def writes(node: ast.AST) -> bool:
    """Whether it is a call that writes a row. `update` takes names alone there: that of a dict, by place, isn't one."""
    if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
        return False
    return node.func.attr in WRITES or (node.func.attr == "update" and not node.args)


def writers() -> set[str]:
    """Names of functions of the services, private ones too, that write or call one that does."""
    bodies: dict[str, list[ast.FunctionDef]] = {}
    for path in sorted((ROOT / "fleet" / "services").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.FunctionDef):
                bodies.setdefault(node.name, []).append(node)
    names = {name: set().union(*(called(each) for each in nodes)) for name, nodes in bodies.items()}
    found = {name for name, nodes in bodies.items() if any(writes(each) for node in nodes for each in ast.walk(node))}
    while more := {name for name in names if names[name] & found} - found:
        found |= more
    return found


WRITERS = writers()


def faults_of_service(node: ast.FunctionDef) -> list[str]:
    said = [] if not positional(node) else ["takes arguments by place"]
    said += [] if "now" in named(node) else ["doesn't take `now`"]
    return said + ([] if node.name in WRITERS else ["writes nothing"])


def test_services_take_their_arguments_by_name_and_write() -> None:
    """But for those that call what they are handed: only the moment is missing where a row keeps none."""
    found = {name for name, node in functions("services") if positional(node) or node.name not in WRITERS}
    assert found == {name for name, why in SERVICES.items() if why == HANDED}


def test_services_write_by_named_arguments_and_take_the_moment() -> None:
    faults = {name: said for name, node in functions("services") if (said := faults_of_service(node))}
    assert {name: said for name, said in faults.items() if name not in SERVICES} == {}
    assert SERVICES.keys() - faults.keys() == set(), "keeps the law: take it off the list"


def test_queries_look_for_a_viewer() -> None:
    faults = {name for name, node in functions("queries") if "viewer" not in [*positional(node), *named(node)]}
    assert faults - QUERIES.keys() == set()
    assert QUERIES.keys() - faults == set(), "keeps the law: take it off the list"


def test_what_is_assessed_knows_nobody_and_writes_nothing() -> None:
    known = {name: {"viewer", "actor"} & {*positional(node), *named(node)} for name, node in functions("assess")}
    assert {name for name, people in known.items() if people} == set()


@pytest.mark.parametrize("room", ["assess", "queries", "presentation"])
def test_only_services_write(room: str) -> None:
    """A row is written by a call on a manager or a queryset: `objects.create(...)`, `filter(...).update(...)`."""
    found = []
    for path in sorted((ROOT / "fleet" / room).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if writes(node):
                found.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert found == []


# Where nothing keeps who did it, a name would be asked for and thrown away.
NO_COLUMN = "a row of the register has no column for who changed it"
OWN = "its row is the person's own"
WORK = "background work keeps what was asked for and not by whom"
CALLER = "its caller names the person in what it hands over"
NAMELESS = {
    **dict.fromkeys(["register.change_entry", "appliances.change_sheet"], NO_COLUMN),
    **dict.fromkeys(["limit_sets.change_limit_set", "contractor.change_contractor"], NO_COLUMN),
    **dict.fromkeys(["tenancies.begin_tenancy", "tenancies.change_tenancy"], NO_COLUMN),
    **dict.fromkeys(["webhooks.remove_hook", "webhooks.renew_secret"], NO_COLUMN),
    **dict.fromkeys(["alerts.put_on_call", "alerts.change_on_call", "alerts.take_off_call"], NO_COLUMN),
    "alerts.change_own_alerts": OWN,
    "access.set_password": OWN,
    "contractor.begin_with_manager": "nobody is there yet: the code that was printed stands for somebody",
    **dict.fromkeys(["audit.note", "audit.note_refused", "audit.note_view_refused"], "its `user` is whoever did it"),
    "access.note_token_used": "the token is its owner's",
    "access.ask_for_password_link": "whoever has forgotten a password is not logged in",
    **dict.fromkeys(["jobs.cancel_job", "jobs.retry_job", "webhooks.send_trial"], WORK),
    **dict.fromkeys(["register.create_entry", "register.create_once", "records.record_once"], CALLER),
    "calendars.keep_shown": "whoever holds an address's secret is its reader; nobody is logged in",
}


def asked_for_by_people() -> set[str]:
    """Services, by "file.name", that a page or an address of the API calls or hands on."""
    names = {name for name, _node in functions("services")}
    found = set()
    for room in ("api", "fleet/web"):
        for path in sorted((ROOT / room).rglob("*.py")):
            tree = ast.parse(path.read_text())
            for node in ast.walk(tree):
                if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("fleet.services."):
                    found |= {f"{(node.module or '').rsplit('.', 1)[-1]}.{each.name}" for each in node.names}
                elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                    found.add(f"{node.value.id}.{node.attr}")
    return found & names


def test_what_a_person_does_names_the_person() -> None:
    """What is kept with somebody's name, in a row, a record or the log, is asked for who did it."""
    people = asked_for_by_people()
    assert len(people) > 60, "it no longer sees what pages and API call"
    services = [(name, node) for name, node in functions("services") if name in people]
    assert {name for name, node in services if "actor" not in named(node)} == NAMELESS.keys()


def test_whoever_is_asked_for_is_kept() -> None:
    """A service that takes `actor` looks at it: it keeps, logs or asks for what they may."""
    services = [(name, node) for name, node in functions("services") if "actor" in named(node)]
    assert [name for name, node in services if not any("actor" in called(each) for each in node.body)] == []
