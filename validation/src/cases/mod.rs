//! The checks, one family a file. Each function builds its modules, solves them and pairs the
//! answers with values from outside.

use std::error::Error;

use crate::check::{Check, Kind, Outcome};
use crate::sources::Source;

pub mod channels;
pub mod compound;
pub mod edges;
pub mod handbook;
pub mod iso_column;
pub mod kirchhoff;
pub mod libraries;
pub mod membrane;
pub mod one_sheet;
pub mod spreading;
pub mod transients;

/// What a family of checks gives.
pub type Outcomes = Result<Vec<Outcome>, Box<dyn Error>>;

/// All families, in the order of the table.
pub fn all() -> Vec<fn() -> Outcomes> {
    vec![
        channels::central_sources,
        channels::eccentric_sources,
        channels::influence,
        channels::orthotropic,
        compound::two_layers,
        compound::buried_source,
        compound::five_sources,
        edges::cooled_edges,
        spreading::square_on_square_tube,
        spreading::half_space_square,
        membrane::torsion_table,
        iso_column::half_square_column,
        kirchhoff::silicon,
        one_sheet::plate_series,
        handbook::incropera,
        handbook::cengel,
        handbook::holman,
        handbook::lienhard,
        transients::wall,
        transients::half_space,
        transients::lump,
        transients::square_wave,
        transients::order_and_limit,
        libraries::finite_elements,
        libraries::finite_volumes,
        libraries::sparse_direct,
        || Ok(crate::coolants::properties()),
        || Ok(crate::life::checks()),
    ]
}

/// Where a family's expected values come from.
struct Family {
    kind: Kind,
    source: &'static Source,
    unit: &'static str,
}

impl Family {
    /// One outcome of the family.
    fn outcome(
        &self,
        case: &str,
        what: &str,
        place: &str,
        [expect, within]: [f64; 2],
        [computed, uncertainty]: [f64; 2],
    ) -> Outcome {
        Outcome {
            check: Check {
                case: case.to_owned(),
                what: what.to_owned(),
                expect,
                within,
                unit: self.unit,
                kind: self.kind,
                source: self.source,
                place: place.to_owned(),
            },
            computed,
            uncertainty,
        }
    }
}
