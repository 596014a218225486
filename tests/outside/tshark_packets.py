#!/usr/bin/env python3
"""Has tshark and capinfos read the pcapng files that looprig writes.

1. A log with generated messages of every command that tshark splits into fields (those of tshark_exchanges.py), damaged frames and
   noise between them, goes through `decode --format pcapng`. For every field the octets drawn, what tshark shows and what looprig
   names must be the same; so must message type, id, status, sequence and time; nothing is malformed, no checksum is wrong.
2. HART-IP messages given as hex text are written as they were, and so is a capture that tshark has saved anew.
3. `listen --pcap`: capinfos and tshark read the file while it grows, packet by packet, and when it is done.

Usage: tshark_packets.py [SEED]     (LOOPRIG=PROGRAM uses that program instead of building one)
"""

import json
import os
import pathlib
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import time

sys.dont_write_bytecode = True
import tshark_exchanges as exchanges  # noqa: E402

TOP = pathlib.Path(__file__).resolve().parents[2]
START_NS = 1_795_611_600_000_000_000  # 2026-11-25T13:00:00Z: 20782 days and 13 hours after 1970
HEADER = {
    "looprig_log": 1, "line": "serial:/dev/ttyUSB0", "start_utc": "2026-11-25T13:00:00Z", "version": "0.1.0", "pace": "wire",
    "stamp_error_ns": 0, "stamps": "octets", "parity_seen": True, "carrier_seen": False,
}
CHARACTER_NS = 9_166_667
# Of severity warning and above; sums are checked, which tshark does not do unless told.
BAD = ["-o", "ip.check_checksum:TRUE", "-o", "udp.check_checksum:TRUE", "-Y", "_ws.malformed || _ws.expert.severity >= 0x600000"]


def looprig(*arguments, **more):
    program = [os.environ["LOOPRIG"]] if "LOOPRIG" in os.environ else "cargo run --release --locked --quiet --".split()
    return subprocess.run([*program, *map(str, arguments)], cwd=TOP, timeout=600, stdout=subprocess.PIPE, **more)


def tshark(path, *arguments):
    command = ["tshark", "-n", "-r", str(path), *arguments]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, timeout=300)
    assert b"cut short" not in done.stderr and b"isn't a capture file" not in done.stderr, done.stderr
    return done.stdout.decode().splitlines()


def bad_packets(path):
    return tshark(path, *BAD)


class Log:
    """Records at 1200 bit/s, each after a pause."""

    def __init__(self):
        self.at, self.lines = 0, [json.dumps(HEADER, separators=(",", ":"))]

    def record(self, octets, marks=None):
        self.at += 100_000_000
        first = self.at + CHARACTER_NS
        self.at = last = first + CHARACTER_NS * (len(octets) - 1)
        record = {"t": first, "e": last, "o": octets.hex().upper()}
        if marks:
            record["m"] = marks
        self.lines.append(json.dumps(record, separators=(",", ":")))
        return START_NS + last

    def write(self, path):
        path.write_text("\n".join(self.lines) + "\n")


def generated(seed, folder):
    rng = random.Random(seed)
    messages = [
        exchanges.Message(*form[:3], exchanges.drawn(form[3], rng), rng)
        for form in exchanges.FORMS
        for _ in range(exchanges.EACH)
    ]
    messages += [exchanges.embedded(d, rng) for d in (exchanges.REQUEST, exchanges.REPLY) for _ in range(exchanges.EACH)]
    rng.shuffle(messages)
    log, times = Log(), []
    for m in messages:
        whole = b"\xff" * rng.randint(2, 8) + m.octets
        if rng.random() < 0.1:
            log.record(rng.choice((b"\x00\x55", whole[:-1], whole[:-1] + bytes((whole[-1] ^ 1,)))))
        if rng.random() < 0.1:
            log.record(whole, [[len(whole) - 2, "p"]])
        times.append(log.record(whole))
    log.write(folder / "messages.log")
    looprig("decode", folder / "messages.log", "--format", "pcapng", "--out", folder / "messages.pcapng", check=True)
    theirs = exchanges.read_by_tshark(folder / "messages.pcapng")
    ours = exchanges.read_by_looprig(messages, folder)
    wrong = [] if len(theirs) == len(messages) else [f"tshark read {len(theirs)} packets of {len(messages)}"]
    same = 0
    for m, t in zip(messages, theirs):
        n, w = exchanges.compare(m, t, ours.get((m.revision, m.octets)))
        same, wrong = same + n, wrong + w
    # What is around the frames.
    names = ("frame.time_epoch", "hart_ip.version", "hart_ip.message_type", "hart_ip.message_id", "hart_ip.status")
    names += ("hart_ip.transaction_id", "hart_ip.msg_length", "ip.src", "ip.dst", "udp.srcport", "udp.dstport")
    rows = tshark(folder / "messages.pcapng", "-T", "fields", *(x for name in names for x in ("-e", name)))
    sequence = {}
    for m, row, at in zip(messages, rows, times):
        master = 1 if m.address[0] & 0x80 else 2
        kind = {2: 0, 6: 1, 1: 2}[m.octets[0] & 7]
        if kind != 1:
            sequence[kind, master] = sequence.get((kind, master), 0) + 1
        number = sequence.get((0 if kind == 1 else kind, master), 0)
        ends = [(f"192.0.2.{master}", str(49152 + master)), ("192.0.2.100", "5094")]
        (source, source_port), (to, to_port) = ends if kind == 0 else ends[::-1]
        time_text = f"{at // 10**9}.{at % 10**9:09}"
        due = [time_text, "1", str(kind), "3", "0", str(number), str(8 + len(m.octets)), source, to, source_port, to_port]
        if row.split("\t") != due:
            wrong.append(f"{m.what}: around it: {row.split(chr(9))}, not {due}")
        same += len(due)
    wrong += [f"tshark finds something wrong: {line}" for line in bad_packets(folder / "messages.pcapng")]
    # The file and the log say the same.
    said = [looprig("decode", folder / f"messages.{end}", "--format", "json", check=True).stdout for end in ("log", "pcapng")]
    if said[0] != said[1]:
        wrong.append("looprig reads another thing from the capture than from the log")
    print(f"tshark: {len(messages)} messages of {len({m.command for m in messages})} commands, seed {seed}: {same} fields the same")
    return wrong


def as_they_were(folder):
    """Messages as hex text, and what tshark saves of a capture."""
    texts = [
        "01 00 00 00 00 00 00 0D 01 00 00 75 30",
        "01 01 00 00 00 00 00 0D 01 00 00 75 30",
        "01 00 02 00 00 01 00 08",
        "01 01 02 00 00 01 00 08",
        "01 00 03 00 00 02 00 0D 02 80 00 00 82",
        "01 0F 03 06 00 07 00 08",
        "01 03 03 06 00 09 00 09 00",
        "01 00 01 00 00 0A 00 08",
    ]
    wrong = []
    (folder / "messages.hex").write_text("\n".join(texts) + "\n")
    looprig("decode", folder / "messages.hex", "--format", "pcapng", "--out", folder / "hex.pcapng", check=True)
    found = tshark(folder / "hex.pcapng", "-T", "fields", "-e", "udp.payload")
    due = [text.replace(" ", "").lower() for text in texts]
    if found != due:
        wrong.append(f"messages as they were: tshark has {found}, not {due}")
    # Saved anew by another program, which may leave out blocks that it does not know, a capture has the same frames.
    tshark(folder / "messages.pcapng", "-w", str(folder / "saved.pcapng"))
    for name in ("messages.pcapng", "saved.pcapng"):
        done = looprig("decode", folder / name, "--format", "json", check=True)
        records = [json.loads(line) for line in done.stdout.decode().splitlines()]
        sides = [r[side]["octets"].replace(" ", "") for r in records for side in ("request", "reply") if side in r]
        frames = sorted(bytes.fromhex(o).lstrip(b"\xff") for o in sides)
        if name == "messages.pcapng":
            whole = frames
        elif frames != whole:
            wrong.append(f"of a capture saved by tshark looprig reads {len(frames)} frames, not the {len(whole)} before")
    return wrong


def listened(folder):
    """The file of `listen --pcap` on a mock, and one that grows."""
    wrong, path = [], folder / "listened.pcapng"
    bench = "mock:fixtures/benches/two-masters-noise.toml?seed=3104&for=30"
    log = folder / "listened.log"
    looprig("listen", bench, "--pcap", path, "--log", log, check=True, stderr=subprocess.DEVNULL)
    summary = looprig("decode", log, "--summary", "--format", "json", check=True).stdout
    counts = {c["count"]: c["value"] for c in map(json.loads, summary.decode().splitlines())}
    good = int(counts["frames_good"])
    info = subprocess.run(["capinfos", str(path)], check=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL).stdout.decode()
    packets = len(tshark(path, "-Y", "hart_ip"))
    for part in ("File encapsulation:  Raw IP", "nanoseconds (9)", f"Number of packets:   {packets}", "made up"):
        if part not in info:
            wrong.append(f"capinfos does not say {part!r}:\n{info}")
    if packets < 50 or packets != good:
        wrong.append(f"{packets} packets of {good} good frames")
    wrong += [f"tshark finds something wrong: {line}" for line in bad_packets(path)]
    # Packet by packet: a frame is in the file while the line still goes on.
    server = socket.create_server(("127.0.0.1", 0))
    server.settimeout(60)
    grows = folder / "grows.pcapng"
    program = [os.environ["LOOPRIG"]] if "LOOPRIG" in os.environ else "cargo run --release --locked --quiet --".split()
    listener = subprocess.Popen(
        [*program, "listen", f"tcp:127.0.0.1:{server.getsockname()[1]}", "--pcap", str(grows)],
        cwd=TOP, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )
    try:
        peer, _ = server.accept()
        for n in range(1, 4):
            peer.sendall(b"\xff" * 5 + bytes.fromhex("0280000082"))
            until = time.monotonic() + 30
            while not grows.exists() or len(tshark(grows)) < n:
                if time.monotonic() > until:
                    wrong.append(f"frame {n} was not in the file 30 s after it was sent")
                    break
                time.sleep(0.2)
        # There is such a file now: it is left alone.
        before = grows.read_bytes()
        again = looprig("listen", bench, "--pcap", grows, stderr=subprocess.PIPE)
        if again.returncode != 2 or b"exists" not in again.stderr or not grows.read_bytes().startswith(before):
            wrong.append(f"a file that exists: {again.returncode}, {again.stderr}")
        peer.close()
    finally:
        listener.terminate()
        listener.wait(30)
    print(f"listen --pcap: {packets} packets of a mock, 3 packets as they came")
    return wrong


def main():
    missing = [tool for tool in ("tshark", "capinfos") if not shutil.which(tool)]
    if missing:
        print(f"{' and '.join(missing)} not installed: apt-get install --no-install-recommends tshark")
        return 77
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else exchanges.SEED
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        wrong = generated(seed, folder) + as_they_were(folder) + listened(folder)
    for line in wrong[:40]:
        print(line, file=sys.stderr)
    print(f"{len(wrong)} things wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
