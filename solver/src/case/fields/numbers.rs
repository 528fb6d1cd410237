//! Numbers out of a table: single, in fixed counts, in lists; each inside its range.

use toml::Spanned;
use toml::de::{DeArray, DeValue};

use super::super::codes;
use super::super::context::{Located, number_text};
use super::super::other_units::OtherUnit;
use super::super::ranges::Quantity;
use super::{Fields, Form, Need};

impl<'t, 'i> Fields<'_, 't, 'i> {
    /// A number inside the range of its quantity.
    pub fn number(
        &mut self,
        key: &'static str,
        need: Need,
        quantity: &Quantity,
    ) -> Option<Located<f64>> {
        self.note(key, need, || Form::Number(quantity.into()));
        let value = self.take(key, need)?;
        self.checked_number(key, value, quantity, &format!("a number{}", in_unit(quantity)))
    }

    /// A fixed count of numbers, such as `[x, y]`.
    pub fn numbers<const N: usize>(
        &mut self,
        key: &'static str,
        need: Need,
        quantities: [&Quantity; N],
        form: &str,
    ) -> Option<Located<[f64; N]>> {
        self.note(key, need, || Form::Numbers(quantities.map(Into::into).to_vec()));
        self.plain_numbers(key, need, quantities, form)
    }

    fn plain_numbers<const N: usize>(
        &mut self,
        key: &'static str,
        need: Need,
        quantities: [&Quantity; N],
        form: &str,
    ) -> Option<Located<[f64; N]>> {
        let value = self.take(key, need)?;
        let array = match value.get_ref() {
            DeValue::Array(array) if array.len() == N => array,
            DeValue::Array(array) => {
                self.context.push(self.context.error(
                    codes::WRONG_TYPE,
                    format!("{key} must be {form}"),
                    &value.span(),
                    format!("this has {} values, {N} are needed", array.len()),
                ));
                return None;
            }
            _ => {
                let finding = self.wrong_type(key, value, form);
                self.context.push(finding);
                return None;
            }
        };
        let mut numbers = [0.0; N];
        let mut good = true;
        for ((slot, element), quantity) in numbers.iter_mut().zip(array.iter()).zip(quantities) {
            match self.checked_number(key, element, quantity, form) {
                Some(number) => *slot = number.value,
                None => good = false,
            }
        }
        good.then(|| Located { value: numbers, span: value.span() })
    }

    /// One number, or three for x, y and z.
    pub fn one_or_three(
        &mut self,
        key: &'static str,
        need: Need,
        quantity: &Quantity,
    ) -> Option<Located<[f64; 3]>> {
        self.note(key, need, || Form::OneOrThree(quantity.into()));
        let is_array = self
            .entries
            .iter()
            .any(|entry| entry.key == key && matches!(entry.value.get_ref(), DeValue::Array(_)));
        if is_array {
            return self.plain_numbers(
                key,
                need,
                [quantity; 3],
                "one number, or three for [x, y, z]",
            );
        }
        let value = self.take(key, need)?;
        let form = "one number, or three for [x, y, z]";
        Some(self.checked_number(key, value, quantity, form)?.map(|number| [number; 3]))
    }

    /// A list of numbers of any length.
    pub fn number_list(
        &mut self,
        key: &'static str,
        need: Need,
        quantity: &Quantity,
    ) -> Option<Located<Vec<Located<f64>>>> {
        self.note(key, need, || Form::NumberList(quantity.into()));
        let value = self.take(key, need)?;
        let array = self.array(key, value, "a list of numbers, [a, b, ...]")?;
        let form = format!("a list of numbers{}", in_unit(quantity));
        let numbers: Vec<Option<Located<f64>>> = array
            .iter()
            .map(|element| self.checked_number(key, element, quantity, &form))
            .collect();
        let numbers = numbers.into_iter().collect::<Option<Vec<_>>>()?;
        Some(Located { value: numbers, span: value.span() })
    }

    /// A list of pairs, `[[x, y], ...]`.
    pub fn pair_list(
        &mut self,
        key: &'static str,
        need: Need,
        quantity: &Quantity,
    ) -> Option<Located<Vec<[f64; 2]>>> {
        self.note(key, need, || Form::PairList(quantity.into()));
        let value = self.take(key, need)?;
        let form = "a list of pairs, [[x, y], ...]";
        let array = self.array(key, value, form)?;
        let mut pairs = Vec::with_capacity(array.len());
        let mut good = true;
        for element in array.iter() {
            match element.get_ref() {
                DeValue::Array(pair) if pair.len() == 2 => {
                    let numbers: Vec<Option<f64>> = pair
                        .iter()
                        .map(|n| self.checked_number(key, n, quantity, form).map(|n| n.value))
                        .collect();
                    match numbers[..] {
                        [Some(x), Some(y)] => pairs.push([x, y]),
                        _ => good = false,
                    }
                }
                _ => {
                    let finding = self.wrong_type(key, element, form);
                    self.context.push(finding);
                    good = false;
                }
            }
        }
        good.then(|| Located { value: pairs, span: value.span() })
    }

    /// A whole number in a range.
    pub fn count(
        &mut self,
        key: &'static str,
        need: Need,
        range: std::ops::RangeInclusive<usize>,
    ) -> Option<Located<usize>> {
        self.note(key, need, || Form::Count { low: *range.start(), high: *range.end() });
        let value = self.take(key, need)?;
        let whole = match value.get_ref() {
            DeValue::Integer(integer) => {
                i128::from_str_radix(integer.as_str(), integer.radix()).ok()
            }
            // 4.0 is a whole number to a person.
            DeValue::Float(float) => float
                .as_str()
                .parse::<f64>()
                .ok()
                .filter(|number| number.fract() == 0.0 && number.abs() < 1e15)
                .map(|number| number as i128),
            _ => None,
        };
        let Some(whole) = whole else {
            let finding = self.wrong_type(key, value, "a whole number");
            self.context.push(finding);
            return None;
        };
        match usize::try_from(whole) {
            Ok(count) if range.contains(&count) => {
                Some(Located { value: count, span: value.span() })
            }
            _ => {
                self.context.push(self.context.error(
                    codes::OUT_OF_RANGE,
                    format!("{key} is out of range"),
                    &value.span(),
                    format!("got {whole}; allowed {} to {}", range.start(), range.end()),
                ));
                None
            }
        }
    }

    fn array(
        &self,
        key: &str,
        value: &'t Spanned<DeValue<'i>>,
        form: &str,
    ) -> Option<&'t DeArray<'i>> {
        match value.get_ref() {
            DeValue::Array(array) => Some(array),
            _ => {
                let finding = self.wrong_type(key, value, form);
                self.context.push(finding);
                None
            }
        }
    }

    fn checked_number(
        &self,
        key: &str,
        value: &Spanned<DeValue<'i>>,
        quantity: &Quantity,
        wanted: &str,
    ) -> Option<Located<f64>> {
        let span = value.span();
        let number = match value.get_ref() {
            DeValue::Float(float) => float.as_str().parse::<f64>().ok(),
            DeValue::Integer(integer) => {
                i128::from_str_radix(integer.as_str(), integer.radix()).ok().map(|n| n as f64)
            }
            other => {
                let mut finding = self.wrong_type(key, value, wanted);
                if let DeValue::String(text) = other
                    && let Some(number) = leading_number(text)
                {
                    finding = finding.help(format!(
                        "write the bare number, {}; the unit stands in the key's name",
                        number_text(number)
                    ));
                }
                self.context.push(finding);
                return None;
            }
        };
        let Some(number) = number.filter(|number| number.is_finite()) else {
            self.context.push(
                self.context
                    .error(
                        codes::NOT_FINITE,
                        format!("{key} must be a finite number"),
                        &span,
                        format!("got {}", self.context.written(&span).trim()),
                    )
                    .help(format!("allowed: {}", range_text(quantity))),
            );
            return None;
        };
        if number < quantity.low || number > quantity.high {
            let mut finding = self.context.error(
                codes::OUT_OF_RANGE,
                format!("{key} is out of range"),
                &span,
                format!("got {}; allowed {}", number_text(number), range_text(quantity)),
            );
            if let Some(help) = range_help(number, quantity) {
                finding = finding.help(help);
            }
            self.context.push(finding);
            return None;
        }
        Some(Located { value: number, span })
    }
}

/// A number, or lists of numbers, as they would be written in another unit.
pub(super) fn converted(value: &Spanned<DeValue<'_>>, unit: &OtherUnit) -> Option<String> {
    match value.get_ref() {
        DeValue::Float(float) => {
            let number = float.as_str().parse::<f64>().ok()?;
            Some(number_text(unit.converted(number)))
        }
        DeValue::Integer(integer) => {
            let number = i128::from_str_radix(integer.as_str(), integer.radix()).ok()?;
            Some(number_text(unit.converted(number as f64)))
        }
        DeValue::Array(array) if array.len() <= 8 => {
            let items: Option<Vec<String>> =
                array.iter().map(|item| converted(item, unit)).collect();
            Some(format!("[{}]", items?.join(", ")))
        }
        _ => None,
    }
}

fn in_unit(quantity: &Quantity) -> String {
    if quantity.unit.is_empty() { String::new() } else { format!(" ({})", quantity.unit) }
}

fn range_text(quantity: &Quantity) -> String {
    let range = format!("{} to {}", number_text(quantity.low), number_text(quantity.high));
    if quantity.unit.is_empty() { range } else { format!("{range} {}", quantity.unit) }
}

/// What to type instead of an out-of-range number: a slip of sign or of unit, or the hint.
fn range_help(number: f64, quantity: &Quantity) -> Option<String> {
    let allowed = |value: f64| value >= quantity.low && value <= quantity.high;
    let mut helps: Vec<String> = Vec::new();
    if !quantity.hint.is_empty() {
        helps.push(quantity.hint.to_owned());
    }
    if number < 0.0 && allowed(-number) {
        helps.push(format!("write {} if the sign is a slip", number_text(-number)));
    } else if number != 0.0 {
        let slip = quantity
            .slips
            .iter()
            .map(|(unit, factor, offset)| (unit, number * factor + offset))
            .find(|(_, value)| allowed(*value));
        if let Some((unit, value)) = slip {
            helps.push(format!(
                "if {} is in {unit}, write {}",
                number_text(number),
                number_text(value)
            ));
        }
    }
    if helps.is_empty() { None } else { Some(helps.join("; ")) }
}

/// The number that a text such as "12.5 mm" begins with.
fn leading_number(text: &str) -> Option<f64> {
    let text = text.trim();
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+')))
        .unwrap_or(text.len());
    text[..end].parse::<f64>().ok().filter(|number| number.is_finite())
}
