//! `report.html`: one page that says it all to people who never run the program.
//!
//! The page is self-contained: style, script, numbers and pictures stand inside it, and it asks
//! nothing of any network. Whatever a command knows is a list of [`Section`]s; the map of a module
//! and its junction table come from a solved case.
//!
//! - [`solved`], [`surveyed`]: the page of a solve, and of a survey of nozzles alone;
//! - [`composed`]: the page of a run over time, and of a better nozzle pattern;
//! - [`sections`]: parts that pages share; [`table`]: CSV files as tables;
//! - [`plan`]: the module to scale; [`layers`], [`packing`]: the values behind the map.
//!
//! A command that composes several solves makes its own [`Page`], or hands its files to
//! [`sections::of_files`]: tables and pictures become parts of the page.

mod composed;
#[cfg(test)]
mod contrast;
mod layers;
mod packing;
mod plan;
mod sections;
mod solved;
mod surveyed;
mod table;

pub use composed::{of_arrange, of_cycle};
pub use solved::of_solved;
pub use surveyed::of_survey;

use askama::Template;

use layers::MapData;
use table::{Cell, Table};

/// Name of the file.
pub const FILE: &str = "report.html";

/// A page.
#[derive(Debug, Template)]
#[template(path = "report.html")]
pub struct Page {
    /// Title of the module.
    title: String,
    /// The command that made the page.
    command: &'static str,
    /// `pass`, `fail` or `none`.
    verdict: &'static str,
    /// The verdict in capitals.
    word: String,
    /// What the verdict says.
    sentences: String,
    /// Figures that a review asks for first.
    facts: Vec<Fact>,
    /// What the reader should know.
    warnings: Vec<String>,
    /// The module to scale, SVG.
    plan: String,
    /// The map, where there are values.
    map: Option<Map>,
    /// Everything else.
    sections: Vec<Section>,
    /// SHA-256 of the case.
    sha256: String,
    version: &'static str,
    style: &'static str,
    script: &'static str,
}

/// A figure with its name.
#[derive(Debug, Clone)]
pub struct Fact {
    name: String,
    value: String,
    note: String,
}

impl Fact {
    /// A figure.
    fn new(name: &str, value: String, note: String) -> Fact {
        Fact { name: name.to_owned(), value, note }
    }
}

/// The map of the page.
#[derive(Debug)]
struct Map {
    /// What is in it, for those who do not see it.
    described: String,
    json: String,
    layers: Vec<(String, String)>,
    colours: Vec<String>,
    nozzles: bool,
    solved: bool,
    cells: String,
    left_out: Vec<String>,
    size_mm: [f64; 2],
}

impl Map {
    fn of(data: &MapData, described: String, size_m: [f64; 2]) -> Result<Map, ReportError> {
        Ok(Map {
            described,
            json: data.json()?,
            layers: data.titles().map(|(id, title)| (id.to_owned(), title.to_owned())).collect(),
            colours: data.colour_names().map(str::to_owned).collect(),
            nozzles: data.has_nozzles(),
            solved: data.titles().any(|(id, _)| id == "surface"),
            cells: format!("{} × {}", data.cells()[0], data.cells()[1]),
            left_out: data.left_out().to_vec(),
            size_mm: size_m.map(|v| (v * 1e6).round() / 1e3),
        })
    }
}

/// A part of the page with a heading.
#[derive(Debug, Default)]
pub struct Section {
    id: String,
    heading: String,
    blocks: Vec<Block>,
}

impl Section {
    /// An empty section; `id` is for links, without blanks.
    pub fn new(id: &str, heading: &str) -> Section {
        Section { id: id.to_owned(), heading: heading.to_owned(), blocks: Vec::new() }
    }

    /// With a paragraph; nothing for an empty one.
    pub fn paragraph(mut self, text: impl Into<String>) -> Section {
        let text = text.into();
        if !text.is_empty() {
            self.blocks.push(Block { paragraph: text, ..Block::default() });
        }
        self
    }

    /// With one more block.
    fn with(mut self, block: Block) -> Section {
        self.blocks.push(block);
        self
    }

    /// With a table; nothing for an empty one.
    fn table(self, table: Table) -> Section {
        if table.rows.is_empty() {
            return self;
        }
        self.with(Block { table: Some(table), ..Block::default() })
    }
}

/// A part of a section; what is empty is not shown.
#[derive(Debug, Default)]
struct Block {
    paragraph: String,
    list: Vec<String>,
    table: Option<Table>,
    picture: Option<Still>,
    /// Text as it is, with a heading that opens it.
    verbatim: Option<(String, String)>,
}

/// A picture inside the page.
#[derive(Debug)]
struct Still {
    address: String,
    described: String,
    caption: String,
}

/// A page that could not be made; only a fault of ours can cause it.
#[derive(Debug)]
pub struct ReportError(String);

impl std::fmt::Display for ReportError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "report.html: {}", self.0)
    }
}

impl std::error::Error for ReportError {}

macro_rules! from_error {
    ($($error:ty),*) => {$(
        impl From<$error> for ReportError {
            fn from(error: $error) -> Self {
                ReportError(error.to_string())
            }
        }
    )*};
}
from_error!(askama::Error, csv::Error, serde_json::Error, std::io::Error);

impl Page {
    /// The bytes of the file.
    pub fn bytes(&self) -> Result<Vec<u8>, ReportError> {
        Ok(self.render()?.into_bytes())
    }
}

const STYLE: &str = include_str!("../../assets/report.css");
const SCRIPT: &str = include_str!("../../assets/report.js");

/// Text inside markup that is not made by the template.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
