//! The spray on a grid of a million cells under 64 nozzles: flux, boiling curves, one pass over
//! the curves. Ratios are to the flux with one nozzle.
//!
//! ```text
//! cargo bench -p sprayside_solver --bench spray
//! ```

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, criterion_group, criterion_main};
use sprayside_solver::library::fluids;
use sprayside_solver::module::{Coolant, CorrelatedSpray, Nozzle};
use sprayside_solver::spray::{Band, SprayModel};

fn nozzles(n: usize) -> Vec<Nozzle> {
    (0..n)
        .map(|k| Nozzle {
            name: format!("N{k}"),
            type_name: "wide".to_owned(),
            at_m: [0.006 + 0.012 * (k % 8) as f64, 0.004 + 0.008 * (k / 8) as f64],
            standoff_m: 0.010,
            tilt_rad: [0.05, 0.02],
            cone_rad: 55f64.to_radians(),
            orifice_m: 0.4e-3,
            flow_m3_s: 0.85e-6,
            pressure_drop_Pa: 2e5,
            flow_factor: 1.0,
        })
        .collect()
}

fn model(n: usize) -> SprayModel {
    let spray = CorrelatedSpray {
        nozzles: nozzles(n),
        unwetted_htc_W_m2K: 200.0,
        coefficient_factor: 1.0,
        exit_quality_max: 0.3,
        modules_in_system: 1,
        facility_water_rise_K: 10.0,
        room_air_rise_K: 15.0,
    };
    let coolant = Coolant {
        fluid: fluids::by_name("perfluorohexane").map(Arc::new),
        inlet_K: 298.15,
        pressure_Pa: 101_325.0,
    };
    SprayModel::new(&spray, &coolant).expect("nozzles and liquid make sense")
}

fn spray(criterion: &mut Criterion) {
    let lines =
        |length: f64| -> Vec<f64> { (0..=1000).map(|k| length * f64::from(k) / 1000.0).collect() };
    let (x, y) = (lines(0.096), lines(0.064));
    let mut group = criterion.benchmark_group("spray, 1000 x 1000 cells");
    group.sample_size(20);
    for n in [1, 64] {
        let model = model(n);
        group.bench_function(format!("flux of {n} nozzles"), |bencher| {
            bencher.iter(|| model.flux(black_box(&x), black_box(&y)).expect("cones close"));
        });
    }
    let model = model(64);
    let field = model.flux(&x, &y).expect("cones close");
    group.bench_function("boiling curves", |bencher| {
        bencher.iter(|| model.curves(black_box(&field), Band::Nominal));
    });
    let curves = model.curves(&field, Band::Nominal);
    group.bench_function("one flux of every curve, one thread", |bencher| {
        bencher.iter(|| {
            (0..curves.curves.len()).map(|c| curves.flux(c, black_box(42.0)).0).sum::<f64>()
        });
    });
    group.finish();
}

criterion_group!(benches, spray);
criterion_main!(benches);
