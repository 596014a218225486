//! The exchange as JSON, and a frame made again from that JSON.
//!
//! What is written is complete: from the named values and the revision alone the same octets come
//! back. `values` holds plain numbers and text for programs, `texts` what people read.

use super::{Exchange, FieldView, Inside, type_key};
use crate::app::command::layout::{self, EncodeError, Kind as FieldKind, Missing};
use crate::app::command::value::{Value, ValueError, hex};
use crate::app::command::{Catalogue, Direction, Form, Revision};
use crate::app::status::{self, Status};
use crate::frame::{
    Address, Damaged, Expansion, Frame, FrameType, Good, Master, Noise, Octet, PollingAddress, Target,
    TooLong, UniqueAddress,
};
use crate::transaction::{Interlude, Kind};
use core::fmt;
use core::fmt::Write;
use serde_json::{Map, Value as Json};

/// Appends one object, without a line end.
pub fn write_exchange(e: &Exchange, out: &mut String) {
    write_exchange_with(e, false, out);
}

/// The same; `spans` adds to each frame where its values stand: first octet, counted from the
/// delimiter as 0, and number of octets.
pub fn write_exchange_with(e: &Exchange, spans: bool, out: &mut String) {
    let t = &e.transaction;
    let kind = match t.kind {
        Kind::Asked => "transaction",
        Kind::Burst => "burst",
        Kind::Unasked => "unasked",
    };
    let _ = write!(
        out,
        "{{\"kind\":\"{kind}\",\"t_ns\":{},\"command\":{},\"name\":",
        t.started_at().as_nanos(),
        e.command()
    );
    write_string(e.command_name(), out);
    if let Some(r) = e.revision {
        let _ = write!(out, ",\"revision\":{r},\"revision_known\":{}", e.revision_known);
    }
    let _ = write!(out, ",\"outcome\":\"{}\"", t.outcome);
    if t.kind == Kind::Asked {
        let _ = write!(out, ",\"tries\":{}", t.tries.len());
    }
    if let Some(d) = t.response_time {
        let _ = write!(out, ",\"response_time_ms\":{}", d.as_nanos() as f64 / 1e6);
    }
    if !t.oddities.is_empty() {
        out.push_str(",\"oddities\":[");
        for (i, name) in t.oddities.names().enumerate() {
            let _ = write!(out, "{}\"{name}\"", if i > 0 { "," } else { "" });
        }
        out.push(']');
    }
    if let Some(good) = t.tries.last() {
        out.push_str(",\"request\":");
        write_frame(e, good, Direction::Request, spans, out);
    }
    if !t.interludes.is_empty() {
        out.push_str(",\"between\":[");
        for (i, interlude) in t.interludes.iter().enumerate() {
            if i > 0 {
                out.push(',');
            }
            match interlude {
                Interlude::Damaged(d) => write_damaged(d, out),
                Interlude::Noise(n) => write_noise(n, out),
            }
        }
        out.push(']');
    }
    if let Some(good) = &t.reply {
        out.push_str(",\"reply\":");
        write_frame(e, good, Direction::Reply, spans, out);
    }
    out.push('}');
}

/// Appends one object for what is no exchange, without a line end.
pub fn write_damaged(d: &Damaged, out: &mut String) {
    let at = d.octets.first().map_or(0, |o| o.at.as_nanos());
    let _ = write!(out, "{{\"kind\":\"damaged\",\"t_ns\":{at},\"damage\":\"{}\",\"octets\":\"", d.damage);
    write_octets(&d.octets, out);
    out.push_str("\"}");
}

/// Appends one object for octets that belong to no frame, without a line end.
pub fn write_noise(n: &Noise, out: &mut String) {
    let at = n.octets.first().map_or(0, |o| o.at.as_nanos());
    let _ = write!(out, "{{\"kind\":\"noise\",\"t_ns\":{at},\"octets\":\"");
    write_octets(&n.octets, out);
    out.push_str("\"}");
}

fn write_octets(octets: &[Octet], out: &mut String) {
    const DIGITS: &[u8; 16] = b"0123456789ABCDEF";
    for o in octets {
        out.push(char::from(DIGITS[usize::from(o.value >> 4)]));
        out.push(char::from(DIGITS[usize::from(o.value & 15)]));
    }
}

fn write_frame(e: &Exchange, good: &Good, direction: Direction, spans: bool, out: &mut String) {
    let f = &good.frame;
    let a = f.address();
    let at = good.octets.first().map_or(0, |o| o.at.as_nanos());
    let _ = write!(
        out,
        "{{\"t_ns\":{at},\"type\":\"{}\",\"master\":\"{}\",\"burst\":{},",
        f.frame_type().name(),
        a.master,
        a.burst
    );
    match a.target {
        Target::Polling(p) => {
            let _ = write!(out, "\"polling_address\":{}", p.get());
        }
        Target::Unique(u) => {
            let _ = write!(out, "\"unique_address\":\"{u}\"");
        }
    }
    if f.physical() != 0 {
        let _ = write!(out, ",\"physical_layer\":{}", f.physical());
    }
    if !f.expansion().as_slice().is_empty() {
        out.push_str(",\"expansion\":\"");
        for o in f.expansion().as_slice() {
            let _ = write!(out, "{o:02X}");
        }
        out.push('"');
    }
    let _ = write!(out, ",\"command\":{}", f.command());
    if let Some([first, second]) = f.status() {
        write_response(&e.response_texts(), Status::of(first), out);
        write_device_status(second, out);
    }
    write_fields(|| e.fields(direction), e.surplus(direction), spans, out);
    write_inside(&e.inside(direction), spans, out);
    let _ = write!(out, ",\"preambles\":{},\"octets\":\"", good.preambles);
    write_octets(&good.octets, out);
    out.push_str("\"}");
}

/// The members `values`, `texts` and, if asked for, `spans`, and `surplus` where there is some.
fn write_fields<'a, I: Iterator<Item = FieldView<'a>>>(
    fields: impl Fn() -> I,
    surplus: &[u8],
    spans: bool,
    out: &mut String,
) {
    out.push_str(",\"values\":{");
    for (i, v) in fields().enumerate() {
        if i > 0 {
            out.push(',');
        }
        write_name(&v, out);
        let _ = write!(out, "{}", v.found.value(v.data).to_json());
    }
    out.push_str("},\"texts\":{");
    for (i, v) in fields().enumerate() {
        if i > 0 {
            out.push(',');
        }
        write_name(&v, out);
        write_string(&v.text(), out);
    }
    out.push('}');
    if spans {
        out.push_str(",\"spans\":{");
        for (i, v) in fields().enumerate() {
            if i > 0 {
                out.push(',');
            }
            write_name(&v, out);
            let span = v.span();
            let _ = write!(out, "[{},{}]", span.start, span.len());
        }
        out.push('}');
    }
    if !surplus.is_empty() {
        out.push_str(",\"surplus\":\"");
        for o in surplus {
            let _ = write!(out, "{o:02X}");
        }
        out.push('"');
    }
}

/// The commands that a frame carries, as the member `inside`: they only explain what `values` hold.
fn write_inside(inside: &[Inside<'_>], spans: bool, out: &mut String) {
    if inside.is_empty() {
        return;
    }
    out.push_str(",\"inside\":[");
    for (i, one) in inside.iter().enumerate() {
        out.push_str(if i > 0 { ",{" } else { "{" });
        if let Some(slot) = one.slot {
            let _ = write!(out, "\"slot\":{slot},");
        }
        let _ = write!(out, "\"command\":{},\"name\":\"{}\"", one.number, one.command_name());
        if let Some(status) = one.status {
            write_response(&status.texts(one.number), status, out);
        }
        if let Some(octet) = one.device_status {
            write_device_status(octet, out);
        }
        write_fields(|| one.fields(), one.surplus(), spans, out);
        out.push('}');
    }
    out.push(']');
}

fn write_name(v: &FieldView<'_>, out: &mut String) {
    let _ = write!(out, "\"{}\":", v.found.name());
}

fn write_response(texts: &[&str], status: Status, out: &mut String) {
    match status {
        Status::Response(code) => {
            let _ = write!(out, ",\"response_code\":{code},\"response\":");
        }
        Status::CommunicationError(octet) => {
            let _ = write!(out, ",\"communication_error\":{octet},\"response\":");
        }
    }
    write_string(&texts.join(", "), out);
}

fn write_device_status(octet: u8, out: &mut String) {
    let _ = write!(out, ",\"device_status\":{octet},\"device_status_bits\":[");
    for (i, name) in status::FIELD_DEVICE_STATUS.set_names(octet).enumerate() {
        let _ = write!(out, "{}\"{name}\"", if i > 0 { "," } else { "" });
    }
    out.push(']');
}

/// Appends a JSON string with its quotes.
pub fn write_string(text: &str, out: &mut String) {
    out.push('"');
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if u32::from(c) < 0x20 => {
                let _ = write!(out, "\\u{:04x}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
}

/// JSON that makes no frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FrameError {
    /// A member is missing or not of the right kind.
    Member {
        /// Its name.
        name: &'static str,
        /// What would be right.
        wanted: &'static str,
    },
    /// A value does not fit its field.
    Value(EncodeError),
    /// All the data together do not fit.
    TooLong(TooLong),
}

impl fmt::Display for FrameError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FrameError::Member { name, wanted } => {
                write!(f, "\"{name}\" is missing or wrong: it must be {wanted}")
            }
            FrameError::Value(e) => e.fmt(f),
            FrameError::TooLong(e) => e.fmt(f),
        }
    }
}

impl std::error::Error for FrameError {}

/// Makes a frame from what `"request"` or `"reply"` of [`write_exchange`] holds, read by this
/// revision. `octets`, `texts` and everything else that only explains is not looked at.
///
/// # Errors
/// The member that is missing or wrong.
pub fn frame_from_json(frame: &Json, revision: Revision) -> Result<Frame, FrameError> {
    frame_from_json_by(frame, revision, &Catalogue::default())
}

/// The same, with rows for the commands of the device types of a catalogue. Only frames with a unique address are of
/// a known type.
///
/// # Errors
/// As [`frame_from_json`].
pub fn frame_from_json_by(
    frame: &Json,
    revision: Revision,
    catalogue: &Catalogue,
) -> Result<Frame, FrameError> {
    let bad = |name, wanted| FrameError::Member { name, wanted };
    let object = frame.as_object().ok_or(bad("request", "an object"))?;
    let text = |name, wanted| object.get(name).and_then(Json::as_str).ok_or(bad(name, wanted));
    let octet = |name| {
        object
            .get(name)
            .and_then(Json::as_u64)
            .and_then(|n| u8::try_from(n).ok())
            .ok_or(bad(name, "a number from 0 to 255"))
    };
    let frame_type = match text("type", "STX, ACK or BACK")? {
        "STX" => FrameType::Stx,
        "ACK" => FrameType::Ack,
        "BACK" => FrameType::Back,
        _ => return Err(bad("type", "STX, ACK or BACK")),
    };
    let master = match text("master", "primary or secondary")? {
        "primary" => Master::Primary,
        "secondary" => Master::Secondary,
        _ => return Err(bad("master", "primary or secondary")),
    };
    let target = if object.contains_key("polling_address") {
        let n = octet("polling_address")?;
        Target::Polling(PollingAddress::new(n).ok_or(bad("polling_address", "a number from 0 to 63"))?)
    } else {
        let wanted = "ten hex digits";
        let t = text("unique_address", wanted)?;
        Target::Unique(UniqueAddress::parse(t).map_err(|_| bad("unique_address", wanted))?)
    };
    let burst = object.get("burst").and_then(Json::as_bool).ok_or(bad("burst", "true or false"))?;
    let address = Address { master, burst, target };
    let command = octet("command")?;
    let direction = if frame_type == FrameType::Stx { Direction::Request } else { Direction::Reply };
    let spec = catalogue.spec(command.into(), type_key(target));
    let form = spec.and_then(|s| s.form(revision));
    let data = data_from_json(object, form, direction)?;
    let frame = match frame_type {
        FrameType::Stx => Frame::request(address, command, data),
        _ => {
            let first = if object.contains_key("communication_error") {
                octet("communication_error")?
            } else {
                octet("response_code")?
            };
            let status = [first, octet("device_status")?];
            Frame::reply(frame_type == FrameType::Back, address, command, status, data)
        }
    }
    .map_err(FrameError::TooLong)?;
    let frame = match object.get("expansion") {
        Some(_) => {
            let wanted = "one to three octets in hex";
            let octets = hex(text("expansion", wanted)?).ok_or(bad("expansion", wanted))?;
            frame.with_expansion(Expansion::new(&octets).ok_or(bad("expansion", wanted))?)
        }
        None => frame,
    };
    Ok(match object.get("physical_layer") {
        Some(_) => frame.with_physical(octet("physical_layer")?),
        None => frame,
    })
}

fn data_from_json(
    object: &Map<String, Json>,
    form: Option<&Form>,
    direction: Direction,
) -> Result<Vec<u8>, FrameError> {
    let empty = Map::new();
    let values = object.get("values").and_then(Json::as_object).unwrap_or(&empty);
    let mut get = |name: &str, kind: FieldKind| -> Result<Option<Value>, ValueError> {
        values.get(name).map(|v| Value::from_json(kind, v)).transpose()
    };
    let mut data = match form {
        Some(form) => {
            layout::encode(form.layout(direction), Missing::Ends, &mut get).map_err(FrameError::Value)?
        }
        None => Vec::new(),
    };
    if let Some(surplus) = object.get("surplus") {
        let octets = surplus.as_str().and_then(hex);
        data.extend(octets.ok_or(FrameError::Member { name: "surplus", wanted: "octets in hex" })?);
    }
    Ok(data)
}
