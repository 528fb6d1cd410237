//! A module on a mesh under the powers and the coolant of one time.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use super::{TransientError, TransientOptions};
use crate::conduction::assembly::{assemble, assemble_into};
use crate::conduction::faces::{WetSide, heat_balance, wet_side};
use crate::conduction::{Network, Operator, SurfaceLaw};
use crate::linear::norm;
use crate::mesh::Mesh;
use crate::module::{Cycle, Module, PrescribedHtc, Sensor, Signal, Spray};
use crate::results::{HeatBalance, SensorPoint, sensor_points};
use crate::spray::Band;
use crate::steady::{GridSolution, SteadyError, SteadyOptions, WetLaw, solve_on_mesh};

/// States of the coolant kept: profiles switch between a few.
const KEPT_LAWS: usize = 8;

/// Relative residual of a step over the error allowed in time, 1/K, and its bounds.
const LINEAR_SHARE_1_K: f64 = 3e-5;
const LEAST_RESIDUAL: f64 = 1e-10;
const MOST_RESIDUAL: f64 = 3e-6;
/// Largest residual of a steady state to start from.
const MOST_STEADY_RESIDUAL: f64 = 1e-10;

/// A flux law for rises above the inlet that the case states, while the inlet has another
/// temperature and the stated coefficients are multiplied.
#[derive(Debug)]
pub struct ShiftedLaw {
    law: WetLaw,
    htc_factor: f64,
    /// Inlet now less inlet of the case, K.
    inlet_shift_K: f64,
}

impl SurfaceLaw for ShiftedLaw {
    fn is_linear(&self) -> bool {
        self.inlet_shift_K == 0.0 && self.law.is_linear()
    }

    fn flux(&self, c: usize, rise_K: f64) -> (f64, f64) {
        let (flux, slope) = self.law.flux(c, rise_K - self.inlet_shift_K);
        (self.htc_factor * flux, self.htc_factor * slope)
    }
}

/// The coolant at one time: flow factor, factor on stated coefficients, inlet.
type CoolantState = [f64; 3];

/// A module on a mesh, its heat capacities, and the conditions that hold at the moment.
pub struct System<'m> {
    /// The part.
    pub module: &'m Module,
    /// What changes.
    pub cycle: &'m Cycle,
    /// The network, with the powers of the moment.
    pub network: Network<'m>,
    /// J/K of every unknown.
    pub capacity_J_K: Vec<f64>,
    /// Where sensors sit.
    pub sensors: Vec<SensorPoint>,
    shapes: Vec<Vec<f64>>,
    powers_W: Vec<f64>,
    coolant: CoolantState,
    /// The wet side of the case itself.
    nominal: WetLaw,
    law: Arc<ShiftedLaw>,
    laws: Vec<(CoolantState, Arc<ShiftedLaw>)>,
    varies: bool,
    options: TransientOptions,
    /// Norm of the largest right-hand side met so far, W; 0 before the first.
    scale_W: f64,
    /// Memory of former operators and right-hand sides.
    spares: Vec<(Operator, Vec<f64>)>,
    called_off: Option<&'m AtomicBool>,
}

/// Everything that follows from the temperatures of one time.
#[derive(Debug, Clone)]
pub struct Evaluated {
    /// Conductivity factors, if any varies.
    pub factors: Option<Vec<f64>>,
    /// The wet side.
    pub wet: WetSide,
    /// The linearised operator.
    pub operator: Operator,
    /// Its right-hand side, W.
    pub rhs_W: Vec<f64>,
    /// What flows into each cell, W.
    pub flow_W: Vec<f64>,
}

impl<'m> System<'m> {
    /// Lays `module` on `mesh` under the conditions of time 0.
    ///
    /// # Errors
    /// [`TransientError::NoCapacity`], [`TransientError::Spray`].
    pub fn new(
        module: &'m Module,
        mesh: &'m Mesh,
        cycle: &'m Cycle,
        options: TransientOptions,
    ) -> Result<System<'m>, TransientError> {
        let network = Network::new(module, mesh);
        let capacity_J_K =
            network.capacities_J_K().map_err(|material| TransientError::NoCapacity { material })?;
        let shapes = network.heat_shapes();
        let coolant = coolant_at(cycle, 0.0, 0.0);
        let nominal = WetLaw::on(module, &mesh.plane, Band::Nominal)
            .map_err(|error| spray_error(error, 0.0))?;
        let law = Arc::new(law_of(module, &nominal, coolant, 0.0)?);
        let mut system = System {
            module,
            cycle,
            capacity_J_K,
            sensors: Vec::new(),
            varies: network.conductivity_varies(),
            powers_W: vec![f64::NAN; shapes.len()],
            shapes,
            network,
            coolant,
            nominal,
            laws: vec![(coolant, Arc::clone(&law))],
            law,
            options,
            scale_W: 0.0,
            spares: Vec::new(),
            called_off: None,
        };
        system.set_time(0.0, 0.0)?;
        Ok(system)
    }

    /// Puts sensors on the mesh.
    #[must_use]
    pub fn with_sensors(mut self, sensors: &[Sensor]) -> System<'m> {
        self.sensors = sensor_points(sensors, &self.network);
        self
    }

    /// Makes runs give up as soon as `called_off` is set.
    #[must_use]
    pub fn unless(mut self, called_off: &'m AtomicBool) -> System<'m> {
        self.called_off = Some(called_off);
        self
    }

    /// Whether nobody waits for the run any more.
    pub fn is_called_off(&self) -> bool {
        self.called_off.is_some_and(|called_off| called_off.load(Ordering::Relaxed))
    }

    /// Takes the conditions of `at_s` within the period, on the piece that holds `near_s`.
    ///
    /// # Errors
    /// [`TransientError::Spray`].
    pub fn set_time(&mut self, near_s: f64, at_s: f64) -> Result<(), TransientError> {
        let powers_W: Vec<f64> = self.cycle.power_W.iter().map(|p| p.value(near_s, at_s)).collect();
        let coolant = coolant_at(self.cycle, near_s, at_s);
        if powers_W != self.powers_W {
            self.network.set_powers(&self.shapes, &powers_W);
            self.powers_W = powers_W;
        }
        if coolant != self.coolant {
            let kept = self.laws.iter().find(|(state, _)| *state == coolant);
            self.law = match kept {
                Some((_, law)) => Arc::clone(law),
                None => {
                    let law = Arc::new(law_of(self.module, &self.nominal, coolant, at_s)?);
                    if self.laws.len() == KEPT_LAWS {
                        self.laws.remove(0);
                    }
                    self.laws.push((coolant, Arc::clone(&law)));
                    law
                }
            };
            self.coolant = coolant;
        }
        Ok(())
    }

    /// Heat of each source per watt, one entry a cell of its face.
    pub fn shapes_W(&self) -> Vec<Vec<f64>> {
        self.shapes.clone()
    }

    /// Power of all sources at the moment, W.
    pub fn power_W(&self) -> f64 {
        self.powers_W.iter().sum()
    }

    /// Coolant inlet at the moment, K.
    pub fn inlet_K(&self) -> f64 {
        self.coolant[2]
    }

    /// Factor on the flow, or on the stated coefficients, at the moment.
    pub fn coolant_factor(&self) -> f64 {
        self.coolant[0] * self.coolant[1]
    }

    /// Whether one linear solve is a whole step.
    pub fn is_linear(&self) -> bool {
        !self.varies && self.law.is_linear()
    }

    /// Everything that follows from the rises `x`. `start` is a former wet side.
    pub fn evaluate(&mut self, x: &[f64], start: Option<&WetSide>) -> Evaluated {
        let factors = self.varies.then(|| self.network.conductivity_factors(x));
        let wet = wet_side(&self.network, factors.as_deref(), &*self.law, x, start);
        let (operator, rhs_W) = match self.spares.pop() {
            Some((mut operator, mut rhs_W)) => {
                let factors = factors.as_deref();
                assemble_into(&self.network, factors, &wet.tangent, &mut operator, &mut rhs_W);
                (operator, rhs_W)
            }
            None => assemble(&self.network, factors.as_deref(), &wet.tangent),
        };
        if self.scale_W == 0.0 {
            // Without any heat, a thousandth of a kelvin against the surroundings is the scale.
            let sinks = operator.blocks.iter().flat_map(|b| &b.sink).map(|s| s * s).sum::<f64>();
            self.scale_W = 1e-3 * sinks.sqrt();
        }
        self.scale_W = self.scale_W.max(norm(&rhs_W));
        let flow_W = operator.residual(&rhs_W, x);
        Evaluated { factors, wet, operator, rhs_W, flow_W }
    }

    /// Takes back the memory of an operator that is no longer needed.
    pub fn give_back(&mut self, operator: Operator, rhs_W: Vec<f64>) {
        self.spares.push((operator, rhs_W));
    }

    /// The wet side alone.
    pub fn wet(&self, factors: Option<&[f64]>, x: &[f64], start: &WetSide) -> WetSide {
        wet_side(&self.network, factors, &*self.law, x, Some(start))
    }

    /// Smallest critical over local heat flux anywhere; none with stated coefficients.
    pub fn chf_margin(&self, wet: &WetSide) -> Option<f64> {
        let WetLaw::Correlated { curves, .. } = &self.law.law else { return None };
        let shift_K = self.law.inlet_shift_K;
        wet.rise_K
            .iter()
            .enumerate()
            .filter_map(|(cell, rise)| curves.critical_margin(cell, rise - shift_K))
            .min_by(f64::total_cmp)
    }

    /// Norm of the residual at which a step counts as solved, W.
    pub fn goal_W(&self) -> f64 {
        self.relative_residual() * self.scale_W
    }

    /// Residual at which the equations of a step count as solved, relative to the heat flows: unless
    /// it is stated, three parts in a hundred thousand for every kelvin of error allowed in time, so
    /// that of rises of 100 K it leaves some thousandths of that error.
    fn relative_residual(&self) -> f64 {
        let tied = LINEAR_SHARE_1_K * self.cycle.time_accuracy_K;
        self.options.relative_residual.unwrap_or_else(|| tied.clamp(LEAST_RESIDUAL, MOST_RESIDUAL))
    }

    /// Where the heat goes at the moment.
    pub fn balance(&self, factors: Option<&[f64]>, x: &[f64], wet: &WetSide) -> HeatBalance {
        heat_balance(&self.network, factors, x, wet)
    }

    /// The steady state of the values that `of` takes from each signal, as rises above the inlet
    /// of the case.
    ///
    /// # Errors
    /// As for a steady solve.
    pub fn steady(&self, of: &dyn Fn(&Signal) -> f64) -> Result<GridSolution, SteadyError> {
        let module = module_of(self.module, self.cycle, of);
        if !module.has_heat_sink() {
            return Err(SteadyError::NoHeatSink);
        }
        let options = SteadyOptions {
            relative_tolerance: (1e-2 * self.relative_residual()).min(MOST_STEADY_RESIDUAL),
            ..SteadyOptions::default()
        };
        let mut solution = solve_on_mesh(&module, self.network.mesh.clone(), None, &options)?;
        let shift_K = module.coolant.inlet_K - self.module.coolant.inlet_K;
        solution.rise_K.iter_mut().for_each(|rise| *rise += shift_K);
        Ok(solution)
    }
}

/// The module under the values that `of` takes from each signal of a profile: its mean, its value
/// at some time.
pub fn module_of(module: &Module, cycle: &Cycle, of: &dyn Fn(&Signal) -> f64) -> Module {
    let powers: Vec<f64> = cycle.power_W.iter().map(of).collect();
    let coolant = [of(&cycle.flow_factor), of(&cycle.htc_factor), of(&cycle.inlet_K)];
    module_under(module, &powers, coolant)
}

fn coolant_at(cycle: &Cycle, near_s: f64, at_s: f64) -> CoolantState {
    [&cycle.flow_factor, &cycle.htc_factor, &cycle.inlet_K].map(|s| s.value(near_s, at_s))
}

fn law_of(
    module: &Module,
    nominal: &WetLaw,
    coolant: CoolantState,
    time_s: f64,
) -> Result<ShiftedLaw, TransientError> {
    let [flow_factor, htc_factor, inlet_K] = coolant;
    let inlet_shift_K = inlet_K - module.coolant.inlet_K;
    let law = if flow_factor == 1.0 && inlet_shift_K == 0.0 {
        nominal.clone()
    } else {
        let mut under = module.clone();
        under.coolant.inlet_K = inlet_K;
        nominal.with_coolant(&under, flow_factor).map_err(|error| spray_error(error, time_s))?
    };
    Ok(ShiftedLaw { law, htc_factor, inlet_shift_K })
}

fn spray_error(error: SteadyError, time_s: f64) -> TransientError {
    match error {
        SteadyError::Spray(error) => TransientError::Spray { time_s, error },
        error => TransientError::Start(error),
    }
}

/// The module under other powers (die, then heaters; those that are not given stay) and another
/// coolant. The board and the edges keep their temperatures.
fn module_under(module: &Module, powers_W: &[f64], coolant: CoolantState) -> Module {
    let [flow_factor, htc_factor, inlet_K] = coolant;
    let mut under = module.clone();
    for (die, power_W) in under.die.iter_mut().zip(powers_W) {
        if die.power_W > 0.0 {
            for block in &mut die.blocks {
                block.power_W *= power_W / die.power_W;
            }
        } else {
            die.blocks.clear();
        }
        die.power_W = *power_W;
    }
    let rest = powers_W.get(module.die.len()..).unwrap_or_default();
    for (heater, power_W) in under.heaters.iter_mut().zip(rest) {
        heater.power_W = *power_W;
    }
    under.coolant.inlet_K = inlet_K;
    match &mut under.spray {
        Spray::Prescribed(spray) => {
            match &mut spray.base {
                PrescribedHtc::Uniform(htc) => *htc *= htc_factor,
                PrescribedHtc::Map(map) => map.values.iter_mut().for_each(|h| *h *= htc_factor),
            }
            spray.patches.iter_mut().for_each(|patch| patch.htc_W_m2K *= htc_factor);
        }
        Spray::Correlated(spray) => {
            spray.nozzles.iter_mut().for_each(|nozzle| nozzle.flow_factor *= flow_factor);
        }
    }
    under
}
