"""Mutation testing: ``python tests/mutation.py --count 300 --seed 1`` (or ``nox -s mutation``).

Each mutant is one small change of the source, drawn from a seed, the same number in each room. It
is killed if a test that runs the changed line fails; tried are the quickest of them, those of the
nearest file first, `_LONGEST_S` seconds in all. Changes of annotations and of decorators are left
out: nothing runs them; so are those of one negative length of `reshape` to another, which say the
same. Mutants that live are printed; `tests/mutation_survivors.csv` says why those
may that are known to; they are counted as living without being tried, but under `--listed-too`.

Cosmic Ray makes the mutants, Coverage.py says which tests see what; how long a test takes is
measured in seconds of processor, so that a busy machine kills none.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import csv
import json
import os
import random
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import import_module
from itertools import accumulate, islice
from pathlib import Path
from typing import Any

__all__ = ["Mutant", "drawn"]

ROOT = Path(__file__).resolve().parents[1]
ROOMS = {
    "optics": ("optics",),
    "prediction": ("prediction",),
    "match": ("recipes", "search", "match"),
    "pours": ("workshop/pour",),
    "posterior": ("workshop/panel/posterior.py",),
    "readings": ("io/readings.py",),
}
TESTS = (
    *(
        f"tests/unit/{room}"
        for room in (
            *("optics", "prediction", "recipes", "search", "match", "workshop", "io", "model"),
            "decks",
        )
    ),
    *("tests/property", "tests/outside", "tests/cli/test_batch.py", "tests/cli/test_bad_input.py"),
    *("tests/cli/test_spectral_target.py", "tests/unit/test_tables.py"),
)
SURVIVORS = ROOT / "tests" / "mutation_survivors.csv"
_COPIED = ("src", "tests", "toners", "examples", "pyproject.toml", "README.md", "DEVELOPERS.md")
_LONGEST_S, _LONGEST_TEST_S, _LONGEST_OTHERS_S = 30.0, 15.0, 5.0
# A mutant may make the tests this much slower before that alone is taken for a failure.
_SLOWER, _SPARE_S = 4.0, 20
_SWAPS = {
    ("Add", "Sub"),
    ("Sub", "Add"),
    ("Mul", "Div"),
    ("Div", "Mul"),
    ("FloorDiv", "Div"),
    ("Mod", "Mul"),
    ("Pow", "Mul"),
    ("BitOr", "BitAnd"),
    ("BitAnd", "BitOr"),
}
_COMPARED = {
    ("Eq", "NotEq"),
    ("NotEq", "Eq"),
    ("Lt", "LtE"),
    ("Lt", "Gt"),
    ("LtE", "Lt"),
    ("LtE", "Gt"),
    ("Gt", "GtE"),
    ("Gt", "Lt"),
    ("GtE", "Gt"),
    ("GtE", "Lt"),
    ("Is", "IsNot"),
    ("IsNot", "Is"),
}
_OTHERS = (
    *("NumberReplacer", "AddNot", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue"),
    *("ReplaceAndWithOr", "ReplaceOrWithAnd", "ReplaceBreakWithContinue"),
    *("ReplaceContinueWithBreak", "ExceptionReplacer", "ZeroIterationForLoop"),
    *("ReplaceUnaryOperator_USub_UAdd", "ReplaceUnaryOperator_Delete_Not"),
)
# A length that numpy is to work out.
_LENGTH = re.compile(r"(reshape\([\w, ().]*)-\s*[1-9]\d*")


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change of one file.

    Parameters
    ----------
    room, file
        Where it is; `file` from the project's root.
    line
        The first line that differs.
    old, new
        What stood there and what stands there now, without the space around it.
    code
        The changed file.
    """

    room: str
    file: str
    line: int
    old: str
    new: str
    code: str


@dataclass(frozen=True, slots=True, order=True)
class _Place:
    """The n-th of the places of a file that an operator may change."""

    file: str
    line: int
    operator: str
    number: int


def _places(root: Path, file: Path) -> Iterator[_Place]:
    """Where a file may be changed, annotations and decorators left out."""
    from cosmic_ray.ast import ast_nodes, get_ast
    from cosmic_ray.plugins import get_operator

    source = file.read_text(encoding="utf-8")
    silent = _silent(ast.parse(source))
    nodes = list(ast_nodes(get_ast(source)))
    for name in _operators():
        operator = get_operator(f"core/{name}")()
        positions = [each for node in nodes for each in operator.mutation_positions(node)]
        for number, (at, _) in enumerate(positions):
            if not any(start <= at < stop for start, stop in silent):
                yield _Place(str(file.relative_to(root)), at[0], name, number)


def _mutant(root: Path, room: str, place: _Place) -> Mutant | None:
    """The mutant of a place; None if it is the same code, or none at all."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    source = (root / place.file).read_text(encoding="utf-8")
    code = mutate_code(source, get_operator(f"core/{place.operator}")(), place.number)
    with contextlib.suppress(SyntaxError):
        if code is None or ast.dump(ast.parse(code)) == ast.dump(ast.parse(source)):
            return None
        return _first_line(room, place, source, code)
    return None


def _first_line(room: str, place: _Place, source: str, code: str) -> Mutant | None:
    pairs = zip(source.splitlines(), code.splitlines(), strict=False)
    for line, (old, new) in enumerate(pairs, 1):
        if old != new:
            if re.sub(r"\*\s*,", "/,", old) == new:
                return None  # what parts parameters is no operator
            if _LENGTH.sub(r"\1-1", old) == _LENGTH.sub(r"\1-1", new):
                return None  # numpy works out any negative length
            return Mutant(room, place.file, line, old.strip(), new.strip(), code)
    return None


def _operators() -> list[str]:
    swaps = [f"ReplaceBinaryOperator_{a}_{b}" for a, b in sorted(_SWAPS)]
    return [*swaps, *(f"ReplaceComparisonOperator_{a}_{b}" for a, b in sorted(_COMPARED)), *_OTHERS]


def _silent(tree: ast.AST) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """From where to where nothing is run: annotations, decorators, imports for types alone."""
    found: list[Any] = []
    for node in ast.walk(tree):
        found += getattr(node, "decorator_list", ())
        for name in ("annotation", "returns"):
            if isinstance(getattr(node, name, None), ast.expr):
                found.append(getattr(node, name))
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            found += [node.test, *node.body]
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]).startswith("__"):
            found.append(node)
    return [((n.lineno, n.col_offset), (n.end_lineno, n.end_col_offset)) for n in found]


class Seen:
    """Which tests run which lines, and how long they take [s of processor]."""

    def __init__(self, place: Path) -> None:
        self.place = place
        self.lines: dict[str, dict[int, set[str]]] = {}
        self.seconds: dict[str, float] = {}

    def measure(self) -> None:
        """Run the tests once, unchanged."""
        out = self.place / "seen.json"
        script = str(self.place / "tests" / "mutation.py")
        command = [sys.executable, script, "--see", str(out)]
        subprocess.run(command, cwd=self.place, env=_environment(self.place), check=True)
        self.load()

    def load(self) -> None:
        """Take what was measured."""
        found = json.loads((self.place / "seen.json").read_text(encoding="utf-8"))
        self.seconds = found["seconds"]
        tests = list(self.seconds)
        for file, lines in found["lines"].items():
            self.lines[file] = {int(n): {tests[i] for i in those} for n, those in lines.items()}

    def tests_for(self, mutant: Mutant) -> list[str]:
        """The quickest tests that run the line, and some that run others of its file.

        What is worked out once a process, such as a table, is seen to be run by the first test
        alone that needs it.
        """
        lines = self.lines.get(mutant.file, {})
        direct = lines.get(mutant.line, set())
        others = set().union(*lines.values()) - direct
        chosen = [*self._quickest(direct, _LONGEST_S), *self._quickest(others, _LONGEST_OTHERS_S)]
        files: dict[str, float] = defaultdict(float)
        for test in chosen:
            files[_file_of(test)] += self.seconds[test]

        def order(test: str) -> tuple[bool, float, str, float]:
            file = _file_of(test)
            far = Path(file).stem != f"test_{Path(mutant.file).stem}"
            return far, files[file], file, self.seconds[test]

        return sorted(chosen, key=order)

    def _quickest(self, tests: set[str], within: float) -> list[str]:
        ordered = sorted(tests, key=lambda test: (self.seconds[test], test))
        spent = accumulate(self.seconds[test] for test in ordered)
        return [
            test
            for test, until in zip(ordered, spent, strict=True)
            if until <= within and self.seconds[test] <= _LONGEST_TEST_S
        ]


def _file_of(test: str) -> str:
    return test.partition("::")[0]


def _see(out: Path) -> None:
    """Run the tests in this process; write which of them run which lines."""
    import coverage
    import pytest

    place = Path.cwd()
    measured = coverage.Coverage(data_file=None, source=[str(place / "src")], messages=False)
    seconds: dict[str, float] = {}

    class Watch:
        def pytest_runtest_logstart(self, nodeid: str) -> None:
            measured.switch_context(nodeid)
            self.started = time.process_time()

        def pytest_runtest_logfinish(self, nodeid: str) -> None:
            seconds[nodeid] = time.process_time() - self.started

    measured.start()
    code = pytest.main([*_QUIET, *TESTS], plugins=[Watch()])
    measured.stop()
    assert code == 0, "the tests fail without a mutant"
    number = {test: i for i, test in enumerate(seconds)}
    data = measured.get_data()
    lines: dict[str, dict[int, list[int]]] = {}
    rooms = [place / "src" / "fewtone" / path for paths in ROOMS.values() for path in paths]
    for file in data.measured_files():
        if any(Path(file).is_relative_to(room) for room in rooms):
            contexts = data.contexts_by_lineno(file)
            name = str(Path(file).relative_to(place))
            lines[name] = {n: [number[c] for c in found if c] for n, found in contexts.items()}
    out.write_text(json.dumps({"lines": lines, "seconds": seconds}), encoding="utf-8")


_QUIET = ("-q", "-x", "-n", "0", "-p", "no:cacheprovider", "--no-header", "--tb=no")
# Long to import, and no part of what is changed.
_IMPORTED_ONCE = ("hypothesis", "mpmath", "pytest", "scipy.interpolate", "scipy.optimize", "typer")
_FOREIGN = 99


def _environment(place: Path) -> dict[str, str]:
    return {
        **os.environ,
        "PYTHONPATH": f"{place / 'src'}{os.pathsep}{os.environ.get('PYTHONPATH', '')}",
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
    }


def outcome(mutant: Mutant, seen: Seen) -> str:
    """What became of a mutant: killed, late, lives, or unseen if no test runs it."""
    tests = seen.tests_for(mutant)
    if not tests:
        return "unseen"
    file = seen.place / mutant.file
    kept, as_it_was = file.read_bytes(), file.stat()
    limit = int(_SLOWER * sum(seen.seconds[test] for test in tests)) + _SPARE_S
    try:
        file.write_text(mutant.code, encoding="utf-8")
        status = _status(seen.place, tests, limit)
    finally:
        file.write_bytes(kept)
        os.utime(file, ns=(as_it_was.st_atime_ns, as_it_was.st_mtime_ns))
    if os.WIFSIGNALED(status):
        return "late"
    code = os.waitstatus_to_exitcode(status)
    if code in (5, _FOREIGN):
        raise RuntimeError(f"{mutant.file}:{mutant.line}: its tests were not run ({code})")
    return "killed" if code else "lives"


def _status(place: Path, tests: list[str], limit: int) -> int:
    """How tests end that are run in a fork, so that only what is changed is imported again."""
    child = os.fork()
    if child == 0:
        code = _FOREIGN
        try:
            code = _run(place, tests, limit)
        finally:
            os._exit(code)
    return os.waitpid(child, 0)[1]


def _run(place: Path, tests: list[str], limit: int) -> int:
    import pytest
    from hypothesis import Phase, settings

    resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 5))
    resource.setrlimit(resource.RLIMIT_AS, (4_000_000_000, 4_000_000_000))
    os.chdir(place)
    os.environ.update(_environment(place), PYTHONDONTWRITEBYTECODE="1")
    sys.dont_write_bytecode = True
    sys.path[:] = [
        str(place / "src"),
        *(path for path in sys.path if not Path(path).resolve().is_relative_to(ROOT / "src")),
    ]
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
    # The first example that fails is enough.
    phases = (Phase.explicit, Phase.generate)
    settings.register_profile("first", derandomize=True, deadline=None, phases=phases)
    files = list(dict.fromkeys(map(_file_of, tests)))
    imported_before = "ignore::pytest.PytestAssertRewriteWarning"
    words = [*_QUIET, "-W", imported_before, "--hypothesis-profile=first", *files]
    code = pytest.main(words, plugins=[_Chosen(tests)])
    home = getattr(sys.modules.get("fewtone"), "__file__", None) or str(place)
    return int(code) if Path(home).is_relative_to(place) else _FOREIGN


class _Chosen:
    """Of what pytest collects these tests, in this order."""

    def __init__(self, tests: list[str]) -> None:
        self.places = {test: place for place, test in enumerate(tests)}

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        """Leave the others out."""
        items[:] = [item for item in items if item.nodeid in self.places]
        items.sort(key=lambda item: self.places[item.nodeid])


def _ready(place: Path) -> None:
    """Compile what is changed, and the tests, once; import what is not."""
    command = [sys.executable, "-m", "pytest", *_QUIET, "--collect-only", *TESTS]
    said = subprocess.run(command, cwd=place, env=_environment(place), capture_output=True)  # noqa: PLW1510
    assert said.returncode == 0, said.stdout.decode()[-2000:]
    for name in _IMPORTED_ONCE:
        import_module(name)


def drawn(root: Path, count: int, seed: int, rooms: Iterable[str] = ROOMS) -> list[Mutant]:
    """So many mutants of the project there, as many of each of all rooms; those of some rooms."""
    chosen: list[Mutant] = []
    for room in rooms:
        places: list[_Place] = []
        for path in ROOMS[room]:
            inside = root / "src" / "fewtone" / path
            for file in sorted(inside.rglob("*.py")) if inside.is_dir() else [inside]:
                places += _places(root, file)
        random.Random(f"{seed}:{room}").shuffle(places)
        found = (_mutant(root, room, place) for place in places)
        chosen += islice((m for m in found if m is not None), -(-count // len(ROOMS)))
    return chosen


def _reasons() -> dict[tuple[str, str, str], str]:
    """Why mutants may live: by file, what stood there and what stands there."""
    with SURVIVORS.open(encoding="utf-8", newline="") as file:
        return {(r["file"], r["old"], r["new"]): r["reason"] for r in csv.DictReader(file)}


def _gone(reasons: Iterable[tuple[str, str, str]]) -> Iterator[str]:
    """Listed survivors whose line is no longer there, as a person reads it."""
    for file, old, _ in reasons:
        path = ROOT / file
        lines = path.read_text(encoding="utf-8").splitlines() if path.is_file() else []
        if old not in map(str.strip, lines):
            yield f"{file}: {old}"


def _main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--room", choices=ROOMS, action="append")
    parser.add_argument("--listed-too", action="store_true", help="try the listed survivors anew")
    parser.add_argument("--seen", type=Path, help="keep there what the tests see, or take it")
    parser.add_argument("--see", type=Path, help=argparse.SUPPRESS)
    said = parser.parse_args()
    if said.see:
        _see(said.see)
        return 0
    reasons = _reasons()
    for line in _gone(reasons):
        print(f"listed, and no longer there: {line}")
    results: dict[str, list[str]] = defaultdict(list)
    with tempfile.TemporaryDirectory(prefix="mutation-") as folder:
        place = Path(folder)
        for name in _COPIED:
            copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
            copy(ROOT / name, place / name)
        seen = Seen(place)
        if said.seen and said.seen.is_file():
            shutil.copy(said.seen, place / "seen.json")
            seen.load()
        else:
            seen.measure()
            if said.seen:
                shutil.copy(place / "seen.json", said.seen)
        _ready(place)
        for mutant in drawn(place, said.count, said.seed, said.room or ROOMS):
            why = reasons.get((mutant.file, mutant.old, mutant.new), "")
            became = "lives" if why and not said.listed_too else outcome(mutant, seen)
            results[mutant.room].append(became)
            if became in ("lives", "unseen"):
                print(f"{became} {mutant.file}:{mutant.line}", f"  - {mutant.old}", sep="\n")
                print(f"  + {mutant.new}", f"  {why or 'no reason is given'}", sep="\n", flush=True)
    every = [became for room in results.values() for became in room]
    for room, those in results.items():
        print(f"{room}: {_killed(those)} of {len(those)} killed")
    share = _killed(every) / len(every)
    print(f"seed {said.seed}: {_killed(every)} of {len(every)} killed, {share:.0%}")
    return share < 0.9


def _killed(became: list[str]) -> int:
    return sum(each in ("killed", "late") for each in became)


if __name__ == "__main__":
    sys.exit(_main())
