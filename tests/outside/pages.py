#!/usr/bin/env python3
"""Chromium, another program, opens the pages that looprig writes and prints them.

Pages: reports of a travel test (a valve that is in order, one before and after, one test that was broken off), of a device check, sheets to sign
on, which are one sheet each whatever stands on them, what came of fault finding, a blank worksheet, every worksheet filled in, a wiring verdict,
results of the conformance suite. Each must ask for nothing but itself, leave nothing on the console, come out on A4 sheets (by the MediaBox of
every page of the PDF), have all its rows, plots and cautions kept whole where a sheet ends, and stick out of neither a sheet (180 mm between the margins) nor, by itself,
a phone's screen (390 px), nor have words there that are squeezed into a column of letters. A page with planted faults, which Chromium must find, is opened first.

The records are invented, by arithmetic (tests/support/travel_records.py). With a folder as argument, pages, PDFs and pictures are kept there.

Usage: pages.py [FOLDER]     (LOOPRIG=PROGRAM and LOOPRIG_HANDOVER=PROGRAM, the example, are used instead of building them; CHROMIUM=PROGRAM)
"""

import base64
import fcntl
import json
import os
import pathlib
import re
import select
import shutil
import subprocess
import sys
import tempfile
import time

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TOP / "tests" / "support"))
import travel_records  # noqa: E402

# ISO 216, 210 x 297 mm in points of 1/72 inch; Chromium rounds to its own pixels.
A4_PT = (210 / 25.4 * 72, 297 / 25.4 * 72)
WITHIN_PT = 1.0
# 180 mm between margins of 15 mm, at 96 pixels an inch.
SHEET_PX, PHONE_PX = 680, 390
BENCH = '[[device]]\ntag = "FV-3104"\n[[line]]\nat = "pty:"\n'
PLANTED = """<!doctype html><title>planted</title><img src="http://planted.invalid/x.png"><script>console.error("planted")</script>
<table><tr><td><figure><svg width="2000" height="9"><text x="9" y="9" fill="red">measured, down</text><text x="40" y="9" fill="red">measured, up</text></svg></figure></td><td style="width:1px;overflow-wrap:anywhere">a column of single letters</td></tr></table>"""
# What must not be cut, and what sticks out to the right; what scrolls by itself does not.
WHOLE = """JSON.stringify({cut: [...document.querySelectorAll('tr,figure,figure>svg,body>svg,.caution,.verdict,.broken,.signed')].filter(e => {
  for (let a = e; a; a = a.parentElement) if (getComputedStyle(a).breakInside == 'avoid') return false; return true;
}).map(e => e.tagName + '.' + e.className).slice(0, 5), thin: [...document.querySelectorAll('td,th')].filter(e => e.offsetWidth > 0 && e.offsetWidth < 60 && e.textContent.trim().length > 8 &&
  e.offsetHeight > 6 * e.offsetWidth).map(e => e.textContent.trim()).slice(0, 3), laps: [...document.querySelectorAll('figure svg')].flatMap(s => {
  const k = s.getBoundingClientRect().width / 460, names = [...s.querySelectorAll('text[fill]:not(.halo)')].map(e => {
    const r = e.getBoundingClientRect(); return [e.textContent, {left: r.left - 24 * k, right: r.right, top: r.top, bottom: r.bottom}]; });
  return names.flatMap(([a, p], n) => names.slice(n + 1).filter(([, q]) => p.left < q.right && q.left < p.right && p.top < q.bottom - 2 && q.top < p.bottom - 2).map(([b]) => a + ' / ' + b));
}).slice(0, 3), out: document.documentElement.scrollWidth - document.documentElement.clientWidth})"""


class Browser:
    """Chromium at the other end of two pipes: messages of its DevTools protocol as JSON, each with a zero octet behind."""

    def __init__(self, program, folder):
        theirs_in, ours_out = os.pipe()
        ours_in, theirs_out = os.pipe()
        high = [fcntl.fcntl(fd, fcntl.F_DUPFD, 20) for fd in (theirs_in, theirs_out)]

        def put():
            os.dup2(high[0], 3)
            os.dup2(high[1], 4)

        options = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--disable-background-networking",
                   "--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={folder}", "--remote-debugging-pipe", "about:blank"]
        self.process = subprocess.Popen([program, *options], preexec_fn=put, pass_fds=(3, 4), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for fd in (*high, theirs_in, theirs_out):
            os.close(fd)
        self.out, self.into, self.rest, self.number, self.seen = ours_out, ours_in, b"", 0, []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self.session = None
        self.session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Network", "Runtime", "Log"):
            self.ask(f"{domain}.enable")

    session = None

    def read(self, until):
        """The next message; None when it is too late."""
        while b"\0" not in self.rest:
            if not select.select([self.into], [], [], max(until - time.monotonic(), 0))[0]:
                return None
            piece = os.read(self.into, 1 << 20)
            if not piece:
                sys.exit("pages.py: Chromium ended by itself")
            self.rest += piece
        message, self.rest = self.rest.split(b"\0", 1)
        return json.loads(message)

    def ask(self, method, seconds=60, **params):
        self.number += 1
        question = {"id": self.number, "method": method, "params": params}
        if self.session:
            question["sessionId"] = self.session
        data, until = json.dumps(question).encode() + b"\0", time.monotonic() + seconds
        while data:
            data = data[os.write(self.out, data):]
        while (message := self.read(until)) is not None:
            if message.get("id") == self.number:
                if "error" in message:
                    sys.exit(f"pages.py: {method}: {message['error']}")
                return message["result"]
            self.seen.append(message)
        sys.exit(f"pages.py: Chromium did not answer {method} in {seconds} s")

    def open(self, url):
        """Opens a page and waits until it is loaded and half a second more: requests, words on the console."""
        self.seen = []
        self.ask("Page.navigate", url=url)
        until = time.monotonic() + 60
        while not any(m.get("method") == "Page.loadEventFired" for m in self.seen):
            message = self.read(until)
            if message is None:
                sys.exit(f"pages.py: {url} was not loaded in 60 s")
            self.seen.append(message)
        until = time.monotonic() + 0.5
        while (message := self.read(until)) is not None:
            self.seen.append(message)
        asked = [m["params"]["request"]["url"] for m in self.seen if m.get("method") == "Network.requestWillBeSent"]
        said = [m["params"] for m in self.seen if m.get("method") in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")]
        return asked, said

    def width(self, px, media):
        """At this width, px: how far the page sticks out, what may be cut at the end of a sheet, what stands in a column of single letters."""
        self.ask("Emulation.setEmulatedMedia", media=media)
        self.ask("Emulation.setDeviceMetricsOverride", width=px, height=900, deviceScaleFactor=1, mobile=False)
        found = json.loads(self.ask("Runtime.evaluate", expression=WHOLE)["result"]["value"])
        self.ask("Emulation.setEmulatedMedia", media="")
        return found

    def end(self):
        self.process.terminate()
        self.process.wait(30)


def sheets(pdf):
    """Width and height of every page, points: MediaBoxes stand as text in a PDF of Chromium."""
    boxes = re.findall(rb"/MediaBox\s*\[\s*([-0-9.]+)\s+([-0-9.]+)\s+([-0-9.]+)\s+([-0-9.]+)\s*\]", pdf)
    return [(float(c) - float(a), float(d) - float(b)) for a, b, c, d in boxes]


def faults(browser, path, keep):
    """Everything that is wrong with a page, and how many sheets it takes."""
    url, wrong = path.resolve().as_uri(), []
    asked, said = browser.open(url)
    wrong += [f"asks for {other}" for other in asked if other != url and not other.startswith("data:")]
    wrong += [f"on the console: {json.dumps(words)[:200]}" for words in said]
    for px, media, what in [(SHEET_PX, "print", "a sheet"), (PHONE_PX, "screen", "a phone's screen")]:
        found = browser.width(px, media)
        if found["out"] > 0:
            wrong.append(f"sticks out of {what} by {found['out']} px")
        if found["laps"]:
            wrong.append(f"names in a plot stand on each other: {found['laps']}")
        if found["thin"]:
            wrong.append(f"squeezes words on {what}: {', '.join(found['thin'])}")
        if media == "print" and found["cut"]:
            wrong.append(f"may be cut at the end of a sheet: {', '.join(found['cut'])}")
    if keep:
        for px, name in [(PHONE_PX, "phone"), (1000, "desk")]:
            browser.width(px, "screen")
            shot = browser.ask("Page.captureScreenshot", captureBeyondViewport=True)
            path.with_name(f"{path.stem}-{name}.png").write_bytes(base64.b64decode(shot["data"]))
    browser.ask("Emulation.clearDeviceMetricsOverride")
    pdf = base64.b64decode(browser.ask("Page.printToPDF", seconds=180, preferCSSPageSize=True)["data"])
    if keep:
        path.with_suffix(".pdf").write_bytes(pdf)
    all_sheets = sheets(pdf)
    odd = [s for s in all_sheets if any(abs(a - b) > WITHIN_PT for a, b in zip(s, A4_PT))]
    if odd or not all_sheets:
        wrong.append(f"is not on A4: {odd[:3] or 'no sheet'}")
    return wrong, len(all_sheets)


def run(command, folder, codes):
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=1800)
    if done.returncode not in codes:
        sys.exit(f"pages.py: {' '.join(map(str, command))} ended with {done.returncode}: {done.stderr}")
    return done.stdout


def programs():
    cargo = ["cargo", "build", "--release", "--locked", "--quiet"]
    target = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", TOP / "target")) / "release"
    looprig, handover = os.environ.get("LOOPRIG"), os.environ.get("LOOPRIG_HANDOVER")
    if not looprig:
        subprocess.run(cargo, cwd=TOP, check=True, timeout=1800)
        looprig = target / "looprig"
    if not handover:
        subprocess.run([*cargo, "--example", "handover"], cwd=TOP, check=True, timeout=1800)
        handover = target / "examples" / "handover"
    return pathlib.Path(looprig).resolve(), pathlib.Path(handover).resolve()


def write_pages(folder):
    """The pages, and how the program that writes each has to end."""
    looprig, handover = programs()
    found = travel_records.record("as_found", gap=2.4, slope=1.2, bow=0.8, supply_kpa=210.0, measured=False)
    silent = {"how": "silent", "during": "step 25 to 75 %", "last_heard_s": 312.0}
    broken = travel_records.record("unsaid", cycles=1, ended=silent, steps=[], strokes=[], fails=[])
    for name, record in [("found", found), ("left", travel_records.record()), ("broken", broken)]:
        (folder / f"{name}.json").write_text(json.dumps(record))
    (folder / "b.toml").write_text(BENCH)
    for name, records, code, words in [("in-order", ["left"], 0, "WITHIN LIMITS"), ("both", ["found", "left"], 0, "WITHIN LIMITS"),
                                       ("beyond", ["found"], 1, "BEYOND LIMITS"), ("stopped", ["broken"], 1, "NOT WHOLE")]:
        page = run([handover, *(f"{r}.json" for r in records)], folder, {code})
        if words not in page:
            sys.exit(f"pages.py: the report \"{name}\" does not say {words}")
        (folder / f"{name}.html").write_text(page)
    (folder / "check.json").write_text(json.dumps(travel_records.device_check()))
    # With everything that can stand on it: every limit, as found beside as left, findings, fail actions that are wrong, a device check.
    limits = TOP / "fixtures" / "limits" / "works.toml"
    bad = travel_records.record("as_left", gap=2.4, slope=2.2, bow=1.8, supply_kpa=210.0, ended=silent)
    bad["valve"].update(fails_to="open", words="DN 100, packing as it came, spring to close, " * 3)
    bad["instruments"] = bad["instruments"] * 3
    bad["fails"] = [{**bad["fails"][0], "loss": loss, "restored": False} for loss in ("current", "air", "trip")]
    lone = {**bad, "remarks": ["It was windy. " * 30]}
    (folder / "lone.json").write_text(json.dumps(lone))
    (folder / "bad.json").write_text(json.dumps(bad))
    for name, records in [("sign-left", ["left"]), ("sign-broken", ["broken"]), ("sign-full", ["found", "bad", "check"]), ("sign-lone", ["lone"])]:
        words = [w for r in records for w in ("--from", f"{r}.json")]
        run([looprig, "travel", *words, "--limits", limits, "--sign", f"{name}.html", "--force", "--quiet"], folder, {0, 1})
    run([looprig, "travel", "--from", "check.json", "--html", "check.html", "--force", "--quiet"], folder, {0})
    told = {"answers": "yes", "opens": "short", "shuts": "full", "stroke_supply": "sags", "supply_gauge_stroke": "sags", "leak": "?", "filter": "blocked"}
    (folder / "fault.toml").write_text("".join(f'"triage/{symptom}" = "{value}"\n' for symptom, value in told.items()))
    run([looprig, "triage", "--answers", "fault.toml", "--html", "fault.html", "--force", "--quiet"], folder, {1})
    run([looprig, "worksheet", "first-start", "--page", "--out", "worksheet.html", "--force"], folder, {0})
    sheets = [row.split()[0] for row in run([looprig, "worksheet", "--list"], folder, {0}).splitlines() if row[:1].strip()]
    for sheet in sheets:
        run([looprig, "worksheet", sheet, "--record", "left.json", "--site", "Brackenmoor water works, filter gallery, permit 4711", "--page", "--out", f"sheet-{sheet}.html", "--force"], folder, {0})
    sheet = TOP / "fixtures" / "sheets" / "fv-3104.toml"
    run([looprig, "wiring", sheet, "--tolerance", "--samples", "100", "--seed", "1", "--html", "wiring.html", "--force"], folder, {0})
    fault = "mock:b.toml?fault=octet_after_check_byte"
    run([looprig, "conform", fault, "--html", "conform.html", "--force", "--quiet"], folder, {1})
    return ["in-order", "both", "beyond", "stopped", "check", "sign-left", "sign-broken", "sign-full", "sign-lone", "fault", "worksheet", "wiring", "conform", *(f"sheet-{sheet}" for sheet in sheets)]


def main():
    program = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, ["chromium", "chromium-browser", "google-chrome"])), None)
    if program is None:
        print("pages.py: no chromium")
        return 77
    keep = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else None
    bad = 0
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as temporary:
        folder = keep or pathlib.Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        names = write_pages(folder)
        browser = Browser(program, pathlib.Path(temporary) / "profile")
        try:
            (folder / "planted.html").write_text(PLANTED)
            planted, _ = faults(browser, folder / "planted.html", None)
            for fault in ["asks for http://planted.invalid", "on the console", "sticks out of a sheet", "squeezes words", "may be cut", "is not on A4", "names in a plot"]:
                if not any(p.startswith(fault) for p in planted):
                    sys.exit(f"pages.py: the planted fault \"{fault}\" was not found: {planted}")
            for name in names:
                wrong, count = faults(browser, folder / f"{name}.html", keep)
                if name.startswith("sign-") and count != 1:
                    wrong.append("is to be one sheet")
                bad += bool(wrong)
                print(f"{name}: {count} sheets{''.join(f'; {w}' for w in wrong)}")
        finally:
            browser.end()
    print(f"{len(names)} pages, {bad} wrong")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
