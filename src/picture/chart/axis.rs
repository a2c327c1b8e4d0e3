//! Axes: ranges, round ticks, and where a value lies.

/// Values beyond this count as infinite, so that sums and differences of two stay finite.
const LARGEST: f64 = 1e100;
/// Numbers from here up, or below [`SMALL`], are written with a power of ten.
const LARGE: f64 = 1e6;
/// See [`LARGE`].
const SMALL: f64 = 1e-4;
/// Numbers of five and more digits are parted in threes.
const PARTED: f64 = 1e4;
/// Narrow non-breaking space, between thousands.
const THIN_SPACE: char = '\u{202f}';
/// Non-breaking space, between number and unit.
const HARD_SPACE: char = '\u{a0}';
/// Units up to this many letters stand at every tick; longer ones in the axis label only.
const SHORT_UNIT: usize = 2;
/// A tick this share of a step outside the range is still in it: rounding.
const TICK_SLACK: f64 = 1e-9;

/// How values are spread along an axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Scale {
    /// Equal differences are equally long.
    #[default]
    Linear,
    /// Equal ratios are equally long; only values above 0 have a place.
    Log,
}

/// An axis: what it measures and how.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Axis {
    /// What it measures, e.g. `gap between pixels and cloth`.
    pub label: String,
    /// The unit, e.g. `mm`; empty for a plain number.
    pub unit: String,
    /// First and last value; `None` takes the values' own range, widened to round numbers.
    pub range: Option<(f64, f64)>,
    /// How values are spread.
    pub scale: Scale,
    /// Whether a range taken from the values begins at 0 (linear axes only).
    pub from_zero: bool,
}

impl Axis {
    /// A linear axis with a range of its own.
    #[must_use]
    pub fn linear(label: &str, unit: &str) -> Axis {
        Axis { label: label.to_owned(), unit: unit.to_owned(), ..Axis::default() }
    }

    /// A logarithmic axis with a range of its own.
    #[must_use]
    pub fn log(label: &str, unit: &str) -> Axis {
        Axis { scale: Scale::Log, ..Axis::linear(label, unit) }
    }

    /// The same axis over a range.
    #[must_use]
    pub fn over(self, low: f64, high: f64) -> Axis {
        Axis { range: Some((low, high)), ..self }
    }

    /// The same axis, beginning at 0 at the latest.
    #[must_use]
    pub fn from_zero(self) -> Axis {
        Axis { from_zero: true, ..self }
    }

    /// Label and unit in one line.
    #[must_use]
    pub fn heading(&self) -> String {
        match (self.label.trim(), self.unit.trim()) {
            (label, "") => label.to_owned(),
            ("", unit) => unit.to_owned(),
            (label, unit) => format!("{label} ({unit})"),
        }
    }

    /// Whether a value has a place on the axis.
    fn takes(&self, value: f64) -> bool {
        value.abs() <= LARGEST && (self.scale == Scale::Linear || value >= 1.0 / LARGEST)
    }

    /// The span the axis covers for these values.
    pub(super) fn span(&self, values: impl Iterator<Item = f64>) -> Span {
        let scale = self.scale;
        if let Some((a, b)) = self.range.map(|(a, b)| (nil_if_tiny(a), nil_if_tiny(b)))
            && self.takes(a)
            && self.takes(b)
            && (a - b).abs() > f64::EPSILON * a.abs().max(b.abs())
        {
            return Span { low: a.min(b), high: a.max(b), scale };
        }
        let zero = (self.from_zero && scale == Scale::Linear).then_some(0.0);
        let ends = values
            .map(nil_if_tiny)
            .filter(|v| self.takes(*v))
            .chain(zero)
            .fold(None, |ends: Option<(f64, f64)>, v| {
                Some(ends.map_or((v, v), |(a, b)| (a.min(v), b.max(v))))
            });
        let (low, high) = match (scale, ends) {
            (Scale::Linear, None) => (0.0, 1.0),
            (Scale::Log, None) => (1.0, 10.0),
            (Scale::Linear, Some(ends)) => rounded_outward(widened(ends)),
            (Scale::Log, Some((a, b))) => (round_below(a), round_above(b)),
        };
        let high = if high > low { high } else { 10.0 * low };
        Span { low, high, scale }
    }

    /// A number on this axis, with its unit where that is short.
    pub(super) fn words(&self, text: &str) -> String {
        let unit = self.unit.trim();
        if unit.is_empty() || unit.chars().count() > SHORT_UNIT {
            text.to_owned()
        } else {
            format!("{text}{HARD_SPACE}{unit}")
        }
    }
}

/// The value; 0 for what is so small that steps between such values would not be numbers.
fn nil_if_tiny(value: f64) -> f64 {
    if value.abs() < 1.0 / LARGEST { 0.0 } else { value }
}

/// Two different ends.
fn widened((low, high): (f64, f64)) -> (f64, f64) {
    let size = low.abs().max(high.abs());
    if high - low > 1e-9 * size {
        (low, high)
    } else if size == 0.0 {
        (0.0, 1.0)
    } else {
        (low - 0.1 * size, high + 0.1 * size)
    }
}

fn rounded_outward((low, high): (f64, f64)) -> (f64, f64) {
    let step = round_step((high - low) / 10.0);
    ((low / step + TICK_SLACK).floor() * step, (high / step - TICK_SLACK).ceil() * step)
}

/// The next of 1, 2, 5 times a power of ten from `least` up.
pub(super) fn round_step(least: f64) -> f64 {
    let decade = power_of_ten(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|digit| digit * decade)
        .find(|step| *step >= least * (1.0 - TICK_SLACK))
        .unwrap_or(10.0 * decade)
}

/// The last of 1, 2, 5 times a power of ten that is at most `value`.
fn round_below(value: f64) -> f64 {
    let decade = power_of_ten(value.log10().floor());
    let at_most = |digit: &f64| digit * decade <= value * (1.0 + TICK_SLACK);
    [5.0, 2.0, 1.0].into_iter().find(at_most).map_or(0.5 * decade, |digit| digit * decade)
}

fn round_above(value: f64) -> f64 {
    round_step(value)
}

/// Exact where the power can be: `powf` of a negative exponent is off by a rounding.
fn power_of_ten(exponent: f64) -> f64 {
    if exponent < 0.0 { 1.0 / 10.0_f64.powi(-exponent as i32) } else { 10.0_f64.powi(exponent as i32) }
}

/// A tick: where, and what stands there.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Tick {
    pub(super) value: f64,
    /// The number; empty at a tick without one.
    pub(super) text: String,
}

/// The values an axis covers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Span {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) scale: Scale,
}

impl Span {
    /// Share of the axis, 0 at its start and 1 at its end, where a value lies. Values without a place on a logarithmic
    /// axis lie at minus infinity; what is not a number stays so.
    pub(super) fn share(&self, value: f64) -> f64 {
        match self.scale {
            Scale::Linear => (value - self.low) / (self.high - self.low),
            Scale::Log if value <= 0.0 => f64::NEG_INFINITY,
            Scale::Log => (value / self.low).ln() / (self.high / self.low).ln(),
        }
    }

    /// Whether a value lies on the axis.
    pub(super) fn contains(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// At most `most` numbered ticks at round values (at least one), and on a logarithmic axis the unnumbered ones.
    pub(super) fn ticks(&self, most: usize) -> Vec<Tick> {
        let most = most.max(2);
        match self.scale {
            Scale::Linear => self.linear_ticks(most),
            Scale::Log => self.log_ticks(most),
        }
    }

    fn linear_ticks(&self, most: usize) -> Vec<Tick> {
        let mut step = round_step((self.high - self.low) / most as f64);
        let count =
            |step: f64| (self.high / step + TICK_SLACK).floor() - (self.low / step - TICK_SLACK).ceil() + 1.0;
        while count(step) > most as f64 {
            step = round_step(1.5 * step);
        }
        let first = (self.low / step - TICK_SLACK).ceil();
        (0..count(step) as usize)
            .map(|i| {
                let value = (first + i as f64) * step;
                Tick { value, text: number(value, step) }
            })
            .collect()
    }

    fn log_ticks(&self, most: usize) -> Vec<Tick> {
        let (first, last) = (self.low.log10().floor() as i32, self.high.log10().ceil() as i32);
        let inside =
            |value: f64| value >= self.low * (1.0 - TICK_SLACK) && value <= self.high * (1.0 + TICK_SLACK);
        let numbered = |digits: &[i32], every: usize| -> Vec<f64> {
            (first..=last)
                .filter(|e| e.rem_euclid(every as i32) == 0)
                .flat_map(|e| digits.iter().map(move |d| f64::from(*d) * power_of_ten(f64::from(e))))
                .filter(|v| inside(*v))
                .collect()
        };
        let fine = [&[1, 2, 5][..], &[1, 3], &[1]].map(|digits| numbered(digits, 1));
        let coarse = (2..=(last - first).max(2) as usize).map(|every| numbered(&[1], every));
        let chosen = fine.into_iter().chain(coarse).find(|ticks| ticks.len() <= most).unwrap_or_default();
        if chosen.len() < 2 {
            return self.linear_ticks(most);
        }
        let named = |value: f64| Tick { value, text: number(value, round_below(value)) };
        let minor = if last - first > 8 { Vec::new() } else { numbered(&[1, 2, 3, 4, 5, 6, 7, 8, 9], 1) };
        let is_chosen = |v: &f64| chosen.iter().any(|c| (c - v).abs() < TICK_SLACK * c);
        let unnamed = minor.iter().filter(|v| !is_chosen(v)).map(|v| Tick { value: *v, text: String::new() });
        chosen.iter().map(|v| named(*v)).chain(unnamed).collect()
    }
}

/// A number as people write it, to the last digit that a step of `step` needs.
pub(super) fn number(value: f64, step: f64) -> String {
    let size = value.abs();
    if size < 1e-9 * step.abs() {
        return "0".to_owned();
    }
    let sign = if value < 0.0 { "−" } else { "" };
    if size >= LARGE || step < SMALL {
        return format!("{sign}{}", with_power(size, step));
    }
    let decimals = (-step.log10() - TICK_SLACK).ceil().max(0.0) as usize;
    let plain = format!("{size:.decimals$}");
    if size < PARTED {
        return format!("{sign}{plain}");
    }
    let (whole, rest) = plain.split_once('.').map_or((plain.as_str(), None), |(w, r)| (w, Some(r)));
    let mut parted = String::new();
    for (i, digit) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i) % 3 == 0 {
            parted.push(THIN_SPACE);
        }
        parted.push(digit);
    }
    format!("{sign}{parted}{}", rest.map_or(String::new(), |r| format!(".{r}")))
}

/// `2×10⁶`.
fn with_power(size: f64, step: f64) -> String {
    let exponent = (size.log10() + TICK_SLACK).floor();
    let digits = (exponent - (step.log10() + TICK_SLACK).floor()).clamp(0.0, 9.0) as usize;
    let raised: String = format!("{exponent}")
        .chars()
        .filter_map(|c| match c {
            '-' => Some('⁻'),
            digit => digit.to_digit(10).and_then(|d| "⁰¹²³⁴⁵⁶⁷⁸⁹".chars().nth(d as usize)),
        })
        .collect();
    let mantissa = format!("{:.digits$}", size / 10.0_f64.powf(exponent));
    if mantissa == "1" { format!("10{raised}") } else { format!("{mantissa}×10{raised}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(span: Span, most: usize) -> Vec<String> {
        span.ticks(most).into_iter().map(|t| t.text).filter(|t| !t.is_empty()).collect()
    }

    fn linear(low: f64, high: f64) -> Span {
        Span { low, high, scale: Scale::Linear }
    }

    fn log(low: f64, high: f64) -> Span {
        Span { low, high, scale: Scale::Log }
    }

    #[test]
    fn an_axis_of_tiny_values_has_two_ends() {
        let tiny = f64::MIN_POSITIVE;
        for axis in [Axis::linear("a", ""), Axis::log("a", ""), Axis::linear("a", "").over(0.0, tiny)] {
            let span = axis.span([tiny, -tiny, 2.0 * tiny].into_iter());
            assert!(span.low < span.high, "{span:?}");
            assert!(span.share(0.5 * (span.low + span.high)).is_finite());
        }
    }

    #[test]
    fn ticks_step_by_one_two_five() {
        assert_eq!(texts(linear(0.0, 30.0), 7), ["0", "5", "10", "15", "20", "25", "30"]);
        assert_eq!(texts(linear(0.0, 30.0), 6), ["0", "10", "20", "30"]);
        assert_eq!(
            texts(linear(0.0, 1.0), 6),
            ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"].map(|t| { if t == "0.0" { "0" } else { t } })
        );
        assert_eq!(texts(linear(-3.0, 3.0), 5), ["−2", "0", "2"]);
        assert_eq!(texts(linear(0.0, 0.07), 5), ["0", "0.02", "0.04", "0.06"]);
        assert_eq!(
            texts(linear(0.0, 20_000.0), 5),
            ["0", "5000", "10\u{202f}000", "15\u{202f}000", "20\u{202f}000"]
        );
        assert_eq!(texts(linear(0.0, 3e7), 4), ["0", "10⁷", "2×10⁷", "3×10⁷"]);
    }

    #[test]
    fn steps_of_every_size_are_round_and_few() {
        for exponent in -40..40 {
            for digit in [1.0, 1.3, 2.0, 2.7, 4.9, 5.0, 9.99] {
                let high = digit * 10.0_f64.powi(exponent);
                for most in 2..12 {
                    let span = linear(-0.3 * high, high);
                    let ticks = span.ticks(most);
                    assert!((1..=most).contains(&ticks.len()), "{high} {most}: {ticks:?}");
                    assert!(
                        ticks.iter().all(|t| span.share(t.value) > -1e-6 && span.share(t.value) < 1.0 + 1e-6)
                    );
                    if let [a, b, ..] = ticks.as_slice() {
                        let step = b.value - a.value;
                        let first = step / 10.0_f64.powf((step.log10() + 1e-6).floor());
                        assert!([1.0, 2.0, 5.0].iter().any(|r| (first / r - 1.0).abs() < 1e-6), "{step}");
                    }
                }
            }
        }
    }

    #[test]
    fn logarithmic_ticks_fall_on_powers_and_their_parts() {
        assert_eq!(texts(log(1.0, 100.0), 7), ["1", "2", "5", "10", "20", "50", "100"]);
        assert_eq!(texts(log(1.0, 100.0), 4), ["1", "10", "100"]);
        assert_eq!(texts(log(0.01, 10_000.0), 4), ["0.01", "1", "100", "10\u{202f}000"]);
        assert_eq!(texts(log(0.1, 1.0), 4), ["0.1", "0.2", "0.5", "1"]);
        assert_eq!(texts(log(3.1, 4.4), 4), ["3.5", "4.0"]);
        assert_eq!(log(1.0, 10.0).ticks(4).len(), 10, "numbered and unnumbered together");
    }

    #[test]
    fn places_follow_the_closed_form() {
        assert!((linear(5.0, 25.0).share(10.0) - 0.25).abs() < 1e-12);
        assert!((log(1.0, 1000.0).share(10.0) - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(log(1.0, 10.0).share(0.0), f64::NEG_INFINITY);
        assert_eq!(log(1.0, 10.0).share(-4.0), f64::NEG_INFINITY);
        assert!(log(1.0, 10.0).share(f64::NAN).is_nan());
    }

    #[test]
    fn ranges_of_their_own_are_round_and_hold_the_values() {
        let axis = Axis::linear("gap", "mm");
        assert_eq!(axis.span([2.0, 28.0].into_iter()), linear(0.0, 30.0));
        assert_eq!(axis.span([0.0, 30.0].into_iter()), linear(0.0, 30.0));
        assert_eq!(axis.span([f64::NAN, f64::INFINITY, 1e300].into_iter()), linear(0.0, 1.0));
        assert_eq!(axis.span([0.0].into_iter()), linear(0.0, 1.0));
        let one = axis.span([7.0].into_iter());
        assert!(one.low < 7.0 && one.high > 7.0, "{one:?}");
        let zero = axis.clone().from_zero().span([40.0, 95.0].into_iter());
        assert_eq!((zero.low, zero.high), (0.0, 100.0));
        assert_eq!(axis.clone().over(9.0, 3.0).span([].into_iter()), linear(3.0, 9.0));
        assert_eq!(axis.clone().over(f64::NAN, 3.0).span([1.0, 2.0].into_iter()).low, 1.0);
        assert_eq!(axis.over(3.0, 3.0).span([1.0, 2.0].into_iter()).high, 2.0);
        let axis = Axis::log("light", "");
        assert_eq!(axis.span([0.0, -3.0, 0.03, 7.0].into_iter()), log(0.02, 10.0));
        assert_eq!(axis.span([5.0].into_iter()), log(5.0, 50.0));
        assert_eq!(axis.clone().over(0.0, 5.0).span([3.0].into_iter()), log(2.0, 5.0));
        assert_eq!(axis.span([].into_iter()), log(1.0, 10.0));
    }

    #[test]
    fn short_units_stand_at_the_numbers() {
        assert_eq!(Axis::linear("gap", "mm").words("6"), "6\u{a0}mm");
        assert_eq!(Axis::linear("luminance", "cd/m²").words("6"), "6");
        assert_eq!(Axis::linear("luminance", "cd/m²").heading(), "luminance (cd/m²)");
        assert_eq!(Axis::linear("dot visibility", "").heading(), "dot visibility");
    }
}
