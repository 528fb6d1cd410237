//! Readings of sensors, from a CSV file.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use sprayside_solver::study::fit::Measured;

use crate::failure::Failure;

#[cfg(test)]
#[path = "../../tests/readers/mutate.rs"]
mod mutate;

/// Kelvin at 0 °C.
const ZERO_C_IN_K: f64 = 273.15;
/// More than any readings need.
const LARGEST_FILE_BYTES: u64 = 1 << 24;
/// Readings beyond this are a slip, °C.
const RANGE_C: [f64; 2] = [-150.0, 500.0];
/// Form of the file, for messages.
const FORM: &str = "a line of headings, sensor,reading_C or sensor,reading_C,limit_of_error_K, and a \
row a sensor";

/// Reads the readings of the sensors of these names at `path`: every sensor at most once.
pub fn read(path: &Path, sensors: &[&str]) -> Result<Vec<Measured>, Failure> {
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(LARGEST_FILE_BYTES + 1).read_to_end(&mut bytes))
        .map_err(|error| Failure::file("read", path, &error))?;
    if bytes.len() as u64 > LARGEST_FILE_BYTES {
        return Err(Failure::Request {
            headline: format!("{} is too large for readings", path.display()),
            help: "a row a sensor is all it needs; is this the right file?".to_owned(),
        });
    }
    let text = String::from_utf8(bytes).map_err(|_| Failure::Request {
        headline: format!("{} is not UTF-8 text", path.display()),
        help: "save it as UTF-8".to_owned(),
    })?;
    parse(&text, &path.display().to_string(), sensors)
}

fn wrong(name: &str, line: u64, what: impl std::fmt::Display, help: impl Into<String>) -> Failure {
    Failure::Request { headline: format!("{name}, line {line}: {what}"), help: help.into() }
}

fn parse(text: &str, name: &str, sensors: &[&str]) -> Result<Vec<Measured>, Failure> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(text.as_bytes());
    let headings = reader
        .headers()
        .map_err(|error| wrong(name, 1, error, FORM))?
        .iter()
        .map(str::to_owned)
        .collect::<Vec<_>>();
    let known = ["sensor", "reading_C", "limit_of_error_K"];
    if let Some(other) = headings.iter().find(|heading| !known.contains(&heading.as_str())) {
        let help = if text.lines().next().is_some_and(|line| line.contains(';')) {
            "separate with commas and write decimals with a point".to_owned()
        } else {
            format!("the file needs {FORM}")
        };
        return Err(wrong(name, 1, format!("unknown heading {other:?}"), help));
    }
    let column = |heading: &str| headings.iter().position(|known| known == heading);
    let (Some(at_sensor), Some(at_reading)) = (column("sensor"), column("reading_C")) else {
        return Err(wrong(name, 1, "a heading is missing", format!("the file needs {FORM}")));
    };
    let at_limit = column("limit_of_error_K");
    let mut readings: Vec<Measured> = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| {
            let line = error.position().map_or(0, csv::Position::line);
            wrong(name, line, error, FORM)
        })?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |column: usize| record.get(column).unwrap_or("");
        let sensor = sensors.iter().position(|s| *s == cell(at_sensor)).ok_or_else(|| {
            let help = if sensors.is_empty() {
                "the case has no [[sensor]]".to_owned()
            } else {
                format!("its sensors are {}", sensors.join(", "))
            };
            let what = format!("the case has no sensor {:?}", cell(at_sensor));
            wrong(name, line, what, help)
        })?;
        if readings.iter().any(|reading| reading.sensor == sensor) {
            let what = format!("sensor {:?} has a reading already", cell(at_sensor));
            return Err(wrong(name, line, what, "give one reading a sensor, the mean of several"));
        }
        let number = |column: usize, range: [f64; 2], unit: &str| -> Result<f64, Failure> {
            let text = cell(column);
            let number = text.parse::<f64>().ok().filter(|number| number.is_finite());
            let number = number.ok_or_else(|| {
                let what = format!("{text:?} under {} is no number", headings[column]);
                wrong(name, line, what, "write a bare number with a decimal point")
            })?;
            if !(range[0]..=range[1]).contains(&number) {
                let what = format!("{} is out of range: {number}", headings[column]);
                return Err(wrong(
                    name,
                    line,
                    what,
                    format!("allowed: {} to {} {unit}", range[0], range[1]),
                ));
            }
            Ok(number)
        };
        let reading_C = number(at_reading, RANGE_C, "°C")?;
        let limit_of_error_K = match at_limit.filter(|&column| !cell(column).is_empty()) {
            Some(column) => Some(number(column, [0.001, 20.0], "K")?),
            None => None,
        };
        readings.push(Measured { sensor, reading_K: reading_C + ZERO_C_IN_K, limit_of_error_K });
    }
    if readings.is_empty() {
        return Err(wrong(name, 2, "there is no reading", format!("the file needs {FORM}")));
    }
    Ok(readings)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SENSORS: [&str; 2] = ["A", "B"];

    #[test]
    fn readings_are_found_by_name_in_any_order_of_columns() {
        let text = "# run 7\nreading_C, sensor ,limit_of_error_K\n70.5,B,\n60,A,0.2\n";
        let readings = parse(text, "r.csv", &SENSORS).expect("readings");
        assert_eq!((readings[0].sensor, readings[0].limit_of_error_K), (1, None));
        assert_eq!((readings[1].sensor, readings[1].limit_of_error_K), (0, Some(0.2)));
        assert!((readings[0].reading_K - 343.65).abs() < 1e-12);
    }

    #[test]
    fn every_slip_is_told_with_its_line() {
        for (text, words) in [
            ("sensor,reading_C\nC,60\n", "line 2: the case has no sensor \"C\""),
            ("sensor,reading_C\nA,60\nA,61\n", "line 3: sensor \"A\" has a reading already"),
            ("sensor,reading_C\nA,warm\n", "line 2: \"warm\" under reading_C is no number"),
            ("sensor,reading_C\nA,nan\n", "is no number"),
            ("sensor,reading_C\nA,1e9\n", "out of range"),
            ("sensor,reading_C,limit_of_error_K\nA,60,0\n", "limit_of_error_K is out of range"),
            ("sensor,reading_F\nA,60\n", "unknown heading \"reading_F\""),
            ("sensor;reading_C\nA;60\n", "unknown heading"),
            ("sensor\nA\n", "a heading is missing"),
            ("sensor,reading_C\n", "there is no reading"),
            ("", "a heading is missing"),
        ] {
            let failure = parse(text, "r.csv", &SENSORS).expect_err("refused");
            assert!(failure.rendered().contains(words), "{text:?}: {}", failure.rendered());
        }
    }

    /// Texts changed at random, as the other readers have them in `tests/readers/`; here because
    /// this reader is the program's own. `READER_RUNS` says how many.
    #[test]
    #[allow(clippy::print_stderr, reason = "what a long run saw")]
    fn changed_readings_are_read_or_refused() {
        let runs = std::env::var("READER_RUNS").ok().and_then(|text| text.parse().ok());
        let runs: usize = runs.unwrap_or(3_000);
        let mut random = mutate::Random(11);
        let mut pool = vec![
            "sensor,reading_C,limit_of_error_K\nA,70.5,0.1\nB,60,\n".to_owned(),
            "# run 7\nreading_C, sensor\n70.5,B\n60,\"A\"\n".to_owned(),
        ];
        let mut kinds = std::collections::HashSet::new();
        let started = std::time::Instant::now();
        for _ in 0..runs {
            let text = mutate::changed(&pool[random.below(pool.len())], &pool, &mut random);
            let begun = std::time::Instant::now();
            let kind: String = match parse(&text, "r.csv", &SENSORS) {
                Ok(readings) => {
                    assert!(readings.len() <= SENSORS.len());
                    assert!(readings.iter().all(|r| r.reading_K.is_finite()));
                    "read".to_owned()
                }
                Err(failure) => {
                    failure.rendered().chars().filter(|c| c.is_alphabetic()).take(60).collect()
                }
            };
            assert!(begun.elapsed().as_secs_f64() < 1.0, "slow: {text}");
            if kinds.insert(kind) && pool.len() < 2_000 {
                pool.push(text);
            }
        }
        let rate = runs as f64 / started.elapsed().as_secs_f64();
        eprintln!("{runs} readings, {rate:.0} a second, {} kinds of answer", kinds.len());
    }
}
