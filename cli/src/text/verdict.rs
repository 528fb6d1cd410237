//! One sentence that answers the question.

use sprayside_solver::results::{Junction, Verdict};

use super::{BAD, GOOD, NOTE, counted, styled};
use crate::figures::{celsius, decimals_for, rounded_up, significant};
use crate::summary::Solved;

/// Burn-out first, then limits, then what is only known within the uncertainty.
pub fn verdict(solved: &Solved) -> String {
    let word = match solved.verdict() {
        Verdict::Pass => styled(GOOD, "PASS"),
        Verdict::Fail => styled(BAD, "FAIL"),
        Verdict::None => styled(NOTE, "NO VERDICT"),
    };
    let junctions = &solved.result.junctions;
    let mut sentences = vec![burn_out(solved)];
    let tightest = junctions
        .iter()
        .filter_map(|junction| Some((junction, junction.margin_K()?, junction.limit_K?)))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    sentences.push(match tightest {
        Some((junction, margin_K, limit_K)) => limits(junctions, junction, margin_K, limit_K),
        None => match solved.result.hottest().map(|index| &junctions[index]) {
            Some(junction) => format!(
                "No limit is stated (limit_C). The hottest junction is {}: {}.",
                junction.name,
                with_uncertainty(junction),
            ),
            None => "There is no junction.".to_owned(),
        },
    });
    sentences.push(model_band(junctions));
    sentences.retain(|sentence| !sentence.is_empty());
    format!("{word}  {}", super::wrapped(&sentences.join(" "), super::WIDTH, "      "))
}

/// A junction's highest temperature with its uncertainty.
pub fn with_uncertainty(junction: &Junction) -> String {
    let decimals = decimals_for(junction.uncertainty_K);
    format!(
        "{:.decimals$} ± {} °C",
        celsius(junction.max_K),
        rounded_up(junction.uncertainty_K, decimals)
    )
}

fn burn_out(solved: &Solved) -> String {
    let Some(spray) = &solved.result.spray else { return String::new() };
    match spray.burnt_out.first() {
        Some(worst) => {
            let others = match spray.burnt_out.len() {
                1 => String::new(),
                n => format!(", the worst of {n} such parts"),
            };
            format!(
                "Burn-out on {} at x = {}, y = {} mm: critical over local heat flux is {}{others}.",
                worst.name,
                significant(worst.at_m[0] * 1e3, 4),
                significant(worst.at_m[1] * 1e3, 4),
                significant(worst.margin, 3),
            )
        }
        None => {
            let least = solved
                .result
                .junctions
                .iter()
                .filter_map(|junction| Some((junction, junction.chf_margin?)))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            match least {
                Some((junction, margin)) => format!(
                    "No place burns out; the least margin of a die to critical heat flux is {}, \
                     on {}.",
                    significant(margin, 3),
                    junction.name
                ),
                None => String::new(),
            }
        }
    }
}

fn limits(junctions: &[Junction], tightest: &Junction, margin_K: f64, limit_K: f64) -> String {
    let limit = significant(celsius(limit_K), 5);
    let name = &tightest.name;
    let value = with_uncertainty(tightest);
    if margin_K >= 0.0 {
        let margin = significant(margin_K, 3);
        return format!(
            "Every limit is kept. The least margin is {margin} K, on {name}: {value}, limit \
             {limit} °C."
        );
    }
    let over = junctions.iter().filter(|j| j.margin_K().is_some_and(|margin| margin < 0.0)).count();
    let others = match over {
        1 => String::new(),
        n => format!(" {} in all do not keep theirs.", counted(n, "junction", "junctions")),
    };
    if tightest.max_K > limit_K {
        let excess = significant(tightest.max_K - limit_K, 3);
        format!("{name} is {excess} K over its limit: {value}, limit {limit} °C.{others}")
    } else {
        format!(
            "{name} keeps its limit of {limit} °C only within the uncertainty: {value}; a smaller \
             accuracy_K in [mesh] may decide it.{others}"
        )
    }
}

/// Limits that are kept as the correlations stand but not at the unfavourable end of their band.
fn model_band(junctions: &[Junction]) -> String {
    let doubtful: Vec<&Junction> = junctions
        .iter()
        .filter(|junction| {
            let (Some(limit_K), Some([_, high_K])) = (junction.limit_K, junction.model_range_K)
            else {
                return false;
            };
            junction.verdict() == Verdict::Pass && high_K > limit_K
        })
        .collect();
    let worst = doubtful.iter().max_by(|a, b| over_limit_K(a).total_cmp(&over_limit_K(b)));
    match worst {
        Some(junction) => format!(
            "At the unfavourable end of the correlations' band {}{} would not: {} would be {} K \
             over its limit.",
            counted(doubtful.len(), "junction", "junctions"),
            if doubtful.len() == 1 { " that passes" } else { " that pass" },
            junction.name,
            significant(over_limit_K(junction), 3),
        ),
        None => String::new(),
    }
}

fn over_limit_K(junction: &Junction) -> f64 {
    match (junction.limit_K, junction.model_range_K) {
        (Some(limit_K), Some([_, high_K])) => high_K - limit_K,
        _ => f64::NEG_INFINITY,
    }
}
