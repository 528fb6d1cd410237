//! What `solve`, `coverage` and the studies of one solution share: read the case, solve it, write the folder, tell.

use std::path::{Path, PathBuf};
use std::time::Instant;

use sprayside_solver::module::Module;
use sprayside_solver::results::{
    SensorReading, SteadyResult, Verdict, active_faces, doubts, sensor_readings,
};
use sprayside_solver::seating::seating;
use sprayside_solver::steady::{self, GridSolution, SteadyError, SteadyOptions};

use crate::arguments::{CommonArguments, PictureArguments};
use crate::case_file::{self, CaseFile};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::figures::{grouped, significant};
use crate::maps::PictureOptions;
use crate::progress::Progress;
use crate::results_folder::{ResultsFolder, SUMMARY};
use crate::summary::{CommandSummary, Solved, Summary};
use crate::survey::Survey;
use crate::tables::{HotSpotRow, JunctionRow, SensorRow, csv};
use crate::{console, diagnostics, maps, report, text};

/// Memory to allow for each unknown, bytes: 160 to 225 are measured (benches/README.md), and nearly
/// as much again is kept in hand.
const BYTES_AN_UNKNOWN: f64 = 400.0;

/// A file of results: name and bytes.
pub type ResultFile = (String, Vec<u8>);

/// What is told on standard output.
#[derive(Debug, Clone, Copy)]
pub struct Told {
    /// The summary instead of text.
    pub json: bool,
    /// Nothing.
    pub quiet: bool,
}

/// Where a run takes its case and puts its results.
#[derive(Debug)]
pub struct Setting<'a> {
    /// The case, or `-`.
    pub case: &'a Path,
    /// The folder asked for.
    pub output: Option<&'a Path>,
    /// Threads asked for.
    pub threads: Option<u16>,
    /// What is told.
    pub told: Told,
    /// What is asked of the pictures.
    pub pictures: PictureOptions,
}

impl<'a> Setting<'a> {
    /// What the usual arguments ask for.
    pub fn of(arguments: &'a CommonArguments) -> Setting<'a> {
        Setting {
            case: &arguments.case,
            output: arguments.output.as_deref(),
            threads: arguments.threads,
            told: Told { json: arguments.json, quiet: arguments.quiet },
            pictures: PictureOptions::default(),
        }
    }

    /// The setting with pictures as they are asked for.
    pub fn with_pictures(self, arguments: &PictureArguments) -> Setting<'a> {
        Setting { pictures: arguments.options(), ..self }
    }

    /// Whether every section lies on the module.
    fn check_sections(&self, module: &Module) -> Result<(), Failure> {
        let [width, height] = module.size_m;
        let inside = |at: &[f64; 2]| {
            (0.0..=width * (1.0 + 1e-9)).contains(&at[0])
                && (0.0..=height * (1.0 + 1e-9)).contains(&at[1])
        };
        match self.pictures.sections.iter().find(|line| !line.iter().all(inside)) {
            None => Ok(()),
            Some(line) => Err(Failure::Request {
                headline: format!(
                    "--section {} leaves the module",
                    line.iter()
                        .flatten()
                        .map(|v| (v * 1e3).to_string())
                        .collect::<Vec<_>>()
                        .join(",")
                ),
                help: format!(
                    "X runs from 0 to {} mm, Y from 0 to {} mm",
                    width * 1e3,
                    height * 1e3
                ),
            }),
        }
    }

    /// Reads the case and tells its warnings.
    pub fn read_case(&self) -> Result<CaseFile, Failure> {
        super::set_threads(self.threads)?;
        let case = case_file::read(self.case)?;
        if !self.told.json && !case.case.warnings.is_empty() {
            console::complain(&diagnostics::render(&case.case.warnings));
        }
        Ok(case)
    }

    /// Tells what came out: the summary as JSON, text, or warnings only, as asked for.
    pub fn tell<S: CommandSummary>(
        &self,
        case: &CaseFile,
        summary: &S,
        in_words: impl FnOnce(&S) -> String,
    ) -> Result<(), Failure> {
        if self.told.json {
            return console::print(&summary.json().map_err(super::not_written)?);
        }
        if !self.told.quiet {
            return console::print(&in_words(summary));
        }
        // The findings of the reader are told already.
        for warning in summary.warnings().iter().skip(case.case.warnings.len()) {
            console::complain(&format!("warning: {warning}\n"));
        }
        Ok(())
    }

    /// The folder for the results.
    pub fn target(&self) -> PathBuf {
        self.output.map_or_else(|| case_file::default_output(self.case), Path::to_owned)
    }
}

/// Solves a case. `more` adds files and rows to the usual ones; `in_words` makes the text.
pub fn run(
    setting: &Setting,
    more: impl FnOnce(&Solved, &mut Summary, &Progress) -> Result<Vec<ResultFile>, Failure>,
    in_words: impl FnOnce(&Solved, &Summary, &Path) -> String,
) -> Result<Exit, Failure> {
    let started = Instant::now();
    let case = setting.read_case()?;
    let target = setting.target();
    // Before the work, so that a folder that cannot be written costs no time.
    let folder = ResultsFolder::prepare(&target)?;
    let mut progress = Progress::start(setting.told.quiet).toward(&case.case.module);
    let module = &case.case.module;
    setting.check_sections(module)?;
    let (result, solution, half) =
        steady::solve_keeping_half(module, &SteadyOptions::default(), &mut |level| {
            progress.solved(level);
        })
        .map_err(|error| match error {
            SteadyError::TooManyCells { needed, allowed } => too_many_cells(&case, needed, allowed),
            error => why_not_solved(&error),
        })?;
    sound(module, &result)?;
    let solve_seconds = seconds_since(started);
    progress.doing("drawing and writing");
    let survey = Survey::of_result(module, &result)
        .map_err(|error| why_not_solved(&SteadyError::Spray(error)))?;
    let seating = seating(&module.board, module.size_m);
    let least_K = result.junctions.iter().map(|j| j.uncertainty_K).fold(f64::INFINITY, f64::min);
    let readings = sensor_readings(module, &case.case.sensors, &solution, &half, least_K);
    drop(half);
    let sensors: Vec<SensorRow> = case
        .case
        .sensors
        .iter()
        .zip(&readings)
        .map(|(sensor, reading)| SensorRow::of(module, sensor, reading))
        .collect();
    let solved = Solved {
        case: &case,
        result: &result,
        solution: &solution,
        survey: survey.as_ref(),
        seating: seating.as_ref(),
        readings: &readings,
        sensors: &sensors,
    };
    let mut warnings: Vec<String> = case.case.warnings.iter().map(text::warning_line).collect();
    warnings.extend(result.warnings.iter().cloned());
    warnings.extend(survey.iter().flat_map(Survey::budget_warnings));
    warnings.extend(seating.iter().flat_map(|seating| seating.warnings.iter().cloned()));
    warnings.extend(beyond_limits(&sensors, &readings));
    let mut summary = Summary::of(&solved, warnings);
    summary.solve_seconds = solve_seconds;
    let mut files = usual_files(&solved, &setting.pictures)?;
    let more = more(&solved, &mut summary, &progress)?;
    let report = report::of_solved(&solved, &summary, &files, &more).map_err(super::not_written)?;
    files.extend(more);
    files.push((report::FILE.to_owned(), report));
    publish_summary(folder, files, &mut summary, started)?;
    progress.finish();
    setting.tell(&case, &summary, |summary| in_words(&solved, summary, &target))?;
    Ok(exit_of(solved.verdict()))
}

/// What a verdict ends with.
pub fn exit_of(verdict: Verdict) -> Exit {
    match verdict {
        Verdict::Fail => Exit::LimitBroken,
        Verdict::Pass | Verdict::None => Exit::Kept,
    }
}

/// The answer of `solve` for `module`, sound, with its solution on the last mesh.
pub fn solution_of(
    module: &Module,
    progress: &mut Progress,
) -> Result<(SteadyResult, GridSolution), Failure> {
    let options = SteadyOptions::default();
    let (result, solution) =
        steady::solve_keeping(module, &options, &mut |level| progress.solved(level))
            .map_err(|error| why_not_solved(&error))?;
    sound(module, &result)?;
    Ok((result, solution))
}

/// Refuses a solution that does not stand its own checks.
pub fn sound(module: &Module, result: &SteadyResult) -> Result<(), Failure> {
    let doubts = doubts(module, result);
    if doubts.is_empty() {
        return Ok(());
    }
    Err(Failure::NoSolution {
        headline: format!("the solution does not stand its own checks: {}", doubts.join("; ")),
        help: "no verdict is given on it; please report this with the case".to_owned(),
    })
}

/// Seconds since then; milliseconds are exact enough.
fn seconds_since(started: Instant) -> f64 {
    (started.elapsed().as_secs_f64() * 1e3).round() / 1e3
}

/// Writes the files, then the summary that lists them and says how long all has taken since
/// `started`, and puts the folder in place.
pub fn publish_summary(
    folder: ResultsFolder,
    files: Vec<ResultFile>,
    summary: &mut impl CommandSummary,
    started: Instant,
) -> Result<(), Failure> {
    let seconds = seconds_since(started);
    publish(folder, files, |names| {
        summary.wrote(names, seconds);
        summary.json().map_err(super::not_written)
    })
}

/// Writes the files, then the summary that lists them, and puts the folder in place.
pub fn publish(
    folder: ResultsFolder,
    files: Vec<ResultFile>,
    summary: impl FnOnce(Vec<String>) -> Result<String, Failure>,
) -> Result<(), Failure> {
    for (name, bytes) in &files {
        folder.write(name, bytes)?;
    }
    let mut names: Vec<String> = files.into_iter().map(|(name, _)| name).collect();
    names.push(SUMMARY.to_owned());
    folder.write(SUMMARY, summary(names)?.as_bytes())?;
    folder.publish()
}

/// Sensors whose limit of error is not published for the temperature that they should read.
fn beyond_limits(sensors: &[SensorRow], readings: &[SensorReading]) -> Vec<String> {
    sensors
        .iter()
        .zip(readings)
        .filter(|(_, reading)| !reading.limit_applies)
        .map(|(row, reading)| {
            format!(
                "sensor {}: the limit of error of type {} is not published for {:.1} °C; state \
                 limit_of_error_K",
                row.sensor,
                row.type_name,
                reading.temperature_K - 273.15
            )
        })
        .collect()
}

/// Tables and maps of a solved case.
fn usual_files(solved: &Solved, pictures: &PictureOptions) -> Result<Vec<ResultFile>, Failure> {
    let result = solved.result;
    let junctions: Vec<JunctionRow> = result.junctions.iter().map(JunctionRow::of).collect();
    let hot_spots: Vec<HotSpotRow> = result.hot_spots.iter().map(HotSpotRow::of).collect();
    let junctions = csv(&JunctionRow::HEADER, &junctions).map_err(super::not_written)?;
    let hot_spots = csv(&HotSpotRow::HEADER, &hot_spots).map_err(super::not_written)?;
    let mut files =
        vec![("junctions.csv".to_owned(), junctions), ("hot_spots.csv".to_owned(), hot_spots)];
    if !solved.sensors.is_empty() {
        let sensors = csv(&SensorRow::HEADER, solved.sensors).map_err(super::not_written)?;
        files.push(("sensors.csv".to_owned(), sensors));
    }
    let module = &solved.case.case.module;
    let drawn = maps::of_solve(module, result, solved.survey, pictures);
    files.extend(drawn.map_err(super::not_written)?);
    if !pictures.sections.is_empty() {
        let junctions = active_faces(module, solved.solution);
        let sections = maps::of_sections(module, result, &junctions, pictures);
        files.extend(sections.map_err(super::not_written)?);
    }
    Ok(files)
}

/// What to tell of a mesh beyond `max_cells`: where that is stated, what it would take, what fits.
fn too_many_cells(case: &CaseFile, needed: usize, allowed: usize) -> Failure {
    let gigabytes = |unknowns: usize| significant(unknowns as f64 * BYTES_AN_UNKNOWN * 1e-9, 2);
    let stated = match &case.max_cells_at {
        Some(place) => format!("max_cells ({place}) allows {}", grouped(allowed)),
        None => format!("max_cells allows {} unless it is stated", grouped(allowed)),
    };
    let module = &case.case.module;
    let fits = match module.mesh.cell_m {
        // Cells in the plane go with one over the square of their size, and whole cells
        // between edges take some more.
        Some(cell_m) => {
            let fitting_mm = 1.15e3 * cell_m * (needed as f64 / allowed as f64).sqrt();
            format!("cell_mm = {} fits", significant(fitting_mm, 2))
        }
        None => "a larger accuracy_K fits".to_owned(),
    };
    Failure::Request {
        headline: format!("the mesh needs {} unknowns; {stated}", grouped(needed)),
        help: format!(
            "about {fits}; or raise max_cells in [mesh]: {} unknowns take some {} GB of memory",
            grouped(needed),
            gigabytes(needed)
        ),
    }
}

/// What to tell when there is no solution.
pub fn why_not_solved(error: &SteadyError) -> Failure {
    let headline = error.to_string();
    let no_solution =
        |help: &str| Failure::NoSolution { headline: headline.clone(), help: help.to_owned() };
    match error {
        SteadyError::TooManyCells { .. } => Failure::Request {
            headline,
            help: "raise cell_mm or accuracy_K in [mesh], or raise max_cells if memory allows"
                .to_owned(),
        },
        SteadyError::Spray(_) => Failure::Request {
            headline,
            help: "mend the nozzles or the coolant in the case".to_owned(),
        },
        SteadyError::NoHeatSink => {
            no_solution("give the spray, the board or the edges a coefficient above zero")
        }
        SteadyError::BurnOut { .. } => no_solution(
            "more liquid there (`sprayside coverage --no-solve` shows what lands where), less \
             power, or a colder or denser spray",
        ),
        _ => no_solution(
            "look for values that are far apart, such as a very thin layer of a very poor \
             conductor; `sprayside check` lists what was understood",
        ),
    }
}
