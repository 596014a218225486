//! A device played from a script: it stores what the rows have, refuses what it is told to refuse, and
//! remembers what it was asked. It is not the mock: it has commands that the mock has not.

use crate::support::good;
use looprig::app::command::described::DeviceType;
use looprig::app::command::layout::{self, Decoded, Missing};
use looprig::app::command::setting::Part;
use looprig::app::command::{Direction, Revision, Value, spec};
use looprig::commission::settings::parts::PARTS;
use looprig::commission::settings::{Origin, Settings, read};
use looprig::exchange::{Exchange, Interpreter};
use looprig::frame::{Address, Frame, Master, Target, UniqueAddress};
use looprig::host::{Ask, Device, HostError};
use looprig::time::Instant;
use looprig::transaction::{Kind, Oddities, Outcome, Transaction};
use std::collections::BTreeMap;
use std::time::Duration;

/// Values by name, of a part by heading and number.
pub type Memory = BTreeMap<(&'static str, Option<u8>), BTreeMap<String, Value>>;

pub struct Script {
    pub device: Device,
    pub memory: Memory,
    /// Response codes of commands that are not obeyed.
    pub refuses: BTreeMap<u8, u8>,
    /// How often a command is still answered with 32, busy [ST-03], or another code, before it is obeyed.
    pub busy: BTreeMap<u8, (usize, u8)>,
    /// Commands whose answers end after so many octets of data.
    pub cuts: BTreeMap<u8, usize>,
    /// How many answers of a command are still the one before it over again.
    pub late: BTreeMap<u8, usize>,
    before: BTreeMap<u8, (u8, Vec<u8>)>,
    /// How long the host has left the device alone.
    pub rested: Duration,
    /// Commands that get no answer.
    pub deaf_to: Vec<u8>,
    /// Commands that are answered with this code and obeyed.
    pub warns: BTreeMap<u8, u8>,
    /// What else a write does.
    pub aside: fn(&mut Memory, u8),
    /// Every command that was asked, with its data.
    pub heard: Vec<(u8, Vec<u8>)>,
}

impl Script {
    pub fn new(revision: Revision) -> Script {
        let unique = UniqueAddress::from_octets([0x3D, 0x71, 0, 0x31, 4]);
        let mut script = Script {
            device: Device { unique, revision, preambles: 5, device_type: DeviceType::Expanded(0xFD71) },
            memory: Memory::new(),
            refuses: BTreeMap::new(),
            busy: BTreeMap::new(),
            cuts: BTreeMap::new(),
            late: BTreeMap::new(),
            before: BTreeMap::new(),
            rested: Duration::ZERO,
            deaf_to: Vec::new(),
            warns: BTreeMap::new(),
            aside: |_, _| {},
            heard: Vec::new(),
        };
        script.put("identity", None, "universal_revision", Value::Number(revision.number().into()));
        script.put("identity", None, "device_id", Value::Number(0x3104));
        script
    }

    pub fn put(&mut self, heading: &'static str, number: Option<u8>, name: &str, value: Value) {
        self.memory.entry((heading, number)).or_default().insert(name.to_owned(), value);
    }

    pub fn number(&mut self, heading: &'static str, number: Option<u8>, name: &str, value: u32) {
        self.put(heading, number, name, Value::Number(value));
    }

    pub fn float(&mut self, heading: &'static str, number: Option<u8>, name: &str, value: f32) {
        self.put(heading, number, name, Value::float(value));
    }

    pub fn read(&mut self) -> Settings {
        let device = self.device;
        read(self, &device, Origin::default(), &mut |_| {}).expect("it answers")
    }

    /// The commands that were asked since the last call and that some part writes, in their order.
    pub fn written(&mut self) -> Vec<u8> {
        let heard = std::mem::take(&mut self.heard);
        let writes = |c: &u8| PARTS.iter().flat_map(|p| p.writes).any(|w| w.command == *c);
        heard.into_iter().map(|(c, _)| c).filter(writes).collect()
    }

    fn answer(&mut self, command: u8, request: &BTreeMap<String, Value>) -> Result<Vec<u8>, u8> {
        let form = spec(command.into()).and_then(|s| s.form(self.device.revision)).ok_or(64)?;
        if let Some(&code) = self.refuses.get(&command) {
            return Err(code);
        }
        if let Some((left, code)) = self.busy.get_mut(&command).filter(|(left, _)| *left > 0) {
            *left -= 1;
            return Err(*code);
        }
        let of = |part: &'static Part| {
            let n = part.each.selector().and_then(|s| request.get(s)).and_then(Value::number);
            (part.heading, n.map(|n| n as u8))
        };
        // Which data of the request a command writes is known from the table alone.
        let target = PARTS.iter().flat_map(|p| p.writes.iter().map(move |w| (p, w)));
        let target: Vec<_> = target.filter(|(_, w)| w.command == command).collect();
        if let [(part, write)] = target[..] {
            let place = self.memory.get_mut(&of(part)).ok_or(2)?;
            for name in write.fields {
                if let Some(value) = request.get(*name) {
                    place.insert((*name).to_owned(), value.clone());
                }
            }
            (self.aside)(&mut self.memory, command);
        }
        let reads: Vec<_> = PARTS.iter().filter(|p| p.read == command).collect();
        let any = reads.iter().any(|p| self.memory.keys().any(|(h, _)| *h == p.heading));
        let mut values = request.clone();
        if !reads.is_empty() && target.is_empty() {
            if !any {
                return Err(64);
            }
            let found: Vec<_> = reads.iter().filter_map(|p| self.memory.get(&of(p))).collect();
            if found.is_empty() {
                return Err(2);
            }
            values.extend(found.into_iter().flatten().map(|(k, v)| (k.clone(), v.clone())));
        }
        let data = layout::encode(form.reply, Missing::Ends, &mut |name, kind| {
            let zero = Value::read(kind, &vec![0; kind.len()]);
            Ok(Some(values.get(name).cloned().unwrap_or(zero)))
        });
        Ok(data.expect("values of the row's kinds"))
    }
}

impl Ask for Script {
    fn ask_octets(&mut self, device: &Device, command: u8, data: Vec<u8>) -> Result<Exchange, HostError> {
        self.heard.push((command, data.clone()));
        let address = Address::new(Master::Secondary, Target::Unique(device.unique));
        let request = Frame::request(address, command, data.clone()).unwrap();
        let mut decoded = Decoded::default();
        if let Some(form) = spec(command.into()).and_then(|s| s.form(self.device.revision)) {
            layout::decode(form.layout(Direction::Request), &data, &mut decoded);
        }
        let values = decoded.fields.iter().map(|f| (f.name().to_string(), f.value(&data))).collect();
        let deaf = self.deaf_to.contains(&command);
        let (code, data) = match self.answer(command, &values) {
            Ok(mut data) => {
                data.truncate(self.cuts.get(&command).copied().unwrap_or(data.len()));
                (self.warns.get(&command).copied().unwrap_or(0), data)
            }
            Err(code) => (code, Vec::new()),
        };
        let this = (code, data);
        let last = self.before.insert(command, this.clone());
        let late = self.late.get_mut(&command).filter(|n| **n > 0).zip(last);
        let (code, data) = match late {
            Some((n, last)) => {
                *n -= 1;
                self.before.insert(command, last.clone());
                last
            }
            None => this,
        };
        let reply = Frame::reply(false, address, command, [code, 0], data).unwrap();
        let transaction = Transaction {
            kind: Kind::Asked,
            outcome: if deaf { Outcome::Silent } else { Outcome::Answered },
            tries: vec![good("request", &request.encode())],
            interludes: Vec::new(),
            reply: (!deaf).then(|| good("reply", &reply.encode())),
            response_time: None,
            oddities: Oddities::NONE,
        };
        Ok(Interpreter::new(Some(self.device.revision)).read(transaction))
    }

    fn rest(&mut self, time: Duration) -> Result<(), HostError> {
        self.rested += time;
        Ok(())
    }

    fn now(&mut self) -> Instant {
        Instant::ZERO + self.rested
    }
}
