#!/usr/bin/env python3
"""Compares looprig's figures of step responses with `step_info` of python-control, another program (PyPI).

Systems of the first to the third order are put together by chance, with and without overshoot, some with a dead time and some with a limit
of rate. python-control computes their responses; this script makes travel of them, some upwards and some downwards, and records of travel
tests as `protocol-notes/travel.md` has them (TV-02). `cargo run --example travel_figures` computes the figures of the records.
Compared are T63 and T86 (the rise from 0 to 63.2 and 86.5 %), settling within 2 % and overshoot: times to one time between samples, since
step_info knows no moment between them, overshoot to 0.001 % of the step and what the final place is away from the last sample.
What looprig states as uncertainty has to hold each difference, too.

The library comes from PyPI into target/outside; without it this ends with 77.

Usage: step_info.py [SEED]     (LOOPRIG_TRAVEL_FIGURES=PROGRAM uses that program instead of building the example)
"""

import json
import os
import pathlib
import random
import subprocess
import sys

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TOP / "tests" / "support"))
import pypi  # noqa: E402

SEED = 20261130
SYSTEMS = 200
# The version that is fetched.
VERSION = "0.10.2"
# When the step is asked for, s: two seconds of rest are before it.
ASKED_S = 3.0
# What is settled is told by 2 % of the change, but no less than 0.2 % of travel: changes are larger than 10 %.
LEAST_CHANGE = 12.0


def response(control, dice):
    """Times from 0, s, and the answer to a step of 1; the time between samples; words that say what it is."""
    kind = dice.choice(["first", "second", "second", "third", "ramp"])
    interval = dice.choice([0.002, 0.01, 0.05])
    dead = dice.choice([0, 0, dice.randint(1, int(1 / interval))])
    slowest = dice.uniform(0.3, 3)
    times = [n * interval for n in range(int((dead * interval + 25 * slowest + 4) / interval))]
    if kind == "ramp":
        answer = [min(t / (2 * slowest), 1.0) for t in times]
        words = f"ramp of {2 * slowest:.3f} s"
    else:
        if kind == "first":
            numerator, denominator = [1], [slowest, 1]
        elif kind == "second":
            damping = dice.uniform(0.3, 1.5)
            # The slower pole, or the envelope, has the slowest time constant.
            wn = 1 / (damping * slowest) if damping < 1 else (damping + (damping**2 - 1) ** 0.5) / slowest
            numerator, denominator = [wn**2], [1, 2 * damping * wn, wn**2]
        else:
            others = [dice.uniform(0.05, 1) * slowest for _ in range(2)]
            a, b, c = slowest, *others
            numerator, denominator = [1], [a * b * c, a * b + a * c + b * c, a + b + c, 1]
        _, answer = control.step_response(control.tf(numerator, denominator), times)
        answer, words = [float(x) for x in answer], f"{numerator}/{denominator}"
    return times, [0.0] * dead + answer[: len(times) - dead], interval, f"{words}, dead for {dead * interval:.3f} s"


def record(times, travel, start, end):
    """A record of a travel test with one step; `start` is the place before."""
    rest = [[ASKED_S - 2.5 + 0.25 * n, start] for n in range(10)]
    samples = rest + [[ASKED_S + t, y] for t, y in zip(times, travel)]
    step = {
        "from_percent": start,
        "to_percent": end,
        "watch": {"asked_at_s": ASKED_S, "asked_uncertain_s": 0, "samples_uncertain_s": 0, "view": "sensor", "samples": samples, "by_hand_s": None},
    }
    texts = dict.fromkeys(["looprig", "started", "line", "who", "site", "stimulus"], "")
    empty = {name: [] for name in ["instruments", "points", "creeps", "strokes", "fails", "ends", "remarks"]}
    nothing = dict.fromkeys(["external", "supply_kpa", "ambient_c", "log", "left"])
    defaults = {name: {} for name in ["device", "valve", "plan", "variables", "sensor", "link"]}
    return {"looprig_travel": 1, "test": "travel", "occasion": "unsaid", **texts, **empty, **nothing, **defaults, "steps": [step], "ended": {"how": "whole"}}


def figures(records):
    default = "cargo run --release --locked --quiet --example travel_figures"
    program = [os.environ["LOOPRIG_TRAVEL_FIGURES"]] if "LOOPRIG_TRAVEL_FIGURES" in os.environ else default.split()
    text = "".join(json.dumps(r) + "\n" for r in records)
    done = subprocess.run(program, cwd=TOP, check=True, input=text.encode(), stdout=subprocess.PIPE, timeout=900)
    return [json.loads(line) for line in done.stdout.decode().splitlines()]


def main():
    control = pypi.library("control", "control", VERSION, alone=False)
    if control is None:
        print("python-control is not here, and PyPI does not give it")
        return 77
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else SEED
    dice = random.Random(seed)
    cases = []
    for _ in range(SYSTEMS):
        times, answer, interval, words = response(control, dice)
        start = dice.uniform(5, 95)
        change = dice.uniform(LEAST_CHANGE, 60) * (1 if start < 50 else -1)
        travel = [start + change * y for y in answer]
        cases.append((times, answer, travel, start, change, interval, f"{words}, {start:.2f} to {start + change:.2f} %"))
    found = figures([record(t, travel, start, start + change) for t, _, travel, start, change, _, _ in cases])
    if len(found) != SYSTEMS:
        sys.exit(f"{SYSTEMS} records, {len(found)} answers")
    worst, compared, over = {}, 0, 0
    for (times, answer, travel, start, change, interval, words), list_ in zip(cases, found):
        ours = {f["definition"]: f for f in list_}
        final = sum(answer[-int(2 / interval) :]) / int(2 / interval)
        theirs = {}
        # From 0 to a share of the final value: the first sample is at 0.
        for name, share in [("t63_s", 0.632), ("t86_s", 0.865)]:
            theirs[name] = control.step_info(answer, T=times, yfinal=final, RiseTimeLimits=(0, share))["RiseTime"]
        info = control.step_info(answer, T=times, yfinal=final, SettlingTimeThreshold=0.02)
        theirs["settling_s"], theirs["overshoot_percent"] = info["SettlingTime"], info["Overshoot"]
        over += theirs["overshoot_percent"] > 1
        for name, right in theirs.items():
            figure = ours[name]
            about = f"seed {seed}: {words}, a sample every {interval} s: {name}"
            if figure["value"] is None:
                sys.exit(f"{about}: looprig has none ({figure['remark']}), python-control {right}")
            off = abs(figure["value"] - right)
            allowed = interval * (1 + 1e-6) if name.endswith("_s") else 1e-3
            # Of the moment between two samples python-control tells the later one, looprig a place between.
            stated = figure["uncertainty"] + (1e-6 if name.endswith("_s") else 1e-3)
            if not off <= allowed or not off <= stated:
                sys.exit(f"{about}: looprig {figure['value']} +- {figure['uncertainty']}, python-control {right}")
            share = off / interval if name.endswith("_s") else off
            worst[name] = max(worst.get(name, 0), share)
            compared += 1
    if over < SYSTEMS / 10:
        sys.exit(f"only {over} systems overshoot: too few to compare")
    print(
        f"python-control {control.__version__}: {SYSTEMS} systems, {over} of them overshoot, {compared} figures agree; furthest apart, in times between samples: "
        f"T63 {worst['t63_s']:.2f}, T86 {worst['t86_s']:.2f}, settling {worst['settling_s']:.2f}; overshoot {worst['overshoot_percent']:.1e} % (seed {seed})"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
