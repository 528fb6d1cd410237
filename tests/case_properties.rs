//! Whatever the text, the reader answers: a module that keeps its promises, or findings that
//! point into the text. It never panics.

use std::fs;
use std::path::{Path, PathBuf};

use proptest::prelude::*;
use sprayside_solver::case;

#[path = "readers/promises.rs"]
mod promises;

use promises::read;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Texts to start from: small demos and the starter.
fn seeds() -> Vec<String> {
    let mut seeds = vec![case::starter().to_owned()];
    for entry in fs::read_dir(root().join("demo-data")).expect("a folder of demos") {
        let folder = entry.expect("a readable entry").path();
        if !folder.is_dir() {
            continue;
        }
        for file in fs::read_dir(folder).expect("a readable folder") {
            let path = file.expect("a readable entry").path();
            if path.extension().is_some_and(|extension| extension == "toml") {
                let text = fs::read_to_string(&path).expect("a readable demo");
                // The panel of 200 die would only make the tests slow.
                if text.len() < 20_000 {
                    seeds.push(text);
                }
            }
        }
    }
    seeds.sort();
    seeds
}

/// A change to a text, by shares of its length so that it fits any text.
#[derive(Debug, Clone)]
enum Change {
    Delete {
        at: f64,
        share: f64,
    },
    Insert {
        at: f64,
        what: String,
    },
    ReplaceLine {
        at: f64,
        what: String,
    },
    RepeatLine {
        at: f64,
    },
    DropLine {
        at: f64,
    },
    SwapLines {
        a: f64,
        b: f64,
    },
    /// Replaces the value of the line by another.
    Revalue {
        at: f64,
        what: String,
    },
}

/// Values that are at home in some key, and values that are in none.
fn value() -> impl Strategy<Value = String> {
    prop_oneof![
        (-1e4..1e4f64).prop_map(|number| format!("{number}")),
        (0.0..50.0f64).prop_map(|number| format!("{number:.1}")),
        any::<f64>().prop_map(|number| format!("{number:e}")),
        any::<i64>().prop_map(|number| number.to_string()),
        proptest::sample::select(vec![
            "nan",
            "inf",
            "-inf",
            "0",
            "-0.0",
            "1e400",
            "0x7fffffffffffffffff",
            "true",
            "\"\"",
            "\"C0\"",
            "\"correlator\"",
            "\"silicon\"",
            "\"..\"",
            "[]",
            "[[]]",
            "[1, 2]",
            "[1.0, 2.0, 3.0, 4.0]",
            "[nan, 1.0]",
            "{}",
            "{ a = 1 }",
            "1979-05-27",
            "\"map.csv\"",
            "'''x'''",
            "90",
            "180",
            "270",
            "\"up\"",
            "\"correlated\"",
        ])
        .prop_map(str::to_owned),
    ]
}

fn snippet() -> impl Strategy<Value = String> {
    prop_oneof![
        "\\PC{0,12}",
        proptest::sample::select(vec![
            "\n[[die]]\n",
            "\n[die]\n",
            "\n[[die.block]]\n",
            "\n[module]\n",
            "\n[[heater]]\n",
            "\n[material.x]\n",
            "\n[fluid.x]\n",
            "=",
            "[",
            "]]",
            "\"",
            "#",
            "\r\n",
            "\u{feff}",
            "a.b.c = 1\n",
            "\0",
            "\u{202e}",
            "é",
            "\n[backing_plate]\n",
            "\n[[nozzle]]\n",
            "power_map = \"x.csv\"\n",
            "turn_deg = 90\n",
            "\n[mesh]\n",
        ])
        .prop_map(str::to_owned),
    ]
}

fn change() -> impl Strategy<Value = Change> {
    let at = || 0.0..1.0f64;
    prop_oneof![
        (at(), 0.0..0.1f64).prop_map(|(at, share)| Change::Delete { at, share }),
        (at(), snippet()).prop_map(|(at, what)| Change::Insert { at, what }),
        (at(), snippet()).prop_map(|(at, what)| Change::ReplaceLine { at, what }),
        at().prop_map(|at| Change::RepeatLine { at }),
        at().prop_map(|at| Change::DropLine { at }),
        (at(), at()).prop_map(|(a, b)| Change::SwapLines { a, b }),
        (at(), value()).prop_map(|(at, what)| Change::Revalue { at, what }),
        (at(), value()).prop_map(|(at, what)| Change::Revalue { at, what }),
    ]
}

fn apply(text: &str, change: &Change) -> String {
    let boundary = |share: f64| {
        let mut at = (share * text.len() as f64) as usize;
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        at
    };
    let mut lines: Vec<String> = text.split('\n').map(str::to_owned).collect();
    let line = |share: f64| ((share * lines.len() as f64) as usize).min(lines.len() - 1);
    match change {
        Change::Delete { at, share } => {
            let (start, end) = (boundary(*at), boundary((at + share).min(1.0)));
            format!("{}{}", &text[..start], &text[end..])
        }
        Change::Insert { at, what } => {
            let at = boundary(*at);
            format!("{}{what}{}", &text[..at], &text[at..])
        }
        Change::ReplaceLine { at, what } => {
            let at = line(*at);
            lines[at] = what.clone();
            lines.join("\n")
        }
        Change::RepeatLine { at } => {
            let at = line(*at);
            lines.insert(at, lines[at].clone());
            lines.join("\n")
        }
        Change::DropLine { at } => {
            let at = line(*at);
            lines.remove(at);
            lines.join("\n")
        }
        Change::SwapLines { a, b } => {
            let (a, b) = (line(*a), line(*b));
            lines.swap(a, b);
            lines.join("\n")
        }
        Change::Revalue { at, what } => {
            let at = line(*at);
            if let Some((key, _)) = lines[at].split_once('=') {
                lines[at] = format!("{key}= {what}");
            }
            lines.join("\n")
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_changed_case_is_read_or_refused_but_never_panics(
        seed in 0..1000usize,
        changes in proptest::collection::vec(change(), 1..6),
    ) {
        let seeds = seeds();
        let mut text = seeds[seed % seeds.len()].clone();
        for change in &changes {
            text = apply(&text, change);
        }
        let _ = read(&text, None);
    }

    #[test]
    fn any_text_at_all_is_read_or_refused(text in "\\PC{0,200}") {
        let _ = read(&text, None);
    }

    #[test]
    fn any_csv_is_read_or_refused(
        csv in prop_oneof![
            "\\PC{0,80}",
            "([0-9.,eE+\\-#; \r\n]|nan|inf){0,120}",
            proptest::collection::vec(proptest::collection::vec(value(), 0..4), 0..5)
                .prop_map(|rows| rows.iter().map(|row| row.join(",")).collect::<Vec<_>>().join("\n")),
        ],
    ) {
        let text = case::starter().replace("turn_deg = 180", "turn_deg = 270\npower_map = \"p.csv\"");
        assert!(text.contains("p.csv"));
        let _ = read(&text, Some(&csv));
        let text = case::starter().replace("htc_W_m2K = 9000.0", "map = \"h.csv\"");
        let _ = read(&text, Some(&csv));
    }

    /// Reading is a function of the text: the same findings in the same order.
    #[test]
    fn reading_twice_gives_the_same_findings(
        seed in 0..1000usize,
        changes in proptest::collection::vec(change(), 1..4),
    ) {
        let seeds = seeds();
        let mut text = seeds[seed % seeds.len()].clone();
        for change in &changes {
            text = apply(&text, change);
        }
        if let (Err(first), Err(second)) = (read(&text, None), read(&text, None)) {
            prop_assert_eq!(first, second);
        }
    }
}
