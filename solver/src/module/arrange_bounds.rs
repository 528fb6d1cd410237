//! What a better nozzle pattern may do.

use super::Rect;

/// Bounds on a nozzle pattern, and what must hold of its temperatures.
#[derive(Debug, Clone, PartialEq)]
pub struct ArrangeBounds {
    /// Where orifices may stand.
    pub region: Rect,
    /// Where they may not: not inside; the rim is allowed.
    pub keep_out: Vec<Rect>,
    /// Least distance between two orifices, m; `None`: that of the present pattern.
    pub least_spacing_m: Option<f64>,
    /// Lowest and highest stand-off, m; `None`: each stays as it is.
    pub standoff_m: Option<[f64; 2]>,
    /// Lowest and highest flow factor; `None`: each stays as it is.
    pub flow_factor: Option<[f64; 2]>,
    /// Most flow of all nozzles together, m³/s; `None`: that of the present pattern.
    pub total_flow_m3_s: Option<f64>,
    /// Least CHF margin on any die; `None`: what the present pattern has, but 2 at most and 1 at
    /// least.
    pub least_chf_margin: Option<f64>,
    /// Least distance of every junction from its limit, K, uncertainty apart.
    pub least_limit_margin_K: f64,
}

impl ArrangeBounds {
    /// Positions anywhere within `outline`, everything else as it is.
    pub fn within(outline: Rect) -> ArrangeBounds {
        ArrangeBounds {
            region: outline,
            keep_out: Vec::new(),
            least_spacing_m: None,
            standoff_m: None,
            flow_factor: None,
            total_flow_m3_s: None,
            least_chf_margin: None,
            least_limit_margin_K: 0.0,
        }
    }
}
