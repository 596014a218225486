//! The arguments of `settings`.

use super::args::HostArgs;
use super::describing::DescriptionArgs;
use super::lines::LineSpec;
use clap::Subcommand;
use std::path::PathBuf;

/// `settings`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  looprig settings save serial:/dev/ttyUSB0 tag:FV-3104 FV-3104.toml
  looprig settings compare FV-3104.toml serial:/dev/ttyUSB0 tag:FV-3104
  looprig settings restore serial:/dev/ttyUSB0 tag:FV-3104 FV-3104.toml --write
  looprig settings restore serial:/dev/ttyUSB0 FV-3104.toml --write --move --other-device
                  (into a new device in the place of one that failed)
LINE and TO: as `looprig ask --help` tells. TO left out is the device at polling address 0.")]
pub struct SettingsArgs {
    /// What to do with them.
    #[command(subcommand)]
    pub what: SettingsCommand,
}

/// What to do with settings.
#[derive(Debug, Subcommand)]
pub enum SettingsCommand {
    /// Read all that can be read and written of a device into a file (TOML); changes nothing.
    ///
    /// Labels, units, range, damping, variables, burst messages, loop current mode; and, to compare
    /// devices by, what it says about itself. What a device does not have is noted as such, and so is what
    /// it is too busy for or cuts short; then the exit code is 1.
    Save(SaveArgs),
    /// Show what differs between a file, as found, and another file or the device now, as left.
    ///
    /// Changes nothing. Exit code 0: nothing differs. 1: something does. 2: could not compare all.
    Compare(CompareArgs),
    /// Write the settings of a file into a device where they differ, and read each value back.
    ///
    /// Shows first what it will change; what goes off is written first, what goes on last. A device that is
    /// busy is waited for, and what stays busy is left out and told.
    ///
    /// Loop in manual, process and people clear, local rules followed: range, damping, transfer function,
    /// assignment of variables and loop current mode decide what the current does to the valve, so they
    /// need --move besides --write. Settings of another device are refused unless --other-device says that
    /// this one takes its place. Exit code 0: everything arrived. 1: something did not. 2: could not run.
    Restore(RestoreArgs),
}

/// `settings save`.
#[derive(Debug, clap::Args)]
#[command(override_usage = "looprig settings save [OPTIONS] LINE [TO] FILE")]
pub struct SaveArgs {
    /// The line, such as serial:/dev/ttyUSB0.
    #[arg(value_parser = LineSpec::parse)]
    pub line: LineSpec,
    /// Whose settings, if not those of the device at polling address 0; the file to write.
    #[arg(required = true, num_args = 1..=2, value_name = "[TO] FILE")]
    pub words: Vec<String>,
    /// Overwrite a file that exists.
    #[arg(long)]
    pub force: bool,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// How the host behaves.
    #[command(flatten)]
    pub host: HostArgs,
}

/// `settings compare`.
#[derive(Debug, clap::Args)]
#[command(override_usage = "looprig settings compare [OPTIONS] FILE FILE
       looprig settings compare [OPTIONS] FILE LINE [TO]")]
pub struct CompareArgs {
    /// The file with what was found.
    #[arg(value_name = "FILE")]
    pub found: PathBuf,
    /// What was left: another file, or a line and the device on it.
    #[arg(required = true, num_args = 1..=2, value_name = "FILE | LINE [TO]")]
    pub words: Vec<String>,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// How the host behaves.
    #[command(flatten)]
    pub host: HostArgs,
}

/// `settings restore`.
#[derive(Debug, clap::Args)]
#[command(override_usage = "looprig settings restore [OPTIONS] LINE [TO] FILE")]
pub struct RestoreArgs {
    /// The line, such as serial:/dev/ttyUSB0.
    #[arg(value_parser = LineSpec::parse)]
    pub line: LineSpec,
    /// Which device, if not the one at polling address 0; the file with its settings.
    #[arg(required = true, num_args = 1..=2, value_name = "[TO] FILE")]
    pub words: Vec<String>,
    /// Allow to change what the device stores.
    #[arg(long)]
    pub write: bool,
    /// Allow also what may move the valve: range, damping, transfer function, assignment, loop
    /// current mode. Without it these are left out, and told.
    #[arg(long = "move")]
    pub moves: bool,
    /// Restore the polling address too, with --move. It is left alone unless told, since the device then
    /// answers elsewhere and who knows it by its old address loses sight of it.
    #[arg(long)]
    pub polling_address: bool,
    /// Take settings of another type of device, device revision or protocol revision.
    #[arg(long)]
    pub other_type: bool,
    /// Take settings of another device than this one, which takes its place: a new one where the old one
    /// failed. Labels go into it too. See that it is no other valve's.
    #[arg(long)]
    pub other_device: bool,
    /// End at the first value that does not arrive, instead of going on with the rest.
    #[arg(long)]
    pub stop: bool,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// How the host behaves.
    #[command(flatten)]
    pub host: HostArgs,
}
