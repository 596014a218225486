//! Any octets from any clients at a HART-IP server and at a client: both stay within their limits, answer in messages that are
//! whole, and a good client is served afterwards [IP-12] [IP-13].
//!
//! The first octet of a step says who speaks and what happens, the second how many octets follow.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::capture::{MessageAnnotator, is_messages};
use looprig::frame::{Frame, Master};
use looprig::ip::{
    Answer, Client, ClientConfig, ClientOutput, DirectPdu, Limits, Message, Peer, Piece, Request, Server,
    ServerConfig, ServerOutput, Splitter, split_datagram,
};
use looprig::time::Instant;

/// Command 0 to polling address 0, and what a device may answer.
const ASK: [u8; 13] = [1, 0, 3, 0, 0, 3, 0, 13, 2, 0, 0, 0, 2];
const REPLY: [u8; 7] = [6, 0, 0, 2, 0, 0, 4];
const INITIATE: [u8; 13] = [1, 0, 0, 0, 0, 2, 0, 13, 1, 0, 0, 0x75, 0x30];

fn whole(octets: &[u8]) {
    let pieces = split_datagram(&octets.to_vec().into(), 65_535);
    assert!(matches!(&pieces[..], [Piece::Message(_)]), "we sent {octets:02X?}");
}

/// Gives how many messages went to `to`.
fn drain(server: &mut Server, now: Instant, answers: bool, to: Peer) -> usize {
    let mut sent = 0;
    while let Some(output) = server.poll_output() {
        match output {
            ServerOutput::Send { to: peer, octets } => {
                whole(&octets);
                sent += usize::from(peer == to);
            }
            ServerOutput::Ask { ticket, request } if answers => {
                let answer = match request {
                    Request::Frame(_) => match Frame::parse(&REPLY.to_vec().into()) {
                        Ok(frame) => Answer::Frame(frame),
                        Err(_) => Answer::Silent,
                    },
                    Request::Direct { commands, .. } => {
                        Answer::Direct(DirectPdu { commands, ..DirectPdu::default() })
                    }
                };
                server.answer(now, ticket, answer);
            }
            _ => {}
        }
    }
    sent
}

fuzz_target!(|bytes: &[u8]| {
    let limits = Limits { sessions: 3, waiting: 5, of_session: 3, ..Limits::default() };
    let mut server = Server::new(ServerConfig { limits, ..ServerConfig::default() });
    let at = ([127, 0, 0, 1], 5094).into();
    let mut client = Client::new(ClientConfig::new(at, false, Master::Secondary), Instant::ZERO);
    let mut chain = MessageAnnotator::new(None);
    let mut stream = Splitter::new(512);
    let mut now = Instant::ZERO;
    let peer = |n: u8, tcp: bool| Peer {
        address: ([127, 0, 0, 1], 40_000 + u16::from(n)).into(),
        stream: tcp.then_some(n.into()),
    };
    let mut rest = bytes;
    while let [what, len, more @ ..] = rest {
        let (octets, behind) = more.split_at(usize::from(*len).min(more.len()));
        rest = behind;
        let who = peer(what & 7, what & 8 != 0);
        match what >> 4 {
            0..=7 if who.stream.is_none() => server.datagram(now, who, &octets.to_vec().into()),
            0..=7 => server.stream(now, who, octets),
            8 => {
                server.stream_opened(now, peer(what & 7, true));
            }
            9 if what & 8 == 0 => server.stream_gone(now, peer(what & 7, true)),
            9 => server.stream_ended(now, peer(what & 7, true)),
            10 => server.datagram(now, who, &INITIATE.to_vec().into()),
            11 => {
                now += core::time::Duration::from_millis(u64::from(*len) * 100);
                server.handle_timeout(now);
                client.handle_timeout(now);
            }
            12 => client.datagram(now, at, &octets.to_vec().into()),
            13 => client.ask(now, octets.to_vec().into()),
            _ => {
                stream.push(octets);
                while stream.next().is_some() {}
                assert!(stream.waiting() < 512);
            }
        }
        drain(&mut server, now, what & 8 == 0, who);
        chain.push(now, u64::from(what & 7), &octets.to_vec().into());
        while let Some(item) = chain.next() {
            let mut json = String::new();
            item.write_json(&mut json);
            let _ = item.words();
            assert!(json.is_empty() || serde_json::from_str::<serde_json::Value>(&json).is_ok(), "{json}");
        }
        if is_messages(octets) {
            assert!(Message::parse(&octets.to_vec().into()).is_some());
        }
        while let Some(output) = client.poll_output() {
            if let ClientOutput::Send { octets, .. } = output {
                whole(&octets);
            }
        }
        assert!(server.sessions() <= 3 && server.waiting() <= 5 && server.streams() <= 11);
    }
    chain.finish();
    while chain.next().is_some() {}
    // Two hours later all of them are gone, and a good client is served.
    now += core::time::Duration::from_secs(7200);
    server.handle_timeout(now);
    let good = peer(200, false);
    drain(&mut server, now, true, good);
    (0..8).for_each(|n| server.stream_gone(now, peer(n, true)));
    assert_eq!((server.sessions(), server.waiting(), server.streams()), (0, 0, 0));
    server.datagram(now, good, &INITIATE.to_vec().into());
    assert_eq!(drain(&mut server, now, true, good), 1);
    server.datagram(now, good, &ASK.to_vec().into());
    // The request goes out, and its answer comes back within one round of outputs.
    assert_eq!(drain(&mut server, now, true, good), 1);
});
