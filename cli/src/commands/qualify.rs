//! `qualify`: the plan of a cycling test.

use std::cell::Cell;

use sprayside_solver::study;

use crate::arguments::QualifyArguments;
use crate::case_file;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::summary::QualificationSummary;
use crate::tables::{QualificationRow, csv};
use crate::text;

use super::solving::{self, Setting};

/// Solves, then plans.
pub fn run(arguments: &QualifyArguments) -> Result<Exit, Failure> {
    let none = || Failure::Request {
        headline: "the case says nothing of a qualification".to_owned(),
        help: "add [qualification] with [[qualification.field]] and [qualification.test]; \
               `sprayside new` writes a case that shows them"
            .to_owned(),
    };
    // Before the work, where the case can be read twice.
    let path = &arguments.common.case;
    if !case_file::is_stdin(path) && case_file::read(path)?.case.qualification.is_none() {
        return Err(none());
    }
    let sufficient = Cell::new(true);
    let exit = solving::run(
        &Setting::of(&arguments.common),
        |solved, summary, _| {
            let qualification = solved.case.case.qualification.as_ref().ok_or_else(none)?;
            let plan = study::qualify(qualification, &solved.result.junctions);
            let rows = QualificationRow::all(&plan);
            let table = csv(&QualificationRow::HEADER, &rows).map_err(super::not_written)?;
            let figures = QualificationSummary::of(qualification, &plan, rows);
            sufficient.set(figures.sufficient);
            summary.command = "qualify";
            summary.warnings.extend(plan.warnings);
            summary.qualification = Some(figures);
            Ok(vec![("qualification.csv".to_owned(), table)])
        },
        text::qualify,
    )?;
    Ok(if sufficient.get() { exit } else { Exit::LimitBroken })
}
