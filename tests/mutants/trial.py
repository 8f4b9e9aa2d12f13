"""One trial: in a forked child, a room's tests run against one mutated module.

The parent has imported what takes seconds (numpy, scipy, hypothesis, pytest) and nothing of the service, so a child
starts at once and imports the service itself, the mutated module from its changed tree.
"""

import ast
import doctest  # noqa: F401
import importlib.machinery
import importlib.util
import json
import os
import resource
import sys
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import CodeType
from typing import NoReturn

import hypothesis.internal.conjecture.engine  # noqa: F401
import numpy  # noqa: F401
import pytest
import scipy.stats  # noqa: F401
from hypothesis import HealthCheck, Phase, settings

# Exit statuses beside pytest's own.
NOT_RUN, NEVER_IMPORTED = 98, 99
MEMORY_BYTES = 4 << 30
OPTIONS = ("-x", "-q", "--assert=plain", "--noconftest", "--tb=short", "-W", "ignore::pytest.PytestConfigWarning")

# Any failing example will do, it need not be the smallest. A test that names its number of examples keeps it.
settings.register_profile(
    "mutants",
    max_examples=20,
    deadline=None,
    derandomize=True,
    database=None,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)


@dataclass(frozen=True)
class Target:
    """The module under trial: its path from the project's root, as fleet/limits/decision.py, and what it held."""

    path: str
    source: str

    @property
    def module(self) -> str:
        return self.path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")

    @property
    def tests(self) -> str:
        """Folder of the room's tests."""
        return f"tests/{Path(self.path).parent.name}"

    @property
    def own_tests(self) -> str:
        """Its own test file, which need not be there."""
        return f"{self.tests}/test_{Path(self.path).name}"

    def tree(self) -> ast.Module:
        return ast.parse(self.source, self.path)


def run_trial(
    target: Target, tree: ast.Module, files: Sequence[str], seconds: Mapping[str, float], output: Path | None = None
) -> NoReturn:
    """Run the tests in this process, which ends with pytest's exit status, NEVER_IMPORTED or, after a fault, NOT_RUN.

    seconds : what each test took before; the module's own tests come first, and of those and the others the quickest.
    output : a file for what pytest says, with the seconds of each test beside it; without one it goes nowhere.
    """
    status = NOT_RUN
    try:
        _stand_alone(output)
        finder = _Mutated(target, compile(tree, target.path, "exec", dont_inherit=True))
        sys.meta_path.insert(0, finder)
        settings.load_profile("mutants")
        order = _Order(target.own_tests, seconds)
        status = int(pytest.main([*OPTIONS, *files], plugins=[order]))
        if output:
            timings_beside(output).write_text(json.dumps(order.took))
        if not finder.used:
            status = NEVER_IMPORTED
    finally:
        sys.stdout.flush()
        os._exit(status)  # never back into the parent's code


def timings_beside(output: Path) -> Path:
    return output.with_suffix(".json")


def _stand_alone(output: Path | None) -> None:
    """A process group and bounds of its own, no word to the parent's terminal, no plugin that nobody asked for."""
    os.setpgid(0, 0)
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    sink = os.open(output or os.devnull, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(sink, 1)
    os.dup2(sink, 2)
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    # Some thousand children that compile every test file anew would take twice as long.
    sys.dont_write_bytecode = False


class _Mutated(importlib.machinery.SourceFileLoader):
    """Finds one module and loads it from other code than its file's."""

    def __init__(self, target: Target, code: CodeType) -> None:
        super().__init__(target.module, str(Path(target.path).resolve()))
        self.code, self.used = code, False

    def find_spec(self, name: str, *_: object) -> importlib.machinery.ModuleSpec | None:
        return importlib.util.spec_from_file_location(name, self.path, loader=self) if name == self.name else None

    def get_code(self, fullname: str) -> CodeType:
        self.used = True
        return self.code


class _Order:
    """Runs the likeliest and quickest tests first and keeps what each took."""

    def __init__(self, own_tests: str, seconds: Mapping[str, float]) -> None:
        self.own_tests, self.seconds = own_tests, seconds
        self.took: defaultdict[str, float] = defaultdict(float)

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items.sort(key=lambda item: (not item.nodeid.startswith(self.own_tests), self.seconds.get(item.nodeid, 0.0)))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.took[report.nodeid] += report.duration
