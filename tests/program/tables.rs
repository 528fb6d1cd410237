//! Die and nozzles from CSV tables: the same module as inline, whatever is done with the case.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::harness::{CASE, Room};

/// The small case with a second die and two nozzles, as tables or inline.
fn text(tables: bool) -> String {
    let die = if tables {
        "[[die]]\ntable = \"tables/dies.csv\"\n"
    } else {
        "[[die]]\nname = \"D0\"\ntype = \"square\"\nat_mm = [8.0, 8.0]\npower_W = 18.0\n\
         power_map = \"maps/d0.csv\"\n\
         [[die]]\nname = \"D1\"\ntype = \"square\"\nat_mm = [15.5, 8.0]\nturn_deg = 90\npower_W = 4.5\n"
    };
    let nozzles = if tables {
        "[[nozzle]]\ntable = \"nozzles.csv\"\n"
    } else {
        "[[nozzle]]\nname = \"N1\"\ntype = \"full\"\nat_mm = [6.0, 7.0]\nstandoff_mm = 10.0\n\
         [[nozzle]]\nname = \"N2\"\ntype = \"full\"\nat_mm = [15.0, 8.0]\nstandoff_mm = 9.0\n\
         tilt_deg = [2.0, -3.0]\nflow_factor = 0.9\n"
    };
    let spray = format!(
        "[spray]\nmodel = \"correlated\"\n[nozzle_type.full]\ncone_deg = 50.0\norifice_mm = 0.30\n\
         flow_mL_s = 0.6\npressure_drop_kPa = 200.0\n{nozzles}"
    );
    CASE.replace("[spray]\nmodel = \"prescribed\"\nhtc_W_m2K = 8000.0\n", &spray)
        .replace(
            "inlet_C = 25.0",
            "inlet_C = 25.0\nfluid = \"perfluorohexane\"\npressure_kPa = 101.325",
        )
        .replace(
            "[[die]]\nname = \"D0\"\ntype = \"square\"\nat_mm = [8.0, 8.0]\npower_W = 18.0\n",
            die,
        )
}

fn room() -> Room {
    let room = Room::with("tables.toml", &text(true));
    room.write("inline.toml", &text(false));
    for folder in ["tables", "maps"] {
        fs::create_dir(room.join(folder)).expect("a folder");
    }
    room.write("maps/d0.csv", "1,2\n2,3\n");
    room.write(
        "tables/dies.csv",
        "Name,Type,X,Y,turn,Power,power_map,#remark\n,,mm,mm,deg,W,,\n\
         D0,square,8,8.0,,18,maps/d0.csv,\"hot, so watch it\"\nD1,square,15.5,8,90,4.5,,\n,,,,,,,\n",
    );
    room.write(
        "nozzles.csv",
        "name,type,x_mm,y_mm,standoff [mm],tilt_x_deg,tilt_y_deg,flow_factor\n\
         N1,full,6,7,10,,,\nN2,full,15,8,9,2,-3,0.9\n",
    );
    room
}

#[test]
fn a_module_by_tables_is_the_same_module_as_inline() {
    let room = room();
    for (case, folder) in [("tables.toml", "a"), ("inline.toml", "b")] {
        room.run(&["solve", case, "-o", folder, "-q"]).ends_with(0);
    }
    for file in ["junctions.csv", "hot_spots.csv", "temperature.png", "chf_margin.png"] {
        let bytes = |folder: &str| fs::read(room.join(folder).join(file)).expect("a file");
        assert!(bytes("a") == bytes("b"), "{file} differs");
    }
    // The page shows what the tables hold, and what identifies them.
    let page = room.read("a/report.html");
    let summary: Value = serde_json::from_str(&room.read("a/summary.json")).expect("JSON");
    let files = summary["case_files"].as_array().expect("files");
    assert_eq!(files.len(), 3);
    for file in files {
        assert!(page.contains(file["sha256"].as_str().expect("a hash")), "{file}");
    }
    assert!(page.contains("N2,full,15,8,9,2,-3,0.9"), "the text of a table stands in the page");
}

#[test]
fn the_demo_by_tables_is_the_demo_inline() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data/antenna-panel");
    let room = Room::new();
    let told = |name: &str| {
        let case = demo.join(name).display().to_string();
        let run = room.run(&["coverage", &case, "--no-solve", "--json", "-o", "out"]).ends_with(0);
        let mut summary: Value = serde_json::from_str(&run.stdout).expect("JSON");
        for own in ["case_sha256", "case_files", "wall_seconds"] {
            summary.as_object_mut().expect("an object").remove(own);
        }
        (summary, room.read("out/coverage.csv"))
    };
    assert_eq!(told("tables.toml"), told("sprayed.toml"));
}

#[test]
fn numbers_of_a_table_can_be_varied_like_others() {
    let room = room();
    let vary = ["--vary", "die.D1.power_W=4.5,9", "--vary", "nozzle.N2.at_mm.x=15"];
    for (case, folder) in [("tables.toml", "a"), ("inline.toml", "b")] {
        let mut arguments = vec!["sweep", case, "-o", folder, "-q"];
        arguments.extend(vary);
        room.run(&arguments).ends_with(0);
    }
    assert_eq!(room.read("a/points.csv"), room.read("b/points.csv"));
    assert!(room.read("a/points.csv").lines().count() == 3);
}

#[test]
fn arrange_drops_the_table_of_nozzles_and_keeps_that_of_die() {
    let room = room();
    room.run(&["arrange", "tables.toml", "-o", "out", "--no-trade-off", "--steps", "3"])
        .ends_with(0);
    let text = room.read("out/arranged.toml");
    assert!(
        text.contains("table = \"tables-dies.csv\"") && !text.contains("nozzles.csv"),
        "{text}"
    );
    // The name belongs to a result now, and the map of the table lies beside its case.
    assert!(room.read("out/nozzles.csv").starts_with("nozzle,type,x_before_mm"));
    assert!(room.read("out/tables-dies.csv").contains("maps-d0.csv"));
    assert!(!room.entries("out").iter().any(|name| name.starts_with("case-")));
    room.run(&["solve", "out/arranged.toml", "-o", "again", "-q"]).ends_with(0);
    // The page of the study.
    let page = room.read("out/report.html");
    assert!(page.contains("table-before_after") && page.contains("data:image/png;base64,"));
    assert!(page.contains("class=\"plan\""), "the module to scale");
}

#[test]
fn a_case_on_standard_input_finds_its_tables_from_here() {
    let room = room();
    let run = room.run_with_input(&["solve", "-", "-o", "out", "-q"], &text(true)).ends_with(0);
    assert!(run.stdout.is_empty(), "{run}");
    room.run(&["solve", "inline.toml", "-o", "b", "-q"]).ends_with(0);
    assert_eq!(room.read("out/junctions.csv"), room.read("b/junctions.csv"));
}

#[test]
fn a_slip_of_unit_is_told_with_its_place_and_its_mend() {
    let room = room();
    room.write(
        "nozzles.csv",
        "name,type,x,y,standoff\n,,mm,mm,in\nN1,full,6,7,0.4\nN2,full,15,8,0.35\n",
    );
    room.run(&["check", "tables.toml"])
        .ends_with(2)
        .complains_of("the column standoff must be in mm")
        .complains_of("nozzles.csv:2:9")
        .complains_of("0.4 in is 10.16 mm: multiply the column by 25.4")
        .complains_of("tables.toml:");
}
