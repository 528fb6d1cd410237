//! `cycle`: temperatures over time.

use std::path::Path;
use std::time::Instant;

use sprayside_solver::module::{Cycle, Module, Sensor};
use sprayside_solver::results::Verdict;
use sprayside_solver::steady::{self, GridSolution, SteadyError, SteadyOptions};
use sprayside_solver::transient::{
    self, Request, StepResponse, TransientError, TransientOptions, TransientResult, module_of,
};

use crate::arguments::CycleArguments;
use crate::case_file::CaseFile;
use crate::exchange::state;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::progress::Progress;
use crate::results_folder::ResultsFolder;
use crate::summary::CycleSummary;
use crate::tables::{CycleRow, csv, history_csv, step_response_csv};
use crate::{maps, report, text};

use super::solving::{self, Setting};

/// Step responses are made on the mesh of the run up to so many unknowns, on the coarser one
/// beyond.
const MOST_UNKNOWNS_OF_RESPONSES: usize = 60_000;

/// Everything that `cycle` finds.
#[derive(Debug)]
pub struct Cycled<'a> {
    /// The part.
    pub module: &'a Module,
    /// What changes.
    pub cycle: &'a Cycle,
    /// Unknowns of the steady mesh.
    pub steady_unknowns: usize,
    /// What measures temperature.
    pub sensors: &'a [Sensor],
    /// The run.
    pub result: &'a TransientResult,
    /// One row a source.
    pub rows: &'a [CycleRow],
    /// Step responses.
    pub responses: &'a [StepResponse],
    /// Unknowns of the mesh of the step responses.
    pub response_unknowns: usize,
    /// The results that the run goes on from.
    pub from: Option<&'a Path>,
}

impl Cycled<'_> {
    /// Name of a source.
    pub fn name(&self, source: usize) -> &str {
        let die = self.module.die.len();
        match self.module.die.get(source) {
            Some(die) => &die.name,
            None => self.module.heaters.get(source - die).map_or("", |heater| &heater.name),
        }
    }

    /// The verdict on the whole run.
    pub fn verdict(&self) -> Verdict {
        let burnt = self.result.run.records.iter().filter_map(|r| r.chf_margin).any(|m| m < 1.0);
        if burnt
            || self.result.run.ran_away_s.is_some()
            || self.rows.iter().any(|row| row.verdict == Verdict::Fail.word())
        {
            Verdict::Fail
        } else if self.rows.iter().any(|row| row.verdict == Verdict::Pass.word()) {
            Verdict::Pass
        } else {
            Verdict::None
        }
    }
}

/// Finds the mesh by a steady solve, runs the profile, writes and tells.
pub fn run(arguments: &CycleArguments) -> Result<Exit, Failure> {
    let started = Instant::now();
    let setting = Setting::of(&arguments.common);
    let case = setting.read_case()?;
    // Thousands of short solves: on a thread of the pool none of them has to be handed over to it.
    rayon::scope(|_| in_pool(arguments, &setting, &case, started))
}

fn in_pool(
    arguments: &CycleArguments,
    setting: &Setting,
    case: &CaseFile,
    started: Instant,
) -> Result<Exit, Failure> {
    let Some(cycle) = &case.case.cycle else {
        return Err(Failure::Request {
            headline: format!("{} does not say what changes over time", setting.case.display()),
            help:
                "add [cycle] with period_s and [[cycle.power]]; `sprayside cycle --help` shows one"
                    .to_owned(),
        });
    };
    let module = &case.case.module;
    let from = arguments.from.as_deref().map(state::read).transpose()?;
    let target = setting.target();
    let folder = ResultsFolder::prepare(&target)?;
    let mut progress = Progress::start(setting.told.quiet).toward(&case.case.module);
    let mut warnings: Vec<String> = case.case.warnings.iter().map(text::warning_line).collect();
    let (solution, steady_max_K) = mesh_of(module, cycle, &mut progress, &mut warnings)?;
    let result = transient::run(
        &Request {
            module,
            cycle,
            steady_mesh: &solution.mesh,
            steady_max_K: steady_max_K.as_deref(),
            sensors: &case.case.sensors,
            from: from.as_ref(),
        },
        TransientOptions::default(),
        &mut |stage, share| progress.stage(stage, share),
    )
    .map_err(|error| why_no_run(&error))?;
    warnings.extend(doubts(cycle, &result));
    let (responses, response_unknowns) = if arguments.no_step_response {
        (Vec::new(), 0)
    } else {
        let mesh = if result.mesh.unknowns() <= MOST_UNKNOWNS_OF_RESPONSES {
            &result.mesh
        } else {
            &result.coarse_mesh
        };
        let responses = transient::step_responses(
            module,
            cycle,
            mesh,
            &cycle.step_response,
            &mut |done, of| progress.part("step responses", done, of),
        );
        match responses {
            Ok(responses) => (responses, mesh.unknowns()),
            Err(error) => {
                warnings.push(format!("no step responses: {error}"));
                (Vec::new(), 0)
            }
        }
    };
    progress.doing("drawing and writing");
    let rows = CycleRow::all(module, cycle, &result);
    let cycled = Cycled {
        module,
        cycle,
        steady_unknowns: solution.mesh.unknowns(),
        sensors: &case.case.sensors,
        result: &result,
        rows: &rows,
        responses: &responses,
        response_unknowns,
        from: arguments.from.as_deref(),
    };
    let mut files = vec![
        ("history.csv".to_owned(), history_csv(&cycled).map_err(super::not_written)?),
        (
            "cycle_summary.csv".to_owned(),
            csv(&CycleRow::HEADER, &rows).map_err(super::not_written)?,
        ),
    ];
    if !responses.is_empty() {
        let table = step_response_csv(&cycled).map_err(super::not_written)?;
        files.push(("step_response.csv".to_owned(), table));
    }
    let pictures = maps::of_cycle(&cycled).map_err(super::not_written)?;
    files.extend(pictures.into_iter().map(|picture| (picture.file, picture.png)));
    files.extend(states(&cycled, arguments.save_states)?);
    let mut summary = CycleSummary::of(case, &cycled, warnings);
    let report = report::of_cycle(case, &cycled, &summary, &files).map_err(super::not_written)?;
    files.push((report::FILE.to_owned(), report));
    solving::publish_summary(folder, files, &mut summary, started)?;
    progress.finish();
    setting.tell(case, &summary, |summary| text::cycle(case, &cycled, summary, &target))?;
    Ok(solving::exit_of(cycled.verdict()))
}

/// The states that another run may start from: the end, and those of the pictures if asked for.
fn states(cycled: &Cycled, of_pictures: bool) -> Result<Vec<solving::ResultFile>, Failure> {
    let run = &cycled.result.run;
    let pictured = run.snapshots.iter().enumerate().filter(|_| of_pictures);
    let pictured = pictured.map(|(k, s)| (format!("snapshot-{}.npz", k + 1), &s.rise_K));
    std::iter::once((state::STATE.to_owned(), &run.end))
        .chain(pictured)
        .map(|(name, rise_K)| {
            let saved = cycled.result.saved(cycled.module, rise_K);
            let bytes = state::file(&saved).map_err(|error| Failure::File {
                headline: format!("cannot make {name}: {error}"),
                help: None,
            })?;
            Ok((name, bytes))
        })
        .collect()
}

/// The steady solution whose mesh is used, and the hottest point of each source in it: that of the
/// case; where it has none, that of the mean powers, and no temperatures.
fn mesh_of(
    module: &Module,
    cycle: &Cycle,
    progress: &mut Progress,
    warnings: &mut Vec<String>,
) -> Result<(GridSolution, Option<Vec<f64>>), Failure> {
    let options = SteadyOptions::default();
    match steady::solve_keeping(module, &options, &mut |level| progress.solved(level)) {
        Ok((result, solution)) => {
            solving::sound(module, &result)?;
            let hottest = result.junctions.iter().map(|junction| junction.max_K).collect();
            Ok((solution, Some(hottest)))
        }
        Err(SteadyError::BurnOut { .. } | SteadyError::NotConverged { .. }) => {
            warnings.push(
                "the powers of the case have no steady state; the mesh is that of the mean powers of the cycle"
                    .to_owned(),
            );
            let mean = module_of(module, cycle, &|signal| signal.mean());
            let (_, solution) = solving::solution_of(&mean, progress)?;
            Ok((solution, None))
        }
        Err(error) => Err(solving::why_not_solved(&error)),
    }
}

/// What strains the result.
fn doubts(cycle: &Cycle, result: &TransientResult) -> Vec<String> {
    let mut doubts = Vec::new();
    let reached_K = result.time_error_K.iter().copied().fold(0.0, f64::max);
    if reached_K > cycle.time_accuracy_K {
        doubts.push(format!(
            "accuracy in time of {} K not reached: the uncertainty printed is what was reached ({reached_K:.3} K)",
            cycle.time_accuracy_K
        ));
    }
    let imbalance = result.run.audit.imbalance_relative();
    if imbalance.is_nan() || imbalance > 1e-6 {
        doubts.push(format!("heat stored and heat in less heat out differ by {imbalance:.1e}"));
    }
    if let Some(at_s) = result.run.ran_away_s {
        doubts.push(format!(
            "the surface runs away: the run ends at {at_s:.4e} s, more than {:.0} K above the inlet; the spray cannot take this heat",
            transient::march::RUNAWAY_RISE_K
        ));
    }
    let burnt = result.run.records.iter().find(|r| r.chf_margin.is_some_and(|m| m < 1.0));
    if let Some(burnt) = burnt {
        doubts.push(format!(
            "burn-out: critical over local heat flux falls below 1 at {:.4e} s; after it the temperatures are those of a surface that wets again as soon as it is cool enough, and hardware may not",
            burnt.time_s
        ));
    }
    doubts
}

fn why_no_run(error: &TransientError) -> Failure {
    let headline = error.to_string();
    let help = match error {
        TransientError::Start(error) => {
            return match solving::why_not_solved(error) {
                Failure::Request { help, .. } => Failure::Request { headline, help },
                Failure::NoSolution { help, .. } => Failure::NoSolution { headline, help },
                other => other,
            };
        }
        TransientError::OtherState(_) => {
            return Failure::Request {
                headline,
                help:
                    "--from takes results of the same module; the mesh follows powers, cooling and \
                       accuracy of the case, so let [cycle] change them, and not the case"
                        .to_owned(),
            };
        }
        TransientError::NoCapacity { .. } => {
            return Failure::Request {
                headline,
                help: "give density_kg_m3 and specific_heat_J_kgK of that material".to_owned(),
            };
        }
        TransientError::Spray { .. } => {
            return Failure::Request {
                headline,
                help: "mend flow_factor or inlet_C of [[cycle.coolant]]".to_owned(),
            };
        }
        TransientError::RunAway { .. } => {
            "start = \"steady\" or \"uniform\" shows how it runs away; less power or more liquid stops it"
        }
        TransientError::NotPeriodic { .. } => {
            "run the profile with repeats instead: start = \"steady\""
        }
        TransientError::TooManySteps { .. } => "allow more error: raise time_accuracy_K",
        _ => "look for values that are far apart; `sprayside check` lists what was understood",
    };
    Failure::NoSolution { headline, help: help.to_owned() }
}
