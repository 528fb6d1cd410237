//! Layers, materials, die types, die and heaters as written.

use std::ops::Range;

use super::super::context::Located;
use super::super::fields::{Fields, Need::*};
use super::super::{part_table, ranges};
use crate::module::{ActiveFace, Face};

const RECT_FORM: &str = "[x, y, width, height] in mm";
const PAIR_FORM: &str = "[x, y] in mm";

/// `[module]`.
pub(in super::super) struct FileModule {
    pub span: Range<usize>,
    pub size_mm: Option<Located<[f64; 2]>>,
    pub edge_htc_W_m2K: Option<Located<f64>>,
    pub edge_temperature_C: Option<Located<f64>>,
    pub layers: Vec<FileLayer>,
}

impl FileModule {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileModule {
        let module = FileModule {
            span: fields.span(),
            size_mm: fields.numbers("size_mm", Required, [&ranges::MODULE_SIZE; 2], PAIR_FORM),
            edge_htc_W_m2K: fields.number("edge_htc_W_m2K", Optional, &ranges::HTC),
            edge_temperature_C: fields.number(
                "edge_temperature_C",
                Optional,
                &ranges::SURROUNDINGS_TEMPERATURE,
            ),
            layers: fields.tables("layer").into_iter().map(FileLayer::read).collect(),
        };
        fields.finish();
        module
    }
}

/// `[[module.layer]]`.
pub(in super::super) struct FileLayer {
    pub name: Option<Located<String>>,
    pub material: Option<Located<String>>,
    pub thickness_mm: Option<Located<f64>>,
    pub slices: Option<Located<usize>>,
}

impl FileLayer {
    fn read(mut fields: Fields<'_, '_, '_>) -> FileLayer {
        let name = fields.name("name", Required);
        fields.named(name.as_ref());
        let layer = FileLayer {
            name,
            material: fields.text("material", Required),
            thickness_mm: fields.number("thickness_mm", Required, &ranges::LAYER_THICKNESS),
            slices: fields.count("slices", Optional, 1..=64),
        };
        fields.finish();
        layer
    }
}

/// `[material.NAME]`.
pub(in super::super) struct FileMaterial {
    pub name: Located<String>,
    pub conductivity_W_mK: Option<Located<[f64; 3]>>,
    pub exponent: Option<Located<f64>>,
    pub reference_C: Option<Located<f64>>,
    pub density_kg_m3: Option<Located<f64>>,
    pub specific_heat_J_kgK: Option<Located<f64>>,
    pub source: Option<Located<String>>,
}

impl FileMaterial {
    pub fn read(name: Located<String>, mut fields: Fields<'_, '_, '_>) -> FileMaterial {
        let material = FileMaterial {
            name,
            conductivity_W_mK: fields.one_or_three(
                "conductivity_W_mK",
                Required,
                &ranges::CONDUCTIVITY,
            ),
            exponent: fields.number(
                "conductivity_exponent",
                Optional,
                &ranges::CONDUCTIVITY_EXPONENT,
            ),
            reference_C: fields.number(
                "conductivity_reference_C",
                Optional,
                &ranges::REFERENCE_TEMPERATURE,
            ),
            density_kg_m3: fields.number("density_kg_m3", Optional, &ranges::DENSITY),
            specific_heat_J_kgK: fields.number(
                "specific_heat_J_kgK",
                Optional,
                &ranges::SPECIFIC_HEAT,
            ),
            source: fields.text("source", Optional),
        };
        fields.finish();
        material
    }
}

/// `attach = { ... }` of a die type.
pub(in super::super) struct FileAttach {
    pub material: Option<Located<String>>,
    pub thickness_mm: Option<Located<f64>>,
}

/// `[die_type.NAME]`.
pub(in super::super) struct FileDieType {
    pub name: Located<String>,
    pub size_mm: Option<Located<[f64; 2]>>,
    pub thickness_mm: Option<Located<f64>>,
    pub material: Option<Located<String>>,
    pub active_face: Option<Located<ActiveFace>>,
    pub attach: Option<FileAttach>,
    pub limit_C: Option<Located<f64>>,
}

impl FileDieType {
    pub fn read(name: Located<String>, mut fields: Fields<'_, '_, '_>) -> FileDieType {
        let die_type = FileDieType {
            name,
            size_mm: fields.numbers("size_mm", Required, [&ranges::DIE_SIZE; 2], PAIR_FORM),
            thickness_mm: fields.number("thickness_mm", Required, &ranges::DIE_THICKNESS),
            material: fields.text("material", Required),
            active_face: fields.word(
                "active_face",
                Required,
                &[("down", ActiveFace::Down), ("up", ActiveFace::Up)],
            ),
            attach: fields.table("attach", Optional).map(|mut attach| {
                let read = FileAttach {
                    material: attach.text("material", Required),
                    thickness_mm: attach.number(
                        "thickness_mm",
                        Required,
                        &ranges::ATTACH_THICKNESS,
                    ),
                };
                attach.finish();
                read
            }),
            limit_C: fields.number("limit_C", Optional, &ranges::LIMIT),
        };
        fields.finish();
        die_type
    }
}

/// `[[die]]`.
pub(in super::super) struct FileDie {
    pub name: Option<Located<String>>,
    pub type_name: Option<Located<String>>,
    pub at_mm: Option<Located<[f64; 2]>>,
    pub turn_deg: Option<Located<f64>>,
    pub power_W: Option<Located<f64>>,
    pub blocks: Vec<FileBlock>,
    pub power_map: Option<Located<String>>,
}

impl FileDie {
    /// One die, or those of the CSV file that `table` names.
    pub fn read_all(fields: Fields<'_, '_, '_>) -> Vec<FileDie> {
        one_or_table(fields, "[[die]]", part_table::DIE, FileDie::read)
    }

    fn read(mut fields: Fields<'_, '_, '_>) -> FileDie {
        let name = fields.name("name", Required);
        fields.named(name.as_ref());
        let die = FileDie {
            name,
            type_name: fields.text("type", Required),
            at_mm: fields.numbers("at_mm", Required, [&ranges::POSITION; 2], PAIR_FORM),
            turn_deg: fields.number("turn_deg", Optional, &ranges::TURN),
            power_W: fields.number("power_W", Required, &ranges::POWER),
            blocks: fields.tables("block").into_iter().map(FileBlock::read).collect(),
            power_map: fields.text("power_map", Optional),
        };
        fields.finish();
        die
    }
}

/// `[[die.block]]`.
pub(in super::super) struct FileBlock {
    pub span: Range<usize>,
    pub name: Option<Located<String>>,
    pub rect_mm: Option<Located<[f64; 4]>>,
    pub power_W: Option<Located<f64>>,
}

impl FileBlock {
    fn read(mut fields: Fields<'_, '_, '_>) -> FileBlock {
        let name = fields.name("name", Required);
        fields.named(name.as_ref());
        let block = FileBlock {
            span: fields.span(),
            name,
            rect_mm: rect(&mut fields, Required),
            power_W: fields.number("power_W", Required, &ranges::POWER),
        };
        fields.finish();
        block
    }
}

/// `[[heater]]`.
pub(in super::super) struct FileHeater {
    pub name: Option<Located<String>>,
    pub on: Option<Located<String>>,
    pub face: Option<Located<Face>>,
    pub rect_mm: Option<Located<[f64; 4]>>,
    pub power_W: Option<Located<f64>>,
    pub limit_C: Option<Located<f64>>,
}

impl FileHeater {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileHeater {
        let name = fields.name("name", Required);
        fields.named(name.as_ref());
        let heater = FileHeater {
            name,
            on: fields.text("on", Required),
            face: fields.word("face", Required, &[("top", Face::Top), ("bottom", Face::Bottom)]),
            rect_mm: rect(&mut fields, Required),
            power_W: fields.number("power_W", Required, &ranges::POWER),
            limit_C: fields.number("limit_C", Optional, &ranges::LIMIT),
        };
        fields.finish();
        heater
    }
}

/// What an entry of a list states: one part, or with `table = "parts.csv"` a row each.
pub(super) fn one_or_table<T>(
    mut fields: Fields<'_, '_, '_>,
    place: &str,
    columns: &'static [part_table::Column],
    read: impl Fn(Fields<'_, '_, '_>) -> T,
) -> Vec<T> {
    if !fields.has("table") {
        fields.may_stand_alone("table");
        return vec![read(fields)];
    }
    let context = fields.context();
    let mut fields = fields.called(format!("a {place} that names a table"));
    let path = fields.text("table", Required);
    fields.finish();
    path.map_or_else(Vec::new, |path| part_table::parts(context, &path, place, columns, read))
}

/// `rect_mm = [x, y, width, height]`.
pub(super) fn rect(
    fields: &mut Fields<'_, '_, '_>,
    need: super::super::fields::Need,
) -> Option<Located<[f64; 4]>> {
    let (position, extent) = (&ranges::POSITION, &ranges::EXTENT);
    fields.numbers("rect_mm", need, [position, position, extent, extent], RECT_FORM)
}
