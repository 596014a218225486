#!/usr/bin/env python3
"""Runs the demo with a tag made up here, and reads its log with nothing but Python's standard library.

Found in the log, by a reader that shares no line with looprig: the tag in a write, the same tag in a
later reply, requests and answers of both masters, a right exclusive-or in every request but the one that
the demo spoils (more only where two spoke at once), answers spoilt by the loose terminal at the end and
hardly any before, and times that fit the pace of the wire (11 bits a character at 1200 bit/s, divided by
the factor in the header).

Usage: demo_log.py            run target/release/looprig demo, then read
       demo_log.py LOG TAG    read this log, with bench.toml beside it
"""

import json
import pathlib
import random
import re
import string
import subprocess
import sys
import tempfile

CHARACTER_NS = 11 / 1200 * 1e9
ANSWERS, ASKS = (0x06, 0x86, 0x01, 0x81), (0x02, 0x82)


def packed(text, size):
    """Six bits a character, four characters in three octets."""
    bits = "".join(format(ord(c) & 0x3F, "06b") for c in text.ljust(size // 3 * 4))
    return bytes(int(bits[i : i + 8], 2) for i in range(0, len(bits), 8))


def frames(octets):
    """The frames in a record: everything between preambles, told by delimiter and byte count. One that
    lacks octets is given without those that are there behind its header."""
    at = 0
    while at < len(octets):
        if octets[at] == 0xFF:
            at += 1
            continue
        address = 5 if octets[at] & 0x80 else 1
        count_at = at + 1 + address + (octets[at] >> 5 & 3) + 1
        end = count_at + 1 + octets[count_at] + 1 if count_at < len(octets) else len(octets) + 1
        if end > len(octets):
            yield octets[at], None
            return
        yield octets[at], octets[at:end]
        at = end


def split(frame):
    head = 1 + (5 if frame[0] & 0x80 else 1) + (frame[0] >> 5 & 3)
    return frame[1] >> 7, frame[head], frame[head + 2 : -1]


def exclusive_or(octets):
    x = 0
    for o in octets:
        x ^= o
    return x


def loose_from(bench):
    """When the only fault in the demo's bench file begins, s."""
    fault = bench.read_text().split("[[wire_fault]]")[1].split("[[")[0]
    return float(re.search(r"^from_s = (.*)$", fault, re.M).group(1))


def read(path, tag):
    loose_s = loose_from(pathlib.Path(path).with_name("bench.toml"))
    lines = pathlib.Path(path).read_text().splitlines()
    header, records = json.loads(lines[0]), [json.loads(line) for line in lines[1:]]
    assert header["looprig_log"] == 1, header
    pace = 1.0 if header["pace"] == "wire" else float(header["pace"])
    character, error = CHARACTER_NS / pace, header["stamp_error_ns"]
    wanted = packed(tag, 6)
    good = 0
    # Requests with a wrong check byte, and when the answers were that are damaged.
    bad_requests, bad_answers = 0, []
    # By master: 0 is the secondary, 1 the primary.
    asked, answered = [0, 0], [0, 0]
    written_at = read_at = None
    last_end = 0
    durations = []
    for record in records:
        octets = bytes.fromhex(record["o"])
        assert record["t"] >= last_end, f"time runs backwards at {record['t']}"
        last_end = record["e"]
        # From the end of the first octet to the end of the last.
        length, true = record["e"] - record["t"], (len(octets) - 1) * character
        assert length >= true - 2 * error, f"{len(octets)} octets in {length} ns are faster than the wire"
        durations.append(length / true if true else 1)
        for delimiter, frame in frames(octets):
            if frame is None or exclusive_or(frame):
                if delimiter in ASKS:
                    bad_requests += 1
                else:
                    bad_answers.append(record["t"])
                continue
            good += 1
            master, command, data = split(frame)
            if delimiter in ASKS:
                asked[master] += 1
                if command == 18 and data[:6] == wanted:
                    written_at = record["t"]
            if delimiter in ANSWERS:
                answered[master] += 1
                if command == 13 and data[2:8] == wanted and written_at is not None:
                    read_at = record["t"]
    durations.sort()
    median = durations[len(durations) // 2]
    assert good > 50, f"only {good} good frames"
    assert 1 <= bad_requests <= max(5, sum(asked) // 10), f"{bad_requests} requests with a wrong check byte; the demo spoils one"
    assert bad_answers, "no damaged answer; the demo has a loose terminal"
    assert min(asked + answered) > 0, f"requests {asked} and answers {answered} of secondary and primary master"
    # The terminal is loose from the moment in the demo's bench file on; the log begins when that does.
    early = sum(t < loose_s * 1e9 for t in bad_answers)
    assert early <= 3, f"{early} answers are damaged before the terminal is loose"
    assert written_at is not None, f"the tag {tag} is in no write"
    assert read_at is not None, f"the tag {tag} is in no later reply"
    # One frame may be held up by a busy machine, half of them may not.
    assert 0.9 < median < 1.5, f"the frames last {median:.2f} times what the pace says"
    print(
        f"demo log: {good} frames with a right exclusive-or, {bad_requests} spoilt request, {len(bad_answers)} "
        f"spoilt answers; both masters asked {asked[::-1]} and were answered {answered[::-1]}; tag {tag} written at {written_at / 1e9:.3f} s, "
        f"read back at {read_at / 1e9:.3f} s; frames last {median:.3f} times what pace {pace:g} says"
    )


def main():
    if len(sys.argv) == 3:
        return read(*sys.argv[1:])
    top = pathlib.Path(__file__).resolve().parents[2]
    tag = "XV-" + "".join(random.choices(string.ascii_uppercase + string.digits, k=5))
    with tempfile.TemporaryDirectory() as out:
        command = ["cargo", "run", "--release", "--locked", "--quiet", "--", "demo", "--tag", tag, "--out", out]
        subprocess.run(command, cwd=top, check=True, stdin=subprocess.DEVNULL, timeout=600)
        read(pathlib.Path(out) / "demo.log", tag)


if __name__ == "__main__":
    main()
