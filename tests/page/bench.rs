//! The bench, by raw bytes and in a browser: its figures are those of the slip, its verdict that of `recheck`.

use std::fs;
use std::path::Path;

use gapwright::outage::PumpState;
use gapwright::outage_file::OutageFile;
use serde_json::json;

use crate::bookings::{book, coded, entries, hidden, read, send, site};
use crate::driver::{Browser, browser};
use crate::ledger::{gapwright, page};
use crate::raw::{Site, talk};

const PUMPS: &str =
    "Tag,Model,Priority,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n";

/// The tiny sample with feeler blades, a spare gasket, and the bags of B and C at the bench.
fn week() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let stock = folder.path().join("stock");
    fs::create_dir(&stock).unwrap();
    let tiny = format!("{}/samples/tiny/stock.csv", env!("CARGO_MANIFEST_DIR"));
    let text = fs::read_to_string(tiny)
        .unwrap()
        .replace("G90,gasket,F1,0.090,0.0005,1", "G90,gasket,F1,0.090,0.0005,2")
        .replace("G105,gasket,F1,0.105,0.0005,1", "G105,gasket,F1,0.105,0.0005,2");
    fs::write(stock.join("Stock.csv"), text).unwrap();
    fs::write(
        stock.join("Feelers.csv"),
        "Thickness (in),Tolerance (in)\n0.0195,0.0001\n0.0225,0.0001\n",
    )
    .unwrap();
    pumps(folder.path(), "0.031");
    plan(folder.path());
    gapwright(folder.path(), &["book", "week.outage", "bag", "B", "C"]);
    gapwright(folder.path(), &["book", "week.outage", "issue", "B", "C"]);
    folder
}

fn pumps(folder: &Path, of_c: &str) {
    let rows = format!(
        "B,screwed-impeller,1,F1,F1,0.051,0.050\nA,screwed-impeller,1,F1,F1,0.041,0.050\nC,screwed-impeller,1,F1,F1,{of_c},0.050\n"
    );
    fs::write(folder.join("pumps.csv"), format!("{PUMPS}{rows}")).unwrap();
}

fn plan(folder: &Path) {
    let kit =
        ["kit", "stock", "pumps.csv", "--outage", "week.outage", "--date", "2027-03-01", "--force"];
    gapwright(folder, &kit);
}

/// Code of the slip of a pump.
fn code(folder: &Path, tag: &str) -> String {
    let file = OutageFile::open(&folder.join("week.outage")).unwrap();
    let plan = &file.outage().last_plan().unwrap().code;
    let kit = file.outage().pump(tag).unwrap().kit.as_ref().unwrap().number;
    format!("gapwright:2 {plan} {kit} {tag}")
}

fn state(folder: &Path, tag: &str) -> PumpState {
    OutageFile::open(&folder.join("week.outage")).unwrap().outage().pump(tag).unwrap().state
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Texts of a slip's paragraphs that say what to read and when to stop.
fn of_slip(html: &str, tag: &str) -> Vec<String> {
    let slip = html
        .split("<article")
        .find(|part| part.contains(&format!(": pump <b class=\"t26\">{tag}</b>")));
    let slip = slip.unwrap_or_else(|| panic!("no slip of {tag}"));
    let texts = slip.split("<p").skip(1).map(|part| {
        let text = part.split_once('>').unwrap().1.split("</p>").next().unwrap();
        squeezed(&read(text))
    });
    let marks = ["ACCEPT", "Expected micrometer reading", "STOP", "Feeler blades"];
    texts.filter(|text| marks.iter().any(|mark| text.contains(mark))).collect()
}

#[test]
fn it_shows_the_figures_of_the_slip() {
    let week = week();
    let slips = [
        "slips",
        "kit-plan.xlsx",
        "stock",
        "pumps.csv",
        "--outage",
        "week.outage",
        "--out",
        "slips.html",
    ];
    gapwright(week.path(), &slips);
    let printed = fs::read_to_string(week.path().join("slips.html")).unwrap();
    let (site, cookie) = site(week.path());
    for tag in ["B", "C"] {
        let code = code(week.path(), tag);
        let asked = site.get(&format!("/bench?code={}", coded(&code)), &[("Cookie", &*cookie)]);
        let answer = talk(site.at, asked.as_bytes());
        assert_eq!(answer.status, 303, "{answer:?}");
        let onward = answer.head.lines().find_map(|line| line.strip_prefix("location: ")).unwrap();
        let bench = squeezed(&read(&page(&site, &cookie, onward)));
        let wanted = of_slip(&printed, tag);
        assert!(wanted.len() >= 6, "{wanted:?}");
        for text in wanted {
            assert!(bench.contains(&text), "{text}: {bench}");
        }
        assert!(bench.contains("GO 0.0195 in") && bench.contains("NO-GO 0.0225 in"), "{bench}");
        // Cautions stand where the step is.
        for caution in [
            "Isolate, lock out and drain",
            "Measure the finished pack",
            "rotation with the coupling apart",
        ] {
            assert!(bench.contains(caution), "{caution}");
        }
    }
}

/// With the address of the shop's page, a slip's code is a link to the bench that lets nobody in by itself.
#[test]
fn slips_carry_a_link_where_the_page_has_an_address() {
    let week = week();
    let (site, cookie) = site(week.path());
    let origin = site.origin();
    let slips = [
        "slips",
        "kit-plan.xlsx",
        "stock",
        "pumps.csv",
        "--outage",
        "week.outage",
        "--only",
        "slips",
        "--page-address",
        &origin,
    ];
    gapwright(week.path(), &slips);
    let printed = fs::read_to_string(week.path().join("slips.html")).unwrap();
    let codes =
        printed.split("aria-label=\"Code: ").skip(1).map(|part| part.split('"').next().unwrap());
    let link = codes.map(read).find(|code| code.ends_with("%20B")).expect("a link to B");
    let path = link.strip_prefix(&origin).unwrap();
    assert_eq!(
        path,
        format!("/bench?code={}", gapwright::plain_text::in_address(&code(week.path(), "B")))
    );
    assert_eq!(talk(site.at, site.get(path, &[]).as_bytes()).status, 401, "no cookie");
    assert_eq!(talk(site.at, site.get(path, &[("Cookie", &*cookie)]).as_bytes()).status, 303);
    // Its words stand on it all the same.
    assert!(printed.contains(&format!("Code: {}", code(week.path(), "B"))));
}

#[test]
fn a_slip_that_does_not_count_is_a_stop() {
    let week = week();
    let old = code(week.path(), "A");
    let issued = code(week.path(), "B");
    let stop = |site: &Site, cookie: &str, code: &str, words: &str| {
        let asked = site.get(&format!("/bench?code={}", coded(code)), &[("Cookie", cookie)]);
        let mut answer = talk(site.at, asked.as_bytes());
        if answer.status == 303 {
            let to = answer.head.lines().find_map(|line| line.strip_prefix("location: ")).unwrap();
            answer = talk(site.at, site.get(to, &[("Cookie", cookie)]).as_bytes());
        }
        let text = squeezed(&read(&answer.body));
        assert_eq!(answer.status, 409, "{code}: {text}");
        assert!(
            text.contains("STOP: this slip does not count") && text.contains(words),
            "{words}: {text}"
        );
        assert!(!answer.body.contains("name=\"pack-0\""), "nothing can be read by it");
        answer.body
    };
    let (site, cookie) = site(week.path());
    stop(&site, &cookie, "gapwright:2 0123456789ab 1 B", "a slip of the plan 0123456789ab");
    stop(&site, &cookie, &issued.replace(" B", " X"), "a slip of the pump `X`");
    // Its pieces stay, and its limits move.
    let rows = fs::read_to_string(week.path().join("pumps.csv")).unwrap();
    fs::write(
        week.path().join("pumps.csv"),
        rows.replace("A,screwed-impeller,1,F1,F1,0.041", "A,screwed-impeller,1,F1,F1,0.0413"),
    )
    .unwrap();
    plan(week.path());
    assert_eq!(code(week.path(), "A").split(' ').nth(2), old.split(' ').nth(2), "one kit");
    let body = stop(&site, &cookie, &old, "printed before its figures changed");
    assert!(read(&body).contains("0.0413 in, on the slip 0.0410 in"), "{}", read(&body));
    assert!(body.contains("href=\"/bench/A\""), "{body}");
    // A pump at the bench is none of the new plan: its slip counts.
    let asked = site.get(&format!("/bench?code={}", coded(&issued)), &[("Cookie", &*cookie)]);
    assert_eq!(talk(site.at, asked.as_bytes()).status, 303);
    page(&site, &cookie, &format!("/bench/B?code={}", coded(&issued)));
    // Other pieces: another kit.
    fs::write(
        week.path().join("pumps.csv"),
        rows.replace("A,screwed-impeller,1,F1,F1,0.041", "A,screwed-impeller,1,F1,F1,0.031"),
    )
    .unwrap();
    plan(week.path());
    stop(&site, &cookie, &old, "the slip of kit 4, which A has now");
}

/// Readings of a form, by the names of its fields.
fn reads(site: &Site, cookie: &str, tag: &str, fields: &[(&str, &str)]) -> (u16, String) {
    let answer = book(site, cookie, &format!("/bench/{tag}"), fields);
    (answer.status, squeezed(&read(&answer.body)))
}

#[test]
fn readings_are_booked_judged_and_signed_off() {
    let week = week();
    let (site, cookie) = site(week.path());
    let before = entries(week.path()).len();
    // Not a reading, and nothing of the form is booked.
    let (status, text) = reads(
        &site,
        &cookie,
        "B",
        &[("what", "read"), ("pack-0", "0.030"), ("clearance-0", "0,02l")],
    );
    assert!(status == 409 && text.contains("`0,02l`"), "{text}");
    // A thousand times too large, in a field of inches.
    let (status, text) = reads(&site, &cookie, "B", &[("what", "read"), ("clearance-0", "21.2")]);
    assert!(
        status == 409 && text.contains("`21.2`, which is 21.2") && text.contains("21.2 thou"),
        "{text}"
    );
    let (status, text) = reads(&site, &cookie, "B", &[("what", "accept"), ("who", "")]);
    assert!(status == 409 && text.contains("the name of the person who signs it off"), "{text}");
    assert_eq!(entries(week.path()).len(), before);
    // With its unit it is taken; the decimal comma too.
    let fields = [
        ("what", "read"),
        ("pack-0", "0,0300"),
        ("clearance-0", "21.2"),
        ("clearance-0-unit", "thou"),
        ("who", "Kim"),
    ];
    let (status, text) = reads(&site, &cookie, "B", &fields);
    assert!(
        status == 200 && text.contains("Verdict: accept") && text.contains("Booked: 21.2 thou"),
        "{text}"
    );
    let made = entries(week.path());
    assert_eq!(made.len(), before + 2);
    assert!(
        made[before..]
            .iter()
            .all(|entry| entry.booking.word() == "reading" && entry.facts.who == "Kim")
    );
    let (status, text) = reads(&site, &cookie, "B", &[("what", "accept"), ("who", "Kim")]);
    assert!(status == 200 && text.contains("B: accepted"), "{text}");
    assert_eq!(state(week.path(), "B"), PumpState::Accepted);
    // Between two blades, and done in one go.
    let fields = [
        ("what", "accept"),
        ("pack-0", "0.010"),
        ("clearance-0", "0.0205"),
        ("clearance-0-to", "0.0215"),
        ("who", "Sam"),
    ];
    let (status, text) = reads(&site, &cookie, "C", &fields);
    assert!(
        status == 200 && text.contains("0.0205 to 0.0215 in") && text.contains("C: accepted"),
        "{text}"
    );
    assert_eq!(state(week.path(), "C"), PumpState::Accepted);
}

#[test]
fn a_pump_that_does_not_conform_is_not_accepted_and_its_smallest_swap_is_booked() {
    let week = week();
    let (site, cookie) = site(week.path());
    let (status, text) = reads(
        &site,
        &cookie,
        "C",
        &[("what", "accept"), ("pack-0", "0.010"), ("clearance-0", "0.0310"), ("who", "Kim")],
    );
    assert!(
        status == 409 && text.contains("Not all was booked") && text.contains("LOOK FIRST"),
        "{text}"
    );
    // The readings stay booked; it is read again, and the reading counts.
    let (status, text) = reads(
        &site,
        &cookie,
        "C",
        &[("what", "accept"), ("clearance-0", "0.0310"), ("who", "Kim")],
    );
    assert!(status == 409 && text.contains("Verdict: SWAP"), "{text}");
    assert_eq!(state(week.path(), "C"), PumpState::Rejected);
    let form = page(&site, &cookie, "/bench/C");
    let shown = squeezed(&read(&form));
    assert!(shown.contains("Out: 1 x G90. In: 1 x S10, 1 x G105."), "{shown}");
    let swap = form.split("<form").find(|part| part.contains("name=\"out\"")).unwrap();
    let [request, seen, out, into] =
        ["request", "seen", "out", "in"].map(|name| read(&hidden(swap, name)));
    let fields = [
        ("what", "swap"),
        ("request", &*request),
        ("seen", &*seen),
        ("out", &*out),
        ("in", &*into),
    ];
    let answer = send(&site, &cookie, "/bench/C", &fields);
    assert_eq!(answer.status, 200, "{answer:?}");
    let file = OutageFile::open(&week.path().join("week.outage")).unwrap();
    let pump = file.outage().pump("C").unwrap();
    let bag: Vec<String> = pump.bag.iter().map(ToString::to_string).collect();
    assert_eq!(bag, ["2 x S10", "1 x G105"]);
    assert!(pump.bench.is_empty() && pump.state == PumpState::Issued);
    let again = send(&site, &cookie, "/bench/C", &fields);
    assert!(again.status == 200 && read(&again.body).contains("Not booked again"), "{again:?}");
}

/// A form of the bench is of the pieces that it shows: after a swap by others it is not taken.
#[test]
fn a_form_from_before_another_booking_is_not_taken() {
    let week = week();
    let (site, cookie) = site(week.path());
    let form = page(&site, &cookie, "/bench/C");
    gapwright(week.path(), &["book", "week.outage", "swap", "C", "--in", "S10", "--by", "Sam"]);
    let [request, seen] = ["request", "seen"].map(|name| hidden(&form, name));
    let before = entries(week.path()).len();
    let fields = [("request", &*request), ("seen", &*seen), ("what", "read"), ("pack-0", "0.010")];
    let answer = send(&site, &cookie, "/bench/C", &fields);
    let text = read(&answer.body);
    assert_eq!((answer.status, entries(week.path()).len()), (409, before));
    assert!(
        text.contains("a form of C from before the entries below") && text.contains("by Sam"),
        "{text}"
    );
    assert!(answer.body.contains("value=\"0.010\""), "what was typed is kept");
}

/// A press of a button, without a script of the page.
fn press(browser: &Browser, name: &str) {
    browser.run(&format!("[...document.querySelectorAll('button')].find(b => b.textContent.includes('{name}')).click()"));
}

fn text_of(browser: &Browser) -> String {
    browser.run("return document.body.innerText").as_str().unwrap().to_string()
}

fn fill(browser: &Browser, id: &str, text: &str) {
    browser.run(&format!("document.getElementById('{id}').focus()"));
    browser.keys(&["^a", text]);
}

/// The camera is the browser's test picture, and what reads codes a stand-in, since the browsers of most systems have none:
/// it sees nothing at first, and then the code of a slip.
#[test]
fn the_camera_takes_the_bench_to_its_pump() {
    let flags = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"];
    let Some(browser) = browser("the_camera", &flags) else { return };
    let week = week();
    let (site, _) = site(week.path());
    let reader = |code: &str| {
        format!(
            "window.BarcodeDetector = class {{
                constructor({{ formats }}) {{ this.formats = formats; this.looks = 0; }}
                async detect(video) {{
                    this.looks += 1;
                    const seen = video.videoWidth > 0 && this.looks > 3 && this.formats.includes('qr_code');
                    return seen ? [{{ rawValue: {} }}] : [];
                }}
            }};",
            json!(code)
        )
    };
    let source = reader(&code(week.path(), "B"));
    browser.devtools("Page.addScriptToEvaluateOnNewDocument", &json!({ "source": source }));
    browser.open(&site.second_link());
    browser.until("location.pathname === '/'");
    browser.open(&format!("{}/bench", site.origin()));
    browser.until("document.body.innerText.includes('Read it with the camera')");
    press(&browser, "Read it with the camera");
    browser.until("location.pathname === '/bench/B'");
    browser.until("document.body.innerText.includes('ACCEPT')");
    // Nobody else may look: the rest of the page asks for no camera.
    browser.open(&site.origin());
    let refused = browser.run_waiting(
        "try { await navigator.mediaDevices.getUserMedia({ video: true }); return 'seen'; } catch (e) { return e.name; }",
    );
    assert_eq!(refused, json!("NotAllowedError"));
}

#[test]
fn a_fitter_reads_and_signs_off_without_script() {
    let Some(browser) = browser("a_fitter_reads", &[]) else { return };
    let week = week();
    let (site, _) = site(week.path());
    browser.open(&site.second_link());
    browser.until("location.pathname === '/'");
    browser.devtools("Emulation.setScriptExecutionDisabled", &json!({ "value": true }));
    browser.screen(390, 844, false);
    browser.open(&format!("{}/bench", site.origin()));
    // A scanner types the code and Enter.
    fill(&browser, "code", &code(week.path(), "B"));
    browser.keys(&["Enter"]);
    browser.until("location.pathname === '/bench/B'");
    assert_eq!(browser.run("return document.getElementById('pack-0').inputMode"), json!("decimal"));
    fill(&browser, "pack-0", "0.0300");
    // Enter in a field sends nothing.
    browser.keys(&["Enter"]);
    fill(&browser, "clearance-0", "0.0212");
    fill(&browser, "bench-who", "Kim");
    press(&browser, "Book the readings");
    browser.until("document.body.innerText.includes('Verdict: accept')");
    browser.picture("bench-verdict-390.png");
    assert_eq!(browser.run("return document.getElementById('bench-who').value"), json!("Kim"));
    press(&browser, "Done");
    browser.until("document.getElementById('state').innerText.startsWith('B: accepted')");
    let made = entries(week.path());
    let words: Vec<&str> = made.iter().rev().take(3).map(|entry| entry.booking.word()).collect();
    assert_eq!(words, ["accept", "reading", "reading"], "{}", text_of(&browser));
}

#[test]
fn the_bench_is_large_enough_and_sees_what_others_book() {
    let Some(browser) = browser("the_bench_is_large_enough", &[]) else { return };
    let week = week();
    let board = gapwright::page::LedgerBoard::open(&week.path().join("week.outage")).unwrap();
    let often = gapwright::page::Bounds {
        disk: std::time::Duration::from_millis(50),
        ..Default::default()
    };
    let site = Site::of(std::sync::Arc::new(board), often);
    browser.open(&site.link);
    browser.until("location.pathname === '/'");
    gapwright(
        week.path(),
        &["book", "week.outage", "reading", "C", "running clearance", "0.0310 in"],
    );
    gapwright(
        week.path(),
        &["book", "week.outage", "reading", "C", "running clearance", "0.0310 in"],
    );
    let pages = [
        "/bench",
        "/bench/B",
        "/bench/C",
        "/book?pump=A",
        "/book?item=S10",
        "/book?entry=5",
        "/bench?code=gapwright",
    ];
    for (width, dark) in [(1280, false), (800, false), (800, true), (390, false), (390, true)] {
        browser.screen(width, 2400, dark);
        for path in pages {
            browser.open(&format!("{}{path}", site.origin()));
            let name = path.replace(['/', '?', '='], "-");
            browser.picture(&format!("{width}-{}{name}.png", if dark { "dark" } else { "light" }));
            let wide = browser.run("return document.documentElement.scrollWidth - innerWidth");
            assert_eq!(wide, json!(0), "{path} at {width}");
            let small = browser.run("return [...document.querySelectorAll('main button:not([hidden]), main input:not([type=hidden]), main select, main summary, main a, nav a')].filter(e => e.offsetParent && e.getBoundingClientRect().height < 47.9).map(e => e.outerHTML)");
            assert_eq!(small, json!([]), "{path} at {width}");
            let Some(axe) = std::env::var_os("GAPWRIGHT_AXE") else { continue };
            browser.run(&fs::read_to_string(axe).unwrap());
            let found = browser.run_waiting("const r = await axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }); return r.violations.map(v => `${v.id}: ${v.nodes[0].target}`);");
            assert_eq!(found, json!([]), "{path} at {width}");
        }
    }
    // What is typed stays while another books.
    browser.open(&format!("{}/bench/B", site.origin()));
    fill(&browser, "pack-0", "0.03");
    browser.until("document.getElementById('state').innerText === 'B: issued'");
    gapwright(week.path(), &["book", "week.outage", "put-back", "B", "--by", "Sam"]);
    browser.until("document.getElementById('state').innerText === 'B: planned'");
    assert_eq!(browser.run("return document.getElementById('pack-0').value"), json!("0.03"));
    assert!(text_of(&browser).contains("by Sam"));
    press(&browser, "Book the readings");
    browser.until("document.body.innerText.includes('a form of B from before')");
    // The one complaint is of the answer 409, which tells of the refusal.
    let complaints = browser.complaints();
    assert!(complaints.iter().all(|line| line.contains("409")), "{complaints:?}");
}
