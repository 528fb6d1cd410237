//! The case file as it is written: the user's units, names not yet looked up, every value with
//! its place. `None` where a key is absent or its value was found wrong (and noted).
//!
//! Nothing here compares one part with another; that is [`super::build`]'s business.

mod arrange;
mod correction;
mod cycle;
mod parts;
mod qualification;
mod sensors;
mod surroundings;
mod tolerance;

pub(super) use arrange::*;
pub(super) use correction::*;
pub(super) use cycle::*;
pub(super) use parts::*;
pub(super) use qualification::*;
pub(super) use sensors::*;
pub(super) use surroundings::*;
pub(super) use tolerance::*;

use std::rc::Rc;

use toml::de::DeTable;

use super::context::{Context, Located};
use super::diagnostic::SourceText;
use super::fields::{Fields, Need, Notes, TableForm};

/// Everything a case file can state.
pub(super) struct CaseFile {
    pub title: Option<Located<String>>,
    pub module: Option<FileModule>,
    pub materials: Vec<FileMaterial>,
    pub die_types: Vec<FileDieType>,
    pub die: Vec<FileDie>,
    pub heaters: Vec<FileHeater>,
    /// Whether die or heaters are written at all, even wrongly.
    pub has_sources: bool,
    pub coolant: Option<FileCoolant>,
    pub fluids: Vec<FileFluid>,
    pub spray: Option<FileSpray>,
    pub nozzle_types: Vec<FileNozzleType>,
    pub nozzles: Vec<FileNozzle>,
    /// Whether nozzles or groups are written at all, even wrongly.
    pub has_nozzles: bool,
    pub nozzle_groups: Vec<FileNozzleGroup>,
    pub board: Option<FileBoard>,
    pub backing_plate: Option<FileBackingPlate>,
    pub mesh: Option<FileMesh>,
    pub arrange: Option<FileArrange>,
    pub sensors: Vec<FileSensor>,
    pub correction: Option<FileCorrection>,
    pub qualification: Option<FileQualification>,
    pub cycle: Option<FileCycle>,
    pub tolerances: Vec<FileTolerance>,
}

impl CaseFile {
    /// Reads every table of the file; mistakes go to `context`.
    pub fn read(context: &Context<'_>, root: &DeTable<'_>) -> CaseFile {
        CaseFile::read_fields(Fields::new(context, "the case", 0..0, root))
    }

    /// What the reader asks for.
    pub fn form() -> TableForm {
        let context = Context::new(SourceText::new("", ""), &|_| Err(String::new()));
        let notes = Rc::new(Notes::default());
        CaseFile::read_fields(Fields::noting(&context, "the case", Rc::clone(&notes)));
        notes.table()
    }

    fn read_fields(mut fields: Fields<'_, '_, '_>) -> CaseFile {
        let file = CaseFile {
            title: fields.text("title", Need::Optional),
            module: fields.table("module", Need::Required).map(FileModule::read),
            materials: read_named(fields.named_tables("material"), FileMaterial::read),
            die_types: read_named(fields.named_tables("die_type"), FileDieType::read),
            die: fields.tables("die").into_iter().flat_map(FileDie::read_all).collect(),
            heaters: fields.tables("heater").into_iter().map(FileHeater::read).collect(),
            has_sources: fields.has("die") || fields.has("heater"),
            has_nozzles: fields.has("nozzle") || fields.has("nozzle_group"),
            coolant: fields.table("coolant", Need::Required).map(FileCoolant::read),
            fluids: read_named(fields.named_tables("fluid"), FileFluid::read),
            spray: fields.table("spray", Need::Required).map(FileSpray::read),
            nozzle_types: read_named(fields.named_tables("nozzle_type"), FileNozzleType::read),
            nozzles: fields.tables("nozzle").into_iter().flat_map(FileNozzle::read_all).collect(),
            nozzle_groups: fields
                .tables("nozzle_group")
                .into_iter()
                .map(FileNozzleGroup::read)
                .collect(),
            board: fields.table("board", Need::Required).map(FileBoard::read),
            backing_plate: fields
                .table("backing_plate", Need::Optional)
                .map(FileBackingPlate::read),
            mesh: fields.table("mesh", Need::Optional).map(FileMesh::read),
            arrange: fields.table("arrange", Need::Optional).map(FileArrange::read),
            sensors: fields.tables("sensor").into_iter().map(FileSensor::read).collect(),
            correction: fields.table("correction", Need::Optional).map(FileCorrection::read),
            qualification: fields
                .table("qualification", Need::Optional)
                .map(FileQualification::read),
            cycle: fields.table("cycle", Need::Optional).map(FileCycle::read),
            tolerances: fields.tables("tolerance").into_iter().map(FileTolerance::read).collect(),
        };
        fields.finish();
        file
    }
}

fn read_named<'c, 't, 'i, T>(
    tables: Vec<(Located<String>, Fields<'c, 't, 'i>)>,
    read: impl Fn(Located<String>, Fields<'c, 't, 'i>) -> T,
) -> Vec<T> {
    tables.into_iter().map(|(name, fields)| read(name, fields)).collect()
}
