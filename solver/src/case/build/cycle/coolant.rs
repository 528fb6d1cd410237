//! The coolant against time.

use std::ops::Range;

use super::super::super::codes;
use super::super::super::context::Context;
use super::super::super::trace_csv::Column;
use super::super::{ZERO_C_IN_K, kelvin};
use crate::module::{Module, Signal, Spray};

/// What of the coolant changes.
pub(super) struct CoolantSignals {
    pub flow_factor: Option<Signal>,
    pub htc_factor: Option<Signal>,
    pub inlet_K: Option<Signal>,
    correlated: bool,
}

impl CoolantSignals {
    /// Nothing changes yet.
    pub fn of(module: &Module) -> CoolantSignals {
        CoolantSignals {
            flow_factor: None,
            htc_factor: None,
            inlet_K: None,
            correlated: matches!(module.spray, Spray::Correlated(_)),
        }
    }

    /// Takes a profile; notes one that does not fit, or is a second one.
    pub fn set(
        &mut self,
        context: &Context<'_>,
        column: &Column,
        span: &Range<usize>,
        signal: Signal,
    ) {
        let (key, slot) = match column {
            Column::Flow => ("flow_factor", &mut self.flow_factor),
            Column::Htc => ("htc_factor", &mut self.htc_factor),
            _ => ("inlet_C", &mut self.inlet_K),
        };
        let fits = match column {
            Column::Flow => self.correlated,
            Column::Htc => !self.correlated,
            _ => true,
        };
        if !fits {
            let (model, other) = if self.correlated {
                ("correlated", "multiply the flow instead: flow_factor")
            } else {
                ("prescribed", "multiply the coefficients instead: htc_factor")
            };
            context.push(
                context
                    .error(
                        codes::OTHER_MODEL,
                        format!("{key} does not go with model = \"{model}\""),
                        span,
                        "",
                    )
                    .help(other),
            );
            return;
        }
        if slot.is_some() {
            context.push(
                context
                    .error(codes::CYCLE_TWICE, format!("two profiles for {key}"), span, "")
                    .help("keep one of them"),
            );
            return;
        }
        *slot = Some(if key == "inlet_C" { signal.map(kelvin) } else { signal });
    }
}

/// Notes an inlet that reaches saturation.
pub(super) fn check_subcooled(context: &Context<'_>, module: &Module, inlet_K: &Signal) {
    let (Spray::Correlated(_), Some(fluid)) = (&module.spray, &module.coolant.fluid) else {
        return;
    };
    let saturation_K = fluid.saturation_temperature_K(module.coolant.pressure_Pa);
    let [_, hottest_K] = inlet_K.range();
    if hottest_K < saturation_K {
        return;
    }
    context.push(
        context
            .error(
                codes::INLET_SATURATED,
                "the liquid would boil in the nozzle",
                &(0..0),
                format!(
                    "inlet_C of the cycle reaches {:.1} °C; {} boils at {:.1} °C",
                    hottest_K - ZERO_C_IN_K,
                    fluid.name,
                    saturation_K - ZERO_C_IN_K
                ),
            )
            .help("lower inlet_C of the cycle or raise pressure_kPa of [coolant]"),
    );
}
