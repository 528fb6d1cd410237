//! Arguments of `cycle`.

use std::path::PathBuf;

use clap::Args;

use super::CommonArguments;

/// Arguments of `cycle`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside cycle module.toml
  sprayside cycle module.toml --json | jq .energy.imbalance_relative
  sprayside cycle module.toml --no-step-response    only what [cycle] says
  sprayside cycle night.toml --from day.out         go on where another run has ended

What changes stands in [cycle] of the case:
  [cycle]
  period_s = 30.0            length of the profile
  repeats = 3                how often it runs, one after another
  start = \"periodic\"         or \"steady\", or \"uniform\" with start_C
  snapshots_s = [0.0, 12.0]
  [[cycle.power]]
  of = \"C0\"                  a die, a die type, a heater, or \"module\"
  shape = \"steps\"            or \"ramps\"
  time_s = [0.0, 10.0]
  factor = [1.0, 0.1]        or power_W
  [[cycle.coolant]]
  time_s = [0.0, 20.0]
  flow_factor = [1.0, 0.0]   or htc_factor with stated coefficients; inlet_C

Files written:
  history.csv        a row a time: power, inlet, coolant factor, junctions, sensors
  cycle_summary.csv  a row a junction: extremes, swing, dwell, ramps, margin, verdict
  step_response.csv  K/W against time for a step of each junction's own power
  history.png, step_response.png, snapshot-*.png
  state.npz          the temperatures of all cells at the end, for --from
  summary.json       all of it, with the energy balance and the errors in time and space

The mesh is that of `solve`, thinned by `coarsening` (2 unless stated); the uncertainty printed
counts what that costs. Exit code 1 says that a limit is broken at some time.")]
pub struct CycleArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub common: CommonArguments,

    /// Leave out the step responses
    #[arg(long)]
    pub no_step_response: bool,

    /// Start from the state of another run of this module instead of what `start` says: a folder of
    /// `cycle` (its end) or of `solve --save npy`, or a snapshot-*.npz
    #[arg(long, value_name = "RESULTS")]
    pub from: Option<PathBuf>,

    /// Also write snapshot-*.npz, the state at each of snapshots_s, for --from
    #[arg(long)]
    pub save_states: bool,
}
