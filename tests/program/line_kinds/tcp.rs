//! What only TCP has [LI-12]: several peers, one word, bounds, refusals.

use super::{LONG, any_port, reached, receive};
use looprig::line::io::{PeerNews, PortEvent, PortLine, Ports};
use looprig::line::{Endpoint, Fault, Line};
use looprig::time::Pace;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::time::Duration;

/// A pace at which the word is kept for 302.5 ms / 0.01 = 30 s: longer than a test takes.
const HOLDS_LONG: Pace = Pace::Scaled(0.01);

struct Server {
    ports: Ports,
    at: Endpoint,
}

impl Server {
    fn at(pace: Pace) -> Server {
        let mut ports = Ports::new();
        let port = ports.open_tcp_listen(&any_port(), pace).unwrap();
        assert_eq!(port, 0);
        let at = ports.path(0).to_str().unwrap().strip_prefix("tcp:").unwrap();
        let at = Endpoint::parse_connect(at).unwrap();
        assert!(ports.describe(0).ends_with(&at.to_string()) && at.is_loopback());
        Server { ports, at }
    }

    fn next(&mut self) -> PortEvent {
        let deadline = self.ports.now() + LONG;
        let event = self.ports.wait(Some(deadline));
        assert_ne!(event, PortEvent::TimeOut, "what was wanted never came");
        event
    }

    /// The next piece of news that `wanted` accepts, and whose; octets are skipped.
    fn news(&mut self, wanted: impl Fn(&PeerNews) -> bool) -> (String, PeerNews) {
        loop {
            match self.next() {
                PortEvent::Peer { peer, news, .. } if wanted(&news) => return (peer, news),
                _ => {}
            }
        }
    }

    /// A new peer that has been let in.
    fn peer(&mut self) -> TcpStream {
        let stream = TcpStream::connect(self.at.to_string()).unwrap();
        stream.set_read_timeout(Some(LONG)).unwrap();
        let own = stream.local_addr().unwrap().to_string();
        assert_eq!(self.news(|n| *n == PeerNews::Came).0, own);
        stream
    }

    fn octets(&mut self, count: usize) -> Vec<u8> {
        let mut got = Vec::new();
        while got.len() < count {
            if let PortEvent::Octets { values, .. } = self.next() {
                got.extend(values);
            }
        }
        got
    }
}

fn read(stream: &mut TcpStream, count: usize) -> Vec<u8> {
    let mut got = vec![0; count];
    stream.read_exact(&mut got).unwrap();
    got
}

#[test]
fn all_hear_what_is_sent_and_what_one_of_them_sends() {
    let mut server = Server::at(HOLDS_LONG);
    let (mut a, mut b, mut c) = (server.peer(), server.peer(), server.peer());
    assert!(server.ports.write(0, &[0xFF, 0x00, 0x42]).unwrap());
    for peer in [&mut a, &mut b, &mut c] {
        assert_eq!(read(peer, 3), [0xFF, 0x00, 0x42]);
    }
    a.write_all(&[1, 2, 3]).unwrap();
    assert_eq!(server.octets(3), [1, 2, 3]);
    assert!(server.ports.write(0, &[9]).unwrap());
    // In the order of the wire: the request, then the answer; who asked hears no echo.
    assert_eq!(read(&mut b, 4), [1, 2, 3, 9]);
    assert_eq!(read(&mut c, 4), [1, 2, 3, 9]);
    assert_eq!(read(&mut a, 1), [9]);
}

#[test]
fn a_second_writer_is_dropped_counted_and_told() {
    let mut server = Server::at(HOLDS_LONG);
    let (mut a, mut b) = (server.peer(), server.peer());
    a.write_all(&[1]).unwrap();
    assert_eq!(server.octets(1), [1]);
    b.write_all(&[0xBB; 5]).unwrap();
    let own = b.local_addr().unwrap().to_string();
    let (who, first) = server.news(|n| matches!(n, PeerNews::Unheard { .. }));
    assert_eq!(who, own);
    assert!(first.is_trouble() && first.to_string().contains("another peer has the word"), "{first}");
    b.write_all(&[0xBB; 7]).unwrap();
    drop(b);
    // Told at once when it began, the rest at the end: 5 + 7 octets in all.
    let (who, last) = server.news(|n| matches!(n, PeerNews::Gone { .. }));
    let (PeerNews::Unheard { octets }, PeerNews::Gone { unheard, .. }) = (first, last) else {
        unreachable!()
    };
    assert_eq!((who, octets + unheard), (own, 12));
    // Whoever has the word is heard all the time, and hears nothing of the other.
    a.write_all(&[2]).unwrap();
    assert_eq!(server.octets(1), [2]);
    assert!(server.ports.write(0, &[3]).unwrap());
    assert_eq!(read(&mut a, 1), [3]);
    // The word is free when its holder goes.
    let mut c = server.peer();
    drop(a);
    server.news(|n| matches!(n, PeerNews::Gone { .. }));
    c.write_all(&[4]).unwrap();
    assert_eq!(server.octets(1), [4]);
}

#[test]
fn who_does_not_read_is_disconnected_and_stalls_nobody() {
    let mut server = Server::at(Pace::Fast);
    let slow = server.peer();
    let mut reader = server.peer();
    let own = slow.local_addr().unwrap().to_string();
    let piece = [0x55; 4096];
    let mut sent = 0usize;
    // The system holds some hundred kB at most; the bound only ends a test that has failed.
    let told = loop {
        assert!(sent < 64 << 20, "it is never too slow");
        if server.ports.write(0, &piece).unwrap() {
            sent += piece.len();
            assert_eq!(read(&mut reader, piece.len()), piece);
        }
        let now = server.ports.now();
        match server.ports.wait(Some(now)) {
            PortEvent::Peer { peer, news, .. } => break (peer, news),
            PortEvent::TimeOut => {}
            other => panic!("{other:?}"),
        }
    };
    let (who, PeerNews::TooSlow { waiting, unheard: 0 }) = told else { panic!("{told:?}") };
    assert_eq!(who, own);
    // 64 KiB, less than one piece below.
    assert!((64 * 1024 - piece.len()..=64 * 1024).contains(&waiting), "{waiting}");
    assert!(server.ports.write(0, &[1]).unwrap());
    assert_eq!(read(&mut reader, 1), [1]);
}

/// At most 1024 events of at most 4096 octets wait for somebody to fetch them; the rest stays with the
/// sender, and nothing of what was taken is lost.
#[test]
fn a_flood_that_nobody_fetches_is_held_back() {
    let mut server = Server::at(Pace::Fast);
    let mut flooder = server.peer();
    flooder.set_write_timeout(Some(Duration::from_millis(200))).unwrap();
    let mut sent = 0;
    while let Ok(n) = flooder.write(&[0xFF; 65536]) {
        sent += n;
        // What waits here and what the system holds are far below this.
        assert!(sent < (256 << 20), "everything is taken although nobody fetches");
    }
    drop(flooder);
    let mut got = 0;
    loop {
        match server.next() {
            PortEvent::Octets { values, .. } => {
                assert!(values.len() <= 4096 && values.iter().all(|&v| v == 0xFF));
                got += values.len();
            }
            PortEvent::Peer { news: PeerNews::Gone { .. }, .. } => break,
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(got, sent);
}

/// Who floods is read at the pace, so that he makes nobody else too slow.
#[test]
fn a_flood_is_slowed_down_to_the_pace() {
    const FLOOD: usize = 65536;
    let mut server = Server::at(Pace::Scaled(1000.0));
    let mut flooder = server.peer();
    let mut reader = server.peer();
    let begun = server.ports.now();
    let flood = std::thread::spawn(move || {
        flooder.write_all(&[0xFF; FLOOD]).unwrap();
        flooder
    });
    assert_eq!(server.octets(FLOOD).len(), FLOOD);
    // 11 / 1200 s / 1000 = 9.17 us a character. All but 4096 octets ahead and one piece of 4096:
    // 57344 * 9.166 us = 525.6 ms.
    assert!(server.ports.now().since(begun) >= Duration::from_millis(525));
    assert_eq!(read(&mut reader, FLOOD), [0xFF; FLOOD]);
    assert!(server.ports.write(0, &[1]).unwrap());
    assert_eq!(read(&mut reader, 1), [1], "the reader is still there");
    drop(flood.join().unwrap());
}

#[test]
fn the_seventeenth_is_refused_and_told() {
    let mut server = Server::at(Pace::Fast);
    let mut peers: Vec<TcpStream> = (0..16).map(|_| server.peer()).collect();
    let mut late = TcpStream::connect(server.at.to_string()).unwrap();
    late.set_read_timeout(Some(LONG)).unwrap();
    let (who, news) = server.news(|n| matches!(n, PeerNews::Refused { .. }));
    assert_eq!(who, late.local_addr().unwrap().to_string());
    assert!(news.is_trouble() && news.to_string().contains("16"), "{news}");
    assert_eq!(late.read(&mut [0; 1]).unwrap(), 0, "it is told by the connection's end");
    // One goes, and there is room again; the others were not disturbed.
    drop(peers.remove(3));
    server.news(|n| matches!(n, PeerNews::Gone { .. }));
    peers.push(server.peer());
    assert!(server.ports.write(0, &[7]).unwrap());
    for peer in &mut peers {
        assert_eq!(read(peer, 1), [7]);
    }
}

#[test]
fn nobody_hears_and_nobody_is_kept_waiting() {
    let mut server = Server::at(Pace::Fast);
    assert!(!server.ports.write(0, b"nobody").unwrap());
    server.ports.send(0, b"nobody").unwrap();
    assert!(matches!(server.next(), PortEvent::Sent { .. }));
    // Who comes later hears nothing of it.
    let mut peer = server.peer();
    assert!(server.ports.write(0, b"x").unwrap());
    assert_eq!(read(&mut peer, 1), b"x");
}

/// A peer that vanishes with a reset, in the middle of everything, ends only itself.
#[test]
fn a_peer_that_resets_ends_only_itself() {
    let mut server = Server::at(Pace::Fast);
    let mut stays = server.peer();
    let vanishes = server.peer();
    assert!(server.ports.write(0, b"unread").unwrap());
    assert_eq!(read(&mut stays, 6), b"unread");
    // Closed with octets unread: the system answers with a reset instead of an orderly end.
    let mut one = [0];
    (&vanishes).read_exact(&mut one).unwrap();
    let own = vanishes.local_addr().unwrap().to_string();
    drop(vanishes);
    let (who, _) = server.news(|n| matches!(n, PeerNews::Gone { .. }));
    assert_eq!(who, own);
    stays.write_all(b"here").unwrap();
    assert_eq!(server.octets(4), b"here");
}

#[test]
fn a_client_says_why_it_cannot_connect_and_why_it_ended() {
    // A port that was free a moment ago and that nobody listens at.
    let free = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let to = Endpoint::parse_connect(&free.to_string()).unwrap();
    let e = PortLine::open_tcp(&to, Pace::Wire).err().expect("nobody is there");
    assert_eq!(e.fault, Fault::ConnectionRefused);
    let text = e.to_string();
    assert!(text.contains(&format!("tcp:{free}")) && text.contains("nobody listens there"), "{text}");
    assert!(text.contains("next: start the other end first"), "{text}");

    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let to = Endpoint::parse_connect(&listener.local_addr().unwrap().to_string()).unwrap();
    let mut line = PortLine::open_tcp(&to, Pace::Wire).unwrap();
    let (mut other, _) = listener.accept().unwrap();
    other.write_all(&[5, 6]).unwrap();
    drop(other);
    assert_eq!(receive(&mut line, 2), [5, 6], "what was said before the end is heard");
    let e = line.wait(None).unwrap_err();
    assert_eq!(e.fault, Fault::PeerGone);
    assert!(e.to_string().contains("the other end has closed the connection"), "{e}");
}

/// A client whose other end does not read is told so instead of being kept waiting.
#[test]
fn a_client_whose_peer_does_not_read_is_stuck_not_stalled() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let to = Endpoint::parse_connect(&listener.local_addr().unwrap().to_string()).unwrap();
    let mut line = PortLine::open_tcp(&to, Pace::Fast).unwrap();
    let _deaf = listener.accept().unwrap();
    let deadline = line.now() + LONG;
    loop {
        match line.send(&[0; 1000]) {
            Ok(()) => assert!(line.now() < deadline, "it takes everything"),
            Err(e) => break assert_eq!(e.fault, Fault::Stuck),
        }
        // Fetches the reported ends, which are bounded themselves.
        let now = line.now();
        line.wait(Some(now)).unwrap();
    }
}

#[test]
fn an_address_that_is_taken_or_not_here_is_told() {
    let line = PortLine::open_tcp_listen(&any_port(), Pace::Wire).unwrap();
    let e = PortLine::open_tcp_listen(&reached(&line), Pace::Wire).err().expect("it is taken");
    assert_eq!(e.fault, Fault::AddressTaken);
    assert!(e.to_string().contains("port 0"), "{e}");
    // 192.0.2.0/24 is reserved for documentation (RFC 5737): no machine has it.
    let elsewhere = Endpoint::parse_listen("192.0.2.1:0").unwrap();
    let e = PortLine::open_tcp_listen(&elsewhere, Pace::Wire).err().expect("it is not ours");
    assert_eq!(e.fault, Fault::AddressNotHere);
}

#[test]
fn a_dropped_line_lets_its_port_go() {
    let line = PortLine::open_tcp_listen(&any_port(), Pace::Wire).unwrap();
    let at = reached(&line);
    drop(line);
    PortLine::open_tcp_listen(&at, Pace::Wire).unwrap();
}
