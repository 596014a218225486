//! Meaning: a transaction read by its command's row, in the revision of the device that spoke.
//!
//! This is all that people-facing code sees. It still points at the octets and their times.

mod direct;
mod inside;
pub mod json;
pub mod view;

pub use direct::{DirectRead, good_at, harmless, read_direct, read_pair};
pub use inside::Inside;

use crate::app::command::described::{Described, DeviceType, NUMBERS, StatusWords};
use crate::app::command::{
    Catalogue, CommandSpec, Decoded, Direction, Form, Found, Revision, TypeKey, Value, layout, spec,
};
use crate::app::status::{self, CodeClass, Delay, Status};
use crate::frame::{Frame, FrameType, Good, Target, UniqueAddress};
use crate::transaction::Transaction;
use core::ops::Range;
use std::collections::BTreeMap;

/// The field of command 48 that every device type fills with bits of its own [CM-048].
const DEVICE_STATUS: &str = "device_status";
/// Devices whose revision is remembered.
const MAX_DEVICES: usize = 1024;

/// A transaction with its values.
#[derive(Clone, Debug)]
pub struct Exchange {
    /// Who said what, when.
    pub transaction: Transaction,
    /// The command's row; `None` for a command that has none.
    pub spec: Option<&'static CommandSpec>,
    /// The description of the device's type, for commands that stand inside this one.
    pub described: Option<&'static Described>,
    /// The revision by whose form the data were read; `None` where no form was used.
    pub revision: Option<Revision>,
    /// Whether that revision was known; else it was taken for the one that explains the octets.
    pub revision_known: bool,
    /// Values of the request.
    pub request: Decoded,
    /// Values of the reply; empty with a communication error.
    pub reply: Decoded,
}

/// One value with where it stands.
#[derive(Clone, Copy, Debug)]
pub struct FieldView<'a> {
    /// The field as found in the data.
    pub found: &'a Found,
    /// The data that it was found in.
    pub data: &'a [u8],
    /// Where the data begin in the frame, counted from the delimiter.
    pub data_offset: usize,
    /// What a description says of the octets of command 48 that are the device's own.
    pub status_words: StatusWords,
}

impl FieldView<'_> {
    /// The octets of the frame that hold it, counted from the delimiter.
    pub fn span(&self) -> Range<usize> {
        let from = self.data_offset + usize::from(self.found.start);
        from..from + usize::from(self.found.len)
    }

    /// Its value as people read it, with its unit.
    pub fn text(&self) -> String {
        let mut out = String::new();
        self.write_text(&mut out);
        out
    }

    /// Appends [`FieldView::text`].
    pub fn write_text(&self, out: &mut String) {
        crate::app::command::write_text(self.found, self.data, out);
        let words = self.described_words();
        if !words.is_empty() {
            out.push_str(" (");
            out.push_str(&words.join(", "));
            out.push(')');
        }
    }

    /// What a description says of the bits set in the device-specific status of command 48, octet by octet, highest bit
    /// first; nothing where no bit is set, or none is described [CM-DESCRIBED].
    pub fn described_words(&self) -> Vec<String> {
        if self.found.field.name != DEVICE_STATUS || self.status_words.is_empty() {
            return Vec::new();
        }
        let mut all = Vec::new();
        for (n, octet) in self.found.octets(self.data).iter().enumerate() {
            for mask in (0..8).rev().map(|bit| octet & 1 << bit).filter(|mask| *mask != 0) {
                let table = self.status_words.get(n).copied().flatten();
                let row = table.and_then(|t| t.rows.iter().find(|row| row.0 == mask));
                all.push(row.map_or_else(|| format!("octet {n} bit 0x{mask:02X}"), |row| row.1.to_owned()));
            }
        }
        all
    }

    /// Its value for a cell of a table: as [`FieldView::text`], but a text stands without quotes and as
    /// it is, control characters excepted, which a terminal would obey.
    pub fn cell(&self) -> String {
        match self.found.value(self.data) {
            Value::Text(t) => {
                let mut out = String::with_capacity(t.len());
                for c in t.chars() {
                    if c.is_control() { out.extend(c.escape_debug()) } else { out.push(c) }
                }
                out
            }
            _ => self.text(),
        }
    }
}

impl Exchange {
    /// The command's number.
    pub fn command(&self) -> u8 {
        self.transaction.any_frame().map_or(0, Frame::command)
    }

    /// The number of the command that is meant: inside command 31 that of the command carried [CM-031].
    pub fn full_number(&self) -> u16 {
        let carried = |direction| {
            let field = self.fields(direction).find(|f| f.found.field.name == "extended_command")?;
            u16::try_from(field.found.value(field.data).number()?).ok().filter(|n| *n > 255)
        };
        match self.command() {
            31 => carried(Direction::Reply).or_else(|| carried(Direction::Request)).unwrap_or(31),
            n => n.into(),
        }
    }

    /// The command's name; of an extended command that has a row its own.
    pub fn command_name(&self) -> &'static str {
        let carried = if self.command() == 31 { spec(self.full_number()) } else { None };
        carried.or(self.spec).map_or("command without a row", |s| s.name)
    }

    /// The first status octet of the reply.
    pub fn status(&self) -> Option<Status> {
        Some(Status::of(self.transaction.reply_frame()?.status()?[0]))
    }

    /// The second status octet of the reply: the field device status [ST-02].
    pub fn device_status(&self) -> Option<u8> {
        Some(self.transaction.reply_frame()?.status()?[1])
    }

    /// How the device took the request; `None` without a reply.
    pub fn class(&self) -> Option<CodeClass> {
        Some(self.status()?.class(self.full_number()))
    }

    /// How it stands with an answer that comes later; `None` where the answer is there, or none.
    pub fn delay(&self) -> Option<Delay> {
        match self.status()? {
            Status::Response(code) => Delay::of(code),
            Status::CommunicationError(_) => None,
        }
    }

    /// What the first status octet of the reply says, in words: what went wrong in communication, or the one
    /// meaning of the response code to this command; nothing without a reply.
    pub fn response_texts(&self) -> Vec<&'static str> {
        self.status().map_or(Vec::new(), |status| texts_of(status, self.spec, self.full_number()))
    }

    /// The row of a command to the same device.
    fn catalogued(&self, number: u16) -> Option<&'static CommandSpec> {
        match u8::try_from(number) {
            Ok(n) if NUMBERS.contains(&n) => self.described?.spec(n),
            _ => spec(number),
        }
    }

    fn status_words(&self) -> StatusWords {
        self.described
            .zip(self.revision)
            .map_or(&[], |(described, revision)| described.status_words(revision))
    }

    /// The values of one direction, in wire order.
    pub fn fields(&self, direction: Direction) -> impl Iterator<Item = FieldView<'_>> {
        let (frame, decoded) = self.side(direction);
        decoded.fields.iter().map(move |found| FieldView {
            found,
            data: frame.map_or(&[][..], |f| f.data()),
            data_offset: frame.map_or(0, Frame::data_offset),
            status_words: self.status_words(),
        })
    }

    /// The values of the reply, in wire order.
    pub fn fields_of_reply(&self) -> impl Iterator<Item = FieldView<'_>> {
        self.fields(Direction::Reply)
    }

    /// Octets of the data that no field covers.
    pub fn surplus(&self, direction: Direction) -> &[u8] {
        let (frame, decoded) = self.side(direction);
        frame.map_or(&[][..], |f| f.data().get(usize::from(decoded.surplus_from)..).unwrap_or(&[]))
    }

    /// The value of this name in the reply.
    pub fn value(&self, name: &str) -> Option<FieldView<'_>> {
        self.fields_of_reply().find(|f| f.found.slot.is_none() && f.found.field.name == name)
    }

    /// The value of this name in the reply as a number.
    pub fn number(&self, name: &str) -> Option<u32> {
        let v = self.value(name)?;
        v.found.value(v.data).number()
    }

    fn side(&self, direction: Direction) -> (Option<&Frame>, &Decoded) {
        match direction {
            Direction::Request => (self.transaction.request(), &self.request),
            Direction::Reply => (self.transaction.reply_frame(), &self.reply),
        }
    }
}

/// What a first status octet says in words to the command of this row or, without one, of this number.
fn texts_of(status: Status, row: Option<&CommandSpec>, number: u16) -> Vec<&'static str> {
    match (status, row) {
        // A description may give its commands codes of their own.
        (Status::Response(code), Some(row)) if !row.codes.is_empty() => {
            vec![row.meaning(code).1.unwrap_or(status::UNDEFINED)]
        }
        _ => status.texts(number),
    }
}

/// What a device says about itself in reply to command 0, 11 or 21 [CM-000].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Identity {
    /// Its protocol revision as it says, also one that looprig does not know.
    pub universal_revision: u8,
    /// Its unique address [FR-06].
    pub unique: UniqueAddress,
    /// Octets of FF that it wants before a request [LL-11].
    pub preambles: u8,
    /// Its device type, of which its address has 14 bits only.
    pub device_type: DeviceType,
}

impl Identity {
    /// Reads the data of such a reply; `None` when they are too short.
    pub fn of(data: &[u8]) -> Option<Identity> {
        // The first twelve octets stand alike in every revision [CM-000].
        let d: &[u8; 12] = data.get(..12)?.try_into().ok()?;
        Some(Identity {
            universal_revision: d[4],
            unique: UniqueAddress::new([d[1], d[2]], [d[9], d[10], d[11]]),
            preambles: d[3],
            device_type: match d[4] {
                7.. => DeviceType::Expanded(u16::from_be_bytes([d[1], d[2]])),
                _ => DeviceType::Short { manufacturer: d[1], device_type: d[2] },
            },
        })
    }

    /// The newest revision that looprig knows and the device has.
    pub fn revision(&self) -> Option<Revision> {
        Revision::new(self.universal_revision.min(7))
    }
}

/// The device type in an address, as descriptions are found by it; `None` for a polling address and for the
/// broadcast.
pub fn type_key(target: Target) -> Option<TypeKey> {
    match target {
        Target::Unique(u) if !u.is_broadcast() => {
            let [high, low, ..] = u.octets();
            Some(TypeKey::of([high, low]))
        }
        Target::Unique(_) | Target::Polling(_) => None,
    }
}

/// What a device has said of itself.
#[derive(Clone, Copy, Debug)]
struct Learned {
    revision: Revision,
    key: Option<TypeKey>,
}

/// Reads transactions and remembers which revision each device has.
#[derive(Clone, Debug, Default)]
pub struct Interpreter {
    given: Option<Revision>,
    catalogue: Catalogue,
    learned: BTreeMap<Target, Learned>,
}

impl Interpreter {
    /// Reads every device by this revision, or, if `None`, by the one it was heard to have.
    pub fn new(given: Option<Revision>) -> Self {
        Interpreter { given, catalogue: Catalogue::default(), learned: BTreeMap::new() }
    }

    /// The same, with rows for the commands of these device types.
    pub fn with_catalogue(mut self, catalogue: Catalogue) -> Self {
        self.catalogue = catalogue;
        self
    }

    /// The revision of a device, where it is known.
    pub fn revision_of(&self, target: Target) -> Option<Revision> {
        self.given.or_else(|| self.learned.get(&target).map(|l| l.revision))
    }

    /// The description of the type of `target`, by the type in its address or, at a polling address, by the one
    /// that the device there was heard to have.
    fn described(&self, target: Option<Target>) -> Option<&'static Described> {
        let learned = |t| self.learned.get(&t).and_then(|l| l.key);
        let of = target.and_then(|t| type_key(t).or_else(|| learned(t)));
        self.catalogue.described(of?)
    }

    /// Gives a transaction its meaning.
    pub fn read(&mut self, transaction: Transaction) -> Exchange {
        let known = self.revision(&transaction);
        let command = transaction.any_frame().map_or(0, Frame::command);
        let mut exchange = Exchange {
            spec: None,
            described: self.described(target_of(&transaction)),
            revision: None,
            revision_known: known.is_some(),
            request: Decoded::default(),
            reply: Decoded::default(),
            transaction,
        };
        exchange.spec = exchange.catalogued(command.into());
        let Some(spec) = exchange.spec else { return exchange };
        let request = exchange.transaction.request().map(|f| &f.data()[..]);
        // With a communication error there is no reply to read.
        let answered = |f: &&Frame| {
            f.status().is_some_and(|[first, _]| matches!(Status::of(first), Status::Response(_)))
        };
        let reply = exchange.transaction.reply_frame().filter(answered).map(|f| &f.data()[..]);
        let sides = [
            (Direction::Request, request, &mut exchange.request),
            (Direction::Reply, reply, &mut exchange.reply),
        ];
        if known.is_none() {
            exchange.revision = read_by_octets(spec, sides);
            return exchange;
        }
        for (direction, data, out) in sides {
            if let Some(data) = data {
                exchange.revision = spec.decode(known, direction, data, out);
            }
        }
        exchange
    }

    fn revision(&mut self, t: &Transaction) -> Option<Revision> {
        if let Some(reply) = t.reply_frame()
            && matches!(reply.command(), 0 | 11 | 21)
            && let Some(identity) = Identity::of(reply.data())
            && let Some(revision) = identity.revision()
            && reply.data()[0] == 254
        {
            for target in [reply.address().target, Target::Unique(identity.unique)] {
                if self.learned.len() < MAX_DEVICES || self.learned.contains_key(&target) {
                    let key = type_key(Target::Unique(identity.unique));
                    self.learned.insert(target, Learned { revision, key });
                }
            }
        }
        self.revision_of(target_of(t)?)
    }
}

/// Which device a transaction is with: the reply's address is the device's own, the request's may be the broadcast.
fn target_of(t: &Transaction) -> Option<Target> {
    Some(t.reply_frame().or(t.request())?.address().target)
}

/// Reads request and reply of a device whose revision is not known by one form: the newest that explains
/// every octet of both; else that of the reply or, when it has no data, of the request.
fn read_by_octets(
    spec: &CommandSpec,
    [request, reply]: [(Direction, Option<&[u8]>, &mut Decoded); 2],
) -> Option<Revision> {
    let whole = |(direction, data, out): &mut (Direction, Option<&[u8]>, &mut Decoded), form: &Form| {
        let Some(data) = *data else { return true };
        layout::decode(form.layout(*direction), data, out);
        out.complete && usize::from(out.surplus_from) == data.len()
    };
    let (mut request, mut reply) = (request, reply);
    if request.1.is_none() && reply.1.is_none() {
        return None;
    }
    // Both are decoded whatever the first says.
    if let Some(form) = spec.forms.iter().find(|f| whole(&mut request, f) & whole(&mut reply, f)) {
        return Some(form.to);
    }
    let telling =
        if reply.1.is_some_and(|d| !d.is_empty()) || request.1.is_none() { &mut reply } else { &mut request };
    let form = spec.forms.iter().find(|f| whole(telling, f)).or(spec.forms.first())?;
    whole(&mut request, form);
    whole(&mut reply, form);
    Some(form.to)
}

/// Reads one frame alone, as if it were all that passed: a request without its reply, or a device's
/// frame without its request.
pub fn read_alone(interpreter: &mut Interpreter, good: Good) -> Exchange {
    use crate::transaction::{Kind, Oddities, Outcome};
    let (kind, outcome) = match good.frame.frame_type() {
        FrameType::Stx => (Kind::Asked, Outcome::Open),
        FrameType::Ack => (Kind::Unasked, Outcome::Answered),
        FrameType::Back => (Kind::Burst, Outcome::Answered),
    };
    let (tries, reply) = match kind {
        Kind::Asked => (vec![good], None),
        _ => (Vec::new(), Some(good)),
    };
    interpreter.read(Transaction {
        kind,
        outcome,
        tries,
        interludes: Vec::new(),
        reply,
        response_time: None,
        oddities: Oddities::NONE,
    })
}
