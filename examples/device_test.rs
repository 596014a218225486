//! A device developer's own test: the conformance suite on the device that is being made.
//!
//! `cargo run --example device_test` runs it on a mock. In a test of your own the line is that of your device, such as
//! `looprig::line::io::PortLine::open_serial("/dev/ttyUSB0", Pace::Wire)` or `PortLine::open_tcp`, and the rest stays.

use looprig::conform::{Known, Suite};
use looprig::host::To;
use looprig::line::Line;

/// The device under test; here a mock of this process on virtual time.
fn line_to_my_device() -> impl Line {
    let bench = "[[device]]\ntag = \"FV-3104\"\npolling_address = 4\n[[line]]\nat = \"pty:\"\n";
    let plan = looprig::bench::check(bench, "bench.toml".as_ref()).expect("a bench");
    looprig::bench::in_process(&plan)
}

/// What `#[test]` would stand above.
fn my_device_keeps_to_the_data_link() {
    let to = To::parse("4").expect("a polling address");
    let results = Suite::new()
        .only("link")
        .writing(false)
        // Deviations that are known stand here with a reason: such as `Known { id: .., reason: .., observed: None }`.
        .known(Vec::<Known>::new())
        .run(&mut line_to_my_device(), &to)
        .expect("the device answers");
    // The message of a failure names every case with what was expected and observed.
    assert!(results.passed(), "{results}");
    println!("{results}");
}

/// Runs it.
pub fn main() {
    my_device_keeps_to_the_data_link();
}
