//! The loop of a bench in words and as JSON: what it gives each device, and who loses his power.

use crate::bench::{Bench, BenchPlan};
use crate::line::Reach;
use crate::sim::{DeviceStation, Power, PowerNews, Supplied};
use crate::wiring::Source;
use core::fmt::Write;
use serde_json::{Value as Json, json};

/// A number of volts or milliampere with so many digits as anybody reads.
fn short(x: f64) -> String {
    let text = format!("{x:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
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

/// What the loop gives a device.
pub fn given(s: &Supplied) -> String {
    match s.power {
        Power::Off(why) => format!("without power: {why}"),
        Power::Starting { .. } | Power::On => {
            let (volts, current) = (short(s.volts_v), short(s.current_a * 1e3));
            let starts = if s.power == Power::On { "" } else { ", it starts" };
            match s.margin_v {
                v if v < 0.0 => format!("{volts} V at {current} mA, {} V are missing{starts}", short(-v)),
                v => format!("{volts} V at {current} mA, {} V to spare{starts}", short(v)),
            }
        }
    }
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

/// The loop of a bench that computes it; `names` are the devices'.
pub fn loop_text(bench: &Bench, names: &[String], out: &mut String) {
    let Some(feeds) = feeds(bench.plan()) else { return };
    let _ = writeln!(out, "\nLoop, {feeds}");
    for (i, (station, name)) in bench.stations().zip(names).enumerate() {
        let Some(supplied) = station.supplied() else { continue };
        let _ = writeln!(out, "  {name}: {}", given(&supplied));
        let (requests, answers) = bench.reach(i);
        for (what, reach) in [("requests reach it", requests), ("its answers arrive", answers)] {
            if let Some(how) = fares(reach) {
                let _ = writeln!(out, "  {name}: {what} {how}");
            }
        }
    }
}

/// The devices of a bench in this process that begin without power, one a line
pub fn dark_at_first<'a>(stations: impl Iterator<Item = &'a DeviceStation>) -> Vec<String> {
    let dark = |s: &DeviceStation| match s.supplied()?.power {
        Power::Off(why) => Some(format!("{} is without power: {why}", super::mock::name(s.device()))),
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

fn why(power: Power) -> Option<String> {
    match power {
        Power::Off(why) => Some(why.to_string()),
        _ => None,
    }
}

fn supplied_json(s: &Supplied) -> Json {
    json!({
        "power": power_word(s.power), "volts_v": s.volts_v, "current_ma": s.current_a * 1e3,
        "margin_v": s.margin_v, "why": why(s.power),
    })
}

/// What the loop gives each device, in the order of the plan; null where it is not computed.
pub fn loop_json(bench: &Bench) -> Json {
    if bench.plan().wires.is_none() {
        return Json::Null;
    }
    let way = |r: Reach| json!({"heard": r.heard, "bit_error_rate": r.bit_error_rate});
    let one = |(i, s): (usize, &DeviceStation)| {
        let mut of = s.supplied().as_ref().map_or(Json::Null, supplied_json);
        if let Json::Object(map) = &mut of {
            let (requests, answers) = bench.reach(i);
            map.insert("requests".to_owned(), way(requests));
            map.insert("answers".to_owned(), way(answers));
        }
        of
    };
    bench.stations().enumerate().map(one).collect()
}

/// Power that has gone or come back; nothing where it only has started, for that was told before.
pub fn power_text(news: &PowerNews, name: &str, out: &mut String) {
    let at = news.at.as_secs_f64();
    match news.supplied.power {
        Power::Off(why) => {
            let _ = writeln!(out, "at {at} s: {name} is without power: {why}");
        }
        Power::Starting { until } => {
            let (volts, current) = (short(news.supplied.volts_v), short(news.supplied.current_a * 1e3));
            let works = until.as_secs_f64();
            let _ = writeln!(
                out,
                "at {at} s: {name} has power again, {volts} V at {current} mA; it starts and works from {works} s on"
            );
        }
        Power::On => {}
    }
}

/// What the loop gives a device now, for programs.
pub fn given_json(supplied: &Supplied, device: usize) -> Json {
    let mut of = supplied_json(supplied);
    if let Json::Object(map) = &mut of {
        map.insert("notice".to_owned(), json!("supplied"));
        map.insert("device".to_owned(), json!(device));
    }
    of
}

/// Power that has gone or come back, for programs.
pub fn power_json(news: &PowerNews, device: usize) -> Json {
    let mut of = supplied_json(&news.supplied);
    if let Json::Object(map) = &mut of {
        let until = match news.supplied.power {
            Power::Starting { until } => Some(until.as_secs_f64()),
            _ => None,
        };
        map.insert("notice".to_owned(), json!("power"));
        map.insert("at_s".to_owned(), json!(news.at.as_secs_f64()));
        map.insert("device".to_owned(), json!(device));
        map.insert("works_from_s".to_owned(), json!(until));
    }
    of
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::Dark;
    use crate::time::Instant;

    #[test]
    fn power_in_words() {
        let told = |power, volts_v, current_a| {
            let supplied = Supplied { power, volts_v, current_a, margin_v: 0.0 };
            let mut out = String::new();
            power_text(&PowerNews { at: Instant::from_nanos(1_500_000_000), supplied }, "FV-3104", &mut out);
            out
        };
        let dark = Dark::Volts { volts_v: 9.8004, peak_v: 0.071, current_a: 0.02, needs_v: 10.5 };
        assert_eq!(
            told(Power::Off(dark), 0.0, 0.0),
            "at 1.5 s: FV-3104 is without power: 9.8 V at 20 mA, it needs 10.5 V and 0.07 V for the signal\n"
        );
        let dark = Dark::Current { current_a: 0.003_173_6, needs_a: 0.0036, wanted_a: 0.02 };
        assert_eq!(
            told(Power::Off(dark), 9.0, 0.0),
            "at 1.5 s: FV-3104 is without power: 3.17 mA, it needs 3.6 mA; 20 mA were to flow\n"
        );
        let until = Instant::from_nanos(4_500_000_000);
        assert_eq!(
            told(Power::Starting { until }, 14.2, 0.004),
            "at 1.5 s: FV-3104 has power again, 14.2 V at 4 mA; it starts and works from 4.5 s on\n"
        );
        assert_eq!(told(Power::On, 14.2, 0.004), "");
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
