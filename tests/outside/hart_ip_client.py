#!/usr/bin/env python3
"""A HART-IP client that knows nothing of looprig, against a running `looprig mock`.

Written from protocol-notes/ip.md and Python's standard library alone: it opens a session by UDP and by TCP, keeps it alive, reads
commands 0, 3, 13, 20 and 48, goes on after the server was ended and started again, sends what a server must not obey, lets
many connections read nothing, floods it with malformed datagrams, and is served after all that. Then it plays the client's side of the captures of [ICS], each frame
with the mock's address in place of the captured one, and wants a well-formed answer to each. The captures lie in ../shared/captures
or where LOOPRIG_CAPTURES says; without them this ends with 77, after all else was done.

Usage: hart_ip_client.py [MALFORMED]     (100000 malformed datagrams unless told; LOOPRIG=PROGRAM uses that program)
"""

import json
import os
import pathlib
import random
import signal
import socket
import struct
import subprocess
import sys
import tempfile
import time

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TOP / "tests" / "outside"))
import captures  # noqa: E402  the reader of pcap files beside this one

REQUEST, RESPONSE, PUBLISH, ERROR, NAK = 0, 1, 2, 3, 15
INITIATE, CLOSE, KEEP_ALIVE, TOKEN, DIRECT, AUDIT = range(6)
BENCH = """
pace = "fast"
[[device]]
tag = "FV-3104"
long_tag = "Brackenmoor filter 4"
descriptor = "FILTER 4 OUTLET"
[[line]]
at = "hart-ip::{port}"
sessions = 40
"""
LONG_TAG = b"Brackenmoor filter 4"


def check(octets):
    out = 0
    for o in octets:
        out ^= o
    return out


def frame(address, command, data=b""):
    """A master's request; `address` has one octet or five."""
    head = bytes((0x82 if len(address) == 5 else 0x02,)) + address + bytes((command, len(data))) + data
    return head + bytes((check(head),))


def unpacked(octets):
    """Packed text: four characters in three octets."""
    out = ""
    for i in range(0, len(octets), 3):
        n = int.from_bytes(octets[i : i + 3], "big")
        for shift in (18, 12, 6, 0):
            six = n >> shift & 0x3F
            out += chr(six if six & 0x20 else six | 0x40)
    return out


class Server:
    """A running mock; it can be ended and started again at the same port."""

    def __init__(self, program, folder):
        self.program, self.bench = program, pathlib.Path(folder) / "bench.toml"
        self.port = 0
        self.start()

    def start(self):
        self.bench.write_text(BENCH.format(port=self.port))
        command = [*self.program, "mock", "--format", "json", str(self.bench)]
        self.process = subprocess.Popen(command, cwd=TOP, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        first = json.loads(self.process.stdout.readline())
        self.port = int(first["lines"][0]["path"].rsplit(":", 1)[1])

    def end(self):
        self.process.send_signal(signal.SIGINT)
        self.process.stdout.read()
        self.process.wait(timeout=20)
        assert self.process.returncode == 0, f"the mock ended with {self.process.returncode}"

    def sockets(self):
        """Sockets that it has open; 0 where the system does not tell."""
        folder = pathlib.Path(f"/proc/{self.process.pid}/fd")
        count = 0
        for fd in folder.iterdir() if folder.is_dir() else ():
            try:
                count += os.readlink(fd).startswith("socket:")
            except OSError:
                pass
        return count

    def memory_kb(self):
        status = pathlib.Path(f"/proc/{self.process.pid}/status")
        line = next((l for l in status.read_text().splitlines() if l.startswith("VmRSS")), None) if status.exists() else None
        return int(line.split()[1]) if line else 0


class Client:
    def __init__(self, port, tcp):
        self.tcp, self.sequence, self.buffer = tcp, 0, b""
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM if tcp else socket.SOCK_DGRAM)
        self.socket.settimeout(5)
        self.socket.connect(("127.0.0.1", port))

    def send(self, octets):
        self.socket.sendall(octets)

    def receive(self):
        """One message: type, id, status, sequence number, body."""
        while True:
            if len(self.buffer) >= 8:
                version, kind, id_, status, sequence, count = struct.unpack(">BBBBHH", self.buffer[:8])
                assert version == 1 and count >= 8, self.buffer[:8].hex()
                if len(self.buffer) >= count:
                    body, self.buffer = self.buffer[8:count], self.buffer[count:]
                    return kind, id_, status, sequence, body
                assert self.tcp, f"a datagram of ours is cut: {self.buffer.hex()}"
            more = self.socket.recv(65536)
            if not more:
                raise ConnectionError("the server closed the connection")
            self.buffer += more

    def ask(self, id_, body=b""):
        """The answer to a request; what the server publishes meanwhile is passed over."""
        self.sequence = (self.sequence + 1) & 0xFFFF
        self.send(struct.pack(">BBBBHH", 1, REQUEST, id_, 0, self.sequence, 8 + len(body)) + body)
        while True:
            kind, answered, status, sequence, body = self.receive()
            if kind == PUBLISH:
                continue
            assert (answered, sequence) == (id_, self.sequence), (answered, sequence, id_, self.sequence)
            return kind, status, body

    def open(self, timer_ms=30000):
        kind, status, body = self.ask(INITIATE, struct.pack(">BI", 1, timer_ms))
        assert (kind, status, len(body)) == (RESPONSE, 0, 5), (kind, status, body)
        return struct.unpack(">BI", body)[1]

    def command(self, address, number, data=b""):
        """Status octets and data of a device's answer."""
        kind, status, body = self.ask(TOKEN, frame(address, number, data))
        assert (kind, status) == (RESPONSE, 0), (number, kind, status)
        assert check(body) == 0, f"wrong check byte in {body.hex()}"
        long = body[0] & 0x80
        assert body[0] & 7 == 6, body.hex()
        at = 6 if long else 2
        assert (body[at], body[at + 1]) == (number, len(body) - at - 3), body.hex()
        return body[at + 2 : at + 4], body[at + 4 : -1]

    def read_all(self):
        """Commands 0, 3, 13, 20, 48; the unique address."""
        (code, _), identity = self.command(b"\x80", 0)
        assert code == 0 and identity[0] == 254 and identity[4] == 7 and len(identity) == 22, identity.hex()
        address = bytes((identity[1] & 0x3F | 0x80, identity[2])) + identity[9:12]
        (code, _), variables = self.command(address, 3)
        assert code == 0 and len(variables) == 24, variables.hex()
        current = struct.unpack(">f", variables[:4])[0]
        assert 3.5 <= current <= 23, current
        (code, _), tag = self.command(address, 13)
        assert code == 0 and unpacked(tag[:6]) == "FV-3104 " and unpacked(tag[6:18]) == "FILTER 4 OUTLET ", tag.hex()
        (code, _), long_tag = self.command(address, 20)
        assert code == 0 and long_tag == LONG_TAG.ljust(32, b"\0"), long_tag
        (code, _), status = self.command(address, 48)
        assert code == 0 and len(status) >= 9, status.hex()
        return address


def serve_both(server):
    for tcp in (False, True):
        client = Client(server.port, tcp)
        assert client.open() == 30000
        client.read_all()
        for _ in range(3):
            assert client.ask(KEEP_ALIVE) == (RESPONSE, 0, b"")
        assert client.ask(CLOSE) == (RESPONSE, 0, b"")
        # The session is over: error 0, session closed.
        kind, _, body = client.ask(KEEP_ALIVE)
        assert (kind, body) == (ERROR, b"\0")
    print("read 0, 3, 13, 20 and 48 by UDP and by TCP")


def survive_a_restart(server):
    udp, tcp = Client(server.port, False), Client(server.port, True)
    udp.open(), tcp.open()
    udp.read_all(), tcp.read_all()
    server.end()
    server.start()
    # By UDP the new server knows nothing of the session and says so; by TCP the connection is gone.
    deadline = time.monotonic() + 20
    while True:
        try:
            kind, _, body = udp.ask(KEEP_ALIVE)
            break
        except OSError:
            assert time.monotonic() < deadline, "no answer after the restart"
    assert (kind, body) == (ERROR, b"\0"), (kind, body)
    udp.open()
    udp.read_all()
    try:
        tcp.ask(KEEP_ALIVE)
        raise AssertionError("the connection outlived its server")
    except OSError:
        pass
    tcp = Client(server.port, True)
    tcp.open()
    tcp.read_all()
    print("went on after a restart of the server")


def what_it_must_not_obey(server):
    client = Client(server.port, False)
    kind, _, body = client.ask(TOKEN, frame(b"\x80", 0))
    assert (kind, body) == (ERROR, b"\0"), "a request without a session was obeyed"
    client.open()
    bad = frame(b"\x80", 0)[:-1] + b"\0"
    assert client.ask(TOKEN, bad)[:2] == (NAK, 6)
    assert client.ask(TOKEN, b"\x02\x80")[:2] == (NAK, 5)
    assert client.ask(77)[:2] == (NAK, 2)
    kind, status, body = client.ask(DIRECT, bytes.fromhex("0000 0014 00 0000 00"))
    assert (kind, status) == (RESPONSE, 0) and body[2:6] == b"\x00\x14\x21\x00" and body[6:26] == LONG_TAG, body.hex()
    kind, status, body = client.ask(AUDIT, b"\0\x04")
    assert kind == RESPONSE and struct.unpack(">H", body[20:22])[0] == 58 and (len(body) - 22) % 58 == 0
    # All sessions in use, and one more when one is closed.
    others = [Client(server.port, False) for _ in range(60)]
    answers = [c.ask(INITIATE, struct.pack(">BI", 1, 2000))[1] for c in others]
    assert answers.count(15) >= 60 - 39 and set(answers) == {0, 15}, answers
    # Theirs run out after two seconds without a word.
    time.sleep(2.5)
    assert others[-1].ask(INITIATE, struct.pack(">BI", 1, 2000))[1] == 0
    print("refused what it must refuse")


def slow_readers(server, count=120):
    """Connections that take nothing of what they ask for and then lie: they count until they are closed, and that soon."""
    if not server.sockets():
        return print("slow readers: not counted on this system")
    before = server.sockets()
    # 40 sessions and 8 more, and the one that is being turned away.
    most = 40 + 8 + before + 1
    keep_alives = struct.pack(">BBBBHH", 1, REQUEST, KEEP_ALIVE, 0, 1, 8) * 1000
    lie = struct.pack(">BBBBHH", 1, REQUEST, KEEP_ALIVE, 0, 1, 7)
    slow, seen = [], 0
    for n in range(count):
        s = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
        s.setblocking(False)
        try:
            s.connect(("127.0.0.1", server.port))
        except BlockingIOError:
            pass
        time.sleep(0.01)
        # Enough to fill what the system keeps for it; some are given up for the octets that wait, some lie before that.
        for _ in range(n % 40):
            try:
                s.send(keep_alives)
            except OSError:
                break
        try:
            s.send(lie)
        except OSError:
            pass
        slow.append(s)
        seen = max(seen, server.sockets())
    assert seen <= most, f"{seen} sockets where {most} are the most"
    deadline = time.monotonic() + 15
    while server.sockets() > before and time.monotonic() < deadline:
        time.sleep(0.1)
    left = server.sockets()
    assert left <= before, f"{left} sockets long after the last of {count} slow readers, {before} before"
    client = Client(server.port, True)
    client.open()
    client.read_all()
    print(f"{count} slow readers took {seen} sockets at most, and none in the end")


def flood(server, count):
    rng = random.Random(11)
    sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sender.connect(("127.0.0.1", server.port))
    good = struct.pack(">BBBBHH", 1, 0, 0, 0, 1, 13) + struct.pack(">BI", 1, 30000)
    token = frame(b"\x80", 0)
    before = server.memory_kb()
    for n in range(count):
        kind = n % 5
        if kind == 0:
            octets = rng.randbytes(rng.randrange(0, 60))
        elif kind == 1:  # a header that lies
            octets = struct.pack(">BBBBHH", 1, rng.choice((0, 1, 2, 3, 15, 7)), rng.randrange(256), 0, n & 0xFFFF, rng.randrange(65536))
            octets += rng.randbytes(rng.randrange(0, 40))
        elif kind == 2:  # half a message
            octets = good[: rng.randrange(1, len(good))]
        elif kind == 3:  # a session, with bits flipped
            octets = bytearray(good)
            octets[rng.randrange(len(octets))] ^= 1 << rng.randrange(8)
        else:  # a frame, with bits flipped
            body = bytearray(token)
            body[rng.randrange(len(body))] ^= 1 << rng.randrange(8)
            octets = struct.pack(">BBBBHH", 1, 0, TOKEN, 0, n & 0xFFFF, 8 + len(body)) + body
        sender.send(bytes(octets))
        if n % 200 == 199:
            time.sleep(0.005)
    client = Client(server.port, False)
    client.open()
    client.read_all()
    after = server.memory_kb()
    # 16 MB are far more than 40 sessions and 256 requests can take.
    assert after < before + 16384, f"memory grew from {before} to {after} kB"
    print(f"{count} malformed datagrams, then a good client was served; memory {before} kB, then {after} kB")


def by_tag(id_, body):
    """Whether a request is command 11 or 21."""
    command = {TOKEN: body[6:7] if body[:1] == b"\x82" else b"", DIRECT: body[3:4]}.get(id_, b"")
    return command in (b"\x0b", b"\x15")


def replay(server, folder):
    total = 0
    for name in captures.COUNTS:
        for packet in captures.blocks((folder / name).read_bytes()):
            for kind, id_, body in captures.messages(captures.payload(packet)):
                if kind != REQUEST:
                    continue
                if id_ == INITIATE:
                    client = Client(server.port, False)
                    address = None
                if id_ == TOKEN:
                    at = len(body) - len(body.lstrip(b"\xff"))
                    inner = body[at:]
                    if inner[0] & 0x80:
                        if address is None:
                            (_, _), identity = client.command(b"\x00", 0)
                            address = bytes((identity[1] & 0x3F, identity[2])) + identity[9:12]
                        own = bytes((address[0] | inner[1] & 0xC0,)) + address[1:]
                        inner = inner[:1] + own + inner[6:-1]
                        inner += bytes((check(inner),))
                    body = inner
                kind, status, answer = client.ask(id_, body)
                assert kind in (RESPONSE, ERROR, NAK), kind
                if id_ in (INITIATE, CLOSE, KEEP_ALIVE):
                    assert (kind, status) == (RESPONSE, 0), (id_, kind, status)
                elif id_ == DIRECT and by_tag(id_, body) and kind == NAK:
                    # It asks for a tag that no device here has: nobody answers.
                    assert status == 6, status
                elif id_ == TOKEN:
                    assert kind == RESPONSE and check(answer) == 0 and answer[0] & 7 == 6, (kind, answer.hex())
                    # Nobody has the tag that it asks for: as in the captures a communication error, 84 00.
                    assert not by_tag(id_, body) or answer[-3:-1] == b"\x84\0", answer.hex()
                elif id_ == DIRECT:
                    assert kind == RESPONSE and answer[2:4] == body[2:4] and answer[4] == len(answer) - 5, answer.hex()
                elif id_ == AUDIT:
                    assert kind == RESPONSE and len(answer) >= 22, answer.hex()
                total += 1
    print(f"{total} requests of the captures had well-formed answers")


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100000
    program = [os.environ["LOOPRIG"]] if "LOOPRIG" in os.environ else "cargo run --release --locked --quiet --".split()
    folder = pathlib.Path(os.environ.get("LOOPRIG_CAPTURES", TOP.parent / "shared" / "captures"))
    with tempfile.TemporaryDirectory() as made:
        server = Server(program, made)
        try:
            serve_both(server)
            survive_a_restart(server)
            what_it_must_not_obey(server)
            slow_readers(server)
            flood(server, count)
            if all((folder / name).is_file() for name in captures.COUNTS):
                replay(server, folder)
            else:
                print(f"the captures are not in {folder}: LOOPRIG_CAPTURES names another folder")
                return 77
        finally:
            server.process.kill()
    return 0


if __name__ == "__main__":
    sys.exit(main())
