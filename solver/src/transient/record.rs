//! What is kept of a run: temperatures and conditions at every time, pictures, where the heat went.

use super::conditions::System;
use super::march::State;
use crate::conduction::faces::source_rises;
use crate::results::{HeatBalance, sensor_rises, statistics_of_face};

/// What is kept of one time.
#[derive(Debug, Clone)]
pub struct Record {
    /// Time from the start of the run, s. At a jump there are two records of the same time, of its
    /// two sides.
    pub time_s: f64,
    /// Power of all sources, W.
    pub power_W: f64,
    /// Coolant inlet, K.
    pub inlet_K: f64,
    /// Factor on flow or coefficients.
    pub coolant_factor: f64,
    /// Smallest critical over local heat flux anywhere; none with stated coefficients.
    pub chf_margin: Option<f64>,
    /// Hottest point of each source, K.
    pub max_K: Vec<f64>,
    /// Mean of each source, K.
    pub mean_K: Vec<f64>,
    /// What each sensor would read, K.
    pub sensor_K: Vec<f64>,
}

impl Record {
    /// What there is to keep of `state`, `offset_s` after the start of the run.
    pub(super) fn of(system: &System, state: &State, offset_s: f64) -> Record {
        let network = &system.network;
        let base_K = system.module.coolant.inlet_K;
        let (mut max_K, mut mean_K) = (Vec::new(), Vec::new());
        for source in &network.sources {
            let rises =
                source_rises(network, state.factors.as_deref(), source, &state.x, &state.wet);
            let statistics = statistics_of_face(network, source, &rises);
            max_K.push(base_K + statistics.max_K);
            mean_K.push(base_K + statistics.mean_K);
        }
        Record {
            time_s: offset_s + state.time_s,
            power_W: system.power_W(),
            inlet_K: system.inlet_K(),
            coolant_factor: system.coolant_factor(),
            chf_margin: system.chf_margin(&state.wet),
            max_K,
            mean_K,
            sensor_K: sensor_rises(
                network,
                state.factors.as_deref(),
                &state.x,
                &state.wet,
                &system.sensors,
            )
            .iter()
            .map(|rise| base_K + rise)
            .collect(),
        }
    }
}

/// The exposed surface at one time.
#[derive(Debug, Clone)]
pub struct Snapshot {
    /// Time from the start of the run, s.
    pub time_s: f64,
    /// Temperature of each cell of the plane, K.
    pub surface_K: Vec<f64>,
    /// Hottest point of each source, K.
    pub max_K: Vec<f64>,
    /// Rises of all cells above the inlet of the case, K.
    pub rise_K: Vec<f64>,
}

impl Snapshot {
    /// The surface of `state`, `offset_s` after the start of the run.
    pub(super) fn of(system: &System, state: &State, offset_s: f64) -> Snapshot {
        let base_K = system.module.coolant.inlet_K;
        Snapshot {
            time_s: offset_s + state.time_s,
            surface_K: state.wet.rise_K.iter().map(|rise| base_K + rise).collect(),
            max_K: Record::of(system, state, offset_s).max_K,
            rise_K: state.x.clone(),
        }
    }
}

/// Where the heat went over a run, J.
#[derive(Debug, Clone, Copy, Default)]
pub struct Audit {
    /// Released.
    pub in_J: f64,
    /// Taken by the spray.
    pub to_spray_J: f64,
    /// Taken by the board.
    pub to_board_J: f64,
    /// Taken by the side faces.
    pub to_edges_J: f64,
    /// Capacity times change of temperature.
    pub stored_J: f64,
}

impl Audit {
    pub(super) fn add(&mut self, seconds: f64, flow: &HeatBalance) {
        self.in_J += seconds * flow.in_W;
        self.to_spray_J += seconds * flow.to_spray_W;
        self.to_board_J += seconds * flow.to_board_W;
        self.to_edges_J += seconds * flow.to_edges_W;
    }

    /// `|stored - (in - out)|` over the largest of them.
    pub fn imbalance_relative(&self) -> f64 {
        let terms = [self.in_J, self.to_spray_J, self.to_board_J, self.to_edges_J, self.stored_J];
        let scale = terms.iter().fold(0.0, |m: f64, t| m.max(t.abs()));
        let out = self.to_spray_J + self.to_board_J + self.to_edges_J;
        if scale == 0.0 { 0.0 } else { (self.in_J - out - self.stored_J).abs() / scale }
    }
}
