//! A fleet: a bench file as the template of many loops, and the plan of each of them [IP-17].

use crate::bench::plan::{BenchPlan, LineKind, LinePlan};
use std::path::{Path, PathBuf};

/// Most loops of a fleet, and most devices of all its loops together.
pub const MOST_LOOPS: usize = 10_000;
/// Most loops of a fleet whose loops have ports of their own: each takes two threads and some open files.
pub const MOST_WITH_PORTS: usize = 1_000;
/// Loops have seeds that are so far apart: the devices of one loop take the numbers between.
const SEED_STEP: u64 = 1 << 32;

/// How many loops there are of a bench, and how they are numbered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FleetPlan {
    /// How many loops, 1 to [`MOST_LOOPS`].
    pub count: usize,
    /// The number of the first, 0 to 99,999,999; the others count on from it.
    pub first: u32,
}

impl FleetPlan {
    /// The number of the loop with this index, which counts from 0.
    pub fn number(&self, index: usize) -> u64 {
        u64::from(self.first) + index as u64
    }
}

/// A text in which every row of `#` is the number, with as many digits as there are `#` in the row; `None` where one is too
/// short for it. A text without `#` stays as it is.
pub fn numbered(text: &str, number: u64) -> Option<String> {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('#') {
        let digits = rest[at..].bytes().take_while(|b| *b == b'#').count();
        let number = format!("{number:0digits$}");
        if number.len() > digits {
            return None;
        }
        out.push_str(&rest[..at]);
        out.push_str(&number);
        rest = &rest[at + digits..];
    }
    out.push_str(rest);
    Some(out)
}

/// The same of a path; the directory that a bench file stands in keeps its `#`.
pub(crate) fn numbered_path(path: &Path, beside: &Path, number: u64) -> Option<PathBuf> {
    let directory = beside.parent().unwrap_or(Path::new(""));
    match path.strip_prefix(directory) {
        Ok(own) => Some(directory.join(numbered(own.to_str()?, number)?)),
        Err(_) => Some(PathBuf::from(numbered(path.to_str()?, number)?)),
    }
}

impl LineKind {
    /// The port at which it listens, where the file says which.
    pub(crate) fn listens_at(&self) -> Option<u16> {
        match self {
            LineKind::TcpListen(at) => Some(at.port),
            LineKind::HartIp(server) => Some(server.at.port),
            _ => None,
        }
        .filter(|port| *port != 0)
    }
}

impl BenchPlan {
    /// How many loops it has: 1 where it is no fleet.
    pub fn loops(&self) -> usize {
        self.fleet.map_or(1, |f| f.count)
    }

    /// By how much ports rise from loop to loop: as many as each loop has.
    pub(crate) fn port_step(&self) -> usize {
        self.lines.iter().filter(|l| l.kind.listens_at().is_some()).count()
    }

    /// By how much the device ids of the loop of this number are above those of the file, which are those of number 0: so two
    /// files with different numbers make different devices.
    pub(crate) fn id_rise(&self, number: u64) -> u64 {
        self.devices.len() as u64 * number
    }

    /// The plan of one loop of a fleet, whose index counts from 0; of a bench that is no fleet the plan itself. What does not
    /// fit stays as it is in the template, which does not happen with a plan that was read from a bench file.
    pub fn loop_plan(&self, index: usize) -> BenchPlan {
        let mut plan = self.clone();
        let Some(fleet) = plan.fleet.take() else { return plan };
        let number = fleet.number(index);
        let ids = self.id_rise(number);
        let set = |text: &mut String| {
            if let Some(new) = numbered(text, number) {
                *text = new;
            }
        };
        for device in &mut plan.devices {
            let stored = &mut device.config.factory;
            for text in [&mut stored.tag, &mut stored.descriptor, &mut stored.message, &mut stored.long_tag] {
                set(text);
            }
            let id = &mut device.config.identity.device_id;
            *id = u32::try_from(u64::from(*id) + ids).unwrap_or(u32::MAX);
            if let Some(memory) = &mut device.memory
                && let Some(new) = numbered_path(memory, &self.path, number)
            {
                *memory = new;
            }
        }
        plan.seed = self.seed.map(|seed| seed.wrapping_add(SEED_STEP.wrapping_mul(number)) & (u64::MAX >> 1));
        let rise = self.port_step() * index;
        // What is in front of a gateway there is once.
        if plan.gateway.take().is_none() {
            plan.lines.iter_mut().for_each(|line| self.own_line(line, number, rise));
        }
        plan
    }

    fn own_line(&self, line: &mut LinePlan, number: u64, rise: usize) {
        let raised = |port: &mut u16| {
            if *port != 0 {
                *port = u16::try_from(usize::from(*port) + rise).unwrap_or(*port);
            }
        };
        match &mut line.kind {
            LineKind::TcpListen(at) => {
                raised(&mut at.port);
                line.at = format!("tcp-listen:{at}");
            }
            LineKind::HartIp(server) => {
                raised(&mut server.at.port);
                line.at = server.to_string();
            }
            LineKind::Pty(Some(link)) => {
                if let Some(new) = numbered_path(link, &self.path, number) {
                    *link = new;
                }
                if let Some(new) = numbered(&line.at, number) {
                    line.at = new;
                }
            }
            LineKind::Pty(None) | LineKind::Serial(..) | LineKind::Tcp(_) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The most loops of one device have room in what a gateway tells [IP-16]: 9999 is channel 15 of card 156, whose
    /// numbers are octets, and 10,000 devices and the gateway are counted in two.
    #[test]
    fn a_gateway_can_list_the_most_loops() {
        assert_eq!(crate::device::channel_place(MOST_LOOPS - 1), [156, 15]);
        assert!(u16::try_from(MOST_LOOPS + 1).is_ok());
    }

    #[test]
    fn rows_of_number_signs_are_numbers() {
        assert_eq!(numbered("FV-####", 42).as_deref(), Some("FV-0042"));
        assert_eq!(numbered("FV-#", 9).as_deref(), Some("FV-9"));
        assert_eq!(numbered("FV-#", 10), None);
        assert_eq!(numbered("filter ## of ###ü", 7).as_deref(), Some("filter 07 of 007ü"));
        assert_eq!(numbered("Zulauf", 123).as_deref(), Some("Zulauf"));
        // A directory called so is not ours to number.
        let path = numbered_path(Path::new("a#/m-##.memory"), Path::new("a#/b.toml"), 5);
        assert_eq!(path, Some(PathBuf::from("a#/m-05.memory")));
    }
}
