//! Answers that share no code with the solver: closed forms and series, one idea a file.
//!
//! Lengths m, temperatures K, powers W. Rises are above the common ambient unless said
//! otherwise. z runs from the board side up.

pub mod compound_channel;
pub mod edge_cooled_channel;
pub mod fin;
pub mod flux_channel;
pub mod half_space;
pub mod kirchhoff;
pub mod multilayer_slab;
pub mod plate;
pub mod poisson_rectangle;
pub mod source;
pub mod square_column;
pub mod stretched_channel;
pub mod transients;

pub use source::RectSource;
