//! A module's sensors as functions of its corrections, and the fit of the ones to the others.

use std::fmt;

use super::judgement::{Judgement, Verdict20, judge};
use super::least_squares::{Forward, Minimum, Problem, minimise};
use crate::conduction::Network;
use crate::mesh::Mesh;
use crate::module::{Correction, Module, Sensor};
use crate::results::{SensorReading, sensor_points, sensor_rises};
use crate::steady::{GridSolution, SteadyError, SteadyOptions, solve_on_mesh};
use crate::study::sensitivity::{Parameter, derivatives_of};

/// Numerical uncertainty over its standard uncertainty: the cautious value of ASME V&V 20 (from
/// memory).
const NUMERICAL_COVERAGE: f64 = 1.15;

/// What can be fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FitParameter {
    /// Factor on the spray's heat flux.
    SprayCoefficient,
    /// Factor on the conductivity of every attach.
    AttachConductivity,
    /// Factor on the coefficient to the board.
    BoardCoefficient,
    /// Offset of the liquid's temperature at the nozzles, K.
    InletOffset,
}

impl FitParameter {
    /// All of them.
    pub const ALL: [FitParameter; 4] = [
        FitParameter::SprayCoefficient,
        FitParameter::AttachConductivity,
        FitParameter::BoardCoefficient,
        FitParameter::InletOffset,
    ];

    /// The key of `[correction]`.
    pub fn word(self) -> &'static str {
        match self {
            FitParameter::SprayCoefficient => "spray_coefficient",
            FitParameter::AttachConductivity => "attach_conductivity",
            FitParameter::BoardCoefficient => "board_coefficient",
            FitParameter::InletOffset => "inlet_offset_K",
        }
    }

    /// Whether it is a factor, fitted by its logarithm; else an offset in K.
    pub fn is_factor(self) -> bool {
        self != FitParameter::InletOffset
    }

    /// Lowest and highest value looked at unless told otherwise.
    pub fn usual_bounds(self) -> [f64; 2] {
        match self {
            FitParameter::InletOffset => [-20.0, 20.0],
            _ => [0.1, 10.0],
        }
    }

    /// From a value to what is fitted.
    pub fn inward(self, value: f64) -> f64 {
        if self.is_factor() { value.ln() } else { value }
    }

    /// From what is fitted to the value.
    pub fn outward(self, fitted: f64) -> f64 {
        if self.is_factor() { fitted.exp() } else { fitted }
    }

    fn put(self, correction: &mut Correction, value: f64) {
        match self {
            FitParameter::SprayCoefficient => correction.spray_coefficient = value,
            FitParameter::AttachConductivity => correction.attach_conductivity = value,
            FitParameter::BoardCoefficient => correction.board_coefficient = value,
            FitParameter::InletOffset => correction.inlet_offset_K = value,
        }
    }

    /// Why a module has no use for it.
    pub fn meaningless(self, module: &Module) -> Option<&'static str> {
        match self {
            FitParameter::AttachConductivity if module.die.iter().all(|d| d.attach.is_none()) => {
                Some("no die has an attach")
            }
            FitParameter::BoardCoefficient if module.board.htc_W_m2K == 0.0 => {
                Some("the board takes no heat")
            }
            _ => None,
        }
    }
}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Number of the sensor.
    pub sensor: usize,
    /// What it read, K.
    pub reading_K: f64,
    /// Its limit of error in this measurement, K; that of the case unless stated.
    pub limit_of_error_K: Option<f64>,
}

/// What is asked of a fit.
#[derive(Debug, Clone)]
pub struct FitOptions {
    /// What to fit, with the lowest and highest value allowed.
    pub parameters: Vec<(FitParameter, [f64; 2])>,
    /// Confidence of the intervals.
    pub confidence: f64,
    /// Relative standard uncertainty of each fitted factor as the case states it.
    pub input_relative: f64,
    /// Whether readings that disagree with the others are left out.
    pub leave_out: bool,
    /// Options of the solves.
    pub steady: SteadyOptions,
}

/// Why there is no fit.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub enum FitError {
    /// The module has no use for a parameter.
    Meaningless {
        /// The parameter.
        parameter: FitParameter,
        /// Why.
        why: &'static str,
    },
    /// Fewer readings than parameters.
    TooFew {
        /// Readings.
        readings: usize,
        /// Parameters.
        parameters: usize,
    },
    /// No temperatures.
    Steady(SteadyError),
}

impl fmt::Display for FitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FitError::Meaningless { parameter, why } => {
                write!(f, "{} cannot be fitted: {why}", parameter.word())
            }
            FitError::TooFew { readings, parameters } => {
                write!(f, "{readings} readings cannot determine {parameters} parameters")
            }
            FitError::Steady(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for FitError {}

impl From<SteadyError> for FitError {
    fn from(error: SteadyError) -> Self {
        FitError::Steady(error)
    }
}

/// One sensor after the fit.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorFit {
    /// Number of the sensor.
    pub sensor: usize,
    /// What it read, K.
    pub reading_K: f64,
    /// What the case as stated predicts, K.
    pub before_K: f64,
    /// What the corrected case predicts, K.
    pub after_K: f64,
    /// Standard uncertainty by which it was weighed, K.
    pub sigma_K: f64,
    /// Residual over its own standard deviation; see [`Judgement::normalised`].
    pub normalised: Option<f64>,
    /// Whether it disagrees with the others and was left out.
    pub disagrees: bool,
    /// The comparison of the case as stated.
    pub comparison: Verdict20,
    /// The comparison of the corrected case; the same readings made it, so that it proves nothing.
    pub comparison_after: Verdict20,
}

/// The fit.
#[derive(Debug, Clone)]
pub struct Fit {
    /// What was fitted.
    pub parameters: Vec<FitParameter>,
    /// Bounds of each.
    pub bounds: Vec<[f64; 2]>,
    /// The correction.
    pub correction: Correction,
    /// Its worth; parameters are logarithms of factors, or offsets in K.
    pub judgement: Judgement,
    /// Each reading.
    pub sensors: Vec<SensorFit>,
    /// Steps of the search.
    pub steps: usize,
    /// Whether it ended by itself.
    pub converged: bool,
}

impl Fit {
    /// Value of a parameter, and the ends of its interval.
    pub fn value_of(&self, k: usize) -> (f64, [f64; 2]) {
        let (parameter, estimate) = (self.parameters[k], self.judgement.estimates[k]);
        (parameter.outward(estimate.value), estimate.interval.map(|v| parameter.outward(v)))
    }
}

/// Fits corrections of `module` to readings. `nominal` holds a solution of the module as stated,
/// whose mesh is used throughout, and `predicted` its sensors' readings with their uncertainties.
///
/// A reading that disagrees with the others is left out, the worst first, and the fit made again,
/// as long as one reading more than parameters is left.
///
/// # Errors
/// See [`FitError`].
pub fn fit(
    module: &Module,
    sensors: &[Sensor],
    nominal: &GridSolution,
    predicted: &[SensorReading],
    readings: &[Measured],
    options: &FitOptions,
    progress: &mut dyn FnMut(usize),
) -> Result<Fit, FitError> {
    let parameters: Vec<FitParameter> = options.parameters.iter().map(|p| p.0).collect();
    for &parameter in &parameters {
        if let Some(why) = parameter.meaningless(module) {
            return Err(FitError::Meaningless { parameter, why });
        }
    }
    if readings.len() < parameters.len() || parameters.is_empty() {
        let (readings, parameters) = (readings.len(), parameters.len());
        return Err(FitError::TooFew { readings, parameters });
    }
    let measured_K: Vec<f64> = readings
        .iter()
        .map(|reading| {
            let own = &predicted[reading.sensor];
            let limit = reading.limit_of_error_K.unwrap_or(own.limit_of_error_K);
            // A limit of error is the half width of a rectangle.
            limit.hypot(own.placement_K) / 3f64.sqrt()
        })
        .collect();
    let numerical_K: Vec<f64> =
        readings.iter().map(|r| predicted[r.sensor].uncertainty_K / NUMERICAL_COVERAGE).collect();
    let mut problem = Problem {
        measured: readings.iter().map(|reading| reading.reading_K).collect(),
        sigma: measured_K.iter().zip(&numerical_K).map(|(d, n)| d.hypot(*n)).collect(),
        counts: vec![true; readings.len()],
        // As the case states it: factors of one, no offset.
        start: vec![0.0; parameters.len()],
        low: options.parameters.iter().map(|(p, bounds)| p.inward(bounds[0])).collect(),
        high: options.parameters.iter().map(|(p, bounds)| p.inward(bounds[1])).collect(),
    };
    let mut model = SensorModel {
        module,
        sensors: readings.iter().map(|r| sensors[r.sensor].clone()).collect(),
        mesh: nominal.mesh.clone(),
        parameters: parameters.clone(),
        options: &options.steady,
        last: None,
        start: nominal.rise_K.clone(),
        solves: 0,
        progress,
    };
    let stated = vec![0.0; parameters.len()];
    let before = model.readings(&stated)?;
    let before_derivatives = model.derivatives(&stated)?;
    let (mut minimum, mut judgement) = once(&mut model, &problem, options.confidence)?;
    while options.leave_out && judgement.degrees > 1 {
        let Some(worst) = judgement.outlier(&problem.counts) else { break };
        problem.counts[worst] = false;
        problem.start.clone_from(&minimum.parameters);
        (minimum, judgement) = once(&mut model, &problem, options.confidence)?;
    }
    let sensors = (0..readings.len())
        .map(|i| {
            let reading_K = problem.measured[i];
            let stated_K: f64 = before_derivatives[i]
                .iter()
                .zip(&parameters)
                .filter(|(_, parameter)| parameter.is_factor())
                .map(|(derivative, _)| (derivative * options.input_relative).powi(2))
                .sum::<f64>()
                .sqrt();
            let comparison = |error_K: f64, input_K: f64| Verdict20 {
                error_K,
                numerical_K: numerical_K[i],
                input_K,
                measured_K: measured_K[i],
            };
            let after_K = minimum.readings[i];
            SensorFit {
                sensor: readings[i].sensor,
                reading_K,
                before_K: before[i],
                after_K,
                sigma_K: problem.sigma[i],
                normalised: judgement.normalised[i],
                disagrees: !problem.counts[i],
                comparison: comparison(before[i] - reading_K, stated_K),
                comparison_after: comparison(
                    after_K - reading_K,
                    judgement.propagated(&minimum.derivatives[i]),
                ),
            }
        })
        .collect();
    Ok(Fit {
        correction: correction_of(&parameters, &minimum.parameters),
        bounds: options.parameters.iter().map(|p| p.1).collect(),
        parameters,
        judgement,
        sensors,
        steps: minimum.steps,
        converged: minimum.converged,
    })
}

fn once<F: Forward>(
    model: &mut F,
    problem: &Problem,
    confidence: f64,
) -> Result<(Minimum, Judgement), F::Error> {
    let minimum = minimise(model, problem)?;
    let judgement = judge(problem, &minimum, confidence);
    Ok((minimum, judgement))
}

fn correction_of(parameters: &[FitParameter], fitted: &[f64]) -> Correction {
    let mut correction = Correction::default();
    for (parameter, value) in parameters.iter().zip(fitted) {
        parameter.put(&mut correction, parameter.outward(*value));
    }
    correction
}

/// The sensors of a module as functions of its corrections, on one mesh.
pub(super) struct SensorModel<'a> {
    pub module: &'a Module,
    pub sensors: Vec<Sensor>,
    pub mesh: Mesh,
    pub parameters: Vec<FitParameter>,
    pub options: &'a SteadyOptions,
    pub last: Option<(Vec<f64>, Module, GridSolution)>,
    pub start: Vec<f64>,
    pub solves: usize,
    pub progress: &'a mut dyn FnMut(usize),
}

impl SensorModel<'_> {
    fn solve(&mut self, fitted: &[f64]) -> Result<(), SteadyError> {
        if self.last.as_ref().is_some_and(|(at, ..)| at == fitted) {
            return Ok(());
        }
        let module = correction_of(&self.parameters, fitted).apply(self.module);
        let start = self.last.as_ref().map_or(&self.start, |(_, _, last)| &last.rise_K).clone();
        let solution = solve_on_mesh(&module, self.mesh.clone(), Some(start), self.options)?;
        self.solves += 1;
        (self.progress)(self.solves);
        self.last = Some((fitted.to_vec(), module, solution));
        Ok(())
    }

    fn last(&mut self, fitted: &[f64]) -> Result<(&Module, &GridSolution), SteadyError> {
        self.solve(fitted)?;
        match &self.last {
            Some((_, module, solution)) => Ok((module, solution)),
            None => Err(SteadyError::NoHeatSink),
        }
    }
}

impl Forward for SensorModel<'_> {
    type Error = SteadyError;

    fn readings(&mut self, fitted: &[f64]) -> Result<Vec<f64>, SteadyError> {
        let sensors = self.sensors.clone();
        let (module, solution) = self.last(fitted)?;
        let network = Network::new(module, &solution.mesh);
        let points = sensor_points(&sensors, &network);
        let factors = solution.factors.as_deref();
        let rises = sensor_rises(&network, factors, &solution.rise_K, &solution.wet, &points);
        Ok(rises.into_iter().map(|rise| module.coolant.inlet_K + rise).collect())
    }

    fn derivatives(&mut self, fitted: &[f64]) -> Result<Vec<Vec<f64>>, SteadyError> {
        let sensors = self.sensors.clone();
        let parameters = self.parameters.clone();
        let options = self.options;
        let (module, solution) = self.last(fitted)?;
        let mut network = Network::new(module, &solution.mesh);
        let points = sensor_points(&sensors, &network);
        for point in &points {
            network.watch(point.face.block, point.face.face);
        }
        let weights: Vec<Vec<Vec<f64>>> =
            points.iter().map(|point| network.on_watched(&point.face, &point.weights)).collect();
        // Several attach materials are corrected by one factor.
        let mut attaches: Vec<Parameter> = Vec::new();
        for attach in module.die.iter().filter_map(|die| die.attach.as_ref()) {
            let parameter =
                Parameter::AttachConductivity { material: attach.material.name.clone() };
            if !attaches.contains(&parameter) {
                attaches.push(parameter);
            }
        }
        let inputs: Vec<Vec<Parameter>> = parameters
            .iter()
            .map(|parameter| match parameter {
                FitParameter::SprayCoefficient => vec![Parameter::SprayCoefficient],
                FitParameter::AttachConductivity => attaches.clone(),
                FitParameter::BoardCoefficient => vec![Parameter::BoardCoefficient],
                FitParameter::InletOffset => vec![Parameter::InletTemperature],
            })
            .collect();
        let flat: Vec<Parameter> = inputs.iter().flatten().cloned().collect();
        let rows = derivatives_of(&network, solution, options, &weights, &flat)?;
        Ok(rows
            .into_iter()
            .map(|row| {
                let mut row = row.into_iter();
                inputs.iter().map(|group| row.by_ref().take(group.len()).sum()).collect()
            })
            .collect())
    }
}
