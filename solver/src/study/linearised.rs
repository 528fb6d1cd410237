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
use crate::conduction::{FaceLink, FacePlace, Network, Operator};
use crate::linear::{CgError, CgParams, Preconditioned, norm};
use crate::steady::GridSolution;

/// Residual reduction asked of a rough solve.
const ROUGH: f64 = 0.01;
/// Most corrections.
const MOST_CORRECTIONS: usize = 60;

/// What solves have cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Cost {
    /// Linear systems solved: one a tangent or influence.
    pub systems: usize,
    /// Corrections within them; none where no conductivity varies.
    pub corrections: usize,
    /// Conjugate gradient iterations of all of them.
    pub iterations: usize,
}

impl Cost {
    /// Adds another cost.
    pub fn add(&mut self, other: Cost) {
        self.systems += other.systems;
        self.corrections += other.corrections;
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

/// A face beside a cell whose conductivity varies: what `B` and its transpose need of it.
struct VaryingFace {
    /// Unknown, half conductance g (W/K), and g s (T_c - T_f) (W/K) of the cells on either side.
    sides: [Option<(usize, f64, f64)>; 2],
    /// All that meets at the face, W/K.
    conductance_W_K: f64,
    released: Option<(usize, usize)>,
    /// Cell of the plane where the face is wet.
    wet: Option<usize>,
}

impl VaryingFace {
    fn new(link: &FaceLink, face_rise: f64, rises: &[f64], slopes_1_K: &[f64]) -> Option<Self> {
        let varies = |side: &Option<(usize, f64)>| side.is_some_and(|(c, _)| slopes_1_K[c] != 0.0);
        link.sides.iter().any(varies).then(|| VaryingFace {
            sides: link
                .sides
                .map(|side| side.map(|(c, g)| (c, g, g * slopes_1_K[c] * (rises[c] - face_rise)))),
            conductance_W_K: link.conductance_W_K(),
            released: link.released,
            wet: match link.place {
                FacePlace::Wet { cell } => Some(cell),
                _ => None,
            },
        })
    }

    /// Heat that the change `d` (K) of the cells moves to the face, W.
    fn moved(&self, d: &[f64]) -> f64 {
        self.sides.iter().flatten().map(|&(c, _, w)| w * d[c]).sum()
    }
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
    /// Faces beside cells whose conductivity varies.
    varying: Vec<VaryingFace>,
    /// Faces on which heat is released.
    releasing: Vec<FaceLink>,
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
        let mut linearised = Linearised {
            network,
            solution,
            heats: network.face_heats(),
            slopes_1_K: network.conductivity_slopes_1_K(&solution.rise_K),
            varying: Vec::new(),
            releasing: Vec::new(),
            operator,
        };
        let (mut varying, mut releasing) = (Vec::new(), Vec::new());
        linearised.for_each_face(&mut |link, face_rise| {
            if link.released.is_some() {
                releasing.push(*link);
            }
            if let Some(slopes) = &linearised.slopes_1_K {
                varying.extend(VaryingFace::new(link, face_rise, &solution.rise_K, slopes));
            }
        });
        (linearised.varying, linearised.releasing) = (varying, releasing);
        linearised
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
        for link in &self.releasing {
            let share = link.released_in(heats) / link.conductance_W_K();
            for &(c, g) in link.sides.iter().flatten() {
                rhs[c] += share * g;
            }
        }
        rhs
    }

    /// Values of a field on the faces on which heat is released.
    fn on_releasing_faces(&self, cells: &[f64], heats: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let mut faces: Vec<Vec<f64>> = heats.iter().map(|v| vec![0.0; v.len()]).collect();
        for link in &self.releasing {
            if let Some((k, c)) = link.released {
                faces[k][c] = link.balance(cells, heats[k][c]);
            }
        }
        faces
    }

    /// Whether any conductivity depends on temperature.
    pub fn conductivity_varies(&self) -> bool {
        self.slopes_1_K.is_some()
    }

    /// What `B d` brings to the cells, W, for the change `d` (K) of the cells.
    fn conductivity_heat(&self, d: &[f64]) -> Vec<f64> {
        let mut heat = vec![0.0; d.len()];
        for face in &self.varying {
            let share = face.moved(d) / face.conductance_W_K;
            for &(c, g, w) in face.sides.iter().flatten() {
                heat[c] += share * g - w * d[c];
            }
        }
        heat
    }

    /// `B' l` for the influence `l` of a reading with `weights` on the faces: what a kelvin more
    /// in each cell does to the reading through the cell's conductivity alone.
    pub fn conductivity_influence(&self, l: &[f64], weights: &[Vec<f64>]) -> Vec<f64> {
        self.conductivity_influence_of(l, weights, &[])
    }

    /// [`Linearised::conductivity_influence`] for a reading that also has the weights `wet` on
    /// the wet surface, cell by cell of the plane; an empty slice for none.
    fn conductivity_influence_of(&self, l: &[f64], weights: &[Vec<f64>], wet: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; l.len()];
        for face in &self.varying {
            let weight = face.released.map_or(0.0, |(k, c)| weights[k][c])
                + face.wet.and_then(|c| wet.get(c)).copied().unwrap_or(0.0);
            let sum: f64 = face.sides.iter().flatten().map(|&(c, g, _)| g * l[c]).sum();
            let at_face = (sum + weight) / face.conductance_W_K;
            for &(c, _, w) in face.sides.iter().flatten() {
                out[c] -= w * (l[c] - at_face);
            }
        }
        out
    }
}

impl Solver<'_> {
    /// What the temperatures gain, K, when `heats` (W) are added on the faces.
    ///
    /// # Errors
    /// See [`CgError`].
    pub fn tangent(&self, heats: &[Vec<f64>]) -> Result<Response, CgError> {
        let at = self.linearised;
        let rhs = at.condensed(heats);
        let (cells, cost) = self.solve(&rhs, &|d| at.conductivity_heat(d))?;
        let mut faces = at.on_releasing_faces(&cells, heats);
        for face in &at.varying {
            if let Some((k, c)) = face.released {
                faces[k][c] += face.moved(&cells) / face.conductance_W_K;
            }
        }
        Ok(Response { cells, faces, cost })
    }

    /// The influence of every node, K/W, on the reading `sum of weights x face temperature`.
    ///
    /// # Errors
    /// See [`CgError`].
    pub fn influence(&self, weights: &[Vec<f64>]) -> Result<Response, CgError> {
        let at = self.linearised;
        let rhs = at.condensed(weights);
        let (cells, cost) = self.solve(&rhs, &|l| at.conductivity_influence(l, weights))?;
        let faces = at.on_releasing_faces(&cells, weights);
        Ok(Response { cells, faces, cost })
    }

    /// The influence (a watt at each cell of the plane's wet surface) on the reading `sum of
    /// weights x face temperature + sum of wet x wet surface's temperature`; `wet` has one entry
    /// a cell of the plane, or none at all.
    ///
    /// # Errors
    /// See [`CgError`].
    pub fn wet_influence(
        &self,
        weights: &[Vec<f64>],
        wet: &[f64],
    ) -> Result<(Vec<f64>, Cost), CgError> {
        let at = self.linearised;
        let weight = |c: usize| wet.get(c).copied().unwrap_or(0.0);
        let mut rhs = at.condensed(weights);
        let on_wet = |visit: &mut dyn FnMut(&FaceLink, usize)| {
            at.for_each_face(&mut |link, _| {
                if let FacePlace::Wet { cell } = link.place {
                    visit(link, cell);
                }
            });
        };
        on_wet(&mut |link, cell| {
            for &(c, g) in link.sides.iter().flatten() {
                rhs[c] += weight(cell) / link.conductance_W_K() * g;
            }
        });
        let extra = |l: &[f64]| at.conductivity_influence_of(l, weights, wet);
        let (cells, cost) = self.solve(&rhs, &extra)?;
        let plane = &at.network.mesh.plane;
        let mut influence = vec![0.0; plane.nx() * plane.ny()];
        on_wet(&mut |link, cell| {
            influence[cell] = link.balance(&cells, link.released_in(weights) + weight(cell));
        });
        Ok((influence, cost))
    }

    /// Solves `A x = rhs + extra(x)`, where `extra` is nothing without conductivities that vary.
    fn solve(
        &self,
        rhs: &[f64],
        extra: &dyn Fn(&[f64]) -> Vec<f64>,
    ) -> Result<(Vec<f64>, Cost), CgError> {
        if self.linearised.conductivity_varies() {
            self.corrected(rhs, extra)
        } else {
            self.once(rhs)
        }
    }

    fn once(&self, rhs: &[f64]) -> Result<(Vec<f64>, Cost), CgError> {
        let mut x = vec![0.0; rhs.len()];
        let info = self.preconditioned.solve(rhs, &mut x, &self.params)?;
        Ok((x, Cost { systems: 1, corrections: 0, iterations: info.iterations }))
    }

    /// Solves it by correction.
    fn corrected(
        &self,
        rhs: &[f64],
        extra: &dyn Fn(&[f64]) -> Vec<f64>,
    ) -> Result<(Vec<f64>, Cost), CgError> {
        let mut x = vec![0.0; rhs.len()];
        let mut cost = Cost { systems: 1, ..Cost::default() };
        let goal = self.params.relative_tolerance * norm(rhs);
        let mut residual = rhs.to_vec();
        let mut size = norm(&residual);
        while size > goal {
            if cost.corrections == MOST_CORRECTIONS || !size.is_finite() {
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
            cost.corrections += 1;
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
