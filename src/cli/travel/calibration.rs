//! What a device tells of its own calibration: that it has none yet, and what came of the last one [TV-20].

use crate::app::command::described::{Element, Part};
use crate::app::command::{Effect, Value};
use crate::cli::output::Failure;
use crate::commission::travel::{Reading, Readings};
use crate::exchange::{Exchange, FieldView};
use crate::host::{Ask, Device, HostError};

/// The state of a device that does not know its end stops, as descriptions word it.
const NEVER: &str = "never calibrated";
/// What a result of a calibration has, by the names that descriptions give.
const LEARNED: [&str; 2] = ["lever_angle_closed", "lever_angle_open"];
/// What starts one.
const START: &str = "calibration";

/// Whether the device has no travel to tell because nobody has calibrated it yet.
///
/// # Errors
/// The host cannot ask.
pub fn is_missing(ask: &mut dyn Ask, device: &Device, readings: &Readings) -> Result<bool, HostError> {
    let source = &readings.travel.source;
    let exchange = ask.ask_octets(device, source.command(device), source.data())?;
    let says = |f: FieldView| f.text().contains(NEVER);
    Ok(readings.travel.number(&exchange).is_none() && exchange.fields_of_reply().any(says))
}

/// Whether what was named is told at all; `None`: it is, or nobody can say.
///
/// # Errors
/// The host cannot ask.
pub fn not_told(
    ask: &mut dyn Ask,
    device: &Device,
    (option, reading): (&str, &Reading),
) -> Result<Option<Failure>, HostError> {
    let source = &reading.source;
    let exchange = ask.ask_octets(device, source.command(device), source.data())?;
    if exchange.is_unanswered() || source.found(&exchange).is_some() {
        return Ok(None);
    }
    let mut names: Vec<String> = exchange.fields_of_reply().map(|f| f.found.name().to_string()).collect();
    names.dedup();
    let command = source.command(device);
    let next = match names.is_empty() {
        true => {
            "name another, or leave it out; a device type's own commands need --description FILE".to_owned()
        }
        false => format!("it tells {}: name one of these, or another command", names.join(", ")),
    };
    let doing = format!("looking for {option} {source}");
    Ok(Some(Failure::new(doing, format!("command {command} of this device tells no such value"), next)))
}

/// That a test needs a calibration first, and how it gets one.
pub fn missing(
    ask: &dyn Ask,
    device: &Device,
    line: &str,
    (is_mock, says_calibrated): (bool, bool),
) -> Failure {
    if says_calibrated {
        return Failure::new(
            format!("looking at the travel of the device on {line}"),
            "the bench says calibrated = true, and its calibration found no end stops: with this air, spring and friction the valve does not come to both ends",
            "give the bench more air (supply_pressure_bar below [device.air], header_bar below [device.valve.supply]) or less friction",
        );
    }
    let commands = ask.described(device).map_or(&[][..], |d| &d.description().commands);
    let starts = commands.iter().find(|c| c.effect == Effect::Moves && has(&c.request, START));
    let by_command = starts.map_or(String::new(), |c| {
        format!(
            "by its command: `looprig ask LINE TO {} --move --description FILE.toml` says which kinds there are; or ",
            c.number
        )
    });
    let bench = match is_mock {
        true => "; a bench has a calibrated one with calibrated = true below [device.positioner]",
        false => "",
    };
    Failure::new(
        format!("looking at the travel of the device on {line}"),
        "it was never calibrated, so it does not know its end stops and tells no travel yet",
        format!(
            "calibrate it first, which strokes the valve, {by_command}by its keys; `looprig worksheet calibration` has the cautions and \
             the steps{bench}"
        ),
    )
}

/// What came of the last calibration in the device's own words; `None`: its type has no command that tells it, or it does not answer.
///
/// # Errors
/// The host cannot ask.
pub fn told(ask: &mut dyn Ask, device: &Device) -> Result<Option<String>, HostError> {
    let commands = ask.described(device).map_or(&[][..], |d| &d.description().commands);
    let reads = commands.iter().find(|c| {
        let learned = LEARNED.iter().all(|name| has(&c.reply, name));
        c.effect == Effect::Reads && c.request.is_empty() && learned && has(&c.reply, START)
    });
    let Some(number) = reads.map(|c| c.number) else { return Ok(None) };
    let exchange = ask.ask_octets(device, number, Vec::new())?;
    Ok(words(&exchange))
}

fn words(exchange: &Exchange) -> Option<String> {
    let all: Vec<String> = exchange
        .fields_of_reply()
        .map(|f| format!("{} {}", f.found.name().to_string().replace('_', " "), known(&f)))
        .collect();
    (!all.is_empty()).then(|| all.join("; "))
}

/// A value as its device tells it; what it does not know is no date of 1900 and no number [DV-24].
fn known(field: &FieldView) -> String {
    match field.found.value(field.data) {
        Value::Date(date) if date.to_bytes()[2] == 0 => {
            "not known: the device's clock was not set".to_owned()
        }
        Value::Float(bits) if f32::from_bits(bits).is_nan() => "not known".to_owned(),
        Value::Float(_) => rounded(&field.text()),
        _ => field.text(),
    }
}

/// A number with its unit, in the digits that mean something: four from the first that is no nought.
fn rounded(text: &str) -> String {
    let (number, unit) = text.split_once(' ').unwrap_or((text, ""));
    let Ok(x) = number.parse::<f64>() else { return text.to_owned() };
    let whole = if x == 0.0 { 1.0 } else { x.abs().log10().floor() + 1.0 };
    let digits = (SIGNIFICANT - whole).clamp(0.0, MOST_DIGITS) as usize;
    format!("{x:.digits$} {unit}").trim_end().to_owned()
}

/// Digits that mean something in what a calibration tells (own choice), and digits behind the point at most.
const SIGNIFICANT: f64 = 4.0;
const MOST_DIGITS: f64 = 6.0;

fn has(list: &[Element], name: &str) -> bool {
    let is = |p: &Part| p.name == name;
    list.iter().any(|e| matches!(e, Element::Value(p) if is(p)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_that_mean_something() {
        for (told, right) in [
            ("-30.0002 deg", "-30.00 deg"),
            ("0.0419303 bar", "0.04193 bar"),
            ("4.13072 s", "4.131 s"),
            ("123456 Pa", "123456 Pa"),
            ("0 %", "0.000 %"),
            ("done", "done"),
        ] {
            assert_eq!(rounded(told), right);
        }
    }
}
