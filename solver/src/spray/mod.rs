//! From nozzles to the spray-side coefficient, burn-out margin and liquid budget.

mod prescribed;

pub use prescribed::prescribed_law;
