//! Pictures as they are asked for: common scale, colours, isotherms, sections, SVG, the module.

use crate::harness::{CASE, Picture, Room};

fn map(room: &Room, folder: &str) -> Picture {
    Picture::read(&room.join(&format!("{folder}/temperature.png"))).expect("a picture")
}

#[test]
fn on_a_common_scale_two_runs_share_their_colour_bar() {
    let room = Room::with_case();
    room.write("warmer.toml", &CASE.replace("power_W = 18.0", "power_W = 22.0"));
    for case in ["case", "warmer"] {
        let file = format!("{case}.toml");
        room.run(&["solve", &file, "-q", "--scale", "20..90"]).ends_with(0);
    }
    let (a, b) = (map(&room, "case.out"), map(&room, "warmer.out"));
    // The bar with its numbers fills the rightmost 130 columns.
    let bar = |picture: &Picture| -> Vec<[u8; 3]> {
        (92..picture.height - 66)
            .flat_map(|y| (picture.width - 110..picture.width).map(move |x| (x, y)))
            .map(|(x, y)| picture.at(x, y))
            .collect()
    };
    assert_eq!(bar(&a), bar(&b));
    assert_ne!(a.pixels, b.pixels);
    room.run(&["solve", "case.toml", "-q", "-o", "own"]).ends_with(0);
    assert_ne!(bar(&a), bar(&map(&room, "own")), "without it each run has its own scale");
}

#[test]
fn colours_isotherms_and_width_change_the_picture_and_not_the_numbers() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml", "-q", "-o", "plain"]).ends_with(0);
    let asked: [(&str, &[&str]); 3] = [
        ("cividis", &["--palette", "cividis"]),
        ("lines", &["--isotherms", "2"]),
        ("wide", &["--width", "1800"]),
    ];
    let plain = map(&room, "plain");
    for (folder, arguments) in asked {
        let mut all = vec!["solve", "case.toml", "-q", "-o", folder];
        all.extend(arguments);
        room.run(&all).ends_with(0);
        let picture = map(&room, folder);
        assert_ne!(picture.pixels, plain.pixels, "{folder}");
        let numbers = |folder: &str| room.read(&format!("{folder}/junctions.csv"));
        assert_eq!(numbers("plain"), numbers(folder));
    }
    assert_eq!(map(&room, "wide").width, 1800);
}

#[test]
fn a_section_is_a_plot_and_a_table_of_the_cells_that_it_passes() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml", "--svg", "--section", "0,8,20,8"]).ends_with(0);
    let table = room.read("case.out/section.csv");
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let header = reader.headers().expect("a header").clone();
    assert_eq!(
        header.iter().collect::<Vec<_>>(),
        ["along_mm", "x_mm", "y_mm", "die", "surface_C", "junctions_C"]
    );
    let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.expect("a row")).collect();
    let mut last = 0.0;
    for row in &rows {
        let along: f64 = row[0].parse().expect("a number");
        assert!(along > last);
        last = along;
        let x: f64 = row[1].parse().expect("a number");
        // The die of 6 mm is centred at 8 mm.
        let on_die = (x - 8.0).abs() < 3.0;
        assert_eq!(&row[3] == "D0", on_die, "{x}");
        assert_eq!(row[5].is_empty(), !on_die, "{x}");
    }
    assert!(Picture::read(&room.join("case.out/section.png")).is_ok());
    for name in ["temperature.svg", "heat_flux.svg", "section.svg"] {
        let text = room.read(&format!("case.out/{name}"));
        assert!(text.starts_with("<?xml") && text.ends_with("</svg>\n"), "{name}");
        assert!(text.contains("One die on ceramic"), "{name}");
    }
    assert!(room.read("case.out/temperature.svg").contains("href=\"data:image/png;base64,"));
}

#[test]
fn what_cannot_be_drawn_is_refused_with_a_reason() {
    let room = Room::with_case();
    let refused: [(&[&str], &str); 5] = [
        (&["--section", "0,8,30,8"], "leaves the module"),
        (&["--section", "0,8,30"], "four numbers belong here"),
        (&["--scale", "90..20"], "90 is not below 20"),
        (&["--isotherms", "0"], "above zero"),
        (&["--width", "20"], "760..=8000"),
    ];
    for (arguments, words) in refused {
        let mut all = vec!["solve", "case.toml"];
        all.extend(arguments);
        room.run(&all).ends_with(2).complains_of(words);
    }
    assert_eq!(room.entries("."), ["case.toml"]);
}

#[test]
fn check_draws_the_module_when_asked() {
    let room = Room::with_case();
    room.run(&["check", "case.toml", "--drawing", "module.png"]).ends_with(0);
    let picture = Picture::read(&room.join("module.png")).expect("a picture");
    assert_eq!(picture.width, 1200);
    assert!(picture.words.iter().any(|(_, text)| text.contains("20 by 16 mm, 18 W")));
    room.run(&["check", "case.toml", "--drawing", "module.svg"]).ends_with(0);
    assert!(room.read("module.svg").contains(">D0</text>"));
    room.run(&["check", "case.toml", "--drawing", "module.pdf"])
        .ends_with(2)
        .complains_of("let the name end in .png or .svg");
}
