//! Moving the set point, waiting for rest, and looking whether set point and valve came [TV-21] [TV-22] [TV-83].

use super::{Run, capital};
use crate::commission::travel::record::{Drive, Elsewhere, Sample, Stood, Tail};
use crate::commission::travel::sensing::{Halt, Rested, Until};
use crate::host::stimulus::{Given, SetPoint};

/// Input over which a valve that was never seen to move counts as one that does not, percent [TV-21].
const STUCK_PERCENT: f64 = 10.0;
/// The same of one that has moved before: its travel may be limited short of its ends, percent [TV-21].
const STOPPED_PERCENT: f64 = 30.0;
/// Travel that stays within this does not move, percent, or within its noise [TV-21].
const STILL_PERCENT: f64 = 0.2;
/// So often in a row the set point may be elsewhere while the valve stands, before the test is given up [TV-83].
const ASTRAY: u32 = 2;
/// How often a person is asked again to set what the device does not read [TV-22].
const SET_AGAIN: u32 = 2;
/// How often the device is read before that, a second apart [TV-22].
const LOOKS: u32 = 3;
/// An input that moves less may stay within the dead band: nobody waits for travel to follow, percent (own choice).
const MUST_FOLLOW_PERCENT: f64 = 1.0;

impl Run<'_> {
    /// Moves the set point; gives the moment, s, and by how much it may be wrong, s.
    pub(super) fn set(&mut self, percent: f64) -> Result<(f64, f64), Halt> {
        let to = match self.stimulus.capabilities().sets_current {
            true => SetPoint::CurrentMa(SetPoint::Percent(percent).current_ma()),
            false => SetPoint::Percent(percent),
        };
        self.ahead(to)?;
        self.tried = true;
        // Where it is while this has not come back is not known.
        self.input = None;
        let mut given = self.stimulus.set(self.sensing.ask, to)?;
        self.input = Some(percent);
        if self.stimulus.capabilities().is_person {
            for _ in 0..SET_AGAIN {
                let Some(wrong) = self.elsewhere_at_once(percent)? else { break };
                let again = format!("{}: set {:.2} mA again.", capital(&wrong), to.current_ma());
                self.person.tell(&again);
                self.input = None;
                given = self.stimulus.set(self.sensing.ask, to)?;
                self.input = Some(percent);
            }
        }
        Ok(self.moment(given))
    }

    /// What the device reads of a set point now.
    pub(super) fn drive(&mut self, asked_percent: f64) -> Result<Drive, Halt> {
        let sets_current = self.stimulus.capabilities().sets_current;
        let readings = self.sensing.readings.clone();
        Ok(Drive {
            asked_percent,
            asked_ma: sets_current.then(|| SetPoint::Percent(asked_percent).current_ma()),
            read_ma: self.sensing.number(readings.current.as_ref())?,
            set_point_percent: self.sensing.number(readings.set_point.as_ref())?,
        })
    }

    /// Looks whether the set point is where it was asked for, and keeps it where it is not [TV-22] [TV-65].
    pub(super) fn driven(&mut self, asked_at_s: f64, percent: f64) -> Result<bool, Halt> {
        let drive = self.drive(percent)?;
        let Some(wrong) = drive.wrong() else { return Ok(true) };
        self.record.elsewhere.push(Elsewhere { asked_at_s, drive });
        self.person.tell(&format!("Not judged: {wrong}. Look at the source, the wiring and the selector."));
        Ok(false)
    }

    /// What the device reads elsewhere right after a person has set it; a little time is given to filters [TV-22].
    pub(super) fn elsewhere_at_once(&mut self, percent: f64) -> Result<Option<String>, Halt> {
        let mut wrong = None;
        for _ in 0..LOOKS {
            self.sensing.travel(false)?;
            wrong = self.drive(percent)?.wrong();
            if wrong.is_none() {
                break;
            }
            self.sensing.ask.rest(core::time::Duration::from_secs(1))?;
        }
        Ok(wrong)
    }

    pub(super) fn moment(&self, given: Given) -> (f64, f64) {
        (self.sensing.seconds(given.at), given.uncertain.as_secs_f64())
    }

    /// Moves the set point, waits until the valve rests, and looks whether it follows; gives when it was asked, and what was read.
    pub(super) fn go(&mut self, percent: f64) -> Result<(f64, Rested), Halt> {
        let (asked_at_s, rested) = self.reach(percent)?;
        self.came(&rested)?;
        Ok((asked_at_s, rested))
    }

    /// Moves the set point and waits until the valve rests, or should have.
    pub(super) fn reach(&mut self, percent: f64) -> Result<(f64, Rested), Halt> {
        let far = self.input.map(|before| (percent - before).abs());
        let (asked_at_s, _) = self.set(percent)?;
        let must = far.is_none_or(|far| far >= MUST_FOLLOW_PERCENT);
        let rest = self.record.plan.rest;
        let until = Until {
            left: self.travel.filter(|_| must),
            near: Some(percent.clamp(0.0, 100.0)),
            least_s: if self.restless { rest.most_s } else { 0.0 },
            most_s: rest.most_s,
            silence: false,
        };
        let rested = self.sensing.settle(asked_at_s, &rest, until)?;
        self.look_for_lag(far, percent, &rested);
        self.restless = !rested.settled;
        self.record.tails.push(Tail::of(&rested.samples, asked_at_s, self.travel, &rest));
        Ok((asked_at_s, rested))
    }

    /// The set point that the device follows, percent, as it tells it, or as its current does; `None`: it tells neither.
    pub(super) fn set_point_now(&mut self) -> Result<Option<f64>, Halt> {
        let drive = self.drive(0.0)?;
        let of_current = || drive.asked_ma.and(drive.read_ma).map(|ma| (ma - 4.0) / 0.16);
        Ok(drive.set_point_percent.or_else(of_current).map(|p| p.clamp(0.0, 100.0)))
    }

    /// Looks whether travel follows the input at all [TV-83].
    pub(super) fn came(&mut self, rested: &Rested) -> Result<(), Halt> {
        let Some(travel) = rested.travel() else { return Ok(()) };
        self.travel = Some(travel);
        let sigma = self.sensing.sigma();
        let (far, start) = (STILL_PERCENT.max(5.0 * sigma), self.start);
        let elsewhere = |s: &Sample| s.percent.zip(start).is_some_and(|(p, from)| (p - from).abs() > far);
        self.moved |= rested.samples.iter().any(elsewhere);
        let Some(input) = self.input else { return Ok(()) };
        let asked = input.clamp(0.0, 100.0);
        match self.followed {
            Some((before, at)) if (travel - at).abs() <= STILL_PERCENT.max(3.0 * sigma) => {
                let most = if self.moved { STOPPED_PERCENT } else { STUCK_PERCENT };
                if (asked - before).abs() < most {
                    return Ok(());
                }
                if let Some(wrong) = self.drive(input)?.wrong() {
                    self.astray += 1;
                    return if self.astray < ASTRAY { Ok(()) } else { Err(Halt::NotDriven(wrong)) };
                }
                let stood = Stood { at_percent: travel, from_percent: before, to_percent: asked };
                Err(if self.moved { Halt::Stands(stood) } else { Halt::NoMovement(stood) })
            }
            before => {
                self.moved |= before.is_some();
                self.followed = Some((asked, travel));
                self.astray = 0;
                Ok(())
            }
        }
    }
}
