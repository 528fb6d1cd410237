//! One solve on one mesh: linear at once, nonlinear by outer iterations.
//!
//! What makes the system nonlinear is the boiling curve on the wet side and conductivities that
//! depend on temperature. Each outer iteration linearises the wet side exactly (Newton) and takes
//! the conductivities at the last temperatures (successive substitution): the matrix stays
//! symmetric positive definite, and since k changes slowly with T the substitution contracts by a
//! factor of ten or more a step.
//!
//! With the conductivities held, the residual is minus the gradient of a convex energy (the flux
//! into the spray never falls with the surface's temperature). The line search looks for its
//! minimum along the Newton step d: phi'(s) = -r(x + s d) . d rises with s, and a step is taken
//! when |phi'(s)| has fallen to half of |phi'(0)|.

use super::hottest_place::hottest_place;
use super::wet_law::WetLaw;
use super::{SteadyError, SteadyOptions};
use crate::conduction::assembly::{assemble, assemble_into};
use crate::conduction::faces::{WetSide, wet_side};
use crate::conduction::{Network, Operator, SurfaceLaw};
use crate::linear::{
    CgError, CgInfo, CgParams, Detached, Preconditioned, add_to, dot, largest_magnitude, norm,
};
use crate::mesh::Mesh;
use crate::module::Module;

/// Rise of the surface above the inlet at which a spray has lost its die for good, K.
const RUNAWAY_RISE_K: f64 = 2000.0;
/// Most outer iterations.
const MAX_OUTER: usize = 60;
/// Most trials along one step.
const MAX_TRIALS: usize = 12;
/// A step below this share of the largest rise leaves the preconditioner as it is.
const CARRIED_CHANGE: f64 = 0.1;
/// Residual reduction asked of the linear solver within an outer iteration.
const INNER_REDUCTION: f64 = 0.01;
/// Reduction that is asked for where it makes the outer iteration the last one.
const LAST_REDUCTION: f64 = 0.002;
/// Fall of the residual in a step after which the next one is taken whole, without a search.
const QUICK_REDUCTION: f64 = 0.1;

/// A lent preconditioner that takes more iterations than this is left aside for a new one.
const MOST_LENT_ITERATIONS: usize = 40;

/// Largest relative residual that is put down to rounding of the coefficients, where a step with
/// more than double precision gains nothing.
const ROUNDING_RESIDUAL: f64 = 1e-7;

/// The temperatures of one mesh.
#[derive(Debug, Clone)]
pub struct GridSolution {
    /// The cells.
    pub mesh: Mesh,
    /// Rise of every unknown above the coolant inlet, K.
    pub rise_K: Vec<f64>,
    /// Conductivity factor of every unknown, if any varies.
    pub factors: Option<Vec<f64>>,
    /// The wet side.
    pub wet: WetSide,
    /// Its law.
    pub law: WetLaw,
    /// Linear iterations, all outer iterations together.
    pub iterations: usize,
    /// Outer iterations.
    pub outer_iterations: usize,
    /// Final residual of the nonlinear system relative to what drives it: its right-hand side less
    /// what a uniform temperature explains.
    pub residual_relative: f64,
}

/// Solves `module` on `mesh`. `start` holds first guesses of the rises (K), if there are any.
///
/// # Errors
/// See [`SteadyError`].
pub fn solve_on_mesh(
    module: &Module,
    mesh: Mesh,
    start: Option<Vec<f64>>,
    options: &SteadyOptions,
) -> Result<GridSolution, SteadyError> {
    let law = WetLaw::on(module, &mesh.plane, options.band)?;
    solve_with_law(module, mesh, law, start, options)
}

/// [`solve_on_mesh`] with a wet side already laid on the mesh.
///
/// # Errors
/// See [`SteadyError`].
pub fn solve_with_law(
    module: &Module,
    mesh: Mesh,
    law: WetLaw,
    start: Option<Vec<f64>>,
    options: &SteadyOptions,
) -> Result<GridSolution, SteadyError> {
    solve_lent(module, mesh, law, start, &mut None, options)
}

/// [`solve_with_law`] with the preconditioner of a solve on the same cells, which is lent and
/// comes back as it was: whatever is solved with it in between, the next solve starts from the
/// same one. Where it serves badly the solve makes one of its own. After a failure it may be gone.
///
/// # Errors
/// See [`SteadyError`].
///
/// # Panics
/// If the preconditioner belongs to other blocks of cells.
pub fn solve_lent(
    module: &Module,
    mesh: Mesh,
    law: WetLaw,
    start: Option<Vec<f64>>,
    lent: &mut Option<Detached>,
    options: &SteadyOptions,
) -> Result<GridSolution, SteadyError> {
    let outcome = {
        let network = Network::new(module, &mesh);
        if law.is_linear() && !network.conductivity_varies() {
            solve_linear(&network, &law, start, lent, options)?
        } else {
            solve_nonlinear(&network, &law, start, lent, options)?
        }
    };
    Ok(GridSolution {
        mesh,
        rise_K: outcome.point.x,
        factors: outcome.point.factors,
        wet: outcome.point.wet,
        law,
        iterations: outcome.iterations,
        outer_iterations: outcome.outer_iterations,
        residual_relative: outcome.residual_relative,
    })
}

/// An iterate with everything that follows from it.
struct Point {
    x: Vec<f64>,
    /// What rounding took from x, where that matters to the residual; else empty.
    low: Vec<f64>,
    factors: Option<Vec<f64>>,
    wet: WetSide,
}

struct Outcome {
    point: Point,
    iterations: usize,
    outer_iterations: usize,
    residual_relative: f64,
}

/// Least size of what drives a system, as a share of its right-hand side: below, rounding of the
/// right-hand side is all that is left.
const LEAST_DRIVE: f64 = 1e-6;

/// What drives a system.
struct Drive {
    /// The uniform rise that explains most of the right-hand side, K.
    uniform_K: f64,
    /// Size of what it does not explain, W.
    size_W: f64,
}

/// What drives a system: the right-hand side without what a uniform temperature explains,
///
/// ```text
/// min over c of |b - c A 1|        A 1 = the sinks
/// ```
///
/// Residuals are judged by it. A module that only its board cools is as warm as the board, and its
/// right-hand side is large as soon as the coolant has another temperature; the heat that it has
/// to carry may be a millionth of that. `rhs_size_W` is the norm of `rhs`.
fn drive(operator: &Operator, rhs: &[f64], rhs_size_W: f64) -> Drive {
    let offsets = operator.offsets();
    let blocks = || operator.blocks.iter().map(|block| &block.sink[..]).zip(&offsets);
    let (mut product, mut square) = (0.0, 0.0);
    for (sinks, &offset) in blocks() {
        product += dot(sinks, &rhs[offset..][..sinks.len()]);
        square += dot(sinks, sinks);
    }
    let uniform_K = if square > 0.0 { product / square } else { 0.0 };
    let mut rest = rhs_size_W * rhs_size_W - uniform_K * product;
    // Where little is left the difference has lost its digits.
    if rest < 1e-4 * rhs_size_W * rhs_size_W {
        rest = 0.0;
        for (sinks, &offset) in blocks() {
            for (sink, b) in sinks.iter().zip(&rhs[offset..]) {
                rest += (b - uniform_K * sink).powi(2);
            }
        }
    }
    Drive { uniform_K, size_W: rest.sqrt().max(LEAST_DRIVE * rhs_size_W) }
}

fn solve_linear(
    network: &Network,
    law: &WetLaw,
    start: Option<Vec<f64>>,
    lent: &mut Option<Detached>,
    options: &SteadyOptions,
) -> Result<Outcome, SteadyError> {
    let nowhere = vec![0.0; network.unknowns()];
    let wet = wet_side(network, None, law, &nowhere, None);
    let (operator, rhs) = assemble(network, None, &wet.tangent);
    let scale = norm(&rhs);
    let drive = drive(&operator, &rhs, scale);
    let share = if scale > 0.0 { drive.size_W / scale } else { 1.0 };
    let relative_tolerance = options.relative_tolerance * share;
    let mut x = start.unwrap_or_else(|| vec![drive.uniform_K; rhs.len()]);
    let params = CgParams { relative_tolerance, ..CgParams::default() };
    let with_lent = lent.take().and_then(|prepared| {
        let solver = prepared.attach(&operator);
        let params = CgParams { max_iterations: MOST_LENT_ITERATIONS, ..params };
        let info = solver.solve(&rhs, &mut x, &params).ok();
        *lent = Some(solver.detach());
        info
    });
    let info = match with_lent {
        Some(info) => info,
        None => Preconditioned::new(&operator).solve(&rhs, &mut x, &params)?,
    };
    let wet = wet_side(network, None, law, &x, None);
    Ok(Outcome {
        point: Point { x, low: Vec::new(), factors: None, wet },
        iterations: info.iterations,
        outer_iterations: 1,
        residual_relative: info.residual_relative / share,
    })
}

/// The linearisation at an iterate: operator, right-hand side, residual there.
struct Linearised {
    operator: Operator,
    rhs: Vec<f64>,
    residual: Vec<f64>,
}

impl Linearised {
    fn at(network: &Network, point: &Point) -> Linearised {
        let (operator, rhs) = assemble(network, point.factors.as_deref(), &point.wet.tangent);
        let mut here = Linearised { residual: vec![0.0; rhs.len()], operator, rhs };
        here.compare(point);
        here
    }

    /// The residual at an iterate.
    fn compare(&mut self, point: &Point) {
        self.operator.residual_into(&self.rhs, &point.x, &mut self.residual);
        if !point.low.is_empty() {
            let rest = std::mem::take(&mut self.residual);
            self.residual = self.operator.residual(&rest, &point.low);
        }
    }

    /// Moves to another iterate, in the same memory.
    fn move_to(&mut self, network: &Network, point: &Point) {
        let factors = point.factors.as_deref();
        assemble_into(network, factors, &point.wet.tangent, &mut self.operator, &mut self.rhs);
        self.compare(point);
    }
}

fn solve_nonlinear(
    network: &Network,
    law: &WetLaw,
    start: Option<Vec<f64>>,
    lent: &mut Option<Detached>,
    options: &SteadyOptions,
) -> Result<Outcome, SteadyError> {
    let varies = network.conductivity_varies();
    let point_at = |x: Vec<f64>| {
        let factors = varies.then(|| network.conductivity_factors(&x));
        let wet = wet_side(network, factors.as_deref(), law, &x, None);
        Point { x, low: Vec::new(), factors, wet }
    };
    let is_free = start.is_none() && law.is_linear();
    let mut point = point_at(start.unwrap_or_else(|| vec![0.0; network.unknowns()]));
    let mut here = Linearised::at(network, &point);
    if is_free {
        let uniform_K = drive(&here.operator, &here.rhs, norm(&here.rhs)).uniform_K;
        point = point_at(vec![uniform_K; network.unknowns()]);
        here.move_to(network, &point);
    }
    let mut iterations = 0;
    let mut last_change_K = f64::INFINITY;
    let mut kept: Option<Detached> = None;
    let mut lent_serves = true;
    let mut step = vec![0.0; network.unknowns()];
    // Residual before the last step.
    let mut before: Option<f64> = None;
    // Whether rounding mattered to the linear solve of that step.
    let mut limited = false;
    // Whether steps may be taken whole, and whether the last one was.
    let (mut trusted, mut quick) = (true, false);
    for outer in 0..=MAX_OUTER {
        let size = norm(&here.rhs);
        let scale = drive(&here.operator, &here.rhs, size).size_W;
        let residual = norm(&here.residual);
        // Where the last step did well the next one needs no search, unless such a step went wrong.
        let fallen = before.map_or(1.0, |before| residual / before);
        trusted &= !(quick && fallen > 1.0);
        quick = trusted && fallen <= QUICK_REDUCTION;
        let stalled = fallen > 0.5 && before.is_some();
        let at_rounding = stalled && limited && residual <= ROUNDING_RESIDUAL * scale;
        if scale == 0.0 || residual <= options.relative_tolerance * scale || at_rounding {
            let residual_relative = if scale == 0.0 { 0.0 } else { residual / scale };
            return Ok(Outcome { point, iterations, outer_iterations: outer, residual_relative });
        }
        if outer == MAX_OUTER || !residual.is_finite() {
            break;
        }
        let last = 0.3 * options.relative_tolerance * scale;
        let goal = if last < LAST_REDUCTION * residual { INNER_REDUCTION * residual } else { last };
        before = Some(residual);
        let borrowed = if lent_serves { lent.take() } else { None };
        let is_borrowed = borrowed.is_some();
        let solver = match borrowed.or_else(|| kept.take()) {
            Some(kept) => kept.attach(&here.operator),
            None => Preconditioned::new(&here.operator),
        };
        let hottest_rise_K = largest_magnitude(&point.x);
        // A residual that does not fall may be rounding.
        let outcome = if stalled || limited {
            careful_step(&solver, &here, &point, goal / size, &mut step)
        } else {
            let relative_tolerance = goal / residual;
            let params = CgParams { relative_tolerance, ..CgParams::default() };
            solver.step(&here.residual, &mut step, &params).map(|info| (info, None))
        };
        let (info, sum) = match outcome {
            Ok(outcome) => outcome,
            // Conductivities that fall faster than temperatures rise: there is no steady state, and
            // the iterates leave for infinity.
            Err(_) if varies && hottest_rise_K > RUNAWAY_RISE_K => break,
            Err(error) => return Err(error.into()),
        };
        iterations += info.iterations;
        let prepared = solver.detach();
        let prepared = if is_borrowed {
            lent_serves = info.iterations <= MOST_LENT_ITERATIONS;
            *lent = Some(prepared);
            None
        } else {
            Some(prepared)
        };
        limited = info.limited_by_rounding;
        last_change_K = largest_magnitude(&step);
        // A small step changes the operator little: its preconditioner serves the next one.
        if last_change_K < CARRIED_CHANGE * hottest_rise_K {
            kept = prepared;
        }
        if law.is_linear() || quick {
            // With the conductivities held the step is exact, or as good as that; there is nothing to
            // search.
            match sum {
                Some((x, low)) => (point.x, point.low) = (x, low),
                None => add_to(&mut point.x, &step),
            }
        } else {
            if info.limited_by_rounding {
                point.low.resize(point.x.len(), 0.0);
            }
            point = line_search(network, law, point, &mut here, &step);
        }
        if varies || quick {
            // The line search held the conductivities; now they follow.
            if let Some(factors) = &mut point.factors {
                network.conductivity_factors_into(&point.x, factors);
            }
            point.wet =
                wet_side(network, point.factors.as_deref(), law, &point.x, Some(&point.wet));
            here.move_to(network, &point);
        }
        // Beyond critical heat flux the flux hardly grows any more: what no neighbour takes
        // drives the surface up without end. No need to follow it past glowing.
        let hottest_K = point.wet.rise_K.iter().copied().fold(0.0, f64::max);
        if !law.is_linear() && hottest_K > RUNAWAY_RISE_K {
            let place = hottest_place(network, &point.x);
            return Err(SteadyError::BurnOut { rise_K: hottest_K, place });
        }
    }
    Err(SteadyError::NotConverged {
        outer_iterations: MAX_OUTER,
        last_change_K,
        place: hottest_place(network, &point.x),
    })
}

/// A step with its end as a sum of two: x, and what rounding takes from it.
type Careful = (CgInfo, Option<(Vec<f64>, Vec<f64>)>);

/// The step from `from` to the solution of the system there, by a solve for the temperatures
/// themselves, which sees what rounding takes from them.
fn careful_step(
    solver: &Preconditioned,
    here: &Linearised,
    from: &Point,
    relative_tolerance: f64,
    step: &mut Vec<f64>,
) -> Result<Careful, CgError> {
    let (mut x, mut low) = (from.x.clone(), from.low.clone());
    let params = CgParams { relative_tolerance, ..CgParams::default() };
    let info = solver.solve_split(&here.rhs, &mut x, &mut low, &params)?;
    *step = difference(&x, &low, from);
    Ok((info, Some((x, low))))
}

/// `x + low - (from.x + from.low)`.
fn difference(x: &[f64], low: &[f64], from: &Point) -> Vec<f64> {
    let mut step: Vec<f64> = x.iter().zip(&from.x).map(|(a, b)| a - b).collect();
    if !low.is_empty() {
        step.iter_mut().zip(low).for_each(|(step, low)| *step += low);
    }
    if !from.low.is_empty() {
        step.iter_mut().zip(&from.low).for_each(|(step, low)| *step -= low);
    }
    step
}

/// `from + length step`; where what rounding takes matters at `from`, with what it takes.
fn moved(from: &Point, step: &[f64], length: f64) -> (Vec<f64>, Vec<f64>) {
    let x: Vec<f64> = from.x.iter().zip(step).map(|(x, d)| x + length * d).collect();
    let low = (from.low.iter().zip(&from.x).zip(step).zip(&x))
        .map(|(((low, from), step), x)| {
            let d = length * step;
            // The exact error of the sum (Knuth 1969, "The art of computer programming" 2, 4.2.2).
            let part = x - from;
            low + ((from - (x - part)) + (d - part))
        })
        .collect();
    (x, low)
}

/// Goes along `step` until the slope of the energy has fallen to half; `here` comes along.
fn line_search(
    network: &Network,
    law: &WetLaw,
    from: Point,
    here: &mut Linearised,
    step: &[f64],
) -> Point {
    let slope_at_start = dot(&here.residual, step);
    let (mut low, mut high) = (0.0, f64::INFINITY);
    let mut length = 1.0;
    let (mut slope_low, mut slope_high) = (slope_at_start, f64::NAN);
    let mut trial = 0;
    loop {
        let (x, lost) = moved(&from, step, length);
        let wet = wet_side(network, from.factors.as_deref(), law, &x, Some(&from.wet));
        let point = Point { x, low: lost, factors: from.factors.clone(), wet };
        here.move_to(network, &point);
        let slope = dot(&here.residual, step);
        trial += 1;
        // Falling energy at the full step is accepted too: the model curve is trusted up to
        // there and no further.
        let enough = slope.abs() <= 0.5 * slope_at_start.abs() || (length == 1.0 && slope > 0.0);
        if enough || trial == MAX_TRIALS {
            return point;
        }
        if slope > 0.0 {
            (low, slope_low) = (length, slope);
        } else {
            (high, slope_high) = (length, slope);
        }
        // Regula falsi on the slope, kept off the ends of the bracket.
        length = low + (high - low) * (slope_low / (slope_low - slope_high)).clamp(0.1, 0.9);
    }
}
