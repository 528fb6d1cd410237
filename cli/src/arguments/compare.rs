//! Arguments of `compare`.

use std::path::PathBuf;

use clap::Args;

/// Arguments of `compare`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside compare rev-b.out rev-c.out          two results, junction by junction
  sprayside compare module.out readings.csv      what the sensors read against what they should
  sprayside compare a.out b.out -o difference    the table as CSV, and maps of the difference

Two junctions differ when their temperatures are further apart than both uncertainties together; a
reading differs when it is further off than the uncertainty of the prediction and the limit of error
of the sensor together. Fields are compared, and mapped with -o, where both results were solved with
`--save npy`; other results hold pictures of their fields only.

Files written with -o:
  compare.csv              a row a junction, sensor or reading
  difference_surface.png   B less A over the exposed surface; difference_junction.png on the active faces

Exit code 0 says that nothing differs, 1 that something does or is in one of the two only.")]
pub struct CompareArguments {
    /// A folder of results
    #[arg(value_name = "A")]
    pub a: PathBuf,

    /// Another one, or a CSV file of readings (sensor,reading_C)
    #[arg(value_name = "B")]
    pub b: PathBuf,

    /// Folder for compare.csv, maps of the difference and a summary [default: none is written]
    #[arg(short, long = "output", value_name = "DIR")]
    pub output: Option<PathBuf>,

    /// Print the comparison as JSON instead of text
    #[arg(long)]
    pub json: bool,

    /// Print nothing but errors
    #[arg(short, long)]
    pub quiet: bool,
}
