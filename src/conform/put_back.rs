//! What a case changed comes back, however the case ends.

use super::heard::{Reply, hex};
use super::probe::Probe;
use super::verdict::{Outcome, Stop, expect, fail};

/// What has to be the same afterwards in the answer to a command that reads.
#[derive(Clone, Copy, Debug)]
pub enum Place {
    /// So many octets from here on.
    Octets(usize, usize),
    /// A float at this octet; the last digits may differ, for a device may convert it there and back.
    Float(usize),
}

impl Place {
    fn is_same(self, before: &Reply, now: &Reply) -> bool {
        match self {
            Place::Octets(from, len) => before.part(from, len) == now.part(from, len),
            Place::Float(at) => match (before.float(at), now.float(at)) {
                (Some(a), Some(b)) => is_same_float(a, b),
                (a, b) => a.is_none() && b.is_none(),
            },
        }
    }
}

/// The same but for the last digits, or the same pattern.
fn is_same_float(a: f32, b: f32) -> bool {
    a.to_bits() == b.to_bits() || (a - b).abs() <= 1e-5 * a.abs().max(b.abs()).max(1e-3)
}

/// The same octets, or floats at these places that are the same.
fn is_same_data(was: &[u8], now: &[u8], floats: &[usize]) -> bool {
    let float = |of: &[u8], at: usize| of.get(at..at + 4)?.try_into().ok().map(f32::from_be_bytes);
    let is_of = |at: &usize, n: usize| (*at..at + 4).contains(&n);
    was.len() == now.len()
        && was.iter().zip(now).enumerate().all(|(n, (a, b))| a == b || floats.iter().any(|at| is_of(at, n)))
        && floats.iter().all(|&at| match (float(was, at), float(now, at)) {
            (Some(a), Some(b)) => is_same_float(a, b),
            _ => false,
        })
}

/// What undoes a change.
pub(super) type Undo = Box<dyn FnOnce(&mut Probe<'_>) -> Outcome>;

/// A change to be undone, with words for whoever has to do it by hand.
pub(super) struct PutBack {
    pub(super) what: String,
    pub(super) undo: Undo,
}

impl Probe<'_> {
    /// Remembers that this command with these data puts back what the case is about to change. What was remembered last is
    /// done first, after the case, however that ends.
    pub fn put_back(&mut self, command: u8, data: &[u8]) {
        let data = data.to_vec();
        let what = format!("command {command} with data {}", hex(&data));
        self.put_back_by(what, move |probe| probe.write_back(command, &data));
    }

    /// The same, and then these commands are asked again, and what they say in these places is compared with what they say now.
    /// One that does not answer with its data now is not asked again: that is the matter of another case.
    ///
    /// # Errors
    /// As [`Probe::ask`].
    pub fn put_back_and_compare(
        &mut self,
        command: u8,
        data: &[u8],
        reads: &[(u8, &[u8], &'static [Place])],
    ) -> Outcome {
        let mut before = Vec::new();
        for &(read, ask, places) in reads {
            let reply = self.ask(read, ask)?;
            if reply.is_success() {
                before.push((ask.to_vec(), places, reply));
            }
        }
        let data = data.to_vec();
        let what = format!("command {command} with data {}", hex(&data));
        self.put_back_by(what, move |probe| {
            probe.write_back(command, &data)?;
            for (ask, places, was) in before {
                let now = probe.read(was.command, &ask)?;
                let same = places.iter().all(|place| place.is_same(&was, &now));
                expect(same, format!("what command {} said before: {was}", was.command), now.to_string())?;
            }
            Ok(())
        });
        Ok(())
    }

    /// The same by a function; `what` tells a person what it does.
    pub fn put_back_by(
        &mut self,
        what: impl Into<String>,
        undo: impl FnOnce(&mut Probe<'_>) -> Outcome + 'static,
    ) {
        self.put_back.push(PutBack { what: what.into(), undo: Box::new(undo) });
    }

    /// Remembers that something has changed which nothing puts back, so that it is told.
    pub fn cannot_put_back(&mut self, what: impl Into<String>) {
        self.put_back_by(what, |_| fail("a change that was refused", "it was taken"));
    }

    /// Reads a setting by one command and remembers to write it back by another; `make` makes the data of the write
    /// from the reply. Afterwards it is read again and compared. Gives the reply.
    ///
    /// # Errors
    /// As [`Probe::read`]; inconclusive if the reply has too few octets for `make`, which gives `None` then: that it is cut is
    /// the matter of another case.
    pub fn save(
        &mut self,
        read: u8,
        ask: &[u8],
        write: u8,
        make: fn(&Reply) -> Option<Vec<u8>>,
    ) -> Result<Reply, Stop> {
        self.save_floats(read, ask, write, make, &[])
    }

    /// The same, where the data of the write hold floats at these octets: their last digits may differ afterwards, for a device may
    /// convert them there and back.
    ///
    /// # Errors
    /// As [`Probe::save`].
    pub fn save_floats(
        &mut self,
        read: u8,
        ask: &[u8],
        write: u8,
        make: fn(&Reply) -> Option<Vec<u8>>,
        floats: &'static [usize],
    ) -> Result<Reply, Stop> {
        let reply = self.read(read, ask)?;
        let Some(data) = make(&reply) else {
            let why = format!("the answer to command {read} has too few octets to be put back: {reply}");
            return Err(Stop::Inconclusive(why));
        };
        let ask = ask.to_vec();
        let what = format!("command {write} with data {}", hex(&data));
        self.put_back_by(what, move |probe| {
            probe.write_back(write, &data)?;
            let again = probe.read(read, &ask)?;
            match make(&again) {
                Some(now) if is_same_data(&data, &now, floats) => Ok(()),
                _ => fail(format!("what command {read} said before"), again.to_string()),
            }
        });
        Ok(reply)
    }

    /// Writes something back, which has to be accepted; for [`Probe::put_back_by`]. What is refused is tried again, for the wires may
    /// have made another request of it that the check byte let pass.
    ///
    /// # Errors
    /// A fail if it is not; as [`Probe::ask`].
    pub fn write_back(&mut self, command: u8, data: &[u8]) -> Outcome {
        let mut reply = self.ask_until_done(command, data)?;
        for _ in 1..3 {
            if reply.is_success() {
                break;
            }
            reply = self.ask_until_done(command, data)?;
        }
        expect(reply.is_success(), format!("command {command} accepted"), reply.to_string())
    }

    /// Does now what was remembered, last first; a case that goes on afterwards begins anew.
    ///
    /// # Errors
    /// What could not be put back, or the line is lost.
    pub fn put_all_back(&mut self) -> Outcome {
        let (left, lost) = self.undo_all();
        match (lost, left.is_empty()) {
            (Some(stop), _) => Err(stop),
            (None, true) => Ok(()),
            (None, false) => Err(Stop::Bench(format!("not put back: {}", left.join("; ")))),
        }
    }

    /// The same; what could not be put back, and how the run ends over it: the line is lost, or somebody pressed Ctrl-C. That is
    /// heeded when everything is back; pressed again, at once.
    pub(super) fn undo_all(&mut self) -> (Vec<String>, Option<Stop>) {
        let mut left = Vec::new();
        let mut end = None;
        self.interrupted = Some(0);
        while let Some(one) = self.put_back.pop() {
            match (one.undo)(self) {
                Ok(()) => {}
                Err(stop @ (Stop::Lost(_) | Stop::Interrupted)) => {
                    left.push(one.what);
                    left.extend(self.forget());
                    end = Some(stop);
                }
                Err(stop) => left.push(format!("{} ({stop})", one.what)),
            }
        }
        if self.interrupted.take().is_some_and(|times| times > 0) {
            end = end.or(Some(Stop::Interrupted));
        }
        (left, end)
    }

    /// What would be put back, where nothing can be done any more.
    pub(super) fn forget(&mut self) -> Vec<String> {
        self.put_back.drain(..).rev().map(|p| p.what).collect()
    }
}
