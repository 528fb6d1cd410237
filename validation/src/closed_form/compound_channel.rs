//! Rectangular channel of any number of orthotropic layers, rectangular sources on any
//! interface, a coefficient on the lower and on the upper face, adiabatic sides.
//!
//! Every cosine mode (λ = mπ/a, δ = nπ/b) is a one-dimensional fin problem through the
//! thickness. In a layer of conductivities (kx, ky, kz)
//!
//! ```text
//! β = sqrt((kx λ² + ky δ²) / kz),   c = kz β
//! ```
//!
//! and the admittance Y (flux per rise, looking away from the source) passes a layer of
//! thickness t as
//!
//! ```text
//! Y' = c (Y + c tanh βt) / (c + Y tanh βt),        Y' = Y / (1 + Y t / kz)   when β = 0
//! ```
//!
//! from Y = h at a face. The mode's rise on the source's interface is q_mn / (Y_down + Y_up), and
//! on going through a layer away from the source it falls by 1 / (cosh βt + (Y/c) sinh βt), with Y
//! the admittance at the layer's far side.
//!
//! # Source
//! The transfer recursion is the general form of the two-layer result of Yovanovich, Muzychka &
//! Culham, J. Thermophysics and Heat Transfer 13 (1999) 495-500, and of the layered series of
//! Culham, Yovanovich & Lemczyk, J. Electronic Packaging 122 (2000) 233-239 (from memory). It is
//! derived here from the equation; the self-tests compare it with the single-layer series and
//! with the two-layer closed form.

use std::f64::consts::PI;

use super::RectSource;

/// One layer of the channel.
#[derive(Debug, Clone, Copy)]
pub struct ChannelLayer {
    /// Thickness, m.
    pub thickness: f64,
    /// Conductivity along x, y, z, W/(m·K).
    pub conductivity: [f64; 3],
}

impl ChannelLayer {
    /// A layer that conducts alike in every direction.
    pub fn isotropic(thickness: f64, conductivity: f64) -> Self {
        ChannelLayer { thickness, conductivity: [conductivity; 3] }
    }
}

/// A channel of layers, from the lower face up.
#[derive(Debug, Clone)]
pub struct CompoundChannel {
    /// Length along x and y, m.
    pub size: [f64; 2],
    /// Layers from the lower face up.
    pub layers: Vec<ChannelLayer>,
    /// Coefficient on the lower face, W/(m²·K).
    pub htc_below: f64,
    /// Coefficient on the upper face, W/(m²·K).
    pub htc_above: f64,
    /// Terms kept in each direction.
    pub terms: usize,
}

/// Where a rise is wanted: the mean over a rectangle (or a point) of an interface.
#[derive(Debug, Clone, Copy)]
pub struct Target {
    /// Interface, 0 the lower face, `layers.len()` the upper.
    pub interface: usize,
    /// Rectangle or point.
    pub rect: RectSource,
}

impl CompoundChannel {
    /// Mean rises above the common medium over `targets`, for `power` released evenly in
    /// `source` on interface `on`, K.
    pub fn rises(
        &self,
        power: f64,
        on: usize,
        source: &RectSource,
        targets: &[Target],
    ) -> Vec<f64> {
        let [a, b] = self.size;
        let n_terms = self.terms;
        let source_x = source.means_along_x(a, n_terms);
        let source_y = source.means_along_y(b, n_terms);
        let over: Vec<[Vec<f64>; 2]> = targets
            .iter()
            .map(|t| [t.rect.means_along_x(a, n_terms), t.rect.means_along_y(b, n_terms)])
            .collect();
        let mut sums = vec![0.0; targets.len()];
        let mut transfer = vec![0.0; self.layers.len() + 1];
        for m in 0..=n_terms {
            let lambda = m as f64 * PI / a;
            let weight_x = if m == 0 { 1.0 } else { 2.0 } * source_x[m];
            if weight_x.abs() < 1e-14 {
                continue;
            }
            let mut rows = vec![0.0; targets.len()];
            for n in 0..=n_terms {
                let weight_y = if n == 0 { 1.0 } else { 2.0 } * source_y[n];
                if weight_y.abs() < 1e-14 {
                    continue;
                }
                let delta = n as f64 * PI / b;
                self.mode(on, lambda, delta, &mut transfer);
                for ((row, target), [_, over_y]) in rows.iter_mut().zip(targets).zip(&over) {
                    *row += weight_y * over_y[n] * transfer[target.interface];
                }
            }
            for ((sum, row), [over_x, _]) in sums.iter_mut().zip(&rows).zip(&over) {
                *sum += weight_x * over_x[m] * row;
            }
        }
        sums.iter().map(|s| power / (a * b) * s).collect()
    }

    /// Rise of one mode on every interface per unit of its flux on interface `on`, m²K/W.
    fn mode(&self, on: usize, lambda: f64, delta: f64, transfer: &mut [f64]) {
        let through = |layer: &ChannelLayer| {
            let [kx, ky, kz] = layer.conductivity;
            let beta = ((kx * lambda * lambda + ky * delta * delta) / kz).sqrt();
            (kz * beta, beta * layer.thickness)
        };
        let mut down = self.htc_below;
        let mut fall_down = ones(on);
        for (index, layer) in self.layers[..on].iter().enumerate() {
            let (c, depth) = through(layer);
            fall_down[index] = fall(down, c, depth, layer);
            down = pass(down, c, depth, layer);
        }
        let mut up = self.htc_above;
        let above = self.layers.len() - on;
        let mut fall_up = ones(above);
        for index in (on..self.layers.len()).rev() {
            let layer = &self.layers[index];
            let (c, depth) = through(layer);
            fall_up[index - on] = fall(up, c, depth, layer);
            up = pass(up, c, depth, layer);
        }
        transfer[on] = 1.0 / (down + up);
        for index in (0..on).rev() {
            transfer[index] = transfer[index + 1] * fall_down[index];
        }
        for index in 0..above {
            transfer[on + index + 1] = transfer[on + index] * fall_up[index];
        }
    }
}

fn ones(n: usize) -> Vec<f64> {
    vec![1.0; n]
}

fn pass(y: f64, c: f64, depth: f64, layer: &ChannelLayer) -> f64 {
    if c == 0.0 {
        return y / (1.0 + y * layer.thickness / layer.conductivity[2]);
    }
    if depth > 20.0 {
        return c;
    }
    let th = depth.tanh();
    c * (y + c * th) / (c + y * th)
}

fn fall(y: f64, c: f64, depth: f64, layer: &ChannelLayer) -> f64 {
    if c == 0.0 {
        return 1.0 / (1.0 + y * layer.thickness / layer.conductivity[2]);
    }
    let e = (-depth).exp();
    2.0 * e / ((1.0 + y / c) + (1.0 - y / c) * e * e)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::closed_form::flux_channel::FluxChannel;
    use crate::closed_form::multilayer_slab::Slab;

    #[test]
    fn one_layer_agrees_with_the_single_layer_series() {
        let single = FluxChannel {
            a: 40e-3,
            b: 30e-3,
            thickness: 2e-3,
            conductivity: 22.0,
            htc: 800.0,
            terms: 300,
        };
        let compound = CompoundChannel {
            size: [40e-3, 30e-3],
            layers: vec![ChannelLayer::isotropic(2e-3, 22.0)],
            htc_below: 800.0,
            htc_above: 0.0,
            terms: 300,
        };
        let source = RectSource { x: 12e-3, y: 9e-3, width: 7e-3, height: 5e-3 };
        let other = RectSource { x: 30e-3, y: 20e-3, width: 4e-3, height: 6e-3 };
        let point = RectSource::point(11e-3, 9.5e-3);
        for target in [source, other, point] {
            let ours = compound.rises(8.0, 1, &source, &[Target { interface: 1, rect: target }])[0];
            let theirs = single.rise(8.0, &source, &target);
            assert!((ours - theirs).abs() < 1e-10 * theirs, "{ours} {theirs}");
        }
    }

    #[test]
    fn two_layers_agree_with_the_published_spreading_function() {
        // Yovanovich, Muzychka & Culham 1999, source on layer 1 (k1, t1) above layer 2 (k2, t2):
        //   φ(ζ) = [(α e^{4ζt1} + e^{2ζt1}) + ρ(e^{2ζ(2t1+t2)} + α e^{2ζ(t1+t2)})]
        //        / [(α e^{4ζt1} - e^{2ζt1}) + ρ(e^{2ζ(2t1+t2)} - α e^{2ζ(t1+t2)})]
        //   ρ = (ζ + h/k2)/(ζ - h/k2),  α = (1 - κ)/(1 + κ),  κ = k2/k1
        // This φ multiplies the coefficients; for one layer it is 1/φ of `flux_channel`.
        let (k1, t1, k2, t2, h) = (150.0, 1.0e-3, 20.0, 1.5e-3, 900.0);
        let channel = CompoundChannel {
            size: [30e-3, 20e-3],
            layers: vec![ChannelLayer::isotropic(t2, k2), ChannelLayer::isotropic(t1, k1)],
            htc_below: h,
            htc_above: 0.0,
            terms: 1,
        };
        let mut transfer = [0.0; 3];
        for (m, n) in [(1.0, 0.0), (0.0, 2.0), (3.0, 2.0), (5.0, 7.0)] {
            let (lambda, delta) = (m * PI / 30e-3, n * PI / 20e-3);
            channel.mode(2, lambda, delta, &mut transfer);
            let zeta: f64 = lambda.hypot(delta);
            let kappa: f64 = k2 / k1;
            let alpha = (1.0 - kappa) / (1.0 + kappa);
            let rho = (zeta + h / k2) / (zeta - h / k2);
            let e = |x: f64| (zeta * x).exp();
            let phi = ((alpha * e(4.0 * t1) + e(2.0 * t1))
                + rho * (e(2.0 * (2.0 * t1 + t2)) + alpha * e(2.0 * (t1 + t2))))
                / ((alpha * e(4.0 * t1) - e(2.0 * t1))
                    + rho * (e(2.0 * (2.0 * t1 + t2)) - alpha * e(2.0 * (t1 + t2))));
            let published = phi / (k1 * zeta);
            assert!(
                (transfer[2] - published).abs() < 1e-9 * published,
                "{} {published}",
                transfer[2]
            );
        }
    }

    #[test]
    fn a_full_source_inside_the_stack_is_a_slab() {
        let layers = [[1e-3, 20.0], [0.2e-3, 0.8], [0.6e-3, 120.0]];
        let slab = Slab { layers: layers.to_vec(), below: [300.0, 0.0], above: [7000.0, 0.0] };
        let channel = CompoundChannel {
            size: [20e-3, 10e-3],
            layers: layers.iter().map(|[t, k]| ChannelLayer::isotropic(*t, *k)).collect(),
            htc_below: 300.0,
            htc_above: 7000.0,
            terms: 8,
        };
        let whole = RectSource { x: 10e-3, y: 5e-3, width: 20e-3, height: 10e-3 };
        for on in 0..=3 {
            let mut heat = [0.0; 4];
            heat[on] = 40.0 / 2e-4;
            let expected = slab.interface_temperatures(&heat);
            let targets: Vec<Target> =
                (0..=3).map(|interface| Target { interface, rect: whole }).collect();
            let rises = channel.rises(40.0, on, &whole, &targets);
            for (ours, theirs) in rises.iter().zip(&expected) {
                assert!((ours - theirs).abs() < 1e-10 * theirs);
            }
        }
    }

    #[test]
    fn splitting_a_layer_changes_nothing() {
        let whole = CompoundChannel {
            size: [20e-3, 14e-3],
            layers: vec![ChannelLayer { thickness: 1.2e-3, conductivity: [40.0, 25.0, 6.0] }],
            htc_below: 500.0,
            htc_above: 4000.0,
            terms: 60,
        };
        let half = ChannelLayer { thickness: 0.6e-3, conductivity: [40.0, 25.0, 6.0] };
        let split = CompoundChannel { layers: vec![half, half], ..whole.clone() };
        let source = RectSource { x: 6e-3, y: 5e-3, width: 4e-3, height: 3e-3 };
        let at = |interface| Target {
            interface,
            rect: RectSource { x: 15e-3, y: 9e-3, width: 3e-3, height: 3e-3 },
        };
        let one = whole.rises(3.0, 1, &source, &[at(0), at(1)]);
        let two = split.rises(3.0, 2, &source, &[at(0), at(2)]);
        for (a, b) in one.iter().zip(&two) {
            assert!((a - b).abs() < 1e-11 * a.abs(), "{a} {b}");
        }
    }

    #[test]
    fn influence_between_interfaces_is_reciprocal() {
        let channel = CompoundChannel {
            size: [20e-3, 14e-3],
            layers: vec![ChannelLayer::isotropic(1e-3, 20.0), ChannelLayer::isotropic(0.3e-3, 2.0)],
            htc_below: 500.0,
            htc_above: 4000.0,
            terms: 80,
        };
        let one = RectSource { x: 6e-3, y: 5e-3, width: 4e-3, height: 3e-3 };
        let two = RectSource { x: 15e-3, y: 9e-3, width: 3e-3, height: 5e-3 };
        let there = channel.rises(3.0, 2, &one, &[Target { interface: 1, rect: two }])[0];
        let back = channel.rises(3.0, 1, &two, &[Target { interface: 2, rect: one }])[0];
        assert!((there - back).abs() < 1e-11 * there);
    }
}
