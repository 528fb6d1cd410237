//! Taking a TOML table apart key by key: every mistake is noted, none stops the reading.
//!
//! Each method asks for one key and gives its value with its place, or `None` after noting what
//! is wrong. [`Fields::finish`] then notes every key that nobody asked for. (Deriving the types
//! with serde would stop at the first mistake of each table.)

mod names;
mod notes;
mod numbers;

use std::ops::Range;
use std::rc::Rc;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::codes;
use super::context::{Context, Located, more_alike_than, nearest, quoted_list};
use super::diagnostic::Diagnostic;
use super::other_units;
use super::ranges::MOST_PARTS;

use names::check_name;
use notes::NotedForm;
pub(super) use notes::Notes;
pub use notes::{Form, KeyForm, Range as NumberRange, TableForm};

/// What a key needs to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Need {
    /// Its absence is a mistake.
    Required,
    /// It may be left out.
    Optional,
}

/// A required key is taken to be meant by an unknown one that is so similar to it, from 0 to 1.
const LIKE_A_MISSING_KEY: f64 = 0.65;

struct Entry<'t, 'i> {
    key: &'t str,
    key_span: Range<usize>,
    value: &'t Spanned<DeValue<'i>>,
    taken: bool,
}

/// One table under reading.
pub(super) struct Fields<'c, 't, 'i> {
    context: &'c Context<'c>,
    /// How messages call the table: `[module]`, `[[die]] "C0"`.
    place: String,
    /// The header, or the inline table.
    span: Range<usize>,
    entries: Vec<Entry<'t, 'i>>,
    known: Vec<&'static str>,
    missing: Vec<&'static str>,
    /// Keys whose absence was told already.
    excused: Vec<&'static str>,
    /// Those of the missing keys that are tables.
    missing_tables: Vec<&'static str>,
    /// Where what is asked for is noted, if anybody wants to know.
    notes: Option<Rc<Notes>>,
}

impl<'c, 't, 'i> Fields<'c, 't, 'i> {
    pub fn new(
        context: &'c Context<'c>,
        place: impl Into<String>,
        span: Range<usize>,
        table: &'t DeTable<'i>,
    ) -> Self {
        let mut entries: Vec<Entry<'t, 'i>> = table
            .iter()
            .map(|(key, value)| Entry {
                key: key.get_ref().as_ref(),
                key_span: key.span(),
                value,
                taken: false,
            })
            .collect();
        entries.sort_by_key(|entry| entry.key_span.start);
        Fields {
            context,
            place: place.into(),
            span,
            entries,
            known: Vec::new(),
            missing: Vec::new(),
            excused: Vec::new(),
            missing_tables: Vec::new(),
            notes: None,
        }
    }

    /// An empty table whose reader's wishes are noted; the tables inside it are noted too.
    pub fn noting(context: &'c Context<'c>, place: impl Into<String>, notes: Rc<Notes>) -> Self {
        Fields {
            context,
            place: place.into(),
            span: 0..0,
            entries: Vec::new(),
            known: Vec::new(),
            missing: Vec::new(),
            excused: Vec::new(),
            missing_tables: Vec::new(),
            notes: Some(notes),
        }
    }

    /// `key` may stand alone instead of all others, and does not.
    pub fn may_stand_alone(&mut self, key: &'static str) {
        self.known.push(key);
        if let Some(notes) = &self.notes {
            notes.add(key, Need::Optional, NotedForm::Done(Form::Text));
            notes.stands_alone(key);
        }
    }

    fn note(&self, key: &'static str, need: Need, form: impl FnOnce() -> Form) {
        if let Some(notes) = &self.notes {
            notes.add(key, need, NotedForm::Done(form()));
        }
    }

    /// The fields of an empty table inside one that is noted.
    fn inner_noting(
        &mut self,
        key: &'static str,
        need: Need,
        place: String,
        form: impl FnOnce(Rc<Notes>) -> NotedForm,
    ) -> Option<Self> {
        let notes = self.notes.as_ref()?;
        let inner = Rc::new(Notes::default());
        notes.add(key, need, form(Rc::clone(&inner)));
        Some(Fields::noting(self.context, place, inner))
    }

    /// The entries as lines of TOML, in the order of the text.
    pub fn as_written(&self) -> Vec<String> {
        fn value(value: &DeValue<'_>) -> String {
            match value {
                DeValue::String(text) => toml::Value::from(text.as_ref()).to_string(),
                DeValue::Integer(number) => number.to_string(),
                DeValue::Float(number) => number.to_string(),
                DeValue::Boolean(yes) => yes.to_string(),
                DeValue::Datetime(time) => time.to_string(),
                DeValue::Array(array) => {
                    let inner: Vec<String> = array.iter().map(value_of).collect();
                    format!("[{}]", inner.join(", "))
                }
                DeValue::Table(table) => {
                    let inner =
                        table.iter().map(|(key, v)| format!("{} = {}", key.get_ref(), value_of(v)));
                    format!("{{ {} }}", inner.collect::<Vec<_>>().join(", "))
                }
            }
        }
        fn value_of(spanned: &Spanned<DeValue<'_>>) -> String {
            value(spanned.get_ref())
        }
        let entries = self.entries.iter();
        entries.map(|entry| format!("{} = {}", entry.key, value_of(entry.value))).collect()
    }

    /// The header, to point at what is missing.
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// Calls the table otherwise in messages.
    pub fn called(mut self, place: impl Into<String>) -> Self {
        self.place = place.into();
        self
    }

    /// What is shared by every check.
    pub fn context(&self) -> &'c Context<'c> {
        self.context
    }

    /// The absence of these keys was told already.
    pub fn excuse(mut self, keys: Vec<&'static str>) -> Self {
        self.excused = keys;
        self
    }

    /// Adds the part's own name to the way messages call this table.
    pub fn named(&mut self, name: Option<&Located<String>>) {
        if let Some(name) = name {
            self.place = format!("{} \"{}\"", self.place, name.value);
        }
    }

    fn take(&mut self, key: &'static str, need: Need) -> Option<&'t Spanned<DeValue<'i>>> {
        self.known.push(key);
        if let Some(entry) = self.entries.iter_mut().find(|entry| entry.key == key) {
            entry.taken = true;
            return Some(entry.value);
        }
        if need == Need::Required && !self.excused.contains(&key) {
            self.missing.push(key);
        }
        None
    }

    /// Whether the key stands in the table, whatever its value; does not count as asking for it.
    pub fn has(&self, key: &str) -> bool {
        self.entries.iter().any(|entry| entry.key == key)
    }

    fn wrong_type(&self, key: &str, value: &Spanned<DeValue<'i>>, wanted: &str) -> Diagnostic {
        self.context.error(
            codes::WRONG_TYPE,
            format!("{key} must be {wanted}"),
            &value.span(),
            format!("this is {}", kind_of(value.get_ref())),
        )
    }

    /// Text.
    pub fn text(&mut self, key: &'static str, need: Need) -> Option<Located<String>> {
        self.note(key, need, || Form::Text);
        self.plain_text(key, need)
    }

    fn plain_text(&mut self, key: &'static str, need: Need) -> Option<Located<String>> {
        let value = self.take(key, need)?;
        match value.get_ref() {
            DeValue::String(text) => Some(Located { value: text.to_string(), span: value.span() }),
            other => {
                let mut finding = self.wrong_type(key, value, "text in quotes");
                if let DeValue::Integer(_) | DeValue::Float(_) | DeValue::Boolean(_) = other {
                    let as_written = self.context.written(&value.span());
                    finding = finding.help(format!("write {key} = \"{as_written}\""));
                }
                self.context.push(finding);
                None
            }
        }
    }

    /// A list of texts.
    pub fn text_list(
        &mut self,
        key: &'static str,
        need: Need,
    ) -> Option<Located<Vec<Located<String>>>> {
        self.note(key, need, || Form::TextList);
        let value = self.take(key, need)?;
        let DeValue::Array(array) = value.get_ref() else {
            let finding = self.wrong_type(key, value, "a list of names, [\"A\", \"B\"]");
            self.context.push(finding);
            return None;
        };
        let mut texts = Vec::with_capacity(array.len());
        for element in array.iter() {
            match element.get_ref() {
                DeValue::String(text) => {
                    texts.push(Located { value: text.to_string(), span: element.span() });
                }
                _ => {
                    let finding = self.wrong_type(key, element, "a list of names in quotes");
                    self.context.push(finding);
                    return None;
                }
            }
        }
        Some(Located { value: texts, span: value.span() })
    }

    /// A name: text that is not blank, at most 60 characters, without control characters.
    pub fn name(&mut self, key: &'static str, need: Need) -> Option<Located<String>> {
        self.note(key, need, || Form::Name);
        let name = self.plain_text(key, need)?;
        check_name(self.context, key, name)
    }

    /// One of a few words.
    pub fn word<T: Copy>(
        &mut self,
        key: &'static str,
        need: Need,
        words: &[(&'static str, T)],
    ) -> Option<Located<T>> {
        self.note(key, need, || Form::Word(words.iter().map(|(word, _)| *word).collect()));
        let text = self.plain_text(key, need)?;
        if let Some((_, meaning)) = words.iter().find(|(word, _)| *word == text.value) {
            return Some(Located { value: *meaning, span: text.span });
        }
        let mut finding = self.context.error(
            codes::WRONG_WORD,
            format!("{key} cannot be \"{}\"", text.value),
            &text.span,
            format!("one of {}", quoted_list(words.iter().map(|(word, _)| *word))),
        );
        if let Some(word) = nearest(&text.value, words.iter().map(|(word, _)| *word)) {
            finding = finding.help(format!("did you mean \"{word}\"?"));
        }
        self.context.push(finding);
        None
    }

    /// A table, written as `[key]` or inline.
    pub fn table(&mut self, key: &'static str, need: Need) -> Option<Fields<'c, 't, 'i>> {
        let place = self.inner_place(key, false);
        if let Some(inner) = self.inner_noting(key, need, place, NotedForm::Table) {
            return Some(inner);
        }
        if need == Need::Required && !self.has(key) {
            self.missing_tables.push(key);
        }
        let value = self.take(key, need)?;
        match value.get_ref() {
            DeValue::Table(table) => {
                Some(Fields::new(self.context, self.inner_place(key, false), value.span(), table))
            }
            DeValue::Array(array)
                if array.iter().any(|e| matches!(e.get_ref(), DeValue::Table(_))) =>
            {
                let place = self.inner_place(key, false);
                self.context.push(self.context.error(
                    codes::WRONG_TYPE,
                    format!("{key} is given once, as {place}"),
                    &value.span(),
                    "single brackets here",
                ));
                None
            }
            _ => {
                let finding = self.wrong_type(key, value, "a table");
                self.context.push(finding);
                None
            }
        }
    }

    /// An array of tables, `[[key]]`; empty when absent.
    pub fn tables(&mut self, key: &'static str) -> Vec<Fields<'c, 't, 'i>> {
        let place = self.inner_place(key, true);
        let noted = self.inner_noting(key, Need::Optional, place.clone(), NotedForm::Tables);
        if let Some(inner) = noted {
            return vec![inner];
        }
        let Some(value) = self.take(key, Need::Optional) else { return Vec::new() };
        match value.get_ref() {
            DeValue::Array(array) if array.len() > MOST_PARTS => {
                let first = array.get(MOST_PARTS).map_or(value.span(), Spanned::span);
                self.too_many(array.len(), &place, first.start);
                Vec::new()
            }
            DeValue::Array(array) => array
                .iter()
                .filter_map(|element| match element.get_ref() {
                    DeValue::Table(table) => {
                        Some(Fields::new(self.context, place.clone(), element.span(), table))
                    }
                    _ => {
                        let finding = self.wrong_type(key, element, "a list of tables");
                        self.context.push(finding.help(format!("start each one with {place}")));
                        None
                    }
                })
                .collect(),
            _ => {
                let finding = self.wrong_type(key, value, "a list of tables");
                self.context.push(finding.help(format!("start each one with {place}")));
                Vec::new()
            }
        }
    }

    fn too_many(&self, count: usize, place: &str, at: usize) {
        let finding = self.context.error(
            codes::TOO_MANY,
            format!("more than {MOST_PARTS} tables {place}"),
            &(at..at),
            format!("{count} are given"),
        );
        self.context.push(finding.help("check what wrote the case"));
    }

    /// Tables with names of the user's choice, `[key.NAME]`, in the order of the text.
    pub fn named_tables(
        &mut self,
        key: &'static str,
    ) -> Vec<(Located<String>, Fields<'c, 't, 'i>)> {
        let place = format!("[{key}.NAME]");
        let noted = self.inner_noting(key, Need::Optional, place, NotedForm::NamedTables);
        if let Some(inner) = noted {
            return vec![(Located { value: "NAME".to_owned(), span: 0..0 }, inner)];
        }
        let Some(value) = self.take(key, Need::Optional) else { return Vec::new() };
        let DeValue::Table(table) = value.get_ref() else {
            let finding = self.wrong_type(key, value, "a table of tables");
            self.context.push(finding.help(format!("start each one with [{key}.NAME]")));
            return Vec::new();
        };
        if table.len() > MOST_PARTS {
            self.too_many(table.len(), &format!("[{key}.NAME]"), value.span().start);
            return Vec::new();
        }
        let mut named: Vec<(Located<String>, Fields<'c, 't, 'i>)> = Vec::new();
        for (name, element) in table.iter() {
            let name = Located { value: name.get_ref().to_string(), span: name.span() };
            let Some(name) = check_name(self.context, "a name", name) else { continue };
            match element.get_ref() {
                DeValue::Table(inner) => {
                    let place = format!("[{key}.{}]", name.value);
                    named.push((name, Fields::new(self.context, place, element.span(), inner)));
                }
                _ => {
                    let finding = self.context.error(
                        codes::WRONG_TYPE,
                        format!("[{key}] holds tables, one a name"),
                        &name.span,
                        format!("this is {}", kind_of(element.get_ref())),
                    );
                    self.context.push(finding.help(format!("write [{key}.NAME] above this key")));
                }
            }
        }
        named.sort_by_key(|(name, _)| name.span.start);
        named
    }

    /// Notes every key that nobody asked for and every required key that is not there.
    ///
    /// A misspelt required key is one mistake: it is reported as unknown, with the right name.
    pub fn finish(self) {
        let mut misspelt: Vec<&str> = Vec::new();
        for entry in self.entries.iter().filter(|entry| !entry.taken) {
            let absent = self.known.iter().copied().filter(|known| !self.has(known));
            let finding = self.context.error(
                codes::UNKNOWN_KEY,
                format!("unknown key {} in {}", entry.key, self.place),
                &entry.key_span,
                "",
            );
            if let Some((key, unit, other)) = other_units::key_in_another(entry.key, absent.clone())
            {
                misspelt.push(key);
                let help = numbers::converted(entry.value, other)
                    .map_or(format!("did you mean {key}?"), |value| {
                        format!("write {key} = {value} if the value is in {unit}")
                    });
                self.context.push(finding.help(help));
                continue;
            }
            // What must stand here and does not is meant sooner than anything else.
            let required = self.missing.iter().copied().filter(|key| !misspelt.contains(key));
            let near = nearest(entry.key, absent)
                .or_else(|| more_alike_than(LIKE_A_MISSING_KEY, entry.key, required));
            self.context.push(match near {
                Some(key) => {
                    misspelt.push(key);
                    finding.help(format!("did you mean {key}?"))
                }
                None => finding.help(format!("the keys known here: {}", self.known.join(", "))),
            });
        }
        for key in self.missing.iter().filter(|key| !misspelt.contains(key)) {
            let finding = if self.missing_tables.contains(key) {
                let table = self.inner_place(key, false);
                self.context
                    .error(
                        codes::MISSING_KEY,
                        format!("{} lacks the table {table}", self.place),
                        &self.span,
                        "",
                    )
                    .help(format!(
                        "add {table} with its keys; `sprayside new` writes a case that has them all"
                    ))
            } else {
                self.context.error(
                    codes::MISSING_KEY,
                    format!("{} lacks the key {key}", self.place),
                    &self.span,
                    format!("{key} belongs here"),
                )
            };
            self.context.push(finding);
        }
    }

    fn inner_place(&self, key: &str, list: bool) -> String {
        // "[module]" + "layer" -> "[[module.layer]]"; the root has no brackets.
        let outer = match self.place.strip_prefix('[') {
            Some(rest) => {
                let name = rest.trim_start_matches('[');
                let end = name.find(']').unwrap_or(name.len());
                format!("{}.", &name[..end])
            }
            None => String::new(),
        };
        if list { format!("[[{outer}{key}]]") } else { format!("[{outer}{key}]") }
    }
}

fn kind_of(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
