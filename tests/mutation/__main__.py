"""Mutation tests: changes formulas one at a time and reports the changes that no test detects.

    python -m tests.mutation [--seed S] [--count N] [--jobs J] [FILE | FILE:LINE …]

An undetected change means a missing test, or has no effect. Needs the extra `mutation`; takes minutes.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import signal
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

from tests.mutation.mutants import Mutant, of_line, sample
from tests.mutation.seeing_tests import SeeingTests
from tests.mutation.trial import load_libraries, passes, seconds_of

_FOLDERS = ("rules/balance", "rules/bending", "rules/cutting", "rules/grip", "rules/random_vectors", "rules/runout")
_BY_NEAR, _BY_ANY = "by the tests near it", "by any test of the rules"
_SPARE_S, _SPARE_TIMES = 20.0, 4.0  # limits the time of a change that causes an endless loop


def _survives(mutant: Mutant, tiers: list[list[Path]], seconds: float) -> bool:
    change = (mutant.module, mutant.path, mutant.source())
    return all(passes(tier, seconds, change) for tier in tiers if tier)


def _tried(
    pool: ProcessPoolExecutor, mutants: list[Mutant], tiers: dict[str, list[list[Path]]], said: str
) -> tuple[list[Mutant], list[Mutant]]:
    """Run the tests of each mutant; return the mutants that were run and those that no test detected."""
    files = sorted({file for of_module in tiers.values() for tier in of_module for file in tier})
    seconds = _SPARE_S + _SPARE_TIMES * pool.submit(seconds_of, files).result()
    trials = {pool.submit(_survives, each, tiers[each.module], seconds): each for each in mutants}
    tried, survived = [], []
    try:
        for trial in as_completed(trials):
            tried.append(trials[trial])
            print(f"tried {len(tried)} of {len(mutants)}", end="\r", file=sys.stderr, flush=True)
            if trial.result():
                survived.append(trials[trial])
                print(f"not seen {said}: {trials[trial].told()}", flush=True)
    except KeyboardInterrupt:
        pool.shutdown(wait=False, cancel_futures=True)
        survived += [mutant for mutant in mutants if mutant not in tried] if said == _BY_ANY else []
    return tried, survived


def _chosen(places: list[str], count: int, seed: int) -> list[Mutant]:
    lines = [place.rpartition(":") for place in places if ":" in place]
    files = [Path(place) for place in places if ":" not in place]
    if not places:
        files = [path for folder in _FOLDERS for path in Path(folder).glob("*.py") if path.read_text(encoding="utf-8")]
    return [mutant for path, _, line in lines for mutant in of_line(Path(path), int(line))] + sample(files, count, seed)


def _table(mutants: list[Mutant], survived: list[Mutant]) -> list[str]:
    lines = [f"{'file':44}{'mutants':>8}{'killed':>8}{'survived':>9}"]
    every, left = Counter(str(mutant.path) for mutant in mutants), Counter(str(mutant.path) for mutant in survived)
    folders = {name: [path for path in every if path.startswith(name)] for name in _FOLDERS}
    rows = [(path, every[path], left[path]) for path in sorted(every)]
    rows += [(name, sum(every[path] for path in of), sum(left[path] for path in of)) for name, of in folders.items()]
    rows.append(("all", len(mutants), len(survived)))
    lines += [f"{name:44}{n:8}{n - gone:8}{gone:9}  {(n - gone) / n:6.1%}" for name, n, gone in rows if n]
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__.partition("\n")[0])
    parser.add_argument("places", nargs="*", metavar="FILE[:LINE]", help="default: the folders with formulas")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=300, help="about how many mutants over all files")
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()

    signal.signal(signal.SIGINT, signal.default_int_handler)  # also where a shell started it in the background
    mutants = _chosen(asked.places, asked.count, asked.seed)
    random.Random(asked.seed).shuffle(mutants)  # so that a run that is broken off has tried a fair part
    seeing = SeeingTests()
    tiers = {module: seeing.tiers(module) for module in sorted({mutant.module for mutant in mutants})}
    load_libraries()
    with ProcessPoolExecutor(asked.jobs, mp_context=multiprocessing.get_context("fork")) as pool:
        tried, survived = _tried(pool, mutants, {module: of[:2] for module, of in tiers.items()}, _BY_NEAR)
        if survived and len(tried) == len(mutants):
            _, survived = _tried(pool, survived, {module: of[2:] for module, of in tiers.items()}, _BY_ANY)
    print(*_table(tried, survived), sep="\n")


if __name__ == "__main__":
    main()
