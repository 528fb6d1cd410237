//! `report.html` from outside: whole, alone, and with the numbers of the other files.

use serde_json::Value;

use crate::harness::{CASE, Room};

/// The figures of one table of the page, row by row, as the file has them.
fn figures(page: &str, table: &str) -> Vec<Vec<f64>> {
    let start = page.find(&format!("<table id=\"table-{table}\"")).expect("the table");
    let body = &page[start..start + page[start..].find("</table>").expect("its end")];
    body.split("<tr")
        .skip(2)
        .map(|row| {
            row.split("<data value=\"")
                .skip(1)
                .map(|rest| rest[..rest.find('"').expect("a quote")].parse().expect("a number"))
                .collect()
        })
        .collect()
}

#[test]
fn the_numbers_of_the_report_are_those_of_the_summary() {
    let room = Room::with_case();
    room.run(&["solve", "case.toml"]).ends_with(0);
    let page = room.read("case.out/report.html");
    let summary: Value = serde_json::from_str(&room.read("case.out/summary.json")).expect("JSON");
    let rows = figures(&page, "junctions");
    let junctions = summary["junctions"].as_array().expect("junctions");
    assert_eq!(rows.len(), junctions.len());
    let columns = room.read("case.out/junctions.csv");
    let columns: Vec<&str> = columns.lines().next().expect("a header").split(',').collect();
    for (row, junction) in rows.iter().zip(junctions) {
        let expected: Vec<f64> =
            columns.iter().filter_map(|column| junction[column].as_f64()).collect();
        assert_eq!(*row, expected);
    }
    assert!(page.contains(summary["case_sha256"].as_str().expect("a hash")));
    assert!(page.contains("<p class=\"word pass\">PASS</p>"), "the verdict comes first");
}

#[test]
fn the_report_asks_nothing_of_a_network_and_shows_the_case_as_text() {
    let nasty = "title = 'a </script><b>bold</b> & \"quoted\" part'";
    let text = CASE.replace("title = \"One die on ceramic\"", nasty);
    let room = Room::with("case.toml", &text);
    room.run(&["solve", "case.toml"]).ends_with(0);
    let page = room.read("case.out/report.html");
    for word in ["http://", "https://", "src=\"/", "url(http", "<b>bold</b>"] {
        assert!(!page.contains(word), "{word}");
    }
    assert!(page.contains("Content-Security-Policy\" content=\"default-src 'none'"));
    // The page has two scripts, data and code: nothing of the case opened or closed another.
    assert_eq!(page.matches("</script>").count(), 2);
    assert!(page.contains("&#60;b&#62;bold") || page.contains("&lt;b&gt;bold"));
}

#[test]
fn a_survey_and_a_study_have_their_parts_in_the_report() {
    let nozzles = "model = \"correlated\"\n[nozzle_type.wide]\ncone_deg = 55.0\norifice_mm = 0.4\n\
                   flow_mL_s = 0.85\npressure_drop_kPa = 200.0\n[[nozzle]]\nname = \"N1\"\n\
                   type = \"wide\"\nat_mm = [8.0, 8.0]\nstandoff_mm = 8.0\n[board]";
    let text = CASE
        .replace("model = \"prescribed\"\nhtc_W_m2K = 8000.0\n[board]", nozzles)
        .replace("[coolant]\n", "[coolant]\nfluid = \"perfluorohexane\"\npressure_kPa = 101.325\n");
    let room = Room::with("case.toml", &text);
    room.run(&["coverage", "case.toml", "--no-solve"]).ends_with(0);
    let page = room.read("case.out/report.html");
    assert_eq!(figures(&page, "coverage").len(), 1);
    assert!(page.contains("Liquid budget") && page.contains("NOT SOLVED"));
    let room = Room::with_case();
    room.run(&["resistance", "case.toml"]).ends_with(0);
    let page = room.read("case.out/report.html");
    assert_eq!(figures(&page, "resistance_max").len(), 1);
    assert!(page.contains("data:image/png;base64,"), "the picture of the study stands inside");
}
