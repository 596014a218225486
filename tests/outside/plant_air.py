#!/usr/bin/env python3
"""Compares the air of the valve with `fluids`, a general library of flow (PyPI), and with an integration written here.

`cargo run --example plant_flows` prints what looprig computes. Compared are:
- the critical pressure ratio of the ideal nozzle with `fluids.P_critical_flow`, and its choked flow with that pressure, the
  temperature there (`fluids.T_critical_flow`) and the speed of sound; its flow below choking with the temperature and the density
  that an isentropic expansion leaves (`fluids.isentropic_T_rise_compression`), to 1e-9;
- a hole by ISO 6358 with the same nozzle, to 0.155 % of the choked flow: the standard puts an ellipse in the place of the isentropic
  curve, and the two differ by so much at r = 0.85; above r = 0.98 also the laminar end that looprig has from 0.999 on is within it;
- long lines with `fluids.isothermal_gas`, which has the term 2 ln(p1/p2) that looprig leaves out: looprig's flow is never the
  smaller one but for the loss of its ends, and is within 2 %;
- vessels that fill and vent with the classical method of Runge and Kutta at a fiftieth of looprig's step: 0.002 % of the way at 1 ms, and
  a quarter of that at 0.5 ms. The law of the restriction is written anew here.

The library comes from PyPI into target/outside; without it this ends with 77.

Usage: plant_air.py     (LOOPRIG_PLANT_FLOWS=PROGRAM uses that program instead of building the example)
"""

import json
import math
import os
import pathlib
import subprocess
import sys

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TOP / "tests" / "support"))
import pypi  # noqa: E402

R, KAPPA, RHO0, T0 = 287.05, 1.4, 1.185, 293.15
# The version that is fetched.
VERSION = "1.3.1"
# looprig's own choice for the friction factor of a line [PL-03].
LINE_FRICTION = 0.025
# From this ratio on the flow is laminar [PL-02].
LAMINAR = 0.999


def records():
    default = "cargo run --release --locked --quiet --example plant_flows"
    program = [os.environ["LOOPRIG_PLANT_FLOWS"]] if "LOOPRIG_PLANT_FLOWS" in os.environ else default.split()
    done = subprocess.run(program, cwd=TOP, check=True, stdout=subprocess.PIPE, timeout=900)
    return [json.loads(line) for line in done.stdout.decode().splitlines()]


def nozzle(fluids, area, p1, p2, t1):
    """Flow of an ideal nozzle: density and speed at its narrowest place, from the library's states there."""
    throat = max(p2, fluids.P_critical_flow(p1, KAPPA))
    if throat > p2:
        t = fluids.T_critical_flow(t1, KAPPA)
        speed = math.sqrt(KAPPA * R * t)
    else:
        # In spite of its name it gives the temperature after the change.
        t = fluids.isentropic_T_rise_compression(t1, p1, p2, KAPPA)
        speed = math.sqrt(max(0.0, 2 * KAPPA * R / (KAPPA - 1) * (t1 - t)))
    return area * throat / (R * t) * speed


def iso_6358(c, b, p1, p2, t):
    if p2 > p1:
        return -iso_6358(c, b, p2, p1, t)
    r = p2 / p1
    u = max(0.0, (min(r, LAMINAR) - b) / (1 - b))
    share = min(1.0, (1 - r) / (1 - LAMINAR))
    return c * RHO0 * p1 * math.sqrt(T0 / t) * math.sqrt(1 - u * u) * share


def course(it):
    """The vessel's pressures by the classical method of fourth order."""
    c, b, t, source = it["conductance_m3_per_s_pa"], it["critical_ratio"], it["temperature_k"], it["source_pa"]
    k = it["exponent"] * R * t / it["volume_m3"]
    slope = lambda p: k * iso_6358(c, b, source, p, t)
    p, out, steps = it["course_pa"][0], [it["course_pa"][0]], round(it["every_s"] / 2e-5)
    dt = it["every_s"] / steps
    for _ in it["course_pa"][1:]:
        for _ in range(steps):
            k1 = slope(p)
            k2 = slope(p + dt / 2 * k1)
            k3 = slope(p + dt / 2 * k2)
            k4 = slope(p + dt * k3)
            after = p + dt / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
            p = after
        out.append(p)
    return out


def main():
    fluids = pypi.library("fluids", "fluids", VERSION)
    if fluids is None:
        print("fluids cannot be had from PyPI")
        return 77
    wrong, counts, worst = [], {}, {}

    def judge(kind, what, off, allowed):
        counts[kind] = counts.get(kind, 0) + 1
        worst[kind] = max(worst.get(kind, 0.0), abs(off))
        if not abs(off) <= allowed:
            wrong.append(f"{kind}: {what}: off by {off:.3g}, allowed {allowed:g}")

    for it in records():
        if it["kind"] == "constants":
            judge("critical ratio", "air", it["nozzle_critical_ratio"] - fluids.P_critical_flow(1.0, KAPPA), 1e-12)
        elif it["kind"] == "flow":
            p1, p2, t = it["from_pa"], it["to_pa"], it["temperature_k"]
            what = f"{p1:g} to {p2:g} Pa, {t:g} K"
            exact, choked = nozzle(fluids, it["area_m2"], p1, p2, t), nozzle(fluids, it["area_m2"], p1, 1.0, t)
            judge("nozzle", what, (it["nozzle_kg_per_s"] - exact) / choked, 1e-9)
            judge("hole by ISO 6358", what, (it["hole_kg_per_s"] - exact) / choked, 0.00155)
            own = iso_6358(it["conductance_m3_per_s_pa"], it["critical_ratio"], p1, p2, t)
            judge("ISO 6358", what, (it["plain_kg_per_s"] - own) / choked, 1e-12)
        elif it["kind"] == "line":
            p1, p2, d, length = it["from_pa"], it["to_pa"], it["bore_m"], it["length_m"]
            density = p1 / (R * it["temperature_k"])
            m = fluids.isothermal_gas(density, LINE_FRICTION, P1=p1, P2=p2, L=length, D=d)
            judge("line", f"{d * 1e3:g} mm, {length:g} m, to {p2:g} Pa", it["kg_per_s"] / m - 1, 0.02)
        elif it["kind"] == "course":
            own, way = course(it), abs(it["source_pa"] - it["course_pa"][0])
            off = max(abs(a - b) for a, b in zip(own, it["course_pa"])) / way
            what = f"{it['name']}, {it['volume_m3'] * 1e3:g} dm3, exponent {it['exponent']}"
            judge(f"course at {it['dt_s'] * 1e3:g} ms", what, off, 2e-5 * (it["dt_s"] / 1e-3) ** 2)
    for kind, least in (("critical ratio", 1), ("nozzle", 100), ("line", 12), ("course at 1 ms", 6), ("course at 0.5 ms", 6)):
        if counts.get(kind, 0) < least:
            wrong.append(f"{kind}: {counts.get(kind, 0)} comparisons, not {least}")
    for kind, count in counts.items():
        print(f"{kind}: {count} compared with fluids {fluids.__version__} or an integration, worst {worst[kind]:.2g}")
    for line in wrong:
        print(line, file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
