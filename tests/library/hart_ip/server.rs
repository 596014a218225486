//! The server's end: what it answers, and what it keeps within [IP-12] [IP-13].

use super::{bytes, message, ms, octets, tcp, udp};
use bytes::Bytes;
use looprig::frame::{Address, Frame, Master, PollingAddress, Target};
use looprig::ip::{
    Answer, AuditLog, Content, DirectCommand, DirectPdu, Id, Initiate, Limits, Masters, Message, Nobody,
    Peer, Request, Server, ServerConfig, ServerNews, ServerOutput, Ticket, Type,
};
use looprig::time::Instant;
use proptest::prelude::*;
use std::time::Duration;

/// A session initiate: primary, 30 s, sequence number 2 [ICS].
const INITIATE: &str = "01 00 00 00 00 02 00 0d 01 00 00 75 30";
/// Command 0 to polling address 0 with sequence number 3, of the secondary master [ICS].
const ASK: &str = "01 00 03 00 00 03 00 0d 02 00 00 00 02";

/// What a server did.
#[derive(Debug, Default)]
struct Done {
    sent: Vec<(Peer, Message)>,
    asked: Vec<(Ticket, Request)>,
    forgotten: Vec<Ticket>,
    closed: Vec<Peer>,
    news: Vec<(Peer, ServerNews)>,
}

fn drain(server: &mut Server) -> Done {
    let mut done = Done::default();
    while let Some(output) = server.poll_output() {
        match output {
            ServerOutput::Send { to, octets } => done.sent.push((to, message(&octets))),
            ServerOutput::Ask { ticket, request } => done.asked.push((ticket, request)),
            ServerOutput::Forget(ticket) => done.forgotten.push(ticket),
            ServerOutput::Close(peer) => done.closed.push(peer),
            ServerOutput::News { peer, news, .. } => done.news.push((peer, news)),
        }
    }
    done
}

fn says(server: &mut Server, now: Instant, from: Peer, hex: &str) -> Done {
    match from.stream {
        None => server.datagram(now, from, &bytes(hex)),
        Some(_) => server.stream(now, from, &octets(hex)),
    }
    drain(server)
}

/// The one message that was sent.
fn only(done: &Done) -> &Message {
    assert_eq!(done.sent.len(), 1, "{done:?}");
    &done.sent[0].1
}

fn error_code(m: &Message) -> Option<u8> {
    match m.content() {
        Content::Error { code } => Some(code),
        _ => None,
    }
}

fn with_session() -> Server {
    let mut server = Server::new(ServerConfig::default());
    assert_eq!(only(&says(&mut server, ms(0), udp(1), INITIATE)).status, 0);
    server
}

/// An answer of a device to command 0, as short as it may be.
pub(super) fn reply() -> Frame {
    let to = Address::new(Master::Secondary, Target::Polling(PollingAddress::new(0).expect("an address")));
    Frame::reply(false, to, 0, [0, 0], vec![]).expect("a short frame")
}

#[test]
fn a_session_from_begin_to_end() {
    let mut server = Server::new(ServerConfig::default());
    let done = says(&mut server, ms(0), udp(1), INITIATE);
    let m = only(&done);
    assert_eq!((m.kind.kind(), m.id, m.sequence, m.status), (Type::Response, Id::SessionInitiate, 2, 0));
    assert_eq!(m.content(), Content::Initiate(Initiate { master_type: 1, inactivity_ms: 30_000 }));
    let done = says(&mut server, ms(10), udp(1), ASK);
    assert!(done.sent.is_empty());
    let (ticket, Request::Frame(frame)) = &done.asked[0] else { panic!("{done:?}") };
    assert_eq!(frame.encode(), bytes("02 00 00 00 02"));
    server.answer(ms(20), *ticket, Answer::Frame(reply()));
    let done = drain(&mut server);
    let m = only(&done);
    assert_eq!((m.kind.kind(), m.id, m.sequence, m.status), (Type::Response, Id::TokenPdu, 3, 0));
    assert_eq!(*m.body(), reply().encode());
    // Keep-alive and close of the capture, packets 23 to 26 [ICS]: without a body both ways.
    for (hex, answer) in [
        ("01 00 02 00 00 0c 00 08", "01 01 02 00 00 0c 00 08"),
        ("01 00 01 00 00 0d 00 08", "01 01 01 00 00 0d 00 08"),
    ] {
        assert_eq!(only(&says(&mut server, ms(30), udp(1), hex)).encode(), bytes(answer));
    }
    assert_eq!(server.sessions(), 0);
}

#[test]
fn nothing_is_done_without_a_session() {
    let mut server = Server::new(ServerConfig::default());
    for hex in [ASK, "01 00 02 00 00 0c 00 08", "01 00 01 00 00 0d 00 08", "01 00 05 00 00 05 00 0a 00 ff"] {
        let done = says(&mut server, ms(0), udp(1), hex);
        assert_eq!((only(&done).kind.kind(), error_code(only(&done))), (Type::Error, Some(0)), "{hex}");
        assert!(done.asked.is_empty());
    }
}

/// One row of [IP-12] after the other: what comes in a session, and message type, status and error code of the answer.
#[test]
fn what_is_turned_down() {
    let nak = |status| Some((Type::Nak, status, None));
    for (hex, answer) in [
        // Ids that nobody knows, other versions, cut PDUs, a wrong check byte, a frame that is no request.
        ("01 00 06 00 00 03 00 08", nak(2)),
        ("01 00 80 00 00 03 00 08", nak(2)),
        ("02 00 03 00 00 03 00 0d 02 00 00 00 02", nak(14)),
        ("01 00 03 00 00 03 00 0b 02 00 00", nak(5)),
        ("01 00 03 00 00 03 00 08", nak(5)),
        ("01 00 03 00 00 03 00 0d 02 00 00 00 03", nak(6)),
        ("01 00 03 00 00 03 00 0f 06 00 00 02 00 00 04", nak(6)),
        ("01 00 03 00 00 03 00 0d 00 00 00 00 02", nak(6)),
        ("01 00 04 00 00 03 00 0c 00 00 00 00", nak(5)),
        ("01 00 04 00 00 03 00 0a 00 00", nak(5)),
        ("01 00 05 00 00 03 00 09 00", nak(5)),
        // Not requests: dropped.
        ("01 01 03 00 00 03 00 0d 02 00 00 00 02", None),
        ("01 02 03 00 00 03 00 0d 02 00 00 00 02", None),
        ("01 03 00 00 00 03 00 09 00", None),
        ("01 0f 03 00 00 03 00 08", None),
        ("01 07 03 00 00 03 00 08", None),
        // No messages at all: dropped.
        ("01 00 03 00 00 03 00 07", None),
        ("01 00 03 00 00 03 ff ff 02", None),
        ("01 00 03", None),
        // Session initiates that are not granted.
        ("01 00 00 00 00 03 00 0c 01 00 00 75", Some((Type::Response, 5, None))),
        ("01 00 00 00 00 03 00 0d 02 00 00 75 30", Some((Type::Response, 2, None))),
    ] {
        let mut server = with_session();
        let done = says(&mut server, ms(1), udp(1), hex);
        let got = done.sent.first().map(|(_, m)| (m.kind.kind(), m.status, error_code(m)));
        assert_eq!((got, done.sent.len()), (answer, usize::from(answer.is_some())), "{hex}");
        assert!(done.asked.is_empty() && done.news.iter().any(|(_, n)| n.is_trouble()), "{hex}: {done:?}");
        assert!(done.sent.iter().all(|(_, m)| m.version == 1 && m.sequence == 3), "{hex}");
    }
}

#[test]
fn what_the_devices_may_do() {
    use Nobody::{CommunicationError, Nak};
    for (nobody, answer, expected) in [
        (CommunicationError, Answer::Silent, (Type::Response, 0, None)),
        (Nak, Answer::Silent, (Type::Nak, 6, None)),
        (Nak, Answer::Unavailable, (Type::Error, 6, Some(2))),
    ] {
        let mut server = Server::new(ServerConfig { nobody, ..ServerConfig::default() });
        says(&mut server, ms(0), udp(1), INITIATE);
        let silent = answer == Answer::Silent && nobody == CommunicationError;
        let ticket = says(&mut server, ms(1), udp(1), ASK).asked[0].0;
        server.answer(ms(2), ticket, answer);
        let done = drain(&mut server);
        let m = only(&done);
        assert_eq!((m.kind.kind(), m.status, error_code(m)), expected);
        if silent {
            // As in the captures: 84 00 [IP-08]; 06 ^ 02 ^ 84 = 80.
            assert_eq!(*m.body(), bytes("06 00 00 02 84 00 80"));
        }
        // A second answer finds nobody who waits.
        server.answer(ms(3), ticket, Answer::Frame(reply()));
        assert!(drain(&mut server).sent.is_empty());
    }
    // None at all, for 30 s [IP-13].
    let mut server = with_session();
    says(&mut server, ms(1), udp(1), ASK);
    says(&mut server, ms(29_000), udp(1), "01 00 02 00 00 0c 00 08");
    server.handle_timeout(ms(30_000));
    assert!(drain(&mut server).sent.is_empty());
    server.handle_timeout(ms(30_001));
    let done = drain(&mut server);
    assert_eq!((error_code(only(&done)), server.waiting()), (Some(2), 0));
}

#[test]
fn direct_pdus() {
    let mut server = with_session();
    let hex = "01 00 04 00 00 04 00 11 00 00 00 36 01 00 02 14 00";
    let done = says(&mut server, ms(1), udp(1), hex);
    let (ticket, Request::Direct { master, commands }) = &done.asked[0] else { panic!("{done:?}") };
    let asked: Vec<(u16, usize)> = commands.iter().map(|c| (c.number, c.data().len())).collect();
    assert_eq!((*master, asked), (Master::Primary, vec![(54, 1), (0x214, 0)]));
    let pdu = DirectPdu::decode(&bytes("80 00 00 36 01 06")).expect("a PDU");
    server.answer(ms(2), *ticket, Answer::Direct(pdu));
    assert_eq!(only(&drain(&mut server)).encode(), bytes("01 01 04 00 00 04 00 0e 80 00 00 36 01 06"));
}

/// [IP-05]: a switch, because sources differ.
#[test]
fn master_types() {
    let initiate = |kind: u8| format!("01 00 00 00 00 02 00 0d {kind:02x} 00 00 75 30");
    for (masters, types) in [(Masters::Both, [0, 0, 2, 2]), (Masters::Primary, [2, 0, 2, 2])] {
        for (kind, status) in [0, 1, 2, 255].into_iter().zip(types) {
            let mut server = Server::new(ServerConfig { masters, ..ServerConfig::default() });
            let done = says(&mut server, ms(0), udp(1), &initiate(kind));
            assert_eq!((only(&done).status, server.sessions()), (status, usize::from(status == 0)), "{kind}");
        }
    }
    let mut server = Server::new(ServerConfig { one_primary: true, ..ServerConfig::default() });
    assert_eq!(only(&says(&mut server, ms(0), udp(1), &initiate(1))).status, 0);
    assert_eq!(error_code(only(&says(&mut server, ms(0), udp(2), &initiate(1)))), Some(1));
    assert_eq!(only(&says(&mut server, ms(0), udp(3), &initiate(0))).status, 0);
    // Its own session may be initiated anew.
    assert_eq!(only(&says(&mut server, ms(0), udp(1), &initiate(1))).status, 0);
    assert_eq!(server.sessions(), 2);
}

/// 1 ms becomes 1 s, 2 h become 1 h, both with status 8 [IP-12] [IP-13]; another version is answered in version 1 with 14.
#[test]
fn timers_and_versions() {
    for (hex, status, timer_ms) in [
        ("01 00 00 00 00 02 00 0d 01 00 00 00 01", 8, 1000),
        ("01 00 00 00 00 02 00 0d 01 00 6d dd 00", 8, 3_600_000),
        ("02 00 00 00 00 02 00 0d 01 00 00 75 30", 14, 30_000),
    ] {
        let mut server = Server::new(ServerConfig::default());
        let done = says(&mut server, ms(0), udp(1), hex);
        let m = only(&done);
        let given = Content::Initiate(Initiate { master_type: 1, inactivity_ms: timer_ms });
        assert_eq!((m.version, m.status, m.content(), server.sessions()), (1, status, given, 1), "{hex}");
    }
}

#[test]
fn idle_sessions_end_and_their_connections_are_closed() {
    let mut server = Server::new(ServerConfig::default());
    assert!(server.stream_opened(ms(0), tcp(2)));
    for peer in [udp(1), tcp(2)] {
        says(&mut server, ms(0), peer, INITIATE);
    }
    // What one says keeps the other one's session not.
    says(&mut server, ms(20_000), udp(1), "01 00 02 00 00 0c 00 08");
    server.handle_timeout(ms(29_999));
    assert_eq!(server.sessions(), 2);
    server.handle_timeout(ms(30_000));
    let done = drain(&mut server);
    server.stream_gone(ms(30_001), tcp(2));
    assert_eq!((server.sessions(), server.streams(), done.closed), (1, 0, vec![tcp(2)]));
    assert!(server.wake_at().is_some_and(|t| t <= ms(50_000)));
    server.handle_timeout(ms(50_000));
    assert_eq!((server.sessions(), server.wake_at()), (0, None));
    // Its request is told that there is no session.
    assert_eq!(error_code(only(&says(&mut server, ms(50_001), udp(1), ASK))), Some(0));
}

#[test]
fn repeats_are_not_done_twice() {
    let mut server = with_session();
    let ticket = says(&mut server, ms(0), udp(1), ASK).asked[0].0;
    let again = says(&mut server, ms(100), udp(1), ASK);
    assert!(again.asked.is_empty() && again.sent.is_empty());
    server.answer(ms(200), ticket, Answer::Frame(reply()));
    let answer = only(&drain(&mut server)).clone();
    let again = says(&mut server, ms(300), udp(1), ASK);
    assert_eq!((only(&again), again.asked.len()), (&answer, 0));
    // Other requests between do not matter. Command 0 is asked anew after 3 s where it is known to be harmless.
    for n in 4..20 {
        let hex = format!("01 00 03 00 00 {n:02x} 00 0d 02 00 00 00 02");
        let ticket = says(&mut server, ms(400), udp(1), &hex).asked[0].0;
        server.answer(ms(500), ticket, Answer::Frame(reply()));
        drain(&mut server);
    }
    assert_eq!(says(&mut server, ms(12_199), udp(1), ASK).asked.len(), 0);
    assert_eq!(says(&mut server, ms(12_200), udp(1), ASK).asked.len(), 1);
    let harmless = looprig::exchange::harmless();
    let mut server = Server::new(ServerConfig { harmless, ..ServerConfig::default() });
    says(&mut server, ms(0), udp(1), INITIATE);
    let ticket = says(&mut server, ms(0), udp(1), ASK).asked[0].0;
    server.answer(ms(0), ticket, Answer::Frame(reply()));
    assert_eq!(says(&mut server, ms(2_999), udp(1), ASK).asked.len(), 0);
    assert_eq!(says(&mut server, ms(3_000), udp(1), ASK).asked.len(), 1);
}

/// A client that never counts: the same number with other octets is a new request, and so is what came before it.
#[test]
fn a_number_that_is_used_again_is_a_new_request() {
    let mut server = with_session();
    let other = "01 00 03 00 00 03 00 0d 02 80 00 00 82";
    for hex in [ASK, other, ASK, other] {
        let done = says(&mut server, ms(0), udp(1), hex);
        assert_eq!(done.asked.len(), 1, "{hex}");
        server.answer(ms(0), done.asked[0].0, Answer::Frame(reply()));
        drain(&mut server);
    }
}

/// What is remembered has limits: 64 changes, 16 readings, 65536 octets of a session [IP-13].
#[test]
fn memory_of_answers_is_bounded() {
    let harmless = looprig::exchange::harmless();
    for (command, most) in [(6_u8, 64), (0, 16)] {
        let mut server = Server::new(ServerConfig { harmless, ..ServerConfig::default() });
        says(&mut server, ms(0), udp(1), INITIATE);
        let hex = |n: usize| {
            let check = 0x02 ^ command;
            format!("01 00 03 00 01 {n:02x} 00 0d 02 00 {command:02x} 00 {check:02x}")
        };
        for n in 0..200 {
            let ticket = says(&mut server, ms(0), udp(1), &hex(n)).asked[0].0;
            server.answer(ms(0), ticket, Answer::Frame(reply()));
            drain(&mut server);
        }
        let remembered =
            (0..200).rev().take_while(|n| says(&mut server, ms(1), udp(1), &hex(*n)).asked.is_empty());
        assert_eq!(remembered.count(), most, "command {command}");
    }
    let mut server = with_session();
    let long: Vec<u8> = vec![0; 250];
    let commands = vec![DirectCommand::new(6, long).expect("short enough"); 60];
    let pdu = DirectPdu { commands, ..DirectPdu::default() };
    for n in 0..20 {
        let hex = format!("01 00 04 00 02 {n:02x} 00 0e 00 00 00 06 01 00");
        let ticket = says(&mut server, ms(0), udp(1), &hex).asked[0].0;
        server.answer(ms(0), ticket, Answer::Direct(pdu.clone()));
        drain(&mut server);
    }
    // Each answer has 8 + 2 + 60 x 253 = 15190 octets: four of them fit.
    let asked = |n: u8| {
        let hex = format!("01 00 04 00 02 {n:02x} 00 0e 00 00 00 06 01 00");
        !says(&mut server, ms(1), udp(1), &hex).asked.is_empty()
    };
    assert_eq!([19, 18, 17, 16, 15].map(asked), [false, false, false, false, true]);
}

#[test]
fn a_flood_of_sessions_ends_at_the_limit() {
    let mut server = Server::new(ServerConfig::default());
    for n in 0..1000 {
        let done = says(&mut server, ms(n.into()), udp(n), INITIATE);
        assert_eq!(only(&done).status, if n < 32 { 0 } else { 15 }, "{n}");
    }
    assert_eq!(server.sessions(), 32);
    // One that goes makes room.
    says(&mut server, ms(1000), udp(7), "01 00 01 00 00 0d 00 08");
    assert_eq!(only(&says(&mut server, ms(1001), udp(999), INITIATE)).status, 0);
    // Connections: 32 and 8 more [IP-13].
    let let_in = (0..100).filter(|n| server.stream_opened(ms(2000), tcp(*n))).count();
    assert_eq!((let_in, server.streams()), (40, 40));
    // Until they are gone they count: nobody else is let in.
    server.handle_timeout(ms(12_000));
    assert_eq!((drain(&mut server).closed.len(), server.streams()), (40, 40));
    assert!(!server.stream_opened(ms(12_001), tcp(200)));
    server.stream_gone(ms(12_002), tcp(0));
    assert!(server.stream_opened(ms(12_003), tcp(200)));
    (1..40).for_each(|n| server.stream_gone(ms(12_004), tcp(n)));
    assert_eq!(server.streams(), 1);
}

#[test]
fn a_flood_of_requests_ends_at_the_limit() {
    let mut server = Server::new(ServerConfig {
        limits: Limits { waiting: 20, ..Limits::default() },
        ..ServerConfig::default()
    });
    let (mut asked, mut refused) = (0, 0);
    for peer in 0..5 {
        says(&mut server, ms(0), udp(peer), INITIATE);
        for n in 0..50_u8 {
            let done =
                says(&mut server, ms(1), udp(peer), &format!("01 00 03 00 01 {n:02x} 00 0d 02 00 00 00 02"));
            asked += done.asked.len();
            refused += done.sent.iter().filter(|(_, m)| error_code(m) == Some(2)).count();
        }
    }
    // 8 of the first and of the second session, the 4 that are left of the third.
    assert_eq!((asked, refused, server.waiting()), (20, 230, 20));
    // A session that ends takes its requests along.
    let done = says(&mut server, ms(2), udp(0), "01 00 01 00 00 0d 00 08");
    assert_eq!((server.waiting(), done.forgotten.len()), (12, 8));
}

#[test]
fn news_do_not_flood() {
    let mut server = Server::new(ServerConfig::default());
    let mut told = 0;
    for _ in 0..10_000 {
        told += says(&mut server, ms(5), udp(1), "01 00 03").news.len();
    }
    assert_eq!(told, 100);
    server.datagram(ms(1005), udp(1), &bytes("01"));
    let last = std::iter::from_fn(|| server.poll_output()).last();
    assert!(matches!(last, Some(ServerOutput::News { left_out: 9_900, .. })), "{last:?}");
}

#[test]
fn many_messages_in_one_datagram_and_in_one_segment() {
    let keep_alive = "01 00 02 00 00 0c 00 08";
    let mut server = with_session();
    let done = says(&mut server, ms(1), udp(1), &format!("{ASK} {keep_alive} {keep_alive} 01 00"));
    assert_eq!((done.asked.len(), done.sent.len()), (1, 2));
    // 64 of them and no more [IP-13].
    assert_eq!(says(&mut server, ms(2), udp(1), &keep_alive.repeat(8000)).sent.len(), 64);
    // Octet by octet by TCP, then all at once.
    assert!(server.stream_opened(ms(3), tcp(2)));
    let mut sent = 0;
    for o in octets(&format!("{INITIATE} {keep_alive}")) {
        server.stream(ms(4), tcp(2), &[o]);
        sent += drain(&mut server).sent.len();
    }
    assert_eq!(sent, 2);
    assert_eq!(says(&mut server, ms(5), tcp(2), &keep_alive.repeat(300)).sent.len(), 300);
    // A byte count that lies ends the stream.
    let done = says(&mut server, ms(6), tcp(2), "01 00 02 00 00 0c 00 00 01 00");
    assert_eq!((done.closed, server.streams(), server.sessions()), (vec![tcp(2)], 1, 1));
    server.stream_gone(ms(6), tcp(2));
    assert_eq!(server.streams(), 0);
    assert!(says(&mut server, ms(7), tcp(2), keep_alive).sent.is_empty());
}

#[test]
fn bursts_go_to_every_session() {
    let mut server = with_session();
    says(&mut server, ms(0), udp(2), INITIATE);
    // A burst of [ICS], command 9, shortened to its status, with a check byte for that.
    let to = Address::new(Master::Secondary, Target::Polling(PollingAddress::new(0).expect("an address")));
    let burst = Frame::reply(true, to, 1, [0, 0], vec![]).expect("a short frame");
    for n in 1..=2 {
        server.publish(&burst);
        let done = drain(&mut server);
        let all: Vec<(Peer, Type, u16)> =
            done.sent.iter().map(|(p, m)| (*p, m.kind.kind(), m.sequence)).collect();
        assert_eq!(all, [(udp(1), Type::Publish, n), (udp(2), Type::Publish, n)]);
        assert!(done.sent.iter().all(|(_, m)| *m.body() == burst.encode() && m.id == Id::TokenPdu));
    }
}

#[test]
fn the_audit_log_remembers_sessions_that_ended() {
    let mut server = Server::new(ServerConfig { port: 5094, zero_s: 1000, ..ServerConfig::default() });
    for n in 0..70 {
        says(&mut server, ms(1000 * u64::from(n)), udp(n), INITIATE);
        let ticket = says(&mut server, ms(1000 * u64::from(n)), udp(n), ASK).asked[0].0;
        server.answer(ms(1000 * u64::from(n)), ticket, Answer::Frame(reply()));
        says(&mut server, ms(1000 * u64::from(n) + 2000), udp(n), "01 00 01 00 00 0d 00 08");
    }
    says(&mut server, ms(80_000), udp(99), INITIATE);
    let done = says(&mut server, ms(80_001), udp(99), "01 00 05 00 00 05 00 0a 3e ff");
    let m = only(&done);
    let log = AuditLog::decode(m.body()).expect("a log");
    // 64 are kept, those of sessions 6 to 69; from record 62 on two are left, fewer than asked for.
    assert_eq!((m.status, log.start, log.count, log.records.len(), log.powered_up.0), (8, 62, 2, 2, 1000));
    let last = log.records[1];
    assert_eq!((last.client_port, last.server_port), (40_069, 5094));
    assert_eq!((last.connected.0, last.disconnected.0, last.requests, last.responses), (1069, 1071, 1, 1));
}

#[derive(Clone, Debug)]
enum Step {
    Octets(u16, Vec<u8>),
    Connect(u16),
    Gone(u16),
    Answer(u64, u8),
    Publish,
    Pass(u64),
    HangUp,
}

fn any_step() -> impl Strategy<Value = Step> {
    let known =
        prop::sample::select(vec![INITIATE, ASK, "01 00 02 00 00 0c 00 08", "01 00 01 00 00 0d 00 08"]);
    let octets = prop_oneof![
        4 => known.prop_map(octets),
        2 => prop::collection::vec(any::<u8>(), 0..40),
        2 => (0..8u8, prop::collection::vec(any::<u8>(), 0..20)).prop_map(|(id, body)| {
            let mut out = vec![1, 0, id, 0, 0, id, 0, 8 + body.len() as u8];
            out.extend(body);
            out
        }),
    ];
    prop_oneof![
        8 => (0..12u16, octets).prop_map(|(n, o)| Step::Octets(n, o)),
        2 => (0..12u16).prop_map(Step::Connect),
        1 => (0..12u16).prop_map(Step::Gone),
        3 => (0..40u64, 0..4u8).prop_map(|(t, a)| Step::Answer(t, a)),
        1 => Just(Step::Publish),
        2 => (0..20_000u64).prop_map(Step::Pass),
        1 => Just(Step::HangUp),
    ]
}

proptest! {
    /// Whatever comes, the server stays within its limits, answers with octets that are messages, and hands out
    /// each ticket once.
    #[test]
    fn limits_hold(steps in prop::collection::vec(any_step(), 0..120)) {
        let limits = Limits { sessions: 4, of_session: 2, waiting: 5, ..Limits::default() };
        let mut server = Server::new(ServerConfig { limits, ..ServerConfig::default() });
        let (mut now, mut last_ticket) = (0, 0);
        for step in steps {
            match step {
                Step::Octets(n, octets) if n % 2 == 0 => server.datagram(ms(now), udp(n), &Bytes::from(octets)),
                Step::Octets(n, octets) => server.stream(ms(now), tcp(n), &octets),
                Step::Connect(n) => { server.stream_opened(ms(now), tcp(n)); }
                Step::Gone(n) => server.stream_gone(ms(now), tcp(n)),
                Step::Answer(t, 0) => server.answer(ms(now), Ticket(t), Answer::Silent),
                Step::Answer(t, 1) => server.answer(ms(now), Ticket(t), Answer::Unavailable),
                Step::Answer(t, 2) => server.answer(ms(now), Ticket(t), Answer::Direct(DirectPdu::default())),
                Step::Answer(t, _) => server.answer(ms(now), Ticket(t), Answer::Frame(reply())),
                Step::Publish => server.publish(&reply()),
                Step::Pass(by) => {
                    now += by;
                    server.handle_timeout(ms(now));
                    prop_assert!(server.wake_at().is_none_or(|t| t > ms(now)));
                }
                Step::HangUp => server.hang_up(ms(now)),
            }
            prop_assert!(server.sessions() <= 4 && server.waiting() <= 5 && server.streams() <= 12);
            for (ticket, _) in drain(&mut server).asked {
                prop_assert!(ticket.0 > last_ticket);
                last_ticket = ticket.0;
            }
        }
        now += Duration::from_secs(7200).as_millis() as u64;
        server.handle_timeout(ms(now));
        // What was to be closed is closed.
        (0..12).for_each(|n| server.stream_gone(ms(now), tcp(n)));
        prop_assert_eq!((server.sessions(), server.waiting(), server.streams(), server.wake_at()), (0, 0, 0, None));
    }
}
