//! `looprig demo`: the whole bench in one run, without hardware.
//!
//! A mock positioner answers on one pseudo-terminal; a host opens it as it would open a modem's
//! serial port. A second pseudo-terminal is another clip on the same pair of wires: a listener opens
//! that one and logs. All octets pass the kernel's terminals, at the pace that is printed.

use super::args::DemoArgs;
use super::ask::host_failure;
use super::demo_bench::{DemoBench, demo_bench};
use super::demo_faults;
use super::demo_ip;
use super::demo_later;
use super::demo_travel;
use super::demo_valve;
use super::demo_wave;
use super::lines::{end_on_signal, open_log, quoted, utc_now_words};
use super::listening::{Listening, Terms};
use super::mock::clock_seed;
use super::output::{Ended, Failure, Output, say, tell};
use super::scan;
use super::wishes::Wishes;
use crate::app::command::{Effect, Revision, spec};
use crate::bench::{Bench, Notice, check};
use crate::capture::{Annotator, Item, Reader, io_words};
use crate::exchange::{Exchange, Interpreter};
use crate::frame::{Address, Frame, Master, PollingAddress, RawFrame, ReceiverConfig, Target};
use crate::host::{Device, Host, HostError, encode};
use crate::line::Line;
use crate::line::io::{InterruptHandle, PortLine};
use crate::link::MasterConfig;
use crate::report::summary::Summary;
use crate::report::text::plural;
use crate::report::{Format, Options, csv, write_item};
use crate::time::{Instant, Pace};
use crate::transaction::{PairerConfig, Passed};
use core::fmt::Write;
use core::time::Duration;
use std::path::{Path, PathBuf};
use std::thread::JoinHandle;

/// How often the host repeats a request, which is the most there is.
const RETRIES: u8 = 10;

/// Values that the demo writes and reads back.
const MESSAGE: &str = "BRACKENMOOR FILTER 4";
const DESCRIPTOR: &str = "FILTER 4 INLET";
const DATE: &str = "2026-11-25";

/// Runs it; a step that does not end as it should makes the exit code 1.
pub fn run(args: &DemoArgs, out: &mut Output) -> Result<Ended, Failure> {
    let dir = out_dir(args)?;
    let bench_file = dir.join("bench.toml");
    let seed = args.seed.unwrap_or_else(clock_seed);
    let bench = demo_bench(args.pace, seed);
    let log = dir.join("demo.log");
    let kept =
        ["report.html", "report.json", "record.json", "found.json", "travel.log", "fault.html", "fault.json"];
    let kept = kept.map(|name| dir.join(name));
    for file in [&log, &bench_file].into_iter().chain(&kept) {
        if file.symlink_metadata().is_ok() {
            return Err(Failure::new(
                format!("starting {}", file.display()),
                "it exists already, and nothing is overwritten",
                "move it away, or name another directory with --out",
            ));
        }
    }
    std::fs::write(&bench_file, &bench.text).map_err(|e| {
        Failure::new(
            format!("writing {}", bench_file.display()),
            io_words(&e),
            "name another directory with --out",
        )
    })?;
    if out.options.format == Format::Csv {
        out.text().push_str(csv::HEADER);
    }
    let mut stage = Stage { out, failed: 0, steps: 0 };
    // Before anything that it decides.
    let told = format!("seed {seed} (repeat its chances: --seed {seed})");
    if stage.out.options.format == Format::Text {
        stage.say(&told)?
    } else {
        say(&told)
    }
    stage.say(&format!(
        "looprig demo: a mock positioner, a control room, a host and a listener on one loop, at {}.\nStarted {}.",
        match args.pace {
            Pace::Scaled(f) => format!("{f} times the pace of the wire"),
            _ => "the pace of the wire".to_owned(),
        },
        utc_now_words()
    ))?;
    let mock = open_bench(&bench.text, &bench_file)?;
    let ports: Vec<String> = mock.places().iter().map(|p| p.path.display().to_string()).collect();
    stage.say(&format!(
        "\nThe mock answers on {}; a second clip on the same wires is {}.",
        ports[0], ports[1]
    ))?;
    // The listener first, so that it misses nothing.
    let listener = Listener::start(&ports[1], args.pace, &log)?;
    let mock = Running::start(mock);
    let line = PortLine::open_serial(&ports[0], args.pace).map_err(Failure::from)?;
    let stop = [line.interrupt_handle(), mock.interrupt.clone()];
    end_on_signal(stop[0].clone())?;
    // With another master and a loose terminal on the wires a request may need more than one try.
    let mut host = Host::new(line, MasterConfig { retries: RETRIES, ..MasterConfig::default() });
    let played = play(&mut stage, &mut host, args, &bench);
    // What was captured is kept, whatever happened.
    let captured = listener.stop();
    stop[1].interrupt();
    let mocked = mock.join();
    if played.is_err() {
        tell(&format!("what was captured until then is in {}", log.display()));
    }
    played?;
    captured?;
    mocked?;
    decode(&mut stage, &log, args)?;
    demo_valve::valve(&mut stage)?;
    demo_ip::gateway(&mut stage)?;
    demo_wave::wave(&mut stage, &log, seed)?;
    demo_travel::travel(&mut stage, &dir)?;
    demo_faults::faults(&mut stage, &dir, seed)?;
    let (failed, steps) = (stage.failed, stage.steps);
    stage.say(&format!(
        "\n{}: {} of {steps} steps as expected.\nNext:\n  looprig mock {}     puts this mock on a port for your own software\n  looprig decode -v {}     shows the log with every octet",
        if failed == 0 { "Done" } else { "NOT as expected" },
        steps - failed,
        quoted(&bench_file.display().to_string()),
        quoted(&log.display().to_string()),
    ))?;
    Ok(if failed == 0 { Ended::Fine } else { Ended::Failed })
}

fn out_dir(args: &DemoArgs) -> Result<PathBuf, Failure> {
    let dir = match &args.out {
        Some(dir) => dir.clone(),
        None => {
            // A process's number comes back one day; what was left under it then is not touched.
            let name = format!("looprig-demo-{}", std::process::id());
            let names = core::iter::once(name.clone()).chain((2..).map(|n| format!("{name}-{n}")));
            let mut free = names.map(|n| std::env::temp_dir().join(n)).skip_while(|d| d.exists());
            free.next().unwrap_or_else(std::env::temp_dir)
        }
    };
    std::fs::create_dir_all(&dir).map_err(|e| {
        Failure::new(
            format!("making the directory {}", dir.display()),
            io_words(&e),
            "name another with --out",
        )
    })?;
    Ok(dir)
}

/// Where the demo tells what it does.
pub(super) struct Stage<'a> {
    out: &'a mut Output,
    steps: usize,
    failed: usize,
}

impl Stage<'_> {
    pub(super) fn say(&mut self, text: &str) -> Result<(), Failure> {
        if self.out.options.format == Format::Text {
            self.out.text().push_str(text);
            self.out.text().push('\n');
        }
        self.out.flush()
    }

    pub(super) fn show(&mut self, exchange: &Exchange) -> Result<(), Failure> {
        let options = self.out.options;
        write_item(&Item::Exchange(Box::new(exchange.clone())), options, self.out.text());
        self.out.flush()
    }

    /// An exchange in words of the demo's own, where people read it.
    pub(super) fn put(&mut self, exchange: &Exchange, words: &str) -> Result<(), Failure> {
        if self.out.options.format == Format::Text { self.say(words) } else { self.show(exchange) }
    }

    /// One step that has an expected end.
    pub(super) fn step(&mut self, what: &str, fine: bool) -> Result<(), Failure> {
        self.steps += 1;
        self.failed += usize::from(!fine);
        if self.out.options.format == Format::Text {
            let _ = writeln!(self.out.text(), "  [{}] {what}", if fine { "ok" } else { "NOT AS EXPECTED" });
        } else if !fine {
            tell(&format!("the demo's step {} is not as expected: {what}", self.steps));
        }
        self.out.flush()
    }
}

fn play(
    stage: &mut Stage<'_>,
    host: &mut Host<PortLine>,
    args: &DemoArgs,
    bench: &DemoBench,
) -> Result<(), Failure> {
    let failure = |e: HostError| host_failure("talking to the mock".into(), e);

    stage.say("\n1. Who is there? The host listens first, then polls addresses 0 to 15.")?;
    // Nobody else speaks yet, so once is enough.
    let (table, _, ended) = scan::scan(host, (0, 15), Some(0), &mut |_| {});
    ended.map_err(failure)?;
    if stage.out.options.format == Format::Text {
        table.write(Format::Text, stage.out.text());
    }
    stage.step("one device found at polling address 0", table.rows.len() == 1)?;

    stage.say("\n2. Identity, and every universal command that only reads.")?;
    let (identity, device) = host.poll(PollingAddress::default(), None).map_err(failure)?;
    stage.show(&identity)?;
    let Some(device) = device else { return stage.step("the device answered", false) };
    let mut answered = true;
    for command in reads() {
        let values = if command == 9 { "00 01 02 03" } else { "" };
        let data = crate::app::command::value::hex(values).unwrap_or_default();
        let exchange = host.ask_octets(&device, command, data).map_err(failure)?;
        answered &= !exchange.is_unanswered() && exchange.tone() == crate::exchange::view::Tone::Plain;
        stage.show(&exchange)?;
    }
    stage.step("every one was answered and done", answered)?;

    stage.say("\n3. Tag, descriptor, date, message and long tag are written and read back.")?;
    let long_tag = format!("Brackenmoor filter 4 {}", args.tag);
    let described = [("tag", args.tag.as_str()), ("descriptor", DESCRIPTOR), ("date", DATE)];
    write_and_check(stage, host, &device, 18, 13, &described)?;
    write_and_check(stage, host, &device, 17, 12, &[("message", MESSAGE)])?;
    write_and_check(stage, host, &device, 22, 20, &[("long_tag", &long_tag)])?;

    stage.say("\n4. A request that must be refused: polling address 200 does not exist.")?;
    let refused = host.ask_octets(&device, 6, vec![200, 1]).map_err(failure)?;
    stage.show(&refused)?;
    let mut response = String::new();
    refused.write_response(&mut response);
    stage.step("the device refused with response code 2", response.starts_with("refused 2"))?;

    stage.say("\n5. A request with one bit flipped in its check byte: the device must not obey it.")?;
    let (status, answer) = send_damaged(host, &device)?;
    // 80, a communication error, with 08, longitudinal parity [ST-01].
    stage.step(&format!("the device answered: {answer}"), status == Some(0x88))?;

    stage
        .say("\n6. The valve follows: set point from the loop current, travel by the device's own sensor.")?;
    let (mut last, mut arrived) = (String::new(), false);
    // The valve and the event keep their own time, whatever the pace of the wire.
    let until = host.line_mut().now() + Duration::from_secs(20);
    while !arrived && host.line_mut().now() < until {
        host.rest(Duration::from_millis(100)).map_err(failure)?;
        let exchange = host.ask(&device, 3, &[]).map_err(failure)?;
        last = exchange.value("sv").map_or(String::new(), |v| v.text());
        arrived = last
            .split(' ')
            .next()
            .and_then(|t| t.parse::<f64>().ok())
            .is_some_and(|t| (t - 75.0).abs() < 0.5);
        if arrived {
            stage.show(&exchange)?;
        }
    }
    // (16 - 4) / 16 of the travel.
    stage.step(&format!("at 16 mA, which ask for 75 %, the travel came to {last}"), arrived)?;

    stage.say(
        "\n7. Burst mode: the device sends its set point by itself every half second, until that is ended.",
    )?;
    demo_later::burst_mode(stage, host, &device)?;

    stage.say(
        "\n8. A self test that takes its time: the device takes it on, and its answer is asked for again.",
    )?;
    demo_later::self_test(stage, host, &device)?;

    stage.say(&format!(
        "\n9. A terminal works loose at {} s: every second answer loses octets, and the host asks again.",
        bench.loose.as_secs()
    ))?;
    loose_terminal(stage, host, &device, bench)?;
    let q = *host.quality();
    stage.say(&format!(
        "Link: {}, {} answered, {}, {}.",
        plural(q.requests as usize, "request"),
        q.answered,
        plural(q.retries as usize, "retry"),
        plural(q.damaged as usize, "damaged answer")
    ))
}

/// Requests that are to pass a loose terminal at least, and how many tries are to be spoilt.
const LOOSE_REQUESTS: usize = 4;
const LOOSE_SPOILT: usize = 3;

/// After so many requests something is wrong. An answer is spoilt if it is one of the 50 % and does not
/// lose preambles alone, which it can spare: in 37 of the 40 places of this answer (5 preambles, 26 octets
/// of status and data, 9 of the rest of the frame). That is 0.46; that not even three of 60 are spoilt has
/// the chance 0.54^60 (1 + 60 * 0.85 + 1770 * 0.73) = 1e-13.
const LOOSE_AT_MOST: usize = 60;

/// How often the same is asked anew when all 11 tries fail. All of 8 times 11 fail with the chance
/// 0.5^88 = 3e-27.
const LOOSE_ROUNDS: usize = 8;

/// How often the host may miss every turn before it gives up.
const MOST_LATE: usize = 100;

/// Asks while answers lose octets: every request is answered in the end, and some needed several tries.
fn loose_terminal(
    stage: &mut Stage<'_>,
    host: &mut Host<PortLine>,
    device: &Device,
    bench: &DemoBench,
) -> Result<(), Failure> {
    let failure = |e: HostError| host_failure("talking to the mock".into(), e);
    // The bench's clock is ahead of the line's, which began later.
    let (from, until) = (Instant::ZERO + bench.loose, Instant::ZERO + bench.tight);
    let now = host.line_mut().now();
    host.rest(from.since(now)).map_err(failure)?;
    let (mut requests, mut tries, mut answered, mut most) = (0, 0, true, 0);
    while (requests < LOOSE_REQUESTS || tries < requests + LOOSE_SPOILT)
        && requests < LOOSE_AT_MOST
        && host.line_mut().now() < until
    {
        requests += 1;
        let mut whole = false;
        let mut needed = 0;
        let (mut rounds, mut late) = (0, 0);
        while rounds < LOOSE_ROUNDS {
            let exchange = match host.ask(device, 3, &[]) {
                // At a pace that is too fast for this machine it is late for its turns.
                Err(HostError::NoTurn(_)) if late < MOST_LATE => {
                    late += 1;
                    continue;
                }
                asked => asked.map_err(failure)?,
            };
            rounds += 1;
            needed += exchange.transaction.tries.len();
            whole = !exchange.is_unanswered();
            if needed > most || !whole {
                stage.show(&exchange)?;
            }
            if whole {
                break;
            }
        }
        tries += needed;
        most = most.max(needed);
        answered &= whole;
    }
    // On a machine that is too slow for so many tries nothing can be said of those that were spoilt.
    let spoilt = tries >= requests + LOOSE_SPOILT || host.line_mut().now() >= until;
    let what = format!(
        "{} took {tries} tries, one of them {most}, and {}",
        plural(requests, "request"),
        if answered { "all were answered" } else { "NOT ALL were answered" }
    );
    stage.step(&what, answered && spoilt)
}

/// The universal commands that only read, by their rows; 11 and 21 ask for a tag and are left to
/// the scan by tag.
fn reads() -> Vec<u8> {
    (0..=48u8)
        .filter(|n| !matches!(n, 11 | 21 | 31 | 33))
        .filter(|&n| {
            spec(n.into()).is_some_and(|s| s.effect == Effect::Reads && s.form(Revision::R7).is_some())
        })
        .collect()
}

fn write_and_check(
    stage: &mut Stage<'_>,
    host: &mut Host<PortLine>,
    device: &Device,
    write: u8,
    read: u8,
    values: &[(&str, &str)],
) -> Result<(), Failure> {
    let failure = |e: HostError| host_failure("talking to the mock".into(), e);
    let given: Vec<(String, String)> =
        values.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect();
    let data = encode(write, device.revision, &given).map_err(failure)?;
    let written = host.ask_octets(device, write, data).map_err(failure)?;
    stage.show(&written)?;
    let back = host.ask(device, read, &[]).map_err(failure)?;
    stage.show(&back)?;
    let same = values.iter().all(|(name, value)| back.value(name).is_some_and(|v| v.cell() == *value));
    stage.step(&format!("command {read} gives back what command {write} wrote"), same)
}

/// How often the damaged request is sent until something comes back: it is sent only once where nobody else
/// speaks at that moment.
const DAMAGED_TRIES: usize = 10;

/// Sends command 1 with a flipped check byte; the first status octet of what came back within a second,
/// and what that means.
fn send_damaged(host: &mut Host<PortLine>, device: &Device) -> Result<(Option<u8>, String), Failure> {
    let address = Address::new(Master::Secondary, Target::Unique(device.unique));
    let Ok(frame) = Frame::request(address, 1, Vec::new()) else { return Ok((None, String::new())) };
    let raw = RawFrame::of(&frame, usize::from(device.preambles));
    let last = raw.octets.len() - 1;
    let raw = raw.flip(last, 0x10);
    let failure = |e: HostError| host_failure("running the demo".into(), e);
    for _ in 0..DAMAGED_TRIES {
        // Behind the control room's turn: then it is ours [LL-09].
        host.take_overheard();
        for _ in 0..MOST_LOOKS {
            host.rest(Duration::from_millis(20)).map_err(failure)?;
            if host.take_overheard().iter().any(|p| matches!(p, Passed::Transaction(_))) {
                break;
            }
        }
        host.send_raw(&raw, Duration::from_secs(1)).map_err(failure)?;
        let mut interpreter = Interpreter::new(None);
        for passed in host.take_overheard() {
            if let Passed::Transaction(t) = passed
                && let Some(reply) = t.reply_frame().filter(|f| f.command() == 1)
                && let Some([first, _]) = reply.status()
            {
                let mut text = String::new();
                interpreter.read(*t).write_response(&mut text);
                return Ok((Some(first), text));
            }
        }
    }
    Ok((None, "nothing came back".into()))
}

/// How often it is looked, every 20 ms, whether the control room has had its turn: more than it pauses.
const MOST_LOOKS: usize = 150;

/// The mock with its ports.
fn open_bench(text: &str, path: &Path) -> Result<Bench, Failure> {
    let plan = check(text, path).map_err(|e| Failure::told(e.to_string()))?;
    Bench::open(plan).map_err(|e| Failure::told(e.to_string()))
}

/// The mock, running in a thread of its own.
struct Running {
    interrupt: InterruptHandle,
    thread: JoinHandle<Result<(), String>>,
}

impl Running {
    fn start(mut bench: Bench) -> Running {
        let interrupt = bench.interrupt_handle();
        let thread = std::thread::spawn(move || bench.run(&mut |_: Notice| {}).map_err(|e| e.to_string()));
        Running { interrupt, thread }
    }

    fn join(self) -> Result<(), Failure> {
        match self.thread.join() {
            Ok(result) => result.map_err(Failure::told),
            Err(_) => Err(Failure::told("the mock ended with a fault of its own: please report it")),
        }
    }
}

/// The listener, in a thread of its own on its own port.
struct Listener {
    interrupt: InterruptHandle,
    thread: JoinHandle<Result<(), Failure>>,
}

impl Listener {
    fn start(port: &str, pace: Pace, log: &Path) -> Result<Listener, Failure> {
        let mut line = PortLine::open_serial(port, pace).map_err(Failure::from)?;
        let terms = Terms { log: Some(open_log(log, None, &line)?), ..Terms::default() };
        let interrupt = line.interrupt_handle();
        let thread = std::thread::spawn(move || {
            // What it logs is decoded when everything is over.
            let options = Options { format: Format::Text, verbosity: 0, times: true, colour: false };
            let mut out = Output::to(Box::new(std::io::sink()), options, true);
            let mut listening = Listening::new(&mut line, terms, &mut out)?;
            let listened = listening.listen(&mut line, &Wishes::only_to_end());
            let finished = listening.finish(line.now());
            listened.and(finished)
        });
        Ok(Listener { interrupt, thread })
    }

    fn stop(self) -> Result<(), Failure> {
        self.interrupt.interrupt();
        match self.thread.join() {
            Ok(result) => result,
            Err(_) => Err(Failure::told("the listener ended with a fault of its own: please report it")),
        }
    }
}

/// Reads the log like anybody's, and sums it up.
fn decode(stage: &mut Stage<'_>, log: &Path, args: &DemoArgs) -> Result<(), Failure> {
    let reading = |e: std::io::Error| {
        Failure::new(format!("reading {}", log.display()), io_words(&e), "see whether the disk is full")
    };
    let file = std::fs::File::open(log).map_err(reading)?;
    let mut reader = Reader::new(std::io::BufReader::new(file)).map_err(reading)?;
    let error = Duration::from_millis(5);
    let mut annotator = Annotator::new(
        ReceiverConfig::for_line(args.pace, error),
        PairerConfig::for_line(args.pace, error * 2),
        None,
    );
    let mut summary = Summary::default();
    let mut tag_seen = false;
    let mut answered = [0; 2];
    loop {
        let captured = reader.next().map_err(reading)?;
        match &captured {
            Some(crate::capture::Captured::Octets(o)) => annotator.push(o),
            Some(_) => {}
            None => annotator.finish(),
        }
        while let Some(item) = annotator.next() {
            if let Item::Exchange(e) = &item {
                if let Some(reply) = e.transaction.reply_frame() {
                    answered[reply.address().master.index()] += 1;
                }
                tag_seen |= e.command() == 13 && e.value("tag").is_some_and(|v| v.cell() == args.tag);
            }
            summary.add(&item);
        }
        if captured.is_none() {
            break;
        }
    }
    stage.say("\n10. What the listener logged, decoded and summed up.")?;
    stage.say(summary.text().trim_end())?;
    stage.step(&format!("the new tag {} stands in the listener's log", args.tag), tag_seen)?;
    let [room, host] = answered;
    stage.step(
        &format!("so do answers to both masters: {room} to the control room, {host} to the host"),
        room > 0 && host > 0,
    )
}
