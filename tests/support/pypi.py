"""Libraries from PyPI that outside checks compare with: from this Python, or fetched into a folder below target/."""

import importlib
import pathlib
import subprocess
import sys

TOP = pathlib.Path(__file__).resolve().parents[2]


def library(name, package, version, alone=True):
    """The module `name` of `package`; None without it. `version` is fetched; another one that is already there is as good. `alone`: without
    what it depends on, which is not needed for what is used of it."""
    folder = TOP / "target" / "outside" / package
    sys.path.append(str(folder))
    try:
        return importlib.import_module(name)
    except ImportError:
        pass
    fetch = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--root-user-action=ignore",
             *(["--no-deps"] if alone else []), "--target", str(folder), f"{package}=={version}"]
    try:
        done = subprocess.run(fetch, timeout=900).returncode
    except (OSError, subprocess.TimeoutExpired):
        return None
    if done:
        return None
    importlib.invalidate_caches()
    return importlib.import_module(name)
