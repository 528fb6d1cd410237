//! Arguments of `qualify`.

use clap::Args;

use super::CommonArguments;

/// Arguments of `qualify`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  sprayside qualify module.toml
  sprayside qualify module.toml --json | jq .qualification.test_cycles

The case says in [qualification] how the part is used in the field, how it is cycled in the test,
the life and the reliability to be proved. Temperatures are those of the steady solve, or of a
history.csv that a run over time has made.

Files written, beside those of solve:
  qualification.csv  a row a die: swings, acceleration factor by the model and by all models,
                     cycles of the test, share of life used in a year

Exit code 1 says that this test proves nothing for some die, that the parts at hand are too few, that
the known life is shorter than the life to be proved, or that a limit of the case is broken.")]
pub struct QualifyArguments {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment would become help text")]
    pub common: CommonArguments,
}
