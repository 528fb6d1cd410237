//! Arguments of the studies of one solution.

use clap::Args;

use super::CommonArguments;

/// Arguments of `resistance`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside resistance module.toml
  sprayside resistance module.toml --json | jq .resistance.max_K_W

Files written, beside those of solve:
  resistance_max.csv   K/W: a row a junction (its hottest point), a column where the watt goes
  resistance_mean.csv  the same for the mean of each junction
  resistance.png       the first as a picture

A watt lies on its die as the case says (blocks and map in proportion). Where a conductivity
depends on temperature, or the spray boils, the matrix is the slope at the powers of the case.
summary.json says how well it adds up against a full solve.")]
pub struct ResistanceArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub common: CommonArguments,
}

/// Arguments of `sensitivity`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside sensitivity module.toml
  sprayside sensitivity module.toml --junction M3   what moves M3 instead of the hottest junction

Files written, beside those of solve:
  sensitivity_max.csv   a row an input, a column a junction: what its hottest point gains, in K
  sensitivity_mean.csv  the same for the mean of each junction
  cooling_gain.png      what one junction loses where the spray side is cooled more

Inputs are the powers of die, blocks and heaters; thickness and conductivity of layers, attaches
and die; spray, board and edge coefficients and temperatures; flow and position of nozzles. Each
row names its step: K per W, per 10 %, per 0.1 mm, per K. They are slopes: good for small changes.")]
pub struct SensitivityArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub common: CommonArguments,

    /// Die or heater to tell of and to draw the map for [default: the hottest]
    #[arg(long, value_name = "NAME")]
    pub junction: Option<String>,
}
