//! Arguments of `arrange`.

use clap::{Args, ValueEnum};
use sprayside_solver::study::arrange::Goal;

use super::CommonArguments;

/// Arguments of `arrange`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside arrange module.toml                  a lower hottest junction
  sprayside arrange module.toml --goal margin    a larger least margin to critical heat flux
  sprayside arrange module.toml --goal liquid    less liquid, while limits and margins hold
  sprayside solve module.out/arranged.toml       the pattern found, as any other case

Files written:
  arranged.toml      the case with its nozzles replaced; CSV files that it names lie beside it
  nozzles.csv        every nozzle before and after: place, stand-off, flow
  before_after.csv   every junction before and after: temperature, margins, wetted share
  before_after.png   both temperature maps on one scale, with the nozzles
  trade_off.csv, trade_off.png   what other amounts of liquid would give
  summary.json       everything above, for scripts

[arrange] in the case bounds the pattern: region_mm, [[arrange.keep_out]] with rect_mm,
least_spacing_mm, standoff_mm and flow_factor as [lowest, highest], total_flow_mL_s; and what must
hold: least_chf_margin, least_limit_margin_K. What is not stated stays as it is; positions are free
on the module. The number of nozzles and their types and tilts stay. Blocked nozzles do not move.

Before and after are solved in full; the way between them on a coarser mesh. A pattern that breaks
a bound is never written. A search finds a minimum near its start; more --starts look further.
A killed run goes on with the starts that it had finished when it is started again.")]
pub struct ArrangeArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub common: CommonArguments,

    /// What to improve
    #[arg(long, value_name = "GOAL", default_value = "hottest")]
    pub goal: GoalArgument,

    /// Patterns to start from: the present one, one allotted by power, then scattered ones
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u16).range(1..=200))]
    pub starts: u16,

    /// Most steps from each start
    #[arg(long, value_name = "N", default_value_t = 25, value_parser = clap::value_parser!(u16).range(1..=1000))]
    pub steps: u16,

    /// Seed of the scattered starts
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,

    /// Do not work out the trade-off of liquid against margin
    #[arg(long)]
    pub no_trade_off: bool,
}

/// What to improve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum GoalArgument {
    /// The hottest junction, lower
    Hottest,
    /// The least margin to critical heat flux, larger
    Margin,
    /// The liquid, less, while limits and margins hold
    Liquid,
}

impl From<GoalArgument> for Goal {
    fn from(goal: GoalArgument) -> Goal {
        match goal {
            GoalArgument::Hottest => Goal::Hottest,
            GoalArgument::Margin => Goal::Margin,
            GoalArgument::Liquid => Goal::Liquid,
        }
    }
}
