"""Install the packages of a lock file into a virtual environment, and compile the kernel in place.

Run: python3 service/deploy/install.py [ENVIRONMENT [LOCK]]     (.venv and requirements.lock unless stated)
     python3 service/deploy/install.py --kernel [OPTION ...]    the kernel alone, for the Python that runs this

Uses only the standard library and syntax of Python 3.6, so that an old Python gets a message and no traceback.
"""

import hashlib
import os
import re
import shlex
import subprocess
import sys
import sysconfig
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

# durable-rules is published as source only, and its build replaces CFLAGS; CPPFLAGS do reach the compiler.
# Its build drops -O2, without which the engine takes about a quarter longer.
# Python 3.13 removed PyEval_CallObject, which the source calls; PyObject_CallObject takes the same arguments.
BUILD_FLAGS = "-O2 -DPyEval_CallObject=PyObject_CallObject"

KERNEL = ROOT / "rules" / "kernel"


def refusal(major: int, minor: int) -> str:
    """Return why stackgauge does not run on this version of Python; empty if it does (`requires-python`)."""
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    first, end = (int(bound) for bound in re.findall(r'^requires-python = ">=3\.(\d+),<3\.(\d+)"', project, re.M)[0])
    if (3, first) <= (major, minor) < (3, end):
        return ""
    return f"stackgauge needs Python 3.{first} to 3.{end - 1}; {sys.executable} is Python {major}.{minor}"


def install(environment: Path, lock: Path) -> int:
    """Return the exit code of the first command that failed, else 0."""
    python = str(environment / "bin" / "python")
    flags = (os.environ.get("CPPFLAGS", "") + " " + BUILD_FLAGS).strip()
    made = subprocess.call([sys.executable, "-m", "venv", str(environment)])
    if made != 0:
        return made
    # pip keeps what it has compiled, and would take a durable-rules that was compiled without the flags
    forget = [python, "-m", "pip", "cache", "remove", "durable_rules"]
    subprocess.call(forget, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    fetch = [python, "-m", "pip", "install", "-q", "--require-hashes", "-r", str(lock)]
    fetched = subprocess.call(fetch, env={**os.environ, "CPPFLAGS": flags})
    # an image installs the packages first, and this project with its kernel as a wheel
    return fetched or (build_kernel() if KERNEL.exists() else 0)


def build_kernel(*options: str) -> int:
    """Compile the kernel beside its sources with the flags of pyproject.toml and these; return the exit code."""
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    flags = re.findall(r'"([^"]*)"', re.findall(r"^extra-compile-args = \[(.*)\]", project, re.M)[0])
    config = sysconfig.get_config_vars()
    compiler = shlex.split(config["LDSHARED"]) + shlex.split(config.get("CCSHARED") or "")
    include = "-I" + sysconfig.get_paths()["include"]
    for source in sorted(KERNEL.glob("*.c")):
        target = source.with_name(source.stem + config["EXT_SUFFIX"])
        # a file of its own first: a program that runs has the present one mapped
        made = target.with_name(target.name + "." + str(os.getpid()))
        digest = '-DSOURCE="' + hashlib.sha256(source.read_bytes()).hexdigest() + '"'
        command = [*compiler, *flags, *options, digest, include, str(source), "-o", str(made), "-lm"]
        try:
            code = subprocess.call(command)
        except OSError as error:
            print("the kernel needs a C compiler:", error, file=sys.stderr)
            return 1
        if code != 0:
            return code
        made.replace(target)
    return 0


if __name__ == "__main__":
    if sys.argv[1:2] == ["--kernel"]:
        sys.exit(refusal(*sys.version_info[:2]) or build_kernel(*sys.argv[2:]))
    environment, lock = [*sys.argv[1:], *[".venv", "requirements.lock"][len(sys.argv) - 1 :]]
    sys.exit(refusal(*sys.version_info[:2]) or install(Path(environment), Path(lock)))
