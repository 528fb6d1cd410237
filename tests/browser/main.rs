//! `report.html` in a real browser: no complaint on the console, values read by pointer, layers,
//! keyboard, table and map linked, phone width, dark, print.

#![allow(clippy::print_stderr, reason = "a skipped check says why")]

mod driver;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use driver::Browser;
use serde_json::Value;

/// A solved case with nozzles, and its folder of results.
struct Solved {
    _room: tempfile::TempDir,
    results: PathBuf,
    summary: Value,
}

fn solved() -> Solved {
    let room = tempfile::tempdir().expect("a room");
    let results = room.path().join("results");
    let case = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data/test-vehicle/sprayed.toml");
    let run = Command::new(env!("CARGO_BIN_EXE_sprayside"))
        .args(["solve", "--quiet", "-o"])
        .args([&results, &case])
        .output()
        .expect("a run");
    assert!(matches!(run.status.code(), Some(0 | 1)), "{run:?}");
    let summary = fs::read_to_string(results.join("summary.json")).expect("a summary");
    Solved { _room: room, results, summary: serde_json::from_str(&summary).expect("JSON") }
}

/// What the readout says beside a name.
fn told(browser: &Browser, name: &str) -> String {
    let script = format!(
        "const row = [...document.querySelectorAll('#readout div')].find(d => \
         d.querySelector('dt').textContent === '{name}'); \
         return row ? row.querySelector('dd').textContent : ''"
    );
    browser.script(&script).as_str().unwrap_or_default().to_owned()
}

/// The number at the beginning of a text.
fn number(text: &str) -> f64 {
    let digits: String =
        text.chars().take_while(|c| c.is_ascii_digit() || *c == '.' || *c == '-').collect();
    digits.parse().unwrap_or_else(|_| panic!("no number in {text:?}"))
}

/// Where a place of the module is in the window, from the axes that the page itself drew.
fn in_window(browser: &Browser, at_mm: [f64; 2], size_mm: [f64; 2]) -> [f64; 2] {
    let script = "document.getElementById('chart').scrollIntoView({block: 'center', behavior: 'instant'}); \
                  const r = document.getElementById('chart').getBoundingClientRect(); \
                  return [r.left, r.top, r.width, r.height]";
    let rect: Vec<f64> = serde_json::from_value(browser.script(script)).expect("a rectangle");
    // The margins of the map, as in the script of the page.
    let (width, height) = (rect[2] - 46.0 - 12.0, rect[3] - 10.0 - 34.0);
    let scale = (width / size_mm[0]).min(height / size_mm[1]);
    [
        rect[0] + 46.0 + width / 2.0 + (at_mm[0] - size_mm[0] / 2.0) * scale,
        rect[1] + 10.0 + height / 2.0 - (at_mm[1] - size_mm[1] / 2.0) * scale,
    ]
}

fn distinct_colours(png: &[u8]) -> usize {
    let mut reader = png::Decoder::new(std::io::Cursor::new(png)).read_info().expect("a picture");
    let mut pixels = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut pixels).expect("pixels");
    let step = info.color_type.samples();
    let colours: std::collections::HashSet<&[u8]> = pixels.chunks_exact(step).collect();
    colours.len()
}

#[test]
fn the_report_reads_its_values_to_the_pointer_and_complains_of_nothing() {
    let Some(browser) = Browser::start([1280, 1000], false) else { return };
    let solved = solved();
    browser.open(&solved.results.join("report.html"));
    let size_mm: Vec<f64> = serde_json::from_value(
        browser.script("return JSON.parse(document.getElementById('data').textContent).size_mm"),
    )
    .expect("a size");
    let size_mm = [size_mm[0], size_mm[1]];
    let junctions = solved.summary["junctions"].as_array().expect("junctions");
    for junction in junctions {
        let value = |name: &str| junction[name].as_f64();
        let name = junction["die"].as_str().expect("a name");
        let at = [value("hot_spot_x_mm").expect("x"), value("hot_spot_y_mm").expect("y")];
        browser.pointer(in_window(&browser, at, size_mm), false);
        let position = told(&browser, "Position x, y");
        let x = number(&position);
        let y = number(position.split(", ").nth(1).expect("y"));
        // A pixel of the map is about a tenth of a millimetre.
        assert!((x - at[0]).abs() < 0.2 && (y - at[1]).abs() < 0.2, "{position} for {at:?}");
        assert_eq!(told(&browser, "Die"), name);
        let (max, min) =
            (value("junction_max_C").expect("max"), value("junction_min_C").expect("min"));
        let read = number(&told(&browser, "Junction temperature"));
        let near = value("uncertainty_K").expect("uncertainty") + 0.03 * (max - min) + 0.01;
        assert!((read - max).abs() <= near, "{name}: {read} at the pointer, {max} in the table");
        let margin = number(&told(&browser, "CHF margin"));
        let least = value("chf_margin").expect("margin");
        assert!(margin >= least * 0.99, "{name}: margin {margin} at the pointer, least {least}");
        assert!(number(&told(&browser, "Heat flux into the spray")) > 0.0);
        let told_max = told(&browser, &format!("{name}, hottest"));
        assert!((number(&told_max) - max).abs() <= 0.5, "{told_max}");
    }
    let hundreds = distinct_colours(&browser.picture("wide"));
    assert!(hundreds > 100, "{hundreds} colours: the map is not drawn");
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn layers_keys_rows_and_section_work_without_a_mouse() {
    let Some(browser) = Browser::start([1280, 1000], false) else { return };
    let solved = solved();
    browser.open(&solved.results.join("report.html"));
    let layers: Vec<String> = serde_json::from_value(
        browser.script("return [...document.getElementById('layer').options].map(o => o.value)"),
    )
    .expect("layers");
    let sheets = layers.iter().filter(|layer| layer.starts_with("sheet-")).count();
    assert!(layers.contains(&"junction".to_owned()) && sheets >= 3, "{layers:?}");
    let mut before = browser.picture("layer-surface");
    for layer in &layers {
        if layer == "surface" {
            continue;
        }
        browser.script(&format!(
            "const s = document.getElementById('layer'); s.value = '{layer}'; \
             s.dispatchEvent(new Event('change')); document.getElementById('map').scrollIntoView({{behavior: 'instant'}})"
        ));
        std::thread::sleep(std::time::Duration::from_millis(120));
        browser.settle();
        let picture = browser.picture(&format!("layer-{layer}"));
        assert!(picture != before, "{layer} looks like the layer before");
        before = picture;
        let title =
            browser.script("return document.querySelector('#readout .shown dt').textContent");
        assert!(!title.as_str().unwrap_or_default().is_empty(), "{layer}");
        let words = browser.script("return document.querySelector('#section p').textContent");
        assert!(words.as_str().unwrap_or_default().contains("highest"), "{layer}: {words}");
    }
    // The first row's button leads to the map, which then has the keyboard.
    browser.script("document.querySelector('#table-junctions tbody button').focus()");
    browser.keys(&["\u{e007}"]);
    let focused = browser.script("return document.activeElement.id");
    assert_eq!(focused, "chart");
    let first = solved.summary["junctions"][0]["die"].as_str().expect("a name");
    assert_eq!(told(&browser, "Die"), first);
    let place = told(&browser, "Position x, y");
    browser.keys(&["\u{e014}", "\u{e014}"]);
    assert_ne!(told(&browser, "Position x, y"), place, "arrows move the mark");
    let spoken = browser.script("return document.getElementById('spoken').textContent");
    assert!(spoken.as_str().unwrap_or_default().contains("Surface temperature"), "{spoken}");
    let marked =
        browser.script("return document.querySelector('#table-junctions tr.at').dataset.name");
    assert_eq!(marked, first);
    // Sorted by the hottest, highest first; all digits are those of the summary.
    browser.script(
        "const head = [...document.querySelectorAll('#table-junctions thead th')].find(h => \
         h.textContent.includes('junction max')).querySelector('button'); head.click(); \
         head.click(); document.querySelector('.digits').click()",
    );
    let shown: Vec<f64> = serde_json::from_value(browser.script(
        "const c = [...document.querySelectorAll('#table-junctions thead th')].findIndex(h => \
         h.textContent.includes('junction max')); \
         return [...document.querySelectorAll('#table-junctions tbody tr')].map(r => \
         Number(r.cells[c].textContent))",
    ))
    .expect("temperatures");
    let mut expected: Vec<f64> = solved.summary["junctions"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|junction| junction["junction_max_C"].as_f64().expect("a temperature"))
        .collect();
    expected.sort_by(|a, b| b.total_cmp(a));
    assert_eq!(shown, expected);
    // A filter that fits one row leaves one.
    browser.script(&format!(
        "const f = document.querySelector('.filter'); f.value = '{first} '; \
         f.dispatchEvent(new Event('input'))"
    ));
    let left = browser.script(
        "return document.querySelectorAll('#table-junctions tbody tr:not([hidden])').length",
    );
    assert!(left.as_u64().is_some_and(|n| n >= 1 && (n as usize) < expected.len()), "{left}");
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn the_report_fits_a_phone_in_the_dark_and_prints_on_both_papers() {
    let Some(browser) = Browser::start([500, 900], true) else { return };
    let solved = solved();
    browser.open(&solved.results.join("report.html"));
    let dark = browser.script("return matchMedia('(prefers-color-scheme: dark)').matches");
    browser.picture("phone-dark");
    // Headless windows are never narrower than 500; a frame of the page is.
    browser
        .script("document.body.style.width = '360px'; window.dispatchEvent(new Event('resize'))");
    browser.settle();
    let wide = browser.script(
        "return [...document.querySelectorAll('header *, main *')].filter(e => \
         !e.closest('.wide, pre, svg, .hidden, .skip, select') && \
         (e.getBoundingClientRect().right > 361 || e.matches('p, li, dd, figcaption') && \
         e.scrollWidth > e.clientWidth + 1)).map(e => e.tagName + '.' + e.className)",
    );
    assert_eq!(wide, Value::Array(Vec::new()), "wider than a phone");
    browser.picture("phone-360");
    browser.script("document.body.style.width = ''");
    for (name, size_cm) in [("a4", [21.0, 29.7]), ("letter", [21.59, 27.94])] {
        let pdf = browser.print(size_cm);
        assert!(pdf.starts_with(b"%PDF") && pdf.len() > 20_000, "{name}");
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser");
        fs::write(folder.join(format!("{name}.pdf")), &pdf).expect("kept");
    }
    assert_eq!(dark, true);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}
