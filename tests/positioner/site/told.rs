//! What a bench file is told of faults that change nothing on it [DV-110].

use super::rig::{SUPPLY, fault, text};
use looprig::bench;
use std::path::Path;

fn refused(whole: &str, words: &str) {
    match bench::check(whole, Path::new("site.toml")) {
        Ok(_) => panic!("taken, and {words} was wanted"),
        Err(e) => assert!(e.to_string().contains(words), "{e}"),
    }
}

#[test]
fn faults_that_cannot_be() {
    let bare = "[[device]]\ntag = \"FV-3104\"\n[[line]]\nat = \"pty:\"\n";
    for name in ["loop_volts_low", "wires_reversed", "wet_cable", "water_in_housing"] {
        refused(&format!("{bare}{}", fault(1.0, name, 0.5)), "does not compute its loop");
    }
    for name in ["trip_not_energised", "selector_local"] {
        refused(&format!("{bare}{}", fault(1.0, name, 0.5)), "no valve is computed there");
    }
    let no_trip = text(SUPPLY, "", &fault(1.0, "trip_not_energised", 0.5))
        .replace("[device.valve.fail]\ntrip_dm3_per_s_bar = 2\n", "");
    refused(&no_trip, "no trip valve");
    let either = text(SUPPLY, "", &fault(1.0, "wires_reversed", 0.5))
        .replace("min_voltage_v = 9", "min_voltage_v = 9\neither_polarity = true");
    refused(&either, "either way round");
    for name in ["loop_volts_low", "current_missing", "wet_cable", "second_master"] {
        refused(&text(SUPPLY, "", &(fault(1.0, name, 0.5) + "device = \"FV-3104\"\n")), "leave device out");
    }
    let transmitter = "[[device]]\nkind = \"temperature\"\n[[line]]\nat = \"pty:\"\n";
    refused(&format!("{transmitter}{}", fault(1.0, "current_missing", 0.5)), "the bench has no positioner");
    refused(&text(SUPPLY, "", &fault(1.0, "wet_cables", 0.5)), "wet_cable");
    refused(&text(SUPPLY, "", &fault(1.0, "wet_cable", 1.5)), "severity");
}
