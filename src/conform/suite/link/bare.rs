//! An answer read by its octets alone, whatever the receiver made of them.

use crate::app::command::Revision;
use crate::conform::{Heard, Outcome, Probe, Request, Stop, fail};

/// How often a request is repeated that nobody answered.
const TRIES: usize = 4;

/// The octets that came after a request.
pub(super) struct Bare {
    /// What stood before the preambles.
    pub before: Vec<u8>,
    /// From the delimiter on, all that came.
    pub rest: Vec<u8>,
}

impl Bare {
    /// Looks for two FF and the delimiter of an answer [FR-03] [FR-10]; of several the first whose check byte fits.
    fn of(heard: &Heard) -> Option<Bare> {
        let values: Vec<u8> = heard.octets().iter().map(|o| o.value).collect();
        let starts = (2..values.len())
            .filter(|&i| values[i] & 0x07 == 0x06 && values[i] != 0xFF && values[i - 2..i] == [0xFF, 0xFF]);
        let all: Vec<Bare> = starts
            .map(|at| {
                let preambles = values[..at].iter().rev().take_while(|&&o| o == 0xFF).count();
                Bare { before: values[..at - preambles].to_vec(), rest: values[at..].to_vec() }
            })
            .collect();
        let best = all.iter().position(Bare::fits_its_count).unwrap_or(0);
        all.into_iter().nth(best)
    }

    /// Octets up to and with the byte count, by what the delimiter says [FR-03].
    fn header(&self) -> usize {
        let address = if self.rest[0] & 0x80 == 0 { 1 } else { 5 };
        1 + address + usize::from(self.rest[0] >> 5 & 3) + 2
    }

    /// The byte count; `None` if the octets end before it.
    pub fn byte_count(&self) -> Option<u8> {
        self.rest.get(self.header() - 1).copied()
    }

    /// Whether the octets up to where the byte count says have a check byte that fits [FR-09].
    pub fn fits_its_count(&self) -> bool {
        let end = self.byte_count().map(|n| self.header() + usize::from(n) + 1);
        end.and_then(|end| self.rest.get(..end)).is_some_and(|frame| frame.iter().fold(0, |x, o| x ^ o) == 0)
    }

    /// How many octets came behind the byte count, the check byte not counted.
    pub fn counted(&self) -> usize {
        self.rest.len().saturating_sub(self.header() + 1)
    }
}

/// What comes after the second of two requests, which begins so many characters after the answer to the first; after the first
/// one if that is not answered.
pub(super) fn second_of(
    p: &mut Probe<'_>,
    first: &Request,
    characters: u32,
    second: &Request,
) -> Result<Heard, Stop> {
    let (before, after) = p.send_twice(first, characters, second)?;
    Ok(if before.reply().is_some() { after } else { before })
}

/// Sends a request until something like an answer comes, and looks at it.
pub(super) fn look_at(p: &mut Probe<'_>, request: &Request, look: impl Fn(&Bare) -> Outcome) -> Outcome {
    p.three_in_a_row(|p| {
        let mut last = String::new();
        for _ in 0..TRIES {
            let heard = p.send(request)?;
            if let Some(bare) = Bare::of(&heard) {
                return look(&bare);
            }
            last = heard.words();
        }
        fail(format!("an answer to command {}", request.command()), last)
    })
}

/// The same where a refusal is due; whether there is any answer at all is another case's matter.
pub(super) fn look_at_refusal(p: &mut Probe<'_>, look: impl Fn(&Bare) -> Outcome) -> Outcome {
    // 4 stands for no command [CO-06].
    let request = p.request(4, &[]);
    p.three_in_a_row(|p| match Bare::of(&p.send(&request)?) {
        Some(bare) => look(&bare),
        None => Ok(()),
    })
}

/// The same for each of the commands that every device of its revision has and that only read [CM-000] to [CM-003],
/// [CM-012] to [CM-016].
pub(super) fn look_at_reads(p: &mut Probe<'_>, look: impl Fn(&Bare, u8) -> Outcome) -> Outcome {
    for command in [0, 1, 2, 3, 12, 13, 14, 15, 16] {
        let request = p.request(command, &[]);
        look_at(p, &request, |bare| look(bare, command))?;
    }
    Ok(())
}

/// Skips a case of a device in burst mode, whose bursts would be taken for what is looked for.
pub(super) fn not_bursting(p: &mut Probe<'_>) -> Outcome {
    let time = p.waiting(256);
    if !p.listen(time)?.bursts().is_empty() {
        return Err(Stop::Skip("the device is in burst mode".to_owned()));
    }
    // From revision 7 on the next burst may be an hour away; command 105 tells which messages are on [CM-105].
    let mut message = 0;
    while p.revision() == Revision::R7 {
        let reply = p.ask(105, &[message])?;
        if reply.is_success() && reply.octet(0) == Some(1) {
            return Err(Stop::Skip(format!("burst message {message} is on")));
        }
        let most = reply.octet(11).filter(|_| reply.is_success() && reply.data.len() >= 29).unwrap_or(0);
        message += 1;
        if message >= most.min(8) {
            break;
        }
    }
    Ok(())
}

/// Whether command 0 was obeyed: a communication error, or what lacks its mask, has no data.
pub(super) fn obeys(heard: &Heard) -> bool {
    heard.replies().iter().any(|r| !r.is_communication_error() && !r.data.is_empty())
}
