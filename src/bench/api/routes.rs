//! What can be asked: one table by which the server works and of which the document is made [BA-10].

use super::asked::{Asked, periods_s, short, steps_s};
use super::given::{
    LATEST_S, MOST_SAMPLES, change_body, most_schema, names_schema, period_schema, record_body, run_body,
    step_body, time_schema,
};
use super::problem::Problem;
use super::shown::{
    BenchShown, ChangedShown, ChangesShown, DisplaysShown, QuantitiesShown, SnapshotShown, SnapshotsShown,
    TimeShown, TraceShown, WindowShown, csv,
};
use crate::bench::driven::{Answer, Order, SPEEDS, device_key};
use crate::bench::{BenchPlan, CHANGES, Change, SEVERITY, Takes, fault_change};
use crate::time::Instant;
use axum::http::StatusCode;
use core::time::Duration;
use schemars::{Schema, SchemaGenerator};
use serde::Serialize;
use serde_json::{Value as Json, json};

/// A method of HTTP.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// Reads.
    Get,
    /// Does something.
    Post,
    /// Makes or replaces something.
    Put,
    /// Drops something.
    Delete,
}

/// A parameter of a query.
pub struct Parameter {
    pub name: &'static str,
    pub says: &'static str,
    pub is_required: bool,
    pub schema: fn() -> Json,
}

/// What an answer is.
pub enum Kind {
    /// JSON of this shape.
    Json(fn(&mut SchemaGenerator) -> Schema),
    /// The document itself.
    Document,
    /// A table.
    Csv,
    /// Server-sent events.
    Events,
}

/// What is to be done for a request.
pub enum Next {
    /// This is the answer.
    Tell(Json),
    /// The document is the answer.
    Document,
    /// The bench is asked, and this makes an answer of what it says.
    Ask(Order, fn(Answer) -> Told),
    /// A stream is opened.
    Stream { quantities: Vec<String>, period: Duration },
}

/// An answer.
pub enum Told {
    /// JSON.
    Json(Json),
    /// A table.
    Csv(String),
}

/// Something that can be asked.
pub struct Route {
    pub method: Method,
    pub path: &'static str,
    /// Its name in the document.
    pub id: &'static str,
    pub summary: &'static str,
    pub says: &'static str,
    pub query: &'static [Parameter],
    pub body: Option<fn() -> Json>,
    pub answer: Kind,
    /// What it may be refused with besides what everything may.
    pub refuses: &'static [u16],
    pub act: fn(&BenchPlan, &Asked) -> Result<Next, Problem>,
}

fn json_of(shown: impl Serialize) -> Json {
    // Shown are structs of strings, numbers and lists: they can always be written.
    serde_json::to_value(shown).unwrap_or_default()
}

/// What the bench says as JSON.
fn told(answer: Answer) -> Told {
    Told::Json(match answer {
        Answer::Time(time) => json_of(TimeShown::from(time)),
        Answer::Read { at, readings } => json_of(QuantitiesShown {
            at_s: at.as_secs_f64(),
            quantities: readings.into_iter().map(Into::into).collect(),
        }),
        Answer::Changed { at, became } => json_of(ChangedShown {
            at_s: at.as_secs_f64(),
            became: became.into_iter().map(Into::into).collect(),
        }),
        Answer::Displays { at, displays } => json_of(DisplaysShown {
            at_s: at.as_secs_f64(),
            displays: displays.into_iter().map(Into::into).collect(),
        }),
        Answer::Snapshots(all) => {
            json_of(SnapshotsShown { snapshots: all.into_iter().map(SnapshotShown::from).collect() })
        }
        Answer::Snapshot(one) => json_of(SnapshotShown::from(one)),
        Answer::Window(window) => json_of(WindowShown::from(window)),
        Answer::Tracing(plan) => json_of(TraceShown::from(plan)),
    })
}

fn told_as_csv(answer: Answer) -> Told {
    match answer {
        Answer::Window(window) => Told::Csv(csv(&window)),
        other => told(other),
    }
}

fn ask(order: Order) -> Result<Next, Problem> {
    Ok(Next::Ask(order, told))
}

fn run(_: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    let members = asked.members(&["speed"])?;
    let speed = asked.member("speed", members.get("speed").or(Some(&json!(1.0))), SPEEDS.0..=SPEEDS.1)?;
    ask(Order::Run { speed })
}

fn step(_: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    let members = asked.members(&["by_s"])?;
    let by_s = asked.member("by_s", members.get("by_s"), steps_s())?;
    ask(Order::Step { by: Duration::from_secs_f64(by_s) })
}

fn read(_: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    ask(Order::Read { names: asked.names("name") })
}

fn take(_: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    ask(Order::Take { name: asked.name.clone() })
}

fn restore(_: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    ask(Order::Restore { name: asked.name.clone() })
}

fn forget(_: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    ask(Order::Forget { name: asked.name.clone() })
}

/// The device that a member names: by its key, tag or long tag, or by its polling address, as the bench file has them.
fn device(plan: &BenchPlan, asked: &Asked, given: &Json) -> Result<usize, Problem> {
    let stored = |i: usize| &plan.devices[i].config.factory;
    let fits = |i: &usize| match given {
        Json::String(name) => {
            device_key(plan, *i) == *name
                || !name.is_empty() && (stored(*i).tag == name.to_uppercase() || stored(*i).long_tag == *name)
        }
        Json::Number(n) => n.as_u64() == Some(stored(*i).polling_address.into()),
        _ => false,
    };
    let mut found = (0..plan.devices.len()).filter(fits);
    match (found.next(), found.next()) {
        (Some(i), None) => Ok(i),
        (first, _) => {
            if !given.is_string() && !given.is_number() {
                let next = "give its tag in quotes, or its polling address";
                return Err(asked.cannot(format!("device cannot be {}", short(given)), next));
            }
            let how_many = if first.is_some() { "several devices are" } else { "no device is" };
            Err(Problem::new(
                StatusCode::NOT_FOUND,
                asked.doing.clone(),
                format!("{how_many} called {}", short(given)),
                "ask GET /bench: it tells the keys of the devices",
            ))
        }
    }
}

fn change(plan: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    let keys: Vec<&str> = CHANGES.iter().map(|c| c.key).chain(["device", SEVERITY]).collect();
    let members = asked.members(&keys)?;
    let mut given = CHANGES.iter().filter_map(|c| Some((c, members.get(c.key)?)));
    let next = "give one of the keys that GET /changes tells, and device where one is meant";
    let (spec, value) = given.next().ok_or_else(|| asked.cannot("this changes nothing", next))?;
    if given.next().is_some() {
        return Err(asked.cannot("this changes two things", "send a request for each"));
    }
    let switch = || {
        let next = format!("give \"{}\": true or false", spec.key);
        value.as_bool().ok_or_else(|| asked.cannot(format!("{} cannot be {}", spec.key, short(value)), next))
    };
    let change: Change = match &spec.takes {
        Takes::Number { range, make, .. } => make(asked.member(spec.key, Some(value), range.clone())?),
        Takes::Fault => {
            let named = |severity| value.as_str().and_then(|word| fault_change(word, severity));
            let next = "give one of the words that GET /changes tells";
            let wrong = || asked.cannot(format!("{} cannot be {}", spec.key, short(value)), next);
            named(0.0).ok_or_else(wrong)?;
            named(asked.member(SEVERITY, members.get(SEVERITY), 0.0..=1.0)?).ok_or_else(wrong)?
        }
        Takes::Switch(make) => make(switch()?),
        Takes::Moment(change) if switch()? => *change,
        Takes::Moment(_) => {
            let next = format!("give \"{}\": true", spec.key);
            return Err(asked.cannot(format!("{} = false changes nothing", spec.key), next));
        }
    };
    if members.contains_key(SEVERITY) && !matches!(spec.takes, Takes::Fault) {
        let next = "leave it out, or name a fault";
        return Err(asked.cannot("severity is that of a fault, and there is none", next));
    }
    let device = members.get("device").map(|d| device(plan, asked, d)).transpose()?;
    ask(Order::Change { device, change })
}

fn record(_: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    let members = asked.members(&["quantities", "period_s"])?;
    let next = "give \"quantities\": a list of 1 to 64 names that GET /quantities tells";
    let list = members.get("quantities").and_then(Json::as_array);
    let names =
        list.and_then(|l| l.iter().map(|n| n.as_str().map(str::to_owned)).collect::<Option<Vec<_>>>());
    let quantities = names.ok_or_else(|| asked.cannot("quantities is no list of names", next))?;
    let period_s = asked.member("period_s", members.get("period_s"), periods_s())?;
    ask(Order::Record { quantities, period: asked.period(period_s) })
}

fn window(asked: &Asked) -> Result<Order, Problem> {
    let time = |name, or| asked.number(name, 0.0..=LATEST_S, Some(or));
    let at = |s: f64| Instant::ZERO + Duration::from_secs_f64(s);
    let most = asked.number("most", 1.0..=MOST_SAMPLES, Some(1_000.0))?;
    if most.fract() != 0.0 {
        return Err(asked.cannot(format!("most cannot be {most}"), "give a whole number"));
    }
    Ok(Order::Recording {
        from: at(time("from_s", 0.0)?),
        to: at(time("to_s", LATEST_S)?),
        most: most as usize,
    })
}

fn recording(_: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    ask(window(asked)?)
}

fn recording_csv(_: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    Ok(Next::Ask(window(asked)?, told_as_csv))
}

fn trace(_: &BenchPlan, asked: &Asked) -> Result<Next, Problem> {
    let missing =
        || asked.cannot("quantity is missing", "give quantity=NAME,NAME of those that GET /quantities tells");
    let quantities = asked.names("quantity").ok_or_else(missing)?;
    let period_s = asked.number("period_s", periods_s(), Some(1.0))?;
    Ok(Next::Stream { quantities, period: asked.period(period_s) })
}

const WINDOW: &[Parameter] = &[
    Parameter {
        name: "from_s",
        says: "Samples from then on, s of bench time.",
        is_required: false,
        schema: time_schema,
    },
    Parameter {
        name: "to_s",
        says: "Samples up to then, s of bench time.",
        is_required: false,
        schema: time_schema,
    },
    Parameter {
        name: "most",
        says: "At most so many, the oldest of the window.",
        is_required: false,
        schema: most_schema,
    },
];

/// Shapes of answers, by type.
fn shape<T: schemars::JsonSchema>(generator: &mut SchemaGenerator) -> Schema {
    generator.subschema_for::<T>()
}

const PLAIN: Route = Route {
    method: Method::Get,
    path: "/",
    id: "",
    summary: "",
    says: "",
    query: &[],
    body: None,
    answer: Kind::Document,
    refuses: &[],
    act: |_, _| Ok(Next::Document),
};

/// Everything that can be asked.
pub static ROUTES: &[Route] = &[
    Route {
        path: "/openapi.json",
        id: "document",
        summary: "This document",
        says: "What can be asked, as OpenAPI.",
        ..PLAIN
    },
    Route {
        path: "/bench",
        id: "bench",
        summary: "What the bench is",
        says: "Its devices and lines, as the bench file has them.",
        answer: Kind::Json(shape::<BenchShown>),
        act: |plan, _| Ok(Next::Tell(json_of(BenchShown::of(plan)))),
        ..PLAIN
    },
    Route {
        path: "/time",
        id: "time",
        summary: "How bench time goes",
        says: "Bench time, whether it runs, and what became of octets while it did not run as on the wall.",
        answer: Kind::Json(shape::<TimeShown>),
        act: |_, _| ask(Order::Time),
        ..PLAIN
    },
    Route {
        method: Method::Post,
        path: "/time/pause",
        id: "pause",
        summary: "Time stands",
        says: "From now on, until it is told to run. The lines are cut off from the wires meanwhile. A step under way ends.",
        answer: Kind::Json(shape::<TimeShown>),
        act: |_, _| ask(Order::Pause),
        ..PLAIN
    },
    Route {
        method: Method::Post,
        path: "/time/run",
        id: "run",
        summary: "Time runs",
        says: "At a speed beside the wall clock. The lines are joined to the wires at speed 1 alone.",
        body: Some(run_body),
        answer: Kind::Json(shape::<TimeShown>),
        refuses: &[409],
        act: run,
        ..PLAIN
    },
    Route {
        method: Method::Post,
        path: "/time/step",
        id: "step",
        summary: "Time goes on by a step",
        says: "As fast as the machine computes, then it stands again; answered when that is done. Only while it stands.",
        body: Some(step_body),
        answer: Kind::Json(shape::<TimeShown>),
        refuses: &[409],
        act: step,
        ..PLAIN
    },
    Route {
        path: "/quantities",
        id: "quantities",
        summary: "Every quantity",
        says: "All that can be read at this moment: physics, what devices sense and mean, and what is set.",
        query: &[Parameter {
            name: "name",
            says: "Only these, with commas between.",
            is_required: false,
            schema: names_schema,
        }],
        answer: Kind::Json(shape::<QuantitiesShown>),
        refuses: &[404],
        act: read,
        ..PLAIN
    },
    Route {
        path: "/displays",
        id: "displays",
        summary: "What the displays show",
        says: "The lines of the display of every positioner that has one, as somebody before it reads them.",
        answer: Kind::Json(shape::<DisplaysShown>),
        act: |_, _| ask(Order::Displays),
        ..PLAIN
    },
    Route {
        path: "/changes",
        id: "changes",
        summary: "What can be changed",
        says: "The keys of the bench file's events, with units and ranges.",
        answer: Kind::Json(shape::<ChangesShown>),
        act: |_, _| Ok(Next::Tell(json_of(ChangesShown::all()))),
        ..PLAIN
    },
    Route {
        method: Method::Post,
        path: "/changes",
        id: "change",
        summary: "Something changes now",
        says: "The same as an event of the bench file, without its time: one key, and the device where one is meant. A key of a \
               positioner, and a calibration, are answered with what the device makes of them; a calibration that no device \
               begins is refused with 409.",
        body: Some(change_body),
        answer: Kind::Json(shape::<ChangedShown>),
        refuses: &[404, 409],
        act: change,
        ..PLAIN
    },
    Route {
        path: "/snapshots",
        id: "snapshots",
        summary: "The snapshots",
        says: "In the order in which they were taken.",
        answer: Kind::Json(shape::<SnapshotsShown>),
        act: |_, _| ask(Order::Snapshots),
        ..PLAIN
    },
    Route {
        method: Method::Put,
        path: "/snapshots/{name}",
        id: "take_snapshot",
        summary: "A snapshot is taken",
        says: "Of the whole world, under this name; one of that name is replaced. Only while time stands.",
        answer: Kind::Json(shape::<SnapshotShown>),
        refuses: &[409],
        act: take,
        ..PLAIN
    },
    Route {
        method: Method::Delete,
        path: "/snapshots/{name}",
        id: "drop_snapshot",
        summary: "A snapshot is dropped",
        says: "It cannot be restored any more.",
        answer: Kind::Json(shape::<SnapshotShown>),
        refuses: &[404],
        act: forget,
        ..PLAIN
    },
    Route {
        method: Method::Post,
        path: "/snapshots/{name}/restore",
        id: "restore_snapshot",
        summary: "The world is as in a snapshot",
        says: "Sessions on the lines end; time stands. Only while time stands.",
        answer: Kind::Json(shape::<SnapshotShown>),
        refuses: &[404, 409],
        act: restore,
        ..PLAIN
    },
    Route {
        method: Method::Put,
        path: "/recording",
        id: "record",
        summary: "A recording begins",
        says: "In place of the one before. The newest samples are kept, up to 1048576 values.",
        body: Some(record_body),
        answer: Kind::Json(shape::<TraceShown>),
        refuses: &[404],
        act: record,
        ..PLAIN
    },
    Route {
        path: "/recording",
        id: "recording",
        summary: "A window of the recording",
        says: "As JSON.",
        query: WINDOW,
        answer: Kind::Json(shape::<WindowShown>),
        act: recording,
        ..PLAIN
    },
    Route {
        path: "/recording.csv",
        id: "recording_csv",
        summary: "A window of the recording as a table",
        says: "A row of names, then a row for each sample.",
        query: WINDOW,
        answer: Kind::Csv,
        act: recording_csv,
        ..PLAIN
    },
    Route {
        method: Method::Delete,
        path: "/recording",
        id: "stop_recording",
        summary: "The recording is dropped",
        says: "Nothing is recorded until the next one.",
        answer: Kind::Json(shape::<WindowShown>),
        act: |_, _| ask(Order::StopRecording),
        ..PLAIN
    },
    Route {
        path: "/trace",
        id: "trace",
        summary: "A stream of samples",
        says: "Server-sent events: `trace` tells what is traced, each `sample` has at_s and values, `restored` tells that the \
               bench was put back, `too_slow` is the last for a reader who does not keep up.",
        query: &[
            Parameter {
                name: "quantity",
                says: "1 to 64 names of quantities, with commas between.",
                is_required: true,
                schema: names_schema,
            },
            Parameter {
                name: "period_s",
                says: "How often; 1 unless told.",
                is_required: false,
                schema: period_schema,
            },
        ],
        answer: Kind::Events,
        refuses: &[404],
        act: trace,
        ..PLAIN
    },
];
