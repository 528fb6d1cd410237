//! Temperatures over time from a CSV file: `history.csv` of a run over time, or a logger's table
//! with the same headings.

use super::codes;
use super::context::{Context, Located};
use super::csv_file::{cells, lines};
use crate::module::History;

/// Kelvin at 0 °C.
const ZERO_C_IN_K: f64 = 273.15;
/// What follows a name in a heading.
const ENDING: &str = " junction_max_C";

/// Reads the histories of the sources called `names`; notes what is wrong.
pub(super) fn load(
    context: &Context<'_>,
    path: &Located<String>,
    names: &[&str],
) -> Option<History> {
    let text = context.text_of(path)?;
    match parse(&text, names) {
        Ok(history) => Some(history),
        Err(what) => {
            context.push(
                context
                    .error(
                        codes::HISTORY,
                        format!("\"{}\" is no history of this module", path.value),
                        &path.span,
                        what,
                    )
                    .help(format!(
                        "it needs a line of headings, time_s and \"NAME{ENDING}\" for every die and \
                         heater, as the history.csv of a run over time has"
                    )),
            );
            None
        }
    }
}

fn parse(text: &str, names: &[&str]) -> Result<History, String> {
    let words = |line: &str| -> Vec<String> { cells(line, 0).into_iter().map(|c| c.0).collect() };
    let number_of = |start: usize| 1 + text[..start].matches('\n').count();
    let mut lines = lines(text);
    let (_, head) = lines.next().ok_or("it is empty")?;
    let headings = words(head);
    if headings.first().map(String::as_str) != Some("time_s") {
        return Err("its first heading is not time_s".to_owned());
    }
    let columns: Vec<usize> = names
        .iter()
        .map(|name| {
            let heading = format!("{name}{ENDING}");
            headings
                .iter()
                .position(|known| *known == heading)
                .ok_or_else(|| format!("no column \"{heading}\""))
        })
        .collect::<Result<_, String>>()?;
    let mut sources: Vec<(String, Vec<f64>)> =
        names.iter().map(|name| ((*name).to_owned(), Vec::new())).collect();
    let mut last_s = f64::NEG_INFINITY;
    for (start, row) in lines {
        let row = words(row);
        let number = |column: usize| -> Result<f64, String> {
            let text = row.get(column).map_or("", String::as_str);
            let number = text.parse::<f64>().ok().filter(|number| number.is_finite());
            number.ok_or_else(|| format!("line {}: {text:?} is no number", number_of(start)))
        };
        let time_s = number(0)?;
        if time_s < last_s {
            return Err(format!("line {}: time_s goes back", number_of(start)));
        }
        last_s = time_s;
        for ((_, values), &column) in sources.iter_mut().zip(&columns) {
            let celsius = number(column)?;
            if !(-150.0..=1000.0).contains(&celsius) {
                return Err(format!(
                    "line {}: {celsius} °C is no temperature of a part",
                    number_of(start)
                ));
            }
            values.push(celsius + ZERO_C_IN_K);
        }
    }
    if sources.iter().any(|(_, values)| values.len() < 2) {
        return Err("it needs at least two times".to_owned());
    }
    Ok(History { sources })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_found_by_name_even_with_commas_in_it() {
        let text = "time_s,\"A, 1 junction_max_C\",A junction_mean_C,B junction_max_C\n\
                    0,30,1,40\n5,50,1,60\n";
        let history = parse(text, &["B", "A, 1"]).expect("a history");
        assert_eq!(history.sources[0].1, [313.15, 333.15]);
        assert_eq!(history.sources[1].1, [303.15, 323.15]);
    }

    #[test]
    fn what_is_wrong_is_told_with_its_line() {
        for (text, words) in [
            ("", "empty"),
            ("t,A junction_max_C\n0,1\n", "first heading"),
            ("time_s,B junction_max_C\n0,1\n", "no column \"A junction_max_C\""),
            ("time_s,A junction_max_C\n0,1\n2,x\n", "line 3: \"x\" is no number"),
            ("time_s,A junction_max_C\n5,1\n2,3\n", "line 3: time_s goes back"),
            ("time_s,A junction_max_C\n0,1\n", "at least two times"),
            ("time_s,A junction_max_C\n0,1\n1,5000\n", "no temperature"),
        ] {
            let refused = parse(text, &["A"]).expect_err("refused");
            assert!(refused.contains(words), "{text:?}: {refused}");
        }
    }
}
