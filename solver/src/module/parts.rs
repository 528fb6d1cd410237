//! What the module is made of: layers, die, heaters.

use std::sync::Arc;

use super::{GridMap, Rect, Turn};
use crate::library::Material;

/// A full-area stratum of the substrate.
#[derive(Debug, Clone)]
pub struct Layer {
    /// Name, unique among the layers.
    pub name: String,
    /// Material.
    pub material: Arc<Material>,
    /// Thickness, m.
    pub thickness_m: f64,
    /// Sheets in this layer when the case fixes them.
    pub slices: Option<usize>,
}

/// Which side of a die releases the heat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ActiveFace {
    /// Toward the substrate (flip chip).
    Down,
    /// Toward the spray.
    Up,
}

/// What joins a die to the substrate.
#[derive(Debug, Clone)]
pub struct Attach {
    /// Material.
    pub material: Arc<Material>,
    /// Thickness, m.
    pub thickness_m: f64,
}

/// Part of a die's power on part of its active face.
#[derive(Debug, Clone)]
pub struct PowerBlock {
    /// Name, for people.
    pub name: String,
    /// Where, in module coordinates (already turned and placed).
    pub rect: Rect,
    /// Power, W.
    pub power_W: f64,
}

/// A bare die on the substrate.
#[derive(Debug, Clone)]
pub struct Die {
    /// Name, unique among die and heaters.
    pub name: String,
    /// Name of its type.
    pub type_name: String,
    /// Footprint in module coordinates.
    pub rect: Rect,
    /// How it is turned.
    pub turn: Turn,
    /// Thickness, m.
    pub thickness_m: f64,
    /// Material; orthotropic axes already turned to module coordinates.
    pub material: Arc<Material>,
    /// Side that releases the heat.
    pub active_face: ActiveFace,
    /// Attach, if any; its axes are already turned too.
    pub attach: Option<Attach>,
    /// Highest allowed junction temperature, K.
    pub limit_K: Option<f64>,
    /// Power of the whole die, W.
    pub power_W: f64,
    /// Blocks; what remains of `power_W` spreads evenly over the rest of the footprint.
    /// Blocks do not overlap. Empty when `power_map` is given.
    pub blocks: Vec<PowerBlock>,
    /// Relative power density over the footprint, in module orientation.
    pub power_map: Option<GridMap>,
}

/// Top or bottom of a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Face {
    /// Toward the spray.
    Top,
    /// Toward the board.
    Bottom,
}

/// A heat source on a face of a substrate layer.
#[derive(Debug, Clone)]
pub struct Heater {
    /// Name, unique among die and heaters.
    pub name: String,
    /// Index of the layer, from the board side.
    pub layer: usize,
    /// Which face of the layer.
    pub face: Face,
    /// Where.
    pub rect: Rect,
    /// Power, W.
    pub power_W: f64,
    /// Highest allowed temperature of the heater's face, K.
    pub limit_K: Option<f64>,
}
