//! Paper from the page: the file that `gapwright slips` writes of the same plan, byte by byte; refused where the plan is only
//! tried; and printed by a browser.

use std::fs;
use std::time::Duration;

use gapwright::page::Bounds;
use gapwright::scratch::Scratch;
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::driver::{Browser, browser};
use crate::ledger::gapwright;
use crate::raw::{Answer, Served, talk};
use crate::readings::{Page, edit, ledger, planned, week};
use crate::scratch::sources;

fn served() -> Served {
    let never = Bounds { disk: Duration::from_secs(3_600), ..Bounds::default() };
    let served = Served::of(Scratch::open(sources("outage", "xlsx")).unwrap(), never);
    served.planned();
    served
}

fn get(served: &Served, cookie: &str, path: &str) -> Answer {
    talk(served.at, served.get(path, &[("Cookie", cookie)]).as_bytes())
}

/// A folder with the sample outage and its plan.
fn shop() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in ["stock.xlsx", "pumps.xlsx"] {
        let from = format!("{}/samples/outage/{name}", env!("CARGO_MANIFEST_DIR"));
        fs::copy(from, folder.path().join(name)).unwrap();
    }
    gapwright(folder.path(), &["kit", "stock.xlsx", "pumps.xlsx", "--quiet"]);
    folder
}

/// Day that is printed on a page.
fn day(page: &str) -> &str {
    let title = page.split("<title>").nth(1).unwrap().split("</title>").next().unwrap();
    title.rsplit(", ").next().unwrap()
}

/// File that the program writes on the day of a page.
fn slips(folder: &TempDir, page: &str, more: &[&str]) -> String {
    let call = ["--force", "--date", day(page), "--out", "own.html"];
    gapwright(folder.path(), &[more, &call].concat());
    fs::read_to_string(folder.path().join("own.html")).unwrap()
}

#[test]
fn the_page_prints_the_very_file_that_the_command_writes() {
    let (served, shop) = (served(), shop());
    let cookie = served.enter();
    let row = served
        .desk
        .look(|scratch| scratch.job().pumps.iter().find(|pump| pump.tag == "P-208").unwrap().row);
    let own = ["slips", "kit-plan.xlsx", "stock.xlsx", "pumps.xlsx"];
    let one = format!("slips=on&pump={row}");
    let sheet =
        "labels=on&sheet=own&columns=3&rows=8&width=70&height=37&left=0&top=0.5&across=&down=";
    for (asked, more) in [
        ("slips=on&labels=on&picking=on", &[][..]),
        ("slips=on&large=on", &["--only", "slips", "--large-drawings"]),
        ("picking=on", &["--only", "picking"]),
        (&one, &["--only", "slips", "--pump", "P-208"]),
        (
            sheet,
            &[
                "--only",
                "labels",
                "--labels",
                "3x8",
                "--label-size",
                "70x37",
                "--label-margin",
                "0x0.5",
            ],
        ),
    ] {
        let answer = get(&served, &cookie, &format!("/paper/print?{asked}"));
        assert_eq!(answer.status, 200, "{asked}: {}", answer.head);
        assert!(answer.body == slips(&shop, &answer.body, &[&own, more].concat()), "{asked}");
        // Its own policy, in the head as in the file; nothing may frame it.
        let policy = answer.body.split("Content-Security-Policy\" content=\"").nth(1).unwrap();
        let policy = policy.split('"').next().unwrap().replace("&#39;", "'");
        let told = format!("content-security-policy: {policy}; frame-ancestors 'none'\r\n");
        assert!(format!("{}\r\n", answer.head).contains(&told), "{told}: {}", answer.head);
        assert!(answer.head.contains("content-disposition: inline"), "{}", answer.head);
    }
    let saved = get(&served, &cookie, "/paper/print?slips=on&save=on");
    assert!(saved.head.contains("content-disposition: attachment; filename=\"slips-"));
    // Nobody who was not let in.
    assert_eq!(get(&served, "", "/paper/print?slips=on").status, 401);
}

#[test]
fn what_is_only_tried_is_not_printed_and_a_wrong_form_says_why() {
    let served = served();
    let cookie = served.enter();
    for (asked, why) in [
        ("sheet=plain", "Nothing is ticked"),
        ("labels=on&sheet=own&columns=3&rows=", "Labels on a sheet: fill in both fields."),
        (
            "labels=on&sheet=own&columns=three&rows=8&width=70&height=37&left=0",
            "First label, in mm: fill in both fields.",
        ),
        (
            "labels=on&sheet=own&columns=three&rows=8&width=70&height=37",
            "Labels on a sheet: found threex8. Expected columns and rows",
        ),
        ("labels=on&sheet=own&columns=4&rows=8&width=70&height=37", "at most 215.9 x 297 mm"),
        ("slips=on&pump=1", "None of these pumps is in the plan"),
    ] {
        let answer = get(&served, &cookie, &format!("/paper/print?{asked}"));
        assert!([409, 422].contains(&answer.status), "{asked}: {}", answer.status);
        assert!(answer.body.contains(why), "{asked}: {}", answer.body);
        assert!(!answer.body.contains("<article"), "{asked}");
    }
    let act = |body: Value| assert_eq!(served.act(&cookie, &body.to_string()).status, 200);
    let was = served.desk.look(|scratch| scratch.cell("P-101", "snapring"));
    act(json!({ "do": "edit", "since": 0, "edits": [edit("P-101", "snapring", &was, "0.0502")] }));
    served.planned();
    for path in ["/paper", "/paper/print?slips=on"] {
        let told = get(&served, &cookie, path);
        assert!(told.body.contains("what is only tried is not printed"), "{}", told.body);
        assert!(!told.body.contains("<article"));
    }
    assert_eq!(get(&served, &cookie, "/paper/print?slips=on").status, 409);
    act(json!({ "do": "discard", "since": 0 }));
    served.planned();
    assert_eq!(get(&served, &cookie, "/paper/print?slips=on").status, 200);
}

/// The plan that counts is printed, with its numbers; and of the next one what changed.
#[test]
fn of_an_outage_the_plan_that_counts_is_printed() {
    let shop = week();
    let page = Page::of(&shop.at("week.outage"));
    let ask = |path: &str| page.ask_for(path);
    planned(page.record());
    planned(page.what_if());
    let told = ask("/what-if/paper/print?slips=on");
    assert!(told.status == 409 && told.body.contains("What if is not printed"), "{}", told.body);
    // B went to the bench since plan 1: the plan at hand is another one.
    let told = ask("/record/paper/print?slips=on");
    assert!(told.status == 409 && told.body.contains("a preview of the next one"), "{}", told.body);
    let reading = edit("C", "bareclearance", "0.031", "0.0315");
    assert_eq!(page.ask("/record", "edit", &[reading], "1"), Vec::<Value>::new());
    planned(page.record());
    page.ask("/record", "enter", &[], "2");
    planned(page.record());
    let printed = ask("/record/paper/print?slips=on&labels=on&picking=on");
    assert_eq!(printed.status, 200, "{}", printed.body);
    assert_eq!(printed.body.matches("<article class=\"sheet\"").count(), 2, "A and C");
    assert!(printed.body.contains("week, plan 2 (replaces 1), ledger "));
    // `kit` has nothing to enter, and writes the workbook of this plan.
    let head = ledger(&shop.at("week.outage")).head();
    let kit = ["kit", "stock.csv", "pumps.csv", "--outage", "week.outage", "--out", "two.xlsx"];
    assert!(shop.output(&kit).status.success());
    assert_eq!(ledger(&shop.at("week.outage")).head(), head);
    let date = day(&printed.body).to_string();
    let call = ["slips", "two.xlsx", "stock.csv", "pumps.csv", "--outage", "week.outage"];
    let call = [&call[..], &["--date", &date]].concat();
    let output = shop.output(&call);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(printed.body.as_bytes() == shop.read("slips.html").unwrap());
    // C was measured again; A's bag stays closed, and its slip true; B's is in use.
    let changed = ask("/record/paper/print?slips=on&changed=on").body;
    assert_eq!(changed.matches("<article class=\"sheet\"").count(), 1);
    let list = changed.split("Slips that changed since plan ").nth(1).unwrap();
    let list: Vec<&str> = list.split("<p").skip(1).take(4).collect();
    let text = |at: usize| list[at].split_once('>').unwrap().1.split('<').next().unwrap();
    assert_eq!([text(0), text(1), text(2), text(3)], ["C", "C", "A", "B"]);
    assert!(ask("/record/paper").body.contains("Only what changed since plan 1"));
}

/// Smallest letters of a page, in points, as they would be printed: those of the drawings by the width of their picture.
const SMALLEST: &str = "
const sizes = [];
const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const text = walk.currentNode, of = text.parentElement;
  if (text.data.trim() && !of.closest('svg')) sizes.push(parseFloat(getComputedStyle(of).fontSize) * 0.75);
}
const pictures = [...document.querySelectorAll('svg.keyed')];
for (const picture of pictures) {
  const symbol = document.querySelector(picture.querySelector('use').getAttribute('href'));
  const scale = picture.getBoundingClientRect().width / symbol.viewBox.baseVal.width;
  for (const text of symbol.querySelectorAll('text')) sizes.push(parseFloat(getComputedStyle(text).fontSize) * scale * 0.75);
}
return [Math.min(...sizes), sizes.length, pictures.length];";

fn pages(pdf: &[u8]) -> usize {
    let text = String::from_utf8_lossy(pdf);
    text.lines().filter(|line| line.trim_end().ends_with("/Type /Page")).count()
}

fn filled_in(browser: &Browser, origin: &str) {
    browser.open(&format!("{origin}/paper"));
    browser.until("document.getElementById('paper').textContent.includes('28 pumps')");
    for name in ["labels", "picking"] {
        browser.run(&format!("document.querySelector('[name={name}]').click()"));
    }
}

#[test]
fn a_browser_prints_one_slip_a_page_in_letters_of_nine_points() {
    let Some(browser) = browser("printed_from_the_page", &[]) else { return };
    let served = served();
    browser.open(&served.link);
    browser.until("document.querySelector('nav a[href=\"/paper\"]')");
    filled_in(&browser, &served.origin());
    browser.run("document.querySelector('form.book button').click()");
    browser.until("document.querySelectorAll('article.sheet').length === 28");
    browser.devtools("Emulation.setEmulatedMedia", &json!({ "media": "print" }));
    browser.screen_of_paper();
    let found = browser.run(SMALLEST);
    let number = |at: usize| found[at].as_f64().unwrap();
    assert!(number(0) >= 9.0 - 1e-3, "{found}");
    assert!(number(1) > 2_000.0 && number(2) > 25.0, "{found}");
    for paper in [[8.27, 11.69], [8.5, 11.0]] {
        assert_eq!(pages(&browser.pdf(paper)), 28, "{paper:?}");
    }
    // Its style holds: nothing was refused by the policy.
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn the_form_is_without_barriers_at_every_width() {
    let Some(browser) = browser("form_of_paper", &[]) else { return };
    let served = served();
    browser.open(&served.link);
    browser.until("document.querySelector('nav a[href=\"/paper\"]')");
    for (width, dark) in [(1280, false), (800, true), (390, false)] {
        browser.screen(width, 1400, dark);
        for path in ["/paper", "/paper/print?labels=on&sheet=own&columns=3", "/begin"] {
            browser.open(&format!("{}{path}", served.origin()));
            browser.until("document.querySelector('form')");
            let wide = browser.run("return document.documentElement.scrollWidth - innerWidth");
            assert_eq!(wide, json!(0), "{path} at {width}");
            let name = path.split(['?', '/']).nth(1).unwrap_or_default();
            let kind = if path.contains("own") { "wrong" } else { name };
            browser.picture(&format!("form-{kind}-{width}.png"));
            let Some(axe) = std::env::var_os("GAPWRIGHT_AXE") else { continue };
            browser.run(&fs::read_to_string(axe).unwrap());
            let found = browser.run_waiting("const r = await axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }); return r.violations.map(v => `${v.id}: ${v.nodes[0].target} ${v.nodes[0].failureSummary}`);");
            assert_eq!(found, json!([]), "{path} at {width}");
        }
    }
}
