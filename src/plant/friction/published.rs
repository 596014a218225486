//! Both models against what is published [PL-17].

use super::*;
use crate::plant::friction::Bristle;

/// MSL, body stop1: 1 kg, dry friction 5 + 10 exp(-2|v|) N, drag 1 N s/m.
const STOP1: FrictionConfig = FrictionConfig {
    coulomb_n: 5.0,
    static_n: 15.0,
    stribeck_m_per_s: 0.5,
    fall: Fall::Plain,
    viscous_n_s_per_m: 1.0,
};

/// MSL, reference result of stop1 that the Modelica Association publishes: time s, way m, speed m/s.
const STOP1_RESULT: [(f64, f64, f64); 8] = [
    (0.5, 0.005900, 0.221797),
    (1.0, 1.716054, 6.928571),
    (1.5, 6.430056, 10.968492),
    (2.0, 11.498776, 8.061307),
    (2.5, 13.451905, -0.168909),
    (3.0, 11.781983, -6.862260),
    (4.0, 2.041145, -8.036907),
    (5.0, 1.768463, 6.864859),
];

fn stop1_force_n(t_s: f64) -> f64 {
    25.0 * (0.5 * core::f64::consts::PI * t_s).sin()
}

/// Way and speed of stop1 at the eight times, with so many steps a second.
fn stop1(steps_per_s: u32) -> Vec<(f64, f64)> {
    let (mut s, mut v, mut out) = (0.0, 0.0, Vec::new());
    for i in 1..=5 * steps_per_s {
        let t = f64::from(i) / f64::from(steps_per_s);
        let dt = 1.0 / f64::from(steps_per_s);
        v = STOP1.step(dt, 1.0, v, Force::steady(stop1_force_n(t))).velocity_m_per_s;
        s += v * dt;
        if STOP1_RESULT.iter().any(|row| (row.0 - t).abs() < 0.1 * dt) {
            out.push((s, v));
        }
    }
    out
}

/// MSL: 1.2e-4 m is by how much another program's solution differed from the reference result.
#[test]
fn stop1_follows_the_published_trajectory() {
    let (fine, finer) = (stop1(20_000), stop1(40_000));
    assert_eq!(fine.len(), STOP1_RESULT.len());
    for ((t, s, v), (a, b)) in STOP1_RESULT.iter().zip(fine.iter().zip(&finer)) {
        // The error falls with the step, so twice the finer less the coarser result is nearly free of it.
        let (limit_s, limit_v) = (2.0 * b.0 - a.0, 2.0 * b.1 - a.1);
        assert!((limit_s - s).abs() < 2e-4, "way at {t} s: {limit_s} for {s}");
        assert!((limit_v - v).abs() < 2e-4, "speed at {t} s: {limit_v} for {v}");
    }
}

/// The error falls with the step; at 1 ms, the usual step, it is below 2 cm of 13 m.
#[test]
fn stop1_converges_as_the_step_is_halved() {
    for (steps_per_s, within_m, within_m_per_s) in
        [(1000, 0.02, 0.03), (2000, 0.01, 0.015), (4000, 0.005, 0.0075), (8000, 0.0025, 0.00375)]
    {
        for ((t, s, v), got) in STOP1_RESULT.iter().zip(stop1(steps_per_s)) {
            let (off_s, off_v) = ((got.0 - s).abs(), (got.1 - v).abs());
            assert!(
                off_s < within_m && off_v < within_m_per_s,
                "{steps_per_s}/s at {t} s: {got:?} for {s}, {v}"
            );
        }
    }
}

/// 25 sin(pi t/2) = 15 at t = asin(0.6) x 2/pi = 0.409666 s.
#[test]
fn stop1_breaks_away_at_the_published_moment() {
    let dt = 1e-6;
    let first = (1..1_000_000)
        .map(|i| f64::from(i) * dt)
        .find(|&t| STOP1.step(dt, 1.0, 0.0, Force::steady(stop1_force_n(t))).velocity_m_per_s != 0.0);
    let first = first.expect("it breaks away");
    assert!((first - 0.409666).abs() < 1.5e-6, "{first}");
}

/// LUGRE, table I.
const TABLE_I: FrictionConfig = FrictionConfig {
    coulomb_n: 1.0,
    static_n: 1.5,
    stribeck_m_per_s: 1e-3,
    fall: Fall::Square,
    viscous_n_s_per_m: 0.4,
};

/// A stem that can be stepped by either model.
type Model<'a> = &'a mut dyn FnMut(f64, f64, Force) -> f64;

/// 1 kg pulled by a spring of 2 N/m whose end goes at 0.1 m/s: where it rested after each slip, and when slips began.
fn spring_pull(dt: f64, until_s: f64, model: Model) -> (Vec<f64>, Vec<f64>) {
    let (mut s, mut v, mut slipping) = (0.0, 0.0, false);
    let (mut rests, mut begins) = (Vec::new(), Vec::new());
    for i in 1..=(until_s / dt).round() as u32 {
        let pulled = 0.1 * f64::from(i) * dt;
        v = model(dt, v, Force { n: 2.0 * (pulled - s), n_per_m: -2.0 });
        s += v * dt;
        // Bristles creep at up to 1e-4 m/s before they slip.
        match (slipping, v) {
            (false, v) if v > 1e-3 => {
                begins.push(f64::from(i) * dt);
                slipping = true;
            }
            (true, v) if v < 1e-4 => {
                rests.push(s);
                slipping = false;
            }
            _ => {}
        }
    }
    (rests, begins)
}

/// Rests, first slip and period as computed from the published set [PL-17], within a share of the slip.
fn assert_spring_pull((rests, begins): (Vec<f64>, Vec<f64>), first_s: f64, within: f64) {
    assert_eq!(rests.len(), 4, "{rests:?}");
    for (i, right) in [0.6363, 1.2726, 1.9088, 2.5451].into_iter().enumerate() {
        assert!((rests[i] - right).abs() < within * 0.636 * (i + 1) as f64, "{rests:?}");
    }
    assert!((begins[0] - first_s).abs() < 0.06, "{begins:?}");
    for pair in begins.windows(2) {
        assert!((pair[1] - pair[0] - 6.363).abs() < within * 6.363, "{begins:?}");
    }
}

#[test]
fn bristles_slip_as_the_published_set_does() {
    let mut bristle = Bristle::new(BristleConfig::new(1e5, 1e5_f64.sqrt())).expect("set-up");
    let mut model = |dt, v, force| bristle.step(&TABLE_I, dt, 1.0, v, force).velocity_m_per_s;
    // Fs/(k v) = 1.5/(2 x 0.1) = 7.5 s; the bristles give way a little earlier (7.447 s computed).
    assert_spring_pull(spring_pull(1e-4, 30.0, &mut model), 7.447, 0.002);
}

/// Without bristles it breaks away at the full static force, later than they do, and so slips a little further.
#[test]
fn sticking_and_slipping_comes_close_to_the_bristles() {
    let mut model = |dt, v, force| TABLE_I.step(dt, 1.0, v, force).velocity_m_per_s;
    assert_spring_pull(spring_pull(1e-3, 30.0, &mut model), 7.5, 0.025);
}

/// Where dry friction falls at once the slip has a closed form: from u'' + 0.4 u' + 2 u = 0.2 t + 0.5, at rest at first,
/// u = 0.1 t + 0.23 - exp(-0.2 t) (0.23 cos 1.4 t + 0.104286 sin 1.4 t), whose speed is 0 again at 2.8136 s: 0.6454 m.
#[test]
fn a_slip_with_an_instant_fall_has_the_closed_form() {
    let friction = FrictionConfig { stribeck_m_per_s: 1e-9, ..TABLE_I };
    let mut model = |dt, v, force| friction.step(dt, 1.0, v, force).velocity_m_per_s;
    let (rests, begins) = spring_pull(1e-4, 17.0, &mut model);
    assert!((begins[0] - 7.5).abs() < 0.02, "{begins:?}");
    assert!((rests[0] - 0.6454).abs() < 3e-4 && (rests[1] - 2.0 * 0.6454).abs() < 6e-4, "{rests:?}");
}

/// USP: mass and force of 1 % of the span, A (180 000 - 41 368 Pa) = 6169.12 N.
const VALVE_KG: f64 = 1.6;
const PERCENT_N: f64 = 61.6912;

const NOMINAL: FrictionConfig = FrictionConfig {
    coulomb_n: 700.0,
    static_n: 780.0,
    stribeck_m_per_s: 5e-4,
    fall: Fall::Square,
    viscous_n_s_per_m: 125e3,
};
const GRAPHITE: FrictionConfig = FrictionConfig {
    coulomb_n: 665.4,
    static_n: 942.4,
    stribeck_m_per_s: 3.258e-3,
    fall: Fall::Square,
    viscous_n_s_per_m: 70_501.0,
};
const GRAPHITE_BRISTLES: FrictionConfig = FrictionConfig {
    coulomb_n: 669.9,
    static_n: 942.1,
    stribeck_m_per_s: 3.221e-3,
    fall: Fall::Square,
    viscous_n_s_per_m: 70_481.0,
};

/// Way after each of `count` pressure steps of 1 % from a balanced rest, half a second a step.
fn percent_steps(count: u32, stiffness_n_per_m: f64, dt: f64, model: Model) -> Vec<f64> {
    let (mut s, mut v, mut out) = (0.0, 0.0, Vec::new());
    for step in 1..=count {
        for _ in 0..(0.5 / dt).round() as u32 {
            let n = f64::from(step) * PERCENT_N - stiffness_n_per_m * s;
            v = model(dt, v, Force { n, n_per_m: -stiffness_n_per_m });
            s += v * dt;
        }
        out.push(s);
    }
    out
}

/// Fs/span: 780/6169.12 = 12.64 %, 942.4/6169.12 = 15.28 %.
#[test]
fn the_thirteenth_percent_moves_the_valve() {
    for (set, k, last) in [(NOMINAL, 210_490.0, 12), (GRAPHITE, 206_941.0, 15)] {
        let mut model = |dt, v, force| set.step(dt, VALVE_KG, v, force).velocity_m_per_s;
        let ways = percent_steps(last + 1, k, 1e-3, &mut model);
        let (still, moved) = ways.split_at(last as usize);
        assert!(still.iter().all(|&s| s == 0.0), "{ways:?}");
        // What is left of the force beyond Coulomb friction bounds the way.
        let farthest = (f64::from(last + 1) * PERCENT_N - set.coulomb_n) / k;
        assert!(moved[0] > 1e-6 && moved[0] <= farthest, "{ways:?}");
    }
}

/// Bristles bend and yield before they slip: a steady force F < Fs moves the stem by Fs/sigma0 x ln(1/(1 - F/Fs)), from
/// dz/ds = 1 - sigma0 z/Fs. Beyond Fs nothing but the spring ends the motion.
#[test]
fn the_thirteenth_percent_moves_the_bristles_beyond_their_bend() {
    let sets = [
        (NOMINAL, BristleConfig::new(2.6e7, 2.0396e4), 210_490.0, 12_u32),
        (GRAPHITE_BRISTLES, BristleConfig::new(1.038e9, 2.442e5), 206_916.0, 15),
    ];
    for (set, bristles, k, last) in sets {
        let mut bristle = Bristle::new(bristles).expect("set-up");
        let mut model = |dt, v, force| bristle.step(&set, dt, VALVE_KG, v, force).velocity_m_per_s;
        let ways = percent_steps(last + 1, k, 1e-4, &mut model);
        let bends = |s: f64, n: f64| {
            let share = (n - k * s) / set.static_n;
            set.static_n / bristles.stiffness_n_per_m * (1.0 / (1.0 - share)).ln()
        };
        for (i, &s) in ways.iter().enumerate().take(last as usize) {
            let right = bends(s, (i + 1) as f64 * PERCENT_N);
            assert!(s < 1.15 * right && s > 0.9 * right, "after {} steps {s}, bent {right}: {ways:?}", i + 1);
        }
        let before = &ways[last as usize - 2..];
        assert!(before[2] - before[1] > 2.5 * (before[1] - before[0]), "{ways:?}");
    }
}
