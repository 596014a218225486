//! All the air of a valve: supply, output stage, tubing, chambers, and a tank of stored air [PL-08].
//!
//! One step solves all pressures together, so that none of them overshoots, however small a volume and however
//! wide an opening is. The order is the caller's: move the stem, then step the air with the stem's new place.

use super::ConfigError;
use super::air::{ATMOSPHERE_PA, Restriction, TEMPERATURE_K, absolute_pa, gauge_pa};
use super::chamber::ChamberConfig;
use super::network::{self, End, Link, NODES, Node};
use super::stage::{Openings, Stage, StageConfig};
use super::supply::SupplyConfig;

/// Air stored for the fail action, filled from the inlet through a check valve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TankConfig {
    /// Its volume, m3, 1e-6 to 10.
    pub volume_m3: f64,
    /// The check valve from the inlet.
    pub check_valve: Restriction,
}

/// All that air flows through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AirConfig {
    /// Header to inlet.
    pub supply: SupplyConfig,
    /// I/P converter and output stage.
    pub stage: StageConfig,
    /// The chamber at output 1.
    pub first: ChamberConfig,
    /// The chamber at output 2 of a double-acting actuator; none: output 2 is plugged.
    pub second: Option<ChamberConfig>,
    /// A tank, if there is one.
    pub tank: Option<TankConfig>,
    /// The stem's way from stop to stop, m, 1e-4 to 2.
    pub stroke_m: f64,
    /// Temperature of all air, K, 200 to 400.
    pub temperature_k: f64,
}

impl Default for AirConfig {
    /// The parts' defaults around the invented reference actuator of 20 mm.
    fn default() -> AirConfig {
        AirConfig {
            supply: SupplyConfig::default(),
            stage: StageConfig::default(),
            first: ChamberConfig::default(),
            second: None,
            tank: None,
            stroke_m: 0.02,
            temperature_k: TEMPERATURE_K,
        }
    }
}

impl AirConfig {
    /// What is wrong with it.
    ///
    /// # Errors
    /// The first value outside its range.
    pub fn check(&self) -> Result<(), ConfigError> {
        self.supply.check()?;
        self.stage.check()?;
        self.first.check()?;
        if let Some(second) = &self.second {
            second.check()?;
        }
        if let Some(tank) = &self.tank {
            ConfigError::unless_in("tank_volume_m3", tank.volume_m3, 1e-6..=10.0)?;
            tank.check_valve.check("tank_check_valve")?;
        }
        ConfigError::unless_in("stroke_m", self.stroke_m, 1e-4..=2.0)?;
        ConfigError::unless_in("temperature_k", self.temperature_k, 200.0..=400.0)?;
        Ok(())
    }
}

/// What stands between an output and its chamber for the fail action: trip valve, lock-up, stored air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gate {
    /// Share of the tubing that is open, 0 (locked up, or cut off by the trip valve) to 1.
    pub tubing_opening: f64,
    /// From the chamber to the atmosphere: a trip valve that vents.
    pub vent: Restriction,
    /// From the tank to the chamber.
    pub tank_feed: Restriction,
    /// From the inlet to the chamber, past the stage: a trip valve that feeds.
    pub inlet_feed: Restriction,
}

impl Default for Gate {
    /// Open, nothing else.
    fn default() -> Gate {
        Gate {
            tubing_opening: 1.0,
            vent: Restriction::SHUT,
            tank_feed: Restriction::SHUT,
            inlet_feed: Restriction::SHUT,
        }
    }
}

// Places of the nodes: what every valve has first, so that the others need not be computed with.
const CHAMBER: [usize; 2] = [0, 4];
const OUTPUT: [usize; 2] = [1, 5];
const INLET: usize = 2;
const REGULATED: usize = 3;
const TANK: usize = 6;

// Places of the links; those of an output and its chamber come twice.
const L_HEADER: usize = 0;
const L_LINE: usize = 1;
const L_BLEED: usize = 2;
const L_TANK: usize = 3;
const L_ACROSS: usize = 4;
const L_FIRST: usize = 5;
const L_EACH: usize = 8;
const L_ALL: usize = L_FIRST + 2 * L_EACH;

/// All links, shut where there is nothing; those that move are set in each step.
fn all_links(config: &AirConfig) -> [Link; L_ALL] {
    let air = End::Fixed(ATMOSPHERE_PA);
    let (inlet, regulated, shut) = (End::Node(INLET), End::Node(REGULATED), Restriction::SHUT);
    let mut links = [Link::plain(air, air, shut); L_ALL];
    links[L_HEADER] = config.supply.into_regulated(REGULATED);
    links[L_LINE] = Link::plain(regulated, inlet, config.supply.line);
    links[L_BLEED] = Link::plain(inlet, air, shut);
    if let Some(tank) = &config.tank {
        links[L_TANK] = Link::one_way(inlet, End::Node(TANK), tank.check_valve);
    }
    for (i, chamber) in [Some(&config.first), config.second.as_ref()].into_iter().enumerate() {
        let Some(chamber) = chamber else { continue };
        let at = L_FIRST + i * L_EACH;
        let (output, inside) = (End::Node(OUTPUT[i]), End::Node(CHAMBER[i]));
        links[at] = Link::plain(inlet, output, shut);
        links[at + 1] = Link::plain(output, inside, shut);
        links[at + 2] = Link::plain(output, air, shut);
        links[at + 3] = Link::plain(output, air, chamber.tubing_leak);
        links[at + 4] = Link::plain(inside, air, chamber.leak);
        links[at + 5] = Link::plain(inside, air, shut);
        links[at + 6] = Link::plain(End::Node(TANK), inside, shut);
        links[at + 7] = Link::plain(inlet, inside, shut);
    }
    if config.second.is_some() {
        links[L_ACROSS] = Link::plain(End::Node(CHAMBER[0]), End::Node(CHAMBER[1]), shut);
    }
    links
}

/// The air of a valve at work.
#[derive(Clone, Debug, PartialEq)]
pub struct AirPath {
    /// The output stage; its faults may be changed while it runs.
    pub stage: Stage,
    /// Trip valve, lock-up and stored air at each chamber.
    pub gates: [Gate; 2],
    /// The tubing of the two outputs is swapped.
    pub swapped: bool,
    /// A leak from chamber to chamber of a double-acting actuator: its piston's seal.
    pub across: Restriction,
    config: AirConfig,
    nodes: [Node; NODES],
    links: [Link; L_ALL],
    flows_kg_per_s: [f64; L_ALL],
    taken_kg: f64,
    vented_kg: f64,
}

impl AirPath {
    /// Everything at the pressure of the atmosphere, the stem at the closed stop, no current.
    ///
    /// # Errors
    /// Those of [`AirConfig::check`].
    pub fn new(config: AirConfig) -> Result<AirPath, ConfigError> {
        config.check()?;
        let node = |volume_m3, exponent| Node { pressure_pa: ATMOSPHERE_PA, volume_m3, exponent };
        let mut nodes = [node(1e-3, 1.0); NODES];
        nodes[REGULATED].volume_m3 = config.supply.regulated_volume_m3;
        nodes[INLET].volume_m3 = config.supply.inlet_volume_m3;
        for (i, chamber) in [Some(config.first), config.second].iter().enumerate() {
            if let Some(chamber) = chamber {
                nodes[CHAMBER[i]] = node(chamber.volume_m3(0.0, config.stroke_m), chamber.exponent);
                nodes[OUTPUT[i]].volume_m3 = chamber.tubing_volume_m3;
            }
        }
        if let Some(tank) = &config.tank {
            nodes[TANK].volume_m3 = tank.volume_m3;
        }
        Ok(AirPath {
            stage: Stage::new(config.stage)?,
            gates: [Gate::default(); 2],
            swapped: false,
            across: Restriction::SHUT,
            config,
            nodes,
            links: all_links(&config),
            flows_kg_per_s: [0.0; L_ALL],
            taken_kg: 0.0,
            vented_kg: 0.0,
        })
    }

    /// How it is configured; of the stage what it was built with, for [`Stage::config`] is the one in force.
    pub fn config(&self) -> &AirConfig {
        &self.config
    }

    /// Changes supply, chambers or tank while it runs: pressures, leaks, blockage. Volumes change too; the
    /// pressure of the supply's and the tubing's stays as it is. The stage is left alone: it is changed in
    /// [`Stage::config`].
    ///
    /// # Errors
    /// Those of [`AirConfig::check`], and of a chamber or a tank that appears or goes; nothing is changed then.
    pub fn reconfigure(&mut self, config: AirConfig) -> Result<(), ConfigError> {
        config.check()?;
        if config.second.is_some() != self.config.second.is_some()
            || config.tank.is_some() != self.config.tank.is_some()
        {
            let why = "a chamber or a tank cannot come or go while air is in it".to_string();
            return Err(ConfigError { field: "second", why });
        }
        self.nodes[REGULATED].volume_m3 = config.supply.regulated_volume_m3;
        self.nodes[INLET].volume_m3 = config.supply.inlet_volume_m3;
        for (i, chamber) in [Some(config.first), config.second].iter().enumerate() {
            if let Some(chamber) = chamber {
                self.nodes[CHAMBER[i]].exponent = chamber.exponent;
                self.nodes[OUTPUT[i]].volume_m3 = chamber.tubing_volume_m3;
            }
        }
        if let Some(tank) = &config.tank {
            self.nodes[TANK].volume_m3 = tank.volume_m3;
        }
        self.links = all_links(&config);
        self.config = config;
        Ok(())
    }

    /// Gives the supply its pressure at rest and fills the tank, as after hours without a movement.
    pub fn settle_supply(&mut self) {
        let pressure_pa = absolute_pa(self.config.supply.at_rest_gauge_pa());
        for place in [REGULATED, INLET, TANK] {
            self.nodes[place].pressure_pa = pressure_pa;
        }
    }

    /// Gives a chamber (0 or 1) and its tubing a pressure, Pa gauge, -1e5 to 2e6; what is outside counts as
    /// the nearer end, no number as 0; another chamber is none.
    pub fn set_chamber_gauge_pa(&mut self, chamber: usize, pressure_gauge_pa: f64) {
        let pressure_pa =
            absolute_pa(if pressure_gauge_pa.is_nan() { 0.0 } else { pressure_gauge_pa.clamp(-1e5, 2e6) });
        if chamber < 2 {
            self.nodes[CHAMBER[chamber]].pressure_pa = pressure_pa;
            self.nodes[OUTPUT[chamber]].pressure_pa = pressure_pa;
        }
    }

    /// Moves everything on by `dt_s`, s: `drive` as in [`Stage::step`], `stem_m` the stem's place at the end
    /// of the step, m.
    pub fn step(&mut self, dt_s: f64, drive: f64, stem_m: f64) {
        self.stage.step(dt_s, drive, self.inlet_gauge_pa());
        self.set_links();
        // A tank that is not there has no node to take part.
        let nodes = match (&self.config.tank, &self.config.second) {
            (Some(_), _) => NODES,
            (None, Some(_)) => TANK,
            (None, None) => CHAMBER[1],
        };
        let chambers = [Some(self.config.first), self.config.second];
        let mut volumes_m3 = [None; 2];
        for (i, chamber) in chambers.iter().enumerate() {
            if let Some(chamber) = chamber {
                let node = &mut self.nodes[CHAMBER[i]];
                let volume_m3 = chamber.volume_m3(stem_m, self.config.stroke_m);
                volumes_m3[i] = Some(volume_m3);
                // Half of the way before the flows and half after: exact to second order [PL-04].
                node.squeeze(0.5 * (node.volume_m3 + volume_m3));
            }
        }
        network::step(
            &mut self.nodes[..nodes],
            &self.links,
            &mut self.flows_kg_per_s,
            dt_s,
            self.config.temperature_k,
        );
        for (i, volume_m3) in volumes_m3.into_iter().enumerate() {
            if let Some(volume_m3) = volume_m3 {
                self.nodes[CHAMBER[i]].squeeze(volume_m3);
            }
        }
        if dt_s > 0.0 {
            self.taken_kg += dt_s * self.taken_kg_per_s();
            self.vented_kg += dt_s * self.vented_kg_per_s();
        }
    }

    /// Sets the links that move: the stage's openings and the gates.
    fn set_links(&mut self) {
        let openings = self.stage.openings();
        let links = &mut self.links;
        links[L_BLEED].restriction = self.stage.config.bleed;
        for (i, chamber) in [Some(&self.config.first), self.config.second.as_ref()].into_iter().enumerate() {
            let Some(chamber) = chamber else { continue };
            let at = L_FIRST + i * L_EACH;
            let Openings { fill, exhaust } = openings[if self.swapped { 1 - i } else { i }];
            let gate = &self.gates[i];
            links[at].restriction = fill;
            links[at + 1].restriction = chamber.tubing.scaled(gate.tubing_opening);
            links[at + 2].restriction = exhaust;
            links[at + 5].restriction = gate.vent;
            links[at + 6].restriction = gate.tank_feed;
            links[at + 7].restriction = gate.inlet_feed;
        }
        if self.config.second.is_some() {
            links[L_ACROSS].restriction = self.across;
        }
    }

    /// Pressure at the positioner's inlet, Pa gauge.
    pub fn inlet_gauge_pa(&self) -> f64 {
        gauge_pa(self.nodes[INLET].pressure_pa)
    }

    /// Pressure behind the regulator, Pa gauge.
    pub fn regulated_gauge_pa(&self) -> f64 {
        gauge_pa(self.nodes[REGULATED].pressure_pa)
    }

    /// Pressure in the tank, Pa gauge, if there is one.
    pub fn tank_gauge_pa(&self) -> Option<f64> {
        self.config.tank.map(|_| gauge_pa(self.nodes[TANK].pressure_pa))
    }

    /// Pressure at an output of the stage (0 or 1), Pa gauge. Of a single-acting actuator's stage the output
    /// that its chamber hangs on is always number 0; one that is not there has 0.
    pub fn output_gauge_pa(&self, output: usize) -> f64 {
        let swapped = self.swapped && self.config.second.is_some();
        let at = if swapped && output < 2 { 1 - output } else { output };
        OUTPUT.get(at).map_or(0.0, |&at| gauge_pa(self.nodes[at].pressure_pa))
    }

    /// Pressure in a chamber (0 or 1), Pa gauge; of a chamber that is not there 0.
    pub fn chamber_gauge_pa(&self, chamber: usize) -> f64 {
        CHAMBER.get(chamber).map_or(0.0, |&at| gauge_pa(self.nodes[at].pressure_pa))
    }

    /// Pressure in a chamber (0 or 1), Pa absolute.
    pub fn chamber_pa(&self, chamber: usize) -> f64 {
        absolute_pa(self.chamber_gauge_pa(chamber))
    }

    /// What came from the header in the last step, kg/s; negative: back into it.
    pub fn taken_kg_per_s(&self) -> f64 {
        self.flows_kg_per_s[L_HEADER]
    }

    /// What went to the atmosphere in the last step, kg/s: exhaust, bleed, leaks.
    pub fn vented_kg_per_s(&self) -> f64 {
        let each = |i: usize| self.flows_kg_per_s[L_FIRST + i * L_EACH + 2..][..4].iter().sum::<f64>();
        self.flows_kg_per_s[L_BLEED] + each(0) + each(1)
    }

    /// What came into a chamber (0 or 1) in the last step less what left it, kg/s: through the tubing, from inlet and tank, to
    /// the atmosphere, to the other chamber.
    pub fn chamber_flow_kg_per_s(&self, chamber: usize) -> f64 {
        if chamber > 1 {
            return 0.0;
        }
        let of = |n: usize| self.flows_kg_per_s[L_FIRST + chamber * L_EACH + n];
        let across = self.flows_kg_per_s[L_ACROSS] * if chamber == 0 { -1.0 } else { 1.0 };
        of(1) - of(4) - of(5) + of(6) + of(7) + across
    }

    /// What left the outputs through the stage's exhaust in the last step, kg/s: what is heard at its vent. The converter's bleed is none of it.
    pub fn exhaust_kg_per_s(&self) -> f64 {
        (0..2).map(|i| self.flows_kg_per_s[L_FIRST + i * L_EACH + 2]).sum()
    }

    /// What left the tubing by its leaks in the last step, kg/s.
    pub fn tubing_leak_kg_per_s(&self) -> f64 {
        (0..2).map(|i| self.flows_kg_per_s[L_FIRST + i * L_EACH + 3]).sum()
    }

    /// What left the chambers by the leaks of diaphragm or piston in the last step, kg/s: to the atmosphere, or from
    /// chamber to chamber.
    pub fn casing_leak_kg_per_s(&self) -> f64 {
        let out: f64 = (0..2).map(|i| self.flows_kg_per_s[L_FIRST + i * L_EACH + 4]).sum();
        out + self.flows_kg_per_s[L_ACROSS].abs()
    }

    /// All that came from the header since the beginning, kg.
    pub fn taken_kg(&self) -> f64 {
        self.taken_kg
    }

    /// All that went to the atmosphere since the beginning, kg.
    pub fn vented_kg(&self) -> f64 {
        self.vented_kg
    }

    /// All air inside, kg: for isothermal chambers this rises by what was taken less what was vented.
    pub fn stored_kg(&self) -> f64 {
        self.nodes.iter().map(|node| node.mass_kg(self.config.temperature_k)).sum()
    }
}

#[cfg(test)]
mod tests;
