//! Every sheet in `fixtures/sheets/`: what it is there to show.

use looprig::bench::read_sheet;
use looprig::wiring::{Kind, judge};
use std::path::Path;

#[test]
fn each_sheet_shows_what_it_is_for() {
    let directory = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/sheets");
    let mut seen = 0;
    for (name, bad) in [
        ("fv-3104.toml", &[][..]),
        ("lt-3110-transmitter.toml", &[]),
        ("multidrop-15.toml", &[]),
        ("noisy.toml", &[Kind::Noise]),
        ("no-resistor.toml", &[Kind::SourceShort, Kind::Level]),
        ("card-without-filter.toml", &[Kind::SourceShort, Kind::Level]),
        ("short-of-volts.toml", &[Kind::Polarity, Kind::Volts, Kind::VoltsBeyond, Kind::Rc]),
    ] {
        let sheet = read_sheet(&directory.join(name)).unwrap_or_else(|e| panic!("{e}"));
        let judged = judge(&sheet.circuit);
        let mut fails: Vec<Kind> = judged.checks.iter().filter(|c| c.is_bad()).map(|c| c.kind).collect();
        fails.dedup();
        assert_eq!(fails, bad, "{name}");
        assert!(judged.together_suffices, "{name}: {:?}", judged.together);
        seen += 1;
    }
    assert_eq!(std::fs::read_dir(&directory).unwrap().count(), seen, "a sheet that no test reads");
}
