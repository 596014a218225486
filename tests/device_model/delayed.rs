//! Delayed responses, and older devices that are busy for a while, by [DV-40] and [DV-41] alone.

use crate::commands::{done, inside, no};
use crate::model::{Answer, Model};

/// A request that was put off.
#[derive(Clone, Debug)]
pub struct PutOff {
    command: u8,
    data: Vec<u8>,
    state: State,
}

#[derive(Clone, Debug)]
enum State {
    Runs { until_ns: u64 },
    Waits(Answer),
    Dead,
}

impl PutOff {
    fn runs(&self) -> bool {
        matches!(self.state, State::Runs { .. })
    }
}

impl Model {
    /// How long a request takes, ns; `None` for one that takes no time.
    fn takes_ns(&self, command: u8, data: &[u8]) -> Option<u64> {
        let of = |c: u16| self.slow.iter().find(|s| u16::from(s.0) == c).map(|s| s.1);
        let mut parts = vec![of(command.into())];
        if command == 78 {
            parts.extend(inside(data)?.iter().map(|&(c, _)| of(c)));
        }
        parts.iter().any(Option::is_some).then(|| parts.into_iter().flatten().sum())
    }

    /// Does what is due by now, each at its own time; of equal times the primary master's first.
    pub fn catch_up(&mut self) {
        let now = self.now_ns;
        loop {
            let mut next: Option<(u64, usize, usize)> = None;
            for master in 0..2 {
                for (i, p) in self.put_off[master].iter().enumerate() {
                    if let State::Runs { until_ns } = p.state
                        && until_ns <= now
                        && next.is_none_or(|n| until_ns < n.0)
                    {
                        next = Some((until_ns, master, i));
                    }
                }
            }
            let Some((until_ns, master, i)) = next else { break };
            let PutOff { command, data, .. } = self.put_off[master][i].clone();
            self.now_ns = until_ns;
            let answer = self.act(master, command, &data).expect("nothing silent is slow");
            let own = self.put_off[master].iter_mut();
            let this = own.filter(|p| p.runs()).find(|p| p.command == command && p.data == data);
            this.expect("it runs until it is done").state = State::Waits(answer);
        }
        self.now_ns = now;
    }

    /// The answer to a request that comes alone, and whether it is told from a buffer, which it frees.
    pub fn asked(&mut self, master: usize, command: u8, data: &[u8]) -> (Option<Answer>, bool) {
        if let Some(p) = self.put_off[master].iter().find(|p| p.command == command && p.data == data) {
            return match &p.state {
                State::Runs { .. } => (Some(no(34)), false),
                State::Waits(answer) => (Some(answer.clone()), true),
                State::Dead => (Some(no(35)), true),
            };
        }
        if let Some(objection) = self.objection(master, command, data) {
            return (objection, false);
        }
        let Some(takes) = self.takes_ns(command, data) else {
            return (self.act(master, command, data), false);
        };
        if self.revision < 7 {
            let answer = self.act(master, command, data);
            if matches!(answer, Some((0 | 8 | 14 | 30, _))) {
                self.occupied_ns = self.now_ns + takes;
            }
            return (answer, false);
        }
        let until_ns = self.now_ns + takes;
        let own = &mut self.put_off[master];
        let new = PutOff { command, data: data.to_vec(), state: State::Runs { until_ns } };
        let code = if own.iter().any(|p| p.command == command && p.runs()) {
            36
        } else if own.len() < 2 {
            own.push(new);
            33
        } else if let Some(dead) = own.iter_mut().find(|p| matches!(p.state, State::Dead)) {
            *dead = new;
            33
        } else {
            32
        };
        (Some(no(code)), false)
    }

    /// What was told has been given out.
    pub fn given_out(&mut self, master: usize, command: u8, data: &[u8]) {
        self.put_off[master].retain(|p| p.command != command || p.data != data);
    }

    /// Command 106.
    pub fn flush(&mut self, master: usize) -> Answer {
        self.put_off[master].retain(PutOff::runs);
        if self.put_off[master].is_empty() { done(&[]) } else { (8, Vec::new()) }
    }

    /// A reset.
    pub fn kill(&mut self) {
        self.put_off.iter_mut().flatten().for_each(|p| p.state = State::Dead);
        self.occupied_ns = 0;
    }

    /// A loss of power.
    pub fn forget(&mut self) {
        self.put_off = [Vec::new(), Vec::new()];
    }
}
