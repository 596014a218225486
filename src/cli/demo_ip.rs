//! A step of the demo: devices behind an IP gateway, asked by HART-IP over this machine's loopback.

use super::ask::host_failure;
use super::demo::Stage;
use super::output::Failure;
use crate::bench::{Bench, check};
use crate::exchange::view::Tone;
use crate::frame::PollingAddress;
use crate::host::{Host, HostError, To};
use crate::line::HartIpClient;
use crate::line::io::PortLine;
use crate::link::MasterConfig;
use std::path::Path;

/// Three devices and a gateway before them; here at any port that is free.
const BENCH: &str = include_str!("../../fixtures/benches/hart-ip-gateway.toml");
/// Who stands behind the gateway as number 1.
const LONG_TAG: &str = "Brackenmoor filter 4 outlet";

/// Finds the gateway, asks it who is behind it, and reads a device through it [IP-16].
pub fn gateway(stage: &mut Stage<'_>) -> Result<(), Failure> {
    stage.say("\n14. The filter house has an IP gateway: what is behind it, by HART-IP over UDP?")?;
    let own = |wrong: String| {
        Failure::new("starting the gateway of the demo", wrong, "report this as a fault of looprig")
    };
    let text = BENCH.replace("\"hart-ip:\"", "\"hart-ip::0\"");
    let plan = check(&text, Path::new("hart-ip-gateway.toml")).map_err(|e| own(e.to_string()))?;
    let mut bench = Bench::open(plan).map_err(|e| own(e.to_string()))?;
    let at = bench.places()[0].path.display().to_string();
    let interrupt = bench.interrupt_handle();
    let thread = std::thread::spawn(move || bench.run(&mut drop));
    let asked = ask(stage, at.strip_prefix("hart-ip:").unwrap_or(&at));
    interrupt.interrupt();
    let ended = thread.join().map_err(|_| own("its thread ended in a panic".to_owned()))?;
    asked?;
    ended.map_err(|e| own(e.to_string()))
}

fn ask(stage: &mut Stage<'_>, at: &str) -> Result<(), Failure> {
    let failure = |e: HostError| host_failure("talking to the gateway".into(), e);
    let to = HartIpClient::parse(false, at, "").map_err(Failure::told)?;
    let mut host = Host::new(PortLine::open_hart_ip(&to)?, MasterConfig::default());
    let (found, gateway) = host.poll(PollingAddress::default(), None).map_err(failure)?;
    stage.show(&found)?;
    let Some(gateway) = gateway else { return stage.step("the gateway answered", false) };
    let counted = host.ask(&gateway, 74, &[]).map_err(failure)?;
    stage.show(&counted)?;
    let index = [("index".to_owned(), "1".to_owned())];
    let first = host.ask(&gateway, 84, &index).map_err(failure)?;
    stage.show(&first)?;
    let devices = counted.number("devices_detected");
    let tag = first.value("long_tag").map(|v| v.cell());
    let all = devices == Some(4) && tag.as_deref() == Some(LONG_TAG);
    stage.step("the gateway tells of itself and three devices", all)?;
    let (_, device) = host.find(&To::LongTag(LONG_TAG.to_owned())).map_err(failure)?;
    let Some(device) = device else {
        return stage.step("a device behind it was found by its long tag", false);
    };
    let read = host.ask(&device, 3, &[]).map_err(failure)?;
    stage.show(&read)?;
    stage.step("a device behind it was found by its long tag and read", read.tone() == Tone::Plain)
}
