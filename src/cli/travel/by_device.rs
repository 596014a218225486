//! A command of the device itself as the one who moves the set point [TV-31].

use crate::app::command::described::{Command, Description, PartKind};
use crate::app::command::{CommandSpec, Effect, Value};
use crate::cli::lines::quoted;
use crate::exchange::Exchange;
use crate::exchange::view::Tone;
use crate::host::stimulus::{Act, Capabilities, Given, LeftAt, SetPoint, StimulusError};
use crate::host::{Ask, Device, HostError, Stimulus, encode_by};

/// The names that a description gives what says who sets the set point, and the set point itself.
const SOURCE: &str = "source";
const SET_POINT: &str = "set_point";
/// How often a device is told to let go, if somebody interrupts it.
const TRIES: usize = 3;

/// A command that takes a set point, by the description of the device's type. The standard has none: command 40 fixes the
/// current of a device that makes one, and moves no valve.
pub struct ByDevice {
    device: Device,
    writes: &'static CommandSpec,
    reads: Option<&'static CommandSpec>,
    /// The words for a set point that a master gives, and for one that follows the loop.
    by_hand: String,
    by_loop: String,
    /// Who set the set point before the test, and what it was.
    before: Option<(String, Option<f64>)>,
    /// Whether that was looked at.
    has_looked: bool,
    /// Whether it was ever told to move.
    has_moved: bool,
    /// The set point that it took last, percent, and one that it was told and has not answered.
    told: Option<f64>,
    open: Option<f64>,
    /// LINE, TO and descriptions, as `looprig ask` takes them.
    line: String,
}

impl ByDevice {
    /// The command of this device; `spec` finds the rows of the description.
    ///
    /// # Errors
    /// The device has none that is known: what is wrong and what would be right.
    pub fn of(
        device: Device,
        described: Option<&Description>,
        spec: &dyn Fn(u8) -> Option<&'static CommandSpec>,
    ) -> Result<ByDevice, (String, String)> {
        let right = || {
            "name its description with --description FILE, or let a person or a bench move the set point (--by)".to_owned()
        };
        let Some(described) = described else {
            let wrong = format!("no description of its type ({}) is known", device.device_type);
            return Err((wrong, right()));
        };
        let is_here = |c: &&Command| (c.from..=c.to).contains(&device.revision);
        let has = |parts: &[crate::app::command::described::Element], name: &str| {
            parts.iter().flat_map(|e| e.parts()).any(|p| p.name == name)
        };
        let commands = || described.commands.iter().filter(is_here);
        let writes = commands()
            .find(|c| c.effect == Effect::Moves && has(&c.request, SOURCE) && has(&c.request, SET_POINT));
        let words = writes.and_then(|c| sources(described, c));
        let row = writes.and_then(|c| spec(c.number));
        let (Some(row), Some((by_loop, by_hand))) = (row, words) else {
            let wrong = format!(
                "\"{}\" has no command that moves and takes {SOURCE} and {SET_POINT}",
                described.name
            );
            return Err((wrong, right()));
        };
        let reads = commands().find(|c| {
            c.effect == Effect::Reads
                && c.request.is_empty()
                && has(&c.reply, SOURCE)
                && has(&c.reply, SET_POINT)
        });
        let reads = reads.and_then(|c| spec(c.number));
        let line = "LINE TO".to_owned();
        Ok(ByDevice {
            device,
            writes: row,
            reads,
            by_hand,
            by_loop,
            before: None,
            has_looked: false,
            has_moved: false,
            told: None,
            open: None,
            line,
        })
    }

    /// The same, with LINE, TO and descriptions as `looprig ask` takes them, for whoever has to give the set point back.
    pub fn on_line(self, line: String) -> ByDevice {
        ByDevice { line, ..self }
    }

    /// The set point by command that was there before the test and is put back, percent.
    fn held(&self) -> Option<f64> {
        match &self.before {
            Some((source, Some(at))) if *source == self.by_hand => Some(*at),
            _ => None,
        }
    }

    /// How it is given back, a sentence.
    fn back(&self) -> String {
        let (back, source) = match self.held() {
            Some(at) => (
                format!("To put it back to {at} %, as before the test"),
                format!("{} set_point={at}", quoted(&format!("{SOURCE}={}", self.by_hand))),
            ),
            None => ("To give it back to the loop".to_owned(), quoted(&format!("{SOURCE}={}", self.by_loop))),
        };
        format!(
            "{back}, as soon as it answers: looprig ask {} {} {source} --move (the valve strokes to it).",
            self.line, self.writes.number
        )
    }

    /// Who sets the set point now.
    fn look(&mut self, ask: &mut dyn Ask) -> Result<(), StimulusError> {
        let Some(reads) = self.reads.filter(|_| !self.has_looked) else { return Ok(()) };
        let told = ask.ask_octets(&self.device, number(reads), Vec::new())?;
        if let Some(source) = told.value(SOURCE).filter(|_| is_done(&told)) {
            let set_point = told.value(SET_POINT).and_then(|v| match v.found.value(v.data) {
                Value::Float(bits) => Some(f64::from(f32::from_bits(bits))),
                Value::Number(n) => Some(f64::from(n)),
                _ => None,
            });
            self.before = Some((source.text(), set_point.filter(|x| x.is_finite())));
        }
        self.has_looked = true;
        Ok(())
    }

    fn write(&self, ask: &mut dyn Ask, source: &str, set_point: Option<f64>) -> Result<Given, StimulusError> {
        let mut values = vec![(SOURCE.to_owned(), source.to_owned())];
        values.extend(set_point.map(|x| (SET_POINT.to_owned(), x.to_string())));
        let data = encode_by(Some(self.writes), self.device.revision, &values)?;
        let before = ask.now();
        let told = ask.ask_octets(&self.device, number(self.writes), data)?;
        let after = ask.now();
        if !is_done(&told) {
            let mut what =
                format!("the device did not take command {}, {}", self.writes.number, self.writes.name);
            if told.is_unanswered() {
                what += ": it did not answer";
            } else {
                what += ": ";
                told.write_response(&mut what);
            }
            let next =
                "see what it does just now, such as a calibration, a lock, or a set point from elsewhere"
                    .to_owned();
            return Err(StimulusError::Failed { what, next });
        }
        // It was obeyed between the end of the request and the begin of the answer.
        let (at, uncertain) = match told.transaction.tries.last() {
            Some(last) => {
                let end = last.octets.last().map_or(before, |o| o.at);
                let waited = told.transaction.response_time.unwrap_or(after.since(end));
                (end + waited / 2, waited / 2)
            }
            None => (before + after.since(before) / 2, after.since(before) / 2),
        };
        Ok(Given { at, uncertain })
    }
}

/// The words of the codes of the source: first the loop's, then the one by hand.
fn sources(described: &Description, command: &Command) -> Option<(String, String)> {
    let part = command.request.iter().flat_map(|e| e.parts()).find(|p| p.name == SOURCE)?;
    let PartKind::Enumeration(table) = &part.kind else { return None };
    let rows = &described.enumerations.iter().find(|w| w.name == *table)?.rows;
    let word = |is: &dyn Fn(&str) -> bool| rows.iter().map(|r| &r.1).find(|w| is(&w.to_lowercase())).cloned();
    let by_loop = word(&|w| w.contains("loop") || w.contains("current"))?;
    let by_hand = word(&|w| w.contains("hand") || w.contains("master") || w.contains("digital"))?;
    Some((by_loop, by_hand))
}

fn number(row: &CommandSpec) -> u8 {
    u8::try_from(row.number).unwrap_or(u8::MAX)
}

fn is_done(e: &Exchange) -> bool {
    !e.is_unanswered() && e.tone() != Tone::Bad
}

impl Stimulus for ByDevice {
    fn describe(&self) -> String {
        format!("command {} of the device, {}", self.writes.number, self.writes.name)
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities::default()
    }

    fn set(&mut self, ask: &mut dyn Ask, to: SetPoint) -> Result<Given, StimulusError> {
        self.look(ask)?;
        self.has_moved = true;
        let percent = to.percent();
        self.open = Some(percent);
        let given = self.write(ask, &self.by_hand, Some(percent));
        if given.is_ok() {
            (self.told, self.open) = (Some(percent), None);
        }
        given
    }

    fn ahead(&mut self, ask: &mut dyn Ask, to: SetPoint) -> Result<String, StimulusError> {
        self.look(ask)?;
        Ok(format!(
            "Told last: {} % by command, and never given back. It stays in force whatever the loop says, unless the device lost its power. {}",
            to.percent(),
            self.back()
        ))
    }

    fn act(&mut self, _: &mut dyn Ask, act: Act) -> Result<Given, StimulusError> {
        let what = match act {
            Act::LoseCurrent | Act::RestoreCurrent => {
                "open the loop: a device without current takes no command"
            }
            Act::LoseAir | Act::RestoreAir => "shut the air",
            Act::Trip | Act::ResetTrip => "trip the valve",
        };
        Err(StimulusError::Cannot { what: what.to_owned() })
    }

    fn will_leave(&self) -> String {
        "In the end the set point follows the loop current again, or is the one by command that it was before: the valve strokes to it."
            .to_owned()
    }

    fn stays(&self) -> Option<LeftAt> {
        if !self.has_moved {
            return None;
        }
        let told = match (self.told, self.open) {
            (_, Some(open)) => {
                let before = self.told.map_or("what it was before".to_owned(), |at| format!("{at} %"));
                format!("{open} % by command, told last and not answered, or still {before}")
            }
            (Some(at), None) => format!("{at} % by command, which was told last"),
            (None, None) => return None,
        };
        Some(LeftAt {
            percent: self.told.filter(|_| self.open.is_none()),
            words: format!(
                "The set point is {told}. It stays in force whatever the loop says, unless the device lost its power or has taken what was said to it last. {}",
                self.back()
            ),
        })
    }

    fn leave(&mut self, ask: &mut dyn Ask) -> Result<LeftAt, StimulusError> {
        if !self.has_moved {
            // It was interrupted before that, and what the set point is, is nobody's to change.
            let words = "The set point was not moved.".to_owned();
            return Ok(LeftAt { percent: None, words });
        }
        let held = self.held();
        let mut tries = 0;
        loop {
            tries += 1;
            let written = match held {
                Some(at) => self.write(ask, &self.by_hand, Some(at)),
                None => self.write(ask, &self.by_loop, None),
            };
            match written {
                // What ended the test may have been meant for the wait that comes after it, too.
                Err(StimulusError::Host(HostError::Interrupted)) if tries < TRIES => {}
                Err(e) => return Err(e),
                Ok(_) => break,
            }
        }
        Ok(match held {
            Some(at) => LeftAt {
                percent: Some(at),
                words: format!("The set point is {at} % by command again, as before the test."),
            },
            None => LeftAt {
                percent: None,
                words: "The set point follows the loop current again: the valve goes where that puts it."
                    .to_owned(),
            },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::command::{Catalogue, Described, described};
    use crate::bench::{check, in_process};
    use crate::frame::PollingAddress;
    use crate::host::Host;
    use crate::link::MasterConfig;
    use std::path::Path;

    /// A set point that the device took is the one that stays if nothing more can be said to it; before the first nothing is known of it, and after
    /// one that was by command before the test it is put back by that.
    #[test]
    fn what_stays_in_force() {
        let bench = include_str!("../../../fixtures/benches/valve-calibrated.toml");
        let plan = check(bench, Path::new("valve-calibrated.toml")).expect("a bench");
        let text = include_str!("../../../protocol-notes/positioner.toml");
        let text = described::check(text, Path::new("positioner.toml")).expect("a description");
        let mut catalogue = Catalogue::default();
        catalogue.add(Described::load(text, "positioner.toml")).expect("the first one");
        let mut host = Host::new(in_process(&plan), MasterConfig::default()).with_catalogue(catalogue);
        let (_, device) = host.poll(PollingAddress::default(), None).expect("a line");
        let device = device.expect("a device");
        let new = |host: &Host<_>| {
            let described = host.described(&device).map(|d| d.description());
            ByDevice::of(device, described, &|n| host.spec(&device, n))
                .expect("it has such a command")
                .on_line("tcp:valve 5".into())
        };
        let mut by = new(&host);
        assert_eq!(by.stays(), None);
        by.set(&mut host, SetPoint::Percent(40.0)).expect("it obeys");
        by.set(&mut host, SetPoint::Percent(75.0)).expect("it obeys");
        let at = by.stays().expect("it was moved");
        assert_eq!(at.percent, Some(75.0));
        for says in [
            "75 % by command, which was told last",
            "stays in force whatever the loop says",
            "looprig ask tcp:valve 5 129 'source=loop current' --move",
        ] {
            assert!(at.words.contains(says), "{says:?} is missing in {}", at.words);
        }
        // Somebody else had set it by hand.
        let mut second = new(&host);
        second.set(&mut host, SetPoint::Percent(10.0)).expect("it obeys");
        let at = second.stays().expect("it was moved");
        assert!(
            at.words.contains("looprig ask tcp:valve 5 129 'source=by hand' set_point=75 --move"),
            "{}",
            at.words
        );
    }
}
