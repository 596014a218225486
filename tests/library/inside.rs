//! Commands that 77 and 78 carry, read by their own rows, with their places in the outer frame. Octets are put together
//! by hand from protocol-notes/command-facts.md.

use crate::support::meaning;
use looprig::app::command::{Direction, Revision};
use looprig::exchange::json::{frame_from_json, write_exchange_with};
use looprig::exchange::{Exchange, Interpreter};
use looprig::report::{Format, Options, write_item};
use proptest::prelude::*;
use serde_json::{Value as Json, json};

/// A frame of a device of revision 7 (unique address 3D71003104) and its meaning; the secondary master.
fn read(delimiter: u8, command: u8, data: &[u8], revision: Option<Revision>) -> (Vec<u8>, Exchange) {
    let mut frame = vec![delimiter, 0x3D, 0x71, 0x00, 0x31, 0x04, command, data.len() as u8];
    frame.extend(data);
    frame.push(frame.iter().fold(0, |x, o| x ^ o));
    let exchange = meaning("made", &frame, &mut Interpreter::new(revision));
    (frame, exchange)
}

fn request(command: u8, data: &[u8]) -> (Vec<u8>, Exchange) {
    read(0x82, command, data, Some(Revision::R7))
}

/// The status octets 00 40 stand before the data.
fn reply(command: u8, data: &[u8]) -> (Vec<u8>, Exchange) {
    read(0x86, command, &[&[0x00, 0x40][..], data].concat(), Some(Revision::R7))
}

/// Title, then name, text and octets of each value; the octets are those at its span in the whole frame.
fn told(frame: &[u8], exchange: &Exchange, direction: Direction) -> Vec<Vec<String>> {
    let tell = |one: &looprig::exchange::Inside<'_>| {
        let fields = one.fields().map(|f| {
            let octets: String = frame[f.span()].iter().map(|o| format!("{o:02X}")).collect();
            format!("{} = {} from {octets}", f.found.name(), f.text())
        });
        [one.title()].into_iter().chain(fields).collect()
    };
    exchange.inside(direction).iter().map(tell).collect()
}

/// [CM-078]: command 2 answered with 12 mA and 50 % (41 40 00 00, 42 48 00 00), 19 refused with 7, 200 without a row,
/// 35 warned with 14 and its values, one octet more than command 7 has.
fn several() -> Vec<u8> {
    [
        &[0x20, 5][..],
        &[0, 2, 9, 0, 0x41, 0x40, 0, 0, 0x42, 0x48, 0, 0],
        &[0, 19, 1, 7],
        &[0, 200, 2, 0, 0xAB],
        &[0, 35, 10, 14, 57, 0x41, 0x20, 0, 0, 0, 0, 0, 0],
        &[0, 7, 4, 0, 5, 1, 0xEE],
    ]
    .concat()
}

#[test]
fn answers_inside_78() {
    let (frame, exchange) = reply(78, &several());
    assert_eq!(
        told(&frame, &exchange, Direction::Reply),
        [
            vec![
                "command 2, read loop current and percent of range: ok",
                "loop_current = 12 mA from 41400000",
                "percent_of_range = 50 % from 42480000",
            ],
            vec!["command 19, write final assembly number: refused 7: in write protect mode"],
            vec!["command 200, command without a row: ok"],
            vec![
                "command 35, write range values of the primary variable: warning 14: span too small",
                "range_unit = % from 39",
                "upper_range_value = 10 % from 41200000",
                "lower_range_value = 0 % from 00000000",
            ],
            vec![
                "command 7, read loop configuration: ok",
                "polling_address = 5 from 05",
                "loop_current_mode = enabled from 01",
            ],
        ]
    );
    let inside = exchange.inside(Direction::Reply);
    assert_eq!((inside[2].surplus(), inside[4].surplus()), (&[0xAB][..], &[0xEE][..]));
    for one in &inside {
        let from = one.surplus_from();
        assert_eq!(&frame[from..from + one.surplus().len()], one.surplus());
    }
}

#[test]
fn requests_inside_78() {
    let data = [&[2][..], &[0, 33, 2, 0, 246], &[0, 19, 3, 0x12, 0x34, 0x56]].concat();
    let (frame, exchange) = request(78, &data);
    assert_eq!(
        told(&frame, &exchange, Direction::Request),
        [
            vec![
                "command 33, read device variables",
                "slot0_code = variable 0 from 00",
                "slot1_code = primary variable from F6"
            ],
            vec!["command 19, write final assembly number", "final_assembly_number = 1193046 from 123456"],
        ]
    );
}

/// [CM-077]: the sub-device's answer to command 1, with its own status octets: 00, and 40, configuration changed.
#[test]
fn what_77_carries() {
    let (frame, exchange) =
        reply(77, &[1, 2, 0x86, 0xBD, 0x0D, 1, 2, 3, 1, 7, 0x00, 0x40, 39, 0x41, 0x40, 0, 0]);
    assert_eq!(
        told(&frame, &exchange, Direction::Reply),
        [vec![
            "command 1, read primary variable: ok; device: configuration changed",
            "pv_unit = mA from 27",
            "pv = 12 mA from 41400000",
        ]]
    );
    let (frame, exchange) = request(77, &[1, 2, 5, 0x82, 0xBD, 0x0D, 1, 2, 3, 19, 3, 0, 0, 7]);
    assert_eq!(
        told(&frame, &exchange, Direction::Request),
        [vec!["command 19, write final assembly number", "final_assembly_number = 7 from 000007"]]
    );
    // Without data; with a short address, which is not taken apart; with an answer that has no status octets; damaged on
    // the sub-device's wire: 88 is longitudinal parity.
    let (_, exchange) = request(77, &[1, 2, 5, 0x82, 0xBD, 0x0D, 1, 2, 3, 3, 0]);
    assert_eq!(
        exchange.inside(Direction::Request)[0].title(),
        "command 3, read dynamic variables and loop current"
    );
    let (_, exchange) = request(77, &[1, 2, 5, 0x02, 0x80, 0, 0, 0, 0, 0, 0]);
    assert!(exchange.inside(Direction::Request).is_empty());
    let (_, exchange) = reply(77, &[1, 2, 0x86, 0xBD, 0x0D, 1, 2, 3, 1, 1, 0x00]);
    assert!(exchange.inside(Direction::Reply).is_empty());
    let (_, exchange) = reply(77, &[1, 2, 0x86, 0xBD, 0x0D, 1, 2, 3, 1, 2, 0x88, 0x00]);
    let inside = exchange.inside(Direction::Reply);
    assert!(inside[0].title().contains("communication error"), "{}", inside[0].title());
    assert_eq!(inside[0].fields().count(), 0);
}

/// Other commands carry none, nor does a refusal.
#[test]
fn nothing_inside() {
    let (_, exchange) = reply(3, &several());
    assert!(exchange.inside(Direction::Reply).is_empty());
    let (_, exchange) = reply(78, &[]);
    assert!(exchange.inside(Direction::Reply).is_empty());
}

/// The member `inside` explains, and the frame is made again without it.
#[test]
fn inside_in_json() {
    let (frame, exchange) = reply(78, &several());
    let mut text = String::new();
    write_exchange_with(&exchange, true, &mut text);
    let json: Json = serde_json::from_str(&text).unwrap();
    let inside = &json["reply"]["inside"];
    assert_eq!(inside.as_array().unwrap().len(), 5);
    // Eight octets to the data, two of status, two before the records, three of the record, one of code: 16.
    assert_eq!(
        inside[0],
        json!({
            "slot": 0, "command": 2, "name": "read loop current and percent of range",
            "response_code": 0, "response": inside[0]["response"],
            "values": {"loop_current": 12.0, "percent_of_range": 50.0},
            "texts": {"loop_current": "12 mA", "percent_of_range": "50 %"},
            "spans": {"loop_current": [16, 4], "percent_of_range": [20, 4]},
        })
    );
    assert_eq!(
        (&inside[1]["response_code"], &inside[1]["response"]),
        (&json!(7), &json!("in write protect mode"))
    );
    assert_eq!(inside[2]["surplus"], "AB");
    assert_eq!(json["reply"]["values"]["slot0_data"], "004140000042480000");
    let again = frame_from_json(&json["reply"], Revision::R7).unwrap();
    assert_eq!(again.encode_after(0).to_vec(), frame);
    let (_, plain) = reply(3, &[]);
    text.clear();
    write_exchange_with(&plain, true, &mut text);
    assert!(!text.contains("inside"));
}

/// At the highest verbosity the values stand below the octets that hold them.
#[test]
fn inside_in_text() {
    let (_, exchange) = reply(78, &several());
    let mut out = String::new();
    let options = Options { format: Format::Text, verbosity: 2, times: false, colour: false };
    write_item(&looprig::capture::Item::Exchange(Box::new(exchange)), options, &mut out);
    let lines: Vec<String> =
        out.lines().map(|l| l.split_whitespace().collect::<Vec<_>>().join(" ")).collect();
    let at = lines.iter().position(|l| l.contains("slot0_data")).expect("its octets");
    assert_eq!(lines[at], "@15 004140000042480000 slot0_data 004140000042480000");
    assert_eq!(
        lines[at + 1..at + 4],
        [
            "inside: command 2, read loop current and percent of range: ok",
            "@16 41400000 loop_current 12 mA",
            "@20 42480000 percent_of_range 50 %",
        ]
    );
    assert!(out.lines().all(|l| l.chars().count() <= 100), "{out}");
}

proptest! {
    /// Whatever comes, places are inside the field that holds them, and octets are those of the frame.
    #[test]
    fn places_are_in_their_holders(
        number in prop::sample::select(vec![77u8, 78]),
        answer in any::<bool>(),
        known in any::<bool>(),
        data in prop::collection::vec(prop_oneof![0u8..12, any::<u8>()], 0..120),
    ) {
        let (delimiter, direction) = if answer { (0x86, Direction::Reply) } else { (0x82, Direction::Request) };
        let mut data = data;
        if answer && data.len() < 2 {
            data.resize(2, 0);
        }
        let (frame, exchange) = read(delimiter, number, &data, known.then_some(Revision::R7));
        for one in exchange.inside(direction) {
            let holders: Vec<_> = exchange.fields(direction).filter(|f| one.is_in(f)).collect();
            prop_assert_eq!(holders.len(), 1);
            let holder = holders[0].span();
            for field in one.fields() {
                let span = field.span();
                prop_assert!(holder.start <= span.start && span.end <= holder.end);
                let whole = field.found.octets(field.data);
                if field.found.bits.is_none() {
                    prop_assert_eq!(&frame[span], whole);
                }
            }
        }
        let mut out = String::new();
        write_exchange_with(&exchange, true, &mut out);
        prop_assert!(serde_json::from_str::<Json>(&out).is_ok());
    }
}
