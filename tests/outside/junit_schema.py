#!/usr/bin/env python3
"""libxml2 checks JUnit reports of looprig against the schema of a build system, tests/support/junit-10.xsd (MIT, of Jenkins' xUnit plugin).

lxml (PyPI) has libxml2. A healthy mock and mocks with faults are judged, each with and without --strict; every report must keep to
the schema, and its failures and errors must say what the exit code says: failures 1, errors alone 2, neither 0.

Usage: junit_schema.py     (LOOPRIG=PROGRAM uses that program instead of building one)
"""

import os
import pathlib
import subprocess
import sys
import tempfile

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TOP / "tests" / "support"))
import pypi  # noqa: E402

VERSION = "6.1.3"
FAULTS = ["", "?fault=preamble_spoilt", "?fault=byte_count_without_status", "?fault=octet_after_check_byte"]
BENCH = '[[device]]\ntag = "FV-3104"\n[[line]]\nat = "pty:"\n'


def program():
    manifest = str(TOP / "Cargo.toml")
    default = ["cargo", "run", "--release", "--locked", "--quiet", "--manifest-path", manifest, "--"]
    return [os.environ["LOOPRIG"]] if "LOOPRIG" in os.environ else default


def main():
    etree = pypi.library("lxml.etree", "lxml", VERSION)
    if etree is None:
        print("junit_schema.py: no lxml")
        return 77
    schema = etree.XMLSchema(etree.parse(str(TOP / "tests" / "support" / "junit-10.xsd")))
    looprig, wrong, cases, codes = program(), 0, 0, set()
    with tempfile.TemporaryDirectory() as folder:
        (pathlib.Path(folder) / "b.toml").write_text(BENCH)
        for fault in FAULTS:
            for strict in [[], ["--strict"]]:
                judge = [*looprig, "conform", f"mock:b.toml{fault}", "--junit", "r.xml", "--force", "--quiet", *strict]
                code = subprocess.run(judge, cwd=folder, stdout=subprocess.DEVNULL, timeout=900).returncode
                report = etree.parse(str(pathlib.Path(folder) / "r.xml"))
                kept = schema.validate(report)
                failures, errors = (sum(int(s.get(n)) for s in report.iter("testsuite")) for n in ("failures", "errors"))
                says = 1 if failures else 2 if errors else 0
                cases += len(list(report.iter("testcase")))
                codes.add(code)
                if not kept or says != code:
                    wrong += 1
                    print(f"{fault or 'healthy'} {strict}: exit code {code}, {failures} failures, {errors} errors; {schema.error_log}")
    print(f"{cases} cases in {2 * len(FAULTS)} reports, {wrong} wrong")
    return 1 if wrong or not {0, 1} <= codes or cases == 0 else 0


if __name__ == "__main__":
    sys.exit(main())
