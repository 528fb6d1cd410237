//! The network of a solution, linearised there.
//!
//! With T the rises of cells and faces, R = 0 the heat balance of every node, and A the symmetric
//! operator with conductivities and the slope of the spray's flux held at the solution, a small
//! change of heat q on the faces moves the cells by
//!
//! ```text
//! A d = q + B d
//! ```
//!
//! where B is what conductivities that depend on temperature add: a cell that grows warmer by
//! d_c changes each of its half conductances g by g s d_c, with s = (dk/dT) / k, and so moves the
//! heat g s d_c (T_c - T_f) from the cell to the face f. The *influence* of a reading
//! J = sum of w_f T_f, which is the rise of J for a watt at each node, follows from the transpose:
//!
//! ```text
//! A l = w + B' l,   (B' l)_c = -s_c sum over its faces of g (T_c - T_f) (l_c - l_f)
//! ```
//!
//! Both are solved by correction: A is inverted roughly, the residual of the full system is
//! recomputed, until it is small. B is to A as the change of k over the temperature drop in a die
//! is to k, a few per cent, so that a handful of rough solves do; without it one solve does.

use crate::conduction::assembly::assemble;
use crate::conduction::{FaceLink, Network, Operator};
use crate::linear::{CgError, CgParams, Preconditioned};
use crate::steady::GridSolution;

/// Residual reduction asked of a rough solve.
const ROUGH: f64 = 0.01;
/// Most corrections.
const MOST_CORRECTIONS: usize = 60;

/// What solves have cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Cost {
    /// Fields solved for: tangents and influences.
    pub fields: usize,
    /// Linear solves; as many as fields where conductivities do not vary.
    pub solves: usize,
    /// Conjugate gradient iterations of all of them.
    pub iterations: usize,
}

impl Cost {
    /// Adds another cost.
    pub fn add(&mut self, other: Cost) {
        self.fields += other.fields;
        self.solves += other.solves;
        self.iterations += other.iterations;
    }
}

/// A field of the linearised network.
#[derive(Debug, Clone)]
pub struct Response {
    /// One value an unknown.
    pub cells: Vec<f64>,
    /// Values of the faces on which heat is released, laid out as [`Network::face_heats`].
    pub faces: Vec<Vec<f64>>,
    /// What it cost.
    pub cost: Cost,
}

/// A solution's network, linearised there.
pub struct Linearised<'a> {
    /// The network.
    pub network: &'a Network<'a>,
    /// The solution.
    pub solution: &'a GridSolution,
    heats: Vec<Vec<f64>>,
    /// Relative change of each unknown's conductivity with temperature, 1/K.
    slopes_1_K: Option<Vec<f64>>,
    operator: Operator,
}

/// A [`Linearised`] network with its preconditioner.
pub struct Solver<'a> {
    linearised: &'a Linearised<'a>,
    preconditioned: Preconditioned<'a>,
    params: CgParams,
}

impl<'a> Linearised<'a> {
    /// Linearises `network` at `solution`, which was found on the same mesh.
    pub fn new(network: &'a Network<'a>, solution: &'a GridSolution) -> Self {
        let (operator, _) = assemble(network, solution.factors.as_deref(), &solution.wet.tangent);
        Linearised {
            network,
            solution,
            heats: network.face_heats(),
            slopes_1_K: network.conductivity_slopes_1_K(&solution.rise_K),
            operator,
        }
    }

    /// Whether temperatures follow the powers exactly linearly.
    pub fn is_linear(&self) -> bool {
        use crate::conduction::SurfaceLaw;
        self.slopes_1_K.is_none() && self.solution.law.is_linear()
    }

    /// Prepares solves to the relative residual `relative_tolerance`.
    pub fn solver(&'a self, relative_tolerance: f64) -> Solver<'a> {
        Solver {
            linearised: self,
            preconditioned: Preconditioned::new(&self.operator),
            params: CgParams { relative_tolerance, ..CgParams::default() },
        }
    }

    /// Calls `visit` for every face with its rise in the solution, K.
    pub fn for_each_face(&self, visit: &mut dyn FnMut(&FaceLink, f64)) {
        let solution = self.solution;
        let factors = solution.factors.as_deref();
        self.network.for_each_face(factors, &solution.wet.tangent, &mut |link| {
            let source = link.released_in(&self.heats) + link.outside_W;
            visit(link, link.balance(&solution.rise_K, source));
        });
    }

    /// Heat on the faces, taken to the cells beside them.
    fn condensed(&self, heats: &[Vec<f64>]) -> Vec<f64> {
        let mut rhs = vec![0.0; self.operator.len()];
        self.for_each_face(&mut |link, _| {
            let heat = link.released_in(heats);
            if heat != 0.0 {
                let share = heat / link.conductance_W_K();
                for &(c, g) in link.sides.iter().flatten() {
                    rhs[c] += share * g;
                }
            }
        });
        rhs
    }

    /// For every unknown and axis the sum over its two faces of `g (T_c - T_f) (l_c - l_f)`,
    /// with l the field `cells` and `heats` on the faces.
    pub fn products(&self, cells: &[f64], heats: &[Vec<f64>]) -> [Vec<f64>; 3] {
        let mut products = [(); 3].map(|()| vec![0.0; cells.len()]);
        let rise = &self.solution.rise_K;
        self.for_each_face(&mut |link, face_rise| {
            let face = link.balance(cells, link.released_in(heats));
            for &(c, g) in link.sides.iter().flatten() {
                products[link.axis][c] += g * (rise[c] - face_rise) * (cells[c] - face);
            }
        });
        products
    }

    /// `sum of B' l`, K: what all temperatures one kelvin higher do through the conductivities
    /// alone, from the [`Linearised::products`] of an influence.
    pub fn warmer_conductivities(&self, products: &[Vec<f64>; 3]) -> f64 {
        let Some(slopes) = &self.slopes_1_K else { return 0.0 };
        let [x, y, z] = products;
        -slopes
            .iter()
            .zip(x.iter().zip(y).zip(z))
            .map(|(s, ((x, y), z))| s * (x + y + z))
            .sum::<f64>()
    }

    /// What `B d` brings to the cells, W, for the change `d` (K) of the cells.
    fn conductivity_heat(&self, slopes_1_K: &[f64], d: &[f64]) -> Vec<f64> {
        let rise = &self.solution.rise_K;
        let mut heat = vec![0.0; d.len()];
        self.for_each_face(&mut |link, face_rise| {
            let to_face = self.moved_to_face(link, face_rise, slopes_1_K, d);
            if to_face == 0.0 {
                return;
            }
            let share = to_face / link.conductance_W_K();
            for &(c, g) in link.sides.iter().flatten() {
                heat[c] += share * g - g * slopes_1_K[c] * d[c] * (rise[c] - face_rise);
            }
        });
        heat
    }

    /// Heat that the change of conductivity moves from the cells to a face, W.
    fn moved_to_face(&self, link: &FaceLink, face_rise: f64, slopes: &[f64], d: &[f64]) -> f64 {
        let rise = &self.solution.rise_K;
        let moved = |&(c, g): &(usize, f64)| g * slopes[c] * d[c] * (rise[c] - face_rise);
        link.sides.iter().flatten().map(moved).sum()
    }
}

impl Solver<'_> {
    /// The network that is solved on.
    pub fn linearised(&self) -> &Linearised<'_> {
        self.linearised
    }

    /// What the temperatures gain, K, when `heats` (W) are added on the faces.
    ///
    /// # Errors
    /// See [`CgError`].
    pub fn tangent(&self, heats: &[Vec<f64>]) -> Result<Response, CgError> {
        let at = self.linearised;
        let rhs = at.condensed(heats);
        let (cells, cost) = match &at.slopes_1_K {
            None => self.once(&rhs)?,
            Some(slopes) => self.corrected(&rhs, &|d| at.conductivity_heat(slopes, d))?,
        };
        let mut faces = zeros_like(heats);
        at.for_each_face(&mut |link, face_rise| {
            if let Some((k, c)) = link.released {
                let moved = match &at.slopes_1_K {
                    None => 0.0,
                    Some(slopes) => at.moved_to_face(link, face_rise, slopes, &cells),
                };
                faces[k][c] = link.balance(&cells, heats[k][c] + moved);
            }
        });
        Ok(Response { cells, faces, cost })
    }

    /// The influence of every node, K/W, on the reading `sum of weights x face temperature`.
    ///
    /// # Errors
    /// See [`CgError`].
    pub fn influence(&self, weights: &[Vec<f64>]) -> Result<Response, CgError> {
        let at = self.linearised;
        let rhs = at.condensed(weights);
        let (cells, cost) = match &at.slopes_1_K {
            None => self.once(&rhs)?,
            Some(slopes) => self.corrected(&rhs, &|cells| {
                let [x, y, z] = at.products(cells, weights);
                slopes
                    .iter()
                    .zip(x.iter().zip(&y).zip(&z))
                    .map(|(s, ((x, y), z))| -s * (x + y + z))
                    .collect()
            })?,
        };
        let mut faces = zeros_like(weights);
        at.for_each_face(&mut |link, _| {
            if let Some((k, c)) = link.released {
                faces[k][c] = link.balance(&cells, weights[k][c]);
            }
        });
        Ok(Response { cells, faces, cost })
    }

    fn once(&self, rhs: &[f64]) -> Result<(Vec<f64>, Cost), CgError> {
        let mut x = vec![0.0; rhs.len()];
        let info = self.preconditioned.solve(rhs, &mut x, &self.params)?;
        Ok((x, Cost { fields: 1, solves: 1, iterations: info.iterations }))
    }

    /// Solves `A x = rhs + extra(x)`.
    fn corrected(
        &self,
        rhs: &[f64],
        extra: &dyn Fn(&[f64]) -> Vec<f64>,
    ) -> Result<(Vec<f64>, Cost), CgError> {
        let mut x = vec![0.0; rhs.len()];
        let mut cost = Cost { fields: 1, ..Cost::default() };
        let goal = self.params.relative_tolerance * norm(rhs);
        let mut residual = rhs.to_vec();
        let mut size = norm(&residual);
        while size > goal {
            if cost.solves == MOST_CORRECTIONS || !size.is_finite() {
                let residual_relative = size / norm(rhs);
                return Err(CgError::NotConverged {
                    iterations: cost.iterations,
                    residual_relative,
                });
            }
            let mut step = vec![0.0; rhs.len()];
            let relative_tolerance = ROUGH.max(0.3 * goal / size);
            let params = CgParams { relative_tolerance, ..self.params };
            let info = self.preconditioned.solve(&residual, &mut step, &params)?;
            cost.solves += 1;
            cost.iterations += info.iterations;
            for (x, d) in x.iter_mut().zip(&step) {
                *x += d;
            }
            let right: Vec<f64> = rhs.iter().zip(extra(&x)).map(|(b, e)| b + e).collect();
            residual = self.linearised.operator.residual(&right, &x);
            size = norm(&residual);
        }
        Ok((x, cost))
    }
}

fn zeros_like(values: &[Vec<f64>]) -> Vec<Vec<f64>> {
    values.iter().map(|v| vec![0.0; v.len()]).collect()
}

fn norm(v: &[f64]) -> f64 {
    v.iter().map(|v| v * v).sum::<f64>().sqrt()
}
