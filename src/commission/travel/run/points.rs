//! Cycles of resting places [TV-03] [TV-21].

use super::{Run, counted, told};
use crate::commission::travel::record::{Direction, Point, Test};
use crate::commission::travel::sensing::Halt;
use crate::host::stimulus::SetPoint;

/// What a control system can show, percent.
const SHOWN: (f64, f64) = (-25.0, 125.0);

impl Run<'_> {
    pub(super) fn cycles(&mut self) -> Result<(), Halt> {
        let plan = self.record.plan.clone();
        if plan.cycles == 0 {
            return Ok(());
        }
        let part = match self.record.test {
            Test::LoopCheck => "loop check, 0 to 100 % and back".to_owned(),
            Test::Travel => {
                let cycles = counted(plan.cycles as usize, "cycle");
                format!("{cycles} of {}", counted(plan.levels_percent.len(), "point"))
            }
        };
        self.announce(&part, plan.cycles_usual_s(), plan.cycles_s());
        for cycle in 1..=plan.cycles {
            // A further cycle goes on where the one before ended.
            let up = plan.levels_percent.iter().skip(usize::from(cycle > 1)).map(|l| (Direction::Up, *l));
            let down = plan.levels_percent.iter().rev().skip(1).map(|l| (Direction::Down, *l));
            for (n, (direction, level)) in up.chain(down).enumerate() {
                let first = cycle == 1 && n == 0;
                // From the side from which it was really reached.
                let above = first && self.travel.is_some_and(|t| t > level + plan.rest.within_percent);
                let direction = if above { Direction::Down } else { direction };
                self.point(cycle, direction, level)?;
                self.keep();
            }
        }
        Ok(())
    }

    fn point(&mut self, cycle: u32, direction: Direction, level: f64) -> Result<(), Halt> {
        let way = direction.words();
        self.during = match self.record.test {
            Test::LoopCheck => format!("loop check, {way}, {level} %"),
            Test::Travel => format!("cycle {cycle}, {way}, {level} %"),
        };
        let sets_current = self.stimulus.capabilities().sets_current;
        let (asked_at_s, rested) = self.reach(level)?;
        let asked_ma = sets_current.then(|| SetPoint::Percent(level).current_ma());
        let travel = rested.travel();
        // What was read so far is kept even where the rest cannot be had.
        self.record.points.push(Point {
            cycle,
            direction,
            asked_percent: level,
            asked_ma,
            wanted_percent: level.clamp(0.0, 100.0),
            asked_at_s,
            dwell_s: rested.dwell_s,
            settled: rested.settled,
            readings: rested.at_rest.clone(),
            read_ma: None,
            set_point_percent: None,
            angle_deg: None,
            external: None,
            control_system_percent: None,
        });
        let at = self.record.points.len() - 1;
        let readings = self.sensing.readings.clone();
        self.record.points[at].set_point_percent = self.sensing.number(readings.set_point.as_ref())?;
        self.record.points[at].angle_deg = self.sensing.number(readings.angle.as_ref())?;
        self.record.points[at].read_ma = self.sensing.number(readings.current.as_ref())?;
        if let Some(wrong) = self.record.points[at].drive().wrong() {
            self.person
                .tell(&format!("Not judged: {wrong}. Look at the source, the wiring and the selector."));
        }
        self.came(&rested)?;
        let rest = if rested.settled { "at rest" } else { "NOT at rest" };
        self.person.tell(&format!(
            "{level} % {way}: {}, {rest} after {:.1} s.",
            told(travel),
            rested.dwell_s
        ));
        let place = format!("{level} % {way}");
        self.record.points[at].external = self.external(&place)?;
        if self.control_system {
            self.asked_control_system += 1;
            let id = format!("travel/control_system/{}", self.asked_control_system);
            let words = format!("{place}: what does the control system show, in %?");
            self.record.points[at].control_system_percent = self.ask_number(id, words, "%", SHOWN)?;
        }
        Ok(())
    }
}
