//! Arguments of `looprig mock` and `looprig host-check`.

use super::args::{MasterArg, revision, seed};
use super::describing::DescriptionArgs;
use crate::app::command::Revision;
use crate::bench;
use crate::conform::host_check::Judged;
use crate::frame::Master;
use crate::time::Pace;
use clap::ValueEnum;
use std::net::SocketAddr;
use std::path::PathBuf;

/// `host-check`.
#[derive(Debug, clap::Args)]
pub struct HostCheckArgs {
    /// Logs of `looprig listen`, hex text or bare octets; `-` is standard input. Without times less is judged.
    #[arg(required = true, value_name = "LOG")]
    pub files: Vec<PathBuf>,
    /// Judge this master alone; else each of them.
    #[arg(long, value_enum, value_name = "primary|secondary", hide_possible_values = true)]
    pub master: Option<MasterArg>,
    /// One host alone was on the wires: what has the other master's bit is its own, and wrong.
    #[arg(long)]
    pub alone: bool,
    /// Read every device by this revision instead of the one that it says it has.
    #[arg(long, value_parser = revision, value_name = "5|6|7")]
    pub revision: Option<Revision>,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
}

impl HostCheckArgs {
    /// Whom to judge.
    pub fn judged(&self) -> Judged {
        Judged { master: self.master.map(Master::from), alone: self.alone }
    }
}

/// `mock`.
#[derive(Debug, clap::Args)]
#[command(after_help = "The smallest bench file:
  [[device]]
  tag = \"FV-3104\"
  [[line]]
  at = \"pty:\"

at = \"hart-ip:\" serves HART-IP, version 1, UDP and TCP, at 127.0.0.1:5094; \"hart-ip:ADDRESS:PORT\"
elsewhere, where whoever reaches it can change the mock: there is no security. It keeps 32 sessions
(sessions = N, to 1024), 8 TCP connections more, messages of 4096 octets, 8 requests of a session
and 256 of all that wait, each for 30 s at most; it remembers 64 answers of a session for 12 s, so that
a repeat by UDP changes nothing twice; it closes a TCP connection for whose reader 64 KiB wait, that
takes nothing for 10 s or has no session for 10 s, within 5 s. Where nobody answers it says so with
the frame of a communication error, 84 00, or with a NAK (nobody = \"nak\"). [gateway]
makes it a gateway with all devices behind it.

[fleet] with count = 500 makes the file the template of 500 loops: tag = \"FV-####\" is FV-0001 ... FV-0500;
device ids (the file's is that of number 0) and ports (the file's is the first) rise. With [gateway] each loop is a channel of it, 64 a card, at most 10000 loops; else
each has ports of its own, at most 1000 loops, each with up to 2 threads and, of HART-IP, 5 open files.
At most 10000 devices in all. More: other bench files (first = 10001), on other machines too.

While it runs, --format json writes one object a line: first {\"ready\":true,...} with the path
of every line and the seed, then what happens, at the end {\"ended\":true,...} with what passed.
Every command takes the bench file as a LINE too, mock:BENCH.toml, without ports and without waiting.")]
pub struct MockArgs {
    /// The bench file (TOML): devices, lines, events, masters, faults on the wires.
    #[arg(value_name = "BENCH.toml", required_unless_present_any = ["schema", "api_schema", "faults", "protocol_faults"])]
    pub bench: Option<PathBuf>,
    /// Run at this pace instead of the bench file's: `wire` (1200 bit/s), `fast` (at once), or how many
    /// times faster than the wire, 0.01 to 1000.
    #[arg(long, value_parser = Pace::parse, value_name = "wire|fast|N")]
    pub pace: Option<Pace>,
    /// Fixes what is left to chance instead of the bench file's seed, 0 to 9223372036854775807: faults on
    /// the wires, jitter, what collisions leave.
    #[arg(long, allow_negative_numbers = true, value_parser = seed, value_name = "N")]
    pub seed: Option<u64>,
    /// Let a device do something otherwise than the protocol wants, to see how host software copes: every device that can have
    /// the fault, or the one of a tag or a polling address. May be given several times; --protocol-faults lists them.
    #[arg(long, value_name = "NAME[@TAG]")]
    pub fault: Vec<String>,
    /// List the protocol faults, each with the requirement that it violates, and end.
    #[arg(long, conflicts_with_all = ["bench", "pace", "seed", "schema", "api", "api_token_file", "fault"])]
    pub protocol_faults: bool,
    /// Let programs drive the bench over HTTP: read every quantity, change, stop and step time, put it back. Without an
    /// address at 127.0.0.1:4620; port 0 is any that is free. Another address than loopback (127.0.0.1, ::1) needs a token.
    #[arg(long, num_args = 0..=1, require_equals = true, default_missing_value = bench::api::USUAL_PLACE, value_parser = api_place, value_name = "ADDRESS:PORT")]
    pub api: Option<SocketAddr>,
    /// The file with the token that requests to the API must carry; else the variable LOOPRIG_API_TOKEN has it, or
    /// there is none.
    #[arg(long, value_name = "FILE")]
    pub api_token_file: Option<PathBuf>,
    /// Tell what the host on the lines does wrong, as it does it and all of it at the end, which then has the exit
    /// code of `host-check`. Judged is the master that the bench has not, or the one named.
    #[arg(long, num_args = 0..=1, require_equals = true, default_missing_value = "each", value_enum, value_name = "primary|secondary", hide_possible_values = true)]
    pub host_check: Option<HostArg>,
    /// List the faults of the loop, of settings, of who is on the wires and of a computed valve, and what a severity of each
    /// means, and end.
    #[arg(long, conflicts_with_all = ["bench", "pace", "seed", "schema", "api", "api_schema", "api_token_file"])]
    pub faults: bool,
    /// List all devices of the bench file, of every loop if it is a fleet, and end.
    #[arg(long, requires = "bench", conflicts_with_all = ["pace", "seed", "schema", "api", "api_schema", "api_token_file", "host_check"])]
    pub list: bool,
    /// Print the OpenAPI document of the API, and end.
    #[arg(long, conflicts_with_all = ["bench", "pace", "seed", "schema", "api", "api_token_file"])]
    pub api_schema: bool,
    /// Print the JSON Schema of bench files, for editors, and end.
    #[arg(long, conflicts_with_all = ["bench", "pace", "seed", "api", "api_token_file"])]
    pub schema: bool,
}

/// `--host-check` of a mock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum HostArg {
    /// Whoever it is.
    Each,
    /// The control system's side.
    Primary,
    /// A hand-held or service computer.
    Secondary,
}

impl HostArg {
    /// The one that is named.
    pub fn master(self) -> Option<Master> {
        match self {
            HostArg::Each => None,
            HostArg::Primary => Some(Master::Primary),
            HostArg::Secondary => Some(Master::Secondary),
        }
    }
}

/// An address of this machine and a port.
fn api_place(text: &str) -> Result<SocketAddr, String> {
    bench::api_place(text)
        .ok_or_else(|| "give an address and a port, such as 127.0.0.1:4620 or localhost:0".to_owned())
}
