"""Mutation testing of the rooms that judge. tests/mutants.md says what it does and how to read it.

make mutants                                    both rooms; what has a result already isn't tried again
make mutants ARGS="fleet/limits/decision.py"    one module or room
make mutants ARGS="--sample 100 --seed 1"       some of all, for a quick look
make mutants ARGS="--survivors"                 only what survived, after tests were added
make mutants ARGS="--count"                     how many there are
"""

import argparse
import hashlib
import json
import random
import re
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from tests.mutants.mutator import Mutant, mutants
from tests.mutants.pool import baseline, outcomes
from tests.mutants.trial import Target

ROOMS = ("fleet/combustion", "fleet/limits")
RESULTS = Path("var/mutants.json")
SAVED_EVERY_S = 20.0
# A trial has no database, no browser and no Django set up.
NEEDS_MORE = re.compile(
    r"^\s*(from|import) (django|rest_framework|playwright|api|reports|fleet\.(models|queries|services|intake|web))\b",
    re.MULTILINE,
)

COUNTED = ("mutants", "tried", "killed", "timeout", "survived", "seconds", "timed")

Entry = dict[str, Any]


def main(argv: Sequence[str] | None = None) -> int:
    asked = _arguments(argv)
    made = {target: mutants(target.tree()) for target in _targets(asked.modules)}
    if asked.count:
        _print_counts(made)
        return 0
    drawn = _drawn(made, asked.sample, asked.seed)
    entries = {} if asked.fresh else _saved()
    ready: dict[str, tuple[list[str], dict[str, float]]] = {}
    for target, every in made.items():
        entry = entries[target.path] = _begun(entries.get(target.path), target, every, survivors=asked.survivors)
        todo = [each for each in every if (target.path, each.key) in drawn and each.key not in entry["results"]]
        if todo and target.tests not in ready:
            files = _test_files(target)
            ready[target.tests] = files, baseline(target, files)
        try:
            for _ in _try_all(target, todo, entry, *ready.get(target.tests, ([], {})), asked.workers):
                _save(entries, target, every)
        finally:  # also when interrupted
            _save(entries, target, every)
        print(_line(target.path, entry), flush=True)
    print()
    for room, figures in _rooms(entries).items():
        print(_line(room, figures))
    print(f"Each survivor with its line and change: {RESULTS}")
    return 0


def _arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="make mutants", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("modules", nargs="*", default=ROOMS, help="files or rooms; without any, both rooms")
    parser.add_argument("--workers", type=int, default=2, help="trials at a time")
    parser.add_argument("--sample", type=int, help="so many mutants, drawn from all of the chosen modules")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--survivors", action="store_true", help="keep what was killed, whatever became of the tests")
    parser.add_argument("--fresh", action="store_true", help="forget all earlier results")
    parser.add_argument("--count", action="store_true", help="say how many mutants there are and stop")
    return parser.parse_args(argv)


def _targets(modules: Sequence[str]) -> list[Target]:
    paths = [Path(each) for each in modules]
    if absent := [str(path) for path in paths if not path.exists()]:
        raise SystemExit(f"no such module or room: {', '.join(absent)}")
    files = [file for path in paths for file in (sorted(path.glob("*.py")) if path.is_dir() else [path])]
    return [Target(file.as_posix(), file.read_text()) for file in files]


def _print_counts(made: Mapping[Target, Sequence[Mutant]]) -> None:
    for target, every in made.items():
        print(f"{target.path:34}{len(every):6}")
    print(f"{'together':34}{sum(map(len, made.values())):6}")


def _drawn(made: Mapping[Target, Sequence[Mutant]], sample: int | None, seed: int) -> set[tuple[str, str]]:
    every = [(target.path, mutant.key) for target, mutants_of_it in made.items() for mutant in mutants_of_it]
    return set(every if sample is None else random.Random(seed).sample(every, min(sample, len(every))))


def _test_files(target: Target) -> list[str]:
    files = sorted(path.as_posix() for path in Path(target.tests).glob("test_*.py"))
    fit = [file for file in files if not NEEDS_MORE.search(Path(file).read_text())]
    if left_out := set(files) - set(fit):
        print(f"left out, as they need more than the room: {', '.join(sorted(left_out))}")
    if not fit:
        raise SystemExit(f"no tests for {target.path} in {target.tests}")
    return fit


def _begun(earlier: Entry | None, target: Target, every: Sequence[Mutant], *, survivors: bool) -> Entry:
    """What an earlier run found, as far as it still holds: for the same source, and the same tests or just the killed.

    A change of another module of the room starts nothing anew; --fresh does.
    """
    source = hashlib.sha256(target.source.encode()).hexdigest()
    tests = _hash(sorted(Path(target.tests).rglob("*.py")))
    entry: Entry = {"source": source, "tests": tests, "results": {}, "seconds": 0.0, "timed": 0}
    if earlier is None or earlier["source"] != source or not (survivors or earlier["tests"] == tests):
        return entry
    known = {mutant.key for mutant in every}
    kept = {key: outcome for key, outcome in earlier["results"].items() if key in known}
    if survivors:
        kept = {key: outcome for key, outcome in kept.items() if outcome != "survived"}
    return entry | {"results": kept, "seconds": earlier["seconds"], "timed": earlier["timed"]}


def _hash(files: Sequence[Path]) -> str:
    digest = hashlib.sha256()
    for file in files:
        digest.update(file.as_posix().encode() + b"\0" + file.read_bytes() + b"\0")
    return digest.hexdigest()


def _try_all(
    target: Target,
    todo: Sequence[Mutant],
    entry: Entry,
    files: Sequence[str],
    seconds: Mapping[str, float],
    workers: int,
) -> Iterator[None]:
    """Try each mutant and enter its outcome; yields now and then, for the results to be saved."""
    saved = time.monotonic()
    for mutant, outcome, took in outcomes(target, todo, files, seconds, workers):
        entry["results"][mutant.key] = outcome
        entry["seconds"] = round(entry["seconds"] + took, 3)
        entry["timed"] += 1
        if time.monotonic() - saved > SAVED_EVERY_S:
            saved = time.monotonic()
            yield


def _summary(every: Sequence[Mutant], results: Mapping[str, str]) -> Entry:
    counts = Counter(results.values())
    survivors = [
        {"line": each.line, "operator": each.operator, "before": each.before, "after": each.after}
        for each in every
        if results.get(each.key) == "survived"
    ]
    return {
        "mutants": len(every),
        "tried": len(results),
        "killed": counts["killed"],
        "timeout": counts["timeout"],
        "survived": counts["survived"],
        "survivors": survivors,
    }


def _rooms(entries: Mapping[str, Entry]) -> dict[str, Entry]:
    """The figures of each room, added up over its modules that have any."""
    rooms: dict[str, Counter[str]] = {}
    for path, entry in entries.items():
        room = rooms.setdefault(str(Path(path).parent), Counter())
        room.update({name: entry[name] for name in COUNTED})
    return {room: dict(figures) | {"score_pct": score_pct(figures)} for room, figures in rooms.items()}


def score_pct(figures: Mapping[str, Any]) -> float | None:
    """Share of the tried mutants that the tests noticed [%]; None where none was tried."""
    if not figures["tried"]:
        return None
    return round(100 * float(figures["killed"] + figures["timeout"]) / float(figures["tried"]), 1)


def _line(name: str, figures: Mapping[str, Any]) -> str:
    if not figures["tried"]:
        return f"{name:34}{figures['mutants']:5} mutants, none tried"
    each_s = figures["seconds"] / max(1, figures["timed"])
    return (
        f"{name:34}{figures['mutants']:5} mutants, {figures['tried']:5} tried: {figures['killed']:5} killed, "
        f"{figures['timeout']:3} timed out, {figures['survived']:4} survived; {score_pct(figures)} %, "
        f"{each_s:.2f} s each"
    )


def _saved() -> dict[str, Entry]:
    if not RESULTS.exists():
        return {}
    entries: dict[str, Entry] = json.loads(RESULTS.read_text())["modules"]
    return entries


def _save(entries: Mapping[str, Entry], target: Target, every: Sequence[Mutant]) -> None:
    """All results, those of this target summed up anew."""
    entries[target.path].update(_summary(every, entries[target.path]["results"]))
    RESULTS.parent.mkdir(exist_ok=True)
    partly = RESULTS.with_suffix(".partly")
    partly.write_text(json.dumps({"rooms": _rooms(entries), "modules": entries}, indent=1, ensure_ascii=False))
    partly.replace(RESULTS)


if __name__ == "__main__":
    raise SystemExit(main())
