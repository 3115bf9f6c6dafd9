"""The wheel of this project in separate environments, without a network.

Required distributions are linked from the running environment instead of installed, directly required ones and those
they require. An environment therefore has what an installation would have, and nothing else.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import sysconfig
import venv
from importlib.metadata import PathDistribution, distribution
from pathlib import Path, PurePosixPath
from typing import Final
from zipfile import Path as ZipPath

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

__all__ = ["ROOT", "build_wheel", "install", "modules_of"]

ROOT: Final = Path(__file__).resolve().parents[2]
_SOURCES: Final = ("pyproject.toml", "README.md", "rules", "service")


def build_wheel(folder: Path) -> Path:
    """Build the wheel in a folder, from a copy of the sources, and return its path."""
    (folder / "sources").mkdir()
    for name in _SOURCES:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / "sources" / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / name, folder / "sources")
    _pip("wheel", "--no-deps", "--no-build-isolation", "--wheel-dir", str(folder), str(folder / "sources"))
    shutil.rmtree(folder / "sources")
    (wheel,) = folder.glob("*.whl")
    return wheel


def install(wheel: Path, folder: Path, *extras: str) -> Path:
    """Install a wheel with these extras into a new environment; return the folder of the environment."""
    venv.create(folder, with_pip=False, symlinks=True)
    python = folder / "bin" / "python"
    _pip("--python", str(python), "install", "--no-deps", "--no-index", "--no-compile", str(wheel))
    for name in _required(wheel, extras):
        _link(name, modules_of(folder))
    return folder


def modules_of(folder: Path) -> Path:
    """Return the folder of modules of an environment."""
    return Path(sysconfig.get_path("purelib", "venv", {"base": str(folder)}))


def _pip(*arguments: str) -> None:
    run = [sys.executable, "-m", "pip", "--disable-pip-version-check", *arguments]
    done = subprocess.run(run, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def _required(wheel: Path, extras: tuple[str, ...]) -> set[str]:
    """Return the names of all distributions that an installer would install with the wheel."""
    (info,) = (one for one in ZipPath(wheel).iterdir() if one.name.endswith(".dist-info"))
    own = PathDistribution(info)  # type: ignore[arg-type]  # any path-like object will do
    own_name = canonicalize_name(own.metadata["Name"])
    found: set[tuple[str, frozenset[str]]] = set()
    waiting = [(own_name, frozenset(extras))]
    while waiting:
        name, wanted = waiting.pop()
        if (name, wanted) in found:
            continue
        found.add((name, wanted))
        one = own if name == own_name else distribution(name)
        for requirement in map(Requirement, one.requires or ()):
            marker = requirement.marker
            if marker is None or any(marker.evaluate({"extra": extra}) for extra in ("", *wanted)):
                waiting.append((canonicalize_name(requirement.name), frozenset(requirement.extras)))
    return {name for name, _ in found} - {own_name}


def _link(name: str, into: Path) -> None:
    """Link the modules and the metadata of an installed distribution into a folder of modules."""
    one = distribution(name)
    # Python 3.11.2 lists the sources of what setup.py installed, not the files
    installed = (one.read_text("installed-files.txt") or "").splitlines()
    files = list(map(PurePosixPath, installed)) or list(one.files or ())
    assert files, f"{name} does not list its files"
    for top in {next(part for part in file.parts if part != "..") for file in files} - {"__pycache__"}:
        source, target = Path(str(one.locate_file(top))), into / top
        if source.exists() and not target.exists():
            target.symlink_to(source)
    # nor does it list the metadata, which say the version
    metadata = Path(str(one._path)) if isinstance(one, PathDistribution) else None
    if metadata is not None and not (into / metadata.name).exists():
        (into / metadata.name).symlink_to(metadata)
