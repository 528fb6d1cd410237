//! The model against thermometers, for people.

use std::path::Path;

use super::table::{Side, Table};
use super::{BAD, GOOD, HEADING, NOTE, WIDTH, closing, counted, headed, solve, styled, wrapped};
use crate::figures::significant;
use crate::summary::{FitSummary, Solved, Summary};

/// Verdict, parameters, sensors, comparison, files, cautions.
pub fn fit(solved: &Solved, summary: &Summary, folder: &Path) -> String {
    let Some(fit) = &summary.fit else { return String::new() };
    let mut text = format!("{}\n\n", verdict(fit));
    text += &parameters(fit);
    text += &remarks(fit);
    text += &sensors(fit);
    text += &comparison(fit);
    let corrected = format!(
        "{} {}, the case with these corrections in a [correction] table; `sprayside solve` reads it.",
        styled(HEADING, "Corrected case:"),
        fit.corrected_case
    );
    text += &format!("{}\n", wrapped(&corrected, WIDTH, "  "));
    text += &format!("{}\n", solve::accuracy(solved, summary));
    text += &closing::warnings(&summary.warnings[solved.case.case.warnings.len()..]);
    text += &closing::files(&summary.files, folder);
    text += &closing::cautions(&solved.case.case.record);
    text
}

/// Whether the corrected case explains the readings, and who disagrees.
pub fn verdict(fit: &FitSummary) -> String {
    let word = match (fit.explains, fit.disagree.is_empty()) {
        (true, true) => styled(GOOD, "AGREES"),
        (true, false) => styled(NOTE, "LOOK"),
        (false, _) => styled(BAD, "DISAGREES"),
    };
    let chi = format!(
        "chi-square {} on {}{}",
        significant(fit.chi_square.unwrap_or(f64::NAN), 3),
        counted(fit.degrees_of_freedom, "degree of freedom", "degrees of freedom"),
        match fit.probability {
            Some(probability) => {
                format!(
                    ", which a right model exceeds with a chance of {}",
                    significant(probability, 2)
                )
            }
            None => String::new(),
        }
    );
    let mut sentence = if fit.degrees_of_freedom == 0 {
        "There are as many parameters as readings: whatever the model, it fits, and nothing is tested."
            .to_owned()
    } else if fit.explains {
        format!("The corrected case explains the readings within their stated errors: {chi}.")
    } else {
        format!(
            "Even the corrected case does not explain the readings within their stated errors: {chi}. \
             Something else is wrong: a power, a part of the model, or the errors stated."
        )
    };
    if !fit.disagree.is_empty() {
        sentence += &format!(
            " {} with all the others and {} left out: {}. A detached or cooled thermocouple, or a \
             place that the model has wrong.",
            if fit.disagree.len() == 1 { "One sensor disagrees" } else { "Some sensors disagree" },
            if fit.disagree.len() == 1 { "was" } else { "were" },
            fit.disagree.join(", "),
        );
    }
    headed(&word, &sentence)
}

fn parameters(fit: &FitSummary) -> String {
    let mut table = Table::new(vec![
        ("correction", "", Side::Left),
        ("value", "", Side::Right),
        ("interval", "", Side::Left),
        ("", "", Side::Left),
    ]);
    for row in &fit.parameters {
        let number = |value: Option<f64>| value.map_or(String::new(), |v| significant(v, 4));
        table.row(
            vec![
                row.parameter.to_owned(),
                number(row.value),
                match (row.low, row.high) {
                    (Some(_), Some(_)) => format!("{} to {}", number(row.low), number(row.high)),
                    _ => String::new(),
                },
                match row.state {
                    "determined" => String::new(),
                    state => state.to_owned(),
                },
            ],
            None,
        );
    }
    let confidence = fit.parameters.first().and_then(|row| row.confidence).unwrap_or(f64::NAN);
    format!(
        "{}\n{}",
        styled(
            HEADING,
            &format!(
                "Corrections, with intervals at {} % confidence:",
                significant(100.0 * confidence, 4)
            )
        ),
        table.text()
    )
}

fn remarks(fit: &FitSummary) -> String {
    let mut remarks = Vec::new();
    for alike in &fit.alike {
        remarks.push(format!(
            "The readings hardly tell {} and {} apart (correlation {}): fix one of them, or measure \
             where they act differently.",
            alike.first,
            alike.second,
            significant(alike.correlation.unwrap_or(f64::NAN), 3),
        ));
    }
    let undetermined: Vec<&str> = fit
        .parameters
        .iter()
        .filter(|row| row.state == "not determined")
        .map(|row| row.parameter)
        .collect();
    if !undetermined.is_empty() {
        remarks.push(format!(
            "The readings do not determine {}: its value here means nothing.",
            undetermined.join(" and ")
        ));
    }
    if let Some(row) = fit.parameters.iter().find(|row| row.state == "at a bound") {
        remarks.push(format!(
            "{} ends at a bound: widen it with --bounds if such a value can be, else look for another \
             cause.",
            row.parameter
        ));
    }
    if let Some(widened) = fit.widened.filter(|widened| *widened > 1.0) {
        remarks.push(format!(
            "Because chi-square is too large the intervals were widened {} times.",
            significant(widened, 3)
        ));
    }
    if !fit.converged {
        remarks.push("The search did not settle; the values are where it stopped.".to_owned());
    }
    remarks
        .iter()
        .map(|remark| {
            let text = format!("{} {remark}", styled(NOTE, "Note:"));
            format!("{}\n", wrapped(&text, WIDTH, "  "))
        })
        .collect()
}

fn sensors(fit: &FitSummary) -> String {
    let mut table = Table::new(vec![
        ("sensor", "", Side::Left),
        ("read", "°C", Side::Right),
        ("before", "°C", Side::Right),
        ("after", "°C", Side::Right),
        ("residual", "K", Side::Right),
        ("sigma", "K", Side::Right),
        ("normalised", "", Side::Right),
        ("agrees", "", Side::Left),
    ]);
    let one = |value: Option<f64>, decimals: usize| {
        value.map_or("-".to_owned(), |value| format!("{value:.decimals$}"))
    };
    for row in &fit.sensors {
        let style = match row.agrees {
            "no" => Some(BAD),
            "yes" => Some(GOOD),
            _ => Some(NOTE),
        };
        table.row(
            vec![
                row.sensor.clone(),
                one(row.reading_C, 2),
                one(row.before_C, 2),
                one(row.after_C, 2),
                one(row.residual_K, 2),
                one(row.sigma_K, 2),
                one(row.normalised_residual, 2),
                row.agrees.to_owned(),
            ],
            style,
        );
    }
    let note = format!(
        "Residual is read less predicted; normalised by its own standard deviation. Beyond {} a \
         reading disagrees: that happens by chance in one fit of twenty.",
        significant(fit.outlier_beyond.unwrap_or(f64::NAN), 3)
    );
    format!(
        "\n{}\n{}  {}\n",
        styled(HEADING, "Sensors:"),
        table.text(),
        wrapped(&note, WIDTH - 2, "  ")
    )
}

fn comparison(fit: &FitSummary) -> String {
    let mut table = Table::new(vec![
        ("sensor", "", Side::Left),
        ("E = S - D", "K", Side::Right),
        ("u_num", "K", Side::Right),
        ("u_input", "K", Side::Right),
        ("u_D", "K", Side::Right),
        ("u_val", "K", Side::Right),
        ("error of the model", "K", Side::Left),
        ("stands out", "", Side::Left),
    ]);
    let two = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value:.2}"));
    for row in &fit.sensors {
        let (Some(error), Some(u_val)) = (row.comparison_error_K, row.u_val_K) else { continue };
        table.row(
            vec![
                row.sensor.clone(),
                format!("{error:.2}"),
                two(row.u_num_K),
                two(row.u_input_K),
                two(row.u_D_K),
                format!("{u_val:.2}"),
                format!("{:.2} to {:.2}", error - 2.0 * u_val, error + 2.0 * u_val),
                if error.abs() > u_val { "yes" } else { "no" }.to_owned(),
            ],
            None,
        );
    }
    let note = "The case as stated against the readings, by ASME V&V 20: E is prediction less \
                reading, u_val joins the numerical uncertainty, that of the inputs \
                (--input-uncertainty) and that of the reading. The error of the model lies within E \
                ± 2 u_val; where E does not stand out of u_val it cannot be told from them. The \
                corrected case was made from the same readings, so that its agreement proves nothing: \
                validate it on others.";
    format!(
        "\n{}\n{}  {}\n",
        styled(HEADING, "Validation of the case as stated:"),
        table.text(),
        wrapped(note, WIDTH - 2, "  ")
    )
}
