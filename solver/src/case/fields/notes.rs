//! What a reader asks for, noted as it asks: the description of the case file is the reader
//! itself, run over empty tables.

use std::cell::RefCell;
use std::rc::Rc;

use super::super::ranges::Quantity;
use super::Need;

/// Range of a number and its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// Unit; empty for a pure number.
    pub unit: &'static str,
}

impl From<&Quantity> for Range {
    fn from(quantity: &Quantity) -> Range {
        Range { low: quantity.low, high: quantity.high, unit: quantity.unit }
    }
}

/// What a key holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Form {
    /// Any text.
    Text,
    /// A name that results can bear.
    Name,
    /// One of these words.
    Word(Vec<&'static str>),
    /// A list of texts.
    TextList,
    /// A number.
    Number(Range),
    /// So many numbers.
    Numbers(Vec<Range>),
    /// One number, or three.
    OneOrThree(Range),
    /// A list of numbers.
    NumberList(Range),
    /// A list of pairs of numbers.
    PairList(Range),
    /// A whole number.
    Count {
        /// Lowest value.
        low: usize,
        /// Highest value.
        high: usize,
    },
    /// A table.
    Table(TableForm),
    /// A list of tables.
    Tables(TableForm),
    /// Tables with names of the user's choice.
    NamedTables(TableForm),
}

/// A key that a table may have.
#[derive(Debug, Clone, PartialEq)]
pub struct KeyForm {
    /// The key.
    pub key: &'static str,
    /// Whether its absence is a mistake.
    pub required: bool,
    /// What it holds.
    pub form: Form,
}

/// The keys that a table may have, in the order in which they are asked for.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TableForm {
    /// Keys.
    pub keys: Vec<KeyForm>,
    /// A key that stands alone, instead of all others.
    pub instead: Option<&'static str>,
}

/// Notes under way.
#[derive(Debug, Default)]
pub(in super::super) struct Notes {
    keys: RefCell<Vec<(&'static str, bool, NotedForm)>>,
    instead: RefCell<Option<&'static str>>,
}

/// Forms under way: tables inside are still read.
#[derive(Debug)]
pub(super) enum NotedForm {
    Done(Form),
    Table(Rc<Notes>),
    Tables(Rc<Notes>),
    NamedTables(Rc<Notes>),
}

impl Notes {
    pub(super) fn add(&self, key: &'static str, need: Need, form: NotedForm) {
        self.keys.borrow_mut().push((key, need == Need::Required, form));
    }

    pub(super) fn stands_alone(&self, key: &'static str) {
        *self.instead.borrow_mut() = Some(key);
    }

    /// What was asked for.
    pub fn table(&self) -> TableForm {
        let keys = self.keys.borrow();
        let keys = keys.iter().map(|(key, required, form)| KeyForm {
            key,
            required: *required,
            form: match form {
                NotedForm::Done(form) => form.clone(),
                NotedForm::Table(notes) => Form::Table(notes.table()),
                NotedForm::Tables(notes) => Form::Tables(notes.table()),
                NotedForm::NamedTables(notes) => Form::NamedTables(notes.table()),
            },
        });
        TableForm { keys: keys.collect(), instead: *self.instead.borrow() }
    }
}
