//! `[[device.burst]]`: what a device sends in bursts from the start [DV-30].

use super::shape::{Number, Whole};
use super::{Fault, number, since, whole, words};
use crate::app::command::Revision;
use crate::device::{
    BURST_MESSAGES, BURST_SLOTS, BurstMessage, BurstTrigger, KindName, burst_commands, burst_messages,
    nearest_period,
};
use schemars::JsonSchema;
use serde::Deserialize;
use toml::Spanned;

/// A message that a device sends in bursts, without being asked, from the moment the bench starts. What its
/// memory file holds goes before it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BurstTable {
    /// Which of its burst messages: 0 to 2 in revision 7; older devices have number 0 alone. Default: the first
    /// that no table before this one has.
    #[schemars(with = "Option<u8>", range(max = 2))]
    pub message: Option<Spanned<Whole>>,
    /// Whether it is sent, or only set up for command 109 to turn on. Default true.
    #[schemars(with = "Option<bool>")]
    pub on: Option<Spanned<bool>>,
    /// The command whose answer it is: 1, 2, 3, 33 or 48; in revision 7 also 9. Default 1.
    #[schemars(with = "Option<u8>")]
    pub command: Option<Spanned<Whole>>,
    /// Of commands 9 and 33: codes of the variables. A positioner has 0 to 3 and 244 to 249, a temperature transmitter 0,
    /// 1 and 244 to 247. Up to 8, in 33 and before revision 7 up to 4. Default all of 0 to 3 that the device has.
    #[schemars(with = "Option<Vec<u8>>", length(min = 1, max = 8))]
    pub variables: Option<Spanned<Vec<Spanned<Whole>>>>,
    /// Revision 7: from the beginning of one to the beginning of the next, s: 0.25, 0.5, 1, 2, 4, 8, 16, 32, or 60
    /// to 3600; where the wires are slower they set the pace. The pace of the bench does not scale it. Default 1;
    /// older devices send as often as the wires allow, but not twice in 0.25 s.
    #[schemars(with = "Option<f64>", range(min = 0.25, max = 3600.0))]
    pub update_period_s: Option<Spanned<Number>>,
    /// Revision 7: the same while the trigger says no. Default 60, or the update period if that is longer.
    #[schemars(with = "Option<f64>", range(min = 0.25, max = 3600.0))]
    pub maximum_update_period_s: Option<Spanned<Number>>,
    /// Revision 7: "continuous"; "window" (the first variable has gone away from what was sent last by more than
    /// the level), "rising" (it is above the level), "falling" (below), "on change". Default "continuous".
    #[schemars(with = "Option<TriggerWord>")]
    pub trigger: Option<Spanned<String>>,
    /// Of "window", "rising", "falling": the level, in the unit in which the first variable is delivered: %, degrees,
    /// bar or mA, of a temperature transmitter degC, % or mA.
    #[schemars(with = "Option<f64>")]
    pub level: Option<Spanned<Number>>,
}

/// When a burst message is sent at its update period.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum TriggerWord {
    /// Always.
    Continuous,
    /// When the first variable has gone away from what was sent last by more than the level.
    Window,
    /// While it is above the level.
    Rising,
    /// While it is below the level.
    Falling,
    /// When it is not what was sent last.
    #[schemars(rename = "on change")]
    OnChange,
}

/// Modes as the file names them [TB-18].
const TRIGGERS: [(&str, u8); 5] =
    [("continuous", 0), ("window", 1), ("rising", 2), ("falling", 3), ("on change", 4)];

/// The messages of a device.
pub(super) fn bursts(
    tables: &[Spanned<BurstTable>],
    kind: KindName,
    revision: Revision,
    messages: &mut [BurstMessage; BURST_MESSAGES],
) -> Result<(), Fault> {
    let has = burst_messages(revision);
    let mut set = [false; BURST_MESSAGES];
    for table in tables {
        let t = table.get_ref();
        let at = t.message.as_ref().map_or(table.span(), Spanned::span);
        let free = set.iter().take(has).position(|s| !s);
        let number = match (&t.message, free) {
            (Some(n), _) => whole(n, "message", 0..=has as i64 - 1).map_err(|mut f| {
                f.right = format!("{}: a device of revision {revision} has no more", f.right);
                f
            })?,
            (None, Some(free)) => free,
            (None, None) => {
                let wrong = format!("a device of revision {revision} has no burst message more than {has}");
                return Err(Fault::new(&at, wrong, "leave this table out"));
            }
        };
        if core::mem::replace(&mut set[number], true) {
            let wrong = format!("this device has a burst message {number} already");
            return Err(Fault::new(&at, wrong, "give every table a message of its own"));
        }
        messages[number] = message(table, kind, revision)?;
    }
    Ok(())
}

fn message(table: &Spanned<BurstTable>, kind: KindName, revision: Revision) -> Result<BurstMessage, Fault> {
    let t = table.get_ref();
    let mut m =
        BurstMessage { on: t.on.as_ref().is_none_or(|on| *on.get_ref()), ..BurstMessage::of_kind(kind) };
    if let Some(n) = &t.command {
        let found = burst_commands(revision).find(|&c| i128::from(c) == n.get_ref().0);
        m.command = found.ok_or_else(|| {
            let all: Vec<String> = burst_commands(revision).map(|c| c.to_string()).collect();
            let wrong =
                format!("a device of revision {revision} does not send command {} in bursts", n.get_ref().0);
            Fault::new(&n.span(), wrong, format!("give one of {}", all.join(", ")))
        })?;
    }
    if let Some(codes) = &t.variables {
        variables(codes, kind, revision, &mut m)?;
    }
    for (given, key) in [
        (t.update_period_s.as_ref().map(|n| n.span()), "update_period_s"),
        (t.maximum_update_period_s.as_ref().map(|n| n.span()), "maximum_update_period_s"),
        (t.trigger.as_ref().map(|n| n.span()), "trigger"),
        (t.level.as_ref().map(|n| n.span()), "level"),
    ] {
        if let Some(span) = given {
            since(&Spanned::new(span, ()), key, revision, Revision::R7)?;
        }
    }
    if let Some(n) = &t.update_period_s {
        m.update_period = period(n, "update_period_s")?;
    }
    m.maximum_update_period = match &t.maximum_update_period_s {
        None => m.maximum_update_period.max(m.update_period),
        Some(n) => match period(n, "maximum_update_period_s")? {
            longest if longest >= m.update_period => longest,
            _ => {
                let wrong = "maximum_update_period_s is below the update period";
                return Err(Fault::new(&n.span(), wrong, "give it the same or a longer time"));
            }
        },
    };
    m.trigger = trigger(table, kind, &m)?;
    Ok(m)
}

fn variables(
    codes: &Spanned<Vec<Spanned<Whole>>>,
    kind: KindName,
    revision: Revision,
    m: &mut BurstMessage,
) -> Result<(), Fault> {
    let most = match (m.command, revision) {
        (9, _) => BURST_SLOTS,
        (33, _) => 4,
        (other, _) => {
            let wrong = format!("a burst of command {other} has no variables to choose");
            return Err(Fault::new(&codes.span(), wrong, "leave variables out, or give command = 9 or 33"));
        }
    };
    let list = codes.get_ref();
    if list.is_empty() || list.len() > most {
        let wrong = format!("{} variables are chosen", list.len());
        return Err(Fault::new(&codes.span(), wrong, format!("give 1 to {most} of them")));
    }
    m.variables = [250; BURST_SLOTS];
    for (to, code) in m.variables.iter_mut().zip(list) {
        let names = kind.variables();
        let last = 245 + kind.dynamic_variables() as u8;
        let has = |n: &u8| usize::from(*n) < names.len() || (244..=last).contains(n);
        let n = u8::try_from(code.get_ref().0).ok().filter(has);
        *to = n.ok_or_else(|| {
            let wrong = format!("the device has no variable {}", code.get_ref().0);
            let own: Vec<String> = names.iter().enumerate().map(|(i, name)| format!("{i} {name}")).collect();
            let right = format!(
                "give {}, 244 percent of range, 245 loop current, or 246 to {last} for PV to {}",
                own.join(", "),
                if last == 249 { "QV" } else { "SV" }
            );
            Fault::new(&code.span(), wrong, right)
        })?;
    }
    Ok(())
}

/// A period that a device offers, in 1/32 ms.
fn period(n: &Spanned<Number>, key: &str) -> Result<u32, Fault> {
    let s = number(n, key, "s", 0.25..=3600.0)?;
    let units = (s * 32_000.0).round() as u32;
    let used = nearest_period(units);
    if used == units {
        return Ok(units);
    }
    let wrong = format!("no device offers {s} s as {key}");
    let right =
        format!("give {} s, or one of 0.25, 0.5, 1, 2, 4, 8, 16, 32, 60 to 3600", f64::from(used) / 32_000.0);
    Err(Fault::new(&n.span(), wrong, right))
}

fn trigger(table: &Spanned<BurstTable>, kind: KindName, m: &BurstMessage) -> Result<BurstTrigger, Fault> {
    let t = table.get_ref();
    let mode = t.trigger.as_ref().map_or(Ok(0), |word| words::one_of(word, "trigger", &TRIGGERS))?;
    let level = match (&t.level, mode) {
        (None, 0 | 4) => {
            return Ok(if mode == 0 { BurstTrigger::CONTINUOUS } else { BurstTrigger::ON_CHANGE });
        }
        (Some(level), 0 | 4) => {
            let right = "leave level out, or give trigger = \"window\", \"rising\" or \"falling\"";
            return Err(Fault::new(&level.span(), "this trigger has no level", right));
        }
        (None, _) => {
            let at = t.trigger.as_ref().map_or(table.span(), Spanned::span);
            return Err(Fault::new(&at, "this trigger needs a level", "give level, such as level = 5"));
        }
        (Some(level), _) => level,
    };
    let least = if mode == 1 { 0.0 } else { f64::from(f32::MIN) };
    let value = number(level, "level", "", least..=f64::from(f32::MAX))?;
    m.trigger_at(kind, mode, value as f32).ok_or_else(|| {
        let wrong = format!("a burst of command {} has no first variable to compare with a level", m.command);
        let right = "leave level out, and give trigger = \"continuous\" or \"on change\"";
        Fault::new(&level.span(), wrong, right)
    })
}
