//! What random tolerances do.

use serde_json::{Value, json};
use sprayside_solver::study::point::PointOutcome;
use sprayside_solver::study::points::Points;
use sprayside_solver::study::scatter::junction::{JunctionScatter, PERCENTILES};
use sprayside_solver::study::scatter::statistics::Bounded;
use sprayside_solver::study::scatter::{MOST_SAMPLES, Scatter};

use super::table::cell;
use super::{Study, Told, json_figure};
use crate::case_file::CaseFile;
use crate::failure::Failure;
use crate::figures::{celsius, significant};
use crate::maps::{self, Words};
use crate::summary::Solved;
use crate::text::{self, Side, Table};

/// Rows of the printed table.
const MOST_ROWS: usize = 30;
/// Bars of the tornado picture.
const MOST_BARS: usize = 14;
/// Shares below this are too thin to be seen, %.
const LEAST_BAR_PCT: f64 = 0.5;

/// Samples of a case.
pub struct ScatterStudy<'a> {
    case: &'a CaseFile,
    scatter: Scatter<'a>,
}

/// A temperature with its bounds, °C.
fn in_celsius(kelvin: Bounded) -> Bounded {
    Bounded {
        value: celsius(kelvin.value),
        low: kelvin.low.map(celsius),
        high: kelvin.high.map(celsius),
    }
}

impl<'a> ScatterStudy<'a> {
    /// Of a case with tolerances.
    pub fn new(case: &'a CaseFile, samples: usize, seed: u32) -> Result<Self, Failure> {
        let tolerances = &case.case.tolerances;
        if tolerances.is_empty() {
            return Err(Failure::Request {
                headline: "the case states no tolerances".to_owned(),
                help: "add [[tolerance]] with quantity, distribution and spread or spread_pct"
                    .to_owned(),
            });
        }
        if samples > MOST_SAMPLES {
            return Err(Failure::Request {
                headline: format!("at most {MOST_SAMPLES} samples"),
                help: "take fewer; the bounds hardly narrow beyond".to_owned(),
            });
        }
        Ok(ScatterStudy {
            case,
            scatter: Scatter::new(&case.case.module, tolerances, samples, seed),
        })
    }

    fn words(
        &self,
        solved: &Solved,
        all: &[JunctionScatter],
        failed: usize,
        chief: usize,
    ) -> String {
        let junctions = &solved.result.junctions;
        let mut table = Table::new(vec![
            ("junction", "", Side::Left),
            ("mean", "°C", Side::Right),
            ("deviation", "K", Side::Right),
            ("median", "°C", Side::Right),
            ("95 %", "°C", Side::Right),
            ("bounds", "°C", Side::Right),
            ("limit", "°C", Side::Right),
            ("breaks it", "%", Side::Right),
            ("bounds ", "%", Side::Right),
            ("most of it from", "", Side::Left),
        ]);
        let mut order: Vec<usize> = (0..junctions.len()).collect();
        let chance = |k: usize| all[k].broken.map_or(-1.0, |b| b.value);
        order.sort_by(|&a, &b| {
            let hot = |k: usize| junctions[k].max_K;
            chance(b).total_cmp(&chance(a)).then(hot(b).total_cmp(&hot(a)))
        });
        let number = |value: f64| {
            if value.is_finite() { format!("{value:.2}") } else { "none".to_owned() }
        };
        for &k in order.iter().take(MOST_ROWS) {
            let (j, of) = (&junctions[k], &all[k]);
            let p95 = of.percentiles[3].map(in_celsius);
            let bounds = |b: Option<Bounded>, scale: f64, text: &dyn Fn(f64) -> String| {
                b.map_or(String::new(), |b| {
                    let end = |v: Option<f64>| v.map_or("?".to_owned(), |v| text(v * scale));
                    format!("{} to {}", end(b.low), end(b.high))
                })
            };
            let from = of.shares.as_ref().and_then(|(shares, _)| {
                let most = (0..shares.len()).max_by(|&a, &b| shares[a].total_cmp(&shares[b]))?;
                let label = &self.case.case.tolerances[most].label;
                Some(format!("{label} ({:.0} %)", 100.0 * shares[most]))
            });
            table.row(
                vec![
                    j.name.clone(),
                    of.moments.map_or(String::new(), |m| number(celsius(m[0].value))),
                    of.moments.map_or(String::new(), |m| number(m[1].value.max(0.0).sqrt())),
                    of.percentiles[2].map_or(String::new(), |b| number(celsius(b.value))),
                    p95.map_or(String::new(), |b| number(b.value)),
                    bounds(p95, 1.0, &number),
                    j.limit_K.map_or(String::new(), |limit| significant(celsius(limit), 5)),
                    of.broken.map_or(String::new(), |b| significant(100.0 * b.value, 3)),
                    bounds(of.broken, 100.0, &|v| significant(v, 2)),
                    from.unwrap_or_default(),
                ],
                None,
            );
        }
        let count = Points::count(&self.scatter);
        let heading = format!("{count} samples of {} tolerances:", self.case.case.tolerances.len());
        let mut told = format!("{}\n{}", text::styled(text::HEADING, &heading), table.text());
        let mut sentence = "Bounds hold with 95 % confidence for the sampling; the numerical \
             uncertainty of a temperature comes on top."
            .to_owned();
        if let Some((_, left)) = all.get(chief).and_then(|of| of.shares.as_ref()) {
            sentence += &format!(
                " Shares of the variance and what is not linear (curvature, interaction) add up \
                 to 100 %; of {} {:.1} % is not linear.",
                junctions[chief].name,
                100.0 * left
            );
        }
        let deviating = self.scatter.dimensions().len();
        if count - failed < 2 * deviating + 2 {
            sentence += &format!(
                " Shares of the variance of {deviating} deviating numbers take at least {} \
                 samples.",
                2 * deviating + 2
            );
        }
        if failed > 0 {
            sentence += &format!(
                " {} without a steady state: counted as broken, and as hotter than any other in \
                 the percentiles, but not in mean and deviation.",
                text::counted(failed, "sample is", "samples are")
            );
        }
        told += &format!("  {}\n", text::wrapped(&sentence, text::WIDTH - 2, "  "));
        told
    }

    /// Deviates of every sample.
    fn samples_csv(&self, deviates: &[Vec<f64>]) -> Result<Vec<u8>, csv::Error> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        let tolerances = &self.case.case.tolerances;
        let mut header = vec!["point".to_owned()];
        for (t, n) in self.scatter.dimensions() {
            let label = &tolerances[t].label;
            header.push(match tolerances[t].dimensions() {
                1 => format!("{label} (spreads)"),
                _ => format!("{label} #{} (spreads)", n + 1),
            });
        }
        writer.write_record(&header)?;
        for (k, row) in deviates.iter().enumerate() {
            let cells = row.iter().map(|z| cell(Some(*z)));
            writer.write_record(std::iter::once((k + 1).to_string()).chain(cells))?;
        }
        writer.into_inner().map_err(|error| error.into_error().into())
    }

    fn table_csv(&self, solved: &Solved, all: &[JunctionScatter]) -> Result<Vec<u8>, csv::Error> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        let mut header: Vec<String> = ["die", "mean_C", "mean_low_C", "mean_high_C", "deviation_K"]
            .map(str::to_owned)
            .to_vec();
        for p in PERCENTILES {
            let p = significant(100.0 * p, 2);
            header.extend(["", "_low", "_high"].map(|end| format!("p{p}{end}_C")));
        }
        header.extend(["broken_pct", "broken_low_pct", "broken_high_pct"].map(str::to_owned));
        header.extend(self.case.case.tolerances.iter().map(|t| format!("share_pct {}", t.label)));
        header.push("share_pct not linear".to_owned());
        writer.write_record(&header)?;
        for (junction, of) in solved.result.junctions.iter().zip(all) {
            let mut row = vec![junction.name.clone()];
            let [mean, variance] = of.moments.map_or([None, None], |m| m.map(Some));
            let three = |b: Option<Bounded>, scale: f64| {
                [b.map(|b| b.value), b.and_then(|b| b.low), b.and_then(|b| b.high)]
                    .map(|v| cell(v.map(|v| v * scale)))
            };
            row.extend(three(mean.map(in_celsius), 1.0));
            row.push(cell(variance.map(|v| v.value.max(0.0).sqrt())));
            for p in &of.percentiles {
                row.extend(three(p.map(in_celsius), 1.0));
            }
            row.extend(three(of.broken, 100.0));
            match &of.shares {
                Some((shares, left)) => {
                    row.extend(shares.iter().chain([left]).map(|s| cell(Some(100.0 * s))));
                }
                None => {
                    row.extend(std::iter::repeat_n(
                        String::new(),
                        self.case.case.tolerances.len() + 1,
                    ));
                }
            }
            writer.write_record(&row)?;
        }
        writer.into_inner().map_err(|error| error.into_error().into())
    }
}

impl Study for ScatterStudy<'_> {
    fn points(&self) -> &dyn Points {
        &self.scatter
    }

    fn columns(&self) -> Vec<String> {
        Vec::new()
    }

    fn cells(&self, _: usize) -> Vec<String> {
        Vec::new()
    }

    fn tell(&self, solved: &Solved, outcomes: &[PointOutcome]) -> Result<Told, Failure> {
        let junctions = &solved.result.junctions;
        let deviates: Vec<Vec<f64>> =
            (0..outcomes.len()).map(|k| self.scatter.deviates(k)).collect();
        let all: Vec<JunctionScatter> =
            (0..junctions.len()).map(|j| self.scatter.of_junction(j, outcomes)).collect();
        // The junction most likely to break its limit, else the hottest.
        let chance = |k: usize| all[k].broken.map_or(0.0, |b| b.value);
        let chief = (0..junctions.len())
            .max_by(|&a, &b| {
                let hot = |k: usize| junctions[k].max_K;
                chance(a).total_cmp(&chance(b)).then(hot(a).total_cmp(&hot(b)))
            })
            .unwrap_or(0);
        let failed = outcomes.iter().filter(|outcome| outcome.is_err()).count();
        let name = junctions.get(chief).map_or("", |j| j.name.as_str());
        let temperatures: Vec<f64> = outcomes
            .iter()
            .flatten()
            .filter_map(|p| Some(celsius(p.junctions.get(chief)?.max_K)))
            .collect();
        let module = solved.case.case.module.title.clone();
        let limit = junctions.get(chief).and_then(|j| j.limit_K).map(celsius);
        let told = limit.map_or(String::new(), |limit| {
            format!("; red where it is near: the limit, {} °C", significant(limit, 4))
        });
        let words = Words {
            file: "histogram.png".to_owned(),
            title: format!("{name} over {} samples", outcomes.len()),
            module: module.clone(),
            subtitle: format!("Hottest point; dashed: median and 95 % percentile{told}"),
            across: "junction maximum, °C".to_owned(),
            up: "samples".to_owned(),
        };
        let marks: Vec<f64> = all.get(chief).map_or(Vec::new(), |of| {
            [2, 3].iter().filter_map(|&k| of.percentiles[k]).map(|b| celsius(b.value)).collect()
        });
        let histogram = maps::histogram(&words, &temperatures, &marks, limit)
            .map_err(crate::commands::not_written)?;
        let mut files = vec![
            (
                "scatter.csv".to_owned(),
                self.table_csv(solved, &all).map_err(crate::commands::not_written)?,
            ),
            (
                "samples.csv".to_owned(),
                self.samples_csv(&deviates).map_err(crate::commands::not_written)?,
            ),
            (histogram.file, histogram.png),
        ];
        let tolerances = &self.case.case.tolerances;
        if let Some((shares, left)) = all.get(chief).and_then(|of| of.shares.as_ref()) {
            let mut bars: Vec<(String, f64)> = tolerances
                .iter()
                .zip(shares)
                .map(|(t, share)| (t.label.clone(), 100.0 * share))
                .collect();
            bars.sort_by(|a, b| b.1.total_cmp(&a.1));
            let shown = bars.iter().filter(|bar| bar.1 >= LEAST_BAR_PCT).count().min(MOST_BARS);
            // One that is small is shown for what it is; several are one.
            if bars.len() > shown + 1 {
                let rest = bars.split_off(shown);
                let sum = rest.iter().map(|bar| bar.1).sum();
                bars.push((format!("{} others", rest.len()), sum));
            }
            bars.push(("not linear".to_owned(), 100.0 * left));
            let words = Words {
                file: "tornado.png".to_owned(),
                title: format!("What makes {name} scatter"),
                module,
                subtitle: "Share of the variance of its distance to the limit".to_owned(),
                across: "share of the variance, %".to_owned(),
                up: String::new(),
            };
            let picture = maps::tornado(&words, &bars).map_err(crate::commands::not_written)?;
            files.push((picture.file, picture.png));
        }
        let bounded = |b: Option<Bounded>| {
            b.map_or(Value::Null, |b| {
                json!({
                    "value": json_figure(Some(b.value)),
                    "low": json_figure(b.low),
                    "high": json_figure(b.high),
                })
            })
        };
        let rows: Vec<Value> = junctions
            .iter()
            .zip(&all)
            .map(|(junction, of)| {
                json!({
                    "die": junction.name,
                    "mean_C": bounded(of.moments.map(|m| in_celsius(m[0]))),
                    "variance_K2": bounded(of.moments.map(|m| m[1])),
                    "median_C": bounded(of.percentiles[2].map(in_celsius)),
                    "p95_C": bounded(of.percentiles[3].map(in_celsius)),
                    "p99_C": bounded(of.percentiles[4].map(in_celsius)),
                    "broken_probability": bounded(of.broken),
                    "variance_shares": of.shares.as_ref().map(|(shares, _)| {
                        shares.iter().map(|s| json_figure(Some(*s))).collect::<Vec<_>>()
                    }),
                    "not_linear": of.shares.as_ref().map(|(_, left)| json_figure(Some(*left))),
                })
            })
            .collect();
        let labels: Vec<&String> = tolerances.iter().map(|t| &t.label).collect();
        Ok(Told {
            files,
            section: json!({
                "samples": outcomes.len(),
                "without_solution": failed,
                "tolerances": labels,
                "junctions": rows,
            }),
            text: self.words(solved, &all, failed, chief),
            broken: false,
        })
    }
}
