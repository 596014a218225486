//! The loop of a bench in words and as JSON: what it gives each device, and who hears whom.

use crate::bench::{Bench, BenchPlan};
use crate::device::KindName;
use crate::line::Reach;
use crate::sim::{DeviceStation, Power, Supplied};
use crate::time::Instant;
use crate::wiring::{Source, digits};
use core::fmt::Write;
use serde_json::{Value as Json, json};

/// A number of volts or milliampere with so many digits as anybody reads.
fn short(x: f64) -> String {
    digits(x, 2)
}

fn feeds(plan: &BenchPlan) -> Option<String> {
    let wires = plan.wires.as_ref()?;
    let title = match wires.circuit.title.as_str() {
        "" => String::new(),
        title => format!("{title}: "),
    };
    Some(match wires.circuit.source {
        Source::Supply { voltage_v, resistor_ohm, .. } => {
            format!("{title}{} V over {} ohm", short(voltage_v), short(resistor_ohm))
        }
        Source::Card { compliance_v, .. } => format!(
            "{title}a card that is told to drive {} mA and has {} V",
            short(wires.current_ma),
            short(compliance_v)
        ),
    })
}

/// What is to be known of the loop beside its numbers: where the bench does otherwise than its sheet says.
pub fn remarks<'a>(plan: &BenchPlan, stations: impl Iterator<Item = &'a DeviceStation>) -> Vec<String> {
    let Some(wires) = &plan.wires else { return Vec::new() };
    let mut out = Vec::new();
    if wires.takes_usual_master {
        out.push(
            "the sheet has no master; a usual one of 500 mV is taken for the bench's lines, so the signal's peak \
             may be larger than looprig wiring says; [master] on the sheet makes both the same"
                .to_owned(),
        );
    }
    for ((station, at), device) in stations.zip(&wires.places).zip(&plan.devices) {
        let d = station.device();
        let holds_ma = wires.circuit.devices.get(*at).and_then(|d| d.holds_a).map(|a| a * 1e3);
        let (Some(holds), Some(sends)) = (holds_ma, d.sent_current_ma(Instant::ZERO)) else { continue };
        let name = super::mock::name(d);
        let (sends_ma, holds_ma) = (short(sends), short(holds));
        if !d.in_multidrop() {
            let right = match device.config.identity.revision {
                crate::app::command::Revision::R5 => "give it a polling_address other than 0",
                _ => "give it loop_current_mode_enabled = false",
            };
            out.push(format!(
                "{name} is in loop current mode and draws the current that it sends, {sends_ma} mA now; the sheet says \
                 {holds_ma}, and looprig wiring reckons with that; {right}, as in multidrop"
            ));
        } else if (sends - holds).abs() > 0.1 {
            out.push(format!(
                "{name} draws {sends_ma} mA, the sheet says {holds_ma}, and looprig wiring reckons with that; write \
                 holds_ma = {sends_ma} on the sheet"
            ));
        }
    }
    out
}

/// What the loop gives a device.
pub fn given(s: &Supplied) -> String {
    let starts = match s.power {
        Power::Off(why) => {
            let again = why.starts_again().map_or(String::new(), |again| format!("; {again}"));
            return format!("without power: {why}{again}");
        }
        Power::Starting { until } => {
            format!("; it starts and works from {} s on", digits(until.as_secs_f64(), 3))
        }
        Power::On => String::new(),
    };
    let (volts, current) = (short(s.volts_v), short(s.current_a * 1e3));
    let left = match s.card {
        Some(card) if card.is_short() => {
            let (carried, wanted) = (short(card.carried_a * 1e3), short(card.wanted_a * 1e3));
            let missing = short(card.needs_v - card.compliance_v);
            format!("the card drives {carried} of {wanted} mA: {missing} V short")
        }
        Some(card) if s.margin_v < 0.0 => format!(
            "all {} mA flow, without room for the signal's peak: {} V short",
            short(card.wanted_a * 1e3),
            short(-s.margin_v)
        ),
        None if s.margin_v < 0.0 => format!("{} V short", short(-s.margin_v)),
        _ => format!("{} V to spare", short(s.margin_v)),
    };
    format!("{volts} V at {current} mA, {left}{starts}")
}

/// How a message fares on its way; `None` where nothing is to be told.
fn fares(reach: Reach) -> Option<String> {
    match reach {
        Reach { heard: false, .. } => Some("too weak to be noticed".to_owned()),
        Reach { bit_error_rate, .. } if bit_error_rate >= 1e-9 => {
            Some(format!("1 bit in {} wrong", parts(bit_error_rate)))
        }
        _ => None,
    }
}

/// One in how many, two digits of it.
fn parts(share: f64) -> String {
    let one_in = 1.0 / share;
    let step = 10f64.powf((one_in.log10().floor() - 1.0).max(0.0));
    format!("{}", (one_in / step).round() * step)
}

/// Who does not hear whom, or not all of it, a line each.
pub fn ways_text((requests, answers): (Reach, Reach), name: &str, out: &mut String) {
    for (what, reach) in [("requests reach it", requests), ("its answers arrive", answers)] {
        if let Some(how) = fares(reach) {
            let _ = writeln!(out, "  {name}: {what} {how}");
        }
    }
}

/// What the loop gives a device, and who hears whom.
pub fn given_text(supplied: &Supplied, ways: (Reach, Reach), name: &str, out: &mut String) {
    let _ = writeln!(out, "  {name}: {}", given(supplied));
    ways_text(ways, name, out);
}

/// The loop of a bench that computes it; `names` are the devices'.
pub fn loop_text(bench: &Bench, names: &[String], out: &mut String) {
    let Some(feeds) = feeds(bench.plan()) else { return };
    let _ = writeln!(out, "\nLoop, {feeds}");
    for (i, (station, name)) in bench.stations().zip(names).enumerate() {
        let Some(supplied) = station.supplied() else { continue };
        given_text(&supplied, bench.reach(i), name, out);
    }
    for remark in remarks(bench.plan(), bench.stations()) {
        let _ = writeln!(out, "  note: {remark}");
    }
}

/// The devices of a bench in this process that begin without power, one a line
pub fn dark_at_first<'a>(stations: impl Iterator<Item = &'a DeviceStation>) -> Vec<String> {
    let dark = |s: &DeviceStation| match s.supplied()?.power {
        Power::Off(_) => Some(format!("{} is {}", super::mock::name(s.device()), given(&s.supplied()?))),
        _ => None,
    };
    stations.filter_map(dark).collect()
}

fn power_word(power: Power) -> &'static str {
    match power {
        Power::On => "on",
        Power::Starting { .. } => "starting",
        Power::Off(_) => "off",
    }
}

/// Volts and milliampere for programs: a millionth of them is below what any of it means, and above what computing leaves.
fn rounded(x: f64) -> f64 {
    let x = (x * 1e6).round() / 1e6;
    // Not -0.
    if x == 0.0 { 0.0 } else { x }
}

/// What the loop gives a device, for programs.
pub fn supplied_json(s: &Supplied) -> Json {
    let (why, again) = match s.power {
        Power::Off(why) => (Some(why.to_string()), why.starts_again()),
        _ => (None, None),
    };
    let card = s.card.map(|c| {
        json!({
            "compliance_v": rounded(c.compliance_v), "needs_v": rounded(c.needs_v),
            "wanted_ma": rounded(c.wanted_a * 1e3), "drives_ma": rounded(c.carried_a * 1e3),
        })
    });
    json!({
        "power": power_word(s.power), "volts_v": rounded(s.volts_v), "current_ma": rounded(s.current_a * 1e3),
        "margin_v": rounded(s.margin_v), "why": why, "starts_again": again, "card": card,
    })
}

/// Puts who hears whom beside what a device has.
fn with_ways(mut of: Json, (requests, answers): (Reach, Reach)) -> Json {
    let way = |r: Reach| json!({"heard": r.heard, "bit_error_rate": r.bit_error_rate});
    if let Json::Object(map) = &mut of {
        map.insert("requests".to_owned(), way(requests));
        map.insert("answers".to_owned(), way(answers));
    }
    of
}

/// What feeds the loop and what it gives each device, in the order of the plan; null where it is not computed.
pub fn loop_json(bench: &Bench) -> Json {
    let Some(wires) = &bench.plan().wires else { return Json::Null };
    let one = |(i, s): (usize, &DeviceStation)| match s.supplied() {
        Some(supplied) => with_ways(supplied_json(&supplied), bench.reach(i)),
        None => Json::Null,
    };
    let devices: Vec<Json> = bench.stations().enumerate().map(one).collect();
    let source = match wires.circuit.source {
        Source::Supply { voltage_v, resistor_ohm, .. } => {
            json!({"kind": "supply", "voltage_v": voltage_v, "resistor_ohm": resistor_ohm})
        }
        Source::Card { compliance_v, .. } => json!({"kind": "card", "compliance_v": compliance_v}),
    };
    // Whoever makes his current himself, or holds one, follows none.
    let follows = |at: &usize| wires.circuit.followers().any(|(n, _)| n == *at);
    let mut devices_of = wires.places.iter().zip(&bench.plan().devices);
    let is_followed = devices_of.any(|(at, d)| d.config.kind.name() == KindName::Positioner && follows(at));
    let wanted_ma = is_followed.then_some(wires.current_ma);
    json!({
        "title": wires.circuit.title, "source": source, "wanted_ma": wanted_ma, "devices": devices,
        "remarks": remarks(bench.plan(), bench.stations()),
    })
}

/// What the loop gives a device now and who hears whom, for programs.
pub fn given_json(at: Instant, supplied: &Supplied, ways: (Reach, Reach), device: usize) -> Json {
    let mut of = with_ways(supplied_json(supplied), ways);
    if let Json::Object(map) = &mut of {
        map.insert("notice".to_owned(), json!("supplied"));
        map.insert("at_s".to_owned(), json!(at.as_secs_f64()));
        map.insert("device".to_owned(), json!(device));
    }
    of
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::{CardDrives, Dark};

    fn has(
        power: Power,
        (volts_v, current_a, margin_v): (f64, f64, f64),
        card: Option<CardDrives>,
    ) -> String {
        given(&Supplied { power, volts_v, current_a, margin_v, card })
    }

    /// A card of 8 V whose device takes 10 V at any current, one of 12.5 V with 100 ohm more than it can feed, one of which
    /// only the signal's peak has no room, and a leak.
    #[test]
    fn a_card_in_words() {
        let card = |compliance_v, needs_v, wanted_a, carried_a| {
            Some(CardDrives { compliance_v, wanted_a, needs_v, carried_a })
        };
        let weak = card(8.0, 10.0, 0.012, 0.0);
        let dark = |current_a, card: Option<CardDrives>| {
            let wanted_a = card.map_or(0.003, |c| c.wanted_a);
            Power::Off(Dark::Current { current_a, needs_a: 0.0036, wanted_a, card })
        };
        assert_eq!(
            has(dark(0.0, weak), (10.0, 0.0, -2.0), weak),
            "without power: 0 mA, it needs 3.6 mA; the card's 8 V carry 0 of 12 mA; this loop needs 10 V at 12 mA; it starts again from \
             3.8 mA"
        );
        let leaks = card(20.0, 10.0, 0.012, 0.012);
        assert_eq!(
            has(dark(0.002, leaks), (10.0, 0.002, 10.0), leaks),
            "without power: 2 mA, it needs 3.6 mA; a leak takes 10 mA; it starts again from 3.8 mA"
        );
        assert_eq!(
            has(dark(0.003, None), (20.0, 0.003, 10.0), None),
            "without power: 3 mA, it needs 3.6 mA; it starts again from 3.8 mA"
        );
        let some = card(12.5, 18.03, 0.02, 0.012_52);
        assert_eq!(
            has(Power::On, (9.6, 0.012_52, -5.6), some),
            "9.6 V at 12.52 mA, the card drives 12.52 of 20 mA: 5.53 V short"
        );
        let all = card(12.5, 12.4, 0.02, 0.02);
        assert_eq!(
            has(Power::On, (10.0, 0.02, -0.22), all),
            "10 V at 20 mA, all 20 mA flow, without room for the signal's peak: 0.22 V short"
        );
        assert_eq!(has(Power::On, (10.0, 0.02, 1.372), all), "10 V at 20 mA, 1.37 V to spare");
    }

    fn remarks_of(text: &str) -> Vec<String> {
        let plan =
            crate::bench::check(text, std::path::Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
        let line = crate::bench::in_process(&plan);
        let stations = line.bus().stations().filter_map(crate::sim::Participant::device);
        remarks(&plan, stations)
    }

    /// Two transmitters in multidrop on a sheet that looprig wiring passes: one of them is in loop current mode. 20 degC of 0 to 100
    /// are 4 + 3.2 mA.
    #[test]
    fn a_transmitter_that_does_not_hold_its_current() {
        let text = |mode: &str, master: &str, holds: &str| {
            format!(
                "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n{master}\
                 [[loop.device]]\ntag = \"TT-1\"\nmin_voltage_v = 10\n{holds}[[loop.device]]\ntag = \"TT-2\"\nmin_voltage_v = 10\n\
                 [[device]]\ntag = \"TT-1\"\nkind = \"temperature\"\n{mode}\n\
                 [[device]]\ntag = \"TT-2\"\nkind = \"temperature\"\ndevice_id = 2\npolling_address = 2\n\
                 loop_current_mode_enabled = false\n[[line]]\nat = \"pty:\"\n"
            )
        };
        let (fixed, master) = ("loop_current_mode_enabled = false\n", "[loop.master]\n");
        assert_eq!(remarks_of(&text(fixed, master, "")), [""; 0]);
        let told = remarks_of(&text("", master, ""));
        assert_eq!(told.len(), 1, "{told:?}");
        for part in [
            "TT-1 is in loop current mode",
            "7.2 mA now",
            "the sheet says 4,",
            "loop_current_mode_enabled = false",
        ] {
            assert!(told[0].contains(part), "{part:?} is missing in {told:?}");
        }
        let told = remarks_of(&text(fixed, master, "holds_ma = 6\n"));
        assert!(told.len() == 1 && told[0].starts_with("TT-1 draws 4 mA, the sheet says 6"), "{told:?}");
        let five = remarks_of(&text("revision = 5\n", master, ""));
        assert!(five.len() == 1 && five[0].contains("give it a polling_address other than 0"), "{five:?}");
        // A master that the sheet does not have.
        let told = remarks_of(&text(fixed, "", ""));
        assert!(
            told.len() == 1 && told[0].starts_with("the sheet has no master; a usual one of 500 mV"),
            "{told:?}"
        );
    }

    #[test]
    fn no_volts_are_left() {
        let dark = Dark::Volts { volts_v: 0.0, peak_v: 0.0, current_a: 0.0072, needs_v: 12.0 };
        assert_eq!(
            has(Power::Off(dark), (20.0, 0.0, 8.0), None),
            "without power: no volts are left at 7.2 mA, it needs 12 V; it starts again from 12.5 V"
        );
    }

    /// What computing leaves behind the sixth digit is not told to programs.
    #[test]
    fn numbers_for_programs() {
        let supplied = Supplied {
            power: Power::On,
            volts_v: 10.000_000_000_050_96,
            current_a: 0.02,
            margin_v: -1e-12,
            card: None,
        };
        let of = supplied_json(&supplied);
        assert_eq!((&of["volts_v"], &of["current_ma"]), (&json!(10.0), &json!(20.0)));
        assert_eq!(of["margin_v"].to_string(), "0.0");
    }

    #[test]
    fn ways_in_words() {
        assert_eq!(fares(Reach::CLEAR), None);
        assert_eq!(fares(Reach::NONE).as_deref(), Some("too weak to be noticed"));
        let rate = |bit_error_rate| fares(Reach { heard: true, bit_error_rate }).unwrap_or_default();
        assert_eq!(rate(0.5), "1 bit in 2 wrong");
        assert_eq!(rate(3.3e-4), "1 bit in 3000 wrong");
        assert_eq!(rate(1e-12), "");
    }
}
