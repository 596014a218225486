//! Tables as they come from instruments.

use super::*;
use proptest::prelude::*;

fn read(
    text: &str,
    options: TableOptions,
    part: usize,
) -> Result<(TableSpec, Vec<f32>, TableNotes), TableError> {
    let mut r = TableReader::new(options);
    let mut out = Vec::new();
    for p in text.as_bytes().chunks(part) {
        r.run(p, &mut out)?;
    }
    let notes = r.finish(&mut out)?;
    Ok((r.spec().unwrap().clone(), out, notes))
}

fn plain(text: &str) -> (TableSpec, Vec<f32>, TableNotes) {
    read(text, TableOptions::default(), 5).unwrap()
}

#[test]
fn tables_as_they_come() {
    let tables = [
        "Time,Channel 1\n0,1\n0.001,2\n0.002,-3\n0.003,4\n",
        "Model,XX\r\nSource,CH1\r\nsecond,Volt\r\n-1.0E-03,1.0E+00,\r\n0,2,\r\n1e-3,-3,\r\n2e-3,4,\r\n",
        "\u{FEFF}Zeit (ms);Kanal A (V)\n\n0,0;1,0\n1,0;2,0\n2,0;-3,0\n3,0;4,0\n",
        "Time\tA\n(ms)\t(mV)\n\n0.0\t1000\n1.0\t2000\n2.0\t-3000\n3.0\t4000\n",
        "us V\n0 1\n1000 2\n2000 -3\n3000 4\n",
        "\"Time [us]\",\"CH1 [V]\"\r\"0\",\"1\"\r\"1000\",\"2\"\r\"2000\",\"-3\"\r\"3000\",\"4\"",
    ];
    for (n, text) in tables.into_iter().enumerate() {
        for part in [1, 9, 1000] {
            let (spec, samples, notes) = read(text, TableOptions::default(), part).unwrap();
            assert_eq!(samples, [1.0, 2.0, -3.0, 4.0], "{n}: {spec:?}");
            assert!((spec.rate_hz - 1000.0).abs() < 1e-6, "{n}: {spec:?}");
            assert_eq!((spec.volts.is_some(), notes), (true, TableNotes::default()), "{n}: {spec:?}");
        }
    }
    assert!((plain(tables[1]).0.begin_s + 0.001).abs() < 1e-12);
    assert!(plain(tables[2]).0.decimal_comma);
}

#[test]
fn columns_units_and_rates() {
    let two = "Time (s),A (V),B (mV)\n0,1,10\n0.5,2,20\n1.0,3,30\n";
    let second = TableOptions { channel: 1, ..TableOptions::default() };
    let (spec, samples, _) = read(two, second, 7).unwrap();
    assert_eq!((samples, spec.channels, spec.rate_hz), (vec![0.01, 0.02, 0.03], 2, 2.0));
    let third = TableOptions { channel: 2, ..TableOptions::default() };
    assert!(read(two, third, 7).unwrap_err().what.contains("column 3"));
    // Milliamperes are no volts; they are taken as they are.
    let (spec, samples, _) = plain("Time (s),I (mA)\n0,4\n1,5\n2,6\n");
    assert_eq!((samples, spec.volts, spec.unit.as_deref()), (vec![4.0, 5.0, 6.0], None, Some("mA")));
    // One column has no times: the rate is written in the header, given, or missing.
    let (spec, samples, _) = plain("Sample Interval,1.0E-04\nCH1\n1\n2\n1\n");
    assert_eq!((samples, spec.rate_hz.round()), (vec![1.0, 2.0, 1.0], 10_000.0));
    let given = TableOptions { rate_hz: Some(8000.0), ..TableOptions::default() };
    assert_eq!(read("1\n2\n1\n", given, 3).unwrap().0.rate_hz, 8000.0);
    assert!(read("1\n2\n1\n", TableOptions::default(), 3).unwrap_err().what.contains("rate"));
}

#[test]
fn steps_that_are_not_even_are_told() {
    // Row 4 comes 3 steps late: two samples on a straight line from 2 to 5. Row 6 goes back. A line in between is no row.
    let (spec, samples, notes) = plain("0,1\n1,1.5\n2,2\n5,5\n6,6\n5.5,9\nbreak\n7,7\n8,8\n9.2,9\n");
    assert_eq!(spec.rate_hz.round(), 1.0);
    assert_eq!(samples, [1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0]);
    assert_eq!((notes.filled, notes.skipped, notes.first_skipped, notes.first_uneven), (2, 2, 6, 4));
    assert!(notes.uneven >= 2 && notes.to_string().contains("in line 4"));
    let mut long: String = (0..1100).map(|n| format!("{},0\n", n as f64 / 1000.0)).collect();
    long.push_str("99,0\n");
    let e = read(&long, TableOptions::default(), 999).unwrap_err();
    assert_eq!((e.line, e.what.contains("missing")), (1101, true), "{e}");
}

#[test]
fn what_is_no_table() {
    for text in ["", "hello\nworld\n", "1\n", "a\0b\n1,2\n2,3\n3,4\n"] {
        assert!(read(text, TableOptions::default(), 3).is_err(), "{text:?}");
    }
    assert!(read(&"x".repeat(5000), TableOptions::default(), 3).unwrap_err().what.contains("longer"));
    assert!(read(&"word\n".repeat(4000), TableOptions::default(), 300).is_err());
}

/// Time in the second column, and a row that has none.
#[test]
fn a_cut_row_before_the_columns_are_known() {
    let (spec, samples, notes) = plain("value,time\n1,2\n2,3\n3,4\n5\n4,5\n");
    assert_eq!((spec.rate_hz, samples), (1.0, vec![1.0, 2.0, 3.0, 4.0]));
    assert_eq!((notes.skipped, notes.first_skipped), (1, 5));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text(text in "(time|value|[-0-9,;.\teE\r\n aVms\"]){0,300}", part in 1usize..40) {
        let whole = read(&text, TableOptions::default(), text.len().max(1));
        prop_assert_eq!(format!("{whole:?}"), format!("{:?}", read(&text, TableOptions::default(), part)));
    }
}
