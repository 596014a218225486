//! Messages to and from octets.

use super::{bytes, message};
use bytes::Bytes;
use looprig::ip::{
    AuditLog, AuditRequest, Content, DirectCommand, DirectPdu, HEADER, Id, Initiate, Message, Piece, Side,
    Splitter, Type, TypeBits, Unreadable, split_datagram, status_is_warning, status_text,
};
use proptest::prelude::*;
use std::fs;
use std::path::Path;

/// Every header that [TSHARK] shows: version, type, id, status, sequence number, byte count, and the bodies of session
/// initiate and error.
#[test]
fn headers_are_read_as_another_program_reads_them() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/vectors/tshark-headers.csv");
    let text = fs::read_to_string(path).unwrap();
    let (mut compared, mut unknown_there) = (0, 0);
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let octets = bytes(cells[2]);
        let m = message(&octets);
        assert_eq!(m.encode(), octets, "{line}");
        if cells[3].is_empty() {
            // Its ids 4 and 5 are not known there [TSHARK].
            assert!(matches!(m.id, Id::DirectPdu | Id::ReadAuditLog), "{line}");
            unknown_there += 1;
            continue;
        }
        let ours = [
            m.version.into(),
            u64::from(m.kind.kind().bits()),
            m.id.octet().into(),
            m.status.into(),
            m.sequence.into(),
            m.len() as u64,
        ];
        let theirs: Vec<u64> = cells[3..9].iter().map(|c| c.parse().unwrap()).collect();
        assert_eq!(ours[..], theirs[..], "{line}");
        let said = match m.content() {
            Content::Initiate(i) => [i.master_type.to_string(), i.inactivity_ms.to_string(), String::new()],
            Content::Error { code } => [String::new(), String::new(), code.to_string()],
            _ => Default::default(),
        };
        assert_eq!(said[..], cells[9..12], "{line}");
        compared += 1;
    }
    assert_eq!((compared, unknown_there), (110, 2));
}

/// The session of the first capture of [ICS], packets 1, 2, 3 and 23: a timer of 30000 ms is asked for, 60000 kept.
#[test]
fn messages_of_a_capture() {
    let asked = message(&bytes("010000000002000d0100007530"));
    assert_eq!((asked.side(), asked.id, asked.sequence), (Side::Client, Id::SessionInitiate, 2));
    assert_eq!(asked.content(), Content::Initiate(Initiate { master_type: 1, inactivity_ms: 30_000 }));
    let kept = message(&bytes("010100000002000d010000ea60"));
    assert_eq!((kept.side(), kept.kind.kind()), (Side::Server, Type::Response));
    assert_eq!(kept.content(), Content::Initiate(Initiate { master_type: 1, inactivity_ms: 60_000 }));
    let token = message(&bytes("010003000003001182264e0000d2000038"));
    let Content::Frame { preambles: 0, octets } = token.content() else { panic!("{token}") };
    assert_eq!(octets, bytes("82264e0000d2000038"));
    assert_eq!(message(&bytes("01000200000c0008")).content(), Content::Empty);
}

/// Packets 12 and 13 of the second capture of [ICS]: command 54 as a direct PDU, byte count 1D = response code and 28.
#[test]
fn direct_pdu_of_a_capture() {
    let asked = message(&bytes("01 00 04 00 00 04 00 0E 00 00 00 36 01 00"));
    let Content::Direct(pdu) = asked.content() else { panic!("{asked}") };
    assert_eq!((pdu.device_status, pdu.extended_status, pdu.rest.len()), (0, 0, 0));
    assert_eq!(pdu.commands, [DirectCommand::new(54, vec![0]).unwrap()]);
    let answer = bytes(
        "01 01 04 00 00 04 00 2a 00 00 00 36 1d 00 00 65 43 21 4b 46 bb 80 00 00 00 00 00 4e ff 40 00 43 48 00 00 00 fa \
         00 00 0c 80 00",
    );
    let answer = message(&answer);
    let Content::Direct(pdu) = answer.content() else { panic!("{answer}") };
    let (code, data) = pdu.commands[0].response().expect("a response code");
    assert_eq!((pdu.commands[0].number, code, data.len(), data[3]), (54, 0, 28, 0x21));
    // Cut in the middle: what is whole counts, the rest is kept.
    let cut = DirectPdu::decode(&bytes("00 00 00 00 00 00 01 05 AA")).expect("two octets of status");
    assert_eq!((cut.commands.len(), cut.rest), (1, bytes("00 01 05 AA")));
}

/// The beginning of packet 15 of the second capture of [ICS], with its first record: 5 records of 58 octets asked for.
#[test]
fn audit_log_of_a_capture() {
    let body = bytes(
        "00 05 64f09838 64f09838 13e60001 64f09838 0001 003a \
         9000090a 00000000000000000000000000000000 8a7c 13e6 64f0986064f09860 0000002864f09860 0011 0000 0001 00000000 \
         00000028 00000289",
    );
    let log = AuditLog::decode(&body).expect("22 octets and more");
    assert_eq!((log.start, log.count, log.record_size, log.server_status), (0, 5, 58, 1));
    assert_eq!(log.powered_up, (0x64F0_9838, 0x64F0_9838));
    let record = log.records[0];
    assert_eq!((record.client_port, record.server_port), (0x8A7C, 5094));
    assert_eq!((record.status, record.start_counter, record.end_counter), (17, 0, 1));
    assert_eq!((record.published, record.requests, record.responses), (0, 40, 649));
    assert!(log.rest.is_empty());
    assert_eq!(log.encode(), body);
    assert_eq!(AuditRequest::decode(&[0, 255]), Some(AuditRequest { start: 0, count: 255 }));
}

/// The list of [IP-06], each value once.
#[test]
fn header_status() {
    let known: Vec<u8> = (0..=255).filter(|s| status_text(*s).is_some()).collect();
    assert_eq!(known, [0, 2, 5, 6, 8, 9, 14, 15, 16, 30]);
    assert_eq!((0..=255).filter(|s| status_is_warning(*s)).collect::<Vec<u8>>(), [8, 14, 30]);
}

/// Unknown values are kept and told by number.
#[test]
fn what_nobody_knows_survives() {
    let octets = bytes("07 A4 C8 FA BE EF 00 0B 01 02 03");
    let m = message(&octets);
    assert_eq!(
        (m.version, m.kind.kind(), m.kind.reserved(), m.id),
        (7, Type::Unknown(4), 10, Id::Unknown(0xC8))
    );
    assert_eq!(m.content(), Content::Other(bytes("01 02 03")));
    assert_eq!(m.to_string(), "message id 200, message type 4, sequence 48879, version 7, status 250");
    assert_eq!(m.encode(), octets);
}

#[test]
fn byte_counts_that_lie() {
    let keep_alive = "01 00 02 00 00 01 00 08";
    let pieces = |hex: &str| split_datagram(&bytes(hex), 4096);
    let why = |hex: &str| match pieces(hex).pop() {
        Some(Piece::Unreadable { why, .. }) => why,
        other => panic!("{hex}: {other:?}"),
    };
    assert!(pieces("").is_empty());
    assert_eq!(why("01 00 02"), Unreadable::HeaderCut { missing: 5 });
    assert_eq!(why("01 00 02 00 00 01 00 0A 00"), Unreadable::BodyCut { missing: 1 });
    assert_eq!(why("01 00 02 00 00 01 00 07"), Unreadable::TooShort { count: 7 });
    assert_eq!(why("01 00 02 00 00 01 10 01"), Unreadable::TooLong { count: 4097, most: 4096 });
    // What stands before it counts.
    assert_eq!(pieces(&format!("{keep_alive} {keep_alive} FF")).len(), 3);
    // A stream that lies is lost: what follows is nothing, however good.
    let mut stream = Splitter::new(4096);
    stream.push(&bytes("01 00 02 00 00 01 00 00"));
    assert!(matches!(stream.next(), Some(Piece::Unreadable { why: Unreadable::TooShort { count: 0 }, .. })));
    stream.push(&bytes(keep_alive));
    assert_eq!((stream.next(), stream.is_lost(), stream.waiting()), (None, true, 0));
}

fn any_message() -> impl Strategy<Value = Message> {
    let body = prop_oneof![
        4 => prop::collection::vec(any::<u8>(), 0..60),
        1 => prop::collection::vec(any::<u8>(), 4000..4080),
    ];
    (any::<[u8; 4]>(), any::<u16>(), body).prop_map(|([version, kind, id, status], sequence, body)| {
        let mut m = Message::new(Type::of(kind), Id::of(id), sequence, body)
            .expect("a short body")
            .with_status(status);
        (m.version, m.kind) = (version, TypeBits(kind));
        m
    })
}

proptest! {
    /// Any message goes through its octets unharmed.
    #[test]
    fn messages_survive(m in any_message()) {
        let octets = m.encode();
        prop_assert_eq!(octets.len(), m.len());
        prop_assert_eq!(message(&octets), m);
    }

    /// Messages one behind the other come out of a stream as they went in, wherever it is cut, and out of a datagram.
    #[test]
    fn where_a_stream_is_cut_makes_no_difference(
        messages in prop::collection::vec(any_message(), 0..6),
        cuts in prop::collection::vec(1..200usize, 1..20),
    ) {
        let octets: Vec<u8> = messages.iter().flat_map(|m| m.encode()).collect();
        let mut stream = Splitter::new(4096);
        let (mut out, mut at) = (Vec::new(), 0);
        for cut in cuts.iter().cycle() {
            if at == octets.len() {
                break;
            }
            let end = (at + cut).min(octets.len());
            stream.push(&octets[at..end]);
            out.extend(std::iter::from_fn(|| stream.next()));
            at = end;
        }
        let whole: Vec<Piece> = messages.into_iter().map(Piece::Message).collect();
        prop_assert_eq!(&out, &whole);
        prop_assert_eq!(stream.finish(), None);
        prop_assert_eq!(split_datagram(&octets.into(), 4096), whole);
    }

    /// Any octets end in pieces, each of them once, and any body can be read.
    #[test]
    fn any_octets_are_accounted_for(octets in prop::collection::vec(any::<u8>(), 0..300), most in 0..400usize) {
        let octets = Bytes::from(octets);
        let mut seen = Vec::new();
        for piece in split_datagram(&octets, most) {
            match piece {
                Piece::Message(m) => {
                    let _ = m.content();
                    let _ = m.to_string();
                    seen.extend_from_slice(&m.encode());
                }
                Piece::Unreadable { why, octets } => {
                    prop_assert!(!octets.is_empty() && !why.to_string().is_empty());
                    seen.extend_from_slice(&octets);
                }
            }
        }
        prop_assert_eq!(seen, octets);
    }

    /// A stream keeps less than one message of what it was given.
    #[test]
    fn a_stream_keeps_little(chunks in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..50), 0..40)) {
        let mut stream = Splitter::new(64);
        for chunk in chunks {
            stream.push(&chunk);
            while stream.next().is_some() {}
            prop_assert!(stream.waiting() < 64.max(HEADER));
        }
    }

    /// Direct PDUs go through their octets unharmed, and any octets are one and a rest.
    #[test]
    fn direct_pdus_survive(body in prop::collection::vec(any::<u8>(), 2..200)) {
        let body = Bytes::from(body);
        let pdu = DirectPdu::decode(&body).expect("two octets of status");
        prop_assert_eq!(pdu.encode(), body);
    }

    /// The same for audit logs of records of the usual size.
    #[test]
    fn audit_logs_survive(mut body in prop::collection::vec(any::<u8>(), 22..300)) {
        body[20..22].copy_from_slice(&[0, 58]);
        let body = Bytes::from(body);
        let log = AuditLog::decode(&body).expect("22 octets");
        prop_assert_eq!(log.encode(), body);
    }
}
