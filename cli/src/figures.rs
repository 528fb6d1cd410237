//! Numbers as they stand in files and in text.

/// Kelvin at 0 °C.
const ZERO_C_IN_K: f64 = 273.15;

/// Significant digits in files: six are promised, ten leave out what is only rounding noise.
const DIGITS_IN_FILES: usize = 10;

/// A temperature in °C.
pub fn celsius(kelvin: f64) -> f64 {
    kelvin - ZERO_C_IN_K
}

/// A number for CSV and JSON, the same in both: ten significant digits, `None` unless finite.
pub fn figure(value: f64) -> Option<f64> {
    if !value.is_finite() {
        return None;
    }
    // Minus zero would print as -0.0.
    format!("{value:.*e}", DIGITS_IN_FILES - 1).parse::<f64>().ok().map(|rounded| rounded + 0.0)
}

/// A number for people with `digits` significant digits, without an exponent between 1e-4 and
/// 1e7, without trailing zeros after the point.
pub fn significant(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "-".to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let rounded: f64 = format!("{value:.*e}", digits.max(1) - 1).parse().unwrap_or(value);
    let magnitude = rounded.abs().log10().floor();
    if !(-4.0..7.0).contains(&magnitude) {
        return format!("{value:.*e}", digits.max(1) - 1);
    }
    let decimals = (digits as f64 - 1.0 - magnitude).max(0.0) as usize;
    let text = format!("{rounded:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Decimals that an uncertainty deserves, from 1 to 4: its first digit, and the second where the
/// first is a 1 or a 2.
pub fn decimals_for(uncertainty: f64) -> usize {
    if !(uncertainty.is_finite() && uncertainty > 0.0) {
        return 2;
    }
    let power = uncertainty.log10().floor();
    let second = if uncertainty / 10f64.powf(power) < 2.95 { 1.0 } else { 0.0 };
    (second - power).clamp(1.0, 4.0) as usize
}

/// An uncertainty rounded up, so that what is printed still holds.
pub fn rounded_up(value: f64, decimals: usize) -> String {
    let scale = 10f64.powi(decimals as i32);
    let up = (value * scale - 1e-9).ceil() / scale;
    format!("{:.decimals$}", if up.is_finite() { up } else { value })
}

/// A count with an unbreakable space between groups of three digits.
pub fn grouped(count: usize) -> String {
    let digits = count.to_string();
    let mut text = String::with_capacity(digits.len() + digits.len() / 3);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push('\u{a0}');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_figures_keep_ten_digits_and_drop_noise() {
        assert_eq!(figure(84.320_000_000_000_05), Some(84.32));
        assert_eq!(figure(1.234_567_890_123e-7), Some(1.234_567_89e-7));
        assert_eq!(figure(-0.0).map(f64::is_sign_negative), Some(false));
        assert_eq!(figure(f64::NAN), None);
        assert_eq!(figure(f64::INFINITY), None);
    }

    #[test]
    fn figures_for_people_have_the_digits_asked_for() {
        assert_eq!(significant(41.666_666, 3), "41.7");
        assert_eq!(significant(9_000.0, 3), "9000");
        assert_eq!(significant(0.001_234, 2), "0.0012");
        assert_eq!(significant(9.999, 3), "10");
        assert_eq!(significant(2.5e-9, 2), "2.5e-9");
        assert_eq!(significant(123_456.0, 3), "123000");
    }

    #[test]
    fn an_uncertainty_is_never_rounded_down() {
        assert_eq!(rounded_up(0.0812, 2), "0.09");
        assert_eq!(rounded_up(0.08, 2), "0.08");
        assert_eq!(decimals_for(0.0812), 2);
        assert_eq!(decimals_for(0.0112), 3);
        assert_eq!(decimals_for(2.0), 1);
    }

    #[test]
    fn counts_are_grouped_by_three() {
        assert_eq!(grouped(1_234_567), "1\u{a0}234\u{a0}567");
        assert_eq!(grouped(123), "123");
    }
}
