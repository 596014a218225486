//! Creeping reversals, for dead band and resolution [TV-12] [TV-21].

use super::{Run, counted};
use crate::commission::travel::plan::{CREEP_MOST_PERCENT, FOLLOWS};
use crate::commission::travel::record::{Creep, Move};
use crate::commission::travel::sensing::{Halt, Rested, SEEN_PERCENT, Until};

/// From so far below a place is approached, percent.
const BELOW_PERCENT: f64 = 2.0;

impl Run<'_> {
    pub(super) fn creeps(&mut self) -> Result<(), Halt> {
        let places = self.record.plan.creep_places_percent.clone();
        if places.is_empty() {
            return Ok(());
        }
        let part = format!("creeping by small moves at {}", counted(places.len(), "place"));
        let (usual_s, most_s) = (self.record.plan.creeps_usual_s(), self.record.plan.creeps_s());
        self.announce(&part, usual_s, most_s);
        for place in places {
            self.during = format!("creeping at {place} %");
            self.creep(place)?;
            self.keep();
        }
        Ok(())
    }

    fn creep(&mut self, place: f64) -> Result<(), Halt> {
        self.go((place - BELOW_PERCENT).max(0.0))?;
        let (asked_at_s, rested) = self.go(place)?;
        self.record.creeps.push(Creep { place_percent: place, moves: Vec::new() });
        self.add_move(place, asked_at_s, &rested);
        let increment = self.record.plan.creep_increment_percent;
        let mut input = place;
        let mut followed = Vec::new();
        for way in [1.0, -1.0] {
            let (mut from, mut last, mut follows) = (input, rested_at(self.travel), 0);
            while follows < FOLLOWS && (input + way * increment - from).abs() <= CREEP_MOST_PERCENT {
                let next = input + way * increment;
                if !(0.0..=100.0).contains(&next) {
                    break;
                }
                input = next;
                let (asked_at_s, _) = self.set(input)?;
                let rest = self.record.plan.rest;
                let until = Until { most_s: rest.most_s, ..Until::default() };
                let rested = self.sensing.settle(asked_at_s, &rest, until)?;
                self.add_move(input, asked_at_s, &rested);
                if let Some(travel) = rested.travel() {
                    self.travel = Some(travel);
                    // What the figures take for a following, too [TV-12].
                    let count = rested.at_rest.len().max(1) as f64;
                    let resolution = self.record.sensor.resolution_percent.unwrap_or(0.0);
                    let least = resolution + 3.0 * self.sensing.sigma() * (2.0 / count).sqrt();
                    if (travel - last) * way >= SEEN_PERCENT.max(least) {
                        (from, last, follows) = (input, travel, follows + 1);
                    }
                }
            }
            followed.push(follows);
        }
        // Where it has got to is where the next part begins.
        self.followed = None;
        let words = match followed[..] {
            [up, down] if up > 0 && down > 0 => format!("Creeping at {place} %: travel followed both ways."),
            _ => format!("Creeping at {place} %: travel did not follow within {CREEP_MOST_PERCENT} %."),
        };
        self.person.tell(&words);
        Ok(())
    }

    fn add_move(&mut self, input_percent: f64, asked_at_s: f64, rested: &Rested) {
        if let Some(creep) = self.record.creeps.last_mut() {
            let readings = rested.at_rest.clone();
            creep.moves.push(Move { input_percent, asked_at_s, readings, external: None });
        }
    }
}

fn rested_at(travel: Option<f64>) -> f64 {
    // Where nothing was read nothing follows: no number is larger or smaller than that.
    travel.unwrap_or(f64::NAN)
}
