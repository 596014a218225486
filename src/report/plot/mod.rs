//! What every plot needs: round marks on an axis, text that means nothing to a browser, thinning of long runs.

mod small;
mod thin;

pub(super) use small::{Curve, svg};
pub(super) use thin::thin;

/// Characters that turn the direction of writing round, so that a name could read as another.
pub(super) fn turns_writing(c: char) -> bool {
    matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Text that means nothing to a browser, and that XML can hold: other control characters than tabs and line ends, and those that turn
/// writing round, become spaces.
pub(super) fn plain(text: &str) -> String {
    let legal: String = text
        .chars()
        .map(|c| {
            let control = c.is_control() && !matches!(c, '\t' | '\n');
            if control || turns_writing(c) || matches!(c, '\u{fffe}' | '\u{ffff}') { ' ' } else { c }
        })
        .collect();
    legal.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// A step of 1, 2 or 5 times a power of ten of which at most `most` make up `length`.
pub(super) fn step(length: f64, most: f64) -> f64 {
    let rough = (length / most).max(1e-9);
    let power = 10f64.powf(rough.log10().floor());
    // What is a hair above because of rounding counts as equal.
    let factor =
        [1.0, 2.0, 5.0, 10.0].into_iter().find(|f| f * power >= rough * (1.0 - 1e-9)).unwrap_or(10.0);
    factor * power
}

/// Digits behind the point with which marks at this step can be told apart.
pub(super) fn digits(step: f64) -> usize {
    (-(step.log10() + 1e-9).floor()).clamp(0.0, 9.0) as usize
}

/// An axis with marks at round numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Axis {
    /// The lowest value on it.
    pub from: f64,
    /// The highest value on it.
    pub to: f64,
    /// Between two marks.
    pub step: f64,
}

/// Room between the outermost values and the ends of an axis, as a share of what is between them.
const ROOM: f64 = 0.05;

impl Axis {
    /// An axis with at most about `most` marks that holds `from` to `to` and a little more at both ends, and at least the
    /// span `least` about their middle.
    pub fn around(from: f64, to: f64, least: f64, most: f64) -> Axis {
        let (from, to) = if from.is_finite() && to.is_finite() { (from, to) } else { (0.0, 1.0) };
        let more = ((least - (to - from)) / 2.0).max(0.0);
        let (from, to) = (from - more, to + more);
        let room = ROOM * (to - from);
        Axis { from: from - room, to: to + room, step: step(to - from, most) }
    }

    /// The values at its marks.
    pub fn marks(&self) -> impl Iterator<Item = f64> + use<> {
        let Axis { from, to, step } = *self;
        let first = (from / step - 1e-6).ceil();
        let count = ((to / step + 1e-6).floor() - first).clamp(0.0, 1000.0) as u32;
        // Without the sum of many steps, and without minus nought.
        (0..=count).map(move |n| (first + f64::from(n)) * step + 0.0)
    }

    /// A value as its marks show it.
    pub fn word(&self, value: f64) -> String {
        let text = format!("{value:.*}", digits(self.step));
        if text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.')) {
            text.trim_start_matches('-').to_owned()
        } else {
            text
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn steps_are_round() {
        for (length, most, expected) in [
            (8.0, 8.0, 1.0),
            (9.0, 8.0, 2.0),
            (24.0, 8.0, 5.0),
            (50.0, 8.0, 10.0),
            (0.3, 8.0, 0.05),
            (60.0, 12.0, 5.0),
        ] {
            assert!((step(length, most) - expected).abs() < 1e-9, "{length}: {}", step(length, most));
        }
        assert_eq!([1.0, 20.0, 0.5, 0.2, 0.01, 0.05].map(digits), [0, 0, 1, 1, 2, 2]);
    }

    #[test]
    fn an_axis_holds_its_values_and_marks_round_ones() {
        let a = Axis::around(20.0, 80.0, 1.0, 8.0);
        assert_eq!((a.from, a.to), (17.0, 83.0));
        assert_eq!(a.marks().collect::<Vec<_>>(), [20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0]);
        // One value alone still has an axis.
        let a = Axis::around(50.0, 50.0, 2.0, 4.0);
        assert_eq!((a.from, a.to, a.step), (48.9, 51.1, 0.5));
        assert_eq!(Axis::around(-0.02, 1.4, 0.1, 6.0).word(-0.0), "0.0");
        assert!(Axis::around(f64::NAN, f64::INFINITY, 1.0, 5.0).to > 0.0);
    }

    /// U+202E would show a name backwards, U+2066 hide where it ends.
    #[test]
    fn no_text_turns_writing_round() {
        assert_eq!(plain("FV-\u{202e}4013\u{2066}\u{202a}<\u{2069}"), "FV- 4013  &lt; ");
    }

    proptest! {
        #[test]
        fn any_axis_holds_what_it_is_made_for(from in -1e6f64..1e6, length in 0.0f64..1e6, least in 1e-3f64..10.0) {
            let a = Axis::around(from, from + length, least, 8.0);
            prop_assert!(a.from <= from && a.to >= from + length);
            let marks: Vec<f64> = a.marks().collect();
            prop_assert!((2..=12).contains(&marks.len()), "{a:?}");
            prop_assert!(marks.windows(2).all(|w| w[1] > w[0]));
        }

        #[test]
        fn any_text_is_harmless(text in any::<String>()) {
            let told = plain(&text);
            prop_assert!(!told.chars().any(turns_writing));
            prop_assert!(!told.contains(['<', '>', '"']) && !told.chars().any(|c| c < ' ' && c != '\n' && c != '\t'));
        }
    }
}
