//! `fit`: the model against the readings of its sensors, and the corrected case.

use std::cell::Cell;
use std::fs;
use std::path::{Path, PathBuf};

use sprayside_solver::module::Correction;
use sprayside_solver::steady::SteadyOptions;
use sprayside_solver::study::fit::{self, FitError, FitOptions, FitParameter, Measured};

use crate::arguments::{FitArguments, ParameterName};
use crate::case_file;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::summary::FitSummary;
use crate::tables::{FitRow, FitSensorRow, csv};
use crate::{maps, readings_file, text};

use super::solving::{self, Setting};

/// First words of a corrected case: one that begins otherwise is never overwritten.
const MARK: &str = "# Corrected by sprayside fit";

/// Solves, fits, writes the corrected case.
pub fn run(arguments: &FitArguments) -> Result<Exit, Failure> {
    let path = &arguments.common.case;
    if case_file::is_stdin(path) {
        return Err(Failure::Request {
            headline: "fit needs the case as a file".to_owned(),
            help: "the corrected case is written beside it".to_owned(),
        });
    }
    // Before the work: readings and the place of the corrected case.
    let case = case_file::read(path)?;
    let names: Vec<&str> = case.case.sensors.iter().map(|s| s.name.as_str()).collect();
    let readings = readings_file::read(&arguments.readings, &names)?;
    let options = options(arguments);
    check(&options, &case.case.module, &readings)?;
    let target = arguments.corrected.clone().unwrap_or_else(|| beside(path));
    may_be_written(&target, path)?;
    let corrected = |correction: &Correction| {
        corrected_text(
            &case.text,
            path,
            &arguments.readings,
            &correction.after(&case.case.correction),
        )
    };
    // A form of [correction] that cannot be replaced is told now.
    corrected(&Correction::default())?;
    let agrees = Cell::new(true);
    let setting = Setting::of(&arguments.common);
    let exit = solving::run(
        &setting,
        |solved, summary, progress| {
            let module = &solved.case.case.module;
            let sensors = &solved.case.case.sensors;
            let fitted = fit::fit(
                module,
                sensors,
                solved.solution,
                solved.readings,
                &readings,
                &options,
                &mut |solves| progress.part("trial corrections", solves, solves),
            )
            .map_err(|error| refused(&error))?;
            let text = corrected(&fitted.correction)?;
            fs::write(&target, text).map_err(|error| Failure::file("write", &target, &error))?;
            let rows = FitRow::all(&fitted, options.confidence);
            let sensor_rows = FitSensorRow::all(&fitted, sensors);
            let table = csv(&FitRow::HEADER, &rows).map_err(super::not_written)?;
            let sensor_table =
                csv(&FitSensorRow::HEADER, &sensor_rows).map_err(super::not_written)?;
            let picture = maps::of_fit(&module.title, &sensor_rows).map_err(super::not_written)?;
            let figures = FitSummary::of(&fitted, rows, sensor_rows, target.display().to_string());
            agrees.set(figures.explains && figures.disagree.is_empty());
            summary.command = "fit";
            summary.fit = Some(figures);
            Ok(vec![
                ("fit.csv".to_owned(), table),
                ("fit_sensors.csv".to_owned(), sensor_table),
                (picture.file, picture.png),
            ])
        },
        text::fit,
    )?;
    Ok(if agrees.get() { exit } else { Exit::LimitBroken })
}

fn options(arguments: &FitArguments) -> FitOptions {
    let mut names = arguments.parameters.clone();
    if names.is_empty() {
        names.push(ParameterName::SprayCoefficient);
        names.extend(arguments.bounds.iter().map(|(name, _)| *name));
    }
    let mut parameters: Vec<(FitParameter, [f64; 2])> = Vec::new();
    for name in names {
        let parameter = name.parameter();
        if parameters.iter().all(|(known, _)| *known != parameter) {
            let stated = arguments.bounds.iter().rev().find(|(bounded, _)| *bounded == name);
            let bounds = stated.map_or(parameter.usual_bounds(), |(_, bounds)| *bounds);
            parameters.push((parameter, bounds));
        }
    }
    FitOptions {
        parameters,
        confidence: arguments.confidence,
        input_relative: arguments.input_uncertainty / 100.0,
        leave_out: !arguments.keep_all,
        steady: SteadyOptions::default(),
    }
}

/// What can be refused before anything is solved.
fn check(
    options: &FitOptions,
    module: &sprayside_solver::module::Module,
    readings: &[Measured],
) -> Result<(), Failure> {
    for (parameter, _) in &options.parameters {
        if let Some(why) = parameter.meaningless(module) {
            return Err(refused(&FitError::Meaningless { parameter: *parameter, why }));
        }
    }
    let parameters = options.parameters.len();
    if readings.len() < parameters {
        return Err(refused(&FitError::TooFew { readings: readings.len(), parameters }));
    }
    Ok(())
}

fn refused(error: &FitError) -> Failure {
    let help = match error {
        FitError::Steady(error) => return solving::why_not_solved(error),
        FitError::TooFew { .. } => "fit fewer with --parameters, or add readings",
        _ => "choose others with --parameters",
    };
    Failure::Request { headline: error.to_string(), help: help.to_owned() }
}

/// `CASE-fitted.toml` beside the case, so that the files that it names are found.
fn beside(case: &Path) -> PathBuf {
    let stem =
        case.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
    case.with_file_name(format!("{stem}-fitted.toml"))
}

/// Whether a file may be written at `target`: there is none, or one of ours.
fn may_be_written(target: &Path, case: &Path) -> Result<(), Failure> {
    let refusal = |headline: String| Failure::File {
        headline,
        help: Some("nothing was touched; name another with --corrected FILE.toml".to_owned()),
    };
    let same = |a: &Path, b: &Path| {
        fs::canonicalize(a).is_ok_and(|a| fs::canonicalize(b).is_ok_and(|b| a == b))
    };
    if same(target, case) {
        return Err(refusal(format!("{} is the case itself", target.display())));
    }
    match fs::read(target) {
        Ok(bytes) if bytes.starts_with(MARK.as_bytes()) => Ok(()),
        Ok(_) => Err(refusal(format!("{} exists and is not a corrected case", target.display()))),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Err(error) => Err(Failure::file("read", target, &error)),
    }
}

/// The text of the case with its `[correction]` replaced or added.
fn corrected_text(
    text: &str,
    case: &Path,
    readings: &Path,
    correction: &Correction,
) -> Result<String, Failure> {
    let mut kept = String::new();
    let mut inside = false;
    for line in text.trim_start_matches('\u{feff}').lines() {
        let bare = line.trim();
        if bare.starts_with('[') {
            let head = bare.split('#').next().unwrap_or("").trim();
            inside = head.trim_matches(['[', ']', ' ']) == "correction";
        }
        if bare.starts_with(MARK) || inside {
            continue;
        }
        if bare.starts_with("correction") && bare.contains('=') {
            return Err(Failure::Request {
                headline: "the case states its correction on one line".to_owned(),
                help: "write it as a table, [correction] with its keys below, so that it can be \
                       replaced"
                    .to_owned(),
            });
        }
        kept.push_str(line);
        kept.push('\n');
    }
    let name = |path: &Path| {
        path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
    };
    let mut table = String::from("[correction]\n");
    for (key, value, none) in [
        ("spray_coefficient", correction.spray_coefficient, 1.0),
        ("attach_conductivity", correction.attach_conductivity, 1.0),
        ("board_coefficient", correction.board_coefficient, 1.0),
        ("inlet_offset_K", correction.inlet_offset_K, 0.0),
    ] {
        if value != none {
            table += &format!("{key} = {value:?}\n");
        }
    }
    Ok(format!(
        "{MARK} from {} and {}.\n{}\n\n{table}",
        name(case),
        name(readings),
        kept.trim_end()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn corrected(text: &str) -> Result<String, Failure> {
        let correction = Correction { spray_coefficient: 1.25, ..Correction::default() };
        corrected_text(text, Path::new("a/case.toml"), Path::new("r.csv"), &correction)
    }

    #[test]
    fn a_correction_is_added_or_replaced_and_nothing_else_is_touched() {
        let first = corrected("title = \"t\" # note\n[board]\nhtc_W_m2K = 1.0\n").expect("a text");
        assert_eq!(
            first,
            "# Corrected by sprayside fit from case.toml and r.csv.\ntitle = \"t\" # note\n[board]\n\
             htc_W_m2K = 1.0\n\n[correction]\nspray_coefficient = 1.25\n"
        );
        assert_eq!(corrected(&first).expect("a text"), first);
        let middle = "[correction] # old\nboard_coefficient = 2.0\n\n[board]\nhtc_W_m2K = 1.0\n";
        let again = corrected(middle).expect("a text");
        assert!(!again.contains("board_coefficient"), "{again}");
        assert!(again.contains("[board]\nhtc_W_m2K = 1.0\n"), "{again}");
        assert!(corrected("correction = { board_coefficient = 2.0 }\n").is_err());
    }
}
