//! The pages of readings of an outage file: values tried, readings booked, plans entered. Held against the program's own
//! commands on the same files.

use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use gapwright::formats::plan::{PlanJson, parse};
use gapwright::json;
use gapwright::outage::{Booking, Circumstances, Outage};
use gapwright::outage_file::{BookError, OutageFile};
use gapwright::page::{Bounds, Desk, LedgerBoard};
use gapwright::scratch::Scratch;
use serde_json::{Value, json};

use crate::driver::{Browser, browser};
use crate::raw::{Answer, Site, talk};
use crate::scratch::sources;
use crate::shop::{Put, Shop, cells, change};

/// Runs the program well.
fn run(shop: &Shop, arguments: &[&str]) -> String {
    let output = shop.output(arguments);
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// The tiny sample, planned: A in its bag, B at the bench, C planned.
pub fn week() -> Shop {
    let shop = Shop::new();
    for name in ["stock.csv", "pumps.csv"] {
        fs::copy(format!("samples/tiny/{name}"), shop.at(name)).unwrap();
    }
    run(&shop, &["kit", "stock.csv", "pumps.csv", "--outage", "week.outage"]);
    run(&shop, &["book", "week.outage", "bag", "A", "B"]);
    run(&shop, &["book", "week.outage", "issue", "B"]);
    shop
}

/// The page of an outage file, looked at by one browser.
pub struct Page {
    board: Arc<LedgerBoard>,
    site: Site,
    cookie: String,
}

impl Page {
    pub fn of(path: &Path) -> Page {
        let board = Arc::new(LedgerBoard::open(path).unwrap().with_readings(2_000));
        let never = Bounds { disk: Duration::from_secs(3_600), ..Bounds::default() };
        let site = Site::of(board.clone(), never);
        let cookie = site.enter();
        Page { board, site, cookie }
    }

    fn get(&self, path: &str) -> String {
        let answer =
            talk(self.site.at, self.site.get(path, &[("Cookie", &self.cookie)]).as_bytes());
        assert_eq!(answer.status, 200, "{path}");
        answer.body
    }

    pub fn ask_for(&self, path: &str) -> Answer {
        talk(self.site.at, self.site.get(path, &[("Cookie", &self.cookie)]).as_bytes())
    }

    fn post(&self, base: &str, body: &Value) -> Answer {
        let origin = self.site.origin();
        let headers = [
            ("Cookie", self.cookie.as_str()),
            ("Origin", origin.as_str()),
            ("Content-Type", "application/json"),
        ];
        let path = format!("{base}/act");
        talk(self.site.at, self.site.request("POST", &path, &headers, &body.to_string()).as_bytes())
    }

    /// Asks as Kim; the refusals.
    pub fn ask(&self, base: &str, what: &str, edits: &[Value], request: &str) -> Vec<Value> {
        let body =
            json!({ "do": what, "since": 0, "edits": edits, "who": "Kim", "request": request });
        let answer = self.post(base, &body);
        assert_eq!(answer.status, 200, "{answer:?}");
        let told: Value = serde_json::from_str(&answer.body).unwrap();
        told["refused"].as_array().unwrap().clone()
    }

    pub fn record(&self) -> &Desk {
        self.board.record().unwrap()
    }

    pub fn what_if(&self) -> &Desk {
        self.board.what_if().unwrap()
    }
}

pub fn edit(tag: &str, key: &str, was: &str, now: &str) -> Value {
    json!({ "tag": tag, "key": key, "was": was, "now": now })
}

pub fn ledger(path: &Path) -> Outage {
    OutageFile::open(path).unwrap().outage().clone()
}

/// Readings in the ledger: number, pump, what, value, who.
fn booked(outage: &Outage) -> Vec<(u32, String, String, String)> {
    let measured = outage.entries().iter().filter_map(|entry| match &entry.booking {
        Booking::Measured { tag, value, .. } => {
            Some((entry.number, tag.clone(), value.clone(), entry.facts.who.clone()))
        }
        _ => None,
    });
    measured.collect()
}

/// Plan of a desk, made if it is not there yet.
pub fn planned(desk: &Desk) -> PlanJson {
    desk.plan();
    assert!(desk.is_planned());
    desk.look(|scratch| json::plan(scratch.planned().unwrap()))
}

/// Row of a pump on a page.
fn row<'a>(board: &'a str, tag: &str) -> &'a str {
    let row = board.split(&format!("data-tag=\"{tag}\"")).nth(1);
    row.unwrap_or_else(|| panic!("no row of {tag}")).split("</tr>").next().unwrap()
}

/// Pumps that are measured after the others are packed, each with its row in the workbook.
const LATE: [(&str, u32); 3] = [("P-104", 8), ("P-203", 19), ("P-208", 24)];

/// Twenty-four bags are packed; then three gaps are typed into the page. What it shows is what `kit --outage` says of the
/// same files, field by field, and the plan that is entered is the one that `kit` would enter.
#[test]
fn with_bags_the_page_plans_as_kit_does() {
    let shop = Shop::new();
    for name in ["stock.xlsx", "pumps.xlsx"] {
        fs::copy(format!("samples/outage/{name}"), shop.at(name)).unwrap();
    }
    let known = cells(&shop.at("pumps.xlsx"), "Pumps");
    for (tag, at) in LATE {
        assert_eq!(known[&(at - 1, 0)], tag);
        let gone = ["J", "K", "L", "M"].map(|column| (format!("{column}{at}"), Put::Nothing));
        change(&shop.at("pumps.xlsx"), "Pumps", &gone);
    }
    let kit = ["kit", "stock.xlsx", "pumps.xlsx", "--outage", "w.outage"];
    run(&shop, &[&kit[..], &["--out", "one.xlsx"]].concat());
    let planned_tags: Vec<String> = ledger(&shop.at("w.outage"))
        .pumps()
        .filter(|pump| pump.kit.is_some())
        .map(|pump| pump.tag.clone())
        .collect();
    let bag: Vec<&str> = planned_tags.iter().map(String::as_str).collect();
    run(&shop, &[&["book", "w.outage", "bag"], &bag[..]].concat());

    let page = Page::of(&shop.at("w.outage"));
    let whole = Scratch::open(sources("outage", "xlsx")).unwrap();
    let keys: Vec<String> = page
        .record()
        .look(|scratch| scratch.headings().iter().map(|heading| heading.key.clone()).collect());
    let mut edits = Vec::new();
    for (tag, _) in LATE {
        for key in &keys {
            let (now, was) =
                (whole.cell(tag, key), page.record().look(|scratch| scratch.cell(tag, key)));
            if now != was {
                edits.push(edit(tag, key, &was, &now));
            }
        }
    }
    assert_eq!(edits.len(), 12);
    let head = ledger(&shop.at("w.outage")).head().number;
    assert_eq!(page.ask("/record", "edit", &edits, "late"), Vec::<Value>::new());
    let after = ledger(&shop.at("w.outage"));
    let all = booked(&after);
    assert_eq!(all.len(), 12);
    assert!(
        all.iter().all(|(number, _, value, who)| *number > head
            && value.ends_with(" in")
            && who == "Kim")
    );

    let shown = planned(page.record());
    // The same files, in a copy: `kit` enters its plan.
    fs::copy(shop.at("w.outage"), shop.at("copy.outage")).unwrap();
    let kit_on = |outage: &str, json: &str| {
        let out = format!("{json}.xlsx");
        let call = ["kit", "stock.xlsx", "pumps.xlsx", "--outage", outage, "--out", &out];
        run(&shop, &[&call[..], &["--json", json]].concat());
        parse(&shop.read(json).unwrap()).unwrap()
    };
    let told = kit_on("copy.outage", "two.json");
    assert_eq!(shown.pumps.len(), told.pumps.len());
    for (shown, told) in shown.pumps.iter().zip(&told.pumps) {
        assert_eq!(*shown, gapwright::formats::plan::PumpJson { kit: None, ..told.clone() });
    }
    assert_eq!(
        (&shown.plan, &shown.waste, &shown.goals, &shown.sums, &shown.stock, &shown.not_measured),
        (&told.plan, &told.waste, &told.goals, &told.sums, &told.stock, &told.not_measured)
    );
    assert!(shown.proven && told.sums.served == 27);

    let board = page.get("/record");
    assert!(board.contains("Bags reopened</dt><dd>1</dd>"), "{board}");
    assert!(board.contains("27 of 28 pumps"));
    for pump in &told.pumps {
        let row = row(&board, &pump.tag);
        assert_eq!(row.contains("its bag stays closed"), pump.bag_stays_closed, "{row}");
        assert_eq!(row.contains("NOT FIT TO ASSEMBLE"), !pump.served, "{row}");
        for piece in pump.packs.values().flat_map(|pack| &pack.pieces) {
            assert!(row.contains(&format!("{} x {}", piece.count, piece.item)), "{row}");
        }
    }
    assert_eq!(board.matches("its bag is to be reopened").count(), 1);
    assert!(board.contains("is a preview: plan 1 counts until it is entered"));

    // Entered, it is the plan that `kit` entered in the copy, with the same numbers of kits.
    assert_eq!(page.ask("/record", "enter", &[], "enter"), Vec::<Value>::new());
    let [own, copy] = ["w.outage", "copy.outage"].map(|name| ledger(&shop.at(name)));
    let plan = |outage: &Outage| outage.last_plan().map(|plan| (plan.number, plan.code.clone()));
    assert_eq!(plan(&own), plan(&copy));
    assert!(own.pumps().eq(copy.pumps()));
    page.ask("/record", "enter", &[], "enter");
    assert_eq!(ledger(&shop.at("w.outage")).head(), own.head(), "asked again, entered once");
    assert_eq!(planned(page.record()).plan, told.plan);
    assert!(page.get("/record").contains("is the one that counts"));
    // `kit` has nothing to add, and writes the workbook of it.
    assert_eq!(kit_on("w.outage", "three.json").plan, told.plan);
    assert_eq!(ledger(&shop.at("w.outage")).head(), own.head());
}

#[test]
fn a_reading_is_booked_once_and_taken_back_by_a_counter_entry() {
    let shop = week();
    let path = shop.at("week.outage");
    let page = Page::of(&path);
    planned(page.record());
    let head = ledger(&path).head().number;
    let of_c = |was: &str, now: &str| edit("C", "bareclearance", was, now);

    // Nobody's booking, a value that cannot be read, and a cell that is no reading.
    let nameless = json!({ "do": "edit", "since": 0, "edits": [of_c("0.031", "0.0315")] });
    let answer: Value = serde_json::from_str(&page.post("/record", &nameless).body).unwrap();
    assert!(answer["refused"][0]["why"].as_str().unwrap().contains("type your name"), "{answer}");
    let refused = page.ask("/record", "edit", &[of_c("0.031", "wide")], "1");
    assert!(refused[0]["why"].as_str().unwrap().contains("`wide`"), "{refused:?}");
    let refused = page.ask("/record", "edit", &[edit("C", "priority", "1", "2")], "2");
    assert!(refused[0]["why"].as_str().unwrap().contains("no reading"), "{refused:?}");
    assert!(refused[0]["why"].as_str().unwrap().ends_with("It stays 1."), "{refused:?}");
    assert_eq!(ledger(&path).head().number, head);

    assert_eq!(page.ask("/record", "edit", &[of_c("0.031", "0.0315")], "3"), Vec::<Value>::new());
    let after = ledger(&path);
    let told = [(head + 1, "C".to_string(), "0.0315 in".to_string(), "Kim".to_string())];
    assert_eq!(booked(&after), told);
    // As the command books it.
    let twin = shop.at("twin.outage");
    fs::copy(&path, &twin).unwrap();
    run(&shop, &["book", "twin.outage", "undo", &(head + 1).to_string()]);
    run(&shop, &["book", "twin.outage", "reading", "C", "bare clearance", "0.0315 in"]);
    assert_eq!(
        ledger(&twin).entries().last().unwrap().booking,
        after.entries()[head as usize].booking
    );
    // A retry gets the old receipt.
    assert_eq!(page.ask("/record", "edit", &[of_c("0.031", "0.0315")], "3"), Vec::<Value>::new());
    assert_eq!(ledger(&path).head(), after.head());
    let board = page.get("/record");
    assert!(row(&board, "C").contains("0.0315 in") && row(&board, "C").contains("booked"));
    let twice = planned(page.record());
    let status = run(
        &shop,
        &["kit", "stock.csv", "pumps.csv", "--outage", "twin.outage", "--json", "-", "--force"],
    );
    assert_eq!(twice.plan, parse(status.as_bytes()).unwrap().plan);

    // Taken back, once.
    page.ask("/record", "undo", &[], "4");
    page.ask("/record", "undo", &[], "4");
    let back = ledger(&path);
    assert_eq!(back.head().number, head + 2);
    assert_eq!(back.entries().last().unwrap().booking, Booking::Undo { entry: head + 1 });
    assert!(back.is_undone(head + 1));
    page.record().look(|scratch| assert_eq!(scratch.cell("C", "bareclearance"), "0.031"));
}

#[test]
fn what_another_booked_meanwhile_is_said() {
    let shop = week();
    let path = shop.at("week.outage");
    let page = Page::of(&path);
    planned(page.record());
    let tried = edit("C", "snapring", "0.050", "0.0502");
    assert_eq!(page.ask("/what-if", "edit", &[tried], "1"), Vec::<Value>::new());
    planned(page.what_if());
    run(
        &shop,
        &["book", "week.outage", "reading", "C", "bare clearance", "0.0312 in", "--by", "Sam"],
    );
    let head = ledger(&path).head().number;
    // The page has not looked yet.
    let edits = [edit("C", "bareclearance", "0.031", "0.0315")];
    let refused = page.ask("/record", "edit", &edits, "2");
    let why = refused[0]["why"].as_str().unwrap();
    let entry =
        format!("booked meanwhile: entry {head}, reading C bare clearance: 0.0312 in, by Sam");
    assert!(why.contains(&entry) && why.ends_with("It stays 0.0312 in."), "{why}");
    assert_eq!(ledger(&path).head().number, head);
    // Decided before that entry, nothing is booked, whatever it is.
    let mut file = OutageFile::open(&path).unwrap();
    let receive = Booking::Receive { item: "S10".into(), count: 1 };
    let late = |end| {
        vec![(
            Circumstances { request: format!("{end}"), ..Circumstances::default() },
            receive.clone(),
        )]
    };
    let refused = file.book_at(head - 1, late(head - 1), &Vec::new()).unwrap_err();
    assert!(
        matches!(refused, BookError::Refused(why) if why[0].1.found.contains("booked meanwhile"))
    );
    assert_eq!(ledger(&path).head().number, head);
    assert_eq!(file.book_at(head, late(head), &Vec::new()).unwrap()[0].entry.number, head + 1);
    let before = page.what_if().look(Scratch::revision);
    page.board.look_at_disk();
    let board = page.get("/what-if");
    assert!(board.contains(&format!("<li>entry {head}, reading C bare clearance")), "{board}");
    page.what_if().look(|scratch| {
        assert_eq!(scratch.cell("C", "bareclearance"), "0.0312 in");
        assert_eq!(scratch.cell("C", "snapring"), "0.0502", "what is tried stays");
    });
    assert_ne!(page.what_if().look(Scratch::revision), before, "all is planned again");
    planned(page.what_if());
    page.ask("/what-if", "acknowledge", &[], "");
    assert!(!page.get("/what-if").contains("The outage moved on"));
}

#[test]
fn what_is_tried_is_booked_whole_and_only_when_told() {
    let shop = week();
    let path = shop.at("week.outage");
    let page = Page::of(&path);
    let before = fs::read(&path).unwrap();
    let edits = [
        edit("C", "bareclearance", "0.031", "0.0312"),
        edit("C", "priority", "1", "2"),
        edit("A", "snapring", "0.050", "0.0501"),
    ];
    assert_eq!(page.ask("/what-if", "edit", &edits, "1"), Vec::<Value>::new());
    planned(page.what_if());
    let board = page.get("/what-if");
    assert!(board.contains("<strong>What if</strong>: a scratch copy of week.outage"), "{board}");
    assert!(board.contains("<h1>What if: week.outage</h1>"));
    assert_eq!(board.matches("\"mark\">what if<").count(), 3);
    assert_eq!(fs::read(&path).unwrap(), before, "nothing is booked");
    let head = ledger(&path).head().number;
    page.ask("/what-if", "book-all", &[], "2");
    page.ask("/what-if", "book-all", &[], "2");
    let after = ledger(&path);
    assert_eq!(after.head().number, head + 2, "asked twice, booked once");
    let mut tags: Vec<_> =
        booked(&after).into_iter().map(|(_, tag, value, _)| (tag, value)).collect();
    tags.sort();
    assert_eq!(tags, [("A".into(), "0.0501 in".into()), ("C".into(), "0.0312 in".to_string())]);
    // One moment and one person: one transaction.
    let board = page.get("/what-if");
    assert!(board.contains("which is no reading") && board.contains("It stays 2."), "{board}");
    page.what_if().look(|scratch| {
        assert_eq!((scratch.edited(), scratch.cell("C", "priority")), (1, "2".to_string()));
    });
    page.board.look_at_disk();
    page.record().look(|scratch| assert_eq!(scratch.cell("C", "bareclearance"), "0.0312 in"));

    // One that cannot be booked, and none of them is: C is withdrawn.
    run(&shop, &["book", "week.outage", "cancel", "C"]);
    page.board.look_at_disk();
    let edits = [
        edit("C", "bareclearance", "0.0312 in", "0.0313"),
        edit("A", "snapring", "0.0501 in", "0.0502"),
    ];
    page.ask("/what-if", "edit", &edits, "3");
    let head = ledger(&path).head();
    page.ask("/what-if", "book-all", &[], "4");
    assert_eq!(ledger(&path).head(), head);
    assert!(page.get("/what-if").contains("which is cancelled"));
    page.what_if().look(|scratch| assert_eq!(scratch.edited(), 3));
}

/// A reading of a pump at the bench is changed: its pieces are judged on it, and the STOP stands first.
#[test]
fn a_pump_at_the_bench_is_judged_on_what_is_read_today() {
    let shop = week();
    let page = Page::of(&shop.at("week.outage"));
    planned(page.what_if());
    let board = page.get("/what-if");
    assert!(
        row(&board, "B").contains("data-state=\"left-alone\"")
            && row(&board, "B").contains("issued")
    );
    assert!(!board.contains("<h2>STOP</h2>"));
    page.ask("/what-if", "edit", &[edit("B", "bareclearance", "0.051", "0.061")], "1");
    planned(page.what_if());
    let board = page.get("/what-if");
    let stop = board.find("<h2>STOP</h2>").expect("a stop");
    assert!(
        stop < board.find("id=\"mode\"").unwrap() && stop < board.find("id=\"figures\"").unwrap()
    );
    let stops = board[stop..].split("</section>").next().unwrap();
    assert!(stops.contains("<strong>B</strong>, issued, NOT FIT TO ASSEMBLE: "), "{stops}");
    assert!(row(&board, "B").contains("data-state=\"not-fit\""));
    // Booked, the ledger says so too, and the plan that is entered judges it.
    page.ask("/record", "edit", &[edit("B", "bareclearance", "0.051", "0.061")], "2");
    planned(page.record());
    assert!(page.get("/record").contains("<strong>B</strong>, issued, NOT FIT TO ASSEMBLE"));
    page.ask("/record", "enter", &[], "3");
    let outage = ledger(&shop.at("week.outage"));
    assert!(outage.pump("B").unwrap().stop().is_some_and(|why| why.contains("unning clearance")));
}

/// Plates were cut since the workbooks were taken over, so the plan knows a lot that they do not: a kit that is held keeps
/// its pieces of that lot, and no other plate is cut for it.
#[test]
fn a_kit_from_a_plate_that_was_cut_is_held_by_its_own_pieces() {
    let shop = Shop::new();
    fs::create_dir(shop.at("stock")).unwrap();
    shop.write(
        "stock/Stock.csv",
        "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost\n\
         S20,shim,F1,0.020,0.0002,4,2.00\nS19,shim,F1,0.019,0.0002,4,2.00\n",
    );
    shop.write(
        "stock/Plate.csv",
        "Item,Kind,Thickness (in),Tolerance (in),Length (in),Width (in),On hand,Unit cost\n\
         GS-104,gasket,0.104,0.0005,30,20,1,30\nGS-105,gasket,0.105,0.0005,30,20,2,30\n",
    );
    shop.write("stock/Fit.csv", "Fit,Outside diameter (in),Inside diameter (in)\nF6,6,4\n");
    let heads = "Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n";
    let pumps = ["A", "B"].map(|tag| format!("{tag},screwed-impeller,F1,F6,0.041,0.050\n"));
    shop.write("pumps.csv", &[heads, &pumps.concat()].concat());
    run(&shop, &["kit", "stock", "pumps.csv", "--outage", "w.outage"]);
    let cut = ledger(&shop.at("w.outage")).plates_to_cut().next().unwrap().plate.clone();
    run(&shop, &["book", "w.outage", "cut", &cut]);
    let lot = format!("{cut}/F6");

    let page = Page::of(&shop.at("w.outage"));
    let first = planned(page.what_if());
    let own = |plan: &PlanJson| {
        let pump = plan.pumps.iter().find(|pump| pump.tag == "A").unwrap();
        let pieces = pump.packs.values().flat_map(|pack| &pack.pieces);
        let mut pieces: Vec<(String, u32)> =
            pieces.map(|piece| (piece.item.clone(), piece.count)).collect();
        pieces.sort();
        (pump.served, pieces)
    };
    assert!(own(&first).1.iter().any(|(item, _)| *item == lot), "{:?}", own(&first));
    let row = page
        .what_if()
        .look(|scratch| scratch.job().pumps.iter().find(|pump| pump.tag == "A").unwrap().row);
    let hold = json!({ "do": "hold", "since": 0, "pump": row, "kit": "at-hand", "who": "Kim", "request": "1" });
    let answer = page.post("/what-if", &hold);
    assert!(answer.status == 200 && answer.body.contains("\"refused\":[]"), "{answer:?}");
    page.what_if().look(|scratch| assert!(scratch.is_held("A")));
    let held = planned(page.what_if());
    assert_eq!(own(&held), own(&first));
    assert!(held.sheets.iter().all(|sheet| sheet.layouts.is_empty()), "another plate is cut");
}

#[test]
fn text_of_a_workbook_or_a_booking_is_text() {
    let shop = Shop::new();
    fs::copy("samples/tiny/stock.csv", shop.at("stock.csv")).unwrap();
    let text = fs::read_to_string("samples/tiny/pumps.csv").unwrap();
    let nasty = "<script>alert(1)</script>";
    shop.write("pumps.csv", &text.replace("\nA,", &format!("\n{nasty},")));
    run(&shop, &["kit", "stock.csv", "pumps.csv", "--outage", "week.outage"]);
    let page = Page::of(&shop.at("week.outage"));
    planned(page.record());
    let edits = [edit(nasty, "bareclearance", "0.041", "0.0411")];
    let body = json!({ "do": "edit", "since": 0, "edits": edits, "who": "<img src=x onerror=alert(2)>", "request": "1" });
    let answer = page.post("/record", &body);
    page.board.look_at_disk();
    planned(page.what_if());
    let at = page
        .record()
        .look(|scratch| scratch.job().pumps.iter().find(|pump| pump.tag == nasty).unwrap().row);
    let paths = ["/", "/record", "/what-if", "/record/drawers", "/what-if/drawers"];
    let pump = format!("/what-if/pump/{at}");
    for path in paths.into_iter().chain([pump.as_str()]) {
        let text = page.get(path);
        assert!(!text.contains("<script>alert") && !text.contains("<img src=x"), "{path}: {text}");
        assert!(!text.contains(shop.at("").to_str().unwrap().trim_end_matches('/')), "{path}");
    }
    assert!(!answer.body.contains("<script>alert") && answer.body.contains("&lt;script&gt;"));
    assert!(page.get("/what-if").contains("by &lt;img src=x onerror=alert(2)&gt;"));
}

#[test]
fn an_outage_whose_workbooks_cannot_be_read_says_why() {
    let shop = week();
    let path = shop.at("empty.outage");
    drop(OutageFile::begin(&path).unwrap());
    let page = Page::of(&path);
    assert!(page.get("/record").contains("No workbook was taken over yet"));
    assert!(page.get("/what-if").contains("No workbook was taken over yet"));
    assert!(page.get("/").contains("No plan yet"));
}

fn ready(browser: &Browser) {
    browser.until("document.querySelector('[role=grid] tbody [tabindex=\"0\"]')");
}

fn text(tag: &str, key: &str) -> String {
    format!("document.querySelector('tr[data-tag=\"{tag}\"] [data-key=\"{key}\"] .v').textContent")
}

fn focus(browser: &Browser, tag: &str, key: &str) {
    browser.run(&format!("const c = document.querySelector('tr[data-tag=\"{tag}\"] [data-key=\"{key}\"]'); c.tabIndex = 0; c.focus();"));
}

#[test]
fn readings_are_booked_from_two_windows() {
    let (Some(one), Some(two)) = (browser("booked_one", &[]), browser("booked_two", &[])) else {
        return;
    };
    let shop = week();
    let path = shop.at("week.outage");
    let board = Arc::new(LedgerBoard::open(&path).unwrap().with_readings(2_000));
    let often = Bounds { disk: Duration::from_millis(50), ..Bounds::default() };
    let site = Site::of(board, often);
    one.open(&site.link);
    two.open(&site.second_link());
    let head = ledger(&path).head().number;
    one.open(&format!("{}/record", site.origin()));
    ready(&one);
    // Without a name nothing is booked.
    focus(&one, "C", "bareclearance");
    one.keys(&["0.0315", "Enter"]);
    one.until("document.getElementById('live').textContent.includes('type your name')");
    assert_eq!(one.run(&format!("return {}", text("C", "bareclearance"))), json!("0.031"));
    one.run("document.getElementById('who').focus()");
    one.keys(&["Kim"]);
    focus(&one, "C", "bareclearance");
    one.keys(&["0.0315", "Enter"]);
    one.until(&format!("{} === '0.0315 in'", text("C", "bareclearance")));
    assert_eq!(
        booked(&ledger(&path)),
        [(head + 1, "C".into(), "0.0315 in".into(), "Kim".to_string())]
    );
    // Priority is the workbook's.
    assert_eq!(one.run("return document.querySelectorAll('[data-key=priority]').length"), json!(0));
    // The name is kept, and the other window has its own; what the first booked is news to the trial.
    two.open(&format!("{}/what-if", site.origin()));
    ready(&two);
    two.until(&format!("{} === '0.0315 in'", text("C", "bareclearance")));
    assert_eq!(two.run("return document.getElementById('who').value"), json!(""));
    focus(&two, "A", "bareclearance");
    two.keys(&["0.101", "Enter"]);
    two.until(
        "document.querySelector('tr[data-tag=A] .word').textContent === 'NOT FIT TO ASSEMBLE'",
    );
    one.open(&format!("{}/record", site.origin()));
    ready(&one);
    assert_eq!(one.run("return document.getElementById('who').value"), json!("Kim"));
    focus(&one, "C", "snapring");
    one.keys(&["0.0501", "Enter"]);
    two.until(&format!("{} === '0.0501 in'", text("C", "snapring")));
    two.until("document.querySelector('#mode .news')?.textContent.includes('by Kim')");
    assert_eq!(two.run(&format!("return {}", text("A", "bareclearance"))), json!("0.101"));
    // Entered, the plan counts.
    one.until("document.querySelector('[data-do=enter]:not(:disabled)')");
    one.run("document.querySelector('[data-do=enter]').click()");
    one.until("document.getElementById('mode').textContent.includes('is the one that counts')");
    assert_eq!(ledger(&path).last_plan().unwrap().number, 2);
    for (window, name) in [(&one, "record"), (&two, "what-if")] {
        for (width, dark) in [(1280, false), (800, false), (390, true)] {
            window.screen(width, 900, dark);
            window.open(&format!("{}/{name}", site.origin()));
            ready(window);
            window.picture(&format!("{name}-{width}.png"));
            let wide = window.run("return document.documentElement.scrollWidth - innerWidth");
            assert_eq!(wide, json!(0), "{name} {width}");
        }
        let Some(axe) = std::env::var_os("GAPWRIGHT_AXE") else { continue };
        window.run(&fs::read_to_string(axe).unwrap());
        let found = window.run_waiting("const r = await axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }); return r.violations.map(v => `${v.id}: ${v.nodes[0].target}`);");
        assert_eq!(found, json!([]), "{name}");
    }
    assert_eq!([one.complaints(), two.complaints()].concat(), Vec::<String>::new());
}
