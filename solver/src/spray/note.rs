//! What stands behind a correlation: source, status, range and band.

/// Which end of the correlations' bands a computation takes, for every correlation at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Band {
    /// Highest coefficient, most vigorous boiling, highest critical heat flux: gives the lowest
    /// temperatures.
    Favourable,
    /// The correlations as published.
    #[default]
    Nominal,
    /// The other end: gives the highest temperatures.
    Unfavourable,
}

impl Band {
    /// The factor that this end takes from a `[low, high]` pair of factors on a flux or
    /// coefficient.
    pub fn factor(self, band: [f64; 2]) -> f64 {
        match self {
            Band::Favourable => band[1],
            Band::Nominal => 1.0,
            Band::Unfavourable => band[0],
        }
    }
}

/// How far a formula has been confirmed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Formula and constants were read in a public text.
    ReadInSource,
    /// The citation was checked; formula and constants are from memory.
    FromMemory,
    /// Usual in the trade, without a source.
    CommonPractice,
}

impl Status {
    /// The words used in files.
    pub fn words(self) -> &'static str {
        match self {
            Status::ReadInSource => "read in the source",
            Status::FromMemory => "from memory, not confirmed in the source",
            Status::CommonPractice => "common practice, no source",
        }
    }
}

/// One correlation as it was used, for the printed record.
#[derive(Debug, Clone, PartialEq)]
pub struct CorrelationNote {
    /// What it computes.
    pub name: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// How far it has been confirmed.
    pub status: Status,
    /// Range of its data, in words.
    pub range: &'static str,
    /// Whether every use in this case lay inside.
    pub in_range: bool,
    /// Lowest and highest factor on its result, inside or outside the range as used.
    pub band: [f64; 2],
    /// What else a reader should know: the values used, what a second correlation says.
    pub remark: String,
}
