//! Studies of many points from outside: files and columns, agreement with `solve`, parts that are
//! joined, runs that are killed and go on.

use std::path::Path;
use std::process::Stdio;
use std::thread;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::harness::{CASE, Picture, Room};
use crate::repeatability::contents;

const NOZZLES: &str = r#"[spray]
model = "correlated"
[nozzle_type.full]
cone_deg = 50.0
orifice_mm = 0.30
flow_mL_s = 0.6
pressure_drop_kPa = 200.0
[[nozzle]]
name = "N1"
type = "full"
at_mm = [6.0, 7.0]
standoff_mm = 10.0
[[nozzle]]
name = "N2"
type = "full"
at_mm = [10.0, 9.0]
standoff_mm = 10.0
[[nozzle]]
name = "aside"
type = "full"
at_mm = [17.0, 3.0]
standoff_mm = 9.0
"#;

const TOLERANCES: &str = r#"
[[tolerance]]
quantity = "power_W"
distribution = "normal"
spread_pct = 8.0
[[tolerance]]
quantity = "attach_thickness_mm"
of = "square"
distribution = "triangular"
spread = 0.03
[[tolerance]]
quantity = "inlet_C"
distribution = "uniform"
spread = 3.0
"#;

/// The small case with a power map, under three nozzles, with tolerances.
fn sprayed() -> String {
    mapped().replace("[spray]\nmodel = \"prescribed\"\nhtc_W_m2K = 8000.0\n", NOZZLES).replace(
        "inlet_C = 25.0",
        "inlet_C = 25.0\nfluid = \"perfluorohexane\"\npressure_kPa = 101.325",
    ) + TOLERANCES
}

/// The small case with a power map and tolerances.
fn stated() -> String {
    mapped() + TOLERANCES
}

/// The small case with a power map.
fn mapped() -> String {
    CASE.replace("power_W = 18.0", "power_W = 18.0\npower_map = \"d0.csv\"")
}

/// A room with such a case and its map.
fn room_of(case: &str) -> Room {
    let room = Room::with("case.toml", case);
    room.write("d0.csv", "1,2\n2,3\n");
    room
}

fn records(path: &Path) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_path(path)
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    reader
        .records()
        .map(|record| record.expect("a record").iter().map(str::to_owned).collect())
        .collect()
}

/// Cells of a column.
fn column(rows: &[Vec<String>], name: &str) -> Vec<String> {
    let k = rows[0].iter().position(|c| c == name);
    let k = k.unwrap_or_else(|| panic!("no column {name} in {:?}", rows[0]));
    rows[1..].iter().map(|row| row[k].clone()).collect()
}

fn number(text: &str) -> f64 {
    text.parse().unwrap_or_else(|_| panic!("{text:?} is no number"))
}

fn summary(room: &Room, folder: &str) -> Value {
    serde_json::from_str(&room.read(&format!("{folder}/summary.json"))).expect("JSON")
}

/// Fails unless a folder of a study holds the results of `solve`, to the byte, and these files.
#[track_caller]
fn holds_solve_and(room: &Room, folder: &str, files: &[&str]) {
    let names = room.entries(folder);
    for file in files {
        assert!(names.iter().any(|name| name == file), "no {file} in {names:?}");
        if file.ends_with(".png") {
            Picture::read(&room.join(folder).join(file)).expect("a picture");
        }
    }
    for name in room.entries("solved") {
        if name != "summary.json" && name != "report.html" {
            let read = |folder: &str| std::fs::read(room.join(folder).join(&name)).expect("a file");
            assert!(read("solved") == read(folder), "{name} of {folder} is not that of solve");
        }
    }
    let [solved, study] = ["solved", folder].map(|f| summary(room, f)["junctions"].clone());
    assert_eq!(solved, study);
}

#[test]
fn blocked_nozzles_are_ranked_and_agree_with_solves_without_them() {
    let text = sprayed();
    let room = room_of(&text);
    room.run(&["solve", "case.toml", "-o", "solved", "-q"]).ends_with(0);
    let run = room.run(&["clog", "case.toml"]);
    assert!(matches!(run.code, Some(0 | 1)), "{run}");
    run.prints("matters most");
    holds_solve_and(&room, "case.out", &["clog.csv", "points.csv", "clog.png"]);
    let ranking = records(&room.join("case.out/clog.csv"));
    assert_eq!(
        ranking[0].join(","),
        "rank,blocked,verdict,gains_most,gain_K,least_margin_K,least_margin_of,least_chf_margin"
    );
    assert_eq!(column(&ranking, "rank"), ["1", "2", "3"]);
    assert_eq!(ranking[3][1], "aside", "a nozzle beside the die matters least: {ranking:?}");
    let gains: Vec<f64> = column(&ranking, "gain_K").iter().map(|g| number(g)).collect();
    assert!(gains.is_sorted_by(|a, b| a >= b), "{gains:?}");
    let points = records(&room.join("case.out/points.csv"));
    assert_eq!(column(&points, "blocked"), ["N1", "N2", "aside"]);
    assert_eq!(
        points[0].join(","),
        "point,blocked,verdict,hottest,hottest_C,uncertainty_K,least_margin_K,least_margin_of,\
         least_chf_margin,flow_mL_s,failure,D0_max_C,D0_margin_K,D0_chf_margin,D0_wetted_pct"
    );
    // Against cases that leave the nozzle out; the mesh is stated.
    let nozzle = |name: &str| {
        let from = text.find(&format!("[[nozzle]]\nname = \"{name}\"")).expect("a nozzle");
        let to = from + text[from..].find("standoff_mm").expect("its end");
        let to = to + text[to..].find('\n').expect("a line") + 1;
        text[from..to].to_owned()
    };
    let is = column(&points, "D0_max_C");
    let uncertain = column(&points, "uncertainty_K");
    for (k, name) in ["N1", "N2", "aside"].into_iter().enumerate() {
        room.write("without.toml", &text.replace(&nozzle(name), ""));
        room.run(&["solve", "without.toml", "-q"]);
        let alone = records(&room.join("without.out/junctions.csv"));
        let apart = number(&column(&alone, "junction_max_C")[0]) - number(&is[k]);
        let allowed = number(&column(&alone, "uncertainty_K")[0]) + number(&uncertain[k]);
        assert!(apart.abs() <= allowed, "{name}: {apart} K apart, {allowed} allowed");
    }
    // The pump that holds the flow: the liquid stays the same.
    let run = room.run(&["clog", "case.toml", "--keep-total", "--pairs", "-o", "pairs", "-q"]);
    assert!(matches!(run.code, Some(0 | 1)), "{run}");
    let pairs = records(&room.join("pairs/points.csv"));
    assert_eq!(pairs.len(), 1 + 6);
    assert!(column(&pairs, "flow_mL_s").iter().all(|f| (number(f) - 1.8).abs() < 1e-9));
}

/// The middle point has the values that the case states: it is the answer of `solve` to the byte.
#[test]
fn a_sweep_has_the_answer_of_solve_where_nothing_is_changed() {
    let room = room_of(&sprayed());
    room.run(&["solve", "case.toml", "-o", "solved", "-q"]).ends_with(0);
    room.run(&[
        "sweep",
        "case.toml",
        "--vary",
        "die.D0.power_W=16,18,20",
        "--vary",
        "coolant.inlet_C=24..26/3",
    ])
    .ends_with(0);
    holds_solve_and(&room, "case.out", &["points.csv", "sweep.png"]);
    let points = records(&room.join("case.out/points.csv"));
    assert_eq!(points.len(), 1 + 9);
    assert_eq!(points[0][..3], ["point", "die.D0.power_W", "coolant.inlet_C"]);
    let middle = &points[5];
    assert_eq!(middle[1..3], ["18", "25"]);
    let solved = records(&room.join("solved/junctions.csv"));
    for (of_point, of_solve) in [
        ("D0_max_C", "junction_max_C"),
        ("D0_wetted_pct", "wetted_pct"),
        ("D0_chf_margin", "chf_margin"),
    ] {
        assert_eq!(column(&points, of_point)[4], column(&solved, of_solve)[0], "{of_point}");
    }
    // What grows with power and inlet comes in this order.
    let hot: Vec<f64> = column(&points, "D0_max_C").iter().map(|t| number(t)).collect();
    for row in hot.chunks(3) {
        assert!(row.is_sorted());
    }
    assert!(hot[1] < hot[4] && hot[4] < hot[7]);
    room.run(&["sweep", "case.toml", "--vary", "die.D0.powr_W=1,2", "-o", "wrong"])
        .ends_with(2)
        .complains_of("power_W");
    assert!(!room.join("wrong").exists());
}

#[test]
fn the_cap_off_its_place_has_a_safe_circle_and_home_is_solve() {
    let room = room_of(&sprayed());
    room.run(&["solve", "case.toml", "-o", "solved", "-q"]).ends_with(0);
    room.run(&["offset", "case.toml", "--dx-mm=-1,0,1", "--dy-mm=-1,0,1"])
        .ends_with(0)
        .prints("largest safe circle");
    holds_solve_and(&room, "case.out", &["points.csv", "offset.png"]);
    let points = records(&room.join("case.out/points.csv"));
    assert_eq!(points[0][..6], ["point", "dx_mm", "dy_mm", "raise_mm", "tilt_x_deg", "tilt_y_deg"]);
    assert_eq!(points[5][1..3], ["0", "0"]);
    let solved = records(&room.join("solved/junctions.csv"));
    assert_eq!(column(&points, "D0_max_C")[4], column(&solved, "junction_max_C")[0]);
    room.write("stated.toml", CASE);
    room.run(&["offset", "stated.toml"]).ends_with(2).complains_of("no nozzles");
    room.run(&["clog", "stated.toml"]).ends_with(2).complains_of("no nozzles");
}

#[test]
fn samples_are_told_with_bounds_and_shares_that_add_up() {
    let room = room_of(&stated());
    room.run(&["solve", "case.toml", "-o", "solved", "-q"]).ends_with(0);
    room.run(&["scatter", "case.toml", "--samples", "128", "--seed", "3"])
        .ends_with(0)
        .prints("128 samples of 3 tolerances");
    holds_solve_and(
        &room,
        "case.out",
        &["scatter.csv", "samples.csv", "points.csv", "histogram.png", "tornado.png"],
    );
    let told = records(&room.join("case.out/scatter.csv"));
    for name in ["mean_C", "p95_C", "broken_pct"] {
        let value = number(&column(&told, name)[0]);
        let (stem, unit) = name.rsplit_once('_').expect("a unit");
        let [low, high] =
            ["low", "high"].map(|end| column(&told, &format!("{stem}_{end}_{unit}"))[0].clone());
        assert!(number(&low) <= value && value <= number(&high), "{name}: {low} {value} {high}");
    }
    let shares: f64 = told[0]
        .iter()
        .zip(&told[1])
        .filter(|(name, _)| name.starts_with("share_pct "))
        .map(|(_, cell)| number(cell))
        .sum();
    assert!((shares - 100.0).abs() < 1e-6, "{shares}");
    assert_eq!(records(&room.join("case.out/samples.csv")).len(), 1 + 128);
    let points = records(&room.join("case.out/points.csv"));
    let hot: Vec<f64> = column(&points, "D0_max_C").iter().map(|t| number(t)).collect();
    let mean = hot.iter().sum::<f64>() / 128.0;
    // The table has ten digits.
    assert!((mean - number(&column(&told, "mean_C")[0])).abs() < 1e-7);
    // Another seed, other samples; none at all without tolerances.
    room.run(&["scatter", "case.toml", "--samples", "128", "--seed", "4", "-o", "other", "-q"])
        .ends_with(0);
    assert_ne!(points, records(&room.join("other/points.csv")));
    room.write("plain.toml", CASE);
    room.run(&["scatter", "plain.toml"]).ends_with(2).complains_of("no tolerances");
}

/// A folder but for what tells when and for how long.
#[track_caller]
fn same_bytes(room: &Room, one: &str, other: &str) {
    let [one, other] = [one, other].map(|folder| contents(&room.join(folder)));
    let names = |all: &[(String, Vec<u8>)]| {
        all.iter().map(|(name, _)| name.clone()).collect::<Vec<String>>()
    };
    assert_eq!(names(&one), names(&other));
    for (a, b) in one.iter().zip(&other) {
        assert!(a.1 == b.1, "{} differs", a.0);
    }
}

#[test]
fn four_parts_run_as_four_processes_join_to_the_single_run() {
    let room = room_of(&sprayed());
    room.run(&["scatter", "case.toml", "--samples", "30", "-o", "single", "-q"]).ends_with(0);
    let runs: Vec<_> = (1..=4)
        .map(|k| {
            let part = format!("{k}/4");
            room.command(&["scatter", "case.toml", "--samples", "30", "--part", &part, "-q"])
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .expect("a run")
        })
        .collect();
    for mut run in runs {
        assert_eq!(run.wait().expect("an end").code(), Some(0));
    }
    let parts: Vec<String> = (1..=4).map(|k| format!("case.out.scatter-{k}-of-4.part")).collect();
    let gather = |parts: &[String], folder: &str| {
        let mut arguments = vec!["gather", "case.toml", "-q", "-o", folder];
        arguments.extend(parts.iter().map(String::as_str));
        room.run(&arguments)
    };
    gather(&parts[..3], "wrong").ends_with(2).complains_of("7 of 30 points are missing");
    assert!(!room.join("wrong").exists());
    gather(&parts, "joined").ends_with(0);
    same_bytes(&room, "single", "joined");
    // Parts of another case are refused.
    room.write("case.toml", &sprayed().replace("power_W = 18.0", "power_W = 18.5"));
    gather(&parts, "wrong").ends_with(2).complains_of("another study, case or version");
}

/// Whole records of a journal, without its head: the point of each.
fn journal_points(path: &Path) -> Vec<usize> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    let whole = text.split_inclusive('\n').filter(|line| line.ends_with('\n'));
    whole
        .skip(1)
        .map(|line| line.split(' ').next().and_then(|k| k.parse().ok()).expect("a point"))
        .collect()
}

fn once_each(points: &[usize]) -> bool {
    let mut sorted = points.to_vec();
    sorted.sort_unstable();
    sorted.windows(2).all(|pair| pair[0] < pair[1])
}

/// Starts `arguments`, kills it `delay` after the first record of `journal`, and tells how many
/// points were finished by then; `None` if the run ended before that.
fn kill_among_points(
    room: &Room,
    arguments: &[&str],
    journal: &str,
    delay: Duration,
) -> Option<Vec<usize>> {
    let path = room.join(journal);
    let before = journal_points(&path).len();
    let mut child =
        room.command(arguments).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("a run");
    while journal_points(&path).len() <= before {
        if child.try_wait().expect("ours").is_some() {
            return None;
        }
        thread::sleep(Duration::from_millis(1));
    }
    thread::sleep(delay);
    child.kill().expect("killed");
    let ended = child.wait().expect("an end");
    if ended.code().is_some() || !path.exists() {
        return None;
    }
    let points = journal_points(&path);
    assert!(once_each(&points), "a point was computed twice: {points:?}");
    Some(points)
}

#[test]
fn a_killed_study_goes_on_where_it_was() {
    let room = room_of(&stated());
    let study = ["scatter", "case.toml", "--samples", "400", "--seed", "2"];
    room.run(&[&study[..], &["-o", "single", "-q"]].concat()).ends_with(0);
    let journal = "case.out.scatter.journal";
    // A slow start may let the run end first: then once more.
    let killed = (0..20)
        .find_map(|_| kill_among_points(&room, &study, journal, Duration::from_millis(20)))
        .expect("a kill among the points");
    assert!((1..400).contains(&killed.len()), "{}", killed.len());
    // Another study does not mix with what is there.
    room.run(&["scatter", "case.toml", "--samples", "401", "--seed", "2"])
        .ends_with(4)
        .complains_of("finished points of another study");
    let (before, now) = (killed.len(), 400 - killed.len());
    room.run(&study)
        .ends_with(0)
        .prints(&format!("{before} of 400 points were finished before, {now} now"));
    same_bytes(&room, "single", "case.out");
    assert!(!room.join(journal).exists());
}

/// Fifty studies of 200 points, each killed at a random moment among its points and finished by a
/// second run; then one study that is killed again and again until it is through.
#[test]
#[ignore = "minutes: run by hand before a release"]
#[allow(clippy::print_stdout, reason = "run by hand, it tells its figures")]
fn fifty_kills_among_two_hundred_points_end_with_the_same_bytes() {
    let room = room_of(&stated());
    let study = ["scatter", "case.toml", "--samples", "200"];
    room.run(&[&study[..], &["-o", "single", "-q"]].concat()).ends_with(0);
    let journal = "case.out.scatter.journal";
    let path = room.join(journal);
    // How long the points take, from the first record to the last.
    let mut child =
        room.command(&study).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("a run");
    let mut span = (None, Instant::now());
    while child.try_wait().expect("ours").is_none() {
        let count = journal_points(&path).len();
        if count > 0 {
            span.0.get_or_insert_with(Instant::now);
        }
        if count < 200 {
            span.1 = Instant::now();
        }
        thread::sleep(Duration::from_millis(1));
    }
    let points_take = span.1 - span.0.expect("points are seen");
    // Minimal standard generator (S. K. Park, K. W. Miller, Communications of the ACM 31 (1988)).
    let mut state: u64 = 20_261_125;
    let mut random = || {
        state = state * 16_807 % 2_147_483_647;
        state as f64 / 2_147_483_647.0
    };
    let (mut kills, mut tries) = (0, 0);
    let mut finished_at_kill = Vec::new();
    while kills < 50 {
        tries += 1;
        assert!(tries < 500, "{kills} kills among the points in {tries} tries");
        let delay = points_take.mul_f64(random());
        let Some(points) = kill_among_points(&room, &study, journal, delay) else { continue };
        if points.len() >= 200 {
            room.run(&[&study[..], &["-q"]].concat()).ends_with(0);
            continue;
        }
        kills += 1;
        finished_at_kill.push(points.len());
        let now = 200 - points.len();
        room.run(&study)
            .ends_with(0)
            .prints(&format!("{} of 200 points were finished before, {now} now", points.len()));
        same_bytes(&room, "single", "case.out");
        std::fs::remove_dir_all(room.join("case.out")).expect("removed");
    }
    println!(
        "50 kills in {tries} tries; points last {points_take:?}; finished at the kill: \
         {finished_at_kill:?}"
    );
    // One study, killed over and over: its records only grow, each point once.
    let mut kills = 0;
    let mut known = 0;
    while let Some(points) =
        kill_among_points(&room, &study, journal, points_take.mul_f64(0.1 * random()))
    {
        kills += 1;
        assert!(points.len() >= known);
        known = points.len();
        if known >= 200 {
            break;
        }
    }
    if path.exists() {
        room.run(&[&study[..], &["-q"]].concat()).ends_with(0);
    }
    assert!(kills >= 5, "{kills}");
    same_bytes(&room, "single", "case.out");
}
