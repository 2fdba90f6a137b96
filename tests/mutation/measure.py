"""Mutation testing of the two rooms in which a mistake would hurt: gcode_guard/space and gcode_guard/repair.

The mutants are those of mutmut (3.8, from PyPI; not among the test requirements). This script prepares a copy of a
commit, lets mutmut write every mutant into it, and then runs the tests that reach the mutated function, a process
forked for each mutant after everything is imported and collected: some tens of milliseconds each.

    python tests/mutation/measure.py FOLDER [--only space/hulls] [--again] [--tests tests/space ...] [--budget 6]

FOLDER keeps the copy and `results.json`; a second call goes on where the first stopped, `--again` takes up those that
survived, with the tests as they are now, and `--list` prints them. Wants git, and a machine on
which processes can be forked.
"""

from __future__ import annotations

import argparse
import ast
import difflib
import gc
import json
import os
import pickle
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

from _pytest.tmpdir import tmppath_result_key

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("space", "repair")
CONFIG = """[mutmut]
source_paths=
    gcode_guard
only_mutate=
    {}
use_git_change_detection=false
track_dependencies=false
"""
# mutmut leaves functions with a decorator alone: in the copy a property becomes a method and an assignment.
PROPERTY = re.compile(r"^    @(property|cached_property)\n    def (\w+)\(self\)(.*?):\n((?:(?:        .*)?\n)+?)"
                      r"(?=\n*    \S|\n*\S|\Z)", re.M)
KILLED, SURVIVED, TIMEOUT, UNREACHED = "killed", "survived", "timeout", "not reached"


def prepare(copy: Path, commit: str, files: list[str]) -> None:
    """The copy of a commit with all the mutants of these files, like `space/hulls` or `space/*`."""
    copy.mkdir(parents=True)
    archive = subprocess.run(["git", "archive", commit], cwd=ROOT, check=True, capture_output=True).stdout
    subprocess.run(["tar", "-x", "-C", str(copy)], input=archive, check=True)
    for path in (file for room in ROOMS for file in (copy / "gcode_guard" / room).glob("*.py")):
        text = PROPERTY.sub(lambda m: f"    def read_{m[2]}(self){m[3]}:\n{m[4].rstrip()}\n\n"
                                      f"    {m[2]} = {m[1]}(read_{m[2]})\n", path.read_text())
        assert "@property" not in text and "@cached_property" not in text, path
        path.write_text(text)
    (copy / "setup.cfg").write_text(CONFIG.format("\n    ".join(f"gcode_guard/{file}.py" for file in files)))
    os.chdir(copy)
    import mutmut.__main__ as mutmut

    mutmut.set_mutant_under_test("mutant_generation")
    Path("mutants").mkdir()
    mutmut.copy_src_dir()
    mutmut.copy_also_copy_files()
    mutmut.setup_source_paths()
    mutmut.create_mutants(1)


def mutants_of(copy: Path) -> list[str]:
    return [name for meta in sorted(copy.glob("mutants/gcode_guard/*/*.py.meta"))
            for name in json.loads(meta.read_text())["exit_code_by_key"]]


class Loop:
    """A plugin of pytest: in place of the run, one forked run for each mutant."""

    def __init__(self, names: list[str], results: dict[str, Any], save: Path, budget: float, reuse: bool) -> None:
        self.names, self.results, self.save, self.budget, self.reuse = names, results, save, budget, reuse
        self.kills: dict[str, Counter[str]] = defaultdict(Counter)

    def pytest_runtestloop(self, session: Any) -> bool:
        self.folders = session.config._tmp_path_factory
        self.folders.getbasetemp()
        self.items = {item.nodeid: item for item in session.items if _is_among_the_first(item)}
        reached, seconds = self._reach()
        for test in list(reached):  # once for all forks: this loads what is imported late
            if not self._passes(test):
                print("left out, since it fails without a mutant:", test, flush=True)
                del reached[test], seconds[test]
        order = self._order(seconds)
        gc.collect()
        gc.freeze()  # so that the collector does not write to every page of a fork
        gc.disable()
        without, _ = self._run("none", order, dict.fromkeys(order, 0.0))
        if without != SURVIVED:
            raise SystemExit("the tests do not pass in a fork without a mutant")
        begin = time.time()
        for number, name in enumerate(self.names):
            function = name.partition("__mutmut_")[0]
            tests = [test for test in order if function in reached[test]]
            first = [test for test, _ in self.kills[function].most_common(8)]
            first += [test for test, _ in self.kills["all"].most_common(20) if test in tests and test not in first]
            status, by = self._run(name, first + [test for test in tests if test not in first], seconds)
            self.results[name] = (status, by)
            if status == KILLED:
                self.kills[function][by] += 1
                self.kills["all"][by] += 1
            if number % 20 == 19 or number + 1 == len(self.names):
                self.save.write_text(json.dumps(self.results, indent=0))
                print(f"{number + 1} of {len(self.names)} after {time.time() - begin:.0f} s",
                      dict(Counter(self.results[n][0] for n in self.names[: number + 1])), flush=True)
        return True

    def _reach(self) -> tuple[dict[str, set[str]], dict[str, float]]:
        """Which functions each test runs through, and how long it takes: of all tests without a mutant, forked too."""
        place = self.save.with_suffix(".reach")
        child = os.fork() if not (self.reuse and place.exists()) else -1
        if child == 0:
            from mutmut.state import state

            found: dict[str, tuple[set[str], float]] = {}
            _activate("stats")
            for test in self.items:
                state()._stats.clear()
                begin = time.process_time()
                if self._passes(test):
                    found[test] = set(state()._stats), time.process_time() - begin
            place.write_bytes(pickle.dumps(found))
            os._exit(0)
        if child > 0 and os.waitpid(child, 0)[1]:
            raise SystemExit("the tests cannot be run without a mutant")
        found = {test: facts for test, facts in pickle.loads(place.read_bytes()).items() if test in self.items}
        print(f"{len(found)} tests take {sum(t for _, t in found.values()):.1f} s", flush=True)
        return {test: reach for test, (reach, _) in found.items()}, {test: t for test, (_, t) in found.items()}

    def _order(self, seconds: dict[str, float]) -> list[str]:
        """The first example of every test before the second of any, the quick ones first."""
        seen: Counter[str] = Counter()
        keys = {}
        for test in sorted(seconds, key=lambda test: seconds[test]):
            seeded = "seed" in getattr(getattr(self.items[test], "callspec", None), "params", ())
            name = test.partition("[")[0] if seeded else test
            keys[test] = (seen[name], seconds[test])
            seen[name] += 1
        return sorted(keys, key=lambda test: keys[test])

    def _run(self, name: str, tests: list[str], seconds: dict[str, float]) -> tuple[str, str]:
        chosen, left = [], self.budget
        for test in tests:
            if seconds[test] <= left:
                chosen.append(test)
                left -= seconds[test]
        if not chosen:
            return UNREACHED, ""
        reading, writing = os.pipe()
        folder = self.folders.getbasetemp() / name
        child = os.fork()
        if child == 0:
            limit = int(3 * self.budget + 4) if name != "none" else 600
            resource.setrlimit(resource.RLIMIT_CPU, (limit, limit))
            resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            signal.signal(signal.SIGALRM, signal.SIG_DFL)
            signal.alarm(60 * limit)  # for one that waits; the limit of time is that of the processor
            _activate(name)
            self.folders._basetemp = folder
            folder.mkdir()
            for number, test in enumerate(chosen):
                if not self._passes(test):
                    os.write(writing, str(number).encode())
                    os._exit(1)
            os._exit(0)
        os.close(writing)
        _, status = os.waitpid(child, 0)
        told = os.read(reading, 20)
        shutil.rmtree(folder, ignore_errors=True)
        os.close(reading)
        if os.WIFSIGNALED(status) and os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGALRM, signal.SIGKILL):
            return TIMEOUT, ""
        if status == 0:
            return SURVIVED, ""
        return KILLED, chosen[int(told)] if told else ""

    def _passes(self, test: str) -> bool:
        """Runs one test without the reports of pytest, which would take longer than most tests."""
        item = self.items[test]
        item.stash[tmppath_result_key] = {}
        try:
            item._initrequest()
            item.session._setupstate.setup(item)
            item.runtest()
        except BaseException:
            return False
        finally:
            item.session._setupstate.teardown_exact(None)
        return True


def _is_among_the_first(item: Any) -> bool:
    """Of tests that draw their examples from a seed the first few are enough here."""
    seed = item.callspec.params.get("seed", 0) if hasattr(item, "callspec") else 0
    return not isinstance(seed, int) or seed < 4


def _activate(name: str) -> None:
    from mutmut.mutation.trampoline import set_mutant_under_test

    set_mutant_under_test(name)


def table(results: dict[str, Any]) -> str:
    """Markdown: of each file how many mutants there are and what became of them."""
    files: dict[str, Counter[str]] = defaultdict(Counter)
    for name, (status, _) in results.items():
        files["/".join(name.split(".")[1:3])][status] += 1
    lines = ["| file | mutants | killed | timeout | survived | not reached | killed, % |", "| --- |" + " ---: |" * 6]
    total: Counter[str] = Counter()
    for file, count in [*sorted(files.items()), ("all", total)]:
        every = sum(count.values())
        share = 100 * (count[KILLED] + count[TIMEOUT]) / max(1, every)
        lines.append(f"| {file} | {every} | {count[KILLED]} | {count[TIMEOUT]} | {count[SURVIVED]} |"
                     f" {count[UNREACHED]} | {share:.1f} |")
        total.update(count)
    return "\n".join(lines)


def survivors(copy: Path, results: dict[str, Any]) -> str:
    """Markdown: of each file the mutants that survived, as the line before and after."""
    lines: list[str] = []
    for file, names in _by_file([name for name, (status, _) in results.items() if status in (SURVIVED, UNREACHED)]):
        text = (copy / "mutants" / "gcode_guard" / f"{file}.py").read_text()
        at = {node.name: text.splitlines()[node.lineno : node.end_lineno] for node in ast.walk(ast.parse(text))
              if isinstance(node, ast.FunctionDef)}
        lines += ["", f"## {file}.py", ""]
        for name in names:
            function = name.rpartition(".")[2]
            start, _, number = function.partition("__mutmut_")
            changed = [line for line in difflib.ndiff(at[f"{start}__mutmut_orig"], at[function]) if line[0] in "+-"]
            was, now = (" ".join(line[2:].strip() for line in changed if line[0] == sign) for sign in "-+")
            lines.append(f"* {re.split('ǁ|x_', start)[-1]} {number}: `{was}` became `{now}`")
    return "\n".join(lines).strip() + "\n"


def _by_file(names: list[str]) -> list[tuple[str, list[str]]]:
    files: dict[str, list[str]] = defaultdict(list)
    for name in sorted(names, key=lambda name: (name.partition("__mutmut_")[0], int(name.rpartition("_")[2]))):
        files["/".join(name.split(".")[1:3])].append(name)
    return sorted(files.items())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--commit", default="HEAD")
    parser.add_argument("--only", action="append", default=[],
                        help="files, like space/hulls; in a new folder no others get mutants")
    parser.add_argument("--tests", nargs="+", default=["tests/space", "tests/repair"])
    parser.add_argument("--again", action="store_true", help="those that survived, with the tests as they are now")
    parser.add_argument("--without", default="", help="words in the names of tests that take too long here")
    parser.add_argument("--part", default="1/1", help="2/3 for the second third of the mutants, in a folder of its own")
    parser.add_argument("--list", action="store_true", help="only print what survived so far")
    parser.add_argument("--reuse", action="store_true", help="what the last call found out of the same tests")
    parser.add_argument("--budget", type=float, default=6.0, help="seconds of tests for each mutant")
    asked = parser.parse_args()
    copy, save = asked.folder.resolve() / "copy", asked.folder.resolve() / "results.json"
    if not copy.exists():
        prepare(copy, asked.commit, asked.only or [f"{room}/*" for room in ROOMS])
    results = json.loads(save.read_text()) if save.exists() else {}
    if asked.list:
        print(survivors(copy, results), end="")
        return
    shutil.rmtree(copy / "mutants" / "tests")
    shutil.copytree(ROOT / "tests", copy / "mutants" / "tests", ignore=shutil.ignore_patterns("__pycache__"))
    wanted = [f"gcode_guard.{file.replace('/', '.')}." for file in asked.only] or [f"gcode_guard.{r}." for r in ROOMS]
    part, parts = map(int, asked.part.split("/"))
    names = [name for name in mutants_of(copy) if any(name.startswith(start) for start in wanted)][part - 1 :: parts]
    names = [name for name in names
             if (results.get(name, ("", ""))[0] in (SURVIVED, UNREACHED) if asked.again else name not in results)]
    os.environ.update(CI="1", MUTANT_UNDER_TEST="")
    os.chdir(copy)
    import mutmut.__main__ as mutmut
    import pytest

    mutmut.setup_source_paths()
    os.chdir("mutants")
    sys.path.insert(0, ".")
    loop = Loop(names, results, save, asked.budget, asked.reuse)
    pytest.main(["-q", "-p", "no:cacheprovider", "-p", "no:xdist", "-p", "no:benchmark", "--rootdir=.", "--tb=no",
                 "--capture=no", "-k", f"not ({asked.without or 'nothing'})", *asked.tests], plugins=[loop])
    print(table(results))


if __name__ == "__main__":
    main()
