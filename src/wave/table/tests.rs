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
            assert_eq!(notes, TableNotes::default(), "{n}: {spec:?}");
            // The first names a channel and no unit: that is no volts.
            assert_eq!(spec.volts.is_some(), n > 0, "{n}: {spec:?}");
        }
    }
    assert!((plain(tables[1]).0.begin_s + 0.001).abs() < 1e-12);
    assert!(plain(tables[2]).0.decimal_comma);
}

/// Forms in which the rate stands elsewhere than in a column of times; each by its own header, with the rate by arithmetic.
#[test]
fn rates_in_headers_and_words_beside_the_rows() {
    // A step of 2e-5 s is 50000 a second.
    let counted = "X,CH1,Start,Increment,\nSequence,Volt,-1.0e-1,2.0e-05\n0,0.1,\n1,0.2,\n2,-0.3,\n3,0.4,\n";
    // 0.02 ms is as much.
    let units = "Points,4\nTime Units,ms\nVoltage Units,V\n0.00,0.1\n0.02,0.2\n0.04,-0.3\n0.06,0.4\n";
    let beside = "Record Length,4,Points,-0.00002,0.1\nSample Interval,2e-05,s,0.00000,0.2\n,,,0.00002,-0.3\n,,,0.00004,0.4\n,,,0.00006,0.5\n";
    for (text, count) in [(counted, 4), (units, 4), (beside, 5)] {
        let (spec, samples, notes) = plain(text);
        assert!((spec.rate_hz / 50_000.0 - 1.0).abs() < 1e-9, "{spec:?}");
        assert_eq!(
            (&samples[..4], samples.len(), notes),
            (&[0.1, 0.2, -0.3, 0.4][..], count, TableNotes::default()),
            "{spec:?}"
        );
        assert_eq!((spec.volts, spec.channels), (Some(1.0), 1), "{spec:?}");
        // Whoever gives a rate has the rows counted, whatever the times say.
        let given = TableOptions { rate_hz: Some(20_000.0), ..TableOptions::default() };
        let (spec, again, _) = read(text, given, 7).unwrap();
        assert_eq!((spec.rate_hz, again), (20_000.0, samples));
    }
    // Many rows with words beside the first ones: decode knows it for a table.
    let rows: String = (0..40).map(|n| format!(",,,{:.5},{}\n", f64::from(n) * 2e-5, n % 3)).collect();
    assert!(looks_like_table(&format!("Record Length,42,Points,-0.00004,0.1\n{rows}")));
    // Numbers of a message are rounded, and long ones short.
    for (rate, words) in
        [(49.999_999_999_99, "50 samples"), (1e300, "1e300 samples"), (7_999.6, "8000 samples")]
    {
        assert!(
            crate::wave::RateError(rate).to_string().starts_with(words),
            "{}",
            crate::wave::RateError(rate)
        );
    }
}

#[test]
fn columns_units_and_rates() {
    let two = "Time (s),A (V),B (mV)\n0,1,10\n0.5,2,20\n1.0,3,30\n";
    let second = TableOptions { channel: 1, ..TableOptions::default() };
    let (spec, samples, _) = read(two, second, 7).unwrap();
    assert_eq!((samples, spec.channels, spec.rate_hz), (vec![0.01, 0.02, 0.03], 2, 2.0));
    let third = TableOptions { channel: 2, ..TableOptions::default() };
    let e = read(two, third, 7).unwrap_err();
    assert!(e.what.contains("column 3") && e.channels == Some(2));
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

/// Times of a wave with so many digits behind the point.
fn coarse(rate: f64, digits: usize, rows: usize, unit: f64) -> String {
    let mut text = String::from("Time (s),A (V)\n");
    for n in 0..rows {
        text.push_str(&format!("{:.digits$},{}\n", n as f64 / rate * unit, n % 7));
    }
    text
}

/// 16 kHz are 62.5 us a row: with four digits five rows of eight repeat a time.
#[test]
fn times_with_few_digits_are_counted() {
    for (rate, digits) in [(16_000.0, 4), (48_000.0, 4), (44_100.0, 3), (16_000.0, 3)] {
        let text = coarse(rate, digits, 5000, 1.0);
        let (spec, samples, notes) = read(&text, TableOptions::default(), 977).unwrap();
        // The slope over 1000 rows: a few thousandths of a step of the times over 20 ms at least.
        assert!((spec.rate_hz / rate - 1.0).abs() < 0.006, "{rate} {digits}: {spec:?}");
        let want: Vec<f32> = (0..5000).map(|n| (n % 7) as f32).collect();
        assert!(samples == want, "{rate} {digits}: {} rows, {notes:?}", samples.len());
        assert!(notes.repeated > 0 && notes.to_string().contains("too few digits"), "{notes}");
    }
    // Rows that are missing are still seen: 200 of them, 12.5 ms.
    let text = coarse(16_000.0, 4, 5000, 1.0);
    let holed: Vec<&str> =
        text.lines().enumerate().filter(|(n, _)| !(3000..3200).contains(n)).map(|l| l.1).collect();
    let (_, samples, notes) = plain(&(holed.join("\n") + "\n"));
    assert!(
        notes.filled.abs_diff(200) <= 3 && samples.len().abs_diff(5000) <= 3,
        "{notes:?} {}",
        samples.len()
    );
    // Too few digits for a rate: the column is still one of times, and with a rate rows are counted.
    let text = coarse(16_000.0, 2, 2000, 1.0);
    let e = read(&text, TableOptions::default(), 977).unwrap_err();
    assert!(e.needs_rate && e.what.contains("too few digits"), "{e}");
    let given = TableOptions { rate_hz: Some(16_000.0), ..TableOptions::default() };
    let (spec, samples, _) = read(&text, given, 977).unwrap();
    assert_eq!((spec.rate_hz, spec.channels, samples.len(), samples[8]), (16_000.0, 1, 2000, 1.0));
    // Seven digits in all, as of single precision: from 1 s on a step of 20 us repeats; before, not. 1.5 s from 0.99 s on.
    let mut text = String::from("s,V\n");
    for n in 0..60_000 {
        let t = 0.9 + n as f64 / 50_000.0;
        text.push_str(&if t < 1.0 { format!("{t:.5},{}\n", n % 5) } else { format!("{t:.4},{}\n", n % 5) });
    }
    let (spec, samples, notes) = plain(&text);
    assert!((spec.rate_hz / 50_000.0 - 1.0).abs() < 1e-6, "{spec:?}");
    assert!(samples.len().abs_diff(60_000) <= 5 && notes.skipped <= 5, "{} {notes:?}", samples.len());
}

#[test]
fn clock_times_and_dates() {
    let texts = [
        "Time;CH1 (V)\n23:59:59.998;0,1\n23:59:59.999;0,2\n00:00:00.000;0,3\n00:00:00.001;0,4\n",
        "2026-11-30T23:59:59.998Z,0.1\n2026-11-30T23:59:59.999Z,0.2\n2026-12-01T00:00:00.000Z,0.3\n2026-12-01T00:00:00.001Z,0.4\n",
        "Date,Time,A\n2026-11-30,10:00:00.001,0.1\n2026-11-30,10:00:00.002,0.2\n2026-11-30,10:00:00.003,0.3\n2026-11-30,10:00:00.004,0.4\n",
        "Date Time V\n2026-11-30 10:00:00.001 0.1\n2026-11-30 10:00:00.002 0.2\n2026-11-30 10:00:00.003 0.3\n2026-11-30 10:00:00.004 0.4\n",
        "Time\tV\n2026/11/30 10:00:00.001\t0.1\n2026/11/30 10:00:00.002\t0.2\n2026/11/30 10:00:00.003\t0.3\n2026/11/30 10:00:00.004\t0.4\n",
    ];
    for text in texts {
        let (spec, samples, notes) = plain(text);
        assert_eq!(
            (spec.rate_hz.round(), spec.channels, samples),
            (1000.0, 1, vec![0.1, 0.2, 0.3, 0.4]),
            "{text}"
        );
        assert_eq!(notes, TableNotes::default(), "{text}");
    }
}

#[test]
fn what_the_numbers_are() {
    let volts = |text: &str| plain(text).0.volts;
    let rows = "0,1\n1,2\n2,3\n";
    assert_eq!(volts(rows), Some(1.0));
    assert_eq!(volts(&format!("time,counts\n{rows}")), None);
    assert_eq!(volts(&format!("Time (s),CH1\n{rows}")), None);
    assert_eq!(volts(&format!("Time (s),CH1 (mV)\n{rows}")), Some(1e-3));
    assert_eq!(volts(&format!("Source,CH1\nsecond,Volt\n{rows}")), Some(1.0));
    // A micro sign that is no UTF-8.
    let latin = [b"Time (\xB5s),A (\xB5V)\n0,1\n10,2\n20,3\n" as &[u8]].concat();
    let mut r = TableReader::new(TableOptions::default());
    let mut out = Vec::new();
    r.run(&latin, &mut out).unwrap();
    r.finish(&mut out).unwrap();
    let spec = r.spec().unwrap();
    assert_eq!((spec.rate_hz.round(), spec.volts), (100_000.0, Some(1e-6)));
}

/// A recording by its first bytes: what could be hex text is none.
#[test]
fn tables_and_hex_text_are_told_apart() {
    for (text, table, numbers) in [
        ("0.001 0.5\n0.002 0.6\n0.003 0.7\n0.004 0.8\n", true, true),
        ("10:00:00.001;0,5\n10:00:00.002;0,6\n10:00:00.003;0,7\n10:00:00.004;0,8\n", true, true),
        ("0.5\n0.6\n0.7\n0.8\n", false, true),
        ("02 80 00 00 82\n06 80 00 00 82\n02 80 00 00 82\n02 80 00 00 82\n", false, true),
        ("02,80,00,00,82\n06,80,00,00,82\n02,80,00,00,82\n02,80,00,00,82\n", false, true),
        ("02, 80, 00\n06, 80, 00\n02, 80, 00\n02, 80, 00\n", false, true),
        ("02 80 FF\n06 80 FF\n02 80 FF\n02 80 FF\n", false, false),
    ] {
        assert_eq!((looks_like_table(text), holds_numbers(text)), (table, numbers), "{text:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text(text in "(time|value|counts|12:30:0|2026-11-30|[-0-9,;:.\teE\r\n aVms\"]){0,300}", part in 1usize..40) {
        let whole = read(&text, TableOptions::default(), text.len().max(1));
        prop_assert_eq!(format!("{whole:?}"), format!("{:?}", read(&text, TableOptions::default(), part)));
    }
}

/// Four significant digits: at 20 kHz times have a row each below 0.1 s, two rows each below 1 s, and 20 from there on. No row is missing.
#[test]
fn times_that_lose_digits_on_the_way() {
    let rows = 24_000;
    let text: String = (0..rows)
        .map(|k| {
            let t = f64::from(k) / 20_000.0;
            let digits = if k == 0 { 0 } else { (3.0 - t.log10().floor()) as usize };
            format!("{t:.digits$},{}\n", k % 7)
        })
        .collect();
    let (spec, samples, notes) = plain(&text);
    assert!((spec.rate_hz - 20_000.0).abs() < 1.0, "{spec:?}");
    // At 0.1 s a step of two rows may come before the first time that repeats: that one looks like a hole of one.
    assert!(notes.filled <= 1 && samples.len() as u64 == rows as u64 + notes.filled, "{notes}");
    assert!(notes.to_string().contains("--rate"), "{notes}");
    // A hole of 1000 rows, 50 ms, where a time has 20 rows, is one.
    let lines: Vec<&str> = text.lines().collect();
    let (_, samples, notes) = plain(&[&lines[..21_000], &lines[22_000..]].concat().join("\n"));
    assert!((900..=1100).contains(&notes.filled), "{notes}");
    assert!(samples.len().abs_diff(rows as usize) < 100, "{}", samples.len());
}
