//! The page in a real browser: typing, keys alone, blocks, undo, refused values, two windows, its end.

use std::fs;
use std::time::Duration;

use gapwright::page::Bounds;
use gapwright::scratch::Scratch;
use serde_json::{Value, json};

use crate::driver::{Browser, browser};
use crate::raw::Served;
use crate::scratch::{sources, written};

fn opened(browser: &Browser, scratch: Scratch) -> Served {
    let served = Served::of(scratch, Bounds::default());
    served.planned();
    browser.open(&served.link);
    ready(browser);
    served
}

/// Waits for the script, which gives each grid the cell that takes Tab.
fn ready(browser: &Browser) {
    browser.until("document.querySelector('[role=grid] tbody [tabindex=\"0\"]')");
}

fn tiny(browser: &Browser) -> Served {
    opened(browser, Scratch::open(sources("tiny", "csv")).unwrap())
}

/// Cell of a pump below a heading, in the language of the page.
fn cell(tag: &str, key: &str) -> String {
    format!("document.querySelector('tr[data-tag=\"{tag}\"] [data-key=\"{key}\"]')")
}

fn text(tag: &str, key: &str) -> String {
    format!("{}.querySelector('.v').textContent", cell(tag, key))
}

fn state(tag: &str) -> String {
    format!("document.querySelector('tr[data-tag=\"{tag}\"] .word').textContent")
}

const LIVE: &str = "document.getElementById('live').textContent";

/// Puts the focus on a cell by keys alone, from the top of the page.
fn focus(browser: &Browser, tag: &str, key: &str) {
    browser.run(&format!("const c = {}; c.tabIndex = 0; c.focus();", cell(tag, key)));
}

#[test]
fn a_value_typed_is_planned_again_and_taken_back() {
    let Some(browser) = browser("a_value_typed", &[]) else { return };
    let served = tiny(&browser);
    let before = browser.run(&format!("return {}", text("A", "bareclearance")));
    focus(&browser, "A", "bareclearance");
    browser.keys(&["0.101", "Enter"]);
    browser.until(&format!("{} === 'NOT FIT TO ASSEMBLE'", state("A")));
    assert_eq!(browser.run(&format!("return {}", text("A", "bareclearance"))), json!("0.101"));
    // The change is listed until somebody says that it was seen.
    browser.until(
        "document.querySelector('#changes li[data-short]')?.textContent.includes('A: now NOT FIT')",
    );
    let focused = "document.activeElement.closest('tr').dataset.tag";
    assert_eq!(browser.run(&format!("return {focused}")), json!("C"), "Enter goes on downwards");
    browser.keys(&["^z"]);
    browser.until(&format!("{}.startsWith('kit')", state("A")));
    assert_eq!(browser.run(&format!("return {}", text("A", "bareclearance"))), before);
    browser.until("document.getElementById('changes').hidden");
    browser.keys(&["^y"]);
    browser.until(&format!("{} === 'NOT FIT TO ASSEMBLE'", state("A")));
    browser.until("document.querySelector('[data-do=acknowledge]')");
    browser.run("document.querySelector('[data-do=acknowledge]').click()");
    browser.until("document.getElementById('changes').hidden");
    browser.run("document.querySelector('[data-do=discard]').click()");
    browser.until(&format!("{}.startsWith('kit')", state("A")));
    assert_eq!(served.desk.look(Scratch::edited), 0);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn a_refused_value_is_said_at_its_cell() {
    let Some(browser) = browser("a_refused_value", &[]) else { return };
    let served = tiny(&browser);
    focus(&browser, "A", "bareclearance");
    browser.keys(&["F2", "^a", "0,04l", "Tab"]);
    let cell = cell("A", "bareclearance");
    browser.until(&format!("{cell}.getAttribute('aria-invalid') === 'true'"));
    assert_eq!(browser.run(&format!("return {}", text("A", "bareclearance"))), json!("0.041"));
    let why =
        format!("document.getElementById({cell}.getAttribute('aria-describedby')).textContent");
    let said = browser.run(&format!("return {why}"));
    let said = said.as_str().unwrap();
    assert!(
        said.contains("`0,04l`") && said.contains("Fix: ") && said.ends_with("It stays 0.041."),
        "{said}"
    );
    browser.until(&format!("{LIVE}.includes('1 not taken. A: ')"));
    browser.until("document.getElementById('refused').textContent.includes('0,04l')");
    assert_eq!(browser.run("return document.activeElement.dataset.key"), json!("snapring"));
    assert_eq!(served.desk.look(Scratch::revision), 0, "nothing of it counts");
    focus(&browser, "A", "bareclearance");
    browser.picture("refused.png");
    // Its own text again ends it; Esc leaves the cell as it is.
    browser.keys(&["0.0402", "Escape"]);
    assert_eq!(browser.run(&format!("return {}", text("A", "bareclearance"))), json!("0.041"));
    browser.keys(&["0.0402", "Enter"]);
    browser.until(&format!(
        "{cell}.getAttribute('aria-invalid') === null && {} === '0.0402'",
        text("A", "bareclearance")
    ));
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn all_is_reached_by_keys_alone() {
    let Some(browser) = browser("keys_alone", &[]) else { return };
    let _served = tiny(&browser);
    let here =
        || browser.run("const a = document.activeElement; return a.dataset.key ?? a.textContent");
    let mut seen = Vec::new();
    // Tab by Tab from the top: links, then the grid as one stop, then on.
    for _ in 0..6 {
        browser.keys(&["Tab"]);
        seen.push(here().as_str().unwrap().to_string());
    }
    assert_eq!(seen[..3], ["Pumps", "Drawers", "Paper"], "{seen:?}");
    assert_eq!(seen[4], "priority", "the first value of the grid: {seen:?}");
    assert!(seen[5] != "bareclearance", "a grid is one stop: {seen:?}");
    browser.keys(&["+Tab"]);
    assert_eq!(here(), json!("priority"));
    let at = || {
        browser
            .run("const a = document.activeElement; return [a.parentNode.dataset.tag, a.cellIndex]")
    };
    assert_eq!(at(), json!(["B", 4]));
    browser.keys(&["Down", "Right"]);
    assert_eq!(at(), json!(["A", 5]));
    browser.keys(&["Home"]);
    assert_eq!(at(), json!(["A", 0]));
    browser.keys(&["^End"]);
    assert_eq!(at(), json!(["C", 7]));
    browser.keys(&["Right", "Down"]);
    assert_eq!(at(), json!(["C", 7]), "the edge holds");
    browser.keys(&["^Home"]);
    assert_eq!(at(), json!(["B", 0]));
    browser.keys(&["^Down"]);
    assert_eq!(at(), json!(["C", 0]));
    // One cell of the grid alone takes Tab.
    assert_eq!(
        browser
            .run("return document.querySelectorAll('[role=grid] tbody [tabindex=\"0\"]').length"),
        json!(1)
    );
    // The tag leads to the pump.
    browser.keys(&["Enter"]);
    browser.until("document.querySelector('.drawing image')");
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn blocks_go_in_and_out() {
    let Some(browser) = browser("blocks", &[]) else { return };
    let served = tiny(&browser);
    let permissions = json!({ "origin": served.origin(), "permissions": ["clipboardReadWrite", "clipboardSanitizedWrite"] });
    browser.devtools("Browser.grantPermissions", &permissions);
    focus(&browser, "B", "bareclearance");
    browser.to_clipboard("0.0511\t0.0501\r\n0,0411\t0.0502\r\n");
    browser.keys(&["^v"]);
    browser.until(&format!("{} === '0.0502'", text("A", "snapring")));
    assert_eq!(browser.run(&format!("return {}", text("A", "bareclearance"))), json!("0,0411"));
    browser.until("document.getElementById('figures').dataset.planning === 'false'");
    browser.keys(&["+Right", "+Down", "^c"]);
    browser.until(&format!("{LIVE} === '4 cells copied.'"));
    let copied = browser.run_waiting("return await navigator.clipboard.readText()");
    assert_eq!(copied, json!("0.0511\t0.0501\r\n0,0411\t0.0502"));
    // Beyond the values nothing is pasted at all.
    focus(&browser, "C", "snapring");
    browser.keys(&["^v"]);
    browser.until(&format!("{LIVE}.startsWith('Nothing was pasted')"));
    assert_eq!(browser.run(&format!("return {}", text("C", "snapring"))), json!("0.050"));
    // The block was one step.
    browser.keys(&["^z"]);
    browser.until(&format!(
        "{} === '0.051' && {} === '0.050'",
        text("B", "bareclearance"),
        text("A", "snapring")
    ));
    // One value over a selection.
    browser.to_clipboard("4");
    focus(&browser, "B", "priority");
    browser.keys(&["+Down", "+Down", "^v"]);
    for tag in ["A", "B", "C"] {
        browser.until(&format!("{} === '4'", text(tag, "priority")));
    }
    browser.keys(&["Delete"]);
    browser.until(&format!("{} === ''", text("C", "priority")));
    // A reading that is gone is not taken yet.
    focus(&browser, "C", "bareclearance");
    browser.keys(&["Delete"]);
    browser.until(&format!("{} === 'not measured'", state("C")));
    browser.until("document.querySelector('tr[data-tag=C] .state').textContent.includes('waits for Bare clearance')");
    browser
        .until("document.getElementById('figures').textContent.includes('2 of 2 measured pumps')");
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn two_windows_see_the_same() {
    let (Some(one), Some(two)) = (browser("two_windows", &[]), browser("two_windows", &[])) else {
        return;
    };
    let served = tiny(&one);
    two.open(&served.second_link());
    ready(&two);
    focus(&one, "A", "bareclearance");
    one.keys(&["0.0415", "Enter"]);
    two.until(&format!("{} === '0.0415'", text("A", "bareclearance")));
    // The second who edits a cell that the first has changed is told so.
    two.run("window.fetchWas = window.fetch");
    focus(&two, "A", "bareclearance");
    two.keys(&["F2", "^a", "0.0425"]);
    one.keys(&["Up", "0.0418", "Enter"]);
    one.until(&format!("{} === '0.0418'", text("A", "bareclearance")));
    two.until(&format!("{} === '0.0418'", text("A", "bareclearance")));
    two.keys(&["Enter"]);
    two.until(&format!("{} === '0.0425'", text("A", "bareclearance")));
    one.until(&format!("{} === '0.0425'", text("A", "bareclearance")));
    assert_eq!([one.complaints(), two.complaints()].concat(), Vec::<String>::new());
}

#[test]
fn a_workbook_that_changed_is_announced_and_taken_over_when_told() {
    let Some(browser) = browser("taken_over", &[]) else { return };
    let folder = tempfile::tempdir().unwrap();
    let sources = written(folder.path(), "0.041", "0.0411");
    let often = Bounds { disk: Duration::from_millis(50), ..Bounds::default() };
    let served = Served::of(Scratch::open(sources).unwrap(), often);
    served.planned();
    browser.open(&served.link);
    ready(&browser);
    written(folder.path(), "0.041", "wide");
    browser.until("document.querySelector('[data-do=take-over]')");
    assert_eq!(browser.run(&format!("return {}", text("A", "bareclearance"))), json!("0.0411"));
    browser.run("document.querySelector('[data-do=take-over]').click()");
    browser.until("document.getElementById('mode').textContent.includes('`wide`')");
    written(folder.path(), "0.041", "0.04125");
    ready(&browser);
    browser.run("document.querySelector('[data-do=take-over]').click()");
    browser.until(&format!("{} === '0.04125'", text("A", "bareclearance")));
    browser.until("!document.querySelector('[data-do=take-over]')");
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn a_page_whose_program_ended_says_so() {
    let Some(browser) = browser("a_page_whose_program_ended", &[]) else { return };
    let served = tiny(&browser);
    served.close().unwrap();
    browser.until(&format!("{LIVE}.includes('Not connected') || {LIVE}.includes('has ended')"));
    focus(&browser, "A", "bareclearance");
    browser.keys(&["0.0415", "Enter"]);
    browser.until(&format!("{LIVE}.startsWith('Nothing was taken')"));
    assert_eq!(browser.run(&format!("return {}", text("A", "bareclearance"))), json!("0.041"));
}

#[test]
fn text_of_a_workbook_does_not_run() {
    let Some(browser) = browser("text_does_not_run", &[]) else { return };
    let folder = tempfile::tempdir().unwrap();
    let tag = "<img src=x onerror=window.bad=1>";
    let sources =
        written(folder.path(), "A,screwed-impeller,1", &format!("{tag},screwed-impeller,1"));
    let served = opened(&browser, Scratch::open(sources).unwrap());
    let found = browser
        .run("return [...document.querySelectorAll('tr[data-tag]')].map(row => row.dataset.tag)");
    assert!(found.as_array().unwrap().contains(&json!(tag)), "{found}");
    browser.run("const c = [...document.querySelectorAll('tr[data-tag]')].find(r => r.dataset.tag.startsWith('<')).querySelector('[data-key=bareclearance]'); c.tabIndex = 0; c.focus();");
    browser.keys(&["<img src=x onerror=window.bad=2>", "Enter"]);
    browser.until("document.querySelector('[aria-invalid=true]')");
    let row =
        served.desk.look(|scratch| scratch.job().pumps.iter().find(|p| p.tag == tag).unwrap().row);
    browser.open(&format!("{}/pump/{row}", served.origin()));
    browser.open(&format!("{}/drawers", served.origin()));
    assert_eq!(browser.run("return window.bad ?? null"), Value::Null);
    assert_eq!(browser.complaints(), Vec::<String>::new());
    // A handler that came in all the same would not run.
    browser.run("const i = document.createElement('div'); i.innerHTML = '<img src=x onerror=\"window.bad = 3\">'; document.body.append(i);");
    browser.until("document.images[0].complete");
    assert_eq!(browser.run("return window.bad ?? null"), Value::Null);
    assert!(browser.complaints().iter().any(|line| line.contains("Content Security Policy")));
}

#[test]
fn nothing_is_wider_than_the_window_and_the_log_is_empty() {
    let Some(browser) = browser("widths", &[]) else { return };
    let served = opened(&browser, Scratch::open(sources("outage", "xlsx")).unwrap());
    let [good, short] = served.desk.look(|scratch| {
        let row = |tag: &str| scratch.job().pumps.iter().find(|pump| pump.tag == tag).unwrap().row;
        ["P-101", "P-299"].map(row)
    });
    let pages = [
        ("/".to_string(), "board"),
        ("/drawers".into(), "drawers"),
        (format!("/pump/{good}"), "pump"),
        (format!("/pump/{short}"), "short"),
    ];
    for (width, height) in [(1280, 900), (800, 1200), (390, 844)] {
        for dark in [false, true] {
            browser.screen(width, height, dark);
            for (path, name) in &pages {
                browser.open(&format!("{}{path}", served.origin()));
                if path.starts_with("/pump/") {
                    browser.until(
                        "document.querySelector('.others') && !document.querySelector('.busy')",
                    );
                }
                let wide = browser.run("return document.documentElement.scrollWidth - innerWidth");
                assert_eq!(wide, json!(0), "{path} at {width}");
                let scheme = if dark { "dark" } else { "light" };
                browser.picture(&format!("{name}-{width}-{scheme}.png"));
            }
        }
    }
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn the_focus_is_never_under_the_headings() {
    let Some(browser) = browser("the_focus", &[]) else { return };
    let _served = opened(&browser, Scratch::open(sources("outage", "xlsx")).unwrap());
    for (width, height) in [(1280, 700), (800, 600), (390, 700)] {
        browser.screen(width, height, false);
        focus(&browser, "P-101", "priority");
        for key in ["Down", "Right", "Up", "Left", "End", "Home"] {
            for _ in 0..if key == "Down" || key == "Up" { 12 } else { 6 } {
                browser.keys(&[key]);
                let seen = browser.run("const a = document.activeElement, b = a.getBoundingClientRect(), x = Math.max(b.left + 2, 0), y = b.top + 4; const hit = document.elementFromPoint(Math.min(x, innerWidth - 2), y); return a.contains(hit) || `${a.parentNode.dataset.tag} ${a.cellIndex} ${x} ${y} ${hit?.outerHTML.slice(0, 80)}`");
                assert_eq!(seen, json!(true), "{key} at {width}");
            }
        }
    }
}

/// An automatic checker of accessibility, where `GAPWRIGHT_AXE` names its script.
#[test]
fn no_barrier_is_found() {
    let Some(browser) = browser("no_barrier", &[]) else { return };
    let Some(axe) = std::env::var_os("GAPWRIGHT_AXE") else {
        use std::io::Write;
        writeln!(std::io::stderr(), "SKIPPED no_barrier: GAPWRIGHT_AXE names no axe.min.js").ok();
        return;
    };
    let axe = fs::read_to_string(axe).unwrap();
    let served = opened(&browser, Scratch::open(sources("outage", "xlsx")).unwrap());
    let row = |tag: &str| {
        served
            .desk
            .look(|scratch| scratch.job().pumps.iter().find(|pump| pump.tag == tag).unwrap().row)
    };
    let pages = [
        "/".to_string(),
        "/drawers".into(),
        format!("/pump/{}", row("P-101")),
        format!("/pump/{}", row("P-299")),
    ];
    // A refused value and a change are on the board as well.
    focus(&browser, "P-101", "snapring");
    browser.keys(&["x", "Enter", "0.3", "Enter"]);
    browser.until(
        "!document.getElementById('refused').hidden && !document.getElementById('changes').hidden",
    );
    for width in [1280, 800, 390] {
        for dark in [false, true] {
            browser.screen(width, 900, dark);
            for page in &pages {
                browser.open(&format!("{}{page}", served.origin()));
                browser.run(&axe);
                let found = browser.run_waiting("const r = await axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }); return r.violations.map(v => `${v.id}: ${v.nodes.length} x, ${v.nodes[0].target} ${v.nodes[0].failureSummary}`);");
                assert_eq!(found, json!([]), "{page} at {width}, dark {dark}");
            }
        }
    }
}

#[test]
fn a_slider_says_where_the_verdict_turns_and_a_kit_is_held_by_keys() {
    let Some(browser) = browser("a_slider", &[]) else { return };
    let served = tiny(&browser);
    let row = served
        .desk
        .look(|scratch| scratch.job().pumps.iter().find(|pump| pump.tag == "A").unwrap().row);
    browser.open(&format!("{}/pump/{row}", served.origin()));
    browser.until("document.querySelector('.knob input')");
    let output = "document.querySelector('.knob output').textContent";
    let text = || browser.run(&format!("return {output}")).as_str().unwrap().to_string();
    assert!(text().ends_with("(as it is)"), "{}", text());
    assert_eq!(
        browser.run("return document.querySelector('.knob label').textContent"),
        json!("Impeller clearance with no shims")
    );
    browser.run("document.querySelector('.knob input').focus()");
    let turns = browser.run("return document.querySelector('.knob .turns').textContent");
    // Step by step upwards, until it turns: the last stop before it is the value that the words give.
    let mut before = text();
    for _ in 0..60 {
        browser.keys(&["Right"]);
        let now = text();
        if !now.contains(": met") {
            break;
        }
        before = now;
    }
    let last = before.split(':').next().unwrap().trim_end_matches(" in");
    assert!(turns.as_str().unwrap().contains(&format!("met at {last}")), "{before}: {turns}");
    assert!(text().contains("NOT PROVEN by") || text().contains("NOT MET by"), "{}", text());
    let spoken = browser.run("return document.querySelector('.knob input').ariaValueText ?? document.querySelector('.knob input').getAttribute('aria-valuetext')");
    assert_eq!(spoken, json!(text()));
    // The slider stays where it is when other parts change.
    browser.until("document.querySelector('.others button')");
    assert!(!text().contains(": met"), "{}", text());
    browser.run("document.querySelector('.others button').focus()");
    browser.keys(&["Enter"]);
    browser.until("document.querySelector('#pump').textContent.includes('Kit held.')");
    assert_eq!(served.desk.look(Scratch::held), 1);
    browser.until("document.querySelector('[data-do=free]')");
    browser.run("document.querySelector('[data-do=free]').click()");
    browser.until("document.querySelector('[data-do=hold][data-kit=at-hand]')");
    browser.keys(&["^z"]);
    browser.until("document.querySelector('[data-do=free]')");
    assert_eq!(served.desk.look(Scratch::held), 1);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}
