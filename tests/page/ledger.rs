//! The page of an outage file: what it shows, held against `status --json`, and how it follows the bookings.

use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::time::Duration;

use gapwright::page::{Bounds, LedgerBoard};
use serde_json::{Value, json};

use crate::driver::browser;
use crate::raw::{Site, talk};

pub fn gapwright(folder: &Path, arguments: &[&str]) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_gapwright"));
    let output = command.args(arguments).current_dir(folder).output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

/// A week of the tiny sample: one bag packed, one at the bench.
pub fn week() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let [stock, pumps] = ["stock", "pumps"]
        .map(|name| format!("{}/samples/tiny/{name}.csv", env!("CARGO_MANIFEST_DIR")));
    let kit = ["kit", &stock, &pumps, "--outage", "week.outage", "--date", "2027-03-01"];
    gapwright(folder.path(), &kit);
    gapwright(folder.path(), &["book", "week.outage", "bag", "A", "B"]);
    gapwright(folder.path(), &["book", "week.outage", "issue", "B"]);
    folder
}

pub fn status(folder: &Path) -> Value {
    let args = ["status", "week.outage", "--json", "status.json", "--force"];
    gapwright(folder, &args);
    serde_json::from_slice(&std::fs::read(folder.join("status.json")).unwrap()).unwrap()
}

pub fn never() -> Bounds {
    Bounds { disk: Duration::from_secs(3_600), ..Bounds::default() }
}

pub fn page(site: &Site, cookie: &str, path: &str) -> String {
    let answer = talk(site.at, site.get(path, &[("Cookie", cookie)]).as_bytes());
    assert_eq!(answer.status, 200, "{path}");
    answer.body
}

fn row<'a>(text: &'a str, name: &str) -> &'a str {
    let row = text.split("<tr").find(|row| row.contains(&format!(">{name}</th>")));
    row.unwrap_or_else(|| panic!("no row of {name}: {text}")).split("</tr>").next().unwrap()
}

fn holds(board: &str, drawers: &str, told: &Value) {
    for pump in told["pumps"].as_array().unwrap() {
        let row = row(board, pump["tag"].as_str().unwrap());
        let state = pump["state"].as_str().unwrap().replace('_', " ");
        assert!(row.contains(&format!(">{state}")), "{state}: {row}");
        assert_eq!(row.contains("NOT FIT"), pump["not_fit_to_assemble"] == true, "{row}");
        if let Some(kit) = pump["kit"].as_u64() {
            assert!(row.contains(&format!(">{kit}</td>")), "{kit}: {row}");
        }
        for piece in pump["bag"].as_array().unwrap() {
            let text = format!("{} x {}", piece["count"], piece["item"].as_str().unwrap());
            assert!(row.contains(&text), "{text}: {row}");
        }
        let why = pump["why"].as_str().unwrap_or_default().replace('"', "&quot;");
        assert!(row.contains(&why), "{why}: {row}");
        let stops = board.split("id=\"stops\"").nth(1).unwrap().split("</section>").next().unwrap();
        let tag = format!("<strong>{}</strong>", pump["tag"].as_str().unwrap());
        assert_eq!(stops.contains(&tag), pump["stop"] == true, "{stops}");
    }
    for lot in told["stock"].as_array().unwrap() {
        let row = row(drawers, lot["item"].as_str().unwrap());
        let counts = format!(">{}</td><td class=\"number\">{}</td>", lot["out"], lot["on_hand"]);
        assert!(row.contains(&counts), "{lot}: {row}");
    }
    assert!(board.contains(&format!("The ledger ends at {}-", told["head"]["number"])));
}

#[test]
fn it_shows_what_status_tells_and_follows_the_bookings() {
    let folder = week();
    let board = Arc::new(LedgerBoard::open(&folder.path().join("week.outage")).unwrap());
    let site = Site::of(board.clone(), never());
    let cookie = site.enter();
    let all = || (page(&site, &cookie, "/"), page(&site, &cookie, "/drawers"));
    let (first, drawers) = all();
    holds(&first, &drawers, &status(folder.path()));
    assert!(!first.contains(folder.path().to_str().unwrap()) && first.contains("week.outage"));
    assert!(first.contains("The plan predicts: measure each finished pack"));
    // A clearance out of its limits: somebody must stop.
    let reading = ["book", "week.outage", "reading", "B", "running clearance", "0.0300 in"];
    // The second reading counts.
    gapwright(folder.path(), &reading);
    gapwright(folder.path(), &reading);
    board.look_at_disk();
    let told = status(folder.path());
    let (second, drawers) = all();
    assert!(told["pumps"].as_array().unwrap().iter().any(|pump| pump["stop"] == true), "{told}");
    holds(&second, &drawers, &told);
    gapwright(folder.path(), &["book", "week.outage", "cancel", "A"]);
    gapwright(folder.path(), &["book", "week.outage", "receive", "S10", "3"]);
    board.look_at_disk();
    let (third, drawers) = all();
    holds(&third, &drawers, &status(folder.path()));
    assert!(third.contains("put its pieces back"));
}

#[test]
fn nothing_can_be_changed_on_it() {
    let folder = week();
    let path = folder.path().join("week.outage");
    let before = std::fs::read(&path).unwrap();
    let site = Site::of(Arc::new(LedgerBoard::open(&path).unwrap()), never());
    let cookie = site.enter();
    for what in ["edit", "undo", "redo", "discard", "acknowledge"] {
        let answer = site.act(&cookie, &json!({ "do": what, "since": 0 }).to_string());
        assert_eq!(answer.status, 409, "{what}: {answer:?}");
    }
    assert_eq!(site.act(&cookie, r#"{"do":"look","since":0}"#).status, 200);
    let without = talk(site.at, site.get("/", &[]).as_bytes());
    assert_eq!(without.status, 401);
    site.close().unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
fn a_file_that_is_damaged_meanwhile_is_said_to_be() {
    let folder = week();
    let path = folder.path().join("week.outage");
    let board = Arc::new(LedgerBoard::open(&path).unwrap());
    let site = Site::of(board.clone(), never());
    let cookie = site.enter();
    std::fs::write(&path, b"no ledger at all").unwrap();
    board.look_at_disk();
    let shown = page(&site, &cookie, "/");
    assert!(shown.contains("could not be read again"), "{shown}");
    assert!(shown.contains("This is its state before") && row(&shown, "B").contains("issued"));
    assert!(LedgerBoard::open(&path).is_err());
}

#[test]
fn a_window_follows_by_itself() {
    let Some(browser) = browser("a_window_follows", &[]) else { return };
    let folder = week();
    let board = LedgerBoard::open(&folder.path().join("week.outage")).unwrap();
    let often = Bounds { disk: Duration::from_millis(50), ..Bounds::default() };
    let site = Site::of(Arc::new(board), often);
    browser.open(&site.link);
    let state = |tag: &str, wanted: &str| {
        format!("document.querySelector('tr[data-tag={tag}] .word')?.textContent === '{wanted}'")
    };
    browser.until(&state("A", "bagged"));
    gapwright(folder.path(), &["book", "week.outage", "issue", "A"]);
    browser.until(&state("A", "issued"));
    for (width, dark) in [(1280, false), (390, true)] {
        browser.screen(width, 900, dark);
        browser.open(&site.origin());
        browser.picture(&format!("outage-{width}.png"));
        let wide = browser.run("return document.documentElement.scrollWidth - innerWidth");
        assert_eq!(wide, json!(0));
        let Some(axe) = std::env::var_os("GAPWRIGHT_AXE") else { continue };
        browser.run(&std::fs::read_to_string(axe).unwrap());
        let found = browser.run_waiting("const r = await axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }); return r.violations.map(v => `${v.id}: ${v.nodes[0].target}`);");
        assert_eq!(found, json!([]), "{width}");
    }
    assert_eq!(browser.complaints(), Vec::<String>::new());
}
