//! Commands inside commands: what 77 and 78 carry, read by its own row [CM-077] [CM-078].

use super::{Exchange, FieldView};
use crate::app::command::described::StatusWords;
use crate::app::command::{CommandSpec, Decoded, Direction, Revision, spec};
use crate::app::status::Status;

/// Commands that carry others.
const TO_A_SUB_DEVICE: u8 = 77;
const SEVERAL: u8 = 78;
/// The bits of a delimiter that say what kind of frame follows [FR-03].
const FRAME_TYPE: u8 = 0x07;
const STX: u8 = 2;
const LONG_ADDRESS: u8 = 0x80;
/// Names of the fields that hold their octets.
const RECORD: &str = "data";
const REST: &str = "inner_data";
const COUNT: &str = "inner_byte_count";

/// A command that a frame carries in its data.
#[derive(Clone, Debug)]
pub struct Inside<'a> {
    /// Its place among several, from 0; `None` where there is one alone.
    pub slot: Option<u8>,
    /// Its number.
    pub number: u16,
    /// Its row; `None` for a command that has none.
    pub spec: Option<&'static CommandSpec>,
    /// Of an answer the first status octet, of 78 the response code.
    pub status: Option<Status>,
    /// Of an answer from a sub-device the second status octet.
    pub device_status: Option<u8>,
    /// The field that holds its octets, or stands where they would be.
    holder: &'static str,
    decoded: Decoded,
    data: &'a [u8],
    data_offset: usize,
    status_words: StatusWords,
}

impl<'a> Inside<'a> {
    /// Reads what is at `data`, which begins `data_offset` octets behind the outer frame's delimiter.
    fn read(
        slot: Option<u8>,
        (number, spec): (u16, Option<&'static CommandSpec>),
        revision: Option<Revision>,
        direction: Direction,
        statuses: usize,
        (data, data_offset): (&'a [u8], usize),
    ) -> Option<Inside<'a>> {
        let statuses = if direction == Direction::Reply { statuses } else { 0 };
        let (status, data) = data.split_at_checked(statuses)?;
        let data_offset = data_offset + statuses;
        let (first, device_status) = (status.first().map(|&o| Status::of(o)), status.get(1).copied());
        let mut decoded = Decoded::default();
        // With a communication error there is nothing to read.
        if let Some(spec) = spec
            && !matches!(first, Some(Status::CommunicationError(_)))
        {
            spec.decode(revision, direction, data, &mut decoded);
        }
        let holder = if slot.is_some() { RECORD } else { REST };
        Some(Inside {
            slot,
            number,
            spec,
            status: first,
            device_status,
            holder,
            decoded,
            data,
            data_offset,
            status_words: &[],
        })
    }

    /// Its name.
    pub fn command_name(&self) -> &'static str {
        self.spec.map_or("command without a row", |s| s.name)
    }

    /// Its values in wire order, with their places in the outer frame.
    pub fn fields(&self) -> impl Iterator<Item = FieldView<'_>> {
        let (data, data_offset, status_words) = (self.data, self.data_offset, self.status_words);
        self.decoded.fields.iter().map(move |found| FieldView { found, data, data_offset, status_words })
    }

    /// Octets of its data that no field covers.
    pub fn surplus(&self) -> &'a [u8] {
        self.data.get(usize::from(self.decoded.surplus_from)..).unwrap_or(&[])
    }

    /// `command 2, read loop current and percent of range`, of an answer with what became of it.
    pub fn title(&self) -> String {
        let mut out = format!("command {}, {}", self.number, self.command_name());
        if let Some(status) = self.status {
            out.push_str(": ");
            let texts = super::texts_of(status, self.spec, self.number);
            super::view::write_status(status, status.class(self.number), &texts, &mut out);
        }
        if let Some(octet) = self.device_status.filter(|&o| o != 0) {
            out.push_str("; device: ");
            super::view::write_device_status(octet, &mut out);
        }
        out
    }

    /// Where those begin in the outer frame, counted from the delimiter.
    pub fn surplus_from(&self) -> usize {
        self.data_offset + usize::from(self.decoded.surplus_from)
    }

    /// Whether this field of the outer frame holds its octets, or stands right before them where there are none.
    pub fn is_in(&self, field: &FieldView<'_>) -> bool {
        field.found.slot == self.slot && field.found.field.name == self.holder
    }
}

impl Exchange {
    /// The commands that a frame carries, in wire order; none for most. What is cut is left out, and what a
    /// carried command carries is not taken apart.
    pub fn inside(&self, direction: Direction) -> Vec<Inside<'_>> {
        match self.command() {
            SEVERAL => self.several(direction),
            TO_A_SUB_DEVICE => self.to_a_sub_device(direction).into_iter().collect(),
            _ => Vec::new(),
        }
    }

    fn several(&self, direction: Direction) -> Vec<Inside<'_>> {
        // They are for the device itself.
        let revision = self.revision.filter(|_| self.revision_known);
        let mut number = None;
        let mut out = Vec::new();
        for field in self.fields(direction).filter(|f| f.found.slot.is_some()) {
            match field.found.field.name {
                "command" => number = number_of(&field),
                RECORD => out.extend(number.take().and_then(|n| {
                    let row = self.catalogued(n);
                    let read =
                        Inside::read(field.found.slot, (n, row), revision, direction, 1, octets_of(&field))?;
                    Some(Inside { status_words: self.status_words(), ..read })
                })),
                _ => {}
            }
        }
        out
    }

    fn to_a_sub_device(&self, direction: Direction) -> Option<Inside<'_>> {
        let field = |name: &str| self.fields(direction).find(|f| f.found.field.name == name);
        let small = |name: &str| field(name).and_then(|f| number_of(&f));
        let delimiter = small("inner_delimiter")? as u8;
        if delimiter & LONG_ADDRESS == 0 {
            return None;
        }
        let inner = if delimiter & FRAME_TYPE == STX { Direction::Request } else { Direction::Reply };
        let (number, count) = (small("inner_command")?, small("inner_byte_count")?);
        // Without data there is no such field: the frame ends before it.
        let whole = field(REST);
        let (data, at) = whole.map_or((&[][..], 0), |f| octets_of(&f));
        // The revision of the sub-device is its own.
        let octets = (data.get(..count.into()).unwrap_or(data), at);
        let read = Inside::read(None, (number, spec(number)), None, inner, 2, octets)?;
        Some(if whole.is_some() { read } else { Inside { holder: COUNT, ..read } })
    }
}

fn number_of(field: &FieldView<'_>) -> Option<u16> {
    u16::try_from(field.found.value(field.data).number()?).ok()
}

/// The octets of a field and where they stand, counted from the delimiter.
fn octets_of<'a>(field: &FieldView<'a>) -> (&'a [u8], usize) {
    (field.found.octets(field.data), field.span().start)
}
