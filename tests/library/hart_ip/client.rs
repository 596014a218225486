//! The client's end, alone and against our server.

use super::{bytes, message, ms, udp};
use bytes::Bytes;
use looprig::frame::{Frame, Master};
use looprig::ip::{
    Answer, Client, ClientConfig, ClientNews, ClientOutput, Id, Message, Request, Server, ServerConfig,
    ServerOutput, Type,
};
use looprig::time::Instant;
use std::net::SocketAddr;

fn server_at() -> SocketAddr {
    ([127, 0, 0, 1], 5094).into()
}

/// As the commands of looprig set a client up.
fn config(stream: bool, master: Master) -> ClientConfig {
    ClientConfig { harmless: looprig::exchange::harmless(), ..ClientConfig::new(server_at(), stream, master) }
}

fn client() -> Client {
    Client::new(config(false, Master::Secondary), ms(0))
}

/// What the client did.
#[derive(Debug, Default, PartialEq)]
struct Done {
    sent: Vec<(SocketAddr, Message)>,
    answers: Vec<Bytes>,
    unanswered: usize,
    published: Vec<Bytes>,
    connects: usize,
    news: Vec<ClientNews>,
}

fn drain(client: &mut Client) -> Done {
    let mut done = Done::default();
    while let Some(output) = client.poll_output() {
        match output {
            ClientOutput::Send { to, octets } => done.sent.push((to, message(&octets))),
            ClientOutput::Connect => done.connects += 1,
            ClientOutput::Answer(octets) => done.answers.push(octets),
            ClientOutput::NoAnswer => done.unanswered += 1,
            ClientOutput::Published(octets) => done.published.push(octets),
            ClientOutput::News(news) => done.news.push(news),
        }
    }
    done
}

fn hears(client: &mut Client, now: Instant, hex: &str) -> Done {
    client.datagram(now, server_at(), &bytes(hex));
    drain(client)
}

/// A client whose session is open from time zero on, with a timer of 30 s; its sequence numbers go on from 2.
fn open() -> Client {
    let mut client = client();
    drain(&mut client);
    hears(&mut client, ms(0), "01 01 00 00 00 01 00 0d 00 00 00 75 30");
    assert!(client.is_open());
    client
}

#[test]
fn a_session_is_opened_and_kept() {
    let mut client = client();
    let done = drain(&mut client);
    assert_eq!(done.sent[0].1.encode(), bytes("01 00 00 00 00 01 00 0d 00 00 00 75 30"));
    // Nobody answers: again after a second.
    client.handle_timeout(ms(1000));
    assert_eq!(drain(&mut client).sent[0].1.sequence, 2);
    // The answer to the first one comes too late, that to the second opens the session; the server keeps 60 s [IP-05].
    hears(&mut client, ms(1100), "01 01 00 00 00 01 00 0d 00 00 00 ea 60");
    assert!(!client.is_open());
    hears(&mut client, ms(1200), "01 01 00 00 00 02 00 0d 00 00 00 ea 60");
    assert!(client.is_open());
    // A third of the timer after what it sent last it says that it is there.
    assert_eq!(client.wake_at(), Some(ms(21_000)));
    client.handle_timeout(ms(21_000));
    let done = drain(&mut client);
    assert_eq!((done.sent[0].1.id, done.sent[0].1.sequence), (Id::KeepAlive, 3));
    hears(&mut client, ms(21_010), "01 01 02 00 00 03 00 08");
    client.close(ms(22_000));
    assert_eq!(drain(&mut client).sent[0].1.id, Id::SessionClose);
    assert_eq!(client.wake_at(), None);
}

/// The capture of [ICS] whose server answers from port 5095: everything else goes there, and nobody else is heard.
#[test]
fn a_server_that_answers_from_another_port() {
    let mut client = client();
    drain(&mut client);
    let other = SocketAddr::from(([127, 0, 0, 1], 5095));
    let stranger = SocketAddr::from(([127, 0, 0, 2], 5094));
    let answer = bytes("01 01 00 00 00 01 00 0d 00 00 00 75 30");
    client.datagram(ms(1), stranger, &answer);
    assert!(!client.is_open());
    client.datagram(ms(2), other, &answer);
    assert!(client.is_open());
    client.ask(ms(3), bytes("02 00 00 00 02"));
    assert_eq!(drain(&mut client).sent[0].0, other);
    let reply = bytes("01 01 03 00 00 02 00 0f 06 00 00 02 00 00 04");
    client.datagram(ms(4), server_at(), &reply);
    assert_eq!(drain(&mut client).answers.len(), 0);
    client.datagram(ms(5), other, &reply);
    assert_eq!(drain(&mut client).answers, [bytes("06 00 00 02 00 00 04")]);
}

#[test]
fn what_is_lost_is_sent_again_and_given_up() {
    let mut client = open();
    client.ask(ms(100), bytes("02 00 00 00 02"));
    let first = drain(&mut client).sent[0].1.clone();
    assert_eq!((first.id, first.sequence), (Id::TokenPdu, 2));
    let (mut tokens, mut now) = (Vec::new(), 100);
    while now < 10_100 {
        now += 50;
        // Something else comes meanwhile, so the session is not lost.
        let done = hears(&mut client, ms(now), "01 02 03 00 00 01 00 0f 01 00 00 02 00 00 03");
        assert_eq!((done.published.len(), done.unanswered), (0, 0));
        tokens.extend(done.sent.into_iter().map(|(_, m)| (now, m)));
        client.handle_timeout(ms(now));
        let done = drain(&mut client);
        tokens.extend(done.sent.into_iter().map(|(_, m)| (now, m)));
        // What was published meanwhile is handed on behind the end of the request.
        let over = now == 10_100;
        assert_eq!((done.unanswered, done.published.len()), (usize::from(over), if over { 200 } else { 0 }));
    }
    let times: Vec<u64> = tokens.iter().map(|(at, _)| *at).collect();
    assert_eq!(times, [2100, 4100, 6100, 8100]);
    assert!(tokens.iter().all(|(_, m)| *m == first));
    // Its answer comes after all: nobody asks for it any more.
    assert!(
        hears(&mut client, ms(10_200), "01 01 03 00 00 02 00 0f 06 00 00 02 00 00 04").answers.is_empty()
    );
}

#[test]
fn denials() {
    for (hex, said) in [
        ("01 0f 03 05 00 02 00 08", "NAK, status 5 (too few data octets)"),
        ("01 03 03 06 00 02 00 09 02", "error 2 (service unavailable)"),
        ("01 01 03 07 00 02 00 08", "response, status 7"),
        ("01 01 03 00 00 02 00 08", "response, status 0 (success)"),
    ] {
        let mut client = open();
        client.ask(ms(1), bytes("02 00 00 00 02"));
        drain(&mut client);
        let done = hears(&mut client, ms(2), hex);
        assert_eq!(done.unanswered, 1, "{hex}");
        assert_eq!(done.news, [ClientNews::Denied(said.to_owned())]);
    }
    // Nobody answered on the wires: a frame with a communication error, 84 00 [IP-08]. That is no trouble. 06 ^ 02 ^ 84 = 80.
    let mut client = open();
    client.ask(ms(1), bytes("02 00 00 00 02"));
    drain(&mut client);
    let done = hears(&mut client, ms(2), "01 01 03 00 00 02 00 0f 06 00 00 02 84 00 80");
    assert_eq!((done.unanswered, done.news, done.answers.len()), (1, vec![ClientNews::Silent], 0));
    // A NAK with status 6 may mean that, and may mean more. 06 ^ 02 ^ 88 = 8C: an error of a device is its own answer.
    for (hex, unanswered, said) in [
        ("01 0f 03 06 00 02 00 08", 1, Some("nobody may have answered it, or it could not be asked")),
        ("01 01 03 00 00 02 00 0f 06 00 00 02 88 00 8c", 0, None),
    ] {
        let mut client = open();
        client.ask(ms(1), bytes("02 00 00 00 02"));
        drain(&mut client);
        let done = hears(&mut client, ms(2), hex);
        let words = done.news.first().map(|n| n.to_string());
        assert_eq!((done.unanswered, done.answers.len()), (unanswered, 1 - unanswered), "{hex}");
        assert_eq!(words.is_some_and(|w| w.contains(said.unwrap_or("?"))), said.is_some(), "{hex}");
    }
    // A warning is none.
    let mut client = open();
    client.ask(ms(1), bytes("02 00 00 00 02"));
    drain(&mut client);
    assert_eq!(hears(&mut client, ms(2), "01 01 03 1e 00 02 00 0f 06 00 00 02 00 00 04").answers.len(), 1);
    // All sessions in use.
    let mut client = self::client();
    drain(&mut client);
    let done = hears(&mut client, ms(1), "01 01 00 0f 00 01 00 0d 00 00 00 75 30");
    assert_eq!(done.news, [ClientNews::Refused("response, status 15 (all sessions in use)".to_owned())]);
    assert_eq!(client.wake_at(), Some(ms(5001)));
}

#[test]
fn a_server_that_fell_silent_or_forgot_is_asked_anew() {
    let mut client = open();
    client.ask(ms(2000), bytes("02 00 00 00 02"));
    drain(&mut client);
    // It has started again and knows nothing of a session.
    let done = hears(&mut client, ms(2010), "01 03 03 06 00 02 00 09 00");
    assert_eq!(done.sent[0].1.id, Id::SessionInitiate);
    let hex = format!("01 01 00 00 00 {:02x} 00 0d 00 00 00 75 30", done.sent[0].1.sequence);
    let done = hears(&mut client, ms(2020), &hex);
    // What was asked is asked again.
    assert_eq!((done.sent[0].1.id, done.sent[0].1.sequence), (Id::TokenPdu, 2));
    // One that forgets at once is asked every second, not as fast as it can answer.
    let done = hears(&mut client, ms(2030), "01 03 03 06 00 02 00 09 00");
    assert!(done.sent.is_empty());
    assert_eq!(client.wake_at(), Some(ms(3030)));
    // And one that says nothing: a probe after 4 s, a new session after 8 s.
    let mut client = open();
    client.ask(ms(0), bytes("02 00 00 00 02"));
    drain(&mut client);
    let mut ids = Vec::new();
    for now in (0..=9000).step_by(100) {
        client.handle_timeout(ms(now));
        ids.extend(drain(&mut client).sent.into_iter().map(|(_, m)| (now, m.id)));
    }
    ids.retain(|(_, id)| *id != Id::TokenPdu);
    assert_eq!(ids, [(4000, Id::KeepAlive), (8000, Id::SessionInitiate), (9000, Id::SessionInitiate)]);
}

/// Client and server on one virtual clock; every third datagram each way is lost.
#[test]
fn both_ends_over_a_lossy_network() {
    let mut client = client();
    let mut server = Server::new(ServerConfig::default());
    let (mut lost, mut answered, mut asked_on_wires) = (0, 0, 0);
    let mut passes = move || {
        lost += 1;
        lost % 3 != 0
    };
    for now in (0..130_000).step_by(10) {
        if now % 5000 == 4000 && now < 120_000 {
            client.ask(ms(now), bytes("02 00 00 00 02"));
        }
        client.handle_timeout(ms(now));
        server.handle_timeout(ms(now));
        while let Some(output) = client.poll_output() {
            match output {
                ClientOutput::Send { octets, .. } if passes() => server.datagram(ms(now), udp(1), &octets),
                ClientOutput::Answer(_) => answered += 1,
                ClientOutput::NoAnswer => panic!("{now}: no answer"),
                _ => {}
            }
        }
        while let Some(output) = server.poll_output() {
            match output {
                ServerOutput::Send { octets, .. } if passes() => {
                    client.datagram(ms(now), server_at(), &octets)
                }
                ServerOutput::Ask { ticket, request: Request::Frame(_) } => {
                    asked_on_wires += 1;
                    server.answer(ms(now), ticket, Answer::Frame(super::server::reply()));
                }
                _ => {}
            }
        }
    }
    // Each of the 24 was asked of the devices once, whatever was lost.
    assert_eq!((answered, asked_on_wires), (24, 24));
}

/// By TCP a connection is wanted first, and nothing is repeated.
#[test]
fn by_tcp() {
    let mut client = Client::new(config(true, Master::Primary), ms(0));
    let done = drain(&mut client);
    assert_eq!((done.connects, done.sent.len()), (1, 0));
    client.gone(ms(10));
    assert_eq!(client.wake_at(), Some(ms(1010)));
    client.handle_timeout(ms(1010));
    assert_eq!(drain(&mut client).connects, 1);
    client.connected(ms(1020));
    let done = drain(&mut client);
    assert_eq!(done.sent[0].1.encode(), bytes("01 00 00 00 00 01 00 0d 01 00 00 75 30"));
    for o in bytes("01 01 00 00 00 01 00 0d 01 00 00 75 30") {
        client.stream(ms(1030), &[o]);
    }
    assert!(client.is_open());
    client.ask(ms(1040), bytes("02 80 00 00 82"));
    assert_eq!(drain(&mut client).sent.len(), 1);
    client.handle_timeout(ms(4000));
    assert!(drain(&mut client).sent.is_empty());
    // The connection breaks: in the next session it is asked again.
    client.gone(ms(4100));
    client.handle_timeout(ms(5100));
    assert_eq!(drain(&mut client).connects, 1);
    client.connected(ms(5110));
    let initiate = drain(&mut client).sent[0].1.clone();
    let bare = Message::new(Type::Response, initiate.id, initiate.sequence, initiate.body().clone()).unwrap();
    client.stream(ms(5120), &bare.encode());
    assert_eq!(drain(&mut client).sent[0].1.id, Id::TokenPdu);
}

/// Command 22 with a long tag of 32 blanks to a unique address, of the secondary master: it counts changes [CM-022].
const WRITE: [u8; 41] = {
    let mut frame = [0x20; 41];
    let head = [0x82, 0x3D, 0x71, 0, 0, 7, 22, 32];
    let mut i = 0;
    while i < head.len() {
        frame[i] = head[i];
        i += 1;
    }
    // 32 blanks cancel out: 82 ^ 3D ^ 71 ^ 07 ^ 16 ^ 20 = FF.
    frame[40] = 0xFF;
    frame
};

/// A device that counts what is written to it, as its counter of configuration changes does, behind a server.
#[derive(Default)]
struct Behind {
    changes: u16,
    reads: u16,
}

impl Behind {
    fn answer(&mut self, request: &Frame) -> Frame {
        match request.command() {
            22 => self.changes += 1,
            _ => self.reads += 1,
        }
        let data = self.changes.to_be_bytes().to_vec();
        Frame::reply(false, request.address(), request.command(), [0, 0], data).expect("a short frame")
    }
}

/// Answers that are lost twice in a row, with other requests between, for as long as the client repeats: nothing is written
/// twice, and the first answer is what it gets in the end [IP-12].
#[test]
fn two_losses_in_a_row_write_once() {
    let mut client = client();
    let config = ServerConfig { harmless: looprig::exchange::harmless(), ..ServerConfig::default() };
    let mut server = Server::new(config);
    let (mut device, mut answers, mut lost) = (Behind::default(), Vec::new(), 0);
    for now in (0..12_000).step_by(10) {
        if now == 1000 {
            client.ask(ms(now), Bytes::from_static(&WRITE));
        }
        if now > 1000 && now % 300 == 0 {
            client.ask(ms(now), bytes("02 00 00 00 02"));
        }
        client.handle_timeout(ms(now));
        server.handle_timeout(ms(now));
        while let Some(output) = client.poll_output() {
            match output {
                ClientOutput::Send { octets, .. } => server.datagram(ms(now), udp(1), &octets),
                ClientOutput::Answer(frame) => answers.push((now, frame)),
                other => assert!(matches!(other, ClientOutput::News(ClientNews::Open(_))), "{other:?}"),
            }
        }
        while let Some(output) = server.poll_output() {
            match output {
                // What answers the write is lost at 1, 3, 5 and 7 s.
                ServerOutput::Send { octets, .. } if now < 9000 && octets.get(14) == Some(&22) => lost += 1,
                ServerOutput::Send { octets, .. } => client.datagram(ms(now), server_at(), &octets),
                ServerOutput::Ask { ticket, request: Request::Frame(frame) } => {
                    server.answer(ms(now), ticket, Answer::Frame(device.answer(&frame)));
                }
                _ => {}
            }
        }
    }
    let written: Vec<_> = answers.iter().filter(|(_, f)| f[6] == 22).collect();
    // At 9 s, the fifth time, one step later where the client reads it, with the counter as it was after the only write.
    assert_eq!((device.changes, lost, written.len()), (1, 4, 1));
    assert_eq!((written[0].0, &written[0].1[10..12]), (9010, &[0, 1][..]));
    assert!(device.reads > 30);
}

/// A session that is lost while a write is under way, by UDP and by TCP: it is not asked again, and the client says that nobody
/// knows. What only reads is asked again, and so is a write that the server turned down for want of a session.
#[test]
fn what_changes_something_is_not_asked_in_a_new_session() {
    for (tcp, what, again) in [
        (false, &WRITE[..], false),
        (true, &WRITE[..], false),
        (false, &[2, 0, 0, 0, 2][..], true),
        (true, &[2, 0, 0, 0, 2][..], true),
    ] {
        let mut client = Client::new(config(tcp, Master::Secondary), ms(0));
        let tell = |client: &mut Client, now, octets: &Bytes| match tcp {
            true => client.stream(now, octets),
            false => client.datagram(now, server_at(), octets),
        };
        let grant = |initiate: &Message| {
            let body = initiate.body().clone();
            Message::new(Type::Response, initiate.id, initiate.sequence, body).expect("short").encode()
        };
        client.connected(ms(0));
        let initiate = drain(&mut client).sent[0].1.clone();
        tell(&mut client, ms(0), &grant(&initiate));
        assert!(client.is_open());
        client.ask(ms(100), Bytes::copy_from_slice(what));
        let first = drain(&mut client).sent.iter().filter(|(_, m)| m.id == Id::TokenPdu).count();
        assert_eq!(first, 1);
        // The connection breaks; by UDP a repeat has gone out too when the server says that it knows no session.
        if tcp {
            client.gone(ms(3000));
        } else {
            client.handle_timeout(ms(2100));
            assert_eq!(drain(&mut client).sent.len(), 1);
            tell(&mut client, ms(2200), &bytes("01 03 03 06 00 02 00 09 00"));
        }
        let lost = drain(&mut client);
        let unknown = lost.news.contains(&ClientNews::Unknown(Some(22)));
        assert_eq!((unknown, lost.unanswered), (!again, usize::from(!again)), "tcp {tcp}");
        client.handle_timeout(ms(4100));
        client.connected(ms(4100));
        let mut sent = drain(&mut client).sent;
        sent.extend(lost.sent);
        let initiate =
            sent.iter().find(|(_, m)| m.id == Id::SessionInitiate).expect("a new session").1.clone();
        tell(&mut client, ms(4200), &grant(&initiate));
        let asked = drain(&mut client).sent.iter().filter(|(_, m)| m.id == Id::TokenPdu).count();
        assert!(client.is_open());
        assert_eq!(asked, usize::from(again), "tcp {tcp}");
    }
    // Sent once, and the server has no session: it cannot have been done.
    let mut client = open();
    client.ask(ms(100), Bytes::from_static(&WRITE));
    drain(&mut client);
    let done = hears(&mut client, ms(110), "01 03 03 06 00 02 00 09 00");
    assert_eq!((done.unanswered, done.news.len()), (0, 1));
    let later = match done.sent.first() {
        Some((_, m)) => m.sequence,
        None => {
            client.handle_timeout(ms(1110));
            drain(&mut client).sent[0].1.sequence
        }
    };
    let done = hears(&mut client, ms(1120), &format!("01 01 00 00 00 {later:02x} 00 0d 00 00 00 75 30"));
    assert_eq!(done.sent.iter().filter(|(_, m)| m.id == Id::TokenPdu).count(), 1);
    // Given up after its time: that is not known either.
    client.handle_timeout(ms(10_100));
    let done = drain(&mut client);
    assert!(done.unanswered == 1 && done.news.contains(&ClientNews::Unknown(Some(22))), "{done:?}");
}

/// Whatever a bad server sends, a log is not filled with it: 100 news at once, one more each 100 ms, and how many were left
/// out [IP-13].
#[test]
fn a_bad_server_fills_no_log() {
    let mut client = open();
    let odd = "01 00 02 00 00 0c 00 08 ".repeat(8000);
    let mut told = 0;
    for _ in 0..10 {
        told += hears(&mut client, ms(5), &odd).news.len();
    }
    assert_eq!(told, 100);
    // 64 of each datagram and a word on the others: 650 in all.
    let news = hears(&mut client, ms(1005), "01 00 02 00 00 0c 00 08").news;
    assert_eq!(news[0], ClientNews::LeftOut(550));
    assert_eq!(news.len(), 2);
}
