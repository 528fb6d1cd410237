//! What a map shows of the part beside a field: its size, its name, and what is outlined.

use sprayside_solver::module::{Module, Rect};

/// The part as a map draws it.
#[derive(Debug)]
pub struct Outlines<'a> {
    /// Beside the title of the map.
    pub title: &'a str,
    /// Along x and y, m.
    pub size_m: [f64; 2],
    /// What is outlined and named, in the order of the details of a map.
    pub parts: Vec<Outlined<'a>>,
}

/// One outline.
#[derive(Debug, Clone, Copy)]
pub struct Outlined<'a> {
    /// Stands within it, or beside it.
    pub name: &'a str,
    /// Its edges, m.
    pub rect: Rect,
    /// Die: unbroken, and a field may jump at its edges. Others are dashed.
    pub is_die: bool,
}

impl Outlines<'_> {
    /// The edges of die.
    pub fn die_rects(&self) -> Vec<Rect> {
        self.parts.iter().filter(|part| part.is_die).map(|part| part.rect).collect()
    }
}

impl<'a> From<&'a Module> for Outlines<'a> {
    fn from(module: &'a Module) -> Outlines<'a> {
        let part = |name: &'a String, rect, is_die| Outlined { name, rect, is_die };
        let die = module.die.iter().map(|die| part(&die.name, die.rect, true));
        let heaters = module.heaters.iter().map(|heater| part(&heater.name, heater.rect, false));
        Outlines {
            title: &module.title,
            size_m: module.size_m,
            parts: die.chain(heaters).collect(),
        }
    }
}
