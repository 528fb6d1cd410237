//! One sentence that answers the question.

use sprayside_solver::results::{Junction, Verdict};

use super::{BAD, GOOD, NOTE, counted, headed, styled};
use crate::figures::{celsius, decimals_for, rounded_up, significant};
use crate::summary::{LOW_CHF_MARGIN, Solved, margin_in_words, reservations};

/// What stands against a good verdict, then burn-out, limits, and what is only known within the
/// uncertainty.
pub fn verdict(solved: &Solved) -> String {
    let clauses: Vec<String> = reservations(solved.result, solved.survey)
        .into_iter()
        .map(|reservation| reservation.text)
        .collect();
    let against = match clauses.is_empty() {
        true => String::new(),
        false => format!("{}.", clauses.join("; ")),
    };
    let fails = solved.verdict() == Verdict::Fail;
    let word = match (solved.verdict(), clauses.is_empty()) {
        (Verdict::Fail, _) => styled(BAD, "FAIL"),
        (Verdict::Pass, true) => styled(GOOD, "PASS"),
        (Verdict::Pass, false) => styled(NOTE, "PASS, but"),
        (Verdict::None, true) => styled(NOTE, "NO VERDICT"),
        (Verdict::None, false) => styled(NOTE, "NO VERDICT, but"),
    };
    let junctions = &solved.result.junctions;
    // A verdict that is broken anyway says first by what.
    let mut sentences = if fails { Vec::new() } else { vec![against.clone()] };
    let tightest = junctions
        .iter()
        .filter_map(|junction| Some((junction, junction.margin_K()?, junction.limit_K?)))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    let limits = match tightest {
        Some((junction, margin_K, limit_K)) => limits(junctions, junction, margin_K, limit_K),
        None => match solved.result.hottest().map(|index| &junctions[index]) {
            Some(junction) => format!(
                "No limit is stated (limit_C). The hottest junction is {}: {}.",
                junction.name,
                with_uncertainty(junction),
            ),
            None => "There is no junction.".to_owned(),
        },
    };
    let hot = fails && tightest.is_some_and(|(_, margin_K, _)| margin_K < 0.0);
    let burns = solved.result.spray.as_ref().is_some_and(|spray| !spray.burnt_out.is_empty());
    sentences.extend(if hot && !burns {
        [limits, burn_out(solved)]
    } else {
        [burn_out(solved), limits]
    });
    if fails {
        sentences.push(capitalised(&against));
    }
    sentences.retain(|sentence| !sentence.is_empty());
    headed(&word, &sentences.join(" "))
}

/// A sentence with a capital letter at its start.
fn capitalised(sentence: &str) -> String {
    let mut letters = sentence.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
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
                .filter_map(|junction| Some((junction, junction.chf_margin_at_least()?)))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            match least {
                Some((junction, at_least)) if at_least < 1.0 => format!(
                    "{} is kept from burn-out only within the uncertainty: critical over local \
                     heat flux is {}; a smaller accuracy_K in [mesh] may decide it.",
                    junction.name,
                    margin_in_words(junction),
                ),
                // Told already as what stands against the verdict.
                Some((_, at_least)) if at_least < LOW_CHF_MARGIN => String::new(),
                Some((junction, _)) => format!(
                    "No place burns out; the least margin of a die to critical heat flux is {}, \
                     on {}.",
                    margin_in_words(junction),
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
