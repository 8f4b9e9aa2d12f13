"""Runs the benchmarks, prints their figures and leaves them in var/bench.json.

make bench                              all of them
make bench ARGS="combustion_states"     the named modules of tests/benchmarks
make bench ARGS=--check                 says what got worse than kept.json and ends with 2 if anything did
make bench ARGS=--keep                  makes this run's figures the kept ones

A goal that isn't met is said, no more. A module that fails is said and ends the run with 1, after the others.
"""

import argparse
import importlib
import json
import os
import pkgutil
import platform
import traceback
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import scipy

import tests.benchmarks
from tests.benchmarks import kept
from tests.benchmarks.form import checked, table

RESULTS = Path("var/bench.json")
KEPT = Path(__file__).with_name("kept.json")
FAILED, WORSE = 1, 2


def main(argv: Sequence[str] | None = None) -> int:
    asked = _arguments(argv)
    measured, failed = measure(_benchmarks(asked.modules))
    print(table(measured))
    RESULTS.parent.mkdir(exist_ok=True)
    RESULTS.write_text(json.dumps({"machine": machine(), "figures": measured}, indent=1, ensure_ascii=False) + "\n")
    before = kept.read_kept(KEPT)
    fell = kept.worse(measured, before)
    fell += [f"{name}: kept, but not measured" for name in kept.missing(measured, before) if not asked.modules]
    if fell:
        print("\nWorse than kept:", *fell, sep="\n  ")
    if failed:
        print(f"\nFailed: {', '.join(failed)}")
        return FAILED
    if asked.keep:
        kept.keep(measured, machine(), KEPT)
    return WORSE if asked.check and fell else 0


def _arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="make bench", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("modules", nargs="*", help="names of modules in tests/benchmarks; without any, all")
    parser.add_argument("--keep", action="store_true", help="write the figures to kept.json, unless a module fails")
    parser.add_argument("--check", action="store_true", help="end with 2 if a figure is worse than kept")
    return parser.parse_args(argv)


def _benchmarks(names: Sequence[str]) -> list[str]:
    """The chosen modules of the folder, or all."""
    there = [each.name for each in pkgutil.iter_modules(tests.benchmarks.__path__)]
    if unknown := sorted(set(names) - set(there)):
        raise SystemExit(f"no such benchmark: {', '.join(unknown)}")
    return [f"tests.benchmarks.{name}" for name in names or there]


def measure(modules: Iterable[str]) -> tuple[list[dict[str, Any]], list[str]]:
    """The figures of the modules that give any, and the names of those modules that failed."""
    measured: list[dict[str, Any]] = []
    failed: list[str] = []
    for name in modules:
        try:
            module = importlib.import_module(name)
            if hasattr(module, "figures"):
                measured += [checked(figure) for figure in module.figures()]
        except Exception:  # whatever it is, the others are still to be measured
            traceback.print_exc()
            failed.append(name)
    return measured, failed


def machine() -> dict[str, Any]:
    """What the figures were measured on."""
    return {
        "cpu": _cpu_model(),
        "cores": len(os.sched_getaffinity(0)),
        "threads": os.environ.get("OMP_NUM_THREADS", "not set"),
        "system": platform.platform(),
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
    }


def _cpu_model() -> str:
    file = Path("/proc/cpuinfo")
    lines = file.read_text().splitlines() if file.exists() else []
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return next(iter(models), platform.processor() or platform.machine())


if __name__ == "__main__":
    raise SystemExit(main())
