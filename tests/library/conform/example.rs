//! The example of a device developer's own test does what it says.
#![cfg(feature = "bench-file")]

#[path = "../../../examples/device_test.rs"]
mod device_test;

#[test]
fn the_example_runs() {
    device_test::main();
}
