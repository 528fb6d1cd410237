//! Results of the demos stay what they were, within a tolerance.
//!
//! `tests/golden/demos.csv` keeps them. The two quickest demos are solved here; with
//! `DEMO_RESULTS` naming a folder that holds the results of all of them (`.ci/run` makes it), every
//! demo is compared. `UPDATE_EXPECT=1` with such a folder rewrites the file: a value that moves by
//! more than its tolerance needs an entry in `CHANGELOG.md` with size and cause.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use crate::harness::Room;

/// Solved here; the others take too long for a build that is not optimised.
const QUICK: [&str; 2] = ["demo-data/receiver/module.toml", "demo-data/converter/module.toml"];
/// A change of temperature beyond this is a change of the result, K: a tenth of what the demos ask
/// for as accuracy.
const TOLERANCE_K: f64 = 0.01;
/// The same for the margin to burn-out.
const TOLERANCE_CHF: f64 = 0.005;
/// Of a case with many die, so many are kept, evenly spread over the list.
const MOST_DIE: usize = 20;

const HEAD: &str = "\
# Results of the demo cases as they were when this file was last written: our own output, which
# proves constancy and not truth (truth: validation/). A value that leaves its tolerance must be
# explained in CHANGELOG.md, with size and cause; then
#   .ci/run                                                   says how to make the results
#   DEMO_RESULTS=DIR UPDATE_EXPECT=1 cargo test -p sprayside --test program golden
# rewrites this file. Of modules with many die, every tenth is kept.
case,die,junction_max_C,junction_mean_C,tolerance_K,chf_margin,tolerance_chf
";

#[derive(Debug, Clone, PartialEq)]
struct Golden {
    die: String,
    max_C: f64,
    mean_C: f64,
    tolerance_K: f64,
    chf: Option<(f64, f64)>,
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn number(text: &str) -> f64 {
    text.parse().unwrap_or_else(|_| panic!("{text:?} is no number"))
}

/// What the file keeps, by case.
fn kept() -> BTreeMap<String, Vec<Golden>> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(root().join("tests/golden/demos.csv"))
        .expect("the golden values");
    let mut kept: BTreeMap<String, Vec<Golden>> = BTreeMap::new();
    for record in reader.records() {
        let record = record.expect("a record");
        let chf = (!record[5].is_empty()).then(|| (number(&record[5]), number(&record[6])));
        kept.entry(record[0].to_owned()).or_default().push(Golden {
            die: record[1].to_owned(),
            max_C: number(&record[2]),
            mean_C: number(&record[3]),
            tolerance_K: number(&record[4]),
            chf,
        });
    }
    kept
}

/// What a folder of results says.
fn found(folder: &Path) -> Vec<Golden> {
    let mut reader = csv::Reader::from_path(folder.join("junctions.csv")).expect("a table");
    let headings = reader.headers().expect("headings").clone();
    let at = |name: &str| headings.iter().position(|h| h == name).expect("a column");
    let (max, mean, chf) = (at("junction_max_C"), at("junction_mean_C"), at("chf_margin"));
    let of = |record: csv::StringRecord| Golden {
        die: record[at("die")].to_owned(),
        max_C: number(&record[max]),
        mean_C: number(&record[mean]),
        tolerance_K: TOLERANCE_K,
        chf: (!record[chf].is_empty()).then(|| (number(&record[chf]), TOLERANCE_CHF)),
    };
    reader.records().map(|record| of(record.expect("a record"))).collect()
}

fn compare(case: &str, kept: &[Golden], found: &[Golden]) -> Vec<String> {
    let mut moved = Vec::new();
    for kept in kept {
        let Some(found) = found.iter().find(|found| found.die == kept.die) else {
            moved.push(format!("{case}: {} is gone", kept.die));
            continue;
        };
        let mut check = |what: &str, kept_value: f64, value: f64, tolerance: f64| {
            if (value - kept_value).abs() > tolerance || value.is_nan() {
                moved.push(format!(
                    "{case}, {}: {what} was {kept_value}, is {value}; {tolerance} allowed",
                    kept.die
                ));
            }
        };
        check("junction_max_C", kept.max_C, found.max_C, kept.tolerance_K);
        check("junction_mean_C", kept.mean_C, found.mean_C, kept.tolerance_K);
        match (kept.chf, found.chf) {
            (Some((value, tolerance)), Some((now, _))) => {
                check("chf_margin", value, now, tolerance * value.abs());
            }
            (None, None) => {}
            _ => moved.push(format!("{case}, {}: chf_margin came or went", kept.die)),
        }
    }
    moved
}

/// All demo cases, as `.ci/run` names them.
fn demos() -> Vec<String> {
    let mut demos = Vec::new();
    for folder in fs::read_dir(root().join("demo-data")).expect("the demos") {
        let folder = folder.expect("an entry").path();
        for file in fs::read_dir(&folder).into_iter().flatten() {
            let path = file.expect("an entry").path();
            if path.extension().is_some_and(|extension| extension == "toml") {
                let name =
                    |path: &Path| path.file_name().expect("a name").to_string_lossy().into_owned();
                demos.push(format!("demo-data/{}/{}", name(&folder), name(&path)));
            }
        }
    }
    demos.sort();
    demos
}

fn rewrite(results: &Path) {
    let mut text = HEAD.to_owned();
    for case in demos() {
        let found = found(&results.join(case.replace('/', "-")));
        let step = if found.len() > MOST_DIE { 10 } else { 1 };
        for golden in found.iter().step_by(step) {
            let chf = golden
                .chf
                .map_or(",".to_owned(), |(value, tolerance)| format!("{value:.4},{tolerance}"));
            text.push_str(&format!(
                "{case},{},{:.4},{:.4},{},{chf}\n",
                golden.die, golden.max_C, golden.mean_C, golden.tolerance_K
            ));
        }
    }
    fs::write(root().join("tests/golden/demos.csv"), text).expect("golden values written");
}

#[test]
fn golden_values_of_the_demos_stand() {
    let results = std::env::var_os("DEMO_RESULTS").map(PathBuf::from);
    if let Some(results) = results.as_ref().filter(|_| std::env::var("UPDATE_EXPECT").is_ok()) {
        rewrite(results);
    }
    let kept = kept();
    assert_eq!(kept.keys().cloned().collect::<Vec<_>>(), demos(), "a demo has no golden values");
    let mut moved = Vec::new();
    match results {
        Some(results) => {
            for (case, kept) in &kept {
                moved.extend(compare(case, kept, &found(&results.join(case.replace('/', "-")))));
            }
        }
        None => {
            let room = Room::new();
            for case in QUICK {
                let path = root().join(case);
                let run = room.run(&["solve", &path.to_string_lossy(), "-q", "-o", "out"]);
                assert!(matches!(run.code, Some(0 | 1)), "{run}");
                moved.extend(compare(case, &kept[case], &found(&room.join("out"))));
            }
        }
    }
    assert!(moved.is_empty(), "explain in CHANGELOG.md:\n{}", moved.join("\n"));
}

#[test]
fn a_moved_value_is_told() {
    let kept = Golden {
        die: "A".to_owned(),
        max_C: 60.0,
        mean_C: 55.0,
        tolerance_K: 0.01,
        chf: Some((2.0, 0.005)),
    };
    let with = |change: &dyn Fn(&mut Golden)| {
        let mut found = kept.clone();
        change(&mut found);
        compare("case", std::slice::from_ref(&kept), &[found]).len()
    };
    assert_eq!(with(&|_| ()), 0);
    assert_eq!(with(&|found| found.max_C += 0.009), 0);
    assert_eq!(with(&|found| found.max_C += 0.011), 1);
    assert_eq!(with(&|found| found.mean_C = f64::NAN), 1);
    assert_eq!(with(&|found| found.chf = Some((1.98, 0.005))), 1);
    assert_eq!(with(&|found| found.chf = None), 1);
    assert_eq!(with(&|found| found.die = "B".to_owned()), 1);
}
