//! What a person would truly find: each answer from the recorded physics, or from the part that is looked at [TG-11].

use super::seen::{Parts, Sample};
use super::strokes::{Strokes, late, mean, span};
use super::world::LEAST_V;
use crate::plant::actuator::{Action, Pushes};
use crate::plant::air::{GAS_CONSTANT_J_PER_KG_K, absolute_pa, anr_l_per_min};
use crate::plant::fault::FaultName;
use crate::plant::valve::ValveConfig;
use crate::sim::SiteFault;
use core::time::Duration;
use std::collections::BTreeMap;

/// True values by symptom; one that cannot be observed is not in it.
pub type Truth = BTreeMap<String, String>;

/// The current that is sent at 50 %, mA.
const SENT_MA: f64 = 12.0;
/// The last of a phase: at rest.
const LATE: Duration = Duration::from_secs(2);
/// How long trapped air is watched, s.
const TRAPPED_S: f64 = 15.0;
/// Below this there is no air in an output that could be watched, Pa gauge.
const SOME_AIR_PA: f64 = 0.1e5;

/// All that eyes look at.
pub struct Look<'a> {
    /// The valve as it was set up.
    pub valve: &'a ValveConfig,
    /// What was seen while it was stroked.
    pub strokes: Strokes<'a>,
    /// The parts as they are.
    pub parts: &'a Parts,
}

fn word(yes: bool, is: &'static str, not: &'static str) -> Option<&'static str> {
    Some(if yes { is } else { not })
}

impl Look<'_> {
    fn has(&self, name: FaultName) -> bool {
        self.parts.valve.severity(name) > 0.0
    }

    fn has_site(&self, name: SiteFault) -> bool {
        self.parts.site_severity(name) > 0.0
    }

    fn is_part_turn(&self) -> bool {
        self.valve.linkage.law.is_part_turn()
    }

    /// Pressure that is on the plate: what the regulator was set to, Pa gauge.
    pub fn plate_pa(&self) -> f64 {
        self.valve.supply.at_rest_gauge_pa()
    }

    fn all(&self) -> impl Iterator<Item = &Sample> {
        let s = &self.strokes;
        [s.hold, s.up, s.back, s.open, s.shut, s.again].into_iter().flatten()
    }

    fn thrust_n(&self) -> f64 {
        self.plate_pa() * self.valve.actuator.chambers[0].area_m2
    }

    /// Coulomb and break-away friction felt at the stem, N: of the stem now and as it was set up, each with that of the shaft.
    fn friction_n(&self) -> [(f64, f64); 2] {
        let moving = &self.valve.moving;
        let half_m = 0.5 * moving.stroke_m;
        let per_m = moving.transmission.shaft_rad_per_m(half_m, moving.stroke_m);
        let (runs, breaks) = (moving.shaft.running_nm * per_m, moving.shaft.break_nm * per_m);
        [self.parts.friction, moving.friction]
            .map(|f| (f.coulomb_n + runs, f.static_n.max(f.coulomb_n) + runs.max(breaks)))
    }

    /// The output that opens a valve, as a pressure towards open, Pa: of two the half of supply and difference.
    fn output_pa(&self, s: &Sample) -> f64 {
        match self.valve.actuator.action {
            Action::AirOpens => s.outputs_pa[0],
            Action::AirCloses => -s.outputs_pa[0],
            Action::Double => 0.5 * (s.outputs_pa[0] - s.outputs_pa[1]),
        }
    }

    /// The answer of a person to each question that the physics answer.
    pub fn person(&self) -> Truth {
        let all: [(&str, Option<&'static str>); 38] = [
            ("display", self.display()),
            ("loop_current", self.loop_current()),
            ("terminal_volts", self.terminal_volts()),
            ("supply_volts", self.supply_volts()),
            // No bench has a fault of these.
            ("modem", Some("works")),
            ("modem_level", Some("right")),
            ("loop_ohms", Some("enough")),
            ("in_between", Some("free")),
            ("screen", Some("one_end")),
            ("asked_for", word(self.parts.polling_address == 0, "right", "wrong")),
            ("gland", word(self.has_site(SiteFault::WaterInHousing), "wet", "tight")),
            ("insulation", word(self.has_site(SiteFault::WetCable), "bad", "good")),
            ("at_terminals", self.at_terminals()),
            ("housing", word(self.has_site(SiteFault::WaterInHousing), "wet", "dry")),
            ("selector", word(self.has_site(SiteFault::SelectorLocal), "local", "remote")),
            ("trip", word(self.has_site(SiteFault::TripNotEnergised), "no_power", "powered")),
            ("supply_gauge", self.supply_gauge()),
            ("supply_gauge_stroke", self.sags(|s| s.supply_pa)),
            ("regulator_gauge_stroke", self.sags(|s| s.regulator_pa)),
            ("filter", word(self.has(FaultName::FilterBlocked), "blocked", "clean")),
            ("supply_line", word(self.has(FaultName::SupplyLineUndersized), "narrow", "wide")),
            ("leak", self.leak()),
            ("output_gauge", self.output_gauge()),
            ("output_jog", self.output_jog()),
            ("tubes", word(self.has(FaultName::OutputsSwapped), "swapped", "as_drawn")),
            ("trapped_air", self.trapped_air()),
            ("stem", self.stem()),
            ("stem_scale", self.stem_scale()),
            ("stem_ends", self.stem_ends()),
            ("clamp_mark", self.clamp_mark()),
            ("pin_hole", self.of_lever(FaultName::PinMisplaced, "wrong", "right")),
            ("carrier", self.of_lever(FaultName::CouplingTurned, "moved", "in_place")),
            ("lever_play", self.lever_play()),
            ("handwheel", word(self.has(FaultName::HandwheelEngaged), "engaged", "neutral")),
            ("travel_stop", word(self.has(FaultName::StopMoved), "moved", "in_place")),
            ("by_hand", self.by_hand()),
            ("start_pressure", self.start_pressure()),
            ("passages", self.passages()),
        ];
        let known =
            all.into_iter().filter_map(|(symptom, value)| Some((symptom.to_owned(), value?.to_owned())));
        known.collect()
    }

    fn display(&self) -> Option<&'static str> {
        word(self.strokes.hold.last()?.is_on, "lit", "dark")
    }

    /// An ammeter in series at the device, at 50 %: water in the housing is behind it.
    fn loop_current(&self) -> Option<&'static str> {
        let is_wet = self.has_site(SiteFault::WaterInHousing);
        let shows = |s: &Sample| Some(s.card_ma.filter(|_| is_wet).unwrap_or(s.current_ma));
        let ma = mean(late(self.strokes.hold, LATE), shows)?;
        match ma {
            ma if ma < 3.5 => Some("none"),
            ma if ma < SENT_MA - 0.3 => Some("less"),
            ma if ma <= SENT_MA + 0.3 => Some("as_sent"),
            _ => None,
        }
    }

    /// A voltmeter at the terminals while the set point goes from end to end: the lowest that it shows. Where the device is dark its water
    /// carries all that the card drives.
    fn terminal_volts(&self) -> Option<&'static str> {
        let water_ohm = self.water_ohm();
        let shows = |s: &Sample| match (water_ohm, s.card_ma) {
            (Some(ohm), Some(ma)) if !s.is_on => s.volts_v.min(ma / 1e3 * ohm),
            _ => s.volts_v,
        };
        let volts = self.all().map(shows);
        let (low, high) = volts.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        match (low, high) {
            (low, _) if low < -0.5 => Some("reversed"),
            (_, high) if high < 0.5 => Some("none"),
            (low, _) if low < LEAST_V => Some("low"),
            _ => Some("enough"),
        }
    }

    /// A supply shows its volts as it runs. A card that drives its current shows what the loop takes of it; only one that cannot drive it,
    /// or none into a dark device, shows the most that it gives.
    fn supply_volts(&self) -> Option<&'static str> {
        let [rated_v, left_v] = self.parts.source_v;
        let falls_short = |of: &[Sample], sent_ma: f64| {
            mean(late(of, LATE), |s| s.card_ma).is_none_or(|ma| ma < sent_ma - 0.3)
        };
        let shows = falls_short(self.strokes.hold, SENT_MA) || falls_short(self.strokes.again, 20.0);
        word(left_v < 0.9 * rated_v, "low", "as_rated").filter(|_| shows && rated_v > 0.0)
    }

    /// Of water that has spread over the terminals [DV-110].
    fn water_ohm(&self) -> Option<f64> {
        let x = self.parts.site_severity(SiteFault::WaterInHousing);
        (x > 0.0).then(|| 10f64.powf(2.0 + 4.0 * (1.0 - x)))
    }

    /// On a supply of its own of 24 V behind 250 ohm, at 12 mA: water of R leaves 21 V/(1 + 250/R) [DV-111].
    fn at_terminals(&self) -> Option<&'static str> {
        let left_v = self.water_ohm().map_or(21.0, |ohm| 21.0 / (1.0 + 250.0 / ohm));
        word(left_v < LEAST_V, "silent", "answers")
    }

    fn supply_gauge(&self) -> Option<&'static str> {
        let pa = mean(late(self.strokes.hold, LATE), |s| Some(s.supply_pa))?;
        word(pa < 0.92 * self.plate_pa(), "low", "as_plate")
    }

    fn sags(&self, of: impl Fn(&Sample) -> f64) -> Option<&'static str> {
        let rest = mean(late(self.strokes.hold, LATE), |s| Some(of(s)))?;
        let least = [self.strokes.open, self.strokes.shut, self.strokes.again]
            .into_iter()
            .flatten()
            .map(of)
            .fold(f64::MAX, f64::min);
        word(least < 0.9 * rest, "sags", "steady")
    }

    /// Soap: the larger of both, where it is above 0.05 L/min.
    fn leak(&self) -> Option<&'static str> {
        let most = self
            .all()
            .fold([0.0f64; 2], |m, s| [m[0].max(s.leaks_kg_per_s[0]), m[1].max(s.leaks_kg_per_s[1])]);
        let [casing, tube] = most.map(anr_l_per_min);
        Some(match (casing, tube) {
            (c, t) if c.max(t) <= 0.05 => "none",
            (c, t) if c > t => "casing",
            _ => "tubing",
        })
    }

    /// A healthy positioner gives no more air than its valve needs to get to its ends: that is as good as supply and nothing.
    fn output_gauge(&self) -> Option<&'static str> {
        let plate = self.plate_pa();
        let (open, shut) = (self.strokes.open.last()?, self.strokes.shut.last()?);
        let way = self.output_pa(open) - self.output_pa(shut);
        let a = span(self.strokes.open, |s| Some(self.output_pa(s)))?;
        let b = span(self.strokes.shut, |s| Some(self.output_pa(s)))?;
        let (low, high) = (a.0.min(b.0), a.1.max(b.1));
        let told = |p| mean(late(p, LATE), |s: &Sample| s.told);
        let is_there = told(self.strokes.open).is_some_and(|t| t > 98.0)
            && told(self.strokes.shut).is_some_and(|t| t < 2.0);
        Some(match (high - low, way) {
            (moved, _) if moved < 0.1 * plate => "stands",
            (_, way) if way < -0.1 * plate => "reversed",
            (moved, _) if moved >= 0.9 * plate || is_there => "both_ends",
            _ => "weak",
        })
    }

    fn output_jog(&self) -> Option<&'static str> {
        let first = self.strokes.jog.first()?;
        let from = first.outputs_pa;
        let limit = 0.004 * self.plate_pa();
        let moved = |s: &&Sample| (0..2).any(|i| (s.outputs_pa[i] - from[i]).abs() > limit);
        let after = self.strokes.jog.iter().find(moved).map(|s| s.at.since(first.at).as_secs_f64());
        Some(match after {
            Some(s) if s <= 1.0 => "at_once",
            Some(s) if s <= 10.0 => "late",
            _ => "none",
        })
    }

    /// In the middle the cock in the tube is shut, of two the cocks in both: what leaks empties the chamber, at its volume. From the mass that
    /// leaks of the mass that is there.
    fn trapped_air(&self) -> Option<&'static str> {
        let falls = self.falls(self.strokes.hold.last()?)?;
        word(falls > 0.05, "falls", "holds")
    }

    /// By which share an output's pressure falls in 15 s.
    fn falls(&self, s: &Sample) -> Option<f64> {
        let actuator = &self.valve.actuator;
        let t_k = self.valve.temperature_k;
        let one = |i: usize, leaks_kg_per_s: f64| {
            let gauge_pa = s.chambers_pa[i];
            if gauge_pa < SOME_AIR_PA {
                return None;
            }
            let grows = (i == 0) != (actuator.action == Action::AirCloses);
            let way_m = if grows { s.stem_m } else { self.valve.moving.stroke_m - s.stem_m };
            let chamber = actuator.chambers[i];
            let volume_m3 = chamber.dead_volume_m3 + chamber.area_m2 * way_m + self.valve.tubing.volume_m3;
            let kg = absolute_pa(gauge_pa) * volume_m3 / (GAS_CONSTANT_J_PER_KG_K * t_k);
            let left = (-TRAPPED_S * leaks_kg_per_s / kg).exp();
            Some((absolute_pa(gauge_pa) * (1.0 - left) / gauge_pa).min(1.0))
        };
        let outside = s.leaks_kg_per_s[0] + s.leaks_kg_per_s[1];
        if actuator.action != Action::Double {
            return one(0, outside);
        }
        let [a, b] = s.chambers_pa.map(absolute_pa);
        let across = self.parts.seal.mass_flow_kg_per_s(a.max(b), a.min(b), t_k).abs();
        let (high, low) = if a > b { (0, 1) } else { (1, 0) };
        let (first, second) = (one(high, across + if high == 0 { outside } else { 0.0 }), one(low, 0.0));
        first.or(second)
    }

    fn stem(&self) -> Option<&'static str> {
        let ends = [self.strokes.open, self.strokes.shut].map(|p| span(p, |s| Some(s.travel)));
        let [Some(a), Some(b)] = ends else { return None };
        word(a.1.max(b.1) - a.0.min(b.0) > 2.0, "moves", "stands")
    }

    fn stem_scale(&self) -> Option<&'static str> {
        let last = late(self.strokes.hold, LATE);
        let (truth, told) = (mean(last, |s| Some(s.travel))?, mean(last, |s| s.told)?);
        Some(match truth - told {
            d if d > 2.0 => "high",
            d if d < -2.0 => "low",
            _ => "agrees",
        })
    }

    fn stem_ends(&self) -> Option<&'static str> {
        let opens = mean(late(self.strokes.again, LATE), |s| Some(s.travel))? >= 98.0;
        let shuts = mean(late(self.strokes.shut, LATE), |s| Some(s.travel))? <= 2.0;
        Some(match (opens, shuts) {
            (true, true) => "both",
            (false, true) => "short_open",
            (true, false) => "short_shut",
            (false, false) => "neither",
        })
    }

    /// On a part-turn valve the coupling on the shaft is what the clamp is on a lever.
    fn clamp_mark(&self) -> Option<&'static str> {
        let coupling = self.is_part_turn() && self.has(FaultName::CouplingTurned);
        word(self.has(FaultName::ClampSlipped) || coupling, "turned", "in_place")
    }

    /// Parts that a lever has, and the coupling of a part-turn valve has not.
    fn of_lever(&self, name: FaultName, is: &'static str, not: &'static str) -> Option<&'static str> {
        if self.is_part_turn() { None } else { word(self.has(name), is, not) }
    }

    /// Play of 15 % of the stroke at severity 1 [PL-33], besides what was there.
    fn lever_play(&self) -> Option<&'static str> {
        let own = self.valve.linkage.play_m_or_rad / self.valve.open_m_or_rad();
        let play = own + 0.15 * self.parts.valve.severity(FaultName::LinkageSlack);
        word(play > 0.02, "play", "none")
    }

    /// Air off and vented; the spring's own force is known.
    fn by_hand(&self) -> Option<&'static str> {
        let [(now, breaks), (was, _)] = self.friction_n();
        Some(match () {
            () if breaks > 0.3 * self.thrust_n() => "stuck",
            () if now > 1.8 * was => "stiff",
            () => "easy",
        })
    }

    /// Where it begins to open and to shut, slowly: spring at its beginning, more and less the friction that must be overcome. Without
    /// air in the output nobody sees it.
    fn start_pressure(&self) -> Option<&'static str> {
        if matches!(self.output_gauge()?, "stands") {
            return None;
        }
        let [(_, now), (_, was)] = self.friction_n();
        if now > 1.8 * was {
            return Some("apart");
        }
        let Some(spring) = self.valve.actuator.spring else { return Some("as_ever") };
        // The share of the spring that is left, at any place where it is known.
        let place = self.strokes.hold.last()?;
        let stroke_m = self.valve.moving.stroke_m;
        let pressed_m = if spring.pushes == Pushes::Closed { place.stem_m } else { stroke_m - place.stem_m };
        let healthy_n = spring.preload_n + spring.rate_n_per_m * pressed_m;
        let left = place.spring_n.abs() / healthy_n;
        let starts = |share: f64, by: f64| share * spring.preload_n + by;
        let lower = [1.0, -1.0].iter().all(|by| starts(left, by * now) < 0.85 * starts(1.0, by * was).abs());
        word(lower, "low", "as_ever")
    }

    /// The output stage taken off and looked at.
    fn passages(&self) -> Option<&'static str> {
        Some(match () {
            () if self.has(FaultName::StageStuck) => "stuck",
            () if self.has(FaultName::StageContaminated) => "dirty",
            () if self.has(FaultName::StageDrifting) => "off_zero",
            () => "clean",
        })
    }
}
