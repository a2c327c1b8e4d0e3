//! Numbers on the command line: refused with the allowed range, like those of a file.

use crate::reading::Limits;

/// A number within limits.
pub(super) fn within(text: &str, limits: &Limits) -> Result<f64, String> {
    let value: f64 = text
        .trim()
        .parse()
        .map_err(|_| format!("`{}` is not a number; allowed: {}", text.trim(), limits.in_words()))?;
    if limits.contain(value) { Ok(value) } else { Err(format!("allowed: {}", limits.in_words())) }
}

/// A whole number within limits.
pub(super) fn whole_within(text: &str, limits: &Limits) -> Result<u64, String> {
    let value = within(text, limits)?;
    if value.fract() == 0.0 {
        Ok(value as u64)
    } else {
        Err(format!("a whole number is needed; allowed: {}", limits.in_words()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_range_is_told() {
        let limits = Limits::new(1.0, 1e11, "photons");
        assert_eq!(whole_within(" 2e5 ", &limits), Ok(200_000));
        for wrong in ["0", "-3", "nan", "inf", "x", "", "2.5"] {
            let message = whole_within(wrong, &limits).expect_err("refused");
            assert!(message.ends_with("allowed: 1 to 100000000000 photons"), "{wrong}: {message}");
        }
    }
}
