//! Arguments of the commands that hold results against measurements or against each other.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use sprayside_solver::study::fit::FitParameter;

use super::CommonArguments;

/// Arguments of `fit`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside fit module.toml readings.csv
  sprayside fit module.toml readings.csv --parameters spray_coefficient,inlet_offset_K
  sprayside fit module.toml readings.csv --bounds attach_conductivity=0.5:2

READINGS.csv has a line of headings and a row a sensor of the case:
  sensor,reading_C,limit_of_error_K
  TC1,71.3,
  TC2,65.8,0.2
The last column may be left out or empty: then the limit of error is that of the case.

Files written, beside those of solve:
  fit.csv          a row a parameter: value, interval, bounds
  fit_sensors.csv  a row a reading: predicted before and after, residual, comparison
  fit.png          the residuals, before and after
The corrected case goes beside the case, CASE-fitted.toml, or where --corrected says: the text of
the case with a [correction] table, for `solve` and every other command.

Readings that disagree with all the others (a detached thermocouple) are named and left out. Exit
code 1 says that one disagrees, that the corrected case still does not explain the readings within
their stated errors, or that a limit of the case as stated is broken.")]
pub struct FitArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub common: CommonArguments,

    /// What the sensors of the case have read
    #[arg(value_name = "READINGS.csv")]
    pub readings: PathBuf,

    /// What to fit [default: spray_coefficient]
    #[arg(long, value_name = "NAME", value_enum, value_delimiter = ',')]
    pub parameters: Vec<ParameterName>,

    /// Lowest and highest value of a parameter, as NAME=LOW:HIGH; factors, or K for the offset
    #[arg(long, value_name = "NAME=LOW:HIGH", value_parser = bounds)]
    pub bounds: Vec<(ParameterName, [f64; 2])>,

    /// Confidence of the intervals
    #[arg(long, value_name = "SHARE", default_value = "0.95", value_parser = confidence)]
    pub confidence: f64,

    /// Standard uncertainty of each factor as the case states it, for the comparison, in percent
    #[arg(long, value_name = "PERCENT", default_value = "0", value_parser = percent)]
    pub input_uncertainty: f64,

    /// Leave no reading out
    #[arg(long)]
    pub keep_all: bool,

    /// Where the corrected case goes
    #[arg(long, value_name = "FILE.toml")]
    pub corrected: Option<PathBuf>,
}

/// The parameters by the keys of `[correction]`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ParameterName {
    /// Factor on the spray's heat flux
    #[value(name = "spray_coefficient")]
    SprayCoefficient,
    /// Factor on the conductivity of every attach
    #[value(name = "attach_conductivity")]
    AttachConductivity,
    /// Factor on the coefficient to the board
    #[value(name = "board_coefficient")]
    BoardCoefficient,
    /// Offset of the liquid's temperature at the nozzles, K
    #[value(name = "inlet_offset_K")]
    InletOffset,
}

impl ParameterName {
    /// The parameter.
    pub fn parameter(self) -> FitParameter {
        match self {
            ParameterName::SprayCoefficient => FitParameter::SprayCoefficient,
            ParameterName::AttachConductivity => FitParameter::AttachConductivity,
            ParameterName::BoardCoefficient => FitParameter::BoardCoefficient,
            ParameterName::InletOffset => FitParameter::InletOffset,
        }
    }
}

fn bounds(text: &str) -> Result<(ParameterName, [f64; 2]), String> {
    let form = "write NAME=LOW:HIGH, such as spray_coefficient=0.5:2";
    let (name, range) = text.split_once('=').ok_or(form)?;
    let name = ParameterName::from_str(name, false)?;
    let (low, high) = range.split_once(':').ok_or(form)?;
    let number = |text: &str| {
        let number = text.trim().parse::<f64>().ok().filter(|number| number.is_finite());
        number.ok_or_else(|| format!("{text:?} is no number; {form}"))
    };
    let (low, high) = (number(low)?, number(high)?);
    if low >= high {
        return Err(format!("the lower bound must be below the higher, got {low} and {high}"));
    }
    if name.parameter().is_factor() && low <= 0.0 {
        return Err(format!("a factor is above zero, got {low}"));
    }
    // Where the search starts is what the case states.
    let stated = if name.parameter().is_factor() { 1.0 } else { 0.0 };
    if !(low..=high).contains(&stated) {
        return Err(format!("the bounds must hold what the case states, {stated}"));
    }
    Ok((name, [low, high]))
}

fn confidence(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(share) if (0.5..=0.9999).contains(&share) => Ok(share),
        _ => Err("a confidence lies between 0.5 and 0.9999".to_owned()),
    }
}

fn percent(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(percent) if (0.0..=100.0).contains(&percent) => Ok(percent),
        _ => Err("an uncertainty lies between 0 and 100 percent".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_are_read_and_refused_with_the_reason() {
        let read = bounds("spray_coefficient=0.5:2").expect("bounds");
        assert_eq!(read, (ParameterName::SprayCoefficient, [0.5, 2.0]));
        for (text, words) in [
            ("spray_coefficient", "NAME=LOW:HIGH"),
            ("spray=0.5:2", ""),
            ("spray_coefficient=2:0.5", "below the higher"),
            ("spray_coefficient=0:2", "above zero"),
            ("spray_coefficient=1.5:2", "what the case states"),
            ("inlet_offset_K=a:2", "no number"),
        ] {
            let refused = bounds(text).expect_err("refused");
            assert!(refused.contains(words), "{text}: {refused}");
        }
    }
}
