//! What stands against a verdict that is good by the letter.

use serde::Serialize;
use sprayside_solver::results::{Junction, SteadyResult, Verdict};

use crate::figures::{celsius, decimals_for, rounded_up, significant};
use crate::survey::Survey;

/// Below this, what is left to critical heat flux is thinner than the correlations are good for
/// anywhere (common practice, no source; a design margin of about 2 is prudent).
pub const LOW_CHF_MARGIN: f64 = 1.2;
/// Names that are told; the rest is counted.
const MOST_NAMES: usize = 4;

/// One reason to look again, with the places it concerns.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reservation {
    /// A stable word: `chf_margin`, `model_band`, `model_band_burn_out`, `dry`, `exit_quality`,
    /// `liquid` or `no_power`.
    pub reason: &'static str,
    /// Die or heaters, the worst first; empty for the module as a whole.
    pub places: Vec<String>,
    /// A clause for the headline.
    pub text: String,
}

/// Everything that a plain "pass" would hide. Limits that are broken are no part of it.
pub fn reservations(result: &SteadyResult, survey: Option<&Survey>) -> Vec<Reservation> {
    let junctions = &result.junctions;
    let mut found: Vec<Reservation> = Vec::new();
    found.extend(thin_margins(junctions));
    found.extend(burn_out_in_band(junctions));
    found.extend(limits_in_band(junctions));
    found.extend(dry(junctions));
    if let Some(survey) = survey {
        found.extend(liquid(survey));
    }
    if result.balance.in_W == 0.0 {
        found.push(Reservation {
            reason: "no_power",
            places: Vec::new(),
            text: "no die or heater has any power, so that every limit is kept by doing nothing"
                .to_owned(),
        });
    }
    found
}

/// Junctions that `value` picks, the largest value first.
fn ranked(
    junctions: &[Junction],
    value: impl Fn(&Junction) -> Option<f64>,
) -> Vec<(&Junction, f64)> {
    let mut ranked: Vec<(&Junction, f64)> =
        junctions.iter().filter_map(|junction| Some((junction, value(junction)?))).collect();
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1));
    ranked
}

fn names(ranked: &[(&Junction, f64)]) -> Vec<String> {
    ranked.iter().map(|(junction, _)| junction.name.clone()).collect()
}

/// "C0", "C0 and C1", "C0, C1, C2, C3 and 7 more".
fn listed(names: &[String]) -> String {
    let shown = &names[..names.len().min(MOST_NAMES)];
    match (names.len() - shown.len(), shown) {
        (0, [one]) => one.clone(),
        (0, [first @ .., last]) => format!("{} and {last}", first.join(", ")),
        (more, _) => format!("{} and {more} more", shown.join(", ")),
    }
}

/// Kept off burn-out, but barely; those that burn out break the verdict themselves.
fn thin_margins(junctions: &[Junction]) -> Option<Reservation> {
    let thin = ranked(junctions, |junction| {
        let at_least = junction.chf_margin_at_least()?;
        (1.0..LOW_CHF_MARGIN).contains(&at_least).then_some(-at_least)
    });
    let (worst, _) = thin.first()?;
    let places = names(&thin);
    let place = worst.chf_at_m.map_or(String::new(), |[x, y]| {
        format!(" at x = {}, y = {} mm", significant(x * 1e3, 4), significant(y * 1e3, 4))
    });
    let on = if places.len() == 1 { String::new() } else { format!(" on {}", worst.name) };
    Some(Reservation {
        reason: "chf_margin",
        text: format!(
            "the margin to critical heat flux is thin on {}: {}{on}{place}, where less than \
             {LOW_CHF_MARGIN} leaves nothing for what the correlations do not know",
            listed(&places),
            margin_in_words(worst),
        ),
        places,
    })
}

/// A CHF margin with its uncertainty.
pub fn margin_in_words(junction: &Junction) -> String {
    let Some(margin) = junction.chf_margin else { return String::new() };
    match junction.chf_margin_uncertainty {
        Some(uncertainty) if uncertainty > 0.0 => {
            let decimals = decimals_for(uncertainty).min(3);
            format!("{margin:.decimals$} ± {}", rounded_up(uncertainty, decimals))
        }
        _ => significant(margin, 3),
    }
}

/// Not burnt out as solved, but at the unfavourable end of the band.
fn burn_out_in_band(junctions: &[Junction]) -> Option<Reservation> {
    let found = ranked(junctions, |junction| {
        let open = junction.model_range_K.is_some_and(|[_, high]| high == f64::INFINITY);
        let sound = junction.chf_margin_at_least().is_none_or(|margin| margin >= 1.0);
        (open && sound).then(|| -junction.chf_margin.unwrap_or(f64::INFINITY))
    });
    let places = names(&found);
    (!places.is_empty()).then(|| Reservation {
        reason: "model_band_burn_out",
        text: format!(
            "at the unfavourable end of the correlations' band {} would burn out",
            listed(&places)
        ),
        places,
    })
}

/// Limits that are kept as the correlations stand but not at the unfavourable end of their band.
fn limits_in_band(junctions: &[Junction]) -> Option<Reservation> {
    let found = ranked(junctions, |junction| {
        let (limit_K, [_, high_K]) = (junction.limit_K?, junction.model_range_K?);
        let over = high_K - limit_K;
        (junction.verdict() == Verdict::Pass && over > 0.0 && over.is_finite()).then_some(over)
    });
    let (worst, over_K) = found.first()?;
    let places = names(&found);
    let limit = worst.limit_K.map_or(String::new(), |limit| significant(celsius(limit), 5));
    let whose = if places.len() == 1 { "its limit" } else { "their limits" };
    let text = format!(
        "at the unfavourable end of the correlations' band {} would break {whose}: {} by {} K \
         (limit {limit} °C)",
        listed(&places),
        worst.name,
        significant(*over_K, 3),
    );
    Some(Reservation { reason: "model_band", places, text })
}

/// No drop lands: the die is cooled by what conducts away alone.
fn dry(junctions: &[Junction]) -> Option<Reservation> {
    let found =
        ranked(junctions, |junction| (junction.wetted_share? == 0.0).then_some(junction.power_W));
    let places = names(&found);
    (!places.is_empty()).then(|| Reservation {
        reason: "dry",
        text: format!("no drop lands on {}", listed(&places)),
        places,
    })
}

fn liquid(survey: &Survey) -> Option<Reservation> {
    let budget = &survey.budget;
    let (reason, text) = if budget.excess_W > 0.0 {
        let text = format!(
            "the liquid cannot take this heat even if all of it evaporates: {} W too much",
            significant(budget.excess_W, 3)
        );
        ("liquid", text)
    } else if budget.exit_quality > budget.exit_quality_max {
        let text = format!(
            "the exit quality of {} is above the {} allowed (exit_quality_max)",
            significant(budget.exit_quality, 2),
            significant(budget.exit_quality_max, 2)
        );
        ("exit_quality", text)
    } else {
        return None;
    };
    Some(Reservation { reason, places: Vec::new(), text })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::testing::junction;

    fn sprayed(name: &str, chf_margin: f64, high_K: f64) -> Junction {
        Junction {
            wetted_share: Some(1.0),
            chf_margin: Some(chf_margin),
            chf_margin_uncertainty: Some(0.05),
            chf_at_m: Some([0.0123, 0.004]),
            model_range_K: Some([340.0, high_K]),
            ..junction(name, 350.0, Some(360.0))
        }
    }

    #[test]
    fn a_thin_margin_is_told_with_its_uncertainty_and_place() {
        let text = thin_margins(&[sprayed("A", 1.22, 355.0), sprayed("B", 1.15, 355.0)])
            .expect("thin")
            .text;
        assert_eq!(
            text,
            "the margin to critical heat flux is thin on B and A: 1.15 ± 0.05 on B at x = 12.3, \
             y = 4 mm, where less than 1.2 leaves nothing for what the correlations do not know"
        );
        assert_eq!(thin_margins(&[sprayed("A", 1.26, 355.0)]), None);
        // Below one with its uncertainty: the verdict itself fails.
        assert_eq!(thin_margins(&[sprayed("A", 1.04, 355.0)]), None);
        assert_eq!(sprayed("A", 1.04, 355.0).verdict(), Verdict::Fail);
    }

    #[test]
    fn the_unfavourable_end_of_the_band_counts_as_a_limit_or_as_burn_out() {
        let over =
            limits_in_band(&[sprayed("A", 2.0, 360.5), sprayed("B", 2.0, 363.62)]).expect("over");
        assert_eq!(over.places, ["B", "A"]);
        assert_eq!(
            over.text,
            "at the unfavourable end of the correlations' band B and A would break their limits: \
             B by 3.62 K (limit 86.85 °C)"
        );
        let burnt = [sprayed("A", 1.5, f64::INFINITY), sprayed("B", 0.9, f64::INFINITY)];
        assert_eq!(limits_in_band(&burnt), None);
        assert_eq!(burn_out_in_band(&burnt).expect("burnt").places, ["A"]);
        assert_eq!(limits_in_band(&[sprayed("A", 2.0, 359.9)]), None);
    }

    #[test]
    fn a_dry_die_is_told() {
        let dry_die = Junction { wetted_share: Some(0.0), ..junction("D", 350.0, None) };
        assert_eq!(dry(&[dry_die]).expect("dry").text, "no drop lands on D");
        assert_eq!(dry(&[sprayed("A", 2.0, 355.0), junction("B", 350.0, None)]), None);
    }

    #[test]
    fn long_lists_are_cut() {
        let names: Vec<String> = (0..6).map(|k| format!("C{k}")).collect();
        assert_eq!(listed(&names), "C0, C1, C2, C3 and 2 more");
        assert_eq!(listed(&names[..3]), "C0, C1 and C2");
        assert_eq!(listed(&names[..1]), "C0");
    }
}
