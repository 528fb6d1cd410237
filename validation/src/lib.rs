//! Outside checks of `sprayside`: published solutions, handbook values and general-purpose
//! libraries, each with its source, and the table they make.
//!
//! - [`sources`]: the references, one constant each;
//! - [`check`]: an expected value with its source, and what came of it;
//! - [`closed_form`]: answers that share no code with the solver;
//! - [`mod@reference`]: the committed answers of general-purpose libraries;
//! - [`vehicle`]: the modules that the checks solve;
//! - [`system`]: an assembled matrix and its direct solution;
//! - [`cases`]: the checks themselves, one family a file;
//! - [`manufactured`]: chosen fields and the heat that they need, for the observed order;
//! - [`life`]: cycle counts, acceleration factors, sample sizes, the comparison with readings;
//! - [`coolants`]: the built-in coolants against general-purpose property libraries;
//! - [`spray_points`]: published critical heat fluxes of sprays, hit or missed;
//! - [`random_module`]: modules drawn at random, for the printed uncertainty;
//! - [`table`]: the table in Markdown.

pub mod cases;
pub mod check;
pub mod closed_form;
pub mod coolants;
pub mod life;
pub mod manufactured;
pub mod random_module;
pub mod reference;
pub mod sources;
pub mod spray_points;
pub mod system;
pub mod table;
pub mod vehicle;
