use super::*;
use proptest::prelude::*;

/// Sonic conductance 1 dm3/(s bar), b = 0.3: the restriction of the worked table.
const WORKED: Restriction = Restriction::usual(1e-8);

/// `value` rounded to `digits` behind the point is `printed`.
fn prints(value: f64, printed: f64, digits: i32) {
    assert!((value - printed).abs() <= 0.5001 * 10f64.powi(-digits), "{value} is not printed as {printed}");
}

// Table computed from the equation of ISO 6358 by a script with numpy [PL-02]: p1 = 6 bar absolute, 293.15 K.
#[test]
fn the_worked_table_to_its_printed_digits() {
    let table = [
        (1.0, 7.11000, 360.000),
        (1.5, 7.11000, 360.000),
        (1.8, 7.11000, 360.000),
        (2.0, 7.10193, 359.592),
        (2.5, 7.01055, 354.965),
        (3.0, 6.81362, 344.993),
        (3.5, 6.50154, 329.192),
        (4.0, 6.05655, 306.661),
        (4.5, 5.44616, 275.755),
        (5.0, 4.60507, 233.168),
        (5.5, 3.36449, 170.354),
        (5.9, 1.54227, 78.089),
        (5.99, 0.49034, 24.828),
        (6.0, 0.0, 0.0),
    ];
    for (to_bar, g_per_s, l_per_min) in table {
        let flow = WORKED.mass_flow_kg_per_s(6e5, to_bar * 1e5, 293.15);
        prints(flow * 1e3, g_per_s, 5);
        prints(anr_l_per_min(flow), l_per_min, 3);
    }
}

// 7.11 g/s times sqrt(293.15/313.15) = 0.96754.
#[test]
fn warm_air_is_thinner() {
    prints(WORKED.mass_flow_kg_per_s(6e5, 1e5, 313.15) * 1e3, 6.87921, 5);
}

// Textbook: critical ratio 0.528, largest value of the flow function 0.484, choked 0.0404 A p1/sqrt(T1) [NOZZLE].
#[test]
fn the_ideal_nozzle() {
    prints(nozzle_critical_ratio(), 0.52828, 5);
    let flow = nozzle_kg_per_s(1e-6, 1.0, 7e5, 1e5, 293.15);
    prints(flow * 1e3, 1.6523, 4);
    prints(flow / (1e-6 * 7e5 / 293.15f64.sqrt()), 0.040415, 6);
    // Psi is the flow over A p1 sqrt(2/(R T1)).
    let psi = flow / (1e-6 * 7e5 * (2.0 / (GAS_CONSTANT_J_PER_KG_K * 293.15)).sqrt());
    prints(psi, 0.484, 3);
    prints(Restriction::hole(1e-6, 1.0).conductance_m3_per_s_pa * 1e8, 0.1992, 4);
    assert_eq!(nozzle_kg_per_s(1e-6, 1.0, 1e5, 7e5, 293.15), -flow);
}

// The ellipse is an approximation of the nozzle's curve: script values in the same units as the choked flow.
#[test]
fn the_ellipse_stays_close_to_the_nozzle() {
    let hole = Restriction::hole(1e-6, 1.0);
    let choked = hole.mass_flow_kg_per_s(6e5, 1.0, 293.15);
    for per_mille in 0..=1000 {
        let to_pa = 600.0 * f64::from(per_mille);
        let nozzle = nozzle_kg_per_s(1e-6, 1.0, 6e5, to_pa, 293.15);
        let ellipse = hole.mass_flow_kg_per_s(6e5, to_pa, 293.15);
        assert!((nozzle - ellipse).abs() < 0.00155 * choked, "{per_mille}: {nozzle} {ellipse}");
    }
    let (nozzle, ellipse) =
        (nozzle_kg_per_s(1e-6, 1.0, 6e5, 5.7e5, 293.15), hole.mass_flow_kg_per_s(6e5, 5.7e5, 293.15));
    assert!((ellipse / nozzle - 1.0).abs() < 0.004, "{}", ellipse / nozzle);
}

/// Flow through two restrictions, found by halving the range of the pressure between them.
fn through_both(a: &Restriction, b: &Restriction, from_pa: f64, to_pa: f64) -> f64 {
    let (mut low, mut high) = (to_pa, from_pa);
    for _ in 0..200 {
        let mid = 0.5 * (low + high);
        let more = a.mass_flow_kg_per_s(from_pa, mid, 293.15) > b.mass_flow_kg_per_s(mid, to_pa, 293.15);
        if more { low = mid } else { high = mid }
    }
    a.mass_flow_kg_per_s(from_pa, low, 293.15)
}

#[test]
fn one_after_the_other() {
    for (c1, b1, c2, b2) in
        [(1.0, 0.3, 1.0, 0.3), (0.2, 0.3, 1.0, 0.3), (1.0, 0.5, 0.3, 0.0), (3.0, 0.0, 1.0, 0.3)]
    {
        let a = Restriction { conductance_m3_per_s_pa: c1 * 1e-8, critical_ratio: b1 };
        let b = Restriction { conductance_m3_per_s_pa: c2 * 1e-8, critical_ratio: b2 };
        let both = a.series(&b);
        let choked = through_both(&a, &b, 7e5, 1.0);
        // Where choking ends the two laws agree, and just beyond the flow falls.
        for (ratio, allowed) in [(0.0, 1e-9), (0.5, 1e-9), (1.0, 1e-9)] {
            let to_pa = (7e5 * both.critical_ratio * ratio).max(1.0);
            let flow = both.mass_flow_kg_per_s(7e5, to_pa, 293.15);
            assert!((through_both(&a, &b, 7e5, to_pa) / flow - 1.0).abs() < allowed, "{c1} {c2} {ratio}");
        }
        let beyond = 7e5 * (both.critical_ratio + 0.05);
        assert!(through_both(&a, &b, 7e5, beyond) < choked * (1.0 - 1e-5));
        // Between, the ellipse stands for another curve: within 6 % of the choked flow.
        for percent in 0..=100 {
            let to_pa = 7e3 * f64::from(percent);
            let gap = through_both(&a, &b, 7e5, to_pa) - both.mass_flow_kg_per_s(7e5, to_pa, 293.15);
            assert!(gap.abs() < 0.06 * choked, "{c1} {c2}: {percent} %: {}", gap / choked);
        }
    }
    assert_eq!(WORKED.series(&Restriction::SHUT).conductance_m3_per_s_pa, 0.0);
    assert_eq!(Restriction::SHUT.series(&WORKED).conductance_m3_per_s_pa, 0.0);
}

// 6 mm: A = 28.274 mm2; f L/d = 0.025 x 1000/6 = 4.1667; K = (A/(rho0 sqrt(R T0) C_nozzle))^2
// = (1/(1.185 x 290.08 x 1.9919e-3))^2 = 2.1331; C = 28.274e-6/(343.75 sqrt(6.2998)) = 3.2771e-8.
// 10 m: 28.274e-6/(343.75 sqrt(43.800)) = 1.2428e-8.
#[test]
fn a_line_by_bore_and_length() {
    prints(Restriction::line(6e-3, 1.0).conductance_m3_per_s_pa * 1e8, 3.277, 3);
    prints(Restriction::line(6e-3, 10.0).conductance_m3_per_s_pa * 1e8, 1.243, 3);
    let (none, hole) = (Restriction::line(6e-3, 0.0), Restriction::hole(28.2743e-6, 1.0));
    assert!((none.conductance_m3_per_s_pa / hole.conductance_m3_per_s_pa - 1.0).abs() < 1e-5);
    assert_eq!(Restriction::line(0.0, 1.0).conductance_m3_per_s_pa, 0.0);
    assert!(Restriction::line(0.1, 0.0).check("line").is_err());
}

#[test]
fn what_is_no_restriction_is_refused() {
    for (c, b) in [(-1e-9, 0.3), (1e-5, 0.3), (f64::NAN, 0.3), (1e-8, -0.1), (1e-8, 1.0), (1e-8, f64::NAN)] {
        let wrong = Restriction { conductance_m3_per_s_pa: c, critical_ratio: b };
        assert_eq!(wrong.check("filter").map_err(|e| e.field), Err("filter"), "{c} {b}");
    }
    assert_eq!(WORKED.check("filter"), Ok(()));
}

#[test]
fn openings_scale_and_add() {
    assert_eq!(WORKED.scaled(0.25), Restriction::usual(0.25e-8));
    assert_eq!(WORKED.scaled(7.0), WORKED);
    assert_eq!(WORKED.scaled(f64::NAN).conductance_m3_per_s_pa, 0.0);
    let wide = Restriction { conductance_m3_per_s_pa: 3e-8, critical_ratio: 0.5 };
    let both = WORKED.beside(&wide);
    assert!((both.conductance_m3_per_s_pa - 4e-8).abs() < 1e-20);
    assert!((both.critical_ratio - 0.45).abs() < 1e-12);
    assert_eq!(Restriction::SHUT.beside(&Restriction::SHUT), Restriction::SHUT);
}

prop_compose! {
    fn some_restriction()(exponent in -12.0..-6.0, b in 0.0..=0.95) -> Restriction {
        Restriction { conductance_m3_per_s_pa: 10f64.powf(exponent), critical_ratio: b }
    }
}

/// Pressures far apart and very close together.
fn two_pressures() -> impl Strategy<Value = (f64, f64)> {
    (1e3..2e6f64, prop_oneof![0.0..1.2f64, 0.99..1.01f64, Just(1.0)]).prop_map(|(p, ratio)| (p, p * ratio))
}

proptest! {
    #[test]
    fn a_flow_is_antisymmetric_bounded_and_rises_with_the_pressure(
        some in some_restriction(), (from_pa, to_pa) in two_pressures(), more in 0.0..1e5f64, upstream_k in 200.0..400.0f64,
    ) {
        let flow = |from, to| some.mass_flow_kg_per_s(from, to, upstream_k);
        let q = flow(from_pa, to_pa);
        prop_assert_eq!(q, -flow(to_pa, from_pa));
        let choked = some.conductance_m3_per_s_pa * density_factor(upstream_k) * from_pa.max(to_pa);
        prop_assert!(q.abs() <= choked * (1.0 + 1e-12));
        prop_assert!(q * (from_pa - to_pa) >= 0.0);
        let least = choked * 1e-12;
        prop_assert!(flow(from_pa + more, to_pa) >= q - least);
        prop_assert!(flow(from_pa, to_pa + more) <= q + least);
    }

    // The solver's argument that nothing overshoots needs tangents that are never below the flow [PL-04].
    #[test]
    fn a_tangent_is_never_below_the_flow(
        some in some_restriction(), (from_pa, to_pa) in two_pressures(), (from2_pa, to2_pa) in two_pressures(),
    ) {
        let (high, low) = (from_pa.max(to_pa), from_pa.min(to_pa));
        let (high2, low2) = (from2_pa.max(to2_pa), from2_pa.min(to2_pa));
        let flow = some.flow(high, low, ANR_KG_PER_M3);
        let straight = flow.kg_per_s + flow.by_from_kg_per_s_pa * (high2 - high) + flow.by_to_kg_per_s_pa * (low2 - low);
        let true_flow = some.flow(high2, low2, ANR_KG_PER_M3).kg_per_s;
        let scale = some.conductance_m3_per_s_pa * ANR_KG_PER_M3 * (high + high2) + flow.by_from_kg_per_s_pa * 1e3;
        prop_assert!(straight >= true_flow - 1e-9 * scale, "{} {}", straight, true_flow);
        prop_assert!(flow.by_from_kg_per_s_pa >= 0.0 && flow.by_to_kg_per_s_pa <= 0.0);
    }

    #[test]
    fn slopes_are_those_of_the_flow(some in some_restriction(), from_pa in 1e4..2e6f64, ratio in 0.0..0.998f64) {
        let to_pa = from_pa * ratio;
        let h = from_pa * 1e-6;
        // A kink at choking and at the laminar part: there the difference belongs to neither side.
        prop_assume!((ratio - some.critical_ratio).abs() > 1e-4);
        let flow = some.flow(from_pa, to_pa, ANR_KG_PER_M3);
        let at = |from, to| some.flow(from, to, ANR_KG_PER_M3).kg_per_s;
        let by_from = (at(from_pa + h, to_pa) - at(from_pa - h, to_pa)) / (2.0 * h);
        let by_to = (at(from_pa, to_pa + h) - at(from_pa, to_pa - h)) / (2.0 * h);
        let scale = some.conductance_m3_per_s_pa + by_from.abs();
        prop_assert!((flow.by_from_kg_per_s_pa - by_from).abs() < 1e-4 * scale);
        prop_assert!((flow.by_to_kg_per_s_pa - by_to).abs() < 1e-4 * scale);
    }
}
