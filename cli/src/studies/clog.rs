//! What blocked nozzles cost.

use serde_json::json;
use sprayside_solver::module::Spray;
use sprayside_solver::results::Junction;
use sprayside_solver::study::clog::{Clog, Manifold};
use sprayside_solver::study::point::PointOutcome;
use sprayside_solver::study::points::Points;

use super::table::{cell, verdict};
use super::{Study, Told, json_figure};
use crate::case_file::CaseFile;
use crate::failure::Failure;
use crate::figures::{celsius, significant};
use crate::maps;
use crate::summary::Solved;
use crate::text::{self, Side, Table};

/// Rows of the printed table.
const MOST_ROWS: usize = 20;

/// Nozzles of a case blocked in turn.
pub struct ClogStudy<'a> {
    clog: Clog<'a>,
    manifold: Manifold,
    names: Vec<&'a str>,
}

/// What one point does, for ranking.
struct Consequence {
    point: usize,
    /// Largest gain of any junction, K, and whose; `None` without a solution.
    gain: Option<(f64, usize)>,
    margin: Option<(f64, usize)>,
    chf: Option<f64>,
    broken: bool,
}

impl<'a> ClogStudy<'a> {
    /// Of a case with nozzles.
    pub fn new(case: &'a CaseFile, manifold: Manifold, pairs: bool) -> Result<Self, Failure> {
        let module = &case.case.module;
        let (Some(clog), Spray::Correlated(spray)) =
            (Clog::new(module, manifold, pairs), &module.spray)
        else {
            return Err(super::no_nozzles());
        };
        let names = spray.nozzles.iter().map(|nozzle| nozzle.name.as_str()).collect();
        Ok(ClogStudy { clog, manifold, names })
    }

    fn blocked(&self, k: usize) -> String {
        let names = self.clog.blocked[k].iter().map(|&n| self.names[n]);
        names.collect::<Vec<_>>().join(" + ")
    }

    /// The worst first: no solution, then limits or burn-out broken, then by the least margin, or
    /// by the largest gain where there are no limits.
    fn ranked(&self, nominal: &[Junction], outcomes: &[PointOutcome]) -> Vec<Consequence> {
        let mut all: Vec<Consequence> = outcomes
            .iter()
            .enumerate()
            .map(|(point, outcome)| match outcome {
                Err(_) => Consequence { point, gain: None, margin: None, chf: None, broken: true },
                Ok(solved) => Consequence {
                    point,
                    gain: solved
                        .junctions
                        .iter()
                        .zip(nominal)
                        .enumerate()
                        .map(|(k, (here, nominal))| (here.max_K - nominal.max_K, k))
                        .max_by(|a, b| a.0.total_cmp(&b.0)),
                    margin: solved.least_margin_K(),
                    chf: solved.least_chf_margin,
                    broken: solved.is_broken(),
                },
            })
            .collect();
        let burnt = |c: &Consequence| c.chf.is_some_and(|chf| chf < 1.0);
        all.sort_by(|a, b| {
            let key = |c: &Consequence| (c.gain.is_some(), !burnt(c));
            let size = |c: &Consequence| match c.margin {
                Some((margin, _)) => margin,
                None => -c.gain.map_or(f64::INFINITY, |g| g.0),
            };
            key(a).cmp(&key(b)).then(size(a).total_cmp(&size(b))).then(a.point.cmp(&b.point))
        });
        all
    }

    fn words(&self, solved: &Solved, outcomes: &[PointOutcome], ranked: &[Consequence]) -> String {
        let junctions = &solved.result.junctions;
        let name = |k: usize| junctions.get(k).map_or("", |j| j.name.as_str());
        let mut table = Table::new(vec![
            ("blocked", "", Side::Left),
            ("gains most", "", Side::Left),
            ("by", "K", Side::Right),
            ("hottest", "", Side::Left),
            ("at", "°C", Side::Right),
            ("least margin", "K", Side::Right),
            ("of", "", Side::Left),
            ("CHF margin", "", Side::Right),
            ("verdict", "", Side::Left),
        ]);
        for c in ranked.iter().take(MOST_ROWS) {
            let Ok(point) = &outcomes[c.point] else {
                let mut row = vec![self.blocked(c.point)];
                row.extend(std::iter::repeat_n(String::new(), 7));
                row.push("no steady state".to_owned());
                table.row(row, Some(text::BAD));
                continue;
            };
            let hottest = point.hottest();
            let word = verdict(c.broken, c.margin.is_some());
            table.row(
                vec![
                    self.blocked(c.point),
                    c.gain.map_or(String::new(), |g| name(g.1).to_owned()),
                    c.gain.map_or(String::new(), |g| format!("{:+.2}", g.0)),
                    hottest.map_or(String::new(), |h| name(h).to_owned()),
                    hottest.map_or(String::new(), |h| {
                        format!("{:.2}", celsius(point.junctions[h].max_K))
                    }),
                    c.margin.map_or(String::new(), |m| format!("{:.2}", m.0)),
                    c.margin.map_or(String::new(), |m| name(m.1).to_owned()),
                    c.chf.map_or(String::new(), |chf| significant(chf, 3)),
                    word.to_owned(),
                ],
                Some(if c.broken { text::BAD } else { text::GOOD }),
            );
        }
        let flows = match self.manifold {
            Manifold::KeepsEach => "every other nozzle keeps its own flow",
            Manifold::KeepsTotal => "the manifold keeps the total flow",
        };
        let heading = format!("Blocked nozzles, the worst first ({flows}):");
        let mut told = format!("{}\n{}", text::styled(text::HEADING, &heading), table.text());
        let broken = ranked.iter().filter(|c| c.broken).count();
        let mut sentence = format!(
            "{} of {} leave every limit and margin to burn-out kept.",
            ranked.len() - broken,
            text::counted(ranked.len(), "blockage", "blockages"),
        );
        if let Some(worst) = ranked.first() {
            sentence += &format!(" {} matters most", self.blocked(worst.point));
            let first = worst.margin.or(worst.gain).map(|m| name(m.1));
            if let Some(first) = first {
                sentence += &format!("; {first} suffers first");
            }
            sentence.push('.');
        }
        if ranked.len() > MOST_ROWS {
            sentence += &format!(" {} more in points.csv.", ranked.len() - MOST_ROWS);
        }
        told += &format!("  {}\n", text::wrapped(&sentence, text::WIDTH - 2, "  "));
        told
    }
}

impl Study for ClogStudy<'_> {
    fn points(&self) -> &dyn Points {
        &self.clog
    }

    fn columns(&self) -> Vec<String> {
        vec!["blocked".to_owned()]
    }

    fn cells(&self, k: usize) -> Vec<String> {
        vec![self.blocked(k)]
    }

    fn tell(&self, solved: &Solved, outcomes: &[PointOutcome]) -> Result<Told, Failure> {
        let junctions = &solved.result.junctions;
        let ranked = self.ranked(junctions, outcomes);
        let mut writer = csv::Writer::from_writer(Vec::new());
        let header = [
            "rank",
            "blocked",
            "verdict",
            "gains_most",
            "gain_K",
            "least_margin_K",
            "least_margin_of",
            "least_chf_margin",
        ];
        let failed = |error: csv::Error| crate::commands::not_written(error);
        writer.write_record(header).map_err(failed)?;
        let name = |k: usize| junctions.get(k).map_or("", |j| j.name.as_str());
        let mut rows = Vec::new();
        for (rank, c) in ranked.iter().enumerate() {
            let word = match c.gain {
                None => "no solution",
                Some(_) => verdict(c.broken, c.margin.is_some()),
            };
            writer
                .write_record([
                    (rank + 1).to_string(),
                    self.blocked(c.point),
                    word.to_owned(),
                    c.gain.map_or(String::new(), |g| name(g.1).to_owned()),
                    cell(c.gain.map(|g| g.0)),
                    cell(c.margin.map(|m| m.0)),
                    c.margin.map_or(String::new(), |m| name(m.1).to_owned()),
                    cell(c.chf),
                ])
                .map_err(failed)?;
            rows.push(json!({
                "blocked": self.clog.blocked[c.point].iter().map(|&n| self.names[n])
                    .collect::<Vec<_>>(),
                "verdict": word,
                "gains_most": c.gain.map(|g| name(g.1)),
                "gain_K": json_figure(c.gain.map(|g| g.0)),
                "least_margin_K": json_figure(c.margin.map(|m| m.0)),
                "least_margin_of": c.margin.map(|m| name(m.1)),
                "least_chf_margin": json_figure(c.chf),
            }));
        }
        let ranking = writer.into_inner().map_err(crate::commands::not_written)?;
        // The map shows single nozzles.
        let gains: Vec<Option<f64>> = (0..self.names.len())
            .map(|n| ranked.iter().find(|c| c.point == n).and_then(|c| c.gain).map(|g| g.0))
            .collect();
        let picture = maps::of_clog(&solved.case.case.module, solved.survey, &gains)
            .map_err(crate::commands::not_written)?;
        Ok(Told {
            files: vec![("clog.csv".to_owned(), ranking), (picture.file, picture.png)],
            section: json!({ "manifold": self.manifold, "ranking": rows }),
            text: self.words(solved, outcomes, &ranked),
            broken: ranked.iter().any(|c| c.broken),
        })
    }
}
