//! Coolant, spray, nozzles, board and mesh as written.

use std::ops::Range;

use super::super::context::Located;
use super::super::fields::{Fields, Need::*};
use super::super::{part_table, ranges};
use super::parts::{one_or_table, rect};
use crate::module::PlateSupport;

/// `[coolant]`.
pub(in super::super) struct FileCoolant {
    pub span: Range<usize>,
    pub fluid: Option<Located<String>>,
    pub inlet_C: Option<Located<f64>>,
    pub pressure_kPa: Option<Located<f64>>,
}

impl FileCoolant {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileCoolant {
        let coolant = FileCoolant {
            span: fields.span(),
            fluid: fields.text("fluid", Optional),
            inlet_C: fields.number("inlet_C", Required, &ranges::INLET),
            pressure_kPa: fields.number("pressure_kPa", Optional, &ranges::PRESSURE),
        };
        fields.finish();
        coolant
    }
}

/// `[fluid.NAME]`: a saturation table, a list a property, in the user's units.
pub(in super::super) struct FileFluid {
    pub name: Located<String>,
    pub temperature_C: Option<Located<Vec<Located<f64>>>>,
    pub pressure_kPa: Option<Located<Vec<Located<f64>>>>,
    pub density_liquid_kg_m3: Option<Located<Vec<Located<f64>>>>,
    pub density_vapour_kg_m3: Option<Located<Vec<Located<f64>>>>,
    pub latent_heat_kJ_kg: Option<Located<Vec<Located<f64>>>>,
    pub specific_heat_J_kgK: Option<Located<Vec<Located<f64>>>>,
    pub conductivity_W_mK: Option<Located<Vec<Located<f64>>>>,
    pub viscosity_uPa_s: Option<Located<Vec<Located<f64>>>>,
    pub surface_tension_mN_m: Option<Located<Vec<Located<f64>>>>,
    pub source: Option<Located<String>>,
}

impl FileFluid {
    pub fn read(name: Located<String>, mut fields: Fields<'_, '_, '_>) -> FileFluid {
        let mut list = |key, quantity| fields.number_list(key, Required, quantity);
        let fluid = FileFluid {
            name,
            temperature_C: list("temperature_C", &ranges::FLUID_TEMPERATURE),
            pressure_kPa: list("pressure_kPa", &ranges::FLUID_PRESSURE),
            density_liquid_kg_m3: list("density_liquid_kg_m3", &ranges::LIQUID_DENSITY),
            density_vapour_kg_m3: list("density_vapour_kg_m3", &ranges::VAPOUR_DENSITY),
            latent_heat_kJ_kg: list("latent_heat_kJ_kg", &ranges::LATENT_HEAT),
            specific_heat_J_kgK: list("specific_heat_J_kgK", &ranges::SPECIFIC_HEAT),
            conductivity_W_mK: list("conductivity_W_mK", &ranges::LIQUID_CONDUCTIVITY),
            viscosity_uPa_s: list("viscosity_uPa_s", &ranges::VISCOSITY),
            surface_tension_mN_m: list("surface_tension_mN_m", &ranges::SURFACE_TENSION),
            source: fields.text("source", Optional),
        };
        fields.finish();
        fluid
    }
}

/// `spray.model`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in super::super) enum SprayModel {
    Prescribed,
    Correlated,
}

/// `[spray]`.
pub(in super::super) struct FileSpray {
    pub span: Range<usize>,
    pub model: Option<Located<SprayModel>>,
    pub htc_W_m2K: Option<Located<f64>>,
    /// Whether the key is written at all, even wrongly.
    pub has_htc: bool,
    pub map: Option<Located<String>>,
    pub has_map: bool,
    pub patches: Vec<FilePatch>,
    pub unwetted_htc_W_m2K: Option<Located<f64>>,
    pub exit_quality_max: Option<Located<f64>>,
    pub modules_in_system: Option<Located<usize>>,
    pub facility_water_rise_K: Option<Located<f64>>,
    pub room_air_rise_K: Option<Located<f64>>,
}

impl FileSpray {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileSpray {
        let spray = FileSpray {
            span: fields.span(),
            model: fields.word(
                "model",
                Required,
                &[("prescribed", SprayModel::Prescribed), ("correlated", SprayModel::Correlated)],
            ),
            has_htc: fields.has("htc_W_m2K"),
            htc_W_m2K: fields.number("htc_W_m2K", Optional, &ranges::HTC),
            has_map: fields.has("map"),
            map: fields.text("map", Optional),
            patches: fields.tables("patch").into_iter().map(FilePatch::read).collect(),
            unwetted_htc_W_m2K: fields.number(
                "unwetted_htc_W_m2K",
                Optional,
                &ranges::UNWETTED_HTC,
            ),
            exit_quality_max: fields.number("exit_quality_max", Optional, &ranges::EXIT_QUALITY),
            modules_in_system: fields.count("modules_in_system", Optional, 1..=1_000_000),
            facility_water_rise_K: fields.number("facility_water_rise_K", Optional, &ranges::RISE),
            room_air_rise_K: fields.number("room_air_rise_K", Optional, &ranges::RISE),
        };
        fields.finish();
        spray
    }
}

/// `[[spray.patch]]`.
pub(in super::super) struct FilePatch {
    pub span: Range<usize>,
    pub rect_mm: Option<Located<[f64; 4]>>,
    /// Whether `rect_mm` is written at all, even wrongly.
    pub has_rect: bool,
    pub over: Option<Located<String>>,
    pub has_over: bool,
    pub htc_W_m2K: Option<Located<f64>>,
}

impl FilePatch {
    fn read(mut fields: Fields<'_, '_, '_>) -> FilePatch {
        let patch = FilePatch {
            span: fields.span(),
            has_rect: fields.has("rect_mm"),
            rect_mm: rect(&mut fields, Optional),
            has_over: fields.has("over"),
            over: fields.text("over", Optional),
            htc_W_m2K: fields.number("htc_W_m2K", Required, &ranges::HTC),
        };
        fields.finish();
        patch
    }
}

/// `[nozzle_type.NAME]`.
pub(in super::super) struct FileNozzleType {
    pub name: Located<String>,
    pub cone_deg: Option<Located<f64>>,
    pub orifice_mm: Option<Located<f64>>,
    pub flow_mL_s: Option<Located<f64>>,
    pub pressure_drop_kPa: Option<Located<f64>>,
}

impl FileNozzleType {
    pub fn read(name: Located<String>, mut fields: Fields<'_, '_, '_>) -> FileNozzleType {
        let nozzle_type = FileNozzleType {
            name,
            cone_deg: fields.number("cone_deg", Required, &ranges::CONE),
            orifice_mm: fields.number("orifice_mm", Required, &ranges::ORIFICE),
            flow_mL_s: fields.number("flow_mL_s", Required, &ranges::FLOW),
            pressure_drop_kPa: fields.number("pressure_drop_kPa", Required, &ranges::PRESSURE_DROP),
        };
        fields.finish();
        nozzle_type
    }
}

/// `[[nozzle]]`.
pub(in super::super) struct FileNozzle {
    pub span: Range<usize>,
    pub name: Option<Located<String>>,
    pub type_name: Option<Located<String>>,
    pub at_mm: Option<Located<[f64; 2]>>,
    pub standoff_mm: Option<Located<f64>>,
    pub tilt_deg: Option<Located<[f64; 2]>>,
    pub flow_factor: Option<Located<f64>>,
}

impl FileNozzle {
    /// One nozzle, or those of the CSV file that `table` names.
    pub fn read_all(fields: Fields<'_, '_, '_>) -> Vec<FileNozzle> {
        one_or_table(fields, "[[nozzle]]", part_table::NOZZLE, FileNozzle::read)
    }

    fn read(mut fields: Fields<'_, '_, '_>) -> FileNozzle {
        let name = fields.name("name", Required);
        fields.named(name.as_ref());
        let nozzle = FileNozzle {
            span: fields.span(),
            name,
            type_name: fields.text("type", Required),
            at_mm: fields.numbers("at_mm", Required, [&ranges::POSITION; 2], "[x, y] in mm"),
            standoff_mm: fields.number("standoff_mm", Required, &ranges::STANDOFF),
            tilt_deg: fields.numbers(
                "tilt_deg",
                Optional,
                [&ranges::TILT; 2],
                "[about x, about y] in degrees",
            ),
            flow_factor: fields.number("flow_factor", Optional, &ranges::FLOW_FACTOR),
        };
        fields.finish();
        nozzle
    }
}

/// `[[nozzle_group]]`.
pub(in super::super) struct FileNozzleGroup {
    pub span: Range<usize>,
    pub type_name: Option<Located<String>>,
    pub over: Option<Located<String>>,
    pub offsets_mm: Option<Located<Vec<[f64; 2]>>>,
    pub standoff_mm: Option<Located<f64>>,
    pub flow_factor: Option<Located<f64>>,
}

impl FileNozzleGroup {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileNozzleGroup {
        let group = FileNozzleGroup {
            span: fields.span(),
            type_name: fields.text("type", Required),
            over: fields.text("over", Required),
            offsets_mm: fields.pair_list("offsets_mm", Required, &ranges::OFFSET),
            standoff_mm: fields.number("standoff_mm", Required, &ranges::STANDOFF),
            flow_factor: fields.number("flow_factor", Optional, &ranges::FLOW_FACTOR),
        };
        fields.finish();
        group
    }
}

/// `[board]`.
pub(in super::super) struct FileBoard {
    pub span: Range<usize>,
    pub temperature_C: Option<Located<f64>>,
    pub htc_W_m2K: Option<Located<f64>>,
    pub has_htc: bool,
    pub contacts: Option<Located<usize>>,
    pub has_contacts: bool,
    pub conductance_per_contact_W_K: Option<Located<f64>>,
    pub has_conductance: bool,
    pub force_per_contact_N: Option<Located<f64>>,
    pub has_force: bool,
    pub flatness_mm: Option<Located<f64>>,
}

impl FileBoard {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileBoard {
        let board = FileBoard {
            span: fields.span(),
            temperature_C: fields.number(
                "temperature_C",
                Required,
                &ranges::SURROUNDINGS_TEMPERATURE,
            ),
            has_htc: fields.has("htc_W_m2K"),
            htc_W_m2K: fields.number("htc_W_m2K", Optional, &ranges::HTC),
            has_contacts: fields.has("contacts"),
            contacts: fields.count("contacts", Optional, 1..=1_000_000),
            has_conductance: fields.has("conductance_per_contact_W_K"),
            conductance_per_contact_W_K: fields.number(
                "conductance_per_contact_W_K",
                Optional,
                &ranges::CONTACT_CONDUCTANCE,
            ),
            has_force: fields.has("force_per_contact_N"),
            force_per_contact_N: fields.number(
                "force_per_contact_N",
                Optional,
                &ranges::CONTACT_FORCE,
            ),
            flatness_mm: fields.number("flatness_mm", Optional, &ranges::FLATNESS),
        };
        fields.finish();
        board
    }
}

/// `[backing_plate]`.
pub(in super::super) struct FileBackingPlate {
    pub span: Range<usize>,
    pub material: Option<Located<String>>,
    pub thickness_mm: Option<Located<f64>>,
    pub span_mm: Option<Located<[f64; 2]>>,
    pub support: Option<Located<PlateSupport>>,
    pub elastic_modulus_GPa: Option<Located<f64>>,
    pub poisson: Option<Located<f64>>,
    pub yield_MPa: Option<Located<f64>>,
}

impl FileBackingPlate {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileBackingPlate {
        let plate = FileBackingPlate {
            span: fields.span(),
            material: fields.name("material", Required),
            thickness_mm: fields.number("thickness_mm", Required, &ranges::PLATE_THICKNESS),
            span_mm: fields.numbers("span_mm", Required, [&ranges::EXTENT; 2], "[x, y] in mm"),
            support: fields.word(
                "support",
                Required,
                &[
                    ("simply-supported", PlateSupport::SimplySupported),
                    ("clamped", PlateSupport::Clamped),
                ],
            ),
            elastic_modulus_GPa: fields.number(
                "elastic_modulus_GPa",
                Optional,
                &ranges::ELASTIC_MODULUS,
            ),
            poisson: fields.number("poisson", Optional, &ranges::POISSON),
            yield_MPa: fields.number("yield_MPa", Optional, &ranges::YIELD),
        };
        fields.finish();
        plate
    }
}

/// `[mesh]`.
pub(in super::super) struct FileMesh {
    pub accuracy_K: Option<Located<f64>>,
    pub cell_mm: Option<Located<f64>>,
    pub max_cells: Option<Located<usize>>,
}

impl FileMesh {
    pub fn read(mut fields: Fields<'_, '_, '_>) -> FileMesh {
        let mesh = FileMesh {
            accuracy_K: fields.number("accuracy_K", Optional, &ranges::ACCURACY),
            cell_mm: fields.number("cell_mm", Optional, &ranges::CELL),
            max_cells: fields.count("max_cells", Optional, 1..=2_000_000_000),
        };
        fields.finish();
        mesh
    }
}
