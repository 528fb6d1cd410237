//! From nozzles to the spray-side coefficient, burn-out margin and liquid budget.
