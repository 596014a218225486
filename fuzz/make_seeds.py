#!/usr/bin/env python3
"""Writes fuzz/seeds/wire from the published frames in fixtures/frames, and fuzz/seeds/device_sequence.

The form of a seed is told in fuzz_targets/common.rs: first how many octets are pushed at once
(less one), then the octets, with E5 before one that is marked or does not follow at once."""

import math
import struct
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


def asked(command, data="", flags=0x80):
    octets = bytes.fromhex(data)
    return bytes([flags, command, len(octets)]) + octets


# The form of these is told in fuzz_targets/device_sequence.rs: 0 is revision 7, 1 is 6, 2 is 5.
SEQUENCES = {
    "lock": [0, asked(71, "02"), asked(19, "123456", 0x00), asked(42), asked(76, "", 0x08), asked(71, "00")],
    "range": [2, asked(35, "39 42A00000 41200000"), asked(34, "40133333"), asked(36), asked(6, "01"), asked(37)],
    "simulate": [1, asked(79, "03 01 0C 43C80000 C3"), asked(53, "03 06"), asked(9, "00 01 02 03"), asked(48)],
    "several": [0, asked(78, "03 0002 00 0013 03 000009 004D 00"), asked(90), asked(95), asked(38, "0001")],
    "burst": [0, asked(108, "0009 01"), asked(107, "03 00 FA FA FA FA FA FA 01"), asked(103, "01 00001F40 00003E80"),
              asked(104, "01 02 41 07 40200000"), asked(109, "01 01"), asked(3, "", 0x90), asked(105, "01", 0x08)],
    "slow": [0, asked(78, "02 0047 01 00 006A 00"), asked(22, "41" * 32), asked(0), asked(0), asked(22, "41" * 32, 0x82),
             asked(0), asked(22, "42" * 32), asked(71, "01", 0x04), asked(41)],
    "trim": [0, asked(82, "03 02 07 40880000"), asked(80, "03"), asked(52, "03", 0x90), asked(83, "03")],
}


def says(what, octets):
    data = bytes.fromhex(octets)
    return bytes([what, len(data)]) + data


# The form of these is told in fuzz_targets/hart_ip_server.rs.
HART_IP = {
    "session": says(0x00, "010000000002000d0100007530") + says(0x00, "010003000003000d0200000002")
    + says(0x00, "01000200000c0008") + says(0x00, "01000100000d0008"),
    "stream": says(0x89, "") + says(0x09, "010000000002000d01") + says(0x09, "0000753001000200000c0008"),
    "direct": says(0xA1, "") + says(0x01, "010004000004000e000000360100") + says(0x01, "010005000005000a00ff"),
    "client": says(0xC0, "010100000001000d0000007530") + says(0xD0, "0200000002")
    + says(0xC0, "010103000002000f06000002000004") + says(0xB0, "00" * 200) + says(0xC0, "010303060003000900"),
    "lies": says(0xA2, "") + says(0x02, "0100020000010007") + says(0x02, "010002000001ffff00") + says(0x02, "0f"),
}


def tones(octets, rate, lead=6, tail=3):
    """Samples from -1 to 1 of 8O1 characters in continuous phase, 1200 and 2200 Hz."""
    bits = [1] * lead
    for o in octets:
        data = [o >> k & 1 for k in range(8)]
        bits += [0, *data, 1 - sum(data) % 2, 1]
    bits += [1] * tail
    turns, out = 0.0, []
    for n in range(int(len(bits) * rate / 1200)):
        out.append(0.8 * math.sin(2 * math.pi * turns))
        turns += (1200 if bits[int(n * 1200 / rate)] else 2200) / rate
    return out


def wav(samples, rate, bits=8):
    data = b"".join(bytes([int(128 + 127 * s)]) if bits == 8 else struct.pack("<h", int(32767 * s)) for s in samples)
    frame = bits // 8
    return struct.pack("<4sI8sIHHIIHH4sI", b"RIFF", 36 + len(data), b"WAVEfmt ", 16, 1, 1, rate, rate * frame, frame, bits,
                       b"data", len(data)) + data


def recordings():
    """A cut, a channel and a recording, as fuzz_targets/recording.rs tells."""
    said = tones(b"\xff\xff\x82", 8000)
    yield "wav8", bytes([50, 0]) + wav(said, 8000)
    yield "wav16", bytes([7, 0]) + wav(said[:400], 8000, 16)
    yield "comma", bytes([9, 0]) + b"Time,A\n" + b"".join(b"%.5f,%.2f\n" % (n / 9600, s) for n, s in enumerate(said[:100]))
    yield "semicolon", bytes([9, 0]) + b"Zeit (ms);U (mV)\r\n0,0;1,5\r\n0,1;2,5\r\n0,2;-3,5\r\n0,3;0,5\r\n"
    yield "interval", bytes([9, 0]) + b"Sample Interval,1e-4\nCH1\n1\n-2\n1.5\n"


def block(kind, body):
    body += bytes(-len(body) % 4)
    length = struct.pack("<I", len(body) + 12)
    return struct.pack("<I", kind) + length + body + length


def datagram(protocol, head, payload):
    length = 20 + len(head) + len(payload)
    return struct.pack(">BBHHHBBH", 0x45, 0, length, 0, 0x4000, 64, protocol, 0) + bytes((10, 0, 0, 1, 10, 0, 0, 2)) + head + payload


def packet_files():
    """A beginning, as fuzz_targets/packet_file.rs tells, and blocks or packets."""
    keep_alive = bytes.fromhex("0100020000010008")
    udp = datagram(17, struct.pack(">HHHH", 40000, 5094, 16, 0), keep_alive)
    log = (TOP / "seeds" / "read_any" / "log").read_bytes().splitlines(keepends=True)
    own = b"".join(block(0x80004C52, b"looprig\x01" + bytes(4) + line) for line in log)
    enhanced = block(6, struct.pack("<IIIII", 0, 0, 7, len(udp), len(udp)) + udp)
    yield "own", b"\x01" + own + enhanced
    yield "blocks", b"\x01" + enhanced + block(3, struct.pack("<I", len(udp)) + udp) + block(5, bytes(12))
    stream = b""
    for sequence, flags, payload in ((9, 2, b""), (18, 16, keep_alive[:4] + keep_alive), (10, 16, keep_alive), (22, 17, b"")):
        packet = datagram(6, struct.pack(">HHIIBBHHH", 40000, 5094, sequence, 0, 0x50, flags, 0, 0, 0), payload)
        stream += struct.pack("<IIII", 1, 0, len(packet), len(packet)) + packet
    yield "stream", b"\x02" + stream
    ethernet = bytes.fromhex("020000000001 020000000002 81000005 0800") + udp
    yield "ethernet", b"\x03" + struct.pack(">IIII", 1, 0, len(ethernet), len(ethernet)) + ethernet


if __name__ == "__main__":
    for folder, seeds in (
        ("recording", recordings()),
        ("packet_file", packet_files()),
        # Rate 9600, cut, 8 bits a sample.
        ("wave_samples", [("ff82", bytes([8, 60, 1]) + bytes(int(127 * s) & 255 for s in tones(b"\xff\x82", 9600)))]),
    ):
        (TOP / "seeds" / folder).mkdir(parents=True, exist_ok=True)
        for name, seed in seeds:
            (TOP / "seeds" / folder / name).write_bytes(seed)
    device = TOP / "seeds" / "device_sequence"
    device.mkdir(parents=True, exist_ok=True)
    for name, (revision, *requests) in SEQUENCES.items():
        (device / name).write_bytes(bytes([revision]) + b"".join(requests))
    server = TOP / "seeds" / "hart_ip_server"
    server.mkdir(parents=True, exist_ok=True)
    for name, octets in HART_IP.items():
        (server / name).write_bytes(octets)
    wire = TOP / "seeds" / "wire"
    wire.mkdir(parents=True, exist_ok=True)
    for name, (chunk, octets) in SEEDS.items():
        (wire / name).write_bytes(bytes([chunk]) + octets)
