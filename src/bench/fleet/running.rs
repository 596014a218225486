//! A fleet on the wall clock: its loops behind one gateway, or each with ports of its own [IP-17].

use super::front::Front;
use crate::bench::places::PortPlace;
use crate::bench::plan::{BenchPlan, LineKind, LinePlan};
use crate::bench::{Bench, Error, Notice};
use crate::line::io::{InterruptHandle, PortEvent, Ports, allow_many};
use core::fmt;
use std::sync::mpsc::sync_channel;

/// Notices of loops that wait to be told; a loop that finds no room waits.
const MOST_NOTICES: usize = 1024;
/// Stack of a loop's thread, octets; the system gives as much of it as is used.
const STACK: usize = 2 << 20;

/// Open files of a HART-IP server, its two sockets and what waits for them, and of another port (counted on Linux).
const FILES_OF_A_SERVER: usize = 5;
const FILES_OF_A_PORT: usize = 4;
/// Open files of the program itself, and of some TCP clients.
const SPARE_FILES: usize = 50;

/// Why a fleet cannot run, or not to its end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FleetError {
    /// Which loop, such as `loop 17 (FV-0017)`; `None`: what is in front of all.
    pub whose: Option<String>,
    /// What.
    pub error: Error,
}

impl FleetError {
    pub(super) fn of(template: &BenchPlan, index: usize, error: Error) -> FleetError {
        FleetError { whose: Some(loop_name(template, index)), error }
    }
}

impl fmt::Display for FleetError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.whose {
            Some(whose) => write!(f, "{whose}: {}", self.error),
            None => self.error.fmt(f),
        }
    }
}

impl std::error::Error for FleetError {}

/// A loop in messages, by its number and the tag of its first device.
fn loop_name(template: &BenchPlan, index: usize) -> String {
    let number = template.fleet.map_or(index as u64 + 1, |f| f.number(index));
    let tag = template.loop_plan(index).devices.into_iter().next().map(|d| d.config.factory.tag);
    match tag.as_deref().map(str::trim_end) {
        None | Some("") => format!("loop {number}"),
        Some(tag) => format!("loop {number} ({tag})"),
    }
}

/// How many files a process has open while it runs all loops, and is asked by a few clients.
fn open_files(plan: &BenchPlan) -> usize {
    let of_line = |line: &LinePlan| match line.kind {
        LineKind::HartIp(_) => FILES_OF_A_SERVER,
        _ => FILES_OF_A_PORT,
    };
    let lines: usize = plan.lines.iter().map(of_line).sum();
    let claims = plan.devices.iter().filter(|d| d.memory.is_some()).count();
    match plan.gateway {
        Some(_) => SPARE_FILES + lines + claims * plan.loops(),
        None => SPARE_FILES + (lines + claims) * plan.loops(),
    }
}

/// Many loops in one process. Making one opens the ports of all; [`Fleet::run`] lets them answer.
pub struct Fleet {
    template: BenchPlan,
    form: Form,
}

enum Form {
    Gateway(Box<Front>),
    Apart {
        loops: Vec<Bench>,
        /// It has no port: the end and news of loops come here.
        control: Box<Ports>,
    },
}

impl Fleet {
    /// Opens every port of every loop and powers all devices up; `template` is a plan with a fleet.
    ///
    /// # Errors
    /// As of [`Bench::open`], with the loop; or before any port is opened, where the system allows too few open files.
    pub fn open(template: BenchPlan) -> Result<Fleet, FleetError> {
        if let Some(allowed) = allow_many() {
            let wanted = open_files(&template) as u64;
            if wanted > allowed {
                return Err(FleetError { whose: None, error: Error::TooManyFiles { wanted, allowed } });
            }
        }
        let form = match template.gateway.clone() {
            Some(gateway) => Form::Gateway(Box::new(Front::open(&template, gateway)?)),
            None => {
                let open =
                    |i| Bench::open(template.loop_plan(i)).map_err(|e| FleetError::of(&template, i, e));
                let loops = (0..template.loops()).map(open).collect::<Result<_, _>>()?;
                Form::Apart { loops, control: Box::new(Ports::new()) }
            }
        };
        Ok(Fleet { template, form })
    }

    /// What the loops were made of.
    pub fn template(&self) -> &BenchPlan {
        &self.template
    }

    /// The loops, in the order of their numbers.
    pub fn loops(&self) -> &[Bench] {
        match &self.form {
            Form::Gateway(front) => front.loops(),
            Form::Apart { loops, .. } => loops,
        }
    }

    /// The lines in front of all loops, in the order of the plan; none where each loop has its own.
    pub fn places(&self) -> &[PortPlace] {
        match &self.form {
            Form::Gateway(front) => front.places(),
            Form::Apart { .. } => &[],
        }
    }

    /// A loop in messages, by its number and the tag of its first device.
    pub fn name(&self, index: usize) -> String {
        loop_name(&self.template, index)
    }

    /// A handle that ends [`Fleet::run`] from another thread.
    pub fn interrupt_handle(&self) -> InterruptHandle {
        match &self.form {
            Form::Gateway(front) => front.interrupt_handle(),
            Form::Apart { control, .. } => control.interrupt_handle(),
        }
    }

    /// Runs until it is interrupted, and tells `on` what happens, with the index of the loop or `None` for the lines in
    /// front of all. Nobody is told that loops are ready: they are from the beginning.
    ///
    /// # Errors
    /// The last port is lost, or at the end something stored could not be saved: the first of these.
    pub fn run(&mut self, on: &mut dyn FnMut(Option<usize>, Notice)) -> Result<(), FleetError> {
        let ended = match &mut self.form {
            Form::Gateway(front) => front.run(on),
            Form::Apart { loops, control } => apart(loops, control, on),
        };
        ended.map_err(|(index, error)| match index {
            Some(index) => FleetError::of(&self.template, index, error),
            None => FleetError { whose: None, error },
        })
    }
}

/// What a loop's thread says.
enum Said {
    Notice(Notice),
    Ended(Result<(), Error>),
}

/// Every loop in a thread of its own.
fn apart(
    loops: &mut [Bench],
    control: &mut Ports,
    on: &mut dyn FnMut(Option<usize>, Notice),
) -> Result<(), (Option<usize>, Error)> {
    let handles: Vec<InterruptHandle> = loops.iter().map(Bench::interrupt_handle).collect();
    let (say, said) = sync_channel::<(usize, Said)>(MOST_NOTICES);
    let mut ended = Ok(());
    std::thread::scope(|scope| {
        let mut left = 0;
        for (i, bench) in loops.iter_mut().enumerate() {
            let (say, wake) = (say.clone(), control.wake_handle());
            let thread = std::thread::Builder::new().name("looprig-loop".to_owned()).stack_size(STACK);
            let started = thread.spawn_scoped(scope, move || {
                let tell = |what| {
                    let _ = say.send((i, what));
                    wake.wake();
                };
                let ended = bench.run(&mut |notice| {
                    if !matches!(notice, Notice::Ready { .. }) {
                        tell(Said::Notice(notice));
                    }
                });
                tell(Said::Ended(ended));
            });
            match started {
                Ok(_) => left += 1,
                Err(e) => {
                    let fault = crate::line::Fault::System;
                    let error = crate::line::Error::new("starting", "a loop", fault, e);
                    ended = Err((Some(i), Error::Port(error)));
                    control.interrupt_handle().interrupt();
                    break;
                }
            }
        }
        while left > 0 {
            if control.wait(None) == PortEvent::Interrupted {
                handles.iter().for_each(InterruptHandle::interrupt);
            }
            while let Ok((i, what)) = said.try_recv() {
                match what {
                    Said::Notice(notice) => on(Some(i), notice),
                    Said::Ended(of_loop) => {
                        left -= 1;
                        if ended.is_ok() {
                            ended = of_loop.map_err(|e| (Some(i), e));
                        }
                    }
                }
            }
        }
    });
    ended
}
