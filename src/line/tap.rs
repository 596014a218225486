//! A line that shows every octet to somebody before it passes it on: the log's way in.

use super::{Error, Event, Line, SendsFaults};
use crate::frame::{Capabilities, Marks, Octet, RawFrame};
use crate::time::{Instant, Pace};
use std::collections::VecDeque;

/// Which way an octet went, seen from this end of the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Direction {
    /// We sent it.
    Sent,
    /// We received it.
    Received,
}

/// Wraps a line and hands every octet, with its direction, to a callback.
///
/// Octets that we send are shown when the line reports their end, because only then their times are
/// facts: the last one ended at that time, the others one character each before. What was still
/// leaving when the line closed, failed or was dropped is shown then, with the times it would have
/// had, so that nothing is missing in a log.
pub struct Tap<L: Line, F: FnMut(Direction, &[Octet])> {
    line: L,
    show: F,
    leaving: VecDeque<(RawFrame, Instant)>,
    last_end: Instant,
}

impl<L: Line, F: FnMut(Direction, &[Octet])> Tap<L, F> {
    /// Puts a tap on `line`.
    pub fn new(line: L, show: F) -> Self {
        Tap { line, show, leaving: VecDeque::new(), last_end: Instant::ZERO }
    }

    /// The line below.
    pub fn line(&self) -> &L {
        &self.line
    }

    /// The line below; what is sent or received on it directly passes the tap unseen.
    pub fn line_mut(&mut self) -> &mut L {
        &mut self.line
    }

    fn show_sent(&mut self, frame: &RawFrame, end: Instant) {
        let character = self.line.pace().character();
        let mut at = end;
        let mut octets = Vec::with_capacity(frame.octets.len());
        for o in frame.octets.iter().rev() {
            let marks = if o.bad_parity { Marks::PARITY } else { Marks::NONE };
            octets.push(Octet { at, value: o.value, marks });
            at = at.before(character + o.gap_before);
        }
        octets.reverse();
        if !octets.is_empty() {
            (self.show)(Direction::Sent, &octets);
        }
        self.last_end = end;
    }

    fn show_unfinished(&mut self) {
        let character = self.line.pace().character();
        while let Some((frame, begun)) = self.leaving.pop_front() {
            let lasts = frame.octets.iter().map(|o| character + o.gap_before);
            let end = begun.max(self.last_end) + lasts.sum();
            self.show_sent(&frame, end);
        }
    }
}

impl<L: Line, F: FnMut(Direction, &[Octet])> Drop for Tap<L, F> {
    fn drop(&mut self) {
        self.show_unfinished();
    }
}

impl<L: Line, F: FnMut(Direction, &[Octet])> Line for Tap<L, F> {
    fn describe(&self) -> String {
        self.line.describe()
    }
    fn capabilities(&self) -> Capabilities {
        self.line.capabilities()
    }
    fn pace(&self) -> Pace {
        self.line.pace()
    }
    fn now(&mut self) -> Instant {
        self.line.now()
    }

    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        let begun = self.line.now();
        self.line.send(octets)?;
        let frame = RawFrame { octets: octets.iter().map(|&v| v.into()).collect() };
        self.leaving.push_back((frame, begun));
        Ok(())
    }

    fn sends_faults(&self) -> SendsFaults {
        self.line.sends_faults()
    }

    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        let begun = self.line.now();
        self.line.send_raw(frame)?;
        self.leaving.push_back((frame.clone(), begun));
        Ok(())
    }

    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        let event = self.line.wait(until);
        match &event {
            Ok(Event::Octets(octets)) => (self.show)(Direction::Received, octets),
            Ok(Event::Sent { at }) => {
                if let Some((frame, _)) = self.leaving.pop_front() {
                    self.show_sent(&frame, *at);
                }
            }
            Ok(Event::TimeOut | Event::Interrupted | Event::NoAnswer { .. }) => {}
            Ok(Event::Closed) | Err(_) => self.show_unfinished(),
        }
        event
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::{Bus, InProcess, Station};

    /// Says `AB` once, when it has heard three octets.
    struct Answer(usize);

    impl Station for Answer {
        fn handle(&mut self, _: Instant, octets: &[Octet]) {
            self.0 += octets.len();
        }
        fn sent(&mut self, _: Instant) {}
        fn poll_transmit(&mut self, _: Instant) -> Option<Vec<u8>> {
            (self.0 == 3).then(|| {
                self.0 = 99;
                vec![0xAB]
            })
        }
        fn wake_at(&self) -> Option<Instant> {
            None
        }
    }

    fn line(pace: Pace) -> InProcess<Answer> {
        let mut bus = Bus::new(pace);
        bus.add_station(Answer(0));
        InProcess::new(bus, "test")
    }

    #[test]
    fn both_directions_are_shown_with_the_times_of_the_wire() {
        let mut seen = Vec::new();
        {
            let mut tap = Tap::new(line(Pace::Wire), |d, o: &[Octet]| {
                seen.extend(o.iter().map(|o| (d, o.at.as_nanos(), o.value)));
            });
            tap.send(&[1, 2, 3]).unwrap();
            while !matches!(tap.wait(None).unwrap(), Event::Octets(_)) {}
        }
        // One character is 11/1200 s, rounded down to 9_166_666 ns; the answer starts at the end of
        // the third and ends one character later.
        let c = 9_166_666;
        assert_eq!(
            seen,
            [
                (Direction::Sent, c, 1),
                (Direction::Sent, 2 * c, 2),
                (Direction::Sent, 3 * c, 3),
                (Direction::Received, 4 * c, 0xAB),
            ]
        );
    }

    #[test]
    fn what_was_still_leaving_is_not_missing() {
        let mut seen = Vec::new();
        {
            let mut tap = Tap::new(line(Pace::Wire), |d, o: &[Octet]| {
                seen.push((d, o.iter().map(|o| o.value).collect::<Vec<_>>()));
            });
            tap.send(&[1, 2]).unwrap();
            tap.send(&[3]).unwrap();
        }
        assert_eq!(seen, [(Direction::Sent, vec![1, 2]), (Direction::Sent, vec![3])]);
    }
}
