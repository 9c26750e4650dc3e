"""The house rules as checks: sizes, docstrings, types, one-way imports, what is installed.

The numbers are the project's own rules (DEVELOPERS.md), not an outside standard.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from wetscout.kernels.compiled import compiled, inlined, leaf

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "wetscout"
MODULES = sorted(PACKAGE.rglob("*.py"))

MODULE_LINES = 400
MEDIAN_LINES = 200
BODY_LINES = 50
KERNEL_BODY_LINES = 120
PARAMETERS = 6

Function = ast.FunctionDef | ast.AsyncFunctionDef


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def functions(path: Path) -> Iterator[tuple[str, Function, bool]]:
    """Every function: dotted name, node, and whether it is public (module level or method of a public class)."""

    def walk(node: ast.AST, prefix: str, public: bool) -> Iterator[tuple[str, Function, bool]]:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, Function):
                mine = public and not child.name.startswith("_")
                yield prefix + child.name, child, mine
                yield from walk(child, f"{prefix}{child.name}.", False)
            elif isinstance(child, ast.ClassDef):
                yield from walk(child, f"{prefix}{child.name}.", public and not child.name.startswith("_"))

    yield from walk(parsed(path), "", True)


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def is_kernel(path: Path) -> bool:
    return "kernels" in path.relative_to(PACKAGE).parts


def body_lines(node: Function) -> int:
    """Lines of a body, docstring left out."""
    body = node.body[1:] if ast.get_docstring(node) is not None else node.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def arguments(node: Function) -> list[ast.arg]:
    """Arguments but self and cls."""
    every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return [argument for argument in every if argument.arg not in ("self", "cls")]


def documented(docstring: str) -> set[str]:
    """Names under Parameters of a numpy-style docstring."""
    found = re.search(r"^Parameters\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", docstring, re.MULTILINE | re.DOTALL)
    names: set[str] = set()
    for line in found.group(1).splitlines() if found else ():
        if line and not line.startswith(" "):
            names.update(part.strip().lstrip("*") for part in line.split(":")[0].split(","))
    return names


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_module_is_short(path: Path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MODULE_LINES


def test_most_modules_are_very_short():
    lengths = sorted(len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES)
    assert lengths[len(lengths) // 2] <= MEDIAN_LINES


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_functions_are_short(path: Path):
    limit = KERNEL_BODY_LINES if is_kernel(path) else BODY_LINES
    assert {name: body_lines(node) for name, node, _ in functions(path) if body_lines(node) > limit} == {}


@pytest.mark.parametrize("path", [path for path in MODULES if not is_kernel(path)], ids=name_of)
def test_few_parameters_and_all_typed(path: Path):
    many = {name: len(arguments(node)) for name, node, _ in functions(path) if len(arguments(node)) > PARAMETERS}
    untyped = [f"{n}({a.arg})" for n, node, _ in functions(path) for a in arguments(node) if a.annotation is None]
    assert (many, untyped) == ({}, [])


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_public_functions_say_what_they_take(path: Path):
    wrong = []
    # what click calls from a decorated command or group is documented by --help, which tests/test_cli.py checks
    for name, node, public in functions(path):
        if not public or "command" in {ast.unparse(d).split(".")[-1].split("(")[0] for d in node.decorator_list}:
            continue
        docstring = ast.get_docstring(node)
        takes = {argument.arg for argument in arguments(node) if not argument.arg.startswith("_")}
        if is_kernel(path):
            # many kernels share their arrays: the module's head may describe them once
            takes = documented(docstring or "") if docstring else takes
        overridden = path.name == "app.py" and name.startswith("Commands.")
        collected = {argument.arg for argument in (node.args.vararg, node.args.kwarg) if argument is not None}
        says = documented(docstring or "")
        if docstring is None or not (takes <= says <= takes | collected or overridden):
            wrong.append(f"{name}: takes {sorted(takes)}, says {sorted(says)}")
    assert wrong == []


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_nothing_is_printed(path: Path):
    """Only the command line speaks, and it speaks through click."""
    calls = [node for node in ast.walk(parsed(path)) if isinstance(node, ast.Call)]
    assert [call.lineno for call in calls if isinstance(call.func, ast.Name) and call.func.id == "print"] == []


@pytest.mark.parametrize("path", [path for path in MODULES if is_kernel(path)], ids=name_of)
def test_kernels_release_the_lock_and_never_go_parallel(path: Path):
    text = path.read_text(encoding="utf-8")
    # only the decorators of the package compile, all with the same options
    assert path.name == "compiled.py" or not re.search(r"\bn?jit\b", text)
    # the words as arguments, so that a comment may say why they are not used
    assert not re.search(r"parallel\s*=\s*True|fastmath\s*=\s*True|\bprange\(", text)


@pytest.mark.parametrize("decorator", [compiled, leaf, inlined])
def test_decorators_of_kernels_release_the_lock_and_keep_machine_code(decorator):
    options = decorator(body_lines).targetoptions
    assert options["nogil"] and options["no_cfunc_wrapper"] and options["nopython"]
    assert not options.get("parallel") and not options.get("fastmath")
    assert decorator(body_lines).stats.cache_path


def test_package_list_is_complete():
    """pyproject.toml lists the packages by name, so a new folder must be added there."""
    listed = set(tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"])
    folders = {".".join(path.parent.relative_to(ROOT).parts) for path in MODULES if path.name == "__init__.py"}
    assert listed == folders | {"wetscout.sample"}


def test_imports_go_one_way():
    command = [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


def test_sample_is_small():
    assert sum(path.stat().st_size for path in (ROOT / "sample_data").iterdir()) < 6e6
