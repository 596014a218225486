//! Water in cable and housing, and who else is on the wires [DV-111].

use super::rig::{CARD, COMES_S, Rig, SEVERITIES, SUPPLY, near, text};
use looprig::frame::Master;
use looprig::host::HostError;
use looprig::sim::Dark;

/// V = (24 - 250 I)/(1 + 250/R) for the device's 12 mA. 1 mA peak to peak into 250, 5000 and R ohm and C:
/// at 2200 Hz the weakest, 1000 mV/|1/250 + 1/5000 + 1/R + j 2 pi 2200 C|/1000, heard from 100 mV on [WI-13].
#[test]
fn a_wet_cable_on_a_supply() {
    for (x, ohm, farad, volts_v) in
        [(0.3, 56_234.0, 39.81e-9, 20.907), (0.6, 10_000.0, 158.5e-9, 20.488), (1.0, 1000.0, 1e-6, 16.8)]
    {
        let mut rig = Rig::with(SUPPLY, "wet_cable", x, 40.0, "");
        rig.to(30.0);
        near("volts", rig.supplied().volts_v, volts_v, 1e-3);
        near("current of the device", rig.supplied().current_a, 0.012, 1e-9);
        near("travel", rig.travel(), 50.0, 0.5);
        let (g, b) = (1.0 / 250.0 + 1.0 / 5000.0 + 1.0 / ohm, 2.0 * core::f64::consts::PI * 2200.0 * farad);
        let level_mv = 1.0 / f64::hypot(g, b);
        assert_eq!(level_mv > 100.0, x < 1.0, "{level_mv} mV, by the table");
        assert_eq!(rig.poll(0).is_some(), level_mv > 100.0, "{level_mv} mV");
        rig.to(55.0).is_back(false);
    }
}

/// 12 mA at the card, and what 9 V drive through the leak is missing at the device.
#[test]
fn a_wet_cable_on_a_card() {
    for (x, ma, percent) in [(0.3, 11.83995, 48.99969), (0.6, 11.1, 44.375), (1.0, 3.0, 0.0)] {
        let mut rig = Rig::with(CARD, "wet_cable", x, 40.0, "");
        rig.to(35.0);
        near("the card's current", rig.wires().carried_ma().expect("a card"), 12.0, 1e-9);
        near("travel", rig.travel(), percent, 0.5);
        match rig.dark() {
            None => near("measured", rig.station().device().loop_current_ma(), ma, 1e-4),
            Some(Dark::Current { current_a, needs_a, .. }) => {
                assert_eq!((x, needs_a), (1.0, 0.0036));
                near("current", current_a * 1e3, ma, 1e-6);
            }
            other => panic!("{other:?}"),
        }
        rig.to(60.0).is_back(x == 1.0);
    }
}

/// Within a minute: volts as of a leak, and an angle that is 6 x degrees too high. The electronics hold what is sensed,
/// so the true travel goes down by 86.6025 tan(angle), in the first parts of a degree by 1.5 % each ([PL-35]).
#[test]
fn water_in_the_housing() {
    for (x, ohm, volts_v) in [(0.3, 63_096.0, 20.917), (0.6, 3981.1, 19.759)] {
        let mut rig = Rig::with(SUPPLY, "water_in_housing", x, 110.0, "");
        rig.to(COMES_S + 30.0);
        // Half of it, as far as it was looked at: each second.
        let half_v = 21.0 / (1.0 + 250.0 / (2.0 * ohm));
        let second_v = (21.0 - volts_v) / 60.0;
        near("volts after half a minute", rig.supplied().volts_v, half_v, 1.1 * second_v + 1e-3);
        rig.to(105.0);
        near("volts", rig.supplied().volts_v, volts_v, 2e-3);
        let gone = 86.6025 * (6.0 * x).to_radians().tan();
        let truth = rig.truth();
        near("sensed less true", truth.sensed_travel_percent - truth.travel_percent, gone, 0.3);
        near("travel", truth.travel_percent, 50.0 - gone, 0.6);
        let told = rig.station().device().electronics().and_then(|e| e.travel_percent());
        near("told", told.expect("calibrated"), 50.0, 0.5);
        assert!(rig.poll(0).is_some());
        rig.to(130.0).is_back(false);
    }
}

/// 300 ohm after 20 s: V = (24 - 3)/(1 + 250/300) = 11.455 V; 100 ohm after a minute leave 6 V of 9: dark. Dry again it starts.
#[test]
fn a_housing_that_is_full_of_water() {
    let mut rig = Rig::with(SUPPLY, "water_in_housing", 1.0, 90.0, "");
    rig.to(COMES_S + 20.5);
    near("volts", rig.supplied().volts_v, 11.4545, 0.01);
    near("angle", (rig.truth().sensed_rad - rig.truth().lever_rad).to_degrees(), 2.05, 0.1);
    rig.to(85.0);
    let Some(Dark::Volts { volts_v, .. }) = rig.dark() else { panic!("{:?}", rig.supplied()) };
    near("volts", volts_v, 6.0, 1e-6);
    assert!(rig.poll(0).is_none() && rig.travel() < 0.1);
    rig.to(110.0).is_back(true);
}

/// Requests that nobody of us sends, more of them the worse it is.
#[test]
fn a_second_master() {
    for (x, least) in [(0.3, 20.0), (0.6, 30.0), (1.0, 60.0)] {
        let mut rig = Rig::with(SUPPLY, "second_master", x, 72.0, "");
        rig.to(COMES_S - 1.0);
        let before = rig.octets_sent();
        rig.to(COMES_S + 60.0);
        // 5 octets of FF, delimiter, 5 of the address, command, count and check; 27 data and 2 of status in the answer: at least.
        let transactions = (rig.octets_sent() - before) as f64 / (14.0 + 14.0 + 29.0);
        assert!(transactions >= least, "{x}: {transactions} requests with their answers in a minute");
        rig.to(76.0);
        let after = rig.octets_sent();
        rig.to(90.0);
        assert_eq!(rig.octets_sent(), after, "it is gone");
        near("travel", rig.travel(), 50.0, 0.5);
    }
}

/// A host with the same role stops and says why [HO-03]; one with the other role goes on. Mended, a new host is undisturbed.
#[test]
fn a_second_master_and_a_host() {
    let events = super::rig::fault(2.0, "second_master", 0.6);
    let mut rig = Rig::of(&text(SUPPLY, "", &events), Master::Secondary);
    rig.to(5.0);
    let stopped = (0..40).find_map(|_| rig.tries(0).err());
    assert!(matches!(stopped, Some(HostError::Stopped(_))), "{stopped:?}");
    let mut rig = Rig::of(&text(SUPPLY, "", &events), Master::Primary);
    rig.to(5.0);
    let answered = (0..20).filter(|_| rig.tries(0).expect("another role").is_some()).count();
    assert!(answered >= 18, "{answered} of 20");
}

/// Burst message 0 in its period: 2, 1 and 0.25 s, the last of which the wires do not allow.
#[test]
fn burst_left_on() {
    for (x, most, least) in [(0.3, 32, 28), (0.6, 62, 58), (1.0, 240, 100)] {
        let mut rig = Rig::with(SUPPLY, "burst_left_on", x, 72.0, "");
        rig.to(COMES_S + 0.5);
        let before = rig.station().device().stored().burst[0];
        assert!(before.on && before.command == 3);
        let begun = rig.octets_sent();
        rig.to(COMES_S + 60.5);
        // Of command 3 with all four variables: preambles, 9 around the data, 2 of status, 24 of data.
        let each = u64::from(rig.station().device().preambles_reply()) + 9 + 2 + 24;
        let bursts = (rig.octets_sent() - begun) / each;
        assert!((least..=most).contains(&bursts), "{x}: {bursts} bursts in a minute");
        rig.to(74.0);
        assert!(!rig.station().device().bursts());
        let after = rig.octets_sent();
        rig.to(80.0);
        assert_eq!(rig.octets_sent(), after, "no more of them");
        rig.is_back(false);
    }
}

/// The burst bit is in every answer while it is on [LL-10], and gone when it is mended.
#[test]
fn the_burst_bit() {
    let mut rig = Rig::with(SUPPLY, "burst_left_on", SEVERITIES[1], 30.0, "");
    for (s, on) in [(5.0, false), (20.0, true), (35.0, false)] {
        rig.to(s);
        // A request may meet a burst, and this host repeats nothing.
        let mut answers = (0..4).map(|_| rig.host.poll(Default::default(), None).expect("a line").0);
        let burst = answers.find_map(|e| e.transaction.reply_frame().map(|f| f.address().burst));
        assert_eq!(burst, Some(on), "at {s} s");
    }
}
