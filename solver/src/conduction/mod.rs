//! Sheets, islands and surroundings as a network of conductances: the system to be solved.
//!
//! [`Network`] knows which material, thickness and heat lies where on a mesh; [`assembly`] turns
//! it into an [`Operator`] and a right-hand side; [`faces`] turns a solution back into
//! temperatures of faces and into the heat balance; `capacity` is what time-dependent runs add; [`FaceLink`] is the network face by face, for
//! derivatives. Temperatures in here are rises above the
//! coolant inlet: small numbers keep their digits.

pub mod assembly;
mod capacity;
mod face_links;
pub mod faces;
mod network;
pub mod operator;
pub mod surface;
mod watch;

pub use face_links::{FaceLink, FacePlace};
pub use network::{FaceHeat, Network, SourceFace};
pub use operator::{Block, Operator};
pub use surface::{AffineFlux, PrescribedLaw, SurfaceLaw};
