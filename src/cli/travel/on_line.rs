//! A line that is open for a test: host, who moves the set point, and Ctrl-C.

use super::api::Api;
use super::by_bench::ByBench;
use super::by_device::ByDevice;
use super::by_person::ByPerson;
use super::given::By;
use super::hands::Hands;
use super::person::Asked;
use crate::app::command::Catalogue;
use crate::bench::{BenchPlan, Waiting};
use crate::cli::args::HostArgs;
use crate::cli::ask::master_config;
use crate::cli::describing::with_line;
use crate::cli::lines::{LineSpec, quoted, with_log};
use crate::cli::open_line::OpenLine;
use crate::cli::output::Failure;
use crate::cli::silence::ServerSaid;
use crate::frame::PollingAddress;
use crate::host::{Ask, Device, Host, Stimulus, To};
use crate::line::Line;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

const MOVER: &str = "choosing who moves the set point";

/// LINE and TO as they were named.
pub struct Named {
    pub spec: LineSpec,
    pub to: To,
}

impl Named {
    /// Reads them; TO left out is polling address 0.
    ///
    /// # Errors
    /// There is no line, or one of them is none.
    pub fn read(words: &[String], doing: &str, order: &str) -> Result<Named, Failure> {
        let next = || format!("{order}; `looprig ask --help` tells how both are named");
        let wrong = |wrong| Failure::new(doing, wrong, next());
        let [line, to @ ..] = words else { return Err(wrong("no line is given".to_owned())) };
        let spec = LineSpec::parse(line).map_err(wrong)?;
        let to = to
            .first()
            .map_or(Ok(To::Polling(PollingAddress::default())), |to| To::parse(to))
            .map_err(wrong)?;
        Ok(Named { spec, to })
    }
}

/// Line, device and descriptions as `looprig ask` takes them.
pub fn as_asked(words: &[String], descriptions: &[PathBuf]) -> String {
    let line = words.first().map(String::as_str).unwrap_or_default();
    let to = words.get(1).map_or("0", String::as_str);
    let files = descriptions.iter().map(|f| format!(" --description {}", quoted(&f.to_string_lossy())));
    format!("{} {}{}", quoted(line), quoted(to), files.collect::<String>())
}

/// A line that is open.
pub struct OnLine<'a> {
    pub host: Host<Box<dyn Line + 'a>>,
    pub to: To,
    pub line_name: String,
    pub server: Option<ServerSaid>,
    /// The bench of this process behind the line, if there is one.
    here: Option<(Arc<BenchPlan>, Waiting)>,
    /// Whether Ctrl-C was pressed.
    pub ended: Arc<AtomicBool>,
}

impl OnLine<'_> {
    /// Opens it; Ctrl-C ends what is done on it.
    ///
    /// # Errors
    /// It cannot be opened.
    pub fn open<'a>(named: Named, args: &HostArgs, catalogue: Catalogue) -> Result<OnLine<'a>, Failure> {
        let line = named.spec.open()?;
        let catalogue = with_line(catalogue, &line)?;
        let ended = Arc::new(AtomicBool::new(false));
        let (flag, handle) = (Arc::clone(&ended), line.interrupt_handle());
        ctrlc::set_handler(move || {
            flag.store(true, Ordering::SeqCst);
            handle.interrupt();
        })
        .map_err(|e| Failure::new("getting ready for Ctrl-C", e.to_string(), ""))?;
        let here = match &line {
            OpenLine::Mock(mock) => Some(mock.handle()),
            _ => None,
        };
        let line_name = line.describe();
        let server = line.server_said();
        let line = with_log(line, args.log.as_deref())?;
        let host = Host::new(line, master_config(args)).with_catalogue(catalogue);
        Ok(OnLine { host, to: named.to, line_name, server, here, ended })
    }

    /// Whether the bench of this process says that its device comes calibrated.
    pub fn says_calibrated(&self, device: &Device) -> bool {
        let Some((plan, _)) = &self.here else { return false };
        let of = plan.devices.iter().find(|d| d.config.identity.unique_address() == device.unique);
        of.and_then(|d| d.valve.as_ref()).is_some_and(|v| v.is_calibrated)
    }

    /// Who moves the set point of a device; `None`: nobody has answered, and it is the only one of a bench. `asked` is what
    /// [`as_asked`] gives.
    ///
    /// # Errors
    /// Whoever was named cannot, and what would be right.
    pub fn stimulus(
        &self,
        by: Option<By>,
        device: Option<&Device>,
        person: &Asked,
        asked: &str,
    ) -> Result<Box<dyn Stimulus>, Failure> {
        let doing = MOVER;
        let failed = |(wrong, next): (String, String)| Failure::new(doing, wrong, next);
        let by = by.unwrap_or(if self.here.is_some() { By::Bench } else { By::Person });
        let unique = device.map(|d| d.unique);
        Ok(match by {
            By::Person => {
                let bench = self.here.clone().map(|(plan, waiting)| ByBench::here(plan, waiting, unique));
                Box::new(ByPerson::new(person.clone(), bench))
            }
            By::Bench => {
                let Some((plan, waiting)) = self.here.clone() else {
                    let next =
                        "give --by person, --by device, or --by api:URL for a running `looprig mock --api`";
                    return Err(Failure::new(doing, "only a mock: line has a bench in this process", next));
                };
                Box::new(ByBench::here(plan, waiting, unique))
            }
            By::Device => {
                let Some(device) = device else {
                    let next = "let a person or a bench move the set point (--by)";
                    return Err(Failure::new(
                        doing,
                        "the device does not answer, so it takes no command",
                        next,
                    ));
                };
                let described = self.host.described(device).map(|d| d.description());
                let spec = |number| self.host.spec(device, number);
                let by = ByDevice::of(*device, described, &spec).map_err(failed)?;
                Box::new(by.on_line(asked.to_owned()))
            }
            By::Api(api) => Box::new(self.running(api)?),
        })
    }

    /// What plays a person's hands at the valve: the bench of this process, or a running one that moves the set point; else `None`.
    ///
    /// # Errors
    /// As [`OnLine::stimulus`].
    pub fn hands(&self, by: Option<&By>, device: &Device) -> Result<Option<Hands>, Failure> {
        match (&self.here, by) {
            (Some((plan, waiting)), _) => {
                let bench = ByBench::here(Arc::clone(plan), waiting.clone(), Some(device.unique));
                Ok(Some(bench.hands()))
            }
            (None, Some(By::Api(api))) => self.running(api.clone()).map(|bench| Some(bench.hands())),
            _ => Ok(None),
        }
    }

    /// The running bench behind an API, with the device that is asked.
    fn running(&self, api: Api) -> Result<ByBench, Failure> {
        let (tag, polling) = match &self.to {
            To::Tag(tag) => (tag.as_str(), None),
            To::Polling(p) => ("", Some(p.get())),
            _ => ("", None),
        };
        let failed = |(wrong, next): (String, String)| Failure::new(MOVER, wrong, next);
        ByBench::running(api, tag, polling).map_err(failed)
    }
}
