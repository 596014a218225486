//! A log to pcapng and back is the same log [PC-04], and its packets are its whole frames [PC-03].

use super::{blocks, is_cut, messages, read};
use crate::support::{after_preambles, fixtures};
use looprig::capture::{
    Captured, Direction, Fault, Header, LINE_ADDRESS, MASTER_ADDRESSES, OWN_BLOCK, PacketWriter, Reader,
    Record,
};
use looprig::frame::{Capabilities, Marks, Octet, Receiver, ReceiverConfig, Reception, StampUnit};
use looprig::time::{Instant, Pace};
use proptest::prelude::*;
use std::time::Duration;

/// A log as a packet file, as `decode --format pcapng` does it.
fn to_packets(log: &[u8]) -> Vec<u8> {
    let mut reader = Reader::new(log).unwrap();
    let mut writer = PacketWriter::new();
    let mut file = Vec::new();
    while let Some(captured) = reader.next().unwrap() {
        match captured {
            Captured::Start(header) => writer.begin(&header),
            Captured::Octets(octets) => {
                let (direction, gap_before) = reader.side();
                writer.record(&Record { octets, direction, gap_before });
            }
            other => panic!("{other:?}"),
        }
        file.extend(writer.take());
    }
    writer.finish();
    file.extend(writer.take());
    file
}

/// A packet file as a log.
fn to_log(file: &[u8]) -> String {
    let mut reader = Reader::new(file).unwrap();
    let mut log = String::new();
    while let Some(captured) = reader.next().unwrap() {
        match captured {
            Captured::Start(header) => log += &header_line(&header),
            Captured::Octets(octets) => {
                let (direction, gap_before) = reader.side();
                Record { octets, direction, gap_before }.write(&mut log);
            }
            other => panic!("{other:?}"),
        }
    }
    log
}

fn header_line(header: &Header) -> String {
    serde_json::to_string(header).unwrap() + "\n"
}

fn header(stamp_error: Duration, start: &str, part: Option<u32>) -> Header {
    let capabilities = Capabilities {
        unit: StampUnit::Octets,
        stamp_error,
        parity_seen: true,
        carrier_seen: true,
        echo: false,
    };
    let header =
        Header::new("serial:/dev/ttyUSB0, 1200 8O1 (bench 3, \"north\")", start, Pace::Wire, capabilities);
    Header { part, ..header }
}

/// What one record holds, before it has a time: whole frames, damaged ones, anything; marks of any octet.
fn contents() -> impl Strategy<Value = Vec<(u8, u8)>> {
    let frames: Vec<Vec<u8>> =
        fixtures().iter().filter(|f| f.is_frame()).map(|f| after_preambles(&f.octets)).collect();
    let clean = |values: Vec<u8>| values.into_iter().map(|v| (v, 0)).collect::<Vec<_>>();
    let frame = prop::sample::select(frames);
    let spoilt =
        (frame.clone(), any::<prop::sample::Index>(), 0..32u8, any::<u8>(), any::<prop::sample::Index>());
    prop_oneof![
        4 => frame.prop_map(clean),
        3 => spoilt.prop_map(move |(values, at, marks, flip, end)| {
            let mut octets = clean(values);
            let at = at.index(octets.len());
            octets[at] = (octets[at].0 ^ (flip & 0x11), marks);
            octets.truncate(end.index(octets.len()).max(1) * 2);
            octets
        }),
        2 => prop::collection::vec((any::<u8>(), 0..32u8), 1..40),
    ]
}

type Made = (Vec<(u8, u8)>, u64, u64, Option<bool>, Option<u32>);

fn record_of((octets, pause, step, sent, gap): Made, at: &mut u64) -> Record {
    *at += pause;
    let octets = octets
        .into_iter()
        .map(|(value, marks)| {
            *at += step;
            Octet { at: Instant::from_nanos(*at), value, marks: Marks(marks) }
        })
        .collect();
    Record {
        octets,
        direction: sent.map(|s| if s { Direction::Sent } else { Direction::Received }),
        gap_before: gap.map(|g| Duration::from_nanos(g.into())),
    }
}

fn records() -> impl Strategy<Value = Vec<Made>> {
    let one = (
        contents(),
        0..300_000_000u64,
        prop_oneof![3 => Just(9_166_667u64), 1 => 0..30_000_000u64],
        any::<Option<bool>>(),
        any::<Option<u32>>(),
    );
    prop::collection::vec(one, 0..12)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(debug_assertions) { 200 } else { 2000 }))]

    #[test]
    fn a_log_comes_back(captures in prop::collection::vec((records(), 0..20u64, any::<bool>()), 0..4)) {
        let mut log = String::new();
        let mut before: Option<Header> = None;
        for (records, error, goes_on) in captures {
            let next = match before {
                Some(h) if goes_on => Header { part: Some(h.part.unwrap_or(1) + 1), ..h },
                _ => header(Duration::from_millis(error), "2026-11-25T13:00:00.25Z", None),
            };
            log += &header_line(&next);
            before = Some(next);
            let mut at = 0;
            for made in records {
                record_of(made, &mut at).write(&mut log);
            }
        }
        if log.is_empty() {
            return Ok(());
        }
        let file = to_packets(log.as_bytes());
        prop_assert_eq!(to_log(&file), log);
    }

    /// Cut anywhere, the file gives what is before the cut, and says so.
    #[test]
    fn a_file_that_is_cut_gives_what_is_before(records in records(), cut in any::<prop::sample::Index>()) {
        let mut log = header_line(&header(Duration::ZERO, "2026-11-25T13:00:00Z", None));
        let mut at = 0;
        for made in records {
            record_of(made, &mut at).write(&mut log);
        }
        let file = to_packets(log.as_bytes());
        let cut = cut.index(file.len());
        let (whole, part) = (read(&file), read(&file[..cut]));
        let ends: Vec<usize> = blocks(&file).iter().scan(0, |n, b| { *n += b.1.len(); Some(*n) }).collect();
        if cut < 4 || cut == 0 {
            return Ok(());
        }
        let told = part.last().is_some_and(is_cut);
        prop_assert_eq!(told, !ends.contains(&cut), "cut at {}", cut);
        let read = part.len() - usize::from(told);
        prop_assert_eq!(&part[..read], &whole[..read]);
        // No record that is whole in the file is missing.
        let held = blocks(&file).iter().zip(&ends).filter(|(b, end)| b.0 == OWN_BLOCK && **end <= cut).count();
        prop_assert_eq!(read, held);
    }

    /// Whatever is changed in it, reading ends and panics nowhere.
    #[test]
    fn a_file_that_is_spoilt_is_survived(
        records in records(),
        spoilt in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
    ) {
        let mut log = header_line(&header(Duration::ZERO, "2026-11-25T13:00:00Z", None));
        let mut at = 0;
        for made in records {
            record_of(made, &mut at).write(&mut log);
        }
        let mut file = to_packets(log.as_bytes());
        for (place, value) in spoilt {
            // The first four say that it is such a file.
            let at = 4 + place.index(file.len() - 4);
            file[at] = value;
        }
        // A block gives one thing at the most, and takes 12 octets at least; no octet is made up: of a record each takes two
        // letters, of a message its own octet in the packet.
        let got = read(&file);
        prop_assert!(got.len() <= file.len() / 12 + 1, "{} things of {} octets", got.len(), file.len());
        let octets: usize = got
            .iter()
            .map(|c| match c {
                Captured::Octets(octets) => 2 * octets.len(),
                Captured::Messages(p) => p.octets.len(),
                _ => 0,
            })
            .sum();
        prop_assert!(octets <= file.len(), "{} octets of {}", octets, file.len());
    }

    /// A block whose length goes beyond the end, with whole blocks behind it: what is before is read, and the rest is told
    /// with its place, whatever the length claims.
    #[test]
    fn a_length_beyond_the_end_hides_nothing_untold(
        records in records().prop_filter("some", |r| r.len() > 2),
        place in any::<prop::sample::Index>(),
        claimed in prop_oneof![Just(1u32 << 20), Just(4 << 20), Just(0x7FFF_FFFC), Just(u32::MAX - 3)],
    ) {
        let mut log = header_line(&header(Duration::ZERO, "2026-11-25T13:00:00Z", None));
        let mut at = 0;
        for made in records {
            record_of(made, &mut at).write(&mut log);
        }
        let mut file = to_packets(log.as_bytes());
        let whole = read(&file);
        let all = blocks(&file);
        // Not a description: those are not read at any length.
        let chosen = 2 + place.index(all.len() - 3);
        let begins: usize = all[..chosen].iter().map(|b| b.1.len()).sum();
        file[begins + 4..begins + 8].copy_from_slice(&claimed.to_le_bytes());
        let got = read(&file);
        let held = all[..chosen].iter().filter(|b| b.0 == OWN_BLOCK).count();
        prop_assert_eq!(&got[..held], &whole[..held]);
        let told = matches!(&got[held..], [Captured::Problem(p)]
            if p.fault == Fault::CaptureCut && p.octet == Some(begins as u64) && p.to_string().contains("nothing behind it"));
        prop_assert!(told, "{:?}", &got[held..]);
    }

    /// Without the blocks of local use the file is one of HART-IP: each good frame is a packet, at the time of its last octet.
    #[test]
    fn packets_are_the_good_frames(records in records()) {
        let head = header(Duration::ZERO, "2026-11-25T13:00:00Z", None);
        let mut log = header_line(&head);
        let mut receiver = Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO));
        let mut at = 0;
        for made in records {
            let mut line = String::new();
            record_of(made, &mut at).write(&mut line);
            log += &line;
            // As a log stores them: with their first and last times.
            let Ok(looprig::capture::LogLine::Record(record)) = looprig::capture::parse_line(line.trim_end()) else {
                panic!("a record")
            };
            receiver.handle_timeout(record.octets[0].at);
            receiver.push(&record.octets);
        }
        receiver.finish();
        let good = std::iter::from_fn(|| receiver.next()).filter_map(|r| match r {
            Reception::Good(good) => Some(good),
            _ => None,
        });
        let good: Vec<_> = good.map(|g| (g.octets.last().unwrap().at, g.frame.encode())).collect();
        let file = to_packets(log.as_bytes());
        let bare: Vec<u8> = blocks(&file).into_iter().filter(|b| b.0 != OWN_BLOCK).flat_map(|b| b.1).collect();
        let (passed, problems) = messages(&bare);
        // That the blocks of local use are gone is told once.
        let told = problems.iter().filter(|p| p.contains("without the blocks")).count();
        prop_assert_eq!((told, problems.len()), (usize::from(!good.is_empty()), told));
        let zero = good.first().map_or(Instant::ZERO, |g| g.0);
        let found: Vec<_> =
            passed.iter().map(|p| (zero + p.at.since(Instant::ZERO), p.octets.slice(8..))).collect();
        prop_assert_eq!(found, good);
        for p in &passed {
            prop_assert!(!p.tcp && p.octets[..3] == [1, p.octets[1], 3]);
        }
    }
}

/// The log among the fuzzer's seeds, and one with every published frame, sent and received.
#[test]
fn logs_of_the_repository_come_back() {
    let seed = std::fs::read("fuzz/seeds/read_any/log").unwrap();
    let text = String::from_utf8(seed).unwrap();
    let again = to_log(&to_packets(text.as_bytes()));
    assert_eq!(read(again.as_bytes()), read(text.as_bytes()));
    let mut log = header_line(&header(Duration::ZERO, "2026-11-25T13:00:00Z", None));
    let mut at = 0;
    let all = fixtures();
    for fixture in all.iter().filter(|f| f.is_frame()) {
        let octets = after_preambles(&fixture.octets).into_iter().map(|v| (v, 0)).collect();
        record_of((octets, 100_000_000, 9_166_667, Some(true), None), &mut at).write(&mut log);
    }
    let file = to_packets(log.as_bytes());
    assert_eq!(to_log(&file), log);
    // All of them are whole, so there are as many packets (type 6).
    let frames = all.iter().filter(|f| f.is_frame()).count();
    assert_eq!(blocks(&file).iter().filter(|b| b.0 == 6).count(), frames);
}

/// The blocks of one capture with a request, octets of noise and its answer, by [PC-03] and [PC-04]; octets 4 to 7 of the
/// description's options are read by hand.
#[test]
fn what_a_file_is_made_of() {
    let request = after_preambles(&crate::support::octets("02 80 00 00 82"));
    let answer = "06 80 00 18 00 10 FE F9 FD 00 07 02 32 4E 00 95 26 6F 00 03 00 01 01 00 F9 00 F9 41 93";
    let answer = after_preambles(&crate::support::octets(answer));
    let mut log = header_line(&header(Duration::ZERO, "2026-11-25T13:00:00Z", None));
    let mut at = 0;
    for (values, sent) in [(request, true), (vec![0x55; 3], false), (answer, false)] {
        let octets = values.into_iter().map(|v| (v, 0)).collect();
        record_of((octets, 30_000_000, 9_166_667, Some(sent), None), &mut at).write(&mut log);
    }
    let all = blocks(&to_packets(log.as_bytes()));
    let kinds: Vec<u32> = all.iter().map(|b| b.0).collect();
    // Section, interface, header; each record before the packet of its frame; of the noise there is no packet.
    assert_eq!(kinds, [0x0A0D_0D0A, 1, OWN_BLOCK, OWN_BLOCK, 6, OWN_BLOCK, OWN_BLOCK, 6]);
    let word = |o: &[u8], at: usize| u32::from_le_bytes(o[at..at + 4].try_into().unwrap());
    let (asked, answered) = (&all[4].1, &all[7].1);
    // 2026-11-25 is day 20782 of 1970; the request's last octet ends 30 ms and ten characters after 13:00.
    let ns = (20_782 * 86_400 + 13 * 3600) * 1_000_000_000 + 30_000_000 + 10 * 9_166_667u64;
    assert_eq!(u64::from(word(asked, 12)) << 32 | u64::from(word(asked, 16)), ns);
    // Raw IP, link type 101.
    assert_eq!(all[1].1[8..10], [101, 0]);
    let packet = &asked[28..28 + word(asked, 20) as usize];
    assert_eq!(packet.len(), 20 + 8 + 8 + 5);
    assert_eq!((&packet[12..16], &packet[16..20]), (&[192, 0, 2, 1][..], &[192, 0, 2, 100][..]));
    assert_eq!(packet[20..24], [0xC0, 0x01, 0x13, 0xE6]);
    assert_eq!(&packet[28..], [1, 0, 3, 0, 0, 1, 0, 13, 2, 0x80, 0, 0, 0x82]);
    // The sum of a header over its own is all ones.
    let sum: u32 = packet[..20].chunks(2).map(|w| u32::from(w[0]) << 8 | u32::from(w[1])).sum();
    assert_eq!((sum & 0xFFFF) + (sum >> 16), 0xFFFF);
    let answered_packet = &answered[28..28 + word(answered, 20) as usize];
    assert_eq!(answered_packet[28..36], [1, 1, 3, 0, 0, 1, 0, 37]);
    let text = |block: &[u8]| String::from_utf8_lossy(block).into_owned();
    assert!(text(answered).contains("before it on the wire: 0 damaged frame(s), 3 octet(s) of noise"));
    assert!(text(&all[0].1).contains("made up") && text(asked).contains("made up"));
    for address in [LINE_ADDRESS, MASTER_ADDRESSES[0].0, MASTER_ADDRESSES[1].0] {
        assert!(address.is_documentation());
    }
}

/// A log that was continued 1000 times makes 1000 interfaces, 256 of them in a section.
#[test]
fn many_captures_in_one_log() {
    let mut log = String::new();
    for n in 0..1000 {
        log += &header_line(&header(Duration::from_millis(n % 7), "2026-11-25T13:00:00Z", None));
        log += "{\"t\":9166667,\"e\":9166667,\"o\":\"FF\"}\n";
    }
    let file = to_packets(log.as_bytes());
    assert_eq!(to_log(&file), log);
    assert_eq!(blocks(&file).iter().filter(|b| b.0 == 0x0A0D_0D0A).count(), 4);
}

/// A file of a wire that another program has saved without our blocks: what is left is read as messages, and what is gone is
/// told once [PC-04]. The interface's description is all that it is known by.
#[test]
fn blocks_that_others_dropped_are_told() {
    let request = after_preambles(&crate::support::octets("02 80 00 00 82"));
    let mut log = header_line(&header(Duration::ZERO, "2026-11-25T13:00:00Z", None));
    let mut at = 0;
    for values in [request.clone(), vec![0x55; 3], request] {
        let octets = values.into_iter().map(|v| (v, 0)).collect();
        record_of((octets, 30_000_000, 9_166_667, Some(true), None), &mut at).write(&mut log);
    }
    let file = to_packets(log.as_bytes());
    assert!(read(&file).iter().all(|c| !matches!(c, Captured::Problem(_))));
    let bare: Vec<u8> = blocks(&file).into_iter().filter(|b| b.0 != OWN_BLOCK).flat_map(|b| b.1).collect();
    let got = read(&bare);
    let told = matches!(&got[..], [Captured::Problem(p), Captured::Messages(_), Captured::Messages(_)]
        if p.fault == Fault::Stripped && p.to_string().contains("noise"));
    assert!(told, "{got:?}");
    let mut reader = Reader::new(&bare[..]).unwrap();
    while reader.next().unwrap().is_some() {}
    assert!(reader.packets().is_some_and(|p| p.is_stripped()));
    // A block of ours about an interface that is another one by now takes no packet away.
    let mut moved = file.clone();
    let own = moved.windows(8).position(|w| w == b"looprig\x01").unwrap() + 8;
    moved[own] = 7;
    let told = read(&moved)
        .iter()
        .any(|c| matches!(c, Captured::Problem(p) if p.to_string().contains("numbered the interfaces anew")));
    assert!(told);
}

/// Messages of a network begin a new section in the middle of a wire: the wire goes on in it.
#[test]
fn a_wire_goes_on_in_a_new_section() {
    let mut writer = PacketWriter::new();
    // As many interfaces as a section has.
    for _ in 0..256 {
        writer.begin(&header(Duration::ZERO, "2026-11-25T13:00:00Z", None));
    }
    let mut at = 0;
    let request = after_preambles(&crate::support::octets("02 80 00 00 82"));
    let mut one =
        || record_of((request.iter().map(|v| (*v, 0)).collect(), 30_000_000, 9_166_667, None, None), &mut at);
    writer.record(&one());
    let end = |a| std::net::SocketAddr::from((a, 5094));
    let keep_alive = [1, 0, 2, 0, 0, 1, 0, 8];
    assert!(writer.messages(0, end(MASTER_ADDRESSES[0].0), end(LINE_ADDRESS), false, &keep_alive));
    writer.record(&one());
    writer.finish();
    let file = writer.take();
    let got = read(&file);
    let records = got.iter().filter(|c| matches!(c, Captured::Octets(_))).count();
    let messages = got.iter().filter(|c| matches!(c, Captured::Messages(_))).count();
    assert_eq!((records, messages), (2, 1), "{got:?}");
    // The reader takes the header of the new section for the same capture, going on.
    let starts: Vec<&Header> =
        got.iter().filter_map(|c| if let Captured::Start(h) = c { Some(h) } else { None }).collect();
    assert!(starts[256].continues(starts[255]), "{starts:?}");
    // Each frame is a packet, too.
    assert_eq!(blocks(&file).iter().filter(|b| b.0 == 6).count(), 3);
}

/// A log of a newer format within a capture is no log of ours.
#[test]
fn newer_formats_are_not_guessed_at() {
    let mut log = header_line(&header(Duration::ZERO, "2026-11-25T13:00:00Z", None));
    log += "{\"t\":9166667,\"e\":9166667,\"o\":\"FF\"}\n";
    let mut file = to_packets(log.as_bytes());
    let at = file.windows(14).position(|w| w == b"\"looprig_log\":").unwrap() + 14;
    file[at] = b'9';
    let got = read(&file);
    assert!(matches!(&got[..], [Captured::Problem(p)] if p.fault == Fault::Newer { version: 9 }), "{got:?}");
    assert!(
        got.iter().all(|c| matches!(c, Captured::Problem(p) if p.to_string().contains("block 3"))),
        "{got:?}"
    );
}
