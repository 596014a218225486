//! `looprig ask`: one command to one device, its answer decoded.

use super::args::{AskArgs, HostArgs};
use super::describing::with_line;
use super::lines::{end_on_signal, with_log};
use super::output::{Ended, Failure, Output, say, tell};
use super::silence::nobody;
use super::waiting::{self, waited_text};
use crate::app::command::described::NUMBERS;
use crate::app::command::{Catalogue, CommandSpec, Effect, Revision, UnitFrom};
use crate::app::status::CodeClass;
use crate::capture::Item;
use crate::exchange::view::{Line as ViewLine, Tone, write_value};
use crate::exchange::{Exchange, FieldView};
use crate::frame::PollingAddress;
use crate::host::{Awaited, Device, Host, HostError, To, encode_by, names};
use crate::link::MasterConfig;
use crate::report::table::Table;
use crate::report::{Format, csv, write_item};
use core::fmt::Write;
use core::time::Duration;

/// A plan made from the words behind LINE.
#[derive(Debug, PartialEq, Eq)]
struct Plan {
    to: To,
    command: u8,
    values: Vec<(String, String)>,
}

impl Plan {
    fn parse(words: &[String]) -> Result<Plan, Failure> {
        let usage = "the order is: looprig ask LINE [TO] COMMAND [name=value ...]";
        let fail = |wrong: String| Failure::new("reading the arguments of ask", wrong, usage);
        let is_number = |w: &String| w.parse::<u32>().is_ok();
        let (to, rest) = match words {
            [to, command, ..] if is_number(command) => (To::parse(to).map_err(fail)?, &words[1..]),
            _ => (To::Polling(PollingAddress::default()), words),
        };
        let Some((command, rest)) = rest.split_first() else {
            return Err(fail("no command is given".into()));
        };
        let command = command
            .parse::<u8>()
            .map_err(|_| fail(format!("\"{command}\" is no command number: they go from 0 to 255")))?;
        let mut values: Vec<(String, String)> = Vec::new();
        for word in rest {
            let Some((name, value)) = word.split_once('=') else {
                return Err(fail(format!("\"{word}\" is no name=value")));
            };
            if values.iter().any(|(n, _)| n == name) {
                return Err(fail(format!("{name} is given twice")));
            }
            values.push((name.to_owned(), value.to_owned()));
        }
        Ok(Plan { to, command, values })
    }
}

/// Runs it.
pub fn run(args: &AskArgs, out: &mut Output) -> Result<Ended, Failure> {
    let plan = Plan::parse(&args.words)?;
    let mut catalogue = args.described.load()?;
    // On wires of this process there is nothing that a command could harm [HO-05].
    let harmless = args.line.is_mock();
    if !harmless {
        check_names(&plan, &catalogue)?;
        allow(&plan, args, &catalogue)?;
    }
    let line = args.line.open()?;
    if harmless {
        catalogue = with_line(catalogue, &line)?;
        check_names(&plan, &catalogue)?;
    }
    end_on_signal(line.interrupt_handle())?;
    let server = line.server_said();
    let line = with_log(line, args.host.log.as_deref())?;
    let mut host = Host::new(line, master_config(&args.host)).with_catalogue(catalogue);
    let asking = || format!("asking command {} of {}", plan.command, plan.to);
    let (_, device) = host.find(&plan.to).map_err(|e| host_failure(asking(), e))?;
    let Some(device) = device else {
        tell(&nobody(asking(), &plan.to, server.as_ref()));
        return Ok(Ended::Failed);
    };
    let row = host.spec(&device, plan.command);
    if !harmless && !args.moves {
        match row {
            Some(row) => known_in(row, device.revision, &plan)?,
            None => allow_undescribed(&plan, args, &device)?,
        }
    }
    let data = encode_by(row, device.revision, &plan.values)
        .map_err(|e| values_failure(asking(), &plan, row, device.revision, &e))?;
    let most = Duration::from_secs_f64(args.wait);
    let awaited = waiting::ask(&mut host, &device, plan.command, &data, most, out.quiet, &asking())?;
    waiting::advise(&asking(), &awaited, device.revision, row);
    let exchange = &awaited.exchange;
    let ended = match exchange.tone() {
        Tone::Bad => Ended::Failed,
        _ if waiting::is_later(exchange) => Ended::Failed,
        _ => Ended::Fine,
    };
    show(awaited, &device, out);
    Ok(ended)
}

/// A name that the command has in no revision is told before anything is opened or sent.
fn check_names(plan: &Plan, catalogue: &Catalogue) -> Result<(), Failure> {
    let rows = catalogue.rows(plan.command.into());
    if rows.is_empty() {
        return Ok(());
    }
    let mut has: Vec<String> = Vec::new();
    for row in rows {
        for name in Revision::NEWEST_FIRST.into_iter().flat_map(|r| names(row, r)) {
            if !has.contains(&name) {
                has.push(name);
            }
        }
    }
    let known = |n: &String| n == "data" || has.contains(n);
    let Some((given, _)) = plan.values.iter().find(|(n, _)| !known(n)) else { return Ok(()) };
    let next = match has.is_empty() {
        true => "leave it out, or give octets as data=HEX".to_owned(),
        false => shows(plan, catalogue.rows(plan.command.into()).first().copied(), "each"),
    };
    let e = HostError::Name { given: given.clone(), has };
    Err(Failure::new(format!("asking command {} of {}", plan.command, plan.to), e.to_string(), next))
}

/// Where it is shown what values may be.
fn shows(plan: &Plan, row: Option<&CommandSpec>, which: &str) -> String {
    let described = match (NUMBERS.contains(&plan.command), row) {
        (false, _) => String::new(),
        (true, Some(row)) => format!(" --description {}", row.cites),
        (true, None) => " --description FILE".to_owned(),
    };
    let it = if which.is_empty() { "it" } else { which };
    format!("`looprig explain {}{described}` shows what {it} may be", plan.command)
}

/// A command that no description explains for this very device may do anything, whatever descriptions say of
/// others [HO-05].
fn allow_undescribed(plan: &Plan, args: &AskArgs, device: &Device) -> Result<(), Failure> {
    if !NUMBERS.contains(&plan.command) || args.described.files.is_empty() {
        return Ok(());
    }
    Err(Failure::new(
        format!("asking command {} of {}", plan.command, plan.to),
        format!(
            "the device there is of another type ({}) than those described with this command, so what it does there is \
             not known; it was not asked",
            device.device_type
        ),
        "give the description of this device; add --move if the valve may move",
    ))
}

/// What a command does must have been asked for in so many words [HO-05]. Where several descriptions have it, the one
/// counts by which it does most: what the device says of its type lifts nothing.
fn allow(plan: &Plan, args: &AskArgs, catalogue: &Catalogue) -> Result<(), Failure> {
    let command = plan.command;
    let (effect, name) = match catalogue.rows(command.into()).into_iter().max_by_key(|row| row.effect) {
        Some(s) => (s.effect, s.name),
        None => (Effect::Moves, "whose effect is not known here"),
    };
    let what = format!("asking command {command}, {name}");
    match effect {
        Effect::Reads => return Ok(()),
        Effect::Stops => {}
        Effect::Writes if !(args.write || args.moves) => {
            return Err(Failure::new(
                what,
                "it changes what the device stores, and nobody said that this is wanted",
                "add --write if you may change this device",
            ));
        }
        Effect::Moves if !args.moves => {
            let next = "add --move if the valve may move: loop in manual, process and people clear of it, local rules followed";
            let next = match NUMBERS.contains(&command) && catalogue.rows(command.into()).is_empty() {
                true => format!("name the file that describes it with --description, or {next}"),
                false => next.to_owned(),
            };
            return Err(Failure::new(
                what,
                "it may change what the valve does, and nobody said that this is wanted",
                next,
            ));
        }
        _ => {}
    }
    let values: Vec<String> = plan.values.iter().map(|(n, v)| format!("{n}={v}")).collect();
    let with = if values.is_empty() { String::new() } else { format!(", with {}", values.join(" ")) };
    tell(&format!("command {command}, {name}, goes to {}{with}", plan.to));
    if matches!(effect, Effect::Stops | Effect::Moves) {
        say("  caution: the valve may move; stay clear of stem, lever and linkage");
    }
    Ok(())
}

/// In a revision that does not have it, a command is one that is not known: what a device of that revision makes of its
/// number nobody says [HO-05].
fn known_in(row: &CommandSpec, revision: Revision, plan: &Plan) -> Result<(), Failure> {
    if row.form(revision).is_some() {
        return Ok(());
    }
    Err(Failure::new(
        format!("asking command {}, {}", plan.command, row.name),
        format!(
            "{} speaks revision {revision}, which does not have it: what it does there is not known",
            plan.to
        ),
        "ask a command of that revision (`looprig explain COMMAND` names them), or add --move if the valve may move",
    ))
}

/// How a host is to behave.
pub fn master_config(args: &HostArgs) -> MasterConfig {
    MasterConfig { role: args.master.into(), retries: args.retries, ..MasterConfig::default() }
}

/// A host's error as the command line tells it.
pub fn host_failure(doing: String, e: HostError) -> Failure {
    match e {
        HostError::Line(e) => Failure::from(e),
        // They say themselves what to do next.
        HostError::Stopped(_) | HostError::NoTurn(_) => Failure::new(doing, e.to_string(), ""),
        HostError::Interrupted => {
            Failure::new(doing, "it was interrupted", "start it again; a log, if one was written, is kept")
        }
        HostError::Closed => Failure::new(
            doing,
            e.to_string(),
            "look whether the modem or the mock is still there, then ask again",
        ),
        HostError::Values(_) | HostError::Name { .. } | HostError::Gap { .. } | HostError::TooLong(_) => {
            Failure::new(
                doing,
                e.to_string(),
                "`looprig explain COMMAND` shows the names and kinds of the values",
            )
        }
    }
}

/// Values that make no data, with the names of those that would.
fn values_failure(
    doing: String,
    plan: &Plan,
    row: Option<&CommandSpec>,
    revision: Revision,
    e: &HostError,
) -> Failure {
    let names = row.map(|s| names(s, revision)).unwrap_or_default();
    let next = match names.as_slice() {
        _ if matches!(e, HostError::Gap { .. }) => {
            format!("give both, or neither; {}", shows(plan, row, "each"))
        }
        _ if matches!(e, HostError::Name { has, .. } if !has.is_empty()) => shows(plan, row, "each"),
        [] => "leave the values out, or give octets as data=HEX".to_owned(),
        [name] => {
            format!("its only value is {name}; {}", shows(plan, row, ""))
        }
        names => format!("its values are {}; {}", names.join(", "), shows(plan, row, "each")),
    };
    Failure::new(doing, e.to_string(), next)
}

fn show(awaited: Awaited, device: &Device, out: &mut Output) {
    let options = out.options;
    let waited = waited_text(&awaited);
    let (repeats, waited_s) = (awaited.repeats, awaited.waited.as_secs_f64());
    let exchange = awaited.exchange;
    match options.format {
        Format::Text if options.verbosity == 0 => show_text(&exchange, device, &waited, out.text()),
        Format::Csv => {
            let mut text = csv::HEADER.to_owned();
            write_item(&Item::Exchange(Box::new(exchange)), options, &mut text);
            let waited = format!(",{repeats},{waited_s:.3}\n");
            for (i, row) in text.lines().enumerate() {
                out.text().push_str(row);
                out.text().push_str(if i == 0 { ",repeats,waited_s\n" } else { &waited });
            }
        }
        Format::Json => {
            let mut text = String::new();
            write_item(&Item::Exchange(Box::new(exchange)), options, &mut text);
            // Two more members of the object.
            out.text().push_str(text.trim_end().strip_suffix('}').unwrap_or(&text));
            let _ = writeln!(out.text(), ",\"repeats\":{repeats},\"waited_s\":{waited_s:.3}}}");
        }
        _ => write_item(&Item::Exchange(Box::new(exchange)), options, out.text()),
    }
}

fn show_text(e: &Exchange, device: &Device, waited: &str, out: &mut String) {
    let mut title = format!("Device {}, command {}, {}: ", device.unique, e.command(), e.command_name());
    if e.is_unanswered() {
        let _ = write!(title, "{}", e.transaction.outcome);
    }
    e.write_response(&mut title);
    if e.transaction.retries() > 0 {
        let _ = write!(title, " (try {})", e.transaction.tries.len());
    }
    title.push_str(waited);
    let mut t = Table::new(title, &["value", "reading"]);
    for line in e.lines() {
        let ViewLine::Frame(f) = line else { continue };
        if f.is_request() {
            continue;
        }
        let inside = f.inside();
        let fields: Vec<FieldView<'_>> = f.fields().collect();
        for field in without_units(&fields) {
            let slot = field.found.slot.map_or(String::new(), |s| format!("slot {s} "));
            // What a command that is carried says, in place of its octets.
            let mut carried = inside.iter().filter(|i| i.is_in(field)).peekable();
            if carried.peek().is_none() {
                t.row([format!("{slot}{}", field.found.field.label), value_text(field)]);
            }
            for one in carried {
                t.row([format!("{slot}answer"), one.title()]);
                let fields: Vec<FieldView<'_>> = one.fields().collect();
                for inner in without_units(&fields) {
                    t.row([format!("{slot}{}", inner.found.field.label), value_text(inner)]);
                }
                surplus_row(&slot, one.surplus(), &mut t);
            }
        }
        surplus_row("", f.surplus(), &mut t);
    }
    let mut status = String::new();
    e.write_device_status(&mut status);
    // Of a refusal nothing is shown but what the device reports, if that is anything.
    let told = !status.is_empty() || !t.rows.is_empty() || e.class() != Some(CodeClass::Error);
    if e.device_status().is_some() && told {
        t.row(["device reports", if status.is_empty() { "nothing" } else { &status }]);
    }
    if t.rows.is_empty() {
        let _ = writeln!(out, "{}", t.title);
    } else {
        t.write(Format::Text, out);
    }
}

/// Fields without the unit codes that are shown behind another field's value.
fn without_units<'a, 'd>(fields: &'a [FieldView<'d>]) -> impl Iterator<Item = &'a FieldView<'d>> {
    let unit_of = |(i, f): (usize, &FieldView<'_>)| match f.found.field.unit {
        UnitFrom::Back(n) => i.checked_sub(n.into()),
        UnitFrom::None | UnitFrom::Fixed(_) => None,
    };
    let shown: Vec<usize> = fields.iter().enumerate().filter_map(unit_of).collect();
    fields.iter().enumerate().filter(move |(i, _)| !shown.contains(i)).map(|(_, f)| f)
}

fn value_text(field: &FieldView<'_>) -> String {
    let mut text = String::new();
    write_value(field, &mut text);
    text
}

fn surplus_row(slot: &str, surplus: &[u8], t: &mut Table) {
    if !surplus.is_empty() {
        let octets = surplus.iter().map(|o| format!("{o:02X}")).collect();
        t.row([format!("{slot}data without known meaning"), octets]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(words: &[&str]) -> Result<Plan, Failure> {
        Plan::parse(&words.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>())
    }

    #[test]
    fn the_order_of_words() {
        let zero = To::Polling(PollingAddress::default());
        assert_eq!(plan(&["3"]).expect("a plan"), Plan { to: zero.clone(), command: 3, values: vec![] });
        assert_eq!(plan(&["0", "3"]).expect("a plan"), Plan { to: zero.clone(), command: 3, values: vec![] });
        let tagged = plan(&["tag:FV-3104", "19", "final_assembly_number=7"]).expect("a plan");
        assert_eq!(tagged.to, To::Tag("FV-3104".into()));
        assert_eq!(tagged.values, [("final_assembly_number".to_owned(), "7".to_owned())]);
        for bad in [&[][..], &["x"], &["0", "300"], &["3", "rubbish"], &["64", "3"], &["3", "a=1", "a=2"]] {
            assert!(plan(bad).is_err(), "{bad:?}");
        }
    }
}
