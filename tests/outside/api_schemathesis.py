#!/usr/bin/env python3
"""Another program reads the OpenAPI document of a running mock and asks it whatever the document allows, and what it does not.

schemathesis (PyPI) makes requests of the document: every answer must be as the document says, what is allowed must be taken,
what is not must be refused, and nothing may be answered with 500. It reads every answer to its end, and the stream `/trace`
has none: that one is asked by tests/support/api_trace.py, by the same document, before and after. Every other operation of the document
must have been asked, and at least half of them done: a run that got nowhere is no pass.
Afterwards the mock must still answer, and end well when it is told to.

Usage: api_schemathesis.py [SEED] [SECONDS]     (LOOPRIG=PROGRAM uses that program instead of building one)
"""

import json
import os
import pathlib
import re
import signal
import subprocess
import sys
import tempfile
import threading
import urllib.parse
import urllib.request

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TOP / "tests" / "support"))

import api_trace  # noqa: E402

SEED, SECONDS = 20261130, 90
WANTED = "schemathesis>=4.32,<5"

# Two kinds of device, a computed valve with a trip valve, a loop that is computed, a master, an event: nearly every key of a change means
# something. The current of this loop is the devices' own, so that key is refused.
BENCH = """
seed = 5
[loop.supply]
voltage_v = 24
resistor_ohm = 250
[[loop.device]]
tag = "FV-3104"
min_voltage_v = 9
[[loop.device]]
tag = "TT-3105"
min_voltage_v = 9
[[device]]
tag = "FV-3104"
polling_address = 1
device_id = 1
[device.valve]
stroke_mm = 20
[device.valve.fail]
trip_dm3_per_s_bar = 2
[[device]]
tag = "TT-3105"
kind = "temperature"
polling_address = 2
device_id = 2
[[master]]
asks = [{ device = "FV-3104", command = 3, every_s = 60 }]
[[line]]
at = "tcp-listen:127.0.0.1:0"
[[event]]
at_s = 100
loop_extra_ohm = 400
"""

RUN = "import sys; from schemathesis.cli import schemathesis as main; sys.exit(main())"


# The stream has its own test; the document is what schemathesis begins with, and it is not counted among what it asks.
ELSEWHERE = ("/trace", "/openapi.json")
METHODS = ("get", "post", "put", "patch", "delete")


def reached(document, har):
    """Of each operation of the document that is to be asked: the status codes with which it was answered."""
    found = {(method, path): set() for path, item in document["paths"].items() if path not in ELSEWHERE
             for method in METHODS if method in item}
    patterns = {path: re.compile(re.sub(r"\\{[^}]*\\}", "[^/]*", re.escape(path)) + "$") for _, path in found}
    for entry in har["log"]["entries"]:
        method = entry["request"]["method"].lower()
        asked = urllib.parse.urlsplit(entry["request"]["url"]).path
        for (known, path), statuses in found.items():
            if known == method and patterns[path].match(asked):
                statuses.add(entry["response"]["status"])
    return found


def missing(found):
    """What of it was not asked, or never done."""
    faults = [f"{method.upper()} {path} was not asked" for (method, path), statuses in found.items() if not statuses]
    done = [key for key, statuses in found.items() if any(200 <= s < 300 for s in statuses)]
    # What puts a snapshot back or drops one, and what steps, needs another operation before it: luck.
    if 2 * len(done) < len(found):
        faults.append(f"only {len(done)} of {len(found)} operations were ever done")
    return faults


def library():
    """The folder with schemathesis: of its own below target/, from PyPI if it is not there yet; None without it."""
    folder = TOP / "target" / "outside" / "schemathesis"
    here = {**os.environ, "PYTHONPATH": str(folder)}
    probe = [sys.executable, "-c", "import schemathesis.cli"]
    if subprocess.run(probe, env=here, stderr=subprocess.DEVNULL).returncode == 0:
        return folder
    fetch = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--root-user-action=ignore",
             "--upgrade", "--target", str(folder), WANTED]
    try:
        done = subprocess.run(fetch, timeout=600).returncode
    except (OSError, subprocess.TimeoutExpired):
        return None
    return folder if done == 0 and subprocess.run(probe, env=here).returncode == 0 else None


def looprig():
    if "LOOPRIG" in os.environ:
        return os.environ["LOOPRIG"]
    subprocess.run(["cargo", "build", "--release", "--locked", "--quiet"], cwd=TOP, check=True, timeout=1800)
    target = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", TOP / "target"))
    return str(target / "release" / "looprig")


def main():
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else SEED
    seconds = int(sys.argv[2]) if len(sys.argv) > 2 else SECONDS
    folder = library()
    if folder is None:
        print("api_schemathesis: schemathesis is not here and cannot be fetched: skipped")
        return 77
    print(f"api_schemathesis: seed {seed}, {seconds} s")
    with tempfile.TemporaryDirectory() as scratch:
        bench = pathlib.Path(scratch) / "bench.toml"
        bench.write_text(BENCH)
        command = [looprig(), "mock", str(bench), "--api=127.0.0.1:0", "--format", "json"]
        mock = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        said, wrong = [], []
        # Whoever does not read what a program says stops it.
        threads = [threading.Thread(target=lambda: wrong.extend(mock.stderr), daemon=True)]
        try:
            ready = mock.stdout.readline()
            if not ready:
                print("api_schemathesis: the mock does not run: " + mock.stderr.read(), file=sys.stderr)
                return 1
            url = json.loads(ready)["api"]
            threads.append(threading.Thread(target=lambda: said.extend(mock.stdout), daemon=True))
            for thread in threads:
                thread.start()
            before = api_trace.check(url, seed)
            with urllib.request.urlopen(f"{url}/openapi.json", timeout=20) as answer:
                document = json.load(answer)
            report = pathlib.Path(scratch) / "asked.har"
            done = subprocess.run(
                [sys.executable, "-c", RUN, "run", f"{url}/openapi.json", "--url", url, "--exclude-path", "/trace",
                 "--max-examples", "30", "--max-time", str(seconds), "--seed", str(seed), "--request-timeout", "20",
                 "--report", "har", "--report-har-path", str(report), "--no-color", "--warnings", "off"],
                cwd=scratch, env={**os.environ, "PYTHONPATH": str(folder)}, timeout=seconds * 4 + 120,
            ).returncode
            found = reached(document, json.loads(report.read_text())) if report.exists() else None
            after = api_trace.check(url, seed + 1)
            with urllib.request.urlopen(f"{url}/time", timeout=20) as answer:
                alive = answer.status == 200
            mock.send_signal(signal.SIGINT)
            ended = mock.wait(timeout=30)
        finally:
            mock.kill()
        for thread in threads:
            thread.join(timeout=10)
    faults = []
    faults += [f"the stream /trace: {trace}" for trace in (before, after) if trace]
    if done != 0:
        faults.append(f"schemathesis ended with {done}")
    faults += ["schemathesis wrote no report of what it asked"] if found is None else missing(found)
    if not alive or ended != 0:
        faults.append(f"the mock ended with {ended}")
    if any("panicked" in line for line in wrong):
        faults.append("the mock panicked: " + "".join(wrong)[:2000])
    if len(said) < 10:
        faults.append(f"the mock told {len(said)} things only: the requests did not get to the bench")
    for fault in faults:
        print(f"api_schemathesis: {fault}", file=sys.stderr)
    if not faults:
        print(f"api_schemathesis: {len(found)} operations, every answer is as the document says")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
