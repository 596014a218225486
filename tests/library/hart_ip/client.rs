//! The client's end, alone and against our server.

use super::{bytes, message, ms, udp};
use bytes::Bytes;
use looprig::frame::Master;
use looprig::ip::{
    Answer, Client, ClientConfig, ClientNews, ClientOutput, Id, Message, Request, Server, ServerConfig,
    ServerOutput, Type,
};
use looprig::time::Instant;
use std::net::SocketAddr;

fn server_at() -> SocketAddr {
    ([127, 0, 0, 1], 5094).into()
}

fn client() -> Client {
    Client::new(ClientConfig::new(server_at(), false, Master::Secondary), ms(0))
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
    // Nobody answered on the wires: that is no trouble.
    let mut client = open();
    client.ask(ms(1), bytes("02 00 00 00 02"));
    drain(&mut client);
    let done = hears(&mut client, ms(2), "01 0f 03 06 00 02 00 08");
    assert_eq!((done.unanswered, done.news), (1, vec![ClientNews::Silent]));
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
    let mut client = Client::new(ClientConfig::new(server_at(), true, Master::Primary), ms(0));
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
