"""The three laws of the map: services write, queries look for a viewer, what is assessed is only read."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
# Calls by which a row is written, on a manager, a queryset or a row.
WRITES = frozenset(
    {
        *("create", "get_or_create", "update_or_create", "bulk_create", "bulk_update"),
        *("update", "delete", "save", "add", "set", "clear", "set_password", "create_user"),
    }
)
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
    "register.add_client": OF_THE_REGISTER,
    "access.create_user": OF_THE_REGISTER,
    "access.create_token": "the library that keeps tokens reads the moment itself",
    "access.revoke_token": "the token's row goes, and nothing keeps when",
    "calendars.renew_address": OF_THE_REGISTER,
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


def writers() -> set[str]:
    """Names of functions of the services, private ones too, that write or call one that does."""
    bodies: dict[str, set[str]] = {}
    for path in sorted((ROOT / "fleet" / "services").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.FunctionDef):
                bodies.setdefault(node.name, set()).update(called(node))
    found = {name for name, names in bodies.items() if names & WRITES}
    while more := {name for name, names in bodies.items() if names & found} - found:
        found |= more
    return found


WRITERS = writers()


def faults_of_service(node: ast.FunctionDef) -> list[str]:
    said = [] if not positional(node) else ["takes arguments by place"]
    said += [] if "now" in named(node) else ["doesn't take `now`"]
    return said + ([] if node.name in WRITERS else ["writes nothing"])


def test_services_take_their_arguments_by_name_and_write() -> None:
    """Without exception: only the moment is missing where a row keeps none."""
    found = {name for name, node in functions("services") if positional(node) or node.name not in WRITERS}
    assert found == set()


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


ORM_WRITES = WRITES - {"add", "set", "update", "clear", "delete"}  # a set or a dict has these as well


@pytest.mark.parametrize("room", ["assess", "queries", "presentation"])
def test_only_services_write(room: str) -> None:
    """A row is written by a call on a manager or a queryset: `objects.create(...)`, `filter(...).update(...)`."""
    found = []
    for path in sorted((ROOT / "fleet" / room).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and _is_write(node.func):
                found.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.func.attr}")
    assert found == []


def _is_write(function: ast.Attribute) -> bool:
    asks_database = {"objects", "_default_manager", "filter", "exclude"} & called(function.value)
    return function.attr in ORM_WRITES or (function.attr in {"update", "delete"} and bool(asks_database))


PEOPLE_DO = (
    *("record_", "amend_", "review_", "attach_", "make_", "copy_", "import_", "resolve_question", "resolve_held"),
    *(
        "add_required_check",
        "begin_out",
        "end_out",
        "convert_",
        "replace_",
        "book_day",
        "release_day",
        "acknowledge_",
        "close_flag",
    ),
    *("change_", "renew_secret", "renew_address", "remove_hook", "allow_", "disallow_", "create_token", "revoke_token"),
    *("put_on_call", "take_off_call", "add_gas_supply", "cancel_job", "retry_job"),
)
# Neither a column nor a record nor the log keeps who did these: a name would be asked for and thrown away.
NAMELESS = {
    *(
        "change_entry",
        "change_appliance",
        "change_sheet",
        "change_building",
        "change_gas_supply",
        "change_required_check",
    ),
    *("change_assignment", "change_limit_set", "change_tenancy", "change_contractor", "change_hook"),
    *("change_own_alerts", "change_on_call", "put_on_call", "take_off_call", "renew_secret", "renew_address"),
    *("remove_hook", "add_gas_supply", "cancel_job", "retry_job"),
}


def test_what_a_person_does_names_the_person() -> None:
    """What is kept with somebody's name, in a record or in the log, is asked for who did it."""
    acts = [node for _name, node in functions("services") if node.name.startswith(PEOPLE_DO)]
    assert {node.name for node in acts if "actor" not in named(node)} == NAMELESS | {"record_once"}
