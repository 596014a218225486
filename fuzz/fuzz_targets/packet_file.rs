//! Any bytes as a capture of a network, behind each of its beginnings. Reading ends and holds no more than the file; what was
//! read is written as a capture again, and that one gives the same receptions and messages without a problem [PC-04].

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::capture::{
    Captured, Header, MessageAnnotator, PacketWriter, Passing, Reader, Record, SignalRemark,
};

/// By the first byte of an input: none, a little-endian section with an interface of raw IP, the headers of pcap.
const BEGINNINGS: [&[u8]; 4] = [
    &[],
    &[
        0x0A, 0x0D, 0x0D, 0x0A, 28, 0, 0, 0, 0x4D, 0x3C, 0x2B, 0x1A, 1, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF,
        0xFF, 0xFF, 0xFF, 0xFF, 28, 0, 0, 0, 1, 0, 0, 0, 20, 0, 0, 0, 101, 0, 0, 0, 0, 0, 0, 0, 20, 0, 0, 0,
    ],
    &[0xD4, 0xC3, 0xB2, 0xA1, 2, 0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF, 0, 0, 101, 0, 0, 0],
    &[0xA1, 0xB2, 0x3C, 0x4D, 0, 2, 0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF, 0, 0, 0, 1],
];

/// What stands in a log.
#[derive(Debug, PartialEq)]
enum Line {
    Header(Header),
    Record(Record),
    Remark(SignalRemark),
}

/// What is kept of a file.
#[derive(Debug, Default, PartialEq)]
struct Held {
    lines: Vec<Line>,
    messages: Vec<(u64, Passing)>,
    problems: usize,
}

fn read(file: &[u8]) -> Held {
    let mut held = Held::default();
    let mut reader = Reader::new(file).expect("memory can be read");
    let (mut octets_read, mut timed) = (0, false);
    while let Some(captured) = reader.next().expect("memory can be read") {
        match captured {
            Captured::Start(header) => {
                timed = true;
                held.lines.push(Line::Header(header));
            }
            Captured::Octets(octets) => {
                octets_read += octets.len();
                let (direction, gap_before) = reader.side();
                if timed {
                    held.lines.push(Line::Record(Record { octets, direction, gap_before }));
                }
            }
            Captured::Break => {}
            Captured::Remark(remark) if timed => held.lines.push(Line::Remark(remark)),
            Captured::Remark(_) => {}
            Captured::Messages(passing) => {
                octets_read += passing.octets.len();
                let zero = reader.packets().and_then(|p| p.zero_ns()).expect("a packet had a time");
                held.messages.push((zero.saturating_add(passing.at.as_nanos()), passing));
            }
            Captured::Problem(p) => {
                held.problems += 1;
                assert!(!p.to_string().is_empty());
            }
        }
        assert!(octets_read <= file.len(), "more octets than the file has");
    }
    held
}

fuzz_target!(|bytes: &[u8]| {
    let Some((&first, rest)) = bytes.split_first() else { return };
    let file = [BEGINNINGS[usize::from(first % 4)], rest].concat();
    if !matches!(looprig::capture::recognise(&file), looprig::capture::ContentKind::PacketCapture) {
        return;
    }
    let held = read(&file);
    let mut annotator = MessageAnnotator::new(None);
    let mut writer = PacketWriter::new();
    for line in &held.lines {
        match line {
            Line::Header(header) => writer.begin(header),
            Line::Record(record) => writer.record(record),
            Line::Remark(remark) => writer.remark(remark),
        }
    }
    writer.finish();
    for (at_ns, p) in &held.messages {
        annotator.push(p.at, p.flow, &p.octets);
        assert!(writer.messages(*at_ns, p.from, p.to, p.tcp, &p.octets) || p.octets.len() > 60_000);
    }
    annotator.finish();
    while annotator.next().is_some() {}
    let again = read(&writer.take());
    assert_eq!(again.problems, 0, "{again:?}");
    assert_eq!(again.lines, held.lines);
});
