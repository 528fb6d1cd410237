//! Arguments of the studies of many points.

use std::path::PathBuf;
use std::str::FromStr;

use clap::Args;

use super::CommonArguments;
use crate::studies::running::Part;
use crate::studies::sweep::{parse_input, values_of};

/// What studies of many points share.
#[derive(Debug, Args)]
pub struct PointsArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub common: CommonArguments,

    /// Compute only every N-th point, from the K-th on, into a file beside the results; `gather`
    /// joins the parts
    #[arg(long, value_name = "K/N")]
    pub part: Option<Part>,
}

/// Arguments of `clog`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside clog module.toml                 every nozzle blocked in turn
  sprayside clog module.toml --pairs         and every pair of them
  sprayside clog module.toml --keep-total    a pump that holds the flow: the others take it over

Files written, beside those of solve:
  clog.csv    a row a blockage, the worst first
  points.csv  a row a blockage with every junction
  clog.png    the nozzles coloured by what their loss costs

Exit code 1 also when a blockage breaks a limit or a margin to burn-out. A killed run goes on
where it was when it is started again.")]
pub struct ClogArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub points: PointsArguments,

    /// Block every pair of nozzles too
    #[arg(long)]
    pub pairs: bool,

    /// The manifold keeps the total flow: the open nozzles share what the blocked ones leave
    /// [default: each keeps its own]
    #[arg(long)]
    pub keep_total: bool,
}

/// Arguments of `sweep`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside sweep module.toml --vary coolant.inlet_C=20,25,30
  sprayside sweep module.toml --vary die.C0.power_W=60..120/7 --vary coolant.inlet_C=20,30
  sprayside sweep module.toml --zip --vary die.C0.power_W=80,90 --vary die.C1.power_W=90,80

An input is any number that the case states: die.C0.power_W, board.htc_W_m2K,
die_type.logic.attach.thickness_mm, nozzle.N1.at_mm.x, spray.patch.2.htc_W_m2K (the second patch).
Values are a list, or FROM..TO/COUNT with both ends.

Files written, beside those of solve:
  points.csv  a row a solve: inputs, verdict, hottest, margins, every junction
  sweep.png   one junction against the first input, a line for each set of the others

The exit code tells of the case as it stands.")]
pub struct SweepArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub points: PointsArguments,

    /// A number of the case and its values; may be given several times
    #[arg(long, value_name = "NAME=VALUES", required = true, value_parser = parse_input)]
    pub vary: Vec<(String, Vec<f64>)>,

    /// Take the values side by side instead of every combination
    #[arg(long)]
    pub zip: bool,

    /// Die or heater in the picture [default: the hottest]
    #[arg(long, value_name = "NAME")]
    pub show: Option<String>,
}

/// Arguments of `scatter`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside scatter module.toml
  sprayside scatter module.toml --samples 4096 --seed 3

The case states what scatters, in [[tolerance]]:
  [[tolerance]]
  quantity = \"power_W\"         # also attach_thickness_mm, nozzle_flow_mL_s, inlet_C, limit_C, ...
  of = \"correlator\"            # a die, die type, heater, layer, nozzle or nozzle type
  distribution = \"normal\"      # normal, uniform, triangular, lognormal
  spread_pct = 5.0             # or spread = 2.0, in the quantity's unit
  items = \"each\"               # each by itself (the default), or all \"together\"

Files written, beside those of solve:
  scatter.csv    a row a junction: mean, percentiles, probability of breaking the limit, shares
  samples.csv    deviations of every sample; points.csv: what they lead to
  histogram.png  the junction most likely to break its limit
  tornado.png    which tolerances that comes from

The exit code tells of the case as it stands.")]
pub struct ScatterArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub points: PointsArguments,

    /// Samples; powers of two spread most evenly
    #[arg(long, value_name = "N", default_value_t = 512,
          value_parser = clap::value_parser!(u32).range(8..=65536))]
    pub samples: u32,

    /// Another seed gives another set of samples
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u32,
}

/// Values of one coordinate.
#[derive(Debug, Clone)]
pub struct Values(pub Vec<f64>);

impl FromStr for Values {
    type Err = String;

    fn from_str(text: &str) -> Result<Values, String> {
        let mut values = values_of(text)
            .ok_or("write a list, 0,0.5,1, or FROM..TO/COUNT with both ends: -1..1/9")?;
        values.sort_by(f64::total_cmp);
        values.dedup();
        if values.iter().any(|v| v.abs() > 100.0) {
            return Err("a cap is not mounted more than 100 mm or degrees off".to_owned());
        }
        Ok(Values(values))
    }
}

/// Arguments of `offset`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside offset module.toml                               81 places within 1 mm
  sprayside offset module.toml --dx-mm=-2..2/17 --dy-mm=-2..2/17
  sprayside offset module.toml --raise-mm=-1,0,1 --tilt-x-deg=0,1

Files written, beside those of solve:
  points.csv  a row a place
  offset.png  the least margin to a limit over dx and dy, with the largest safe circle; one more
              picture for every further height and tilt

The exit code tells of the case as it stands.")]
pub struct OffsetArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub points: PointsArguments,

    /// Shifts along x
    #[arg(long, value_name = "VALUES", default_value = "-1..1/9", allow_hyphen_values = true)]
    pub dx_mm: Values,

    /// Shifts along y
    #[arg(long, value_name = "VALUES", default_value = "-1..1/9", allow_hyphen_values = true)]
    pub dy_mm: Values,

    /// Heights over the stated one
    #[arg(long, value_name = "VALUES", default_value = "0", allow_hyphen_values = true)]
    pub raise_mm: Values,

    /// Tilts about x; a positive one swings the spray toward +y
    #[arg(long, value_name = "VALUES", default_value = "0", allow_hyphen_values = true)]
    pub tilt_x_deg: Values,

    /// Tilts about y; a positive one swings the spray toward -x
    #[arg(long, value_name = "VALUES", default_value = "0", allow_hyphen_values = true)]
    pub tilt_y_deg: Values,
}

/// Arguments of `gather`.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  sprayside scatter module.toml --part 1/2      on one machine
  sprayside scatter module.toml --part 2/2      on another
  sprayside gather module.toml module.out.scatter-*-of-2.part

The results are those of a single run, to the byte (but for the time it took).")]
pub struct GatherArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub common: CommonArguments,

    /// The files that `--part` wrote
    #[arg(value_name = "PART", required = true)]
    pub parts: Vec<PathBuf>,
}
