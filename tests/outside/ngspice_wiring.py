#!/usr/bin/env python3
"""Generates wiring sheets and compares what ngspice and looprig compute of them.

The sheets are put together by chance. From the text of each sheet this script writes netlists of its own: it knows the keys of a
sheet and the tables of cores and capacitances, and nothing else of ours. Cables are ngspice's lossy line element; wet cables,
which that element cannot do, are 200 cells. Compared are the volts at every place for direct current, at every current, and
the level at both tones of every transmission at every place and across the source's resistor: length and phase together, as a
complex number, to 0.1 %.

Usage: ngspice_wiring.py [SEED]     (LOOPRIG=PROGRAM uses that program instead of building one)
"""

import cmath
import json
import math
import os
import pathlib
import random
import shutil
import subprocess
import sys
import tempfile
import tomllib

SEED = 20261125
SHEETS = 50
SHARE = 1e-3
CURRENTS_MA = [3.6, 3.8, 4.0, 12.0, 20.0, 20.5, 21.0, 22.5]
# IEC 60228, ohm/km of a core at 20 degC: class 1 and 2, class 5.
CORES = {0.5: (36.0, 39.0), 0.75: (24.5, 26.0), 1.0: (18.1, 19.5), 1.5: (12.1, 13.3), 2.5: (7.41, 7.98)}
PF_PER_M = {"pvc": 250, "pe": 85, "pe_screened": 120, "unknown": 200}
CELLS = 200


def sheet(dice):
    """A sheet as text: what a careless person might draw."""
    out = []
    card = dice.random() < 0.4
    if card:
        out += ["[card]", f"compliance_v = {dice.uniform(15, 30):.2f}", f"impedance_ohm = {dice.choice([15, 800, 20000, 1e6])}"]
        out += [f"capacitance_nf = {dice.uniform(0, 30):.2f}"] * (dice.random() < 0.5)
        out += [f"filter_ohm = {dice.uniform(50, 400):.1f}", f"filter_mh = {dice.uniform(0, 50):.2f}"] * (dice.random() < 0.5)
    else:
        out += ["[supply]", f"voltage_v = {dice.uniform(18, 48):.2f}", f"resistor_ohm = {dice.choice([0, 100, 250, 270, 600])}"]
        out += [f"impedance_ohm = {dice.uniform(0.1, 40):.2f}"] * (dice.random() < 0.5)
    resistor = not card and "resistor_ohm = 0" not in out
    parts, places = [], ["source"]

    def cable(n, start=None):
        to = f"box {n}"
        lines = ["[[cable]]", f'name = "C-{n}"', f'to = "{to}"']
        lines += [f'from = "{start}"'] if start else []
        lines.append(dice.choice([f"length_m = {dice.uniform(0, 2500):.1f}", f"length_ft = {dice.uniform(10, 6000):.1f}"]))
        lines.append(
            dice.choice([f"cross_section_mm2 = {dice.choice(list(CORES))}", f"cross_section_mm2 = {dice.uniform(0.3, 3):.3f}",
                         f"awg = {dice.randint(14, 24)}", f"resistance_ohm_per_km = {dice.uniform(10, 200):.2f}"]))
        lines += ["flexible = true"] * (dice.random() < 0.2)
        lines += [f"temperature_c = {dice.uniform(-30, 70):.1f}"] * (dice.random() < 0.5)
        lines += dice.choice([[], [f'insulation = "{dice.choice(list(PF_PER_M))}"'],
                              [f"capacitance_pf_per_m = {dice.uniform(50, 300):.1f}"], [f"capacitance_pf_per_ft = {dice.uniform(15, 90):.1f}"]])
        lines += [f"inductance_uh_per_m = {dice.uniform(0.3, 1.5):.3f}"] * (dice.random() < 0.5)
        lines += [f"insulation_kohm_km = {dice.uniform(20, 2000):.1f}"] * (dice.random() < 0.15)
        lines += ["reversed = true"] * (dice.random() < 0.1)
        places.append(to)
        return lines

    def device(n, place=None):
        lines = ["[[device]]", f'tag = "T-{n}"', f"min_voltage_v = {dice.uniform(8, 12):.2f}"]
        lines += [f'at = "{place}"'] if place else []
        lines += [f"resistance_ohm = {dice.uniform(0, 80):.1f}"] * (dice.random() < 0.4)
        lines += dice.choice([[], [f"capacitance_number = {dice.uniform(0, 5):.2f}"], [f"capacitance_nf = {dice.uniform(0, 70):.2f}"]])
        if card or dice.random() < 0.3:
            lines += [f"impedance_ohm = {dice.uniform(250, 1100):.1f}", f"transmit_mv_pp = {dice.uniform(200, 800):.1f}"]
            lines += [f"transmit_impedance_ohm = {dice.uniform(10, 600):.1f}"] * (dice.random() < 0.5)
        else:
            lines += [f"transmit_ma_pp = {dice.uniform(0.8, 1.2):.3f}"] * (dice.random() < 0.5)
            lines += [f"impedance_ohm = {dice.uniform(5e3, 1e6):.1f}"] * (dice.random() < 0.5)
        return lines

    for n in range(1, dice.randint(2, 4)):
        parts.append(cable(n))
        if dice.random() < 0.5:
            kind = dice.choice(["resistor", "barrier", "surge", "terminal", "indicator"])
            lines = ["[[series]]", f'kind = "{kind}"', f'name = "S-{n}"', f'to = "panel {n}"', f"resistance_ohm = {dice.uniform(0, 300):.2f}"]
            lines += [f"tones_ohm = {dice.uniform(0, 300):.2f}"] * (dice.random() < 0.3)
            lines += [f"inductance_mh = {dice.uniform(0, 5):.3f}"] * (dice.random() < 0.3)
            lines += [f"drop_v = {dice.uniform(0, 2):.2f}"] * (dice.random() < 0.3)
            lines += [f"capacitance_nf = {dice.uniform(0, 10):.2f}"] * (dice.random() < 0.3)
            places.append(f"panel {n}")
            parts.append(lines)
    parts.append(device(1))
    count = 1 if card else dice.choice([1, 1, 2, 4])
    for n in range(2, count + 1):
        if dice.random() < 0.6:
            parts.append(cable(10 + n, dice.choice(places)))
        parts.append(device(n, places[-1]))
    if dice.random() < 0.4:
        # A spur with nobody at its end.
        parts.append(cable(30, dice.choice(places)))
    if dice.random() < 0.3:
        parts.append(["[[shunt]]", 'kind = "leak"', f"resistance_ohm = {dice.uniform(2e3, 1e6):.0f}", f'at = "{dice.choice(places)}"'])
    if dice.random() < 0.3:
        parts.append(["[[shunt]]", 'kind = "capacitor"', f"capacitance_nf = {dice.uniform(1, 50):.2f}", f'at = "{dice.choice(places)}"'])
    out += [line for part in parts for line in part]
    if dice.random() < 0.8:
        out.append("[master]")
        at = dice.choice(places + ["resistor"] * (2 * resistor))
        out.append(f'at = "{at}"')
        out += dice.choice([[], [f"transmit_ma_pp = {dice.uniform(0.5, 2):.2f}"], [f"transmit_mv_pp = {dice.uniform(300, 800):.1f}",
                            f"transmit_impedance_ohm = {dice.uniform(5, 500):.1f}"]])
        out += [f"impedance_ohm = {dice.uniform(1e3, 1e5):.1f}"] * (dice.random() < 0.5)
        out += [f"capacitance_nf = {dice.uniform(0, 20):.2f}"] * (dice.random() < 0.5)
        out += [f"coupling_uf = {dice.uniform(0.5, 5):.2f}"] * (dice.random() < 0.5)
    return "\n".join(out) + "\n"


class Netlist:
    """Elements with numbers of their own; node 0 is the other wire of the pair everywhere."""

    def __init__(self):
        self.lines = ["* looprig"]

    def add(self, kind, a, b, value):
        self.lines.append(f"{kind}{len(self.lines)} {a} {b} {value}")

    def ohm(self, a, b, ohm):
        # A resistance of nothing is a source of 0 V.
        self.add("R", a, b, f"{ohm!r}") if ohm > 0 else self.add("V", a, b, "dc 0 ac 0")

    def nf(self, a, b, nf):
        if nf > 0:
            self.add("C", a, b, f"{nf!r}n")

    def cable(self, a, b, part, dc):
        m = part["length_m"] if "length_m" in part else part["length_ft"] * 0.3048
        if "resistance_ohm_per_km" in part:
            core = part["resistance_ohm_per_km"] / 2
        else:
            mm2 = part.get("cross_section_mm2")
            if "awg" in part:
                mm2 = math.pi / 4 * (0.127 * 92 ** ((36 - part["awg"]) / 39)) ** 2
            core = CORES[mm2][part.get("flexible", False)] if mm2 in CORES else 17.241 / mm2
        ohm_per_m = 2 * core * (234.5 + part.get("temperature_c", 20)) / 254.5 / 1e3
        pf = part.get("capacitance_pf_per_m")
        if pf is None and "capacitance_pf_per_ft" in part:
            pf = part["capacitance_pf_per_ft"] / 0.3048
        if pf is None:
            pf = PF_PER_M[part.get("insulation", "unknown")]
        uh = part.get("inductance_uh_per_m", 0.65)
        wet = part.get("insulation_kohm_km")
        if m < 1e-6:
            self.ohm(a, b, 0)
        elif wet is None:
            n = len(self.lines)
            self.lines.append(f"O{n} {a} 0 {b} 0 line{n}")
            self.lines.append(f".model line{n} LTRA R={ohm_per_m!r} L={uh!r}u G=0 C={pf!r}p LEN={m!r} rel=1 abs=1")
        else:
            d = m / CELLS
            leak = wet * 1e6 / d
            for n in range(CELLS):
                x = a if n == 0 else f"{b}x{n}"
                y = b if n == CELLS - 1 else f"{b}x{n + 1}"
                for end in (x, y):
                    self.ohm(end, "0", 2 * leak)
                    self.nf(end, "0", pf * d / 2 / 1e3)
                self.ohm(x, f"{y}l", ohm_per_m * d)
                self.add("L", f"{y}l", y, f"{uh * d!r}u") if not dc else self.ohm(f"{y}l", y, 0)

    def run(self, directory, analysis, vectors):
        """The analysis, and the values of the vectors at each of its points, complex."""
        data = directory / "out"
        text = "\n".join(self.lines + [".options reltol=1e-9 abstol=1e-15 vntol=1e-12 gmin=1e-18", ".control", analysis, "set numdgt=12",
                         f"wrdata {data} {' '.join(vectors)}", "quit", ".endc", ".end", ""])
        net = directory / "net.cir"
        net.write_text(text)
        data.unlink(missing_ok=True)
        ended = subprocess.run(["ngspice", "-b", str(net)], cwd=directory, capture_output=True, text=True)
        if not data.exists():
            sys.exit(f"ngspice: no result\n{ended.stdout}{ended.stderr}\n{text[:3000]}")
        rows = []
        for line in data.read_text().splitlines():
            cells = [float(c) for c in line.split()]
            # Each vector has its own column of the scale.
            width = 3 if analysis.startswith("ac") else 2
            rows.append([complex(*cells[k + 1 : k + width]) for k in range(0, len(cells), width)])
        return rows


class Loop:
    """A sheet, read a second time."""

    def __init__(self, text):
        self.sheet = tomllib.loads(text)
        # The order of tables of different kinds is told by the text alone.
        counts, self.order = {}, []
        for line in text.splitlines():
            if line.startswith("[["):
                kind = line.strip("[]")
                n = counts[kind] = counts.get(kind, -1) + 1
                self.order.append((kind, self.sheet[kind][n]))
        self.places, self.parts = ["source"], []
        self.devices, self.shunts = [], []
        here = "source"
        for kind, part in self.order:
            if kind in ("cable", "series"):
                start = part.get("from", here)
                here = part["to"]
                self.parts.append((kind, self.node(start), part))
                self.places.append(here)
            else:
                (self.devices if kind == "device" else self.shunts).append((self.node(part.get("at", here)), part))

    def node(self, place):
        return f"p{self.places.index(place)}"

    def holds_ma(self, ma):
        return 4.0 if len(self.devices) > 1 else ma

    def wires(self, net, dc):
        for n, (kind, a, part) in enumerate(self.parts):
            b = f"p{n + 1}"
            if kind == "cable":
                net.cable(a, b, part, dc)
                continue
            ohm = part.get("resistance_ohm", 0)
            if dc:
                net.add("V", a, f"{b}d", f"dc {part.get('drop_v', 0)}")
                net.ohm(f"{b}d", b, ohm)
            else:
                net.ohm(a, f"{b}d", part.get("tones_ohm", ohm))
                net.add("L", f"{b}d", b, f"{part.get('inductance_mh', 0) + 1e-9!r}m")
                net.nf(b, "0", part.get("capacitance_nf", 0))
        for place, shunt in self.shunts:
            if "resistance_ohm" in shunt:
                net.ohm(place, "0", shunt["resistance_ohm"])
            net.nf(place, "0", shunt.get("capacitance_nf", 0))

    def direct(self, ma, directory):
        net = Netlist()
        self.wires(net, True)
        if "card" in self.sheet:
            net.add("I", "0", "p0", f"dc {ma!r}m")
        else:
            supply = self.sheet["supply"]
            net.add("V", "plus", "0", f"dc {supply['voltage_v']}")
            net.ohm("plus", "inner", supply.get("impedance_ohm", 0))
            net.ohm("inner", "p0", supply["resistor_ohm"])
        for place, device in self.devices:
            if "card" in self.sheet:
                net.add("V", f"{place}v", "0", f"dc {device['min_voltage_v']}")
                net.ohm(place, f"{place}v", device.get("resistance_ohm", 0))
            else:
                net.add("I", place, "0", f"dc {self.holds_ma(ma)!r}m")
        return net.run(directory, "op", [f"v(p{n})" for n in range(len(self.places))])[0]

    def station(self, net, name, a, b, station, talks, default_ohm, default_nf, behind):
        """Somebody between two nodes, silent or transmitting."""
        if "coupling_uf" in station:
            net.add("C", a, name, f"{station['coupling_uf']}u")
            # Where nothing hangs behind the capacitor the simulator wants a way for direct current.
            net.ohm(name, b, 1e12)
            a = name
        nf = station.get("capacitance_nf", station.get("capacitance_number", default_nf / 5) * 5)
        net.nf(a, b, nf)
        ohm = station.get("impedance_ohm", default_ohm)
        if talks and ("transmit_mv_pp" in station or behind is not None and "transmit_ma_pp" not in station):
            net.add("V", f"{name}t", b, f"dc 0 ac {station.get('transmit_mv_pp', 500)!r}")
            net.ohm(f"{name}t", a, station.get("transmit_impedance_ohm", behind or ohm))
            return
        if ohm:
            net.ohm(a, b, ohm)
        if talks:
            # mA into ohm are mV.
            net.add("I", b, a, f"dc 0 ac {station.get('transmit_ma_pp', 1.0)!r}")

    def tones(self, talker, directory):
        """mV at 1200 and 2200 Hz of every place and of the source's end; `talker` counts devices, None is the master."""
        net = Netlist()
        self.wires(net, False)
        end = "v(p0)"
        if "card" in self.sheet:
            card = self.sheet["card"]
            net.ohm("card", "0", card["impedance_ohm"])
            net.nf("card", "0", card.get("capacitance_nf", 0))
            net.ohm("card", "filter", card.get("filter_ohm", 0))
            net.add("L", "filter", "p0", f"{card.get('filter_mh', 0) + 1e-9!r}m")
        else:
            supply = self.sheet["supply"]
            net.ohm("inner", "0", supply.get("impedance_ohm", 0))
            net.ohm("inner", "p0", supply["resistor_ohm"])
            end = "v(p0,inner)" if supply["resistor_ohm"] > 0 else end
        for n, (place, device) in enumerate(self.devices):
            self.station(net, f"d{n}", place, "0", device, talker == n, None, 5, None)
        master = self.sheet.get("master")
        if master:
            at = master["at"]
            a, b = ("p0", "inner") if at == "resistor" else (self.node(at), "0")
            self.station(net, "m", a, b, master, talker is None, 5000, 0, 100)
        net.ohm("p0", "0", 1e15)
        return net.run(directory, "ac lin 2 1200 2200", [f"v(p{n})" for n in range(len(self.places))] + [end])


class Compare:
    def __init__(self):
        self.count, self.worst = 0, 0.0

    def one(self, what, ours, theirs, least):
        off = abs(ours - theirs) / max(abs(theirs), least)
        self.count += 1
        self.worst = max(self.worst, off)
        if not off <= SHARE:
            sys.exit(f"{what}: looprig {ours}, ngspice {theirs}: {off:.2%} apart")


def phasor(level):
    return cmath.rect(level["mv_pp"], math.radians(level["degrees"]))


def main():
    if not shutil.which("ngspice"):
        print("ngspice is not installed")
        return 77
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else SEED
    root = pathlib.Path(__file__).resolve().parents[2]
    looprig = os.environ.get("LOOPRIG")
    if not looprig:
        subprocess.run(["cargo", "build", "--release", "--locked", "--quiet"], cwd=root, check=True)
        looprig = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", root / "target")) / "release" / "looprig"
    dice = random.Random(seed)
    direct, tones, runs = Compare(), Compare(), 0
    with tempfile.TemporaryDirectory() as name:
        directory = pathlib.Path(name)
        for number in range(SHEETS):
            text = sheet(dice)
            path = directory / f"sheet-{number}.toml"
            path.write_text(text)
            ended = subprocess.run([looprig, "--format", "json", "wiring", path], capture_output=True, text=True)
            if ended.returncode not in (0, 1):
                sys.exit(f"{text}\n{ended.stderr}")
            result = json.loads(ended.stdout)
            loop = Loop(text)
            about = f"seed {seed}, sheet {number}\n{text}\n"
            currents = CURRENTS_MA if len(loop.devices) == 1 else [4.0 * len(loop.devices)]
            if len(result["dc"]) != len(currents) or result["places"] != loop.places:
                sys.exit(f"{about}other currents or places: {result['places']}")
            for ma, row in zip(currents, result["dc"]):
                theirs = loop.direct(ma, directory)
                runs += 1
                for place, right in zip(loop.places, theirs):
                    direct.one(f"{about}{ma} mA at {place}", row["places_v"][place], right.real, 0.1)
            names = [d["tag"] for _, d in loop.devices] + ["master"] * ("master" in loop.sheet)
            for tone in result["tones"]:
                if [t["by"] for t in tone["transmissions"]] != names:
                    sys.exit(f"{about}other transmissions: {tone}")
            # A source of no resistance counts as one of a millionth of an ohm with us: 0.2 uV at 0.2 A.
            shorted = loop.sheet.get("supply", {}).get("resistor_ohm") == 0 and "impedance_ohm" not in loop.sheet["supply"]
            least = 0.2 if shorted else 1e-3
            for n, by in enumerate(names):
                theirs = loop.tones(None if by == "master" else n, directory)
                runs += 1
                for tone, right in zip(result["tones"], theirs):
                    ours = tone["transmissions"][n]
                    for place, mv in zip(loop.places, right):
                        tones.one(f"{about}{by}, {tone['hz']} Hz at {place}", phasor(ours["places"][place]), mv, least)
                    tones.one(f"{about}{by}, {tone['hz']} Hz at the source's end", phasor(ours["source_end"]["level"]), right[-1], least)
    print(
        f"ngspice: {SHEETS} sheets, {runs} netlists; {direct.count} voltages agree to {direct.worst:.1e}, "
        f"{tones.count} levels with their phases to {tones.worst:.1e} (seed {seed})"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
