"""Records of travel tests for scripts, invented: FV-3104 of Brackenmoor water works, by arithmetic alone (TV-02).

Travel follows the set point with half of `gap` to either side, a bow in the middle, an error that grows with travel, and noise that repeats;
steps are of the first order with a dead time.
"""

import math

LEVELS = [0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100]


def noise(n):
    return 0.02 * math.sin(7.3 * n)


def travel(level, up, gap, slope, bow):
    return level + slope * (level - 50) / 50 + bow * (1 - ((level - 50) / 50) ** 2) - (gap / 2 if up else -gap / 2)


def point(cycle, up, level, at, gap, slope, bow, measured):
    rest = travel(level, up, gap, slope, bow)
    stem = rest + 0.25 * level / 100
    asked_ma = 4 + 0.16 * level
    return {
        "cycle": cycle, "direction": "up" if up else "down", "asked_percent": level, "asked_ma": asked_ma, "wanted_percent": level,
        "asked_at_s": at, "dwell_s": 6.0, "settled": True,
        "readings": [[at + 4 + 0.5 * n, round(rest + noise(n + level + 3 * cycle), 2)] for n in range(5)],
        "read_ma": round(asked_ma + 0.004, 3), "set_point_percent": level + 0.02, "angle_deg": round(-31 + 0.62 * level, 1),
        "external": {"value": round(0.4 * stem, 2), "unit": "mm", "percent": round(2.5 * round(0.4 * stem, 2), 4)} if measured else None,
        "control_system_percent": None,
    }


def watch(at, start, end, tau, dead, seconds, interval):
    def place(t):
        return start if t < dead else start + (end - start) * (1 - math.exp(-(t - dead) / tau))
    count = int(seconds / interval)
    before = [[at - 2.5 + interval * n, round(start + noise(n), 2)] for n in range(int(2.4 / interval))]
    after = [[round(at + interval * n, 4), round(place(interval * n) + noise(n), 2)] for n in range(1, count)]
    return {"asked_at_s": at, "asked_uncertain_s": 0.02, "samples_uncertain_s": 0.05, "view": "sensor", "samples": before + after, "by_hand_s": None}


def record(occasion="as_left", gap=0.3, slope=0.1, bow=0.1, cycles=3, measured=True, ended=None, **changed):
    """One record; a large `gap` is a large hysteresis."""
    points, at = [], 5.0
    for cycle in range(1, cycles + 1):
        for up in (True, False):
            for level in LEVELS if up else LEVELS[::-1]:
                points.append(point(cycle, up, level, at, gap, slope, bow, measured and cycle == 1))
                at += 8.0
    steps = []
    for start, end in [(50, 55), (55, 50), (25, 75), (75, 25)]:
        steps.append({"from_percent": start, "to_percent": end, "watch": watch(at + 5, start, end, 0.9, 0.4, 14, 0.35)})
        at += 30.0
    strokes = []
    for start, end in [(0, 100), (100, 0)]:
        strokes.append({"from_percent": start, "to_percent": end, "watch": watch(at + 5, start, end, 1.6, 0.5, 20, 0.35)})
        at += 40.0
    creep = {"place_percent": 50, "moves": []}
    # Creeps up until it follows, then down until it follows again; it follows when the set point is `gap`/2 beyond it.
    place, asked = 50.0, 50.0
    for n, move in enumerate([0.0] + [0.1] * (int(gap / 0.2) + 3) + [-0.1] * (int(gap / 0.1) + 3)):
        asked = round(asked + move, 6)
        place = min(max(place, asked - gap / 2), asked + gap / 2)
        creep["moves"].append({"input_percent": asked, "asked_at_s": at + 4 * n, "readings": [[at + 4 * n + 2 + 0.4 * k, round(place + noise(n + k) / 4, 3)] for k in range(4)], "external": None})
    at += 120.0
    fail = {"loss": "current", "from_percent": 50, "watch": watch(at + 5, 50, 0, 1.1, 0.6, 20, 0.35), "seen": "closed", "restored": True}
    out = {
        "looprig_travel": 1, "test": "travel", "occasion": occasion, "looprig": "0.1.0", "started": "2026-11-30 08:15:00 UTC",
        "line": "mock:fv-3104.toml", "who": "A. Invented", "site": "Brackenmoor water works, filter hall, permit 3104-7",
        "device": {"tag": "FV-3104", "long_tag": "BRACKENMOOR FILTER 3 INLET FV-3104", "unique_address": "3A2B00C51D", "manufacturer": "reserved (250)",
                   "device_type": "positioner (0xFA01)", "revision": 7, "serial": "50461", "more": [["final assembly number", "31"]]},
        "valve": {"tag": "FV-3104", "motion": "linear", "rated_travel": 40.0, "fails_to": "closed", "words": "DN 80, globe, graphite packing"},
        "stimulus": "command 40 writes the current (the mock obeys)",
        "plan": {"levels_percent": LEVELS, "cycles": cycles, "creep_places_percent": [50], "creep_increment_percent": 0.1,
                 "steps_percent": [[50, 55], [55, 50], [25, 75], [75, 25]], "step_watch_s": 14, "strokes": 1, "losses": ["current"]},
        "variables": {"set_point": "command 3, second variable", "travel": "command 3, third variable", "current": "command 3, loop current", "angle": ""},
        "sensor": {"name": "the device's own sensor", "resolution_percent": 0.01},
        "external": {"name": "dial gauge at the stem", "resolution_percent": 0.025, "limit_percent": 0.05, "instrument": 0} if measured else None,
        "instruments": [{"name": "dial gauge", "serial": "DG-118", "calibrated": "2026-06-02", "limit": "0.02 mm"},
                        {"name": "loop calibrator", "serial": "LC-7", "calibrated": "2026-01-15", "limit": "0.01 % of reading + 2 uA"}],
        "supply_kpa": 240.0, "ambient_c": 14.5, "points": points, "creeps": [creep], "steps": steps, "strokes": strokes, "fails": [fail],
        "ends": [{"open": False, "readings": [[at + 30, 0.0]], "angle_deg": -31.2, "external": None},
                 {"open": True, "readings": [[at + 40, 100.0]], "angle_deg": 30.9, "external": None}],
        "link": {"requests": 2100, "answered": 2100, "retries": 3, "damaged": 1, "slowest_s": 0.29},
        "log": {"name": "fv-3104.log", "hash": "crc32:5d70c3a1"}, "ended": ended or {"how": "whole"},
        "left": {"percent": 0.0, "words": "The set point is left at 0 % (4 mA), in automatic."}, "remarks": [],
    }
    return {**out, **changed}


def device_check(**changed):
    """One device check of the same valve: a sensor moved by hand from 0 to 100 % and back, four small moves, as expected."""
    rest = [[10.0 + 0.5 * n, 0.0] for n in range(5)]
    way = [[20.0 + 0.5 * n, 2.5 * n] for n in range(41)]
    back = [[60.0 + 0.5 * n, 100 - 2.5 * n] for n in range(41)]
    hand = {"closed": rest, "opening": way, "open": [[50.0 + 0.5 * n, 100.0] for n in range(5)], "closing": back,
            "back": [[90.0 + 0.5 * n, 0.0] for n in range(5)], "angles_deg": [-31.2, 30.9]}
    jogs = [{"from_percent": a, "to_percent": b, "asked_at_s": 120.0 + 20 * n, "samples": [[119.0 + 20 * n, a], [125.0 + 20 * n, b]],
             "first": "rises" if b > a else "falls", "second": None} for n, (a, b) in enumerate([(50, 55), (55, 50), (50, 45), (45, 50)])]
    part = record()
    finding = {"found": "as_expected", "words": "By hand from 0.00 to 100.00 %, 100.0 % of travel.", "not_proved": "Not proved: the sensor under load."}
    outputs = {"about": "outputs: travel follows", "found": "as_expected", "words": "It followed all four small moves.", "not_proved": "Not proved: full thrust."}
    out = {
        "looprig_device_check": 1, "looprig": "0.1.0", "started": "2026-11-30 07:40:00 UTC", "line": part["line"], "who": part["who"],
        "device": part["device"], "stimulus": part["stimulus"], "stage": {"at_rest": "blocked", "acting": "single"},
        "rest": {"within_percent": 0.2, "for_s": 2.0, "most_s": 30.0}, "hand": hand, "jogs": jogs, "blows_at_rest": False,
        "findings": [{"about": "sensor: range", **finding}, outputs], "link": part["link"], "ended": {"how": "whole"},
        "left": part["left"], "remarks": [],
    }
    return {**out, **changed}
