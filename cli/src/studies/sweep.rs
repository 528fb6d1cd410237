//! Numbers of the case over values.

use serde_json::json;
use sprayside_solver::case::place_of_number;
use sprayside_solver::module::Module;
use sprayside_solver::study::point::PointOutcome;
use sprayside_solver::study::points::Points;

use super::table::verdict;
use super::{Study, Told, json_figure};
use crate::case_file::CaseFile;
use crate::failure::Failure;
use crate::figures::{celsius, significant};
use crate::maps::{self, Words};
use crate::summary::Solved;
use crate::text::{self, Side, Table};

/// Most points of a sweep.
const MOST_POINTS: usize = 1_000_000;
/// Rows of the printed table.
const MOST_ROWS: usize = 30;
/// Lines of the picture.
const MOST_LINES: usize = 6;

/// Every combination of values, or values side by side.
pub struct SweepStudy<'a> {
    case: &'a CaseFile,
    /// The case with its tables written out, where numbers have places.
    text: String,
    inputs: Vec<(String, Vec<f64>)>,
    places: Vec<std::ops::Range<usize>>,
    zip: bool,
    count: usize,
    shown: Option<usize>,
}

/// Reads `--vary NAME=VALUES`; values are `a,b,c` or `from..to/count`, both ends included.
pub fn parse_input(text: &str) -> Result<(String, Vec<f64>), String> {
    let usage = || {
        "write NAME=VALUES: coolant.inlet_C=20,25,30, or coolant.inlet_C=20..30/5 for five values"
            .to_owned()
    };
    let (name, values) = text.split_once('=').ok_or_else(usage)?;
    let values = values_of(values).ok_or_else(usage)?;
    if name.trim().is_empty() {
        return Err(usage());
    }
    Ok((name.trim().to_owned(), values))
}

/// `a,b,c` or `from..to/count`.
pub fn values_of(text: &str) -> Option<Vec<f64>> {
    let number = |text: &str| text.trim().parse::<f64>().ok().filter(|v| v.is_finite());
    let Some((from, rest)) = text.split_once("..") else {
        return text.split(',').map(number).collect();
    };
    let (to, count) = rest.split_once('/')?;
    let (from, to, count) = (number(from)?, number(to)?, count.trim().parse::<usize>().ok()?);
    if !(2..=100_000).contains(&count) {
        return None;
    }
    let step = (to - from) / (count - 1) as f64;
    // Rounded to twelve digits of the span, so that a middle zero is zero.
    let grain = 1e-12 * (to - from).abs().max(from.abs()).max(to.abs());
    let value = |k: usize| match k {
        0 => from,
        k if k + 1 == count => to,
        k if grain > 0.0 => ((from + k as f64 * step) / grain).round() * grain,
        _ => from,
    };
    Some((0..count).map(|k| tidy(value(k))).collect())
}

/// Without the last bits that rounding leaves.
fn tidy(value: f64) -> f64 {
    crate::figures::figure(value).unwrap_or(value)
}

impl<'a> SweepStudy<'a> {
    /// Finds every input in the case and reads the case at every point once.
    pub fn new(
        case: &'a CaseFile,
        inputs: &[(String, Vec<f64>)],
        zip: bool,
        show: Option<&str>,
    ) -> Result<Self, Failure> {
        let request =
            |headline: String, help: &str| Failure::Request { headline, help: help.to_owned() };
        let text = case.inlined();
        let mut places: Vec<std::ops::Range<usize>> = Vec::new();
        for (name, _) in inputs {
            let place = place_of_number(&text, name).map_err(|why| {
                request(why, "an input is a number that the case states, such as die.C0.power_W")
            })?;
            if places.contains(&place) {
                return Err(request(format!("{name} is varied twice"), "vary it once"));
            }
            places.push(place);
        }
        let lengths: Vec<usize> = inputs.iter().map(|(_, values)| values.len()).collect();
        let count = if zip {
            let first = lengths.first().copied().unwrap_or(0);
            if lengths.iter().any(|&length| length != first) {
                return Err(request(
                    "inputs side by side need equally many values".to_owned(),
                    "give each as many, or leave out --zip for every combination",
                ));
            }
            first
        } else {
            let product = lengths.iter().try_fold(1usize, |n, &length| n.checked_mul(length));
            product.filter(|&n| n <= MOST_POINTS).ok_or_else(|| {
                request(
                    format!("more than {MOST_POINTS} combinations"),
                    "take fewer values, or --zip",
                )
            })?
        };
        let module = &case.case.module;
        let names = || {
            let die = module.die.iter().map(|die| die.name.as_str());
            die.chain(module.heaters.iter().map(|heater| heater.name.as_str()))
        };
        let shown = match show {
            None => None,
            Some(name) => Some(names().position(|known| known == name).ok_or_else(|| {
                request(
                    format!("there is no die or heater {name:?}"),
                    &format!("the names are {}", names().collect::<Vec<_>>().join(", ")),
                )
            })?),
        };
        let inputs = inputs.to_vec();
        let sweep = SweepStudy { case, text, inputs, places, zip, count, shown };
        // A value that the case cannot have is told before anything is solved.
        for k in 0..count {
            sweep.read(k)?;
        }
        Ok(sweep)
    }

    /// Values of the inputs at point `k`; the last input runs fastest.
    fn values(&self, k: usize) -> Vec<f64> {
        if self.zip {
            return self.inputs.iter().map(|(_, values)| values[k]).collect();
        }
        let mut rest = k;
        let mut values: Vec<f64> = self
            .inputs
            .iter()
            .rev()
            .map(|(_, values)| {
                let value = values[rest % values.len()];
                rest /= values.len();
                value
            })
            .collect();
        values.reverse();
        values
    }

    /// The case at point `k`.
    fn read(&self, k: usize) -> Result<Module, Failure> {
        let mut changes: Vec<_> = self.places.iter().zip(self.values(k)).collect();
        changes.sort_by_key(|(place, _)| std::cmp::Reverse(place.start));
        let mut text = self.text.clone();
        for (place, value) in changes {
            text.replace_range(place.clone(), &format!("{value:?}"));
        }
        self.case.read_changed(&text)
    }
}

impl Points for SweepStudy<'_> {
    fn count(&self) -> usize {
        self.count
    }

    fn module(&self, k: usize) -> Result<Module, String> {
        self.read(k).map_err(|failure| failure.rendered())
    }
}

impl Study for SweepStudy<'_> {
    fn points(&self) -> &dyn Points {
        self
    }

    fn columns(&self) -> Vec<String> {
        self.inputs.iter().map(|(name, _)| name.clone()).collect()
    }

    fn cells(&self, k: usize) -> Vec<String> {
        self.values(k).iter().map(f64::to_string).collect()
    }

    fn tell(&self, solved: &Solved, outcomes: &[PointOutcome]) -> Result<Told, Failure> {
        let shown = self.shown.or(solved.result.hottest()).unwrap_or(0);
        let junctions = &solved.result.junctions;
        let name = junctions.get(shown).map_or("", |j| j.name.as_str());
        let at = |outcome: &PointOutcome| {
            outcome.as_ref().ok().and_then(|p| p.junctions.get(shown)).map(|j| celsius(j.max_K))
        };
        // A line for every set of the other inputs.
        let mut lines: Vec<(String, Vec<(f64, f64)>)> = Vec::new();
        for (k, outcome) in outcomes.iter().enumerate() {
            let values = self.values(k);
            let others = if self.zip { &[][..] } else { &values[1..] };
            let label: Vec<String> = others
                .iter()
                .zip(&self.inputs[1..])
                .map(|(value, (input, _))| format!("{input} = {}", significant(*value, 5)))
                .collect();
            let label = label.join(", ");
            let line = match lines.iter().position(|(known, _)| *known == label) {
                Some(line) => line,
                None => {
                    lines.push((label, Vec::new()));
                    lines.len() - 1
                }
            };
            if let Some(temperature) = at(outcome) {
                lines[line].1.push((values[0], temperature));
            }
        }
        let left_out = lines.len().saturating_sub(MOST_LINES);
        lines.truncate(MOST_LINES);
        for (_, line) in &mut lines {
            line.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
        let input = &self.inputs[0].0;
        let subtitle = match left_out {
            0 => format!("Hottest point of {name}"),
            n => format!("Hottest point of {name}; {n} more lines are in points.csv"),
        };
        let limit = junctions.get(shown).and_then(|j| j.limit_K).map(celsius);
        let words = Words {
            file: "sweep.png".to_owned(),
            title: format!("{name} against {input}"),
            module: solved.case.case.module.title.clone(),
            subtitle,
            across: input.clone(),
            up: "junction maximum, °C".to_owned(),
        };
        let picture = maps::lines(&words, &lines, limit).map_err(crate::commands::not_written)?;
        let mut columns: Vec<(&'static str, &'static str, Side)> =
            vec![("point", "", Side::Right), ("inputs", "", Side::Left)];
        columns.extend([
            ("hottest", "", Side::Left),
            ("at", "°C", Side::Right),
            ("least margin", "K", Side::Right),
            ("CHF margin", "", Side::Right),
            ("verdict", "", Side::Left),
        ]);
        let mut table = Table::new(columns);
        for (k, outcome) in outcomes.iter().enumerate().take(MOST_ROWS) {
            let inputs: Vec<String> = self
                .values(k)
                .iter()
                .zip(&self.inputs)
                .map(|(value, (input, _))| format!("{input} = {}", significant(*value, 6)))
                .collect();
            let mut row = vec![(k + 1).to_string(), inputs.join(", ")];
            let Ok(point) = outcome else {
                row.extend(std::iter::repeat_n(String::new(), 4));
                row.push("no steady state".to_owned());
                table.row(row, Some(text::BAD));
                continue;
            };
            let hottest = point.hottest();
            let margin = point.least_margin_K();
            row.extend([
                hottest.map_or(String::new(), |h| junctions[h].name.clone()),
                hottest
                    .map_or(String::new(), |h| format!("{:.2}", celsius(point.junctions[h].max_K))),
                margin.map_or(String::new(), |m| format!("{:.2}", m.0)),
                point.least_chf_margin.map_or(String::new(), |chf| significant(chf, 3)),
                verdict(point.is_broken(), margin.is_some()).to_owned(),
            ]);
            let style = if point.is_broken() { text::BAD } else { text::GOOD };
            table.row(row, Some(style));
        }
        let mut told = format!("{}\n{}", text::styled(text::HEADING, "Sweep:"), table.text());
        if outcomes.len() > MOST_ROWS {
            told += &format!("  {} more points in points.csv.\n", outcomes.len() - MOST_ROWS);
        }
        let rows: Vec<serde_json::Value> = outcomes
            .iter()
            .enumerate()
            .map(|(k, outcome)| {
                let point = outcome.as_ref().ok();
                let hottest = point.and_then(|p| Some(celsius(p.junctions[p.hottest()?].max_K)));
                json!({
                    "inputs": self.values(k),
                    "hottest_C": json_figure(hottest),
                    "shown_C": json_figure(at(outcome)),
                    "least_margin_K":
                        json_figure(point.and_then(|p| p.least_margin_K()).map(|m| m.0)),
                })
            })
            .collect();
        let inputs: Vec<&String> = self.inputs.iter().map(|(input, _)| input).collect();
        Ok(Told {
            files: vec![(picture.file, picture.png)],
            section: json!({ "inputs": inputs, "shown": name, "points": rows }),
            text: told,
            broken: false,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_lists_or_ranges_with_both_ends() {
        assert_eq!(values_of("20, 25,30"), Some(vec![20.0, 25.0, 30.0]));
        assert_eq!(values_of("-1..1/5"), Some(vec![-1.0, -0.5, 0.0, 0.5, 1.0]));
        assert_eq!(values_of("0..0.3/4"), Some(vec![0.0, 0.1, 0.2, 0.3]));
        for wrong in ["", "a", "1..2", "1..2/1", "1,,2", "nan", "1..inf/3"] {
            assert_eq!(values_of(wrong), None, "{wrong}");
        }
        assert!(parse_input("coolant.inlet_C").is_err() && parse_input("=3").is_err());
    }
}
