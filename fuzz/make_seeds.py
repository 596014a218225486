#!/usr/bin/env python3
"""Writes fuzz/seeds/wire from the published frames in fixtures/frames.

The form of a seed is told in fuzz_targets/common.rs: first how many octets are pushed at once
(less one), then the octets, with E5 before one that is marked or does not follow at once."""

import pathlib

TOP = pathlib.Path(__file__).resolve().parent
FRAMES = TOP.parent / "fixtures" / "frames"
PAUSE = bytes([0xE5, 0xC0])  # the next octet ends ten characters after the last


def frame(name):
    text = (FRAMES / f"{name}.toml").read_text()
    octets = next(line for line in text.splitlines() if line.startswith("octets = "))
    return bytes.fromhex(octets.split('"')[1])


def sent(*names):
    values = [(b"\xff" * 5 + frame(name)).replace(b"\xe5", b"\xe5\x00\xe5") for name in names]
    return b"".join(PAUSE + v for v in values)


SEEDS = {
    "ask": [63, sent("ics-cmd0-request-01", "ics-cmd0-reply-01")],
    "tag": [7, sent("ics-cmd20-reply-01", "ics-cmd13-reply-01")],
    "burst": [255, sent("ics-cmd9-burst-10", "ics-cmd9-reply-01")],
    "error": [0, sent("ics-cmd54-request-02", "ics-cmd54-reply-01")],
    "write": [30, sent("ics-cmd18-request-01", "ics-cmd18-reply-01", "ics-cmd35-reply-01")],
}

if __name__ == "__main__":
    wire = TOP / "seeds" / "wire"
    wire.mkdir(parents=True, exist_ok=True)
    for name, (chunk, octets) in SEEDS.items():
        (wire / name).write_bytes(bytes([chunk]) + octets)
