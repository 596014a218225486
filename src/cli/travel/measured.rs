//! The measurement at stem or shaft, and how far it may be wrong [TV-70].

use crate::cli::output::Failure;
use crate::cli::travel_args::TravelArgs;
use crate::commission::travel::Gauge;
use crate::commission::travel::record::{Measure, Movement};

/// What a length or an angle is in mm or degrees.
const LENGTHS: [(&str, f64); 6] =
    [("mm", 1.0), ("um", 1e-3), ("\u{b5}m", 1e-3), ("\u{3bc}m", 1e-3), ("cm", 10.0), ("in", 25.4)];
const ANGLES: [(&str, f64); 3] = [("deg", 1.0), ("\u{b0}", 1.0), ("degrees", 1.0)];

/// The measurement of these arguments, and a sentence where the error limit on an instrument's label could not be used.
///
/// # Errors
/// What was given is wider than the travel.
pub fn measure(args: &TravelArgs) -> Result<(Option<Measure>, Option<String>), Failure> {
    let Some(spec) = &args.external else { return Ok((None, None)) };
    let gauge = spec.gauge(args.rated_travel);
    let span = (gauge.open - gauge.closed).abs();
    let share = |flag: &str, given: Option<f64>| match given {
        Some(x) if x > span => Err(Failure::new(
            "reading the arguments",
            format!("{flag} {x} is more than all of the travel, {span} {}", gauge.unit),
            format!("give it in {}, as {} shows the travel", gauge.unit, gauge.name),
        )),
        x => Ok(x.map(|x| x / span * 100.0)),
    };
    let resolution_percent = share("--external-resolution", args.external_resolution)?;
    let mut limit_percent = share("--external-limit", args.external_limit)?;
    let instrument = args.instrument.iter().position(|i| i.name.eq_ignore_ascii_case(&gauge.name));
    let mut remark = None;
    // What is given for this very measurement goes before a label.
    if let (None, Some(i)) = (limit_percent, instrument.map(|i| &args.instrument[i]))
        && !i.limit.is_empty()
    {
        match of_label(&i.limit, &gauge, args.rated_travel) {
            Ok(percent) => limit_percent = Some(percent),
            Err(why) => {
                remark = Some(format!(
                    "The error limit of {}, \"{}\", is not used: {why}, or give --external-limit in {}.",
                    i.name, i.limit, gauge.unit
                ));
            }
        }
    }
    Ok((Some(Measure { resolution_percent, limit_percent, instrument, name: gauge.name }), remark))
}

/// An error limit as it stands on a label, in percent of the travel; why not, and what to give, as the middle of a sentence.
fn of_label(label: &str, gauge: &Gauge, rated: Option<(f64, Movement)>) -> Result<f64, String> {
    let no_number = || "write it as a number with its unit, such as 0.02 mm".to_owned();
    let mut text = label.trim().to_lowercase();
    for sign in ["+/-", "+-", "\u{b1}", "<", "max."] {
        text = text.strip_prefix(sign).map(|t| t.trim_start().to_owned()).unwrap_or(text);
    }
    let unit_at =
        text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | ' '))).ok_or_else(no_number)?;
    let (number, unit) = text.split_at(unit_at);
    let number = number.trim().replacen(',', ".", 1).parse::<f64>().ok().filter(|x| *x > 0.0);
    let (number, unit) = (number.ok_or_else(no_number)?, unit.trim());
    let of = |list: &[(&str, f64)], unit: &str| list.iter().find(|u| u.0 == unit).map(|u| u.1);
    let shown = gauge.unit.to_lowercase();
    let span = (gauge.open - gauge.closed).abs();
    let percent = if unit == shown {
        number / span * 100.0
    } else {
        let (list, movement, example) = match (of(&LENGTHS, unit), of(&ANGLES, unit)) {
            (Some(_), _) => (&LENGTHS[..], Movement::Linear, "20mm"),
            (_, Some(_)) => (&ANGLES[..], Movement::PartTurn, "60deg"),
            _ if unit == "%" => {
                return Err("it does not say percent of what: write it in mm or deg".to_owned());
            }
            _ => return Err(no_number()),
        };
        let own = number * of(list, unit).unwrap_or(1.0);
        match (of(list, &shown), rated) {
            (Some(one), _) => own / (span * one) * 100.0,
            (None, Some((travel, is))) if shown == "%" && is == movement => own / travel * 100.0,
            (None, None) if shown == "%" => {
                return Err(format!(
                    "nobody said how far the valve travels: give --rated-travel, such as {example}"
                ));
            }
            _ => return Err(format!("a travel in {} is no travel in {unit}", rated_unit(&shown, rated))),
        }
    };
    match percent {
        p if p <= 100.0 => Ok(p),
        _ => Err("it is more than all of the travel: look at the label again".to_owned()),
    }
}

fn rated_unit(shown: &str, rated: Option<(f64, Movement)>) -> String {
    match rated {
        Some((_, Movement::Linear)) => "mm".to_owned(),
        Some((_, Movement::PartTurn)) => "deg".to_owned(),
        None => shown.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::travel::GaugeSpec;

    /// 0.02 of 20 mm are 0.1 %, 0.3 of 60 degrees 0.5 %, a thousandth of an inch 0.0254 mm.
    #[test]
    fn labels_as_percent_of_travel() {
        let linear = Some((20.0, Movement::Linear));
        let turn = Some((60.0, Movement::PartTurn));
        for (label, gauge, rated, percent) in [
            ("0.02 mm", "dial gauge", linear, 0.1),
            ("0,02mm", "dial gauge", linear, 0.1),
            ("\u{b1} 20 \u{b5}m", "dial gauge", linear, 0.1),
            ("+/-0.02 mm", "dial gauge=0..40mm", None, 0.05),
            ("0.02 mm", "scale=0..100%", linear, 0.1),
            ("0.001 in", "dial gauge", linear, 0.127),
            ("0.3 deg", "protractor", turn, 0.5),
            ("0.3\u{b0}", "protractor=0..60deg", turn, 0.5),
            ("0.5 %", "scale", None, 0.5),
            ("1 turns", "scale=0..20turns", None, 5.0),
        ] {
            let gauge = GaugeSpec::parse(gauge).expect("a gauge").gauge(rated);
            let found = of_label(label, &gauge, rated).unwrap_or_else(|e| panic!("{label}: {e}"));
            assert!((found - percent).abs() < 1e-9, "{label}: {found}");
        }
        for (label, gauge, rated, why) in [
            ("class 2", "dial gauge", linear, "a number with its unit"),
            ("0.02", "dial gauge", linear, "a number with its unit"),
            ("0 mm", "dial gauge", linear, "a number with its unit"),
            ("1.2.3 mm", "dial gauge", linear, "a number with its unit"),
            ("0.02 mm", "dial gauge", None, "--rated-travel, such as 20mm"),
            ("0.3 deg", "protractor", None, "--rated-travel, such as 60deg"),
            ("0.02 mm", "dial gauge", turn, "a travel in deg is no travel in mm"),
            ("0.1 %", "dial gauge", linear, "percent of what"),
            ("21 mm", "dial gauge", linear, "more than all of the travel"),
        ] {
            let gauge = GaugeSpec::parse(gauge).expect("a gauge").gauge(rated);
            let said = of_label(label, &gauge, rated).expect_err(label);
            assert!(said.contains(why), "{label}: {said}");
        }
    }
}
