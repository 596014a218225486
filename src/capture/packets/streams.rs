//! Streams of TCP put together again, as far as they hold HART-IP messages [PC-02].

use super::super::is_messages;
use crate::ip::{HEADER, MAX_MESSAGE, Message, PORT, Piece, Splitter, Type};
use bytes::Bytes;
use std::collections::BTreeMap;
use std::net::SocketAddr;

/// Streams that are followed at once; the one that was silent longest is forgotten for another one.
const MOST_STREAMS: usize = 256;
/// What of one stream waits for an octet that has not come yet.
const MOST_WAITING: usize = 1 << 18;
/// In so many segments.
const MOST_SEGMENTS: usize = 128;

/// What came out of a stream.
#[derive(Debug, PartialEq)]
pub(super) enum Out {
    /// A message, or octets that are none.
    Octets(Bytes),
    /// Something is missing.
    Gap(String),
}

/// The same with where it goes.
pub(super) type Came = (SocketAddr, SocketAddr, Out);

/// A segment of TCP.
#[derive(Clone, Copy, Debug)]
pub(super) struct TcpSegment<'a> {
    pub from: SocketAddr,
    pub to: SocketAddr,
    pub sequence: u32,
    pub begins: bool,
    pub ends: bool,
    pub payload: &'a [u8],
    /// Octets that the capture does not have.
    pub missing: usize,
}

/// One direction of a connection.
#[derive(Debug)]
struct Stream {
    next: u32,
    waiting: BTreeMap<u32, Bytes>,
    waiting_octets: usize,
    splitter: Splitter,
    /// Looks for the next message.
    seeking: Option<Seeking>,
    /// Whether it is to port 5094, or a message has come out of it; else it may be anything.
    is_ours: bool,
    used: u64,
}

/// Where messages begin is not known.
#[derive(Debug, Default)]
struct Seeking {
    /// So many octets were passed over.
    passed: usize,
    /// The last of them, which may be the beginning of a header: fewer than a header has.
    last: Vec<u8>,
}

impl Seeking {
    /// Looks for a message in what comes next; gives it from there on.
    fn look(&mut self, octets: &[u8]) -> Option<Vec<u8>> {
        let all = [&self.last[..], octets].concat();
        let whole = (0..all.len()).find(|&at| is_a_message(&all[at..]));
        // Most clients begin a segment with a message, and a segment may end within a header.
        let begun = || begins_like_a_message(octets).then_some(self.last.len());
        if let Some(at) = whole.or_else(begun) {
            self.passed += at;
            return Some(all[at..].to_vec());
        }
        let kept = all.len().min(HEADER - 1);
        self.passed += all.len() - kept;
        self.last = all[all.len() - kept..].to_vec();
        None
    }

    /// All that was passed over so far.
    fn in_all(&self) -> usize {
        self.passed + self.last.len()
    }
}

impl Stream {
    /// One that begins at `next`, or, where its beginning is not known, at the first message behind it.
    fn new(next: u32, seeking: Option<Seeking>, is_ours: bool, used: u64) -> Stream {
        Stream {
            next,
            waiting: BTreeMap::new(),
            waiting_octets: 0,
            splitter: Splitter::new(MAX_MESSAGE),
            seeking,
            is_ours,
            used,
        }
    }

    fn feed(&mut self, octets: &[u8], out: &mut Vec<Out>) {
        self.next = self.next.wrapping_add(octets.len() as u32);
        let found;
        let mut octets = octets;
        if let Some(seeking) = &mut self.seeking {
            let Some(from_there) = seeking.look(octets) else { return };
            let passed = seeking.passed;
            if passed > 0 {
                out.push(Out::Gap(format!("{passed} octets up to the next message were passed over")));
            }
            (self.seeking, self.splitter) = (None, Splitter::new(MAX_MESSAGE));
            found = from_there;
            octets = &found;
        }
        self.splitter.push(octets);
        while let Some(piece) = self.splitter.next() {
            match piece {
                Piece::Message(message) => {
                    self.is_ours = true;
                    out.push(Out::Octets(message.encode()));
                }
                Piece::Unreadable { octets, .. } => {
                    out.push(Out::Octets(octets));
                    self.seeking = Some(Seeking::default());
                    break;
                }
            }
        }
    }

    /// What waits and now follows.
    fn feed_waiting(&mut self, out: &mut Vec<Out>) {
        while let Some((&at, _)) = self.waiting.iter().find(|(at, _)| is_at_or_before(**at, self.next)) {
            let Some(octets) = self.waiting.remove(&at) else { return };
            self.waiting_octets -= octets.len();
            let known = self.next.wrapping_sub(at) as usize;
            if known < octets.len() {
                self.feed(&octets[known..], out);
            }
        }
    }

    /// Goes on behind what is missing.
    fn give_up(&mut self, out: &mut Vec<Out>) {
        let ahead = |at: &u32| at.wrapping_sub(self.next);
        let Some(at) = self.waiting.keys().copied().min_by_key(|at| ahead(at)) else { return };
        self.lose(ahead(&at) as usize, out);
        self.feed_waiting(out);
    }

    /// So many octets are not in the capture.
    fn lose(&mut self, octets: usize, out: &mut Vec<Out>) {
        self.tell_passed("before a gap", out);
        if self.is_ours {
            out.push(Out::Gap(format!("{octets} octets of the stream are not in the capture")));
            self.cut(out);
        }
        self.next = self.next.wrapping_add(octets as u32);
        self.seeking = Some(Seeking::default());
    }

    /// What was passed over, and no message was found in it.
    fn tell_passed(&mut self, place: &str, out: &mut Vec<Out>) {
        let passed = self.seeking.take().map_or(0, |s| s.in_all());
        if passed > 0 && self.is_ours {
            out.push(Out::Gap(format!("{passed} octets {place} were passed over: no message begins there")));
        }
    }

    /// The message that has begun will not be whole.
    fn cut(&mut self, out: &mut Vec<Out>) {
        if let Some(Piece::Unreadable { octets, .. }) = self.splitter.finish()
            && self.is_ours
        {
            out.push(Out::Octets(octets));
        }
    }

    fn finish(&mut self, out: &mut Vec<Out>) {
        while !self.waiting.is_empty() {
            self.give_up(out);
        }
        self.cut(out);
        self.tell_passed("at the end", out);
    }
}

/// Whether `at` is not behind `next`, on numbers that go round.
fn is_at_or_before(at: u32, next: u32) -> bool {
    next.wrapping_sub(at) < 1 << 31
}

/// Whether octets begin with a header that may be one of HART-IP, as far as it is there.
fn begins_like_a_message(octets: &[u8]) -> bool {
    let mut header = [1, 0, 0, 0, 0, 0, 0, HEADER as u8];
    let n = octets.len().min(HEADER);
    header[..n].copy_from_slice(&octets[..n]);
    let Some((header, count)) = Message::header(&header) else { return false };
    (1..=2).contains(&header.version)
        && header.kind.reserved() == 0
        && !matches!(header.kind.kind(), Type::Unknown(_))
        && header.id.octet() <= 5
        && count >= HEADER
}

/// Whether octets begin with a whole message, as far as it is there, and what follows it does not say otherwise.
fn is_a_message(octets: &[u8]) -> bool {
    let whole = octets.len() >= HEADER && begins_like_a_message(octets);
    let count = Message::header(octets).map_or(0, |(_, count)| count);
    let next = octets.get(count..).unwrap_or_default();
    whole && count <= MAX_MESSAGE && (next.is_empty() || begins_like_a_message(next))
}

/// All streams of a capture.
#[derive(Debug, Default)]
pub(super) struct Streams {
    streams: BTreeMap<(SocketAddr, SocketAddr), Stream>,
    pushed: u64,
}

impl Streams {
    /// Takes a segment.
    pub(super) fn push(&mut self, segment: TcpSegment<'_>, all: &mut Vec<Came>) {
        let TcpSegment { from, to, .. } = segment;
        self.pushed += 1;
        let out = &mut Vec::new();
        self.take(segment, out, all);
        all.extend(out.drain(..).map(|what| (from, to, what)));
    }

    fn take(&mut self, segment: TcpSegment<'_>, out: &mut Vec<Out>, all: &mut Vec<Came>) {
        let TcpSegment { from, to, sequence, begins, ends, payload, missing } = segment;
        let key = (from, to);
        if begins {
            if let Some(mut before) = self.streams.remove(&key) {
                before.finish(out);
            }
            // Others are followed from their first message on, if one comes.
            if from.port() == PORT || to.port() == PORT {
                self.insert(key, Stream::new(sequence.wrapping_add(1), None, true, self.pushed), all);
            }
            return;
        }
        if !payload.is_empty() || missing > 0 {
            if !self.streams.contains_key(&key) {
                let known = from.port() == PORT || to.port() == PORT;
                if !known && !is_messages(payload) {
                    return;
                }
                self.insert(key, Stream::new(sequence, Some(Seeking::default()), known, self.pushed), all);
            }
            if let Some(stream) = self.streams.get_mut(&key) {
                stream.used = self.pushed;
                take(stream, sequence, payload, missing, out);
            }
        }
        if ends && let Some(mut stream) = self.streams.remove(&key) {
            stream.finish(out);
        }
    }

    /// The capture has ended.
    pub(super) fn finish(&mut self, all: &mut Vec<Came>) {
        for ((from, to), mut stream) in core::mem::take(&mut self.streams) {
            let out = &mut Vec::new();
            stream.finish(out);
            all.extend(out.drain(..).map(|what| (from, to, what)));
        }
    }

    fn insert(&mut self, key: (SocketAddr, SocketAddr), stream: Stream, all: &mut Vec<Came>) {
        if self.streams.len() >= MOST_STREAMS
            && let Some(oldest) = self.streams.iter().min_by_key(|(_, s)| s.used).map(|(key, _)| *key)
            && let Some(mut stream) = self.streams.remove(&oldest)
        {
            let out = &mut Vec::new();
            stream.finish(out);
            all.extend(out.drain(..).map(|what| (oldest.0, oldest.1, what)));
        }
        self.streams.insert(key, stream);
    }
}

fn take(stream: &mut Stream, sequence: u32, payload: &[u8], missing: usize, out: &mut Vec<Out>) {
    if is_at_or_before(sequence, stream.next) {
        let known = stream.next.wrapping_sub(sequence) as usize;
        if known < payload.len() {
            stream.feed(&payload[known..], out);
        }
    } else if !payload.is_empty() {
        let before = stream.waiting.get(&sequence).map_or(0, Bytes::len);
        // What is sent again may be a part of what was sent before.
        if payload.len() > before {
            stream.waiting_octets += payload.len() - before;
            stream.waiting.insert(sequence, Bytes::copy_from_slice(payload));
        }
    }
    if missing > 0 {
        // Whatever waits comes behind it.
        let end = sequence.wrapping_add(payload.len() as u32);
        if end == stream.next {
            stream.lose(missing, out);
        }
    }
    stream.feed_waiting(out);
    while stream.waiting.len() > MOST_SEGMENTS || stream.waiting_octets > MOST_WAITING {
        stream.give_up(out);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FROM: &str = "10.0.0.1:40000";
    const KEEP_ALIVE: [u8; 8] = [1, 0, 2, 0, 0, 1, 0, 8];

    fn push(streams: &mut Streams, sequence: u32, payload: &[u8], flags: &str) -> Vec<Out> {
        let mut out: Vec<Came> = Vec::new();
        let segment = TcpSegment {
            from: FROM.parse().expect("an address"),
            to: "10.0.0.2:5094".parse().expect("an address"),
            sequence,
            begins: flags.contains('S'),
            ends: flags.contains('F'),
            payload,
            missing: flags.bytes().filter(|f| *f == b'm').count(),
        };
        streams.push(segment, &mut out);
        out.into_iter().map(|(.., what)| what).collect()
    }

    fn whole() -> Out {
        Out::Octets(KEEP_ALIVE.to_vec().into())
    }

    /// What nobody could find a message in is told at the end.
    #[test]
    fn what_is_passed_over_to_the_end_is_told() {
        let mut s = Streams::default();
        assert_eq!(push(&mut s, 100, &[0x55; 7], ""), []);
        let out = push(&mut s, 107, &[0x55; 5], "F");
        assert!(matches!(&out[..], [Out::Gap(why)] if why.starts_with("12 octets at the end")), "{out:?}");
    }

    /// A capture that begins within a message: what is whole is found, within a segment and across two.
    #[test]
    fn a_message_is_found_within_a_segment() {
        let rest = [0x55; 11];
        let mut s = Streams::default();
        let out = push(&mut s, 100, &[&rest[..], &KEEP_ALIVE, &KEEP_ALIVE].concat(), "");
        let passed = "11 octets up to the next message were passed over";
        assert_eq!(out, [Out::Gap(passed.into()), whole(), whole()]);
        for cut in 1..8 {
            let mut s = Streams::default();
            let all = [&rest[..], &KEEP_ALIVE, &KEEP_ALIVE].concat();
            assert_eq!(push(&mut s, 100, &all[..11 + cut], ""), []);
            let out = push(&mut s, 111 + cut as u32, &all[11 + cut..], "");
            assert_eq!(
                out,
                [Out::Gap(passed.into()), whole(), whole()],
                "cut {cut} octets behind its beginning"
            );
        }
        // What cannot be found is told before a gap, too: 3 octets, and 8 that are not there.
        let mut s = Streams::default();
        assert_eq!(push(&mut s, 100, &rest[..3], ""), []);
        let out = push(&mut s, 111, &KEEP_ALIVE, "F");
        let before = "3 octets before a gap were passed over: no message begins there";
        let gap = "8 octets of the stream are not in the capture";
        assert_eq!(out, [Out::Gap(before.into()), Out::Gap(gap.into()), whole()]);
    }

    /// A part of what waits is sent again: what waits stays whole.
    #[test]
    fn a_shorter_repeat_takes_nothing_away() {
        let mut s = Streams::default();
        assert_eq!(push(&mut s, 99, &[], "S"), []);
        let later = KEEP_ALIVE.repeat(3);
        assert_eq!(push(&mut s, 108, &later, ""), []);
        assert_eq!(push(&mut s, 108, &KEEP_ALIVE, ""), []);
        assert_eq!(push(&mut s, 100, &KEEP_ALIVE, ""), [whole(), whole(), whole(), whole()]);
    }

    /// Cut anywhere, in any order, twice, across the place where the numbers go round.
    #[test]
    fn segments_in_any_order() {
        let text: Vec<u8> = KEEP_ALIVE.repeat(3);
        for cut in 1..24 {
            let mut s = Streams::default();
            let begin = u32::MAX - 9;
            assert_eq!(push(&mut s, begin, &[], "S"), []);
            let first = begin.wrapping_add(1);
            assert_eq!(push(&mut s, first.wrapping_add(cut), &text[cut as usize..], ""), []);
            let out = push(&mut s, first, &text[..cut as usize], "");
            assert_eq!(out, [whole(), whole(), whole()], "cut at {cut}");
            // All of it once more.
            assert_eq!(push(&mut s, first, &text, ""), []);
            assert_eq!(push(&mut s, first.wrapping_add(24), &KEEP_ALIVE, "F"), [whole()]);
            assert!(s.streams.is_empty());
        }
    }

    #[test]
    fn what_is_missing_is_told() {
        let mut s = Streams::default();
        push(&mut s, 99, &[], "S");
        assert_eq!(push(&mut s, 100, &KEEP_ALIVE, ""), [whole()]);
        // 8 octets are lost, and the connection ends.
        let out = push(&mut s, 116, &KEEP_ALIVE, "F");
        assert_eq!(out, [Out::Gap("8 octets of the stream are not in the capture".into()), whole()]);
        // A packet of which the capture has a part.
        push(&mut s, 99, &[], "S");
        push(&mut s, 100, &KEEP_ALIVE, "");
        let out = push(&mut s, 108, &KEEP_ALIVE[..5], "mmm");
        assert_eq!(out[1], Out::Octets(KEEP_ALIVE[..5].to_vec().into()));
        assert_eq!(push(&mut s, 116, &KEEP_ALIVE, ""), [whole()]);
    }

    #[test]
    fn memory_is_bounded() {
        let mut s = Streams::default();
        push(&mut s, 0, &[], "S");
        assert_eq!(push(&mut s, 1, &KEEP_ALIVE, ""), [whole()]);
        let mut out = Vec::new();
        for n in 1..1000u32 {
            out.extend(push(&mut s, 1 + n * 100, &KEEP_ALIVE, ""));
        }
        let stream = s.streams.values().next().expect("a stream");
        assert!(stream.waiting.len() <= MOST_SEGMENTS);
        assert!(out.iter().filter(|o| **o == whole()).count() > 800);
        for port in 0..2000u16 {
            let segment = TcpSegment {
                from: SocketAddr::new([10, 0, 0, 9].into(), port),
                to: "10.0.0.2:5094".parse().expect("an address"),
                sequence: 0,
                begins: true,
                ends: false,
                payload: &[],
                missing: 0,
            };
            s.push(segment, &mut Vec::new());
        }
        assert!(s.streams.len() <= MOST_STREAMS);
    }
}
