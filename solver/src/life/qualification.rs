//! The plan of a cycling test that stands for a life in the field.
//!
//! With d the damage of a cycle by a fatigue model, a test is long enough for a die when
//!
//! ```text
//! N_test  sum over one test period of count d  =  margin  years  sum over one year of count d
//! ```
//!
//! The die that needs most periods sets the length of the test. The effective acceleration factor
//! of a die is its cycles in the field over its test periods without the margin.

use super::fatigue::{FatigueModel, MODELS, Swing};
use super::samples;

/// One kind of use of one die.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldPart {
    /// Name, for people.
    pub name: String,
    /// Repetitions a year.
    pub per_year: f64,
    /// Cycles of one repetition, with their counts.
    pub cycles: Vec<(Swing, f64)>,
}

/// The test as one die sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct TestProfile {
    /// Cycles of one period, with their counts.
    pub cycles: Vec<(Swing, f64)>,
}

/// What the joints are known to endure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reference {
    /// Cycles to failure.
    pub cycles: f64,
    /// Of this kind.
    pub swing: Swing,
}

/// What a plan is made from.
#[derive(Debug, Clone)]
pub struct PlanInput {
    /// Each die: name, use in the field, test.
    pub die: Vec<(String, Vec<FieldPart>, TestProfile)>,
    /// The model that the plan stands on.
    pub model: &'static FatigueModel,
    /// Life in the field, years.
    pub life_years: f64,
    /// Damage of the test over damage of the field.
    pub margin: f64,
    /// Length of one test period, min.
    pub period_min: f64,
    /// Reliability to show.
    pub reliability: f64,
    /// At this confidence.
    pub confidence: f64,
    /// Failures that the test may have.
    pub failures: u64,
    /// Slope of a Weibull law of wear-out, where it is known.
    pub weibull_slope: Option<f64>,
    /// Parts at hand.
    pub samples: Option<u64>,
    /// What the joints are known to endure.
    pub reference: Option<Reference>,
}

/// The plan for one die.
#[derive(Debug, Clone, PartialEq)]
pub struct DiePlan {
    /// Name.
    pub name: String,
    /// Largest swing in the field, K.
    pub field_swing_K: f64,
    /// Largest swing in the test, K.
    pub test_swing_K: f64,
    /// Cycles in the field over the life.
    pub field_cycles: f64,
    /// Field cycles that one test period stands for, by the model of the plan.
    pub acceleration: f64,
    /// The same by every model.
    pub by_model: Vec<(&'static str, f64)>,
    /// Test periods, the margin included.
    pub test_periods: f64,
    /// Miner's sum of one year in the field, where the reference is known.
    pub life_per_year: Option<f64>,
    /// Miner's sum of the whole test.
    pub life_of_test: Option<f64>,
}

/// The plan of a test.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Each die.
    pub die: Vec<DiePlan>,
    /// The die that sets the length.
    pub governing: usize,
    /// Test periods, whole.
    pub test_periods: f64,
    /// Days of cycling without interruption.
    pub duration_days: f64,
    /// Parts that each run so long, with the failures allowed; `None` beyond ten million.
    pub parts: Option<u64>,
    /// Parts without failure when the margin counts as a longer life; with a Weibull slope.
    pub parts_with_margin: Option<u64>,
    /// Reliability that the parts at hand show, where they are stated.
    pub shown: Option<f64>,
    /// Test periods with the parts at hand and no failure; with a Weibull slope.
    pub periods_for_samples: Option<f64>,
    /// What lies outside the model or the test.
    pub warnings: Vec<String>,
}

/// Damage of a list of cycles by a model.
fn damage(model: &FatigueModel, cycles: &[(Swing, f64)]) -> f64 {
    cycles.iter().map(|(swing, count)| count * model.damage(swing)).sum()
}

/// Field cycles that one test period stands for.
fn acceleration(model: &FatigueModel, field: &[FieldPart], test: &TestProfile) -> f64 {
    let per_year: f64 = field.iter().map(|part| part.per_year * damage(model, &part.cycles)).sum();
    cycles_per_year(field) * damage(model, &test.cycles) / per_year
}

fn cycles_per_year(field: &[FieldPart]) -> f64 {
    field.iter().map(|part| part.per_year * part.cycles.iter().map(|c| c.1).sum::<f64>()).sum()
}

fn largest_swing_K<'a>(cycles: impl Iterator<Item = &'a (Swing, f64)>) -> f64 {
    cycles.map(|(swing, _)| swing.range_K()).fold(0.0, f64::max)
}

/// Makes the plan. A die that does not swing in the field needs no test; one that swings there
/// and not in the test can never be covered, and its periods are infinite.
///
/// # Panics
/// Without a die.
pub fn plan(input: &PlanInput) -> Plan {
    assert!(!input.die.is_empty(), "a plan needs a die");
    let mut warnings = Remarks::default();
    let die: Vec<DiePlan> = input
        .die
        .iter()
        .map(|(name, field, test)| one_die(input, name, field, test, &mut warnings))
        .collect();
    let governing = (0..die.len())
        .max_by(|&a, &b| die[a].test_periods.total_cmp(&die[b].test_periods))
        .unwrap_or(0);
    // A hair less than a whole number is that number: margins and years multiply with rounding.
    let test_periods = (die[governing].test_periods - 1e-6).ceil().max(0.0);
    for plan in &die {
        if plan.test_swing_K + 1e-9 < plan.field_swing_K {
            warnings.add(
                &plan.name,
                "the test swings less than the field, so that cracks may start in the field that the test never sees".to_owned(),
            );
        }
        if let Some(sum) = plan.life_of_test.filter(|sum| *sum > 1.0) {
            warnings.add(
                &plan.name,
                format!(
                    "the test takes {sum:.2} times the life that the joints are known to endure"
                ),
            );
        }
    }
    let chief = &die[governing];
    let factors = chief.by_model.iter().map(|(_, factor)| *factor);
    let (low, high) =
        factors.fold((f64::INFINITY, 0.0), |(l, h): (f64, f64), f| (l.min(f), h.max(f)));
    if chief.acceleration.is_finite() && chief.acceleration > 0.0 && high > 3.0 * low {
        warnings.add(
            &chief.name,
            format!("the published models put the acceleration factor anywhere from {low:.3} to {high:.3}; choose the one for your solder, or plan for the lowest"),
        );
    }
    let (reliability, confidence) = (input.reliability, input.confidence);
    let parts_with_margin = input
        .weibull_slope
        .and_then(|slope| samples::parts_for_longer(reliability, confidence, input.margin, slope));
    let periods_for_samples = input.samples.zip(input.weibull_slope).map(|(n, slope)| {
        let ratio = samples::longer_for_parts(reliability, confidence, n, slope);
        (die[governing].test_periods / input.margin * ratio).ceil()
    });
    Plan {
        governing,
        test_periods,
        duration_days: test_periods * input.period_min / 1440.0,
        parts: samples::parts(reliability, confidence, input.failures),
        parts_with_margin,
        shown: input.samples.map(|n| samples::reliability_shown(n, input.failures, confidence)),
        periods_for_samples,
        die,
        warnings: warnings.lines(),
    }
}

/// Remarks with the die that each is of; a remark that many share is said once.
#[derive(Default)]
struct Remarks(Vec<(String, Vec<String>)>);

impl Remarks {
    fn add(&mut self, name: &str, what: String) {
        match self.0.iter_mut().find(|(known, _)| *known == what) {
            Some((_, names)) => names.push(name.to_owned()),
            None => self.0.push((what, vec![name.to_owned()])),
        }
    }

    fn lines(self) -> Vec<String> {
        self.0
            .into_iter()
            .map(|(what, names)| match names.len() {
                0..=4 => format!("{}: {what}", names.join(", ")),
                n => format!("{} and {} more: {what}", names[..3].join(", "), n - 3),
            })
            .collect()
    }
}

fn one_die(
    input: &PlanInput,
    name: &str,
    field: &[FieldPart],
    test: &TestProfile,
    warnings: &mut Remarks,
) -> DiePlan {
    let model = input.model;
    let of_field: f64 =
        field.iter().map(|part| part.per_year * damage(model, &part.cycles)).sum::<f64>();
    let of_test = damage(model, &test.cycles);
    let needed = input.margin * input.life_years * of_field;
    let test_periods = if needed == 0.0 { 0.0 } else { needed / of_test };
    let of_reference = input.reference.map(|r| r.cycles * model.damage(&r.swing));
    for (what, cycles) in field
        .iter()
        .map(|part| (format!("use \"{}\"", part.name), &part.cycles))
        .chain([("the test".to_owned(), &test.cycles)])
    {
        // The widest cycle does the damage; one remark for each kind of use is enough.
        let widest = cycles.iter().max_by(|a, b| a.0.range_K().total_cmp(&b.0.range_K()));
        if let Some(outside) = widest.and_then(|(swing, _)| model.outside(swing)) {
            let what =
                format!("{what} lies outside the tests behind model {}: {outside}", model.name);
            warnings.add(name, what);
        }
    }
    DiePlan {
        name: name.to_owned(),
        field_swing_K: largest_swing_K(field.iter().flat_map(|part| &part.cycles)),
        test_swing_K: largest_swing_K(test.cycles.iter()),
        field_cycles: input.life_years * cycles_per_year(field),
        acceleration: acceleration(model, field, test),
        by_model: MODELS.iter().map(|m| (m.name, acceleration(m, field, test))).collect(),
        test_periods,
        life_per_year: of_reference.map(|reference| of_field / reference),
        life_of_test: of_reference.map(|reference| {
            if test_periods.is_finite() { test_periods * of_test / reference } else { 0.0 }
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn swing(low_C: f64, high_C: f64, cycles_per_day: f64) -> Swing {
        Swing { low_K: low_C + 273.15, high_K: high_C + 273.15, cycles_per_day, dwell_min: 10.0 }
    }

    fn input(model: &str, field: Swing, test: Swing) -> PlanInput {
        let part =
            FieldPart { name: "on-off".to_owned(), per_year: 300.0, cycles: vec![(field, 1.0)] };
        let test = TestProfile { cycles: vec![(test, 1.0)] };
        PlanInput {
            die: vec![("U1".to_owned(), vec![part], test)],
            model: FatigueModel::named(model).expect("a model"),
            life_years: 10.0,
            margin: 2.0,
            period_min: 20.0,
            reliability: 0.9,
            confidence: 0.9,
            failures: 0,
            weibull_slope: Some(2.0),
            samples: Some(6),
            reference: None,
        }
    }

    /// Fact of the trade (common practice, no source): 6 000 cycles of qualification stand for
    /// some 3 000 times on and off in the field. With equal swings and a margin of two that is
    /// what the plan says.
    #[test]
    fn six_thousand_cycles_stand_for_three_thousand_in_the_field() {
        let on_off = swing(25.0, 72.0, 1.0);
        let plan = plan(&input("swing", on_off, swing(25.0, 72.0, 72.0)));
        assert_eq!(plan.die[0].field_cycles, 3000.0);
        assert!((plan.die[0].acceleration - 1.0).abs() < 1e-12);
        assert_eq!(plan.test_periods, 6000.0);
        assert!((plan.duration_days - 6000.0 * 20.0 / 1440.0).abs() < 1e-9);
        assert_eq!(plan.parts, Some(22));
        // The margin counted as a doubled life with slope two: 5.46 parts.
        assert_eq!(plan.parts_with_margin, Some(6));
    }

    #[test]
    fn faster_test_cycles_do_less_by_the_law_with_frequency() {
        let plan =
            plan(&input("norris-landzberg", swing(25.0, 72.0, 1.0), swing(25.0, 72.0, 72.0)));
        let factor = (1.0f64 / 72.0).powf(1.0 / 3.0);
        assert!((plan.die[0].acceleration / factor - 1.0).abs() < 1e-12);
        assert!((plan.test_periods - (6000.0 / factor).ceil()).abs() <= 1.0);
    }

    #[test]
    fn uses_of_two_kinds_add_by_miner_s_rule() {
        let mut both = input("swing", swing(25.0, 72.0, 1.0), swing(25.0, 72.0, 72.0));
        let idle = FieldPart {
            name: "idle".to_owned(),
            per_year: 3000.0,
            cycles: vec![(swing(55.0, 72.0, 8.0), 1.0)],
        };
        both.die[0].1.push(idle);
        let more = (17.0f64 / 47.0).powf(1.9) * 10.0;
        let plan = plan(&both);
        assert!((plan.die[0].test_periods / (6000.0 * (1.0 + more)) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_known_life_gives_the_share_used_in_a_year() {
        let mut known = input("swing", swing(25.0, 72.0, 1.0), swing(25.0, 72.0, 72.0));
        known.reference = Some(Reference { cycles: 5000.0, swing: swing(25.0, 72.0, 72.0) });
        let plan = plan(&known);
        assert!((plan.die[0].life_per_year.expect("a share") - 300.0 / 5000.0).abs() < 1e-12);
        assert!((plan.die[0].life_of_test.expect("a share") - 1.2).abs() < 1e-9);
        assert!(plan.warnings.iter().any(|w| w.contains("1.20 times the life")));
    }

    #[test]
    fn a_test_that_does_not_swing_covers_nothing() {
        let still = plan(&input("swing", swing(25.0, 72.0, 1.0), swing(72.0, 72.0, 72.0)));
        assert!(still.test_periods.is_infinite());
        assert!(still.warnings.iter().any(|w| w.contains("swings less")));
        let needless = plan(&input("swing", swing(72.0, 72.0, 1.0), swing(25.0, 72.0, 72.0)));
        assert_eq!(needless.test_periods, 0.0);
    }
}
