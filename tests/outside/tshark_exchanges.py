#!/usr/bin/env python3
"""Generates messages of every command that tshark splits into fields, and compares what tshark and looprig read.

The messages are put together here, from a table of this script: random values and the edge values of every kind of field
(floats that are no numbers, infinities, zeros of both signs, texts of every packed character, dates that no calendar has, all
codes). They go to tshark as HART-IP over UDP in a capture file, and to looprig as hex text. For every field three things must
be the same: the octets that were drawn, those that tshark gives to the field and what it shows, and the value that looprig
names. Requests are compared where tshark's reading of them is right: it reads them by the reply's layout.

Usage: tshark_exchanges.py [SEED]     (LOOPRIG=PROGRAM uses that program instead of building one)
"""

import json
import os
import pathlib
import random
import shutil
import struct
import subprocess
import sys
import tempfile

SEED = 20261125
# Messages for each command, length and direction.
EACH = 12
PORT = 5094
PT, RSP = "hart_ip.pt.", "hart_ip.pt.rsp."

# A field: tshark's name, ours, kind. The kinds draw octets, and turn what looprig names back into them.
IDENTITY_5 = [
    ("expansion_code", "expansion", "u1"),
    ("expanded_device_type", ("manufacturer", "device_type"), "u1u1"),
    ("req_min_preambles", "preambles_request", "u1"),
    ("hart_univ_rev", "universal_revision", "u1"),
    ("device_rev", "device_revision", "u1"),
    ("software_rev", "software_revision", "u1"),
    ("hardrev_and_physical_signal", ("hardware_revision", "physical_signalling"), "u5u3"),
    ("flags", "flags", "u1"),
    ("device_id", "device_id", "u3"),
]
IDENTITY_6 = IDENTITY_5 + [
    ("rsp_min_preambles", "preambles_reply", "u1"),
    ("device_variables", "last_device_variable", "u1"),
    ("configure_change", "configuration_change_counter", "u2"),
    ("ext_device_status", "extended_status", "u1"),
]
IDENTITY_7 = [
    ("expanded_device_type", "expanded_device_type", "u2") if f[0] == "expanded_device_type" else f for f in IDENTITY_6
] + [
    ("manufacturer_Id", "manufacturer_id", "u2"),
    ("private_label", "private_label", "u2"),
    ("device_profile", "device_profile", "u1"),
]
PV = [("pv_units", "pv_unit", "u1"), ("pv", "pv", "f")]
DYNAMIC = [(f"{v}v{t}", f"{v}v{o}", k) for v in "pstq" for t, o, k in (("_units", "_unit", "u1"), ("", "", "f"))]
LOOP = [("poll_address", "polling_address", "u1"), ("loop_current_mode", "loop_current_mode", "u1")]
CLASSES = [
    (f"{name}_variable_classification", f"{v}v_class", "u1")
    for name, v in (("primary", "p"), ("secondary", "s"), ("tertiary", "t"), ("quaternary", "q"))
]
MESSAGE = [("message", "message", "p24")]
DESCRIPTION = [("tag", "tag", "p6"), ("descriptor", "descriptor", "p12"), (("day", "month", "year"), "date", "date")]
TRANSDUCER = [
    ("transducer_serail_number", "serial_number", "u3"),
    ("transducer_limit_min_span_units", "transducer_unit", "u1"),
    ("upper_transducer_limit", "upper_limit", "f"),
    ("lower_transducer_limit", "lower_limit", "f"),
    ("minimum_span", "minimum_span", "f"),
]
OUTPUT = [
    ("pv_alarm_selection_code", "alarm_selection", "u1"),
    ("pv_transfer_function_code", "transfer_function", "u1"),
    ("pv_upper_and_lower_range_values_units", "range_unit", "u1"),
    ("pv_upper_range_value", "upper_range_value", "f"),
    ("pv_lower_range_value", "lower_range_value", "f"),
    ("pv_damping_value", "damping", "f"),
    ("write_protect_code", "write_protect", "u1"),
    ("reserved", "reserved", "u1"),
    ("pv_analog_channel_flags", "analog_channel_flags", "u1"),
]
ASSEMBLY = [("final_assembly_number", "final_assembly_number", "u3")]
LONG_TAG = [("tag", "long_tag", "l32")]
COUNTER = [("configure_change", "configuration_change_counter", "u2")]
STATUS_6 = [("device_sp_status", "device_status", "o6")]
STATUS_9 = STATUS_6 + [
    ("ext_device_status", "extended_status", "u1"),
    ("device_op_mode", "operating_mode", "u1"),
    ("standardized_status_0", "standardized_status_0", "u1"),
]
STATUS_13 = STATUS_9 + [
    ("standardized_status_1", "standardized_status_1", "u1"),
    ("analog_channel_saturated", "analog_saturated", "u1"),
    ("standardized_status_2", "standardized_status_2", "u1"),
    ("standardized_status_3", "standardized_status_3", "u1"),
]
STATUS_14 = STATUS_13 + [("analog_channel_fixed", "analog_fixed", "u1")]
STATUS_25 = STATUS_14 + [("device_sp_status", "device_status_more", "o11")]
EXTENDED = [("command_number", "extended_command", "x"), ("data", "extended_data", "o7")]


def slots_9(n):
    out = [("ext_device_status", "extended_status", "u1")]
    for i in range(n):
        out += [
            (f"slot{i}_device_var", f"slot{i}_code", "u1"),
            (f"slot{i}_device_var_class" + ("ification" if i == 0 else "ify"), f"slot{i}_class", "u1"),
            (f"slot{i}_units", f"slot{i}_unit", "u1"),
            (f"slot{i}_device_var_value", f"slot{i}_value", "f"),
            (f"slot{i}_device_var_status", f"slot{i}_status", "u1"),
        ]
    return out + [("slot0_data_timestamp", "time", "time")]


def slots_33(n):
    kinds = (("device_var", "code", "u1"), ("units", "unit", "u1"), ("device_var_value", "value", "f"))
    return [(f"slot{i}_{t}", f"slot{i}_{o}", k) for i in range(n) for t, o, k in kinds]


REQUEST, REPLY = "request", "reply"
# Command, revision, direction, fields.
FORMS = (
    [(n, r, REPLY, f) for n in (0, 11) for r, f in ((5, IDENTITY_5), (6, IDENTITY_6), (7, IDENTITY_7))]
    + [(21, 6, REPLY, IDENTITY_6), (21, 7, REPLY, IDENTITY_7)]
    + [(1, 7, REPLY, PV), (3, 7, REPLY, [("pv_loop_current", "loop_current", "f")] + DYNAMIC)]
    + [(2, 7, REPLY, [("pv_loop_current", "loop_current", "f"), ("pv_percent_range", "percent_of_range", "f")])]
    + [(6, r, d, LOOP) for r in (6, 7) for d in (REQUEST, REPLY)]
    + [(7, 7, REPLY, LOOP), (8, 7, REPLY, CLASSES)]
    + [(9, 7, REPLY, slots_9(n)) for n in range(1, 9)]
    + [(12, 5, REPLY, MESSAGE), (13, 5, REPLY, DESCRIPTION), (14, 5, REPLY, TRANSDUCER), (15, 7, REPLY, OUTPUT)]
    + [(16, 5, REPLY, ASSEMBLY), (20, 7, REPLY, LONG_TAG)]
    + [(17, 5, d, MESSAGE) for d in (REQUEST, REPLY)]
    + [(18, 5, d, DESCRIPTION) for d in (REQUEST, REPLY)]
    + [(19, 5, d, ASSEMBLY) for d in (REQUEST, REPLY)]
    + [(22, 7, d, LONG_TAG) for d in (REQUEST, REPLY)]
    + [(31, 7, d, EXTENDED) for d in (REQUEST, REPLY)]
    + [(33, 5, REPLY, slots_33(n)) for n in range(1, 5)]
    + [(38, 7, d, COUNTER) for d in (REQUEST, REPLY)]
    + [(48, 7, d, f) for d in (REQUEST, REPLY) for f in (STATUS_6, STATUS_9, STATUS_13, STATUS_14, STATUS_25)]
)

# Not a number: the agreed one [TY-03], quiet and signalling ones of both signs; infinities; zeros; the smallest and largest.
FLOATS = (0x7FA00000, 0x7FC00000, 0xFFC00000, 0x7F800001, 0xFFFFFFFF, 0x7F800000, 0xFF800000, 0, 0x80000000)
FLOATS += (1, 0x80000001, 0x007FFFFF, 0x00800000, 0x7F7FFFFF, 0xFF7FFFFF, 0x3DCCCCCD, 0x4B800001, 0x49742400)
CODES = (0, 1, 127, 128, 249, 250, 251, 252, 253, 254, 255)


def draw(kind, rng):
    """Octets of one field."""
    if kind == "f":
        if rng.random() < 0.4:
            return struct.pack(">I", rng.choice(FLOATS))
        if rng.random() < 0.5:
            return struct.pack(">f", round(rng.uniform(-500, 500), 3))
        return rng.randbytes(4)
    if kind == "time":
        return struct.pack(">I", rng.choice((0, 1, 31, 32, 0xFFFFFFFF, 86_400_000 * 32 - 1, rng.getrandbits(32))))
    if kind == "date":
        real = bytes((rng.randint(1, 28), rng.randint(1, 12), rng.randint(0, 255)))
        return rng.choice((real, real, bytes((29, 2, 100)), bytes((31, 12, 255)), bytes(3), rng.randbytes(3)))
    if kind[0] == "p":
        size = int(kind[1:])
        codes = [rng.randrange(64) for _ in range(rng.randint(0, size // 3 * 4))]
        return packed(codes + [0x20] * (size // 3 * 4 - len(codes)))
    if kind[0] == "l":
        size = int(kind[1:])
        # tshark shows what is no ASCII as something else; then the octets alone are compared.
        last = rng.choice((126, 126, 255))
        return bytes(rng.randint(32, last) for _ in range(rng.randint(0, size))).ljust(size, b"\0")
    if kind == "x":
        # Extended commands that no row explains; those that one does have their data named.
        return struct.pack(">H", rng.randint(514, 65535))
    if kind[0] == "o":
        return rng.randbytes(int(kind[1:]))
    size = {"u1": 1, "u2": 2, "u3": 3, "u1u1": 2, "u5u3": 1}[kind]
    if size == 1 and rng.random() < 0.5:
        return bytes((rng.choice(CODES),))
    return rng.randbytes(size)


def packed(codes):
    """Six bits a character, four characters in three octets."""
    bits = "".join(format(c, "06b") for c in codes)
    return bytes(int(bits[i : i + 8], 2) for i in range(0, len(bits), 8))


def unpacked(octets):
    bits = "".join(format(o, "08b") for o in octets)
    codes = (int(bits[i : i + 6], 2) for i in range(0, len(bits), 6))
    return "".join(chr(c if c >= 32 else c + 64) for c in codes)


def octets_of(kind, size, ours):
    """The octets of what looprig names, by this script's own arithmetic."""
    if kind == "f":
        if ours == "not-a-number":
            return bytes.fromhex("7FA00000")
        if isinstance(ours, str) and ours.startswith("nan:"):
            return bytes.fromhex(ours[4:])
        return struct.pack(">f", float(ours))
    if kind == "time":
        return struct.pack(">I", round(ours * 32))
    if kind == "date":
        if ours.startswith("raw:"):
            return bytes.fromhex(ours[4:])
        year, month, day = map(int, ours.split("-"))
        return bytes((day, month, year - 1900))
    if kind[0] == "p":
        return packed([ord(c) & 0x3F for c in ours.ljust(size // 3 * 4)])
    if kind[0] == "l":
        return ours.encode("latin-1").ljust(size, b"\0")
    if kind[0] == "o":
        return bytes.fromhex(ours)
    if kind == "u1u1":
        return bytes(ours)
    if kind == "u5u3":
        return bytes((ours[0] << 3 | ours[1],))
    return ours.to_bytes(size, "big")


def shown_alike(kind, octets, shown):
    """Whether what tshark shows is the value of these octets."""
    if kind == "f":
        value = struct.unpack(">f", octets)[0]
        return shown.lstrip("-") == "nan" if value != value else float(shown) == float(f"{value:.6g}")
    if kind[0] == "p":
        return shown.rstrip(" ") == unpacked(octets).rstrip(" ")
    if kind[0] == "l":
        text = octets.rstrip(b"\0")
        return max(text, default=0) > 126 or shown == text.decode("ascii")
    if ":" in shown or kind[0] == "o":
        return bytes.fromhex(shown.replace(":", "")) == octets
    number = int(shown, 16) if shown.startswith("0x") else int(shown)
    return number == int.from_bytes(octets, "big")


class Message:
    """One message: its octets, and for each field tshark's names, ours, kind and the octets drawn."""

    def __init__(self, command, revision, direction, parts, rng, tail=b""):
        self.command, self.revision, self.direction, self.parts = command, revision, direction, parts
        burst = direction == REPLY and rng.random() < 0.2
        master = rng.getrandbits(1) << 7
        kind = 0x02 if direction == REQUEST else 0x01 if burst else 0x06
        if rng.random() < 0.3:
            address = bytes((master | rng.randrange(64),))
        else:
            kind |= 0x80
            address = bytes((master | rng.randrange(64),)) + rng.randbytes(4)
        # Response codes below 128: with the bit for a communication error there is no reply to read.
        self.status = b"" if direction == REQUEST else bytes((rng.choice((0, 0, 0, 8, 127)), rng.randrange(256)))
        body = self.status + b"".join(part[3] for part in parts) + tail
        octets = bytes((kind,)) + address + bytes((command, len(body))) + body
        check = 0
        for o in octets:
            check ^= o
        self.octets = octets + bytes((check,))
        self.address = address
        self.message_type = 0 if direction == REQUEST else 2 if burst else 1
        self.what = f"command {command}, revision {revision}, {direction}, {self.octets.hex(' ').upper()}"


def drawn(fields, rng):
    return [(*field, draw(field[2], rng)) for field in fields]


def embedded(direction, rng):
    """Command 77: the frame of a sub-device inside, from its delimiter to its last octet of data [CM-077]."""
    fields = [("io_card", "io_card", "u1"), ("channel", "channel", "u1")]
    if direction == REQUEST:
        fields.append(("tx_preamble_count", "inner_preambles", "u1"))
    tail = rng.randbytes(9)
    fixed = bytes((0x82 if direction == REQUEST else 0x86,)), rng.randbytes(5), bytes((9,)), bytes((len(tail),))
    names = (
        ("embedded_command_delimiter", "inner_delimiter", "u1"),
        ("unique_id", "inner_address", "o5"),
        ("embedded_command", "inner_command", "u1"),
        ("command_byte_count", "inner_byte_count", "u1"),
    )
    parts = drawn(fields, rng) + [(*name, octets) for name, octets in zip(names, fixed)]
    return Message(77, 7, direction, parts, rng, tail)


def capture(path, messages):
    """A capture file of raw IPv4 packets with UDP in them, a message each."""
    with open(path, "wb") as out:
        out.write(struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 101))
        for n, m in enumerate(messages):
            payload = struct.pack(">BBBBHH", 1, m.message_type, 3, 0, n & 0xFFFF, 8 + len(m.octets)) + m.octets
            ports = (40000, PORT) if m.direction == REQUEST else (PORT, 40000)
            udp = struct.pack(">HHHH", *ports, 8 + len(payload), 0) + payload
            ends = bytes((10, 0, 0, 1, 10, 0, 0, 2))
            packet = struct.pack(">BBHHHBBH", 0x45, 0, 20 + len(udp), n & 0xFFFF, 0, 64, 17, 0) + ends + udp
            out.write(struct.pack("<IIII", n, 0, len(packet), len(packet)) + packet)


def flat(pairs, out):
    """All fields of a packet by name, each use in order: what is shown, and the octets."""
    octets = None
    for name, value in pairs:
        if isinstance(value, list) and value and isinstance(value[0], tuple):
            flat(value, out)
        elif name.startswith("hart_ip.") and name.endswith("_raw"):
            # Stands right before its field.
            octets = bytes.fromhex(value[0])
        elif name.startswith("hart_ip."):
            out.setdefault(name, []).append((value, octets))
    return out


def read_by_tshark(path):
    command = ["tshark", "-n", "-r", str(path), "-T", "json", "-x"]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=300)
    packets = json.loads(done.stdout, object_pairs_hook=lambda pairs: pairs)
    return [flat(packet, {}) for packet in packets]


def read_by_looprig(messages, folder):
    """Every frame's JSON by its octets."""
    program = [os.environ["LOOPRIG"]] if "LOOPRIG" in os.environ else "cargo run --release --locked --quiet --".split()
    top = pathlib.Path(__file__).resolve().parents[2]
    out = {}
    for revision in (5, 6, 7):
        text = folder / f"revision-{revision}.hex"
        lines = (m.octets.hex(" ") for m in messages if m.revision == revision)
        text.write_text("\n".join(lines) + "\n")
        command = [*program, "decode", "--format", "json", "--revision", str(revision), str(text)]
        done = subprocess.run(command, cwd=top, check=True, stdout=subprocess.PIPE, timeout=600)
        for line in done.stdout.decode().rstrip("\n").split("\n"):
            record = json.loads(line)
            for side in (REQUEST, REPLY):
                if side in record:
                    octets = bytes.fromhex(record[side]["octets"]).lstrip(b"\xff")
                    out[revision, octets] = record[side]
    return out


def frame_fields(m, ours):
    """What is compared of every frame: tshark's name, the octets by looprig's JSON, the octets drawn."""
    a = ours
    bits = (a["master"] == "primary") << 7 | a["burst"] << 6
    if "polling_address" in a:
        address = ("short_addr", bytes((a["polling_address"],)))
        drawn = bytes((m.address[0] & 0x3F,))
    else:
        unique = bytes.fromhex(a["unique_address"])
        address = ("long_address", bytes((unique[0] | bits,)) + unique[1:])
        drawn = m.address
    delimiter = {"STX": 2, "ACK": 6, "BACK": 1}[a["type"]] | (0x80 if address[0] == "long_address" else 0)
    out = [
        ("delimiter", bytes((delimiter,)), m.octets[:1]),
        (*address, drawn),
        ("command", bytes((a["command"],)), bytes((m.command,))),
    ]
    if m.direction == REPLY:
        out.append(("response_code", bytes((a["response_code"],)), m.status[:1]))
        out.append(("device_status", bytes((a["device_status"],)), m.status[1:]))
    return out


def compare(m, theirs, ours):
    """Compares one message; gives the number of fields that are the same, and what is not."""
    if ours is None:
        return 0, [f"{m.what}: looprig found no such frame"]
    same, wrong = 0, []
    for name, from_ours, drawn in frame_fields(m, ours):
        shown = theirs.get(PT + name, [(None, None)])[0][0]
        # Of a polling address tshark's octets hold the master's bits too; what it shows does not.
        if shown is None or not shown_alike("o0" if name == "long_address" else "u1", drawn, shown) or from_ours != drawn:
            wrong.append(f"{m.what}: {name}: drawn {drawn.hex()}, tshark {shown}, looprig {from_ours.hex()}")
        else:
            same += 1
    used, unnamed = {}, set(ours["values"])
    for names, our_names, kind, octets in m.parts:
        our_names = our_names if isinstance(our_names, tuple) else (our_names,)
        unnamed -= set(our_names)
        values = [ours["values"].get(n) for n in our_names]
        got = None if None in values else octets_of(kind, len(octets), values if len(values) > 1 else values[0])
        names = names if isinstance(names, tuple) else (names,)
        size = len(octets) // len(names)
        for i, name in enumerate(names):
            part = octets[i * size : (i + 1) * size]
            all_of = theirs.get(RSP + name, [])
            at = used.get(name, 0)
            used[name] = at + 1
            shown, raw = all_of[at] if at < len(all_of) else (None, None)
            if got != octets or raw != part or not shown_alike("u1" if len(names) > 1 else kind, part, shown):
                wrong.append(f"{m.what}: {name}: drawn {part.hex()}, tshark {shown} ({raw and raw.hex()}), looprig {values}")
            else:
                same += 1
    # What looprig names and tshark does not: the data of the frame inside command 77 are split there.
    if unnamed - ({"inner_data"} if m.command == 77 else set()) or "surplus" in ours:
        wrong.append(f"{m.what}: looprig also has {sorted(unnamed)} and surplus {ours.get('surplus')}")
    return same, wrong


def main():
    if not shutil.which("tshark"):
        print("tshark is not installed: apt-get install --no-install-recommends tshark")
        return 77
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else SEED
    rng = random.Random(seed)
    messages = [Message(*form[:3], drawn(form[3], rng), rng) for form in FORMS for _ in range(EACH)]
    messages += [embedded(d, rng) for d in (REQUEST, REPLY) for _ in range(EACH)]
    rng.shuffle(messages)
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        capture(folder / "messages.pcap", messages)
        theirs = read_by_tshark(folder / "messages.pcap")
        ours = read_by_looprig(messages, folder)
    assert len(theirs) == len(messages), f"tshark read {len(theirs)} packets of {len(messages)}"
    same, wrong = 0, []
    for m, t in zip(messages, theirs):
        n, w = compare(m, t, ours.get((m.revision, m.octets)))
        same, wrong = same + n, wrong + w
    for line in wrong[:40]:
        print(line, file=sys.stderr)
    kinds = len({(m.command, m.direction) for m in messages})
    print(
        f"tshark: {len(messages)} messages of {len({m.command for m in messages})} commands ({kinds} with directions), seed {seed}: "
        f"{same} fields the same, {len(wrong)} not"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
