//! Single-precision numbers as text that reads back to the same 32 bits [TY-02] [TY-03].
//!
//! Values travel as bits, not as `f32`: a signalling not-a-number would not be sure to survive
//! arithmetic, and a message must.

use core::fmt::Write as _;

/// The not-a-number that stands for "no value" in a message, 7F A0 00 00 [TY-03].
pub const NOT_A_NUMBER: u32 = 0x7FA0_0000;

/// The text of [`NOT_A_NUMBER`].
const NOT_A_NUMBER_TEXT: &str = "not-a-number";

/// The text of a single-precision number; see [`write_float`] [TY-02] [TY-03].
pub fn format_float(bits: u32) -> String {
    let mut text = String::with_capacity(16);
    write_float(&mut text, bits);
    text
}

/// Appends the shortest decimal number that reads back to `bits` [TY-02].
///
/// Magnitudes from 1e-4 to below 1e7, and zero, are written plainly, others with an exponent.
/// Infinities are `inf` and `-inf`, the agreed not-a-number [TY-03] is `not-a-number`, any other
/// is `nan:` and its 32 bits in hexadecimal. Allocates only if `out` has no room.
pub fn write_float(out: &mut String, bits: u32) {
    if bits == NOT_A_NUMBER {
        out.push_str(NOT_A_NUMBER_TEXT);
        return;
    }
    let value = f32::from_bits(bits);
    if (1e-4..1e7).contains(&value.abs()) {
        // The road nearly every value takes; the formatter of the language needs three times as long.
        let mut buffer = zmij::Buffer::new();
        let digits = buffer.format_finite(value);
        out.push_str(digits.strip_suffix(".0").unwrap_or(digits));
        return;
    }
    // Writing to a String cannot fail.
    let _ = if value.is_nan() {
        write!(out, "nan:{bits:08X}")
    } else if value == 0.0 || value.is_infinite() {
        write!(out, "{value}")
    } else {
        write!(out, "{value:e}")
    };
}

/// The bits of a number written as [`write_float`] writes it, or as any plain decimal number, which
/// is rounded to the nearest single [TY-02] [TY-03].
///
/// # Errors
/// A text that is no number, or a number beyond the range of a single.
pub fn parse_float(text: &str) -> Result<u32, String> {
    match text {
        NOT_A_NUMBER_TEXT => return Ok(NOT_A_NUMBER),
        "inf" => return Ok(f32::INFINITY.to_bits()),
        "-inf" => return Ok(f32::NEG_INFINITY.to_bits()),
        _ => {}
    }
    if let Some(hex) = text.strip_prefix("nan:") {
        let sound = hex.len() == 8 && hex.bytes().all(|b| b.is_ascii_hexdigit());
        return sound
            .then(|| u32::from_str_radix(hex, 16).ok())
            .flatten()
            .filter(|bits| f32::from_bits(*bits).is_nan())
            .ok_or_else(|| {
                format!(
                    "reading a number from {text:?}: nan: needs the eight hexadecimal digits of a \
                     not-a-number; write nan:7FC00000, or not-a-number for no value"
                )
            });
    }
    // `parse` would also take words such as "nan" and "infinity".
    let numeric = |b: u8| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b'e' | b'E');
    let value = Some(text)
        .filter(|text| text.bytes().all(numeric))
        .and_then(|text| text.parse::<f32>().ok())
        .ok_or_else(|| {
            format!(
                "reading a number from {text:?}: it is no decimal number; write it as 72.612, \
                 1.5e-7, inf, -inf or not-a-number"
            )
        })?;
    if value.is_infinite() {
        return Err(format!(
            "reading a number from {text:?}: it is beyond the range of a single; stay within \
             3.4028235e38 either way, or write inf"
        ));
    }
    Ok(value.to_bits())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn published_values() {
        // 44 16 00 00 is 600 and C3 16 00 00 is -150 [SPEC1769].
        for (bits, text) in [(0x4416_0000, "600"), (0xC316_0000, "-150")] {
            assert_eq!(format_float(bits), text);
            assert_eq!(parse_float(text), Ok(bits));
        }
        // 42 91 39 56 is printed as 72.612 [1770] and 3E C5 20 A4 as 0.38501 [ICP]. Both are
        // rounded there: the singles nearest to the printed numbers are other ones.
        for (bits, printed, half_a_digit) in [(0x4291_3956, 72.612, 5e-4), (0x3EC5_20A4, 0.38501, 5e-6)] {
            let shown: f64 = format_float(bits).parse().unwrap();
            assert!((shown - printed).abs() < half_a_digit, "{shown}");
        }
    }

    #[test]
    fn no_value_and_other_not_a_numbers() {
        // 7F A0 00 00 for unused values [F29592] [F57077].
        assert_eq!(format_float(0x7FA0_0000), "not-a-number");
        assert_eq!(parse_float("not-a-number"), Ok(0x7FA0_0000));
        assert_eq!(format_float(0x7FC0_0001), "nan:7FC00001");
        assert_eq!(parse_float("nan:7FC00001"), Ok(0x7FC0_0001));
    }

    #[test]
    fn ends_of_the_range() {
        // IEEE 754: exponent FF, mantissa 0 is an infinity; sign alone is -0; 1 is 2^-149.
        assert_eq!(format_float(0x7F80_0000), "inf");
        assert_eq!(format_float(0xFF80_0000), "-inf");
        assert_eq!(format_float(0x8000_0000), "-0");
        assert_eq!(format_float(0), "0");
        assert_eq!(format_float(1), "1e-45");
        assert_eq!(parse_float("-0"), Ok(0x8000_0000));
    }

    #[test]
    fn plain_and_scientific() {
        assert_eq!(format_float(1e7f32.to_bits()), "1e7");
        assert_eq!(format_float(9_999_999f32.to_bits()), "9999999");
        assert_eq!(format_float(1e-4f32.to_bits()), "0.0001");
        assert_eq!(format_float(5e-5f32.to_bits()), "5e-5");
    }

    #[test]
    fn refusals() {
        for text in [
            "",
            "nan",
            "NaN",
            "infinity",
            "1e39",
            "-1e39",
            "7,5",
            "nan:3F800000",
            "nan:7FC0",
            "nan:+7FC0000",
            "0x10",
            "1 bar",
            "--1",
        ] {
            let error = parse_float(text).unwrap_err();
            assert!(error.contains("reading a number"), "{text}: {error}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4096))]
        #[test]
        fn any_bits_survive(bits in any::<u32>()) {
            prop_assert_eq!(parse_float(&format_float(bits)), Ok(bits));
        }

        #[test]
        fn plain_numbers_are_as_short_as_those_of_the_language(bits in 0x38D1_B717u32..0x4B18_9680) {
            // The range is 1e-4 to below 1e7; the standard library is the other program here. It
            // rounds a last digit halfway between two the other way, so lengths are compared.
            for bits in [bits, bits | 0x8000_0000] {
                let text = format_float(bits);
                prop_assert!(!text.contains(['e', 'E']));
                prop_assert_eq!(text.len(), f32::from_bits(bits).to_string().len());
                prop_assert_eq!(text.parse::<f32>().map(f32::to_bits), Ok(bits));
            }
        }

        #[test]
        fn not_a_numbers_survive(mantissa in 1u32..0x80_0000, sign in any::<bool>()) {
            let bits = u32::from(sign) << 31 | 0x7F80_0000 | mantissa;
            prop_assert_eq!(parse_float(&format_float(bits)), Ok(bits));
        }

        #[test]
        fn no_text_panics(text in any::<String>()) {
            let _ = parse_float(&text);
        }
    }
}
