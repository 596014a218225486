//! The arguments of every command.

use super::conform_args::ConformArgs;
use super::describing::DescriptionArgs;
use super::lines::LineSpec;
use super::mock_args::{HostCheckArgs, MockArgs};
use super::settings_args::SettingsArgs;
use super::valve_args::ValveArgs;
use super::wave_args::WaveArgs;
use super::wave_args::above_zero;
use crate::app::command::Revision;
use crate::capture::Rotation;
use crate::frame::Master;
use crate::report::Format;
use crate::time::Pace;
use clap::{Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// A bench for loop-powered valve positioners: mock devices, a host, a log and its decoder.
#[derive(Debug, Parser)]
#[command(name = "looprig", version, max_term_width = 100, after_help = FIRST)]
pub struct Args {
    /// How results are written: `text` for people, `json` one object a line for programs, `csv` one
    /// value a line for spreadsheets.
    #[arg(long, global = true, value_enum, default_value_t = FormatArg::Text, value_name = "text|json|csv",
        hide_possible_values = true, help_heading = EVERYWHERE)]
    pub format: FormatArg,
    /// Colour in text; `auto` is on a terminal, unless NO_COLOR is set.
    #[arg(long = "color", global = true, value_enum, default_value_t = Colour::Auto,
        value_name = "auto|always|never", hide_possible_values = true, help_heading = EVERYWHERE)]
    pub colour: Colour,
    /// Nothing but results: no progress, no summary.
    #[arg(long, short, global = true, help_heading = EVERYWHERE)]
    pub quiet: bool,
    /// More about each frame: -v adds octets and status bits, -vv every field with its offset; in
    /// JSON -v adds offsets.
    #[arg(long, short, global = true, action = clap::ArgAction::Count, help_heading = EVERYWHERE)]
    pub verbose: u8,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

const EVERYWHERE: &str = "Options of every command";

const FIRST: &str = "Begin with `looprig demo`: it needs no hardware. `looprig COMMAND --help` says more.
Exit code 0: fine. 1: a check failed or nobody answered. 2: could not run, or nothing to judge.";

/// Every command.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// The whole bench in one run, without hardware: mock positioner, host, log, decode (Unix only).
    ///
    /// Leaves a bench file, a log and the report of a travel test to go on with. Takes about 17 seconds at the pace that is set.
    Demo(DemoArgs),
    /// Log and decode what passes on a line; sends nothing; runs until Ctrl-C.
    ///
    /// Opening a serial port may pulse request-to-send, and with it a modem's carrier, for a moment.
    Listen(ListenArgs),
    /// Ask one device one command and decode its answer.
    ///
    /// What changes the device needs --write, what may move the valve --move.
    Ask(AskArgs),
    /// Find every device on a line: asks one polling address after the other who is there, and a gateway who is behind it.
    Scan(ScanArgs),
    /// Judge a device by the protocol: sends right and wrong requests and tells what it does against which requirement.
    ///
    /// Acts as both masters, so no other master may be on the line. Exit code 1: the device fails a case.
    Conform(ConformArgs),
    /// Save, compare and restore what a device is set to.
    Settings(SettingsArgs),
    /// Decode a log, hex text, bare octets, a packet capture or a recording; what a file holds is told by its content.
    ///
    /// A packet capture is pcap or pcapng with HART-IP in it, or what looprig wrote as such. A recording is a WAV file of the
    /// tones on the loop, or a table of time and volts as oscilloscopes export it.
    Decode(DecodeArgs),
    /// Say what a host did wrong, from a log: findings with their octets and requirements, and what the log cannot tell.
    ///
    /// Sends nothing. Exit code 0: no requirement broken. 1: one is. 2: no request of such a host was heard.
    HostCheck(HostCheckArgs),
    /// Put mock devices on lines that other software can open; runs until Ctrl-C.
    Mock(MockArgs),
    /// Check a line and the modem behind it: what the port can do and tell, and what that means.
    ///
    /// Listens for some seconds and sends nothing, unless --send allows one harmless frame. Opening a
    /// serial port may pulse request-to-send, and with it a modem's carrier, for a moment.
    Line(LineArgs),
    /// Compute a loop as a circuit: will it carry current and signal? Volts, levels, cable length left.
    ///
    /// Nothing is opened or sent: the loop is computed from a sheet before anybody opens a cabinet. Exit code 1:
    /// a check that must hold fails.
    Wiring(WiringArgs),
    /// Compute a valve and watch it move: step, ramp, full stroke, loss of air, current or trip; with faults.
    ///
    /// Air, actuator, friction and linkage of a positioner's valve, without protocol and on virtual time: nothing is opened
    /// or sent, and no real valve moves. Shows true travel beside what the sensor makes of it. Exit code 1: the valve did
    /// not get where it was to go.
    Valve(ValveArgs),
    /// Test a valve: loop check, travel test, device check, with limits, verdict and a report to hand over.
    ///
    /// Strokes the valve: needs --move on a real line, and asks before anything moves. Ctrl-C ends it; what was measured is kept.
    /// Exit code 0: all within limits. 1: something beyond, or the test did not come to its end. 2: could not run, or nothing to judge.
    Travel(Box<super::travel_args::TravelArgs>),
    /// Find the fault: from what can be seen to the likely cause and the next check.
    ///
    /// Reads what the device tells, with --move strokes the valve, asks you for what no bus tells, and ranks the causes. Writes
    /// nothing to the device, unless its own command is to move the set point (--by device --move). Exit code 0: nothing found.
    /// 1: a cause, or it is unclear. 2: could not run, or nothing was seen.
    Triage(Box<super::triage_args::TriageArgs>),
    /// Print a checklist for service work, with cautions, filled in from a device and its tests.
    ///
    /// Mounting, wiring, air, first start, calibration, exchange of the output stage, return to service. Reads a device only if a
    /// line is given, and writes nothing to it. Exit code 1: nobody answered on the line; the sheet is printed all the same.
    Worksheet(super::worksheet::WorksheetArgs),
    /// Make the tones of a log as sound, or report on the signal in a recording.
    ///
    /// Nothing is opened or sent on a line: a recorder, a sound card or an oscilloscope made the recording, or one is made as a file.
    Wave(WaveArgs),
    /// Say what a frame, command, status octet, response code, unit or timer means.
    Explain(ExplainArgs),
}

/// `demo`.
#[derive(Debug, clap::Args)]
pub struct DemoArgs {
    /// Directory for bench.toml, demo.log and a report; a new one in the system's temporary directory if not
    /// given. What is there already is not overwritten.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// How many times faster than the wire, 0.01 to 1000, or `wire`.
    #[arg(long, default_value = "4", value_parser = demo_pace, value_name = "wire|FACTOR")]
    pub pace: Pace,
    /// The tag that is written to the mock: at most 8 capital letters, digits or punctuation marks.
    #[arg(long, default_value = "FV-3104", value_parser = tag)]
    pub tag: String,
    /// Fixes what is left to chance, 0 to 9223372036854775807: which answers a loose terminal spoils, and which
    /// fault is hidden in the end for `looprig triage` to find. One is chosen and printed if it is not given; how fast this machine is decides the rest.
    #[arg(long, allow_negative_numbers = true, value_parser = seed, value_name = "N")]
    pub seed: Option<u64>,
}

/// How a host behaves on a line.
#[derive(Debug, clap::Args)]
pub struct HostArgs {
    /// Which of the two masters to be: the control system is the primary, a hand-held or service
    /// computer the secondary one.
    #[arg(long, value_enum, default_value_t = MasterArg::Secondary, value_name = "primary|secondary",
        hide_possible_values = true)]
    pub master: MasterArg,
    /// How often a request is repeated that nobody answers, 0 to 10.
    #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u8).range(0..=10), value_name = "N")]
    pub retries: u8,
    /// Log everything sent and received to this file.
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
}

/// `--master`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum MasterArg {
    /// The control system's side.
    Primary,
    /// A hand-held or service computer.
    Secondary,
}

impl From<MasterArg> for Master {
    fn from(m: MasterArg) -> Master {
        match m {
            MasterArg::Primary => Master::Primary,
            MasterArg::Secondary => Master::Secondary,
        }
    }
}

/// What follows the help of every command that takes a LINE; more may stand behind it.
macro_rules! lines {
    ($more:literal) => {
        concat!(
            "LINE:
  serial:/dev/ttyUSB0   a modem's port, 1200 8O1; or the path that `looprig mock` prints
  pty: or pty:LINK      a new pseudo-terminal that another program opens (Unix only)
  tcp:HOST:PORT         octets as on the wire over TCP, from somebody who listens; 5 s to connect
  tcp-listen:HOST:PORT  the same, others connect. Without HOST from this machine alone; any
                        other address lets its network speak on the line. Port 0: a free one.
                        At most 16 peers hear everything. One speaks, until it is silent for
                        33 characters (302.5 ms at wire pace, at least 20 ms); what others
                        send meanwhile is dropped and told. Who sends faster than the wire is
                        slowed down; one for whom 64 KiB wait is disconnected.
  hart-ip:HOST[:PORT]   a HART-IP server, UDP; port 5094 unless told. Whole messages of version 1,
                        without security; the session is kept and, when it is lost, opened anew
                        (by UDP a request is repeated every 2 s, for 10 s; in a new session what changes
                        something is not sent again, and you are told). A device behind a gateway is
                        named by its tag or unique address, which scan lists
  hart-ip+tcp:HOST[:PORT]  the same by TCP. ?session=primary behind either asks for the session of a
                        primary master, which some servers alone give; secondary unless told
  IPv6 addresses stand in brackets: tcp:[::1]:5500. A peer that vanishes without a word is
  given up after 25 s (Linux; elsewhere when the system finds out).
  mock:BENCH.toml       a bench in this process, on virtual time: nothing waits, nothing is real,
                        and what changes a device needs no leave. ?seed=N repeats what was left to
                        chance; ?for=SECONDS ends it by its own clock (listen: 60 unless told)
                        ?fault=NAME[@TAG] makes a device wrong: looprig mock --protocol-faults
  wav:FILE or wav:-     a recording of the tones, WAV or a table of time and volts; it only listens.
                        ?follow waits for more, ?channel=2, ?volts=1.4 of full scale, ?rate=48000
  ?pace=8 behind any but mock, wav and hart-ip: the line runs 8 times faster than the wire, as a mock of that pace does
  ?rts=tx|on|off        serial: request-to-send while sending (tx, unless told), always or never
  ?dtr=on|off           serial: data-terminal-ready; on unless told, because it may feed the modem
                        (opening a port may raise both lines for a moment all the same)
  ?echo=auto|on|off     serial: whether the modem gives back what is sent; auto finds out
  Several of them are joined by &: serial:/dev/ttyUSB0?rts=off&echo=on (quote it for the shell)",
            $more
        )
    };
}

const LINES: &str = lines!("");

const LISTEN: &str = lines!(
    "
While it runs:
  Ctrl-C, SIGTERM, SIGHUP   end it; what was heard is in the log
  SIGUSR1                   tell how it stands, as --stats does (Unix only)
A record is handed to the system before the next one begins: whatever ends the program, the log
holds every one before. A loss of power can take those of the last 5 seconds. A log that cannot
be written any more ends it, with exit code 2.
Before a recorder, sound card or oscilloscope is clipped on a loop for wav: permit and bypass first.
One that is earthed by its mains plug can short the loop, and the valve goes to its fail position
(common practice, no source): take one on batteries, or a differential probe."
);

pub(super) const LINES_AND_TO_CONFORM: &str = lines!(
    "
TO:
  0 to 63               polling address; 0 if TO is left out
  tag:FV-3104           tag; small letters count as capitals
  longtag:\"Filter 4\"    long tag, letter by letter
  260D001511            unique address, ten hex digits, as `looprig scan` prints it
Examples:
  looprig conform mock:fixtures/benches/brackenmoor.toml            every case, on a mock
  looprig conform serial:/dev/ttyUSB0 --only link --log run.log     the data link of a real device
  looprig conform --list                                            what there is
  looprig conform --matrix --only link/timing                       on which known faults these cases fail"
);

const LINES_AND_TO: &str = lines!(
    "
TO:
  0 to 63               polling address; 0 if TO is left out
  tag:FV-3104           tag; small letters count as capitals
  longtag:\"Filter 4\"    long tag, letter by letter
  260D001511            unique address, ten hex digits, as `looprig scan` prints it
Examples:
  looprig ask serial:/dev/ttyUSB0 3                          measured values of the device at 0
  looprig ask serial:/dev/ttyUSB0 tag:FV-3104 15             its range
  looprig ask serial:/dev/ttyUSB0 0 22 long_tag=\"Filter 4\" --write"
);

/// `listen`.
#[derive(Debug, clap::Args)]
#[command(after_help = LISTEN)]
pub struct ListenArgs {
    /// The line, such as serial:/dev/ttyUSB0; see below.
    #[arg(value_parser = LineSpec::parse)]
    pub line: LineSpec,
    /// Log to this file; a log that exists is continued.
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
    /// Go on in a new file before one would grow longer than a size such as 500k, 10M or 1G, or at
    /// the end of every `day` or `hour` (UTC): loop.log becomes loop.000001.log and so on, or
    /// loop.2026-11-25.log. `looprig decode` reads them one after the other.
    #[arg(long, value_name = "SIZE|day|hour", value_parser = Rotation::parse, requires = "log")]
    pub rotate: Option<Rotation>,
    /// Write what is heard as a packet capture as well, pcapng, reception by reception, so that a network analyser that
    /// knows HART-IP can follow. A file that exists is left alone, and a pipe refused; `tail -c +1 -f FILE`
    /// lets an analyser follow. On a hart-ip: line too the frames alone, with made-up addresses: neither the session nor its
    /// messages as they passed, which a network analyser captures.
    #[arg(long, value_name = "FILE.pcapng")]
    pub pcap: Option<PathBuf>,
    /// Tell every so many seconds how it stands: frames, damaged ones, bus load, answers of each device.
    #[arg(long, allow_negative_numbers = true, value_name = "SECONDS", value_parser = period)]
    pub stats: Option<f64>,
    /// Read every device by this revision instead of the one that it says it has.
    #[arg(long, value_parser = revision, value_name = "5|6|7")]
    pub revision: Option<Revision>,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// End after so many seconds instead of at Ctrl-C.
    #[arg(long = "for", allow_negative_numbers = true, value_name = "SECONDS", value_parser = seconds)]
    pub seconds: Option<f64>,
}

/// `ask`.
#[derive(Debug, clap::Args)]
#[command(after_help = LINES_AND_TO, override_usage = "looprig ask [OPTIONS] LINE [TO] COMMAND [name=value ...]")]
pub struct AskArgs {
    /// The line, such as serial:/dev/ttyUSB0; see below.
    #[arg(value_parser = LineSpec::parse)]
    pub line: LineSpec,
    /// Whom to ask, if not the device at polling address 0; the command's number, 0 to 255; the
    /// values it needs, each as name=value: `looprig explain NUMBER` shows their names. data=HEX gives
    /// octets as they are.
    #[arg(required = true, allow_negative_numbers = true, value_name = "[TO] COMMAND [name=value ...]")]
    pub words: Vec<String>,
    /// Allow a command that changes what the device stores.
    #[arg(long)]
    pub write: bool,
    /// Allow a command that may move the valve, or whose effect is not known here.
    #[arg(long = "move")]
    pub moves: bool,
    /// How long to wait for a device that says that its answer comes later, a delayed response: the same is asked
    /// again with pauses. 0 takes the first answer as it is; at most 36000, ten hours.
    #[arg(long, default_value_t = 60.0, allow_negative_numbers = true, value_parser = wait, value_name = "SECONDS")]
    pub wait: f64,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// How the host behaves.
    #[command(flatten)]
    pub host: HostArgs,
}

/// `scan`.
#[derive(Debug, clap::Args)]
#[command(after_help = LINES)]
pub struct ScanArgs {
    /// The line, such as serial:/dev/ttyUSB0; see below.
    #[arg(value_parser = LineSpec::parse)]
    pub line: LineSpec,
    /// Polling addresses to look at, the first and the last; revision 5 has 0 to 15, later ones 0 to 63.
    #[arg(long, default_value = "0-15", value_parser = range, value_name = "FIRST-LAST")]
    pub range: (u8, u8),
    /// Which of the two masters to be: the control system is the primary, a hand-held or service
    /// computer the secondary one.
    #[arg(long, value_enum, default_value_t = MasterArg::Secondary, value_name = "primary|secondary",
        hide_possible_values = true)]
    pub master: MasterArg,
    /// How often a silent polling address is asked again, 0 to 10.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(0..=10), value_name = "N")]
    pub retries: u8,
    /// Device types, whose names are shown.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// Log everything sent and received to this file.
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
}

const DECODE: &str = "Examples:
  looprig decode loop.log --summary                           counts alone
  looprig decode gateway.pcapng                               the HART-IP messages of a capture, UDP and TCP
  looprig decode loop.log --format pcapng --out loop.pcapng   for a network analyser that knows HART-IP
  looprig decode loop.pcapng --format log --out again.log     the way back: the same log, octet for octet
Packets of a wire get addresses that are made up, 192.0.2.1 and 192.0.2.2 for the masters, 192.0.2.100 for the
devices. What is no whole frame is in blocks of local use: looprig reads the file as it reads the log, unless another
program has saved it without them, which is told.";
/// What whoever connects a recorder has to know.
pub const CLIPPED_ON: &str = "\
Before a recorder, sound card or oscilloscope is clipped on a loop: permit and bypass first, local
rules and whoever is licensed decide, in hazardous areas above all. One that is earthed by its
mains plug can short the loop, and the valve goes to its fail position (common practice, no
source): take one on batteries, or a differential probe.";

/// `decode`.
#[derive(Debug, clap::Args)]
#[command(after_help = DECODE)]
pub struct DecodeArgs {
    /// Files to read; `-` is standard input.
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Read every device by this revision instead of the one that it says it has.
    #[arg(long, value_parser = revision, value_name = "5|6|7")]
    pub revision: Option<Revision>,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// Only the summary, no frames.
    #[arg(long)]
    pub summary: bool,
    /// With --format pcapng or log: the file to write, `-` is standard output.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Overwrite that file if it exists.
    #[arg(long, requires = "out")]
    pub force: bool,
    /// Of a recording with several channels, the one to read.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=64), value_name = "N")]
    pub channel: u16,
    /// Volts that full scale of a sound file stands for, or one unit of a table that is not in volts: weak frames are told then.
    #[arg(long, value_parser = above_zero, value_name = "V")]
    pub full_scale: Option<f64>,
    /// Samples a second of a table without times, or whose times have too few digits.
    #[arg(long, value_parser = above_zero, value_name = "HZ")]
    pub rate: Option<f64>,
}

/// `wiring`.
#[derive(Debug, clap::Args)]
#[command(after_help = WIRING)]
pub struct WiringArgs {
    /// The wiring sheet (TOML): supply or card, cables, parts in the wires, devices, master.
    #[arg(value_name = "SHEET.toml", required_unless_present = "schema")]
    pub sheet: Option<PathBuf>,
    /// Vary one number: a line for each value instead of the verdict, such as cable.length=0..3000:100.
    #[arg(long, value_name = "NAME=FROM..TO:STEP", conflicts_with_all = ["tolerance", "html"])]
    pub sweep: Option<String>,
    /// Numbers that are not quite right: the worst corner, and samples by chance; by how much stands in the
    /// sheet's [tolerance].
    #[arg(long)]
    pub tolerance: bool,
    /// How many samples, 100 to 1000000.
    #[arg(long, default_value_t = 2000, value_parser = samples, requires = "tolerance", value_name = "N")]
    pub samples: usize,
    /// Fixes the samples, 0 to 9223372036854775807; one is chosen and printed if it is not given.
    #[arg(long, allow_negative_numbers = true, value_parser = seed, requires = "tolerance", value_name = "N")]
    pub seed: Option<u64>,
    /// Write the verdict as a page with plots to this file as well.
    #[arg(long, value_name = "FILE.html")]
    pub html: Option<PathBuf>,
    /// Overwrite that file if it exists.
    #[arg(long, requires = "html")]
    pub force: bool,
    /// Print the JSON Schema of wiring sheets, for editors, and end.
    #[arg(long, conflicts_with_all = ["sheet", "sweep", "tolerance", "html"])]
    pub schema: bool,
}

const WIRING: &str = "Examples:
  looprig wiring fixtures/sheets/fv-3104.toml                                  the verdict
  looprig wiring fixtures/sheets/fv-3104.toml --sweep cable.length=0..3000:250
  looprig wiring fixtures/sheets/fv-3104.toml --tolerance --seed 7 --html fv-3104.html
A verdict is computed, not measured. Hazardous areas: entity parameters are not judged; licensed practice decides.";

fn samples(text: &str) -> Result<usize, String> {
    let n = text.parse::<usize>().ok().filter(|n| (100..=1_000_000).contains(n));
    n.ok_or_else(|| format!("\"{text}\" is no number of samples: give 100 to 1000000"))
}

/// `line`.
#[derive(Debug, clap::Args)]
#[command(after_help = LINES)]
pub struct LineArgs {
    /// The line, such as serial:/dev/ttyUSB0; see below.
    #[arg(value_parser = LineSpec::parse)]
    pub line: LineSpec,
    /// Send one frame, to see whether the modem gives back what is sent: command 0 (who is there) to
    /// polling address 63. It changes nothing; a device at that address answers.
    #[arg(long)]
    pub send: bool,
    /// How long to listen, seconds.
    #[arg(long = "for", default_value = "3", allow_negative_numbers = true, value_name = "SECONDS",
        value_parser = seconds)]
    pub seconds: f64,
}

/// `explain`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  looprig explain 86 A6 0D 00 15 11 01 07 00 00 20 42 91 39 56 B3     a frame, field by field
  looprig explain 15                                                  command 15
  looprig explain status 0x48                                         a status octet, both meanings
  looprig explain code 6 2                                            response code 2 of command 6
  looprig explain unit bar                                            a unit by symbol or code
  looprig explain timer                                               the link's timers
  looprig explain 130 --description FILE.toml                         a command of a device type
  looprig explain --all --description FILE.toml                       all of them")]
pub struct ExplainArgs {
    /// A frame in hex, a command number, or `command N`, `status OCTET`, `code COMMAND CODE`,
    /// `unit SYMBOL|CODE`, `timer [NAME]`.
    #[arg(required_unless_present_any = ["all", "schema"], value_name = "WHAT", num_args = 1..)]
    pub what: Vec<String>,
    /// Write the catalogue of all commands as Markdown; with --description that of the described ones.
    #[arg(long, conflicts_with_all = ["what", "revision"])]
    pub all: bool,
    /// Print the JSON Schema of descriptions, for editors, and end.
    #[arg(long, conflicts_with_all = ["what", "all", "revision", "descriptions"])]
    pub schema: bool,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// Read a frame by this revision.
    #[arg(long, value_parser = revision, value_name = "5|6|7")]
    pub revision: Option<Revision>,
}

/// `--format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum FormatArg {
    /// For people.
    Text,
    /// One object a line.
    Json,
    /// One value a line.
    Csv,
    /// A capture of a network; of `decode` alone.
    Pcapng,
    /// A log, made of a pcapng of looprig's or of logs; of `decode` alone.
    Log,
}

impl From<FormatArg> for Format {
    fn from(f: FormatArg) -> Format {
        match f {
            FormatArg::Text => Format::Text,
            FormatArg::Json => Format::Json,
            FormatArg::Csv => Format::Csv,
            // They go into a file; what is told besides is for people.
            FormatArg::Pcapng | FormatArg::Log => Format::Text,
        }
    }
}

/// `--color`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    /// On a terminal, unless NO_COLOR is set.
    Auto,
    /// Also in a pipe.
    Always,
    /// Nowhere.
    Never,
}

/// Reads a seed, which also fits into a bench file.
pub fn seed(text: &str) -> Result<u64, String> {
    let n = text.parse().ok().filter(|n| i64::try_from(*n).is_ok());
    n.ok_or_else(|| format!("\"{text}\" is no seed: give a whole number from 0 to {}", i64::MAX))
}

/// Reads a time in seconds.
pub fn seconds(text: &str) -> Result<f64, String> {
    let seconds = text.parse().ok().filter(|s| (0.0..=1e7).contains(s));
    seconds.ok_or_else(|| format!("\"{text}\" is no time: give a number of seconds, at most 10000000"))
}

/// Reads how long to wait for an answer, in seconds: with a pause of 5 s between two repeats they are fewer than the host
/// asks at most [HO-10].
fn wait(text: &str) -> Result<f64, String> {
    let seconds = text.parse().ok().filter(|s| (0.0..=36_000.0).contains(s));
    seconds.ok_or_else(|| format!("\"{text}\" is no time: give a number of seconds, at most 36000"))
}

/// Reads a time between two lines of statistics, in seconds.
fn period(text: &str) -> Result<f64, String> {
    let seconds = text.parse().ok().filter(|s| (0.1..=1e7).contains(s));
    seconds.ok_or_else(|| format!("\"{text}\" is no period: give a number of seconds, 0.1 to 10000000"))
}

/// Reads a pace at which the wire's times still mean something.
fn demo_pace(text: &str) -> Result<Pace, String> {
    match Pace::parse(text) {
        Ok(Pace::Fast) => {
            Err("the demo judges times: give `wire` or how many times faster, such as 4".to_owned())
        }
        Ok(pace) => Ok(pace),
        Err(_) => Err(format!(
            "\"{text}\" is no pace: give `wire` or how many times faster than the wire (0.01 to 1000)"
        )),
    }
}

/// Reads a tag that packed ASCII can hold.
fn tag(text: &str) -> Result<String, String> {
    let text = text.to_ascii_uppercase();
    match crate::app::types::packed::pack(&text, 6) {
        Ok(_) if !text.trim().is_empty() => Ok(text.trim_end().to_owned()),
        Ok(_) => Err("the tag is empty: give one such as FV-3104".to_owned()),
        Err(e) => Err(e.to_string()),
    }
}

/// Reads `0-15`, or one address.
fn range(text: &str) -> Result<(u8, u8), String> {
    let (from, to) = text.split_once('-').unwrap_or((text, text));
    match (from.parse(), to.parse()) {
        (Ok(from), Ok(to)) if from <= to && to <= 63 => Ok((from, to)),
        _ => Err(format!(
            "\"{text}\" is no range: give the first and the last polling address, such as 0-15; they go from 0 to 63"
        )),
    }
}

/// Reads 5, 6 or 7.
pub(super) fn revision(text: &str) -> Result<Revision, String> {
    text.parse()
        .ok()
        .and_then(Revision::new)
        .ok_or_else(|| format!("\"{text}\" is no revision: give 5, 6 or 7"))
}
