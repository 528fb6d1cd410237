//! `arrange`: a better nozzle pattern, and the case that has it.

use std::cell::RefCell;
use std::time::Instant;

use sprayside_solver::case::{self, Case};
use sprayside_solver::module::{ArrangeBounds, Module, Nozzle, Spray};
use sprayside_solver::results::SteadyResult;
use sprayside_solver::steady::SteadyError;
use sprayside_solver::study::arrange::{
    ArrangeError, ArrangeOptions, Arranged, arrange_kept, broken_bounds,
};

use crate::arguments::ArrangeArguments;
use crate::case_file::CaseFile;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::progress::Progress;
use crate::results_folder::ResultsFolder;
use crate::studies::arranging::Kept;
use crate::studies::running;
use crate::summary::{ArrangeSummary, Compared};
use crate::survey::Survey;
use crate::tables::{BeforeAfterRow, NozzleRow, TradeOffRow, csv};
use crate::{maps, report, text};

use super::solving::{self, ResultFile, Setting};

/// Points of the trade-off curve beside the pattern found.
const TRADE_OFF_POINTS: usize = 8;
/// The new case.
const ARRANGED: &str = "arranged.toml";
/// Every file that this writes of its own.
const OWN_FILES: [&str; 8] = [
    ARRANGED,
    "nozzles.csv",
    "before_after.csv",
    "before_after.png",
    "trade_off.csv",
    "trade_off.png",
    "summary.json",
    "report.html",
];

/// Solves the present pattern, looks for a better one, writes both.
pub fn run(arguments: &ArrangeArguments) -> Result<Exit, Failure> {
    let started = Instant::now();
    let setting = Setting::of(&arguments.common);
    let case = setting.read_case()?;
    let module = &case.case.module;
    if matches!(module.spray, Spray::Prescribed(_)) {
        return Err(no_nozzles());
    }
    let target = setting.target();
    let folder = ResultsFolder::prepare(&target)?;
    let mut progress = Progress::start(setting.told.quiet).toward(&case.case.module);
    let (before, solution) = solving::solution_of(module, &mut progress)?;
    let stated = case.case.arrange.clone();
    let bounds = stated.unwrap_or_else(|| ArrangeBounds::within(module.outline()));
    let options = ArrangeOptions {
        goal: arguments.goal.into(),
        starts: usize::from(arguments.starts),
        rounds: usize::from(arguments.steps),
        trade_off_points: if arguments.no_trade_off { 0 } else { TRADE_OFF_POINTS },
        seed: arguments.seed,
    };
    let journal = running::beside(&target, ".arrange.journal");
    let kept = Kept::open(&journal, &case, &options)?;
    let finished_before = kept.finished_before();
    let hear = |what: &str, done: usize, of: usize| progress.part(what, done, of);
    let found = arrange_kept(module, &bounds, (&before, &solution), &options, &hear, &kept);
    let journal = kept.close()?;
    let found = match found {
        Ok(found) => found,
        // What has no answer is not gone on with.
        Err(error) => {
            journal.remove()?;
            return Err(why_not_arranged(error));
        }
    };
    solving::sound(&found.module, &found.result)?;
    progress.doing("drawing and writing");
    let broken = broken_bounds(&found.module, module, &bounds);
    if !broken.is_empty() {
        return Err(fault(&format!("the pattern found breaks bounds: {}", broken.join("; "))));
    }
    let mut files = arranged_case(&case, &found)?;
    let compared = Compared { case: &case, before: &before, bounds: &bounds, found: &found };
    files.extend(tables_of(&compared)?);
    files.extend(pictures_of(&compared)?);
    let mut summary = ArrangeSummary::of(&compared);
    let report = report::of_arrange(&compared, &summary, &files).map_err(super::not_written)?;
    files.push((report::FILE.to_owned(), report));
    solving::publish_summary(folder, files, &mut summary, started)?;
    journal.remove()?;
    progress.finish();
    setting.tell(&case, &summary, |summary| {
        let mut told = text::arrange(&compared, summary, &target);
        if finished_before > 0 {
            told += &format!(
                "Went on: {} of the search were finished before.\n",
                text::counted(finished_before, "piece", "pieces")
            );
        }
        told
    })?;
    Ok(solving::exit_of(compared.verdict_after()))
}

/// The case with the nozzles found, and the files that it names, to lie beside it. Read back
/// before it is believed.
fn arranged_case(case: &CaseFile, found: &Arranged) -> Result<Vec<ResultFile>, Failure> {
    let nozzles = nozzles_of(&found.module);
    let mut text = case::renozzled(&case.text, nozzles)
        .ok_or_else(|| fault("the text of the case could not be taken apart"))?;
    let mut beside: Vec<(String, String)> =
        case.files.iter().map(|file| (flat(&file.name), file.text.clone())).collect();
    for file in case.files.iter().filter(|file| flat(&file.name) != file.name) {
        let flat = flat(&file.name);
        for quote in ['"', '\''] {
            text = text.replace(&format!("{quote}{}{quote}", file.name), &format!("\"{flat}\""));
        }
        // Power maps are named in tables of die too.
        for (_, table) in &mut beside {
            *table = renamed_cells(table, &file.name, &flat)
                .ok_or_else(|| fault("a table of the case could not be taken apart"))?;
        }
    }
    for (k, (name, text)) in beside.iter().enumerate() {
        if beside[..k].iter().any(|(known, other)| known == name && other != text) {
            return Err(fault(&format!("two files of the case would both be called {name}")));
        }
    }
    // The table of the old nozzles is named no more.
    let used = RefCell::new(Vec::new());
    let load = |name: &str| {
        let known = beside.iter().find(|(known, _)| known == name);
        let text = known.map(|(_, text)| text.clone()).ok_or_else(|| "no such file".to_owned())?;
        used.borrow_mut().push(name.to_owned());
        Ok(text)
    };
    let read: Case =
        case::read(&text, ARRANGED, &load).map_err(|_| fault("the new case does not read back"))?;
    if !same_nozzles(nozzles_of(&read.module), nozzles) {
        return Err(fault("the new case reads back with other nozzles"));
    }
    let mut files = vec![(ARRANGED.to_owned(), text.into_bytes())];
    for (name, text) in &beside {
        if used.borrow().contains(name) && !files.iter().any(|(known, _)| known == name) {
            files.push((name.clone(), text.clone().into_bytes()));
        }
    }
    Ok(files)
}

/// The name of a file of the case among the results, which lie in one folder: `maps/a.csv`
/// becomes `maps-a.csv`, and one that would be called as a result gets another name.
fn flat(name: &str) -> String {
    let flat = name.replace(['/', '\\', ':'], "-").trim_start_matches('.').to_owned();
    if OWN_FILES.contains(&flat.as_str()) { format!("case-{flat}") } else { flat }
}

/// A CSV file with the cells that are `name` called `other`; one without such a cell as it is.
fn renamed_cells(text: &str, name: &str, other: &str) -> Option<String> {
    if !text.contains(name) {
        return Some(text.to_owned());
    }
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    for record in reader.records() {
        let record = record.ok()?;
        let cells = record.iter().map(|cell| if cell.trim() == name { other } else { cell });
        writer.write_record(cells).ok()?;
    }
    String::from_utf8(writer.into_inner().ok()?).ok()
}

fn nozzles_of(module: &Module) -> &[Nozzle] {
    match &module.spray {
        Spray::Correlated(spray) => &spray.nozzles,
        Spray::Prescribed(_) => &[],
    }
}

fn same_nozzles(a: &[Nozzle], b: &[Nozzle]) -> bool {
    // Angles go through degrees and may lose their last bit.
    let near = |a: f64, b: f64| (a - b).abs() <= 1e-12;
    a.len() == b.len()
        && a.iter().zip(b).all(|(a, b)| {
            a.name == b.name
                && a.type_name == b.type_name
                && (0..2).all(|k| near(a.at_m[k], b.at_m[k]) && near(a.tilt_rad[k], b.tilt_rad[k]))
                && near(a.standoff_m, b.standoff_m)
                && near(a.flow_factor, b.flow_factor)
                && near(a.flow_m3_s, b.flow_m3_s)
        })
}

fn tables_of(compared: &Compared) -> Result<Vec<ResultFile>, Failure> {
    let nozzles = NozzleRow::all(&compared.case.case.module, &compared.found.module);
    let junctions = BeforeAfterRow::all(compared.before, &compared.found.result);
    let mut files = vec![
        ("nozzles.csv".to_owned(), csv(&NozzleRow::HEADER, &nozzles).map_err(super::not_written)?),
        (
            "before_after.csv".to_owned(),
            csv(&BeforeAfterRow::HEADER, &junctions).map_err(super::not_written)?,
        ),
    ];
    if !compared.found.trade_off.is_empty() {
        let rows: Vec<TradeOffRow> = compared.found.trade_off.iter().map(TradeOffRow::of).collect();
        let bytes = csv(&TradeOffRow::HEADER, &rows).map_err(super::not_written)?;
        files.push(("trade_off.csv".to_owned(), bytes));
    }
    Ok(files)
}

fn pictures_of(compared: &Compared) -> Result<Vec<ResultFile>, Failure> {
    let survey = |module: &Module, result: &SteadyResult| {
        Survey::of_result(module, result)
            .map_err(|error| solving::why_not_solved(&SteadyError::Spray(error)))?
            .ok_or_else(no_nozzles)
    };
    let (module, found) = (&compared.case.case.module, compared.found);
    let before = survey(module, compared.before)?;
    let after = survey(&found.module, &found.result)?;
    let mut pictures = vec![
        maps::of_before_and_after(
            module,
            [compared.before, &found.result],
            [&before.footprints, &after.footprints],
            compared.bounds,
        )
        .map_err(super::not_written)?,
    ];
    if found.trade_off.len() > 1 {
        pictures.push(
            maps::of_trade_off(module, &found.trade_off, compared.flow_after_m3_s())
                .map_err(super::not_written)?,
        );
    }
    Ok(pictures.into_iter().map(|picture| (picture.file, picture.png)).collect())
}

fn why_not_arranged(error: ArrangeError) -> Failure {
    match error {
        ArrangeError::Steady(error) => solving::why_not_solved(&error),
        ArrangeError::NoNozzles => no_nozzles(),
        _ => Failure::NoSolution {
            headline: error.to_string(),
            help: "widen region_mm, lower least_spacing_mm, drop a keep-out, or allow more \
                   total_flow_mL_s; --starts looks further"
                .to_owned(),
        },
    }
}

fn no_nozzles() -> Failure {
    Failure::Request {
        headline: "this case states its spray coefficients, so there are no nozzles to arrange"
            .to_owned(),
        help: "describe nozzles: [spray] model = \"correlated\", [nozzle_type.*], [[nozzle]] or \
               [[nozzle_group]]; `sprayside new -` shows how"
            .to_owned(),
    }
}

/// What only a fault of ours can cause.
fn fault(what: &str) -> Failure {
    Failure::File {
        headline: what.to_owned(),
        help: Some("nothing was written; please report this with the case".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::renamed_cells;

    #[test]
    fn files_are_renamed_in_tables_as_a_csv_reader_sees_them() {
        let table = "name,power_map\nA,\"maps/hot, old.csv\"\nmaps/hot,maps/hot\n";
        let renamed = renamed_cells(table, "maps/hot, old.csv", "maps-hot, old.csv");
        let other = "name,power_map\nA,\"maps-hot, old.csv\"\nmaps/hot,maps/hot\n";
        assert_eq!(renamed.as_deref(), Some(other));
        let map = "# watts; no name in it\n1,2\n\n3,4";
        assert_eq!(renamed_cells(map, "a.csv", "b.csv").as_deref(), Some(map));
    }
}
