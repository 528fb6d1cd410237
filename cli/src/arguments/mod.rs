//! The command line.

mod arrange;
mod compare;
mod cycle;
mod measurements;
mod pictures;
mod points;
mod qualify;
mod studies;

use std::path::PathBuf;

use clap::builder::styling::{AnsiColor, Styles};
use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::exchange::SaveForm;

pub use arrange::ArrangeArguments;
pub use compare::CompareArguments;
pub use cycle::CycleArguments;
pub use measurements::{FitArguments, ParameterName};
pub use pictures::PictureArguments;
pub use points::{
    ClogArguments, GatherArguments, OffsetArguments, PointsArguments, ScatterArguments,
    SweepArguments,
};
pub use qualify::QualifyArguments;
pub use studies::{ResistanceArguments, SensitivityArguments};

const STYLES: Styles = Styles::styled()
    .header(AnsiColor::Yellow.on_default().bold())
    .usage(AnsiColor::Yellow.on_default().bold())
    .literal(AnsiColor::Cyan.on_default())
    .placeholder(AnsiColor::Cyan.on_default());

const EXAMPLES: &str = "\
Examples:
  sprayside new module.toml              a commented case to start from
  sprayside check module.toml            what was understood, and what looks wrong
  sprayside solve module.toml            temperatures, maps and a verdict into module.out/
  sprayside solve module.toml --json     the same, and the summary as JSON on standard output
  generator | sprayside solve - -o run7  the case from standard input, results into run7/

Exit codes:
  0  solved, and every limit is kept
  1  solved, and a limit or a margin is broken
  2  the case or the command line is wrong
  3  no solution; the message says why
  4  a file could not be read or written
  130  interrupted (Ctrl-C); old results stand, a study goes on where it was";

/// Junction temperatures, maps and margins of a spray-cooled multi-chip module, from one text file
///
/// Describe the module in a TOML file: layers, die, what each dissipates, the spray above and the
/// board below. The answer is how hot every junction gets, how well that is known, and whether
/// it keeps its limit.
#[derive(Debug, Parser)]
#[command(name = "sprayside", version, after_help = EXAMPLES, styles = STYLES)]
#[command(max_term_width = 100, arg_required_else_help = true, disable_help_subcommand = true)]
pub struct Arguments {
    /// What to do
    #[command(subcommand)]
    pub command: Command,

    /// Colours in messages: by default on a terminal only, and never where NO_COLOR is set
    #[arg(
        long,
        global = true,
        value_name = "WHEN",
        default_value = "auto",
        hide_default_value = true
    )]
    pub color: Color,
}

/// When to colour.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum Color {
    /// On a terminal, unless NO_COLOR is set
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

impl Color {
    /// Makes the choice hold for everything that is printed from now on.
    pub fn write_global(self) {
        match self {
            Color::Auto => anstream::ColorChoice::Auto,
            Color::Always => anstream::ColorChoice::Always,
            Color::Never => anstream::ColorChoice::Never,
        }
        .write_global();
    }
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a commented starter case
    New(NewArguments),
    /// Read a case, say what was understood and what is suspicious; solve nothing
    Check(CheckArguments),
    /// Steady temperatures: junctions, hot spots, maps, heat balance, verdict
    Solve(SolveArguments),
    /// What the nozzles lay down: wetted share, evenness, burn-out margin, dry patches, liquid
    Coverage(CoverageArguments),
    /// Temperatures over time: power cycles, pump trips, cold starts; step responses
    Cycle(CycleArguments),
    /// Explain a diagnostic such as E012, or list them all
    Explain(ExplainArguments),
    /// Print a completion script for a shell
    Completions(CompletionsArguments),
    /// Write the manual pages into a folder
    Man(ManArguments),
    /// Print the JSON Schema of the case file, for editors that complete and check
    Schema(SchemaArguments),
    /// Thermal resistances: kelvin at each junction for a watt in each die
    Resistance(ResistanceArguments),
    /// What every input does to every junction, and where more cooling helps most
    Sensitivity(SensitivityArguments),
    /// A better nozzle pattern within bounds: positions, stand-off and flows
    Arrange(ArrangeArguments),
    /// The model against thermometers: corrections, their intervals, which sensor disagrees
    Fit(FitArguments),
    /// The plan of a cycling test that stands for a life in the field
    Qualify(QualifyArguments),
    /// Two results, or a result and readings, side by side
    Compare(CompareArguments),
    /// What every blocked nozzle costs, and which matters most
    Clog(ClogArguments),
    /// The cap shifted, raised or tilted: margins, and the largest safe offset
    Offset(OffsetArguments),
    /// Random tolerances: percentiles, probability of breaking a limit, where it comes from
    Scatter(ScatterArguments),
    /// Any numbers of the case over lists or ranges
    Sweep(SweepArguments),
    /// Join the parts of a study that was spread over machines
    Gather(GatherArguments),
}

/// Arguments of `new`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside new module.toml      then change it into your module
  sprayside new - | less         only look at it

An existing file is never overwritten.")]
pub struct NewArguments {
    /// The file to write, or - for standard output
    #[arg(value_name = "CASE.toml")]
    pub case: PathBuf,
}

/// Arguments of `check`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside check module.toml
  sprayside check module.toml --json     the same as JSON, for scripts
  sprayside check module.toml --drawing module.png   the module to scale; .svg works too

Every mistake is shown at once, each under the line where it stands. Exit code 0 if the case can be
solved, 2 if not.")]
pub struct CheckArguments {
    /// The case, or - for standard input (files that it names are then sought from here)
    #[arg(value_name = "CASE.toml")]
    pub case: PathBuf,

    /// Also draw the module to scale, with names, nozzles and cones, into a PNG or SVG file
    #[arg(long, value_name = "FILE")]
    pub drawing: Option<PathBuf>,

    /// Print what was understood as JSON
    #[arg(long)]
    pub json: bool,

    /// Print nothing but mistakes and warnings; with --json nothing but mistakes and the JSON
    #[arg(short, long)]
    pub quiet: bool,
}

/// Arguments of `solve`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside solve module.toml                 results into module.out/
  sprayside solve module.toml -o runs/rev-c   results into runs/rev-c/
  sprayside solve module.toml --json | jq .hottest
  sprayside solve module.toml --scale 20..90 --isotherms 5 --svg   maps for a paper
  sprayside solve module.toml --section 0,32,96,32   temperatures along a line as plot and table
  sprayside solve module.toml --save npy,vtk  the fields for NumPy and for viewers of VTK files
  sprayside solve module.toml --convergence   how the temperatures settled, grid by grid

Files written:
  junctions.csv    a row a die or heater: power, flux, temperatures, uncertainty, margin, verdict
  hot_spots.csv    every local maximum on the active faces, hottest first
  sensors.csv      with [[sensor]]: what each should read, its limit of error apart
  summary.json     everything above and the heat balance, for scripts
  temperature.png  the surface seen from the spray; heat_flux.png and htc.png likewise
  volumetric_flux.png, chf_margin.png   with nozzles: where liquid lands, how far from burn-out
  sheet-*.png      the temperature of each sheet, from the board side up
  report.html      one page for people who never run the program; opens without a network

The folder is replaced as a whole when the new results are complete; if anything fails the old
ones stay. A folder that holds anything else is never replaced. Exit code 1 says that a limit is
broken.")]
pub struct SolveArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub common: CommonArguments,

    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub pictures: PictureArguments,

    /// Also write convergence.csv and convergence.png: every grid, its temperatures, uncertainties
    #[arg(long)]
    pub convergence: bool,

    /// Also write the fields for other programs; several with commas between
    #[arg(long, value_name = "FORM", value_delimiter = ',')]
    pub save: Vec<SaveForm>,
}

/// Arguments of `coverage`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside coverage module.toml              with the temperatures: margins to burn-out as well
  sprayside coverage module.toml --no-solve   where the liquid lands, at once

Files written, beside those of solve:
  coverage.csv     a row a die: wetted share, volumetric flux, uniformity, coefficient, CHF margin
  dry_patches.csv  parts of die on which nothing lands, largest first

Uniformity is Christiansen's: one minus the mean deviation of the volumetric flux over its mean.
A CHF margin is critical over local heat flux: below 1 the place burns out, and the exit code is 1.
With --no-solve only coverage.csv, dry_patches.csv, volumetric_flux.png, report.html and
summary.json are written; they replace what the folder held, so name another one to keep both.")]
pub struct CoverageArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub common: CommonArguments,

    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub pictures: PictureArguments,

    /// Survey the nozzles alone, without temperatures
    #[arg(long)]
    pub no_solve: bool,
}

/// Arguments of `explain`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside explain E012
  sprayside explain         the list of all")]
pub struct ExplainArguments {
    /// The code that stands behind `error` or `warning`, or a coolant of the library
    #[arg(value_name = "CODE")]
    pub code: Option<String>,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside completions bash > ~/.local/share/bash-completion/completions/sprayside
  sprayside completions zsh > ~/.zfunc/_sprayside
  sprayside completions fish > ~/.config/fish/completions/sprayside.fish")]
pub struct CompletionsArguments {
    /// The shell
    #[arg(value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

/// Arguments of `man`.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  sprayside man ~/.local/share/man/man1")]
pub struct ManArguments {
    /// The folder, made where there is none; sprayside.1 and one page a command are written there
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
}

/// Arguments of `schema`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside schema > case.schema.json
  then, as first line of a case: #:schema ./case.schema.json
  which editors with a TOML language server read; others bind the schema in their settings")]
pub struct SchemaArguments {}

/// Arguments of every command that makes results of a case.
#[derive(Debug, Args)]
pub struct CommonArguments {
    /// The case, or - for standard input (files that it names are then sought from here)
    #[arg(value_name = "CASE.toml")]
    pub case: PathBuf,

    /// Folder for the results [default: CASE.out beside the case; stdin.out for -]
    #[arg(short, long = "output", value_name = "DIR")]
    pub output: Option<PathBuf>,

    /// Print the summary as JSON instead of text
    #[arg(long)]
    pub json: bool,

    /// Print nothing but errors and warnings; with --json nothing but errors and the JSON
    #[arg(short, long)]
    pub quiet: bool,

    /// Threads to use [default: all cores]; the results do not depend on it
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
}
