//! Published acceleration models of solder fatigue.
//!
//! All have one form. The damage of a cycle, up to a constant that cancels, is
//!
//! ```text
//! d = dT^m  f^(-n)  t^k  exp(-E / Tmax)
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | dT | swing of temperature | K |
//! | f | cycles a day | 1/day |
//! | t | dwell at the hot end | min |
//! | Tmax | highest temperature | K |
//! | m, n, k, E | constants of the model | -, -, -, K |
//!
//! and the acceleration factor of a test over a use is `d_test / d_use`: so many cycles of use one
//! cycle of the test stands for. There is no constant set that holds for every package and solder;
//! for tin-silver-copper the published sets disagree by more than their own figures say.

/// Temperatures and times of one kind of cycle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swing {
    /// Lowest temperature, K.
    pub low_K: f64,
    /// Highest temperature, K.
    pub high_K: f64,
    /// Cycles a day, 1/day.
    pub cycles_per_day: f64,
    /// Dwell at the hot end, min.
    pub dwell_min: f64,
}

impl Swing {
    /// Highest minus lowest, K.
    pub fn range_K(&self) -> f64 {
        self.high_K - self.low_K
    }
}

/// One model with its constants.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FatigueModel {
    /// The word in the case.
    pub name: &'static str,
    /// What it is for.
    pub solder: &'static str,
    /// m.
    pub swing_exponent: f64,
    /// n.
    pub frequency_exponent: f64,
    /// k.
    pub dwell_exponent: f64,
    /// E, K.
    pub activation_K: f64,
    /// Temperatures of the tests behind it, °C.
    pub range_C: [f64; 2],
    /// Cycles a day of the tests behind it.
    pub range_per_day: [f64; 2],
    /// Where it is published, and how surely the constants are known here.
    pub source: &'static str,
}

/// The models that a case may name.
pub const MODELS: &[FatigueModel] = &[
    FatigueModel {
        name: "swing",
        solder: "any joint of which nothing but the swing is known",
        swing_exponent: 1.9,
        frequency_exponent: 0.0,
        dwell_exponent: 0.0,
        activation_K: 0.0,
        range_C: [-55.0, 125.0],
        range_per_day: [0.0, f64::INFINITY],
        source: "Coffin and Manson's power law with the exponent of Norris and Landzberg; neither \
frequency nor temperature level (range from memory)",
    },
    FatigueModel {
        name: "norris-landzberg",
        solder: "tin-lead flip-chip joints without underfill",
        swing_exponent: 1.9,
        frequency_exponent: 1.0 / 3.0,
        dwell_exponent: 0.0,
        activation_K: 1414.0,
        range_C: [-55.0, 125.0],
        range_per_day: [1.0, 300.0],
        source: "Norris and Landzberg 1969, J. Res. Dev. 13, 266-271; constants as public \
reliability texts give them (range from memory)",
    },
    FatigueModel {
        name: "sac-dwell",
        solder: "tin-silver-copper joints, by dwell",
        swing_exponent: 2.65,
        frequency_exponent: 0.0,
        dwell_exponent: 0.136,
        activation_K: 2185.0,
        range_C: [-55.0, 125.0],
        range_per_day: [1.0, 300.0],
        source: "Pan et al. 2005 (constants and range from memory)",
    },
    FatigueModel {
        name: "sac-frequency",
        solder: "tin-silver-copper joints, by frequency",
        swing_exponent: 2.3,
        frequency_exponent: 0.3,
        dwell_exponent: 0.0,
        activation_K: 4562.0,
        range_C: [-55.0, 125.0],
        range_per_day: [1.0, 300.0],
        source: "Lall et al. 2012, J. Electron. Packag. 134, 031008 (constants and range from \
memory, little trusted)",
    },
];

impl FatigueModel {
    /// The model of a name.
    pub fn named(name: &str) -> Option<&'static FatigueModel> {
        MODELS.iter().find(|model| model.name == name)
    }

    /// Damage of one cycle, up to a constant; 0 without a swing.
    pub fn damage(&self, swing: &Swing) -> f64 {
        let range_K = swing.range_K();
        if range_K <= 0.0 {
            return 0.0;
        }
        range_K.powf(self.swing_exponent)
            * swing.cycles_per_day.powf(-self.frequency_exponent)
            * swing.dwell_min.powf(self.dwell_exponent)
            * (-self.activation_K / swing.high_K).exp()
    }

    /// Cycles of `use_` that one cycle of `test` stands for; infinite where the use does no harm.
    pub fn acceleration(&self, test: &Swing, use_: &Swing) -> f64 {
        self.damage(test) / self.damage(use_)
    }

    /// What of a cycle lies outside the tests behind the model, in words.
    pub fn outside(&self, swing: &Swing) -> Option<String> {
        let [low_C, high_C] = [swing.low_K - 273.15, swing.high_K - 273.15];
        let mut parts = Vec::new();
        if low_C < self.range_C[0] || high_C > self.range_C[1] {
            parts.push(format!(
                "{low_C:.1} to {high_C:.1} °C (tests: {} to {} °C)",
                self.range_C[0], self.range_C[1]
            ));
        }
        let f = swing.cycles_per_day;
        if f < self.range_per_day[0] || f > self.range_per_day[1] {
            parts.push(format!(
                "{f:.3} cycles a day (tests: {} to {})",
                self.range_per_day[0], self.range_per_day[1]
            ));
        }
        if parts.is_empty() { None } else { Some(parts.join(", ")) }
    }
}

/// Miner's sum: cycles endured over cycles to failure, added up; 1 is the end of life.
///
/// # Source
/// Miner 1945, J. Appl. Mech. 12, A159-A164 (from memory).
pub fn miner(parts: impl IntoIterator<Item = (f64, f64)>) -> f64 {
    parts.into_iter().map(|(cycles, to_failure)| cycles / to_failure).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn swing(range_K: f64, max_C: f64, cycles_per_day: f64, dwell_min: f64) -> Swing {
        let high_K = max_C + 273.15;
        Swing { low_K: high_K - range_K, high_K, cycles_per_day, dwell_min }
    }

    /// 165 K against 60 K, 48 against 2 a day, 125 against 85 °C, 15 against 240 min: the formulas
    /// worked by hand.
    #[test]
    fn acceleration_factors_follow_the_published_formulas() {
        let (test, use_) = (swing(165.0, 125.0, 48.0, 15.0), swing(60.0, 85.0, 2.0, 240.0));
        for (name, expected) in
            [("norris-landzberg", 3.5231), ("sac-dwell", 18.478), ("sac-frequency", 14.196)]
        {
            let model = FatigueModel::named(name).expect("a model");
            let factor = model.acceleration(&test, &use_);
            assert!((factor / expected - 1.0).abs() < 1e-4, "{name}: {factor}");
        }
    }

    #[test]
    fn equal_cycles_do_equal_damage() {
        let cycle = swing(60.0, 85.0, 3.0, 60.0);
        for model in MODELS {
            assert_eq!(model.acceleration(&cycle, &cycle), 1.0, "{}", model.name);
        }
    }

    #[test]
    fn a_cycle_outside_the_tests_is_named() {
        let model = FatigueModel::named("norris-landzberg").expect("a model");
        assert!(model.outside(&swing(60.0, 85.0, 2.0, 10.0)).is_none());
        assert!(model.outside(&swing(60.0, 150.0, 2.0, 10.0)).is_some_and(|w| w.contains("150")));
        assert!(model.outside(&swing(60.0, 85.0, 0.1, 10.0)).is_some_and(|w| w.contains("0.1")));
    }

    /// 200 of 1000, 1500 of 10 000 and 20 000 of 100 000 cycles: 0.55 by hand.
    #[test]
    fn miner_s_sum_adds_shares_of_life() {
        let sum = miner([(200.0, 1e3), (1500.0, 1e4), (20_000.0, 1e5)]);
        assert!((sum - 0.55).abs() < 1e-12);
    }
}
