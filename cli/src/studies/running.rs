//! Running a study: the nominal solve, the points that are not finished yet, the results.

use std::cell::{Cell, RefCell};
use std::path::{Path, PathBuf};
use std::str::FromStr;

use sprayside_solver::study::point::{Lent, Nominal, PointOutcome};
use sprayside_solver::study::points;

use super::journal::{self, Finished, Head, Journal};
use super::lines::Origin;
use super::{Spec, Study, Told, clog, lines, offset, scatter, sweep, table};
use crate::case_file::CaseFile;
use crate::commands::solving::{self, Setting};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::progress::Progress;
use crate::{console, text};

/// One of several parts of a study.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// From 1.
    pub number: usize,
    /// How many parts there are.
    pub of: usize,
}

impl FromStr for Part {
    type Err = String;

    fn from_str(text: &str) -> Result<Part, String> {
        let part = text.split_once('/').and_then(|(number, of)| {
            let part = Part { number: number.parse().ok()?, of: of.parse().ok()? };
            (1 <= part.number && part.number <= part.of && part.of <= 100_000).then_some(part)
        });
        part.ok_or_else(|| "write K/N, K from 1 to N: 2/4 is the second of four".to_owned())
    }
}

impl Part {
    /// Whether point `k` belongs to it.
    fn has(self, k: usize) -> bool {
        k % self.of == self.number - 1
    }
}

/// Runs a study to its results, or to the file of one part.
pub fn run(setting: &Setting, spec: &Spec, part: Option<Part>) -> Result<Exit, Failure> {
    match part {
        Some(part) => run_part(setting, spec, part),
        None => to_results(setting, spec, &[]),
    }
}

/// Joins parts to the results of their study.
pub fn gather(setting: &Setting, files: &[PathBuf]) -> Result<Exit, Failure> {
    let Some(first) = files.first() else {
        return Err(Failure::Request {
            headline: "there is nothing to gather".to_owned(),
            help: "name the files that `--part` wrote".to_owned(),
        });
    };
    let (head, _) = journal::read_file(first)?;
    to_results(setting, &head.study, files)
}

/// How much of a killed run a later one went on with.
#[derive(Debug, Clone, Copy)]
struct Resumed {
    finished_before: usize,
    points: usize,
}

impl Resumed {
    /// `None` where nothing was finished before.
    fn of(finished_before: usize, points: usize) -> Option<Resumed> {
        (finished_before > 0).then_some(Resumed { finished_before, points })
    }

    fn words(self) -> String {
        let Resumed { finished_before, points } = self;
        let now = points - finished_before;
        format!("Went on: {finished_before} of {points} points were finished before, {now} now.\n")
    }
}

/// A file beside the folder of results.
pub fn beside(target: &Path, ending: &str) -> PathBuf {
    let mut name = target.file_name().unwrap_or_default().to_owned();
    name.push(ending);
    target.with_file_name(name)
}

fn to_results(setting: &Setting, spec: &Spec, gathered: &[PathBuf]) -> Result<Exit, Failure> {
    let told: RefCell<Option<Told>> = RefCell::new(None);
    let kept: RefCell<Option<Journal>> = RefCell::new(None);
    let resumed: Cell<Option<Resumed>> = Cell::new(None);
    let target = setting.target();
    let exit = solving::run(
        setting,
        |solved, summary, progress| {
            let study = study_of(spec, solved.case)?;
            let module = &solved.case.case.module;
            let nominal = Nominal::new(module, solved.result, solved.solution)
                .map_err(|error| solving::why_not_solved(&error))?;
            let head = head(spec, solved.case, &nominal, study.points().count())?;
            let outcomes = if gathered.is_empty() {
                let path = beside(&target, &format!(".{}.journal", spec.word()));
                let (mut journal, finished) = Journal::open(&path, &head)?;
                resumed.set(Resumed::of(finished.len(), head.points));
                let finished = finish(&nominal, &*study, None, finished, &mut journal, progress)?;
                *kept.borrow_mut() = Some(journal);
                finished
            } else {
                gathered_points(&head, gathered)?
            };
            let outcomes: Vec<PointOutcome> = outcomes.into_values().collect();
            progress.doing("drawing and writing");
            let mut what = study.tell(solved, &outcomes)?;
            let points = table::points_csv(&*study, &solved.result.junctions, &outcomes)
                .map_err(crate::commands::not_written)?;
            summary.command = spec.word();
            summary.study = Some(what.section.take());
            let mut files = vec![("points.csv".to_owned(), points)];
            files.append(&mut what.files);
            *told.borrow_mut() = Some(what);
            Ok(files)
        },
        |solved, summary, folder| {
            let told = told.borrow();
            let mut words = told.as_ref().map_or(String::new(), |told| told.text.clone());
            if let Some(resumed) = resumed.get() {
                words += &resumed.words();
            }
            text::study(solved, summary, folder, &words)
        },
    )?;
    if let Some(journal) = kept.into_inner() {
        journal.remove()?;
    }
    let broken = told.borrow().as_ref().is_some_and(|told| told.broken);
    Ok(if broken { Exit::LimitBroken } else { exit })
}

/// Solves the points that are not finished.
fn finish(
    nominal: &Nominal,
    study: &dyn Study,
    part: Option<Part>,
    mut finished: Finished,
    journal: &mut Journal,
    progress: &Progress,
) -> Result<Finished, Failure> {
    let own: Vec<usize> =
        (0..study.points().count()).filter(|&k| part.is_none_or(|part| part.has(k))).collect();
    let wanted: Vec<usize> = own.iter().copied().filter(|k| !finished.contains_key(k)).collect();
    progress.points(own.len() - wanted.len(), own.len());
    points::run(nominal, study.points(), &wanted, &mut |k, outcome| {
        journal.append(k, &outcome)?;
        finished.insert(k, outcome);
        progress.point_done();
        Ok(())
    })?;
    progress.points_end();
    Ok(finished)
}

fn run_part(setting: &Setting, spec: &Spec, part: Part) -> Result<Exit, Failure> {
    let case = setting.read_case()?;
    let study = study_of(spec, &case)?;
    let mut progress = Progress::start(setting.told.quiet).toward(&case.case.module);
    let (result, solution) = solving::solution_of(&case.case.module, &mut progress)?;
    let nominal = Nominal::new(&case.case.module, &result, &solution)
        .map_err(|error| solving::why_not_solved(&error))?;
    let head = head(spec, &case, &nominal, study.points().count())?;
    let ending = format!(".{}-{}-of-{}.part", spec.word(), part.number, part.of);
    let path = beside(&setting.target(), &ending);
    let (mut journal, finished) = Journal::open(&path, &head)?;
    let before = finished.len();
    let finished = finish(&nominal, &*study, Some(part), finished, &mut journal, &progress)?;
    progress.finish();
    let resumed = Resumed::of(before, finished.len());
    if setting.told.json {
        let told = serde_json::json!({
            "command": spec.word(),
            "part": part.number,
            "of": part.of,
            "points": finished.len(),
            "finished_before": before,
            "file": path.display().to_string(),
        });
        console::print(&format!("{told}\n"))?;
    } else if !setting.told.quiet {
        console::print(&format!(
            "Part {} of {}: {} in {}\n{}When all parts are there:\n  sprayside gather {} {}\n",
            part.number,
            part.of,
            text::counted(finished.len(), "point", "points"),
            path.display(),
            resumed.map_or(String::new(), Resumed::words),
            setting.case.display(),
            beside(&setting.target(), &format!(".{}-*-of-{}.part", spec.word(), part.of)).display(),
        ))?;
    }
    Ok(Exit::Kept)
}

/// All points out of the files of the parts.
fn gathered_points(head: &Head, files: &[PathBuf]) -> Result<Finished, Failure> {
    let mut all = Finished::new();
    for path in files {
        let (found, points) = journal::read_file(path)?;
        if found != *head {
            return Err(Failure::Request {
                headline: format!("{} is a part of another study, case or version", path.display()),
                help: "gather the parts of one study with the case that they were made of"
                    .to_owned(),
            });
        }
        all.extend(points);
    }
    let missing: Vec<usize> = (0..head.points).filter(|k| !all.contains_key(k)).collect();
    if let Some(first) = missing.first() {
        return Err(Failure::Request {
            headline: format!(
                "{} of {} points are missing, the first is point {}",
                missing.len(),
                head.points,
                first + 1
            ),
            help: "run the parts that are missing, or again those that were cut short: they go on where they were"
                .to_owned(),
        });
    }
    Ok(all)
}

fn head(spec: &Spec, case: &CaseFile, nominal: &Nominal, points: usize) -> Result<Head, Failure> {
    let point = nominal
        .point(nominal.module, None, &mut Lent::default())
        .map_err(|error| solving::why_not_solved(&error))?;
    let bits: Vec<u64> = point.to_numbers().iter().map(|n| n.to_bits()).collect();
    Ok(Head {
        origin: Origin::of(case),
        study: spec.clone(),
        points,
        nominal: lines::checksum(&format!("{bits:x?}")),
    })
}

fn study_of<'a>(spec: &Spec, case: &'a CaseFile) -> Result<Box<dyn Study + 'a>, Failure> {
    Ok(match spec {
        Spec::Clog { manifold, pairs } => Box::new(clog::ClogStudy::new(case, *manifold, *pairs)?),
        Spec::Sweep { inputs, zip, show } => {
            Box::new(sweep::SweepStudy::new(case, inputs, *zip, show.as_deref())?)
        }
        Spec::Scatter { samples, seed } => {
            Box::new(scatter::ScatterStudy::new(case, *samples, *seed)?)
        }
        Spec::Offset { places } => Box::new(offset::OffsetStudy::new(case, places)?),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_share_out_every_point_once() {
        let parts: Vec<Part> = (1..=4).map(|n| format!("{n}/4").parse().expect("a part")).collect();
        for k in 0..50 {
            assert_eq!(parts.iter().filter(|part| part.has(k)).count(), 1);
        }
        for wrong in ["0/4", "5/4", "2", "a/b", "1/0", ""] {
            assert!(wrong.parse::<Part>().is_err(), "{wrong}");
        }
    }
}
