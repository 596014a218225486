#!/usr/bin/env python3
"""minimodem reads the tones that looprig makes, and looprig reads those that minimodem makes; sox stores them in every form [WV-01] [WV-10].

minimodem has no parity, so characters are packed into bits here, eight data bits from the least significant, odd parity and a stop
bit [FR-13], and sent as raw bits; what it reads is taken apart here again. It follows the bits of a stream and never a start edge, so characters
stand close to each other. What it reads of ours goes as far as it does itself (tried: tones 3 % off, bit rates 1 % less: at 2 % less and
0.5 % more, where it still reads short messages, it loses characters of frames as long as these; noise from 14 dB of Eb/N0 on), and has to be the frame and nothing else but what its own start adds. Where `../shared/oracles/fsk` lies beside the project, its packing of bits and its
taking apart, written by somebody else, are compared with those in here, and its receiver, which needs numpy, reads our waves. `LOOPRIG` names a program
to use instead of building one. Ends with 77 where a tool is missing."""
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HOME = Path(__file__).resolve().parents[2]
# A published reply to command 0 [1770], and one to command 1, each after ten preambles.
FRAMES = [
    bytes.fromhex("FF" * 10 + "0680000E0000FE260D060502015000001511" + "09"),
    bytes.fromhex("FF" * 10 + "86A60D0015110107000020429139" + "56B3"),
]
# Somebody else's encoder and receiver; no part of the project.
ORACLE = HOME.parent / "shared" / "oracles" / "fsk"
faults = []


def run(*command, data=None):
    done = subprocess.run([str(c) for c in command], input=data, capture_output=True)
    if done.returncode not in (0, 1):
        sys.exit(f"{command}: {done.stderr.decode(errors='replace')}")
    return done.stdout


def bits_of(octets, wrong=()):
    for n, octet in enumerate(octets):
        data = [octet >> k & 1 for k in range(8)]
        parity = 1 - sum(data) % 2
        yield from [0, *data, parity ^ (n in wrong), 1]


def packed(octets, lead=40, tail=24, wrong=()):
    stream = [1] * lead + list(bits_of(octets, wrong)) + [1] * tail
    stream += [1] * (-len(stream) % 8)
    return bytes(sum(stream[i + k] << k for k in range(8)) for i in range(0, len(stream), 8))


def characters(text):
    """What a UART makes of a stream of bits: octets, and whether parity and stop bit are right."""
    bits = [int(c) for c in text if c in "01"]
    out, i = [], 0
    while i + 11 <= len(bits):
        if bits[i]:
            i += 1
            continue
        data = sum(b << k for k, b in enumerate(bits[i + 1 : i + 9]))
        ok = sum(bits[i + 1 : i + 10]) % 2 == 1 and bits[i + 10] == 1
        out.append((data, ok))
        i += 11
    return out


def octets_of(log):
    """Octets of a looprig log, and the marks on them."""
    octets, marks = b"", []
    for line in log.read_text().splitlines()[1:]:
        record = json.loads(line)
        octets += bytes.fromhex(record["o"])
        marks.append(record)
    return octets, marks


def is_read(frame, got):
    """The frame with most of its preambles, and before it at most the octet that minimodem makes of a carrier's beginning."""
    at = got.rfind(frame[2:])
    extra = got[:at].lstrip(b"\xff")
    return at >= 0 and at + len(frame) - 2 == len(got) and len(extra) <= 1


def oracle(frame, wav):
    """What the other encoder makes of a frame, what the other receiver reads in our wave."""
    if not ORACLE.is_dir():
        return "NOT compared, for it is not here: it is no part of the project and stands beside it where this was written"
    pack, deframe = ORACLE / "pack8o1.py", ORACLE / "deframe8o1.py"
    check("the other packing is ours", run(sys.executable, pack, frame.hex(), "40", "24") == packed(frame))
    check("the other packing of a wrong parity bit is ours", run(sys.executable, pack, frame.hex(), "40", "24", "12:9") == packed(frame, wrong={12}))
    bits = run("minimodem", "--rx", "-q", "--binary-raw", "11", "-f", wav, "1200")
    theirs = run(sys.executable, deframe, data=bits).decode().splitlines()[-1].split()[-1]
    ours = "".join(f"{v:02X}" for v, _ in characters(bits.decode()))
    check("the other taking apart is ours", theirs == ours, f"{theirs} {ours}")
    read = (
        "import sys; from fsklib import *; x, fs = read_wav(sys.argv[1]);"
        "print(''.join('%02X' % c[0] for c in uart8o1(x, fs) if c[2] == 'ok'))"
    )
    done = subprocess.run([sys.executable, "-c", read, str(wav)], cwd=ORACLE, capture_output=True, text=True)
    if "No module named" in done.stderr:
        check("numpy is there on CI", os.environ.get("CI") != "true", "apt-get install python3-numpy")
        return "was used, but NOT its receiver, which needs numpy (apt-get install python3-numpy)"
    check("the other receiver reads our wave", is_read(frame, bytes.fromhex(done.stdout.strip() or "00")), done.stdout + done.stderr)
    return "was used"


def check(name, holds, told=""):
    if not holds:
        faults.append(f"{name}: {told}")
    return holds


def main():
    missing = [t for t in ("minimodem", "sox") if not shutil.which(t)]
    if missing:
        print(f"{', '.join(missing)}: not installed (apt-get install minimodem sox)")
        sys.exit(77)
    program = os.environ.get("LOOPRIG")
    if not program:
        subprocess.run(["cargo", "build", "--release", "--locked", "--quiet"], cwd=HOME, check=True)
        target = Path(os.environ.get("CARGO_TARGET_DIR", HOME / "target"))
        program = target / "release" / "looprig"
    with tempfile.TemporaryDirectory() as directory:
        told = work(Path(directory), program)
    for fault in faults:
        print(fault)
    print(f"the other encoder and receiver ({ORACLE}): {told}")
    print(f"{done} waves compared with minimodem and sox, {len(faults)} faults")
    # Of each of two frames 13 that minimodem reads of ours, 48 with noise read by both, 10 of its own at five rates, 8 out of sox; and two of a wrong parity bit.
    expected = 2 * (13 + 48 + 10 + 8) + 2
    if done != expected:
        print(f"{expected} comparisons were to be made, and {done} were")
    sys.exit(1 if faults or done != expected else 0)


done = 0


def listened(program, directory, *line, data=None):
    global done
    done += 1
    log = directory / f"heard-{done}.log"
    run(program, "listen", "-q", *line, "--log", log, data=data)
    return octets_of(log)


def minimodem_reads(wav):
    global done
    done += 1
    return characters(run("minimodem", "--rx", "-q", "--binary-raw", "11", "-f", wav, "1200").decode())


# Noise of so many seeds.
SEEDS = 8
noisy = []


def work(directory, program):
    hexa, wav, other = directory / "frame.txt", directory / "a.wav", directory / "b.wav"
    for frame in FRAMES:
        hexa.write_text(frame.hex(" ") + "\n")
        # We make, it reads: five rates, tones and a bit rate that are off as far as it follows them, levels, noise.
        cases = [("--rate", r) for r in (8000, 9600, 22050, 44100, 48000)]
        cases += [("--tones", t) for t in (-3, -1, 1, 3)] + [("--bit-rate", r) for r in (-1, -0.5)]
        cases += [("--level", v) for v in (0.02, 1.9)]
        for case in cases:
            run(program, "wave", "make", hexa, "--out", wav, "--force", "--lead", 40, "--tail", 24, *case)
            got = bytes(v for v, ok in minimodem_reads(wav) if ok)
            check(f"minimodem reads {case}", is_read(frame, got), got.hex())
        told = oracle(frame, wav)
        # Eb/N0 = V2 x 9500/(8 x 1200 x rms2) [WI-13]: of 0.5 V peak to peak, 20 dB are 49.7 mV, 16 are 78.8, 14 are 99.2. The formula of [WI-13] lets 16 dB
        # spoil no frame in ten thousand, 14 dB one in six hundred. We read all; minimodem follows bits and no start edges, and loses its place in
        # one frame of eight or so even at 20 dB: half of them is asked for.
        for rms, least in ((0.0497, SEEDS // 2), (0.0788, SEEDS // 2), (0.0992, SEEDS // 2)):
            theirs = 0
            for seed in range(SEEDS):
                run(program, "wave", "make", hexa, "--out", wav, "--force", "--lead", 40, "--tail", 24, "--noise", rms, "--seed", seed)
                # Without the 50 ms of noise before and after the carrier, which is no carrier.
                run("sox", wav, other, "trim", "0.055", "-0.055")
                theirs += frame[2:] in bytes(v for v, ok in minimodem_reads(other) if ok)
                octets, _ = listened(program, directory, f"wav:{wav}")
                check(f"looprig reads {rms} V of noise, seed {seed}", frame[4:] in octets, octets.hex())
            noisy.append((rms, theirs))
            check(f"minimodem reads {rms} V of noise", theirs >= least, f"{theirs} of {SEEDS}")
        # It makes, we read.
        for rate in (8000, 9600, 22050, 44100, 48000):
            for volume in (0.5, 0.01):
                run("minimodem", "--tx", "--startbits", "0", "--stopbits", "0", "-R", rate, "-v", volume, "-f", other, "1200",
                    data=packed(frame))
                octets, _ = listened(program, directory, f"wav:{other}")
                check(f"looprig reads {rate} at {volume}", octets == frame, octets.hex())
        # Silence around it, and white noise as sox makes it. Its amplitude a is even between -a and a: a2/3 of variance over the whole
        # band, so N0 = a2/3/24000; the tone has 0.5 of full scale, Eb = 0.125/1200. For 16 dB a2 = 3 x 24000 x 0.125/1200/39.8 = 0.188.
        run("sox", other, directory / "padded.wav", "gain", "-n", "-6.02", "pad", "0.3", "0.3")
        run("sox", "-n", "-r", "48000", "-c", "1", "-b", "16", directory / "noise.wav", "synth", "5", "whitenoise", "vol", "0.434")
        run("sox", "-m", "-v", "1", directory / "padded.wav", "-v", "1", directory / "noise.wav", directory / "mixed.wav", "trim", "0", "1.1")
        octets, _ = listened(program, directory, f"wav:{directory / 'mixed.wav'}")
        check("looprig reads through sox's noise", frame[2:] in octets, octets.hex())
        # Every form of samples, one channel of two, a pipe whose header knows no length.
        for form in (["-b", "8", "-e", "unsigned"], ["-b", "24"], ["-b", "32"], ["-b", "32", "-e", "floating"],
                     ["-b", "64", "-e", "floating"]):
            run("sox", other, *form, wav)
            octets, _ = listened(program, directory, f"wav:{wav}")
            check(f"looprig reads {form}", octets == frame, octets.hex())
        run("sox", "-M", directory / "noise.wav", other, wav)
        octets, _ = listened(program, directory, f"wav:{wav}?channel=2")
        check("looprig reads the second channel", octets == frame, octets.hex())
        piped = run("sox", other, "-t", "wav", "-")
        octets, _ = listened(program, directory, "wav:-", data=piped)
        check("looprig reads a pipe", octets == frame, octets.hex())
    # A wrong parity bit in octet 12 is seen by us as by the one who counts bits.
    frame = FRAMES[0]
    run("minimodem", "--tx", "--startbits", "0", "--stopbits", "0", "-f", other, "1200", data=packed(frame, wrong={12}))
    seen = minimodem_reads(other)
    check("the parity bit is wrong where it should be", [n for n, c in enumerate(seen) if not c[1]] == [12], str(seen))
    octets, records = listened(program, directory, f"wav:{other}")
    print(f"of {SEEDS} seeds each, minimodem read at so many V of noise: {noisy}")
    check("looprig sees the wrong parity", octets == frame and "p" in json.dumps([r.get("m") for r in records]), str(records))
    return told


main()
