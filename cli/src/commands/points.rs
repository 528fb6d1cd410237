//! `clog`, `sweep`, `scatter`, `offset`, `gather`: studies of many points.

use sprayside_solver::study::clog::Manifold;
use sprayside_solver::study::offset::Place;

use crate::arguments::{
    ClogArguments, GatherArguments, OffsetArguments, PointsArguments, ScatterArguments,
    SweepArguments,
};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::studies::{Spec, running};

use super::solving::Setting;

fn run(arguments: &PointsArguments, spec: &Spec) -> Result<Exit, Failure> {
    running::run(&Setting::of(&arguments.common), spec, arguments.part)
}

/// Every nozzle blocked in turn.
pub fn clog(arguments: &ClogArguments) -> Result<Exit, Failure> {
    let manifold = if arguments.keep_total { Manifold::KeepsTotal } else { Manifold::KeepsEach };
    run(&arguments.points, &Spec::Clog { manifold, pairs: arguments.pairs })
}

/// Numbers of the case over values.
pub fn sweep(arguments: &SweepArguments) -> Result<Exit, Failure> {
    let spec = Spec::Sweep {
        inputs: arguments.vary.clone(),
        zip: arguments.zip,
        show: arguments.show.clone(),
    };
    run(&arguments.points, &spec)
}

/// Random tolerances.
pub fn scatter(arguments: &ScatterArguments) -> Result<Exit, Failure> {
    let spec = Spec::Scatter { samples: arguments.samples as usize, seed: arguments.seed };
    run(&arguments.points, &spec)
}

/// The cap off its place.
pub fn offset(arguments: &OffsetArguments) -> Result<Exit, Failure> {
    let mut places = Vec::new();
    for &raise_mm in &arguments.raise_mm.0 {
        for &tilt_x_deg in &arguments.tilt_x_deg.0 {
            for &tilt_y_deg in &arguments.tilt_y_deg.0 {
                for &dy_mm in &arguments.dy_mm.0 {
                    for &dx_mm in &arguments.dx_mm.0 {
                        places.push(Place { dx_mm, dy_mm, raise_mm, tilt_x_deg, tilt_y_deg });
                    }
                }
            }
        }
    }
    run(&arguments.points, &Spec::Offset { places })
}

/// Parts joined.
pub fn gather(arguments: &GatherArguments) -> Result<Exit, Failure> {
    running::gather(&Setting::of(&arguments.common), &arguments.parts)
}
