//! Sheets, islands and surroundings as a network of conductances: the system to be solved.

pub mod operator;

pub use operator::{Block, Operator};
