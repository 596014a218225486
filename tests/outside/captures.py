#!/usr/bin/env python3
"""Decodes every request and reply of HART-IP captures that a second implementation made [ICS].

The captures are no part of the project; they lie in ../shared/captures beside it, or in the folder that LOOPRIG_CAPTURES
names. Read here with nothing but Python's standard library: pcapng, Ethernet, IPv4, UDP and TCP, HART-IP. looprig is given the
whole messages as hex text; here too their frames are taken out, and the commands of direct PDUs put into frames. Every frame must be found
and be read by its command's layout, octet for octet: what stays hex is in a list with its reason, and an entry of that
list that applies to nothing fails.

Usage: captures.py     (LOOPRIG=PROGRAM uses that program instead of building one)
"""

import json
import os
import pathlib
import re
import struct
import subprocess
import sys
import tempfile

TOP = pathlib.Path(__file__).resolve().parents[2]
PORT = 5094
# Frames and direct PDUs by file. The frames as tshark counts them: `-Y hart_ip.pt.command`. It does not know direct PDUs;
# their number is that of the packets that it leaves as data, 76, less two of the audit log.
COUNTS = {
    "hart-ip.pcap": (36, 0),
    "hart-ip_all_types_and_commands_sent.pcapng": (68, 74),
}
BY_DEVICE = "contents by device [CM-048]"
NO_ROW = "extended command that no source explains [CM-031]"
TYPES = {0: "request", 1: "response"}
IDS = {0: "session initiate", 1: "session close", 2: "keep-alive", 5: "read audit log"}
# Command and field that stay hex, and why.
HEX = {
    (48, "device_status"): BY_DEVICE,
    (48, "device_status_more"): BY_DEVICE,
    (532, "extended_data"): NO_ROW,
    (533, "extended_data"): NO_ROW,
    (534, "extended_data"): NO_ROW,
}


def blocks(octets):
    """Packets of a pcapng file."""
    at = 0
    while at + 12 <= len(octets):
        kind, length = struct.unpack_from("<II", octets, at)
        if kind == 6:
            size = struct.unpack_from("<I", octets, at + 20)[0]
            yield octets[at + 28 : at + 28 + size]
        at += length


def payload(packet):
    """What UDP or TCP carry to or from the port; nothing otherwise."""
    if packet[12:14] != b"\x08\x00":
        return b""
    ip = packet[14 : 14 + struct.unpack_from(">H", packet, 16)[0]]
    inner = ip[(ip[0] & 15) * 4 :]
    head = {17: 8, 6: (inner[12] >> 4) * 4 if len(inner) > 12 else 0}.get(ip[9], 0)
    # A server may answer UDP from another port than it was asked at, so the content tells.
    return inner[head:] if head else b""


def wholes(path):
    """HART-IP messages of a capture, whole."""
    for packet in blocks(path.read_bytes()):
        octets = payload(packet)
        for _, _, body in messages(octets):
            yield octets[: 8 + len(body)]
            octets = octets[8 + len(body) :]


def messages(octets):
    """HART-IP messages one after another: type, id, body."""
    while len(octets) >= 8 and octets[0] == 1 and octets[1] & 15 in (0, 1, 2, 15):
        length = struct.unpack_from(">H", octets, 6)[0]
        if length < 8 or length > len(octets):
            return
        yield octets[1] & 15, octets[2], octets[8:length]
        octets = octets[length:]


def framed(kind, command, status, data):
    """A frame of the primary master or to it, polling address 0, around the data of a direct PDU."""
    if command > 255:
        command, data = 31, struct.pack(">H", command) + data
    body = status + data
    out = bytes((kind, 0x80, command, len(body))) + body
    check = 0
    for o in out:
        check ^= o
    return out + bytes((check,))


def of_direct(kind, body):
    """The commands of a direct PDU as frames: device status, extended status, then number, byte count, data."""
    device_status, at = body[:1], 2
    while at + 3 <= len(body):
        command, count = struct.unpack_from(">HB", body, at)
        data = body[at + 3 : at + 3 + count]
        assert len(data) == count, f"a direct PDU is cut: {body.hex()}"
        if kind == 0:
            yield framed(0x02, command, b"", data)
        else:
            yield framed(0x06, command, data[:1] + device_status, data[1:])
        at += 3 + count


def frames(path):
    passed, direct = [], []
    for packet in blocks(path.read_bytes()):
        for kind, id_, body in messages(payload(packet)):
            if id_ == 3:
                passed.append(body.lstrip(b"\xff"))
            elif id_ == 4:
                direct.append((kind, body))
    return passed, direct


def decode(all_messages):
    """looprig's JSON by octets of the frame, and how many messages without a command it tells."""
    program = [os.environ["LOOPRIG"]] if "LOOPRIG" in os.environ else "cargo run --release --locked --quiet --".split()
    with tempfile.TemporaryDirectory() as folder:
        text = pathlib.Path(folder) / "capture.hex"
        text.write_text("\n".join(m.hex(" ") for m in all_messages) + "\n")
        command = [*program, "decode", "--format", "json", "-v", str(text)]
        done = subprocess.run(command, cwd=TOP, check=True, stdout=subprocess.PIPE, timeout=600)
    out, others = {}, []
    for line in done.stdout.decode().rstrip("\n").split("\n"):
        record = json.loads(line)
        if record["kind"] == "message":
            others.append((record["type"], record["id"]))
        for side in ("request", "reply"):
            if side in record:
                out[bytes.fromhex(record[side]["octets"]).lstrip(b"\xff")] = (side, record)
    return out, others


def judge(frame, found, used):
    """What is wrong with the reading of one frame."""
    if frame not in found:
        return "looprig found no such frame"
    direction, record = found[frame]
    side = record[direction]
    head = 8 if frame[0] & 0x80 else 4
    status = 2 if direction == "reply" else 0
    data = frame[head + status : -1]
    command = side["values"].get("extended_command", side["command"])
    if "communication_error" in side or direction == "reply" and side["response_code"] and not data:
        return None if not side["values"] else f"refused, yet it has {side['values']}"
    if "surplus" in side:
        return f"command {command}, {direction}: {side['surplus']} is left over"
    covered = {o for at, size in side["spans"].values() for o in range(at, at + size)}
    if len(covered) != len(data):
        return f"command {command}, {direction}: {len(covered)} octets of {len(data)} have a name"
    for name, (_, size) in side["spans"].items():
        value = side["values"][name]
        if isinstance(value, str) and len(value) == 2 * size and re.fullmatch("[0-9A-F]*", value) and size:
            if (command, name) not in HEX:
                return f"command {command}, {direction}: {name} stays hex: {value}"
            used.add((command, name))
    return None


def main():
    folder = pathlib.Path(os.environ.get("LOOPRIG_CAPTURES", TOP.parent / "shared" / "captures"))
    if not all((folder / name).is_file() for name in COUNTS):
        print(f"the captures are not in {folder}: LOOPRIG_CAPTURES names another folder")
        return 77
    wrong, used = [], set()
    for name, counts in COUNTS.items():
        passed, direct = frames(folder / name)
        if (len(passed), len(direct)) != counts:
            wrong.append(f"{name}: {len(passed)} frames and {len(direct)} direct PDUs, not {counts}")
        inside = [f for kind, body in direct for f in of_direct(kind, body)]
        found, others = decode(wholes(folder / name))
        due = [(TYPES[k], IDS[i]) for p in blocks((folder / name).read_bytes()) for k, i, _ in messages(payload(p)) if i in IDS]
        if others != due:
            wrong.append(f"{name}: of the messages without a command looprig tells {others}, not {due}")
        for frame in passed + inside:
            fault = judge(frame, found, used)
            if fault:
                wrong.append(f"{name}: {frame.hex(' ').upper()}: {fault}")
        print(f"{name}: {len(passed)} frames, {len(inside)} commands of {len(direct)} direct PDUs, {len(others)} other messages")
    wrong += [f"the exception {key} applies to nothing: {why}" for key, why in HEX.items() if key not in used]
    for line in wrong:
        print(line, file=sys.stderr)
    for (command, name), why in HEX.items():
        print(f"stays hex: command {command}, {name}: {why}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
