//! Units that people write, and what the case wants instead.

/// A unit, the one that is needed, and how to come from one to the other:
/// `needed = factor × written + offset`.
#[derive(Debug)]
pub(super) struct OtherUnit {
    written: &'static str,
    needed: &'static str,
    /// Per written unit.
    pub factor: f64,
    offset: f64,
}

impl OtherUnit {
    /// A value in the needed unit.
    pub fn converted(&self, value: f64) -> f64 {
        let converted = self.factor * value + self.offset;
        // What the sum of a product and an offset loses would be seen near zero.
        if self.offset == 0.0 { converted } else { (converted * 1e6).round() * 1e-6 }
    }
}

const fn times(written: &'static str, needed: &'static str, factor: f64) -> OtherUnit {
    OtherUnit { written, needed, factor, offset: 0.0 }
}

/// Factors of NIST SP 811 (2008), appendix B.8; inch, mil, atmosphere and degree Fahrenheit are
/// exact there, psi is rounded to seven digits.
const OTHER_UNITS: &[OtherUnit] = &[
    times("nm", "mm", 1e-6),
    times("um", "mm", 1e-3),
    times("µm", "mm", 1e-3),
    times("μm", "mm", 1e-3),
    times("cm", "mm", 10.0),
    times("m", "mm", 1e3),
    times("in", "mm", 25.4),
    times("inch", "mm", 25.4),
    times("mil", "mm", 0.0254),
    times("mW", "W", 1e-3),
    times("kW", "W", 1e3),
    times("rad", "deg", 57.295_779_513_082_32),
    times("%", "", 0.01),
    OtherUnit { written: "K", needed: "C", factor: 1.0, offset: -273.15 },
    OtherUnit { written: "F", needed: "C", factor: 1.0 / 1.8, offset: -32.0 / 1.8 },
    // Where kelvin are needed they are differences.
    times("C", "K", 1.0),
    times("mK", "K", 1e-3),
    times("Pa", "kPa", 1e-3),
    times("MPa", "kPa", 1e3),
    times("mbar", "kPa", 0.1),
    times("bar", "kPa", 100.0),
    times("atm", "kPa", 101.325),
    times("psi", "kPa", 6.894_757),
    times("W_cm2K", "W_m2K", 1e4),
    times("kW_m2K", "W_m2K", 1e3),
    times("W_mm2K", "W_m2K", 1e6),
    times("W_cmK", "W_mK", 100.0),
    times("mL_min", "mL_s", 1.0 / 60.0),
    times("L_min", "mL_s", 1e3 / 60.0),
    times("L_h", "mL_s", 1e3 / 3600.0),
    times("g_cm3", "kg_m3", 1e3),
    times("J_gK", "J_kgK", 1e3),
    times("kJ_kgK", "J_kgK", 1e3),
    times("ms", "s", 1e-3),
    times("min", "s", 60.0),
    times("h", "s", 3600.0),
    times("s", "min", 1.0 / 60.0),
    times("h", "min", 60.0),
];

/// How to come from the unit as written to the one that is needed.
pub(super) fn between(written: &str, needed: &str) -> Option<&'static OtherUnit> {
    OTHER_UNITS.iter().find(|unit| unit.written == written && unit.needed == needed)
}

/// Whether a word is a unit that is known here.
pub(super) fn is_known(word: &str) -> bool {
    OTHER_UNITS.iter().any(|unit| unit.written == word || unit.needed == word)
}

/// The key among `known` that is `written` but for its unit, the unit written, and how to come
/// to the one needed: of `inlet_K` it is `inlet_C`.
pub(super) fn key_in_another(
    written: &str,
    known: impl IntoIterator<Item = &'static str>,
) -> Option<(&'static str, &str, &'static OtherUnit)> {
    known.into_iter().find_map(|key| {
        // Units may hold a low line themselves: flow_mL_s.
        key.match_indices('_').find_map(|(at, _)| {
            let unit = written.strip_prefix(&key[..=at])?;
            Some((key, unit, between(unit, &key[at + 1..])?))
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(written: &str, value: f64, expected: Option<(&'static str, f64)>) {
        let known = [
            "at_mm",
            "size_mm",
            "inlet_C",
            "pressure_kPa",
            "pressure_drop_kPa",
            "flow_mL_s",
            "htc_W_m2K",
            "accuracy_K",
            "cycle_min",
        ];
        let found = key_in_another(written, known);
        assert_eq!(found.map(|found| found.0), expected.map(|expected| expected.0), "{written}");
        if let (Some((_, _, unit)), Some((_, expected))) = (found, expected) {
            let converted = unit.converted(value);
            assert!(
                (converted - expected).abs() <= 1e-6 * expected.abs(),
                "{written}: {converted}"
            );
        }
    }

    /// Boiling and freezing water, and factors of NIST SP 811 (2008), appendix B.8.
    #[test]
    fn a_key_in_another_unit_is_known_with_its_value() {
        check("inlet_F", 212.0, Some(("inlet_C", 100.0)));
        check("inlet_F", 32.0, Some(("inlet_C", 0.0)));
        check("inlet_K", 273.15, Some(("inlet_C", 0.0)));
        check("size_in", 2.0, Some(("size_mm", 50.8)));
        check("size_mil", 100.0, Some(("size_mm", 2.54)));
        check("pressure_atm", 1.0, Some(("pressure_kPa", 101.325)));
        check("pressure_drop_psi", 30.0, Some(("pressure_drop_kPa", 206.842_71)));
        check("flow_L_min", 0.6, Some(("flow_mL_s", 10.0)));
        check("htc_W_cm2K", 0.012, Some(("htc_W_m2K", 120.0)));
        check("accuracy_mK", 50.0, Some(("accuracy_K", 0.05)));
        check("cycle_h", 0.5, Some(("cycle_min", 30.0)));
    }

    #[test]
    fn a_key_in_its_own_unit_or_in_none_is_not_another() {
        check("size_mm", 1.0, None);
        check("size", 1.0, None);
        check("size_furlong", 1.0, None);
        check("power_mW", 1.0, None);
    }
}
