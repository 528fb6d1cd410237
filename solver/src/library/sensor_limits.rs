//! Published limits of error of temperature sensors.

/// How the two terms of a limit go together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Terms {
    /// The greater of the two.
    Greater,
    /// Their sum.
    Sum,
}

/// The limit of error of new sensors of one type and grade:
///
/// ```text
/// greater of  fixed_K  and  share |t|      or      fixed_K + share |t|
/// ```
///
/// t in °C. It holds for new wire with the reference junction at 0 °C; reference junction, logger,
/// extension wire and drift come on top.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SensorLimits {
    /// The word in the case.
    pub name: &'static str,
    /// Range for which it is published, °C.
    pub range_C: [f64; 2],
    /// First term, K.
    pub fixed_K: f64,
    /// Share of |t| in the second.
    pub share: f64,
    /// How the two go together.
    pub terms: Terms,
    /// Where it is published.
    pub source: &'static str,
}

impl SensorLimits {
    /// The limit at a temperature, K; outside the published range as at its ends' formula.
    pub fn at_K(&self, temperature_C: f64) -> f64 {
        let share_K = self.share * temperature_C.abs();
        match self.terms {
            Terms::Greater => self.fixed_K.max(share_K),
            Terms::Sum => self.fixed_K + share_K,
        }
    }

    /// Whether the limit is published for this temperature.
    pub fn covers(&self, temperature_C: f64) -> bool {
        (self.range_C[0]..=self.range_C[1]).contains(&temperature_C)
    }
}

const E230: &str = "ASTM E230, tolerances on initial values of thermocouples, reference junction \
at 0 °C (from public transcriptions of table 1)";
const IEC_60751: &str =
    "IEC 60751, tolerance classes of platinum resistance thermometers (from memory)";

const fn thermocouple(name: &'static str, end_C: f64, fixed_K: f64, percent: f64) -> SensorLimits {
    SensorLimits {
        name,
        range_C: [0.0, end_C],
        fixed_K,
        share: percent * 0.01,
        terms: Terms::Greater,
        source: E230,
    }
}

const fn platinum(name: &'static str, range_C: [f64; 2], fixed_K: f64, share: f64) -> SensorLimits {
    SensorLimits { name, range_C, fixed_K, share, terms: Terms::Sum, source: IEC_60751 }
}

/// Every type that a case may name.
pub const SENSOR_LIMITS: &[SensorLimits] = &[
    thermocouple("T", 370.0, 1.0, 0.75),
    thermocouple("T-special", 370.0, 0.5, 0.4),
    thermocouple("J", 760.0, 2.2, 0.75),
    thermocouple("J-special", 760.0, 1.1, 0.4),
    thermocouple("E", 870.0, 1.7, 0.5),
    thermocouple("E-special", 870.0, 1.0, 0.4),
    thermocouple("K", 1260.0, 2.2, 0.75),
    thermocouple("K-special", 1260.0, 1.1, 0.4),
    thermocouple("N", 1260.0, 2.2, 0.75),
    thermocouple("N-special", 1260.0, 1.1, 0.4),
    platinum("Pt100-A", [-100.0, 450.0], 0.15, 0.002),
    platinum("Pt100-B", [-196.0, 600.0], 0.30, 0.005),
];

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(name: &str, temperature_C: f64) -> f64 {
        let found = SENSOR_LIMITS.iter().find(|limits| limits.name == name);
        found.map_or(f64::NAN, |limits| limits.at_K(temperature_C))
    }

    /// ASTM E230, as transcribed by two makers of thermocouple wire.
    #[test]
    fn limits_are_those_of_the_standard_at_85_and_at_300_C() {
        assert_eq!(limit("K", 85.0), 2.2);
        assert_eq!(limit("T-special", 85.0), 0.5);
        assert!((limit("K", 300.0) - 2.25).abs() < 1e-12);
        assert!((limit("T", 300.0) - 2.25).abs() < 1e-12);
        assert!((limit("T-special", 300.0) - 1.2).abs() < 1e-12);
        assert_eq!(limit("E", 300.0), 1.7);
        assert!((limit("J-special", 300.0) - 1.2).abs() < 1e-12);
    }

    #[test]
    fn outside_the_published_range_the_limit_says_so() {
        let t = &SENSOR_LIMITS[0];
        assert!(t.covers(0.0) && t.covers(370.0) && !t.covers(-1.0) && !t.covers(371.0));
    }
}
