"""Runs tests on a mutant in a separate process; no file is changed.

The child process loads the changed text instead of the file of the module, so nothing has to be restored. It is forked
from a process with loaded libraries, which saves most of the start.
"""

from __future__ import annotations

import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import multiprocessing
import os
import resource
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from types import CodeType

import pytest
from hypothesis import Phase, settings

_LIBRARIES = ("numpy", "scipy.integrate", "scipy.linalg", "scipy.optimize", "scipy.special", "scipy.stats", "sympy")
_LIBRARIES += ("mpmath", "skfem", "pydantic", "yaml", "durable_rules_engine", "lxml.etree", "jinja2")
_MEMORY = 6 * 2**30
_NOT_RUN = pytest.ExitCode.NO_TESTS_COLLECTED


class _ChangedLoader(importlib.machinery.SourceFileLoader):
    def __init__(self, name: str, path: str, text: str) -> None:
        super().__init__(name, path)
        self._text = text

    def get_code(self, fullname: str) -> CodeType:  # noqa: ARG002
        return self.source_to_code(self._text.encode(), self.path)

    def get_source(self, fullname: str) -> str:  # noqa: ARG002
        return self._text


class _ChangedFinder(importlib.abc.MetaPathFinder):
    def __init__(self, module: str, path: Path, text: str) -> None:
        self._module, self._path, self._text = module, str(path.resolve()), text

    def find_spec(self, fullname: str, *_: object) -> importlib.machinery.ModuleSpec | None:
        if fullname != self._module:
            return None
        loader = _ChangedLoader(fullname, self._path, self._text)
        return importlib.util.spec_from_file_location(fullname, self._path, loader=loader)


class _NoShrinking:
    """A counter-example need not be small here."""

    def pytest_configure(self) -> None:
        phases = (Phase.explicit, Phase.generate, Phase.target)
        settings.register_profile("first failure", parent=settings.get_profile("steady"), phases=phases)
        settings.load_profile("first failure")


def load_libraries() -> None:
    """Loads what the tests need from outside, once, before anything is forked."""
    sys.dont_write_bytecode = True
    for name in _LIBRARIES:
        importlib.import_module(name)


def _run(files: Sequence[Path], change: tuple[str, Path, str] | None) -> None:
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    os.dup2(silent, 2)
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    if change:
        sys.meta_path.insert(0, _ChangedFinder(*change))
    options = ["-x", "-p", "no:cacheprovider", "--disable-plugin-autoload", "--assert=plain", "--tb=no"]
    code = pytest.main([*options, *map(str, files)], plugins=[_NoShrinking()])
    os._exit(int(code))


def passes(files: Sequence[Path], seconds: float, change: tuple[str, Path, str] | None = None) -> bool:
    """Whether the tests of some files all pass within a time, with the change (module, path, text) or without."""
    child = multiprocessing.get_context("fork").Process(target=_run, args=(files, change))
    child.start()
    child.join(seconds)
    if child.is_alive():
        child.kill()
        child.join()
    return child.exitcode in (pytest.ExitCode.OK, _NOT_RUN)


def seconds_of(files: Sequence[Path]) -> float:
    """The time that the tests of some files take as they are; raises RuntimeError if one fails."""
    begun = time.monotonic()
    if not passes(files, 3600):
        raise RuntimeError("the tests fail without any change")
    return time.monotonic() - begun
