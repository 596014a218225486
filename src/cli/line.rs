//! `looprig line`: what a line and the modem behind it can do and tell.

use super::args::LineArgs;
use super::ask::host_failure;
use super::lines::end_on_signal;
use super::output::{Ended, Failure, Output, say};
use crate::frame::{Capabilities, PollingAddress};
use crate::host::Host;
use crate::line::{EchoUse, ErrorCounts, Event, Line, PortStatus};
use crate::link::MasterConfig;
use crate::report::Format;
use crate::report::table::Table;
use crate::report::text::write_wrapped;
use core::fmt::Write;
use core::time::Duration;

/// Whom the only frame goes to: the last polling address, at which hardly anything is.
const NOBODY: u8 = 63;

/// What kind of line it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Serial,
    Pty,
    Tcp,
    /// Mock devices in this process.
    Simulated,
}

/// What was found out.
struct Findings {
    kind: Kind,
    status: Option<PortStatus>,
    capabilities: Capabilities,
    /// How long was listened.
    listened: Duration,
    octets: usize,
    damaged: usize,
    /// Whether carrier detect was on at every look.
    carrier_always: bool,
    carrier_at_end: Option<bool>,
    /// Whether a frame was sent.
    sent: bool,
}

/// What a row comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Verdict {
    Fine,
    /// Nothing to judge, by what was asked for.
    Note,
    /// Cannot be judged on this line.
    Unknown,
    Wrong,
}

impl Verdict {
    const fn word(self) -> &'static str {
        match self {
            Verdict::Fine => "fine",
            Verdict::Note => "note",
            Verdict::Unknown => "cannot tell",
            Verdict::Wrong => "wrong",
        }
    }
}

struct Check {
    name: &'static str,
    verdict: Verdict,
    result: String,
    meaning: &'static str,
    next: &'static str,
}

/// Opens the line, listens, sends one frame if allowed to, and tells.
pub fn run(args: &LineArgs, out: &mut Output) -> Result<Ended, Failure> {
    let mut line = args.line.open()?;
    end_on_signal(line.interrupt_handle())?;
    if !out.quiet {
        say(&format!("Listening on {} for {} s.", line.describe(), args.seconds));
    }
    let begun = line.now();
    let until = begun + Duration::from_secs_f64(args.seconds);
    let (mut octets, mut damaged) = (0, 0);
    let mut carrier_always = true;
    loop {
        carrier_always &= line.status().is_some_and(|s| s.carrier == Some(true) && s.carrier_falls == 0);
        let now = line.now();
        if now >= until {
            break;
        }
        match line.wait(Some(until))? {
            Event::Octets(heard) => {
                octets += heard.len();
                damaged += heard.iter().filter(|o| !o.marks.is_empty()).count();
            }
            Event::Interrupted => break,
            Event::Closed => {
                return Err(Failure::new(
                    format!("checking {}", line.describe()),
                    "the line was closed at the other end",
                    "start the other end again, or look at the adapter's plug",
                ));
            }
            Event::Sent { .. } | Event::NoAnswer { .. } | Event::TimeOut => {}
        }
    }
    let listened = line.now().since(begun);
    let carrier_at_end = line.status().and_then(|s| s.carrier);
    let name = line.describe();
    let kind = match (line.is_simulated(), line.is_pty(), line.status()) {
        (true, ..) => Kind::Simulated,
        (_, true, _) => Kind::Pty,
        (_, _, Some(_)) => Kind::Serial,
        (_, _, None) => Kind::Tcp,
    };
    let mut host = Host::new(line, MasterConfig::default());
    if args.send {
        if !out.quiet {
            say(&format!(
                "Sending one frame: command 0, who is there, to polling address {NOBODY}, as secondary master. It changes nothing."
            ));
        }
        if let Some(address) = PollingAddress::new(NOBODY) {
            host.poll(address, Some(0)).map_err(|e| host_failure(format!("checking {name}"), e))?;
        }
    }
    let line = host.line_mut();
    let findings = Findings {
        kind,
        status: line.status(),
        capabilities: line.capabilities(),
        listened,
        octets,
        damaged,
        carrier_always,
        carrier_at_end,
        sent: args.send,
    };
    let checks = judge(&findings);
    write(&name, &checks, out);
    Ok(ended(&checks))
}

fn ended(checks: &[Check]) -> Ended {
    match checks.iter().map(|c| c.verdict).max() {
        Some(Verdict::Wrong) => Ended::Failed,
        Some(Verdict::Unknown) => Ended::CouldNot,
        _ => Ended::Fine,
    }
}

fn write(name: &str, checks: &[Check], out: &mut Output) {
    if out.options.format != Format::Text {
        let mut table = Table::new("", &["check", "verdict", "result", "meaning", "next"]);
        for c in checks {
            table.row([c.name, c.verdict.word(), &c.result, c.meaning, c.next]);
        }
        let format = out.options.format;
        table.write(format, out.text());
        return;
    }
    let text = out.text();
    let _ = writeln!(text, "{name}\n");
    for c in checks {
        write_wrapped(&format!("  {:<12} {:<17} {}", c.verdict.word(), c.name, c.result), 33, text);
        write_wrapped(&format!("{:33}{}", "", c.meaning), 33, text);
        if !c.next.is_empty() {
            write_wrapped(&format!("{:33}next: {}", "", c.next), 33, text);
        }
    }
}

const REAL: &str = "to check a modem, name its serial port";

/// One row for each thing that can be known, in the order in which one would look at them.
fn judge(f: &Findings) -> Vec<Check> {
    let mut checks = Vec::new();
    let mut add = |name, verdict, result: String, meaning, next| {
        checks.push(Check { name, verdict, result, meaning, next });
    };
    let (kind, meaning, next) = match f.kind {
        Kind::Serial => ("serial port", "a modem may be behind it", ""),
        Kind::Pty => (
            "pseudo-terminal",
            "it carries octets between two programs of this machine; there is no modem behind it",
            REAL,
        ),
        Kind::Tcp => (
            "a network: TCP or HART-IP",
            "a port and a modem may be at the other end; nothing is told of them here",
            "where the modem's port is, run looprig line with that port's name",
        ),
        Kind::Simulated => {
            ("simulated", "mock devices in this process, on virtual time; no port, no modem", REAL)
        }
    };
    add("kind", Verdict::Note, kind.into(), meaning, next);
    let parity = f.status.is_some_and(|s| s.parity_kept);
    match (parity, f.kind) {
        (true, _) => add(
            "settings",
            Verdict::Fine,
            "1200 bit/s, 8 data bits, odd parity, 1 stop bit are kept; errors are marked".into(),
            "octets with a wrong parity bit are seen",
            "",
        ),
        (_, Kind::Pty) => add(
            "settings",
            Verdict::Unknown,
            "no parity".into(),
            "a pseudo-terminal drops parity without a word: whether a program sets it right cannot be seen here",
            REAL,
        ),
        (_, Kind::Simulated) => add(
            "settings",
            Verdict::Note,
            "simulated".into(),
            "octets with a wrong parity bit are seen, and pauses inside a frame",
            "",
        ),
        (_, Kind::Tcp) => add(
            "settings",
            Verdict::Unknown,
            "no parity".into(),
            "a network carries no parity bits: octets with a wrong one are not told from good ones",
            "",
        ),
        _ => add(
            "settings",
            Verdict::Unknown,
            "1200 8O1 is kept, errors are not marked".into(),
            "octets with a wrong parity bit are not told from good ones; the check byte of a frame still is",
            "on Linux errors are marked: use that, or live with it",
        ),
    }
    match f.status {
        Some(s) if s.lines_moved > 0 => add(
            "modem lines",
            Verdict::Wrong,
            format!("another program moved them {} times", s.lines_moved),
            "they were put back, but each time the modem's carrier may have come or gone",
            "find out what else opens this port (`fuser` or `lsof` with its name) and end it",
        ),
        Some(s) if s.rts_line => {
            add(
                "modem lines",
                Verdict::Fine,
                format!(
                    "request-to-send and data-terminal-ready{}",
                    if s.carrier.is_some() { ", carrier detect" } else { "" }
                ),
                "the port has them; whether the modem uses them only the modem's manual says",
                "",
            );
        }
        _ if f.kind == Kind::Simulated => {}
        _ => add(
            "modem lines",
            Verdict::Unknown,
            "none".into(),
            "nothing keys a carrier here and none is detected: how a program handles the lines cannot be seen",
            match f.kind {
                Kind::Serial => "use a port that has them if the modem needs request-to-send",
                Kind::Pty => REAL,
                Kind::Tcp | Kind::Simulated => "",
            },
        ),
    }
    if let Some(s) = f.status.filter(|s| s.rts_line) {
        let (result, meaning) = match s.end_told {
            true => ("told", "request-to-send goes off when the driver says that the last bit has left"),
            false => (
                "computed",
                "the driver does not say when the last bit has left: request-to-send stays on a little longer, \
                 and where an adapter is late nevertheless, the last octet may lose its carrier",
            ),
        };
        let verdict = if s.end_told { Verdict::Fine } else { Verdict::Note };
        add("end of sending", verdict, result.into(), meaning, "");
    }
    carrier(f, &mut add);
    if f.octets == 0 {
        add(
            "octets heard",
            Verdict::Note,
            format!("none in {:.1} s", f.listened.as_secs_f64()),
            "nobody talks, or nothing arrives",
            "",
        );
    } else if f.damaged == 0 {
        add(
            "octets heard",
            Verdict::Fine,
            f.octets.to_string(),
            "something talks on the line, without errors that are seen here",
            "",
        );
    } else {
        add(
            "octets heard",
            Verdict::Wrong,
            format!("{}, {} of them with errors", f.octets, f.damaged),
            "noise, two that talk at once, or a level that is too low",
            "look at resistance and wiring of the loop, and at the modem's clips; `looprig listen -v` shows the octets",
        );
    }
    if f.kind == Kind::Serial {
        counted(f.status.and_then(|s| s.errors), &mut add);
    }
    let echoes = f.status.map_or(0, |s| s.echoes);
    let ignored = f.status.is_some_and(|s| s.echo == EchoUse::Off);
    let promised = f.status.is_some_and(|s| s.echo == EchoUse::On);
    match (f.sent, echoes) {
        (true, 1..) if ignored => add(
            "echo",
            Verdict::Wrong,
            "our frame came back whole".into(),
            "it would be taken for the frame of another master with our bit",
            "give echo=on behind the line",
        ),
        (false, _) => add(
            "echo",
            Verdict::Note,
            "not tried".into(),
            "only sending shows whether the modem gives back what is sent",
            "--send allows one harmless frame",
        ),
        (true, 0) if promised => add(
            "echo",
            Verdict::Wrong,
            "none, although echo=on says that there is one".into(),
            "a frame of another master with our bit could be taken for our own",
            "leave echo=on out",
        ),
        (true, 0) => {
            add("echo", Verdict::Fine, "none".into(), "what we send does not come back, or not whole", "")
        }
        (true, _) => add(
            "echo",
            Verdict::Fine,
            "our frame came back whole".into(),
            "the modem echoes; it is told apart and not taken for another master",
            "",
        ),
    }
    let low_latency = f.status.is_some_and(|s| s.low_latency);
    let (verdict, result, meaning) = match (f.kind, low_latency) {
        (Kind::Pty | Kind::Tcp | Kind::Simulated, _) => {
            (Verdict::Note, "does not apply", "there is no adapter at this end")
        }
        (Kind::Serial, true) => {
            (Verdict::Fine, "accepted", "the adapter says that it hands octets on at once")
        }
        (Kind::Serial, false) => (
            Verdict::Note,
            "not offered",
            "the adapter may collect octets before it hands them on: times are less certain, nothing else",
        ),
    };
    add("low latency", verdict, result.into(), meaning, "");
    let ms = f.capabilities.stamp_error.as_millis();
    let judged = "pauses inside a frame are judged";
    let not = "no time on this line is taken for more exact; pauses inside a frame are not judged";
    add("stamp error", Verdict::Note, format!("{ms} ms"), if ms == 0 { judged } else { not }, "");
    checks
}

type Add<'a> = &'a mut dyn FnMut(&'static str, Verdict, String, &'static str, &'static str);

/// What the driver has counted besides what was marked.
fn counted(errors: Option<ErrorCounts>, add: Add<'_>) {
    const NAME: &str = "error counters";
    match errors {
        None => add(
            NAME,
            Verdict::Note,
            "not told".into(),
            "the driver does not count errors, or does not say: parity and framing errors are not told apart, \
             and lost octets are not noticed as such",
            "",
        ),
        Some(e) if e.overrun > 0 => add(
            NAME,
            Verdict::Wrong,
            e.to_string(),
            "octets were lost in the port before they could be read",
            "plug the adapter in without a hub, or use another one",
        ),
        Some(e) => add(
            NAME,
            Verdict::Fine,
            e.to_string(),
            "the driver counts errors: they are told apart where only one kind comes at a time",
            "",
        ),
    }
}

fn carrier(f: &Findings, add: Add<'_>) {
    const NAME: &str = "carrier detect";
    let (Some(on), Some(status)) = (f.carrier_at_end, f.status) else {
        if f.kind == Kind::Serial {
            add(NAME, Verdict::Note, "no such line".into(), "nothing is concluded from a carrier", "");
        }
        return;
    };
    if on && f.carrier_always && f.octets == 0 {
        add(
            NAME,
            Verdict::Wrong,
            format!("on for all of {:.1} s, and no octet came", f.listened.as_secs_f64()),
            "it is stuck, or something sends a bare carrier: nobody else gets a turn",
            "take the modem off the loop: if it stays on, it is the modem or its cable; if not, look for what sends",
        );
    } else if status.carrier_falls > 0 || status.carrier_rises > 0 {
        add(
            NAME,
            Verdict::Fine,
            format!("came {} times, went {} times", status.carrier_rises, status.carrier_falls),
            "the modem detects a carrier, and its end",
            "",
        );
    } else if on {
        add(
            NAME,
            Verdict::Note,
            "on all the time, and octets came".into(),
            "the line says nothing: it may be wired to be on",
            "",
        );
    } else {
        add(
            NAME,
            Verdict::Note,
            "off all the time".into(),
            if f.octets == 0 {
                "nobody sends, or the line is not connected"
            } else {
                "octets came without it: it is not connected"
            },
            "",
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::StampUnit;

    fn modem() -> Findings {
        let stamp_error = Duration::from_millis(5);
        Findings {
            kind: Kind::Serial,
            status: Some(PortStatus {
                parity_kept: true,
                rts_line: true,
                dtr_line: true,
                lines_moved: 0,
                end_told: true,
                carrier: Some(false),
                carrier_rises: 2,
                carrier_falls: 2,
                carrier_stuck: false,
                low_latency: true,
                stamp_error,
                echoes: 1,
                echo: EchoUse::Auto,
                errors: Some(ErrorCounts::default()),
            }),
            capabilities: Capabilities {
                unit: StampUnit::Octets,
                stamp_error,
                parity_seen: true,
                carrier_seen: true,
                echo: false,
            },
            listened: Duration::from_secs(3),
            octets: 30,
            damaged: 0,
            carrier_always: false,
            carrier_at_end: Some(false),
            sent: true,
        }
    }

    fn verdict(f: &Findings, name: &str) -> (Verdict, String) {
        let checks = judge(f);
        let check = checks.iter().find(|c| c.name == name).expect(name);
        (check.verdict, check.result.clone())
    }

    #[test]
    fn good_modem() {
        assert_eq!(ended(&judge(&modem())), Ended::Fine);
        assert_eq!(verdict(&modem(), "echo"), (Verdict::Fine, "our frame came back whole".into()));
        assert_eq!(verdict(&modem(), "stamp error").1, "5 ms");
    }

    #[test]
    fn stuck_carrier_and_errors_are_wrong() {
        let mut f = modem();
        (f.carrier_always, f.carrier_at_end, f.octets) = (true, Some(true), 0);
        assert_eq!(verdict(&f, "carrier detect").0, Verdict::Wrong);
        assert_eq!(ended(&judge(&f)), Ended::Failed);
        // While octets come it is no proof.
        let mut f = Findings { octets: 10, ..f };
        if let Some(s) = &mut f.status {
            (s.carrier_rises, s.carrier_falls) = (0, 0);
        }
        assert_eq!(verdict(&f, "carrier detect").0, Verdict::Note);
        assert_eq!(ended(&judge(&Findings { damaged: 1, ..modem() })), Ended::Failed);
    }

    #[test]
    fn echo_that_is_not_reckoned_with_is_wrong() {
        let mut f = modem();
        if let Some(s) = &mut f.status {
            s.echo = EchoUse::Off;
        }
        assert_eq!(verdict(&f, "echo").0, Verdict::Wrong);
        if let Some(s) = &mut f.status {
            s.echoes = 0;
        }
        assert_eq!(verdict(&f, "echo").0, Verdict::Fine);
        if let Some(s) = &mut f.status {
            s.echo = EchoUse::On;
        }
        assert_eq!(verdict(&f, "echo").0, Verdict::Wrong);
        if let Some(s) = &mut f.status {
            s.echoes = 1;
        }
        assert_eq!(verdict(&f, "echo").0, Verdict::Fine);
    }

    #[test]
    fn an_end_that_is_only_computed_is_said() {
        let mut f = modem();
        assert_eq!(verdict(&f, "end of sending"), (Verdict::Fine, "told".into()));
        if let Some(s) = &mut f.status {
            s.end_told = false;
        }
        assert_eq!(verdict(&f, "end of sending"), (Verdict::Note, "computed".into()));
    }

    #[test]
    fn silence_is_no_fault() {
        let mut f = Findings { octets: 0, sent: false, ..modem() };
        if let Some(s) = &mut f.status {
            (s.carrier_rises, s.carrier_falls, s.low_latency) = (0, 0, false);
        }
        assert_eq!(ended(&judge(&f)), Ended::Fine);
        assert_eq!(verdict(&f, "echo").0, Verdict::Note);
    }

    #[test]
    fn a_mock_line_says_that_it_is_simulated() {
        let f = Findings { kind: Kind::Simulated, status: None, carrier_at_end: None, ..modem() };
        assert_eq!((ended(&judge(&f)), verdict(&f, "kind").1), (Ended::Fine, "simulated".into()));
    }

    #[test]
    fn pseudo_terminal_says_what_it_lacks() {
        let f = Findings { kind: Kind::Pty, status: None, carrier_at_end: None, ..modem() };
        assert_eq!(ended(&judge(&f)), Ended::CouldNot);
        assert_eq!(verdict(&f, "settings"), (Verdict::Unknown, "no parity".into()));
        assert_eq!(verdict(&f, "modem lines"), (Verdict::Unknown, "none".into()));
    }

    #[test]
    fn tcp_is_not_taken_for_a_serial_port() {
        let f = Findings { kind: Kind::Tcp, status: None, carrier_at_end: None, ..modem() };
        assert_eq!(verdict(&f, "kind").1, "a network: TCP or HART-IP");
        assert_eq!(verdict(&f, "settings"), (Verdict::Unknown, "no parity".into()));
        assert!(judge(&f).iter().all(|c| c.name != "error counters" && c.name != "carrier detect"));
        assert_eq!(ended(&judge(&f)), Ended::CouldNot);
    }

    #[test]
    fn lost_octets_are_wrong_and_other_errors_are_judged_by_what_was_heard() {
        let counted = |errors| {
            let mut f = modem();
            if let Some(s) = &mut f.status {
                s.errors = errors;
            }
            verdict(&f, "error counters")
        };
        let one = ErrorCounts { parity: 1, ..ErrorCounts::default() };
        assert_eq!(counted(Some(one)), (Verdict::Fine, "parity 1, framing 0, overrun 0, break 0".into()));
        assert_eq!(counted(Some(ErrorCounts { overrun: 1, ..one })).0, Verdict::Wrong);
        assert_eq!(counted(None), (Verdict::Note, "not told".into()));
    }
}
