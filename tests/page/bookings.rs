//! Bookings by forms, held against `gapwright book` on a copy of the same outage file.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::Arc;

use gapwright::outage::LedgerEntry;
use gapwright::outage_file::OutageFile;
use gapwright::page::LedgerBoard;

use crate::ledger::{gapwright, never, page, status, week};
use crate::raw::{Answer, Site, talk};

pub fn site(folder: &Path) -> (Site, String) {
    let board = LedgerBoard::open(&folder.join("week.outage")).unwrap();
    let site = Site::of(Arc::new(board), never());
    let cookie = site.enter();
    (site, cookie)
}

/// A text as a browser puts it into the body of a form.
pub fn coded(text: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric();
    let coded = text.bytes().map(|byte| match plain(byte) {
        true => char::from(byte).to_string(),
        false => format!("%{byte:02x}"),
    });
    coded.collect()
}

/// Value of the first hidden field of a name.
pub fn hidden(html: &str, name: &str) -> String {
    let found = html.split(&format!("name=\"{name}\" value=\"")).nth(1);
    let found = found.unwrap_or_else(|| panic!("no field {name}: {html}"));
    found.split('"').next().unwrap().to_string()
}

/// A text of the page as people read it.
pub fn read(html: &str) -> String {
    let mut text = String::new();
    let mut tag = false;
    for letter in html.chars() {
        match letter {
            '<' => tag = true,
            '>' => tag = false,
            _ if !tag => text.push(letter),
            _ => {}
        }
    }
    text.replace("&quot;", "\"").replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
}

/// Sends a form as a browser does.
pub fn send(site: &Site, cookie: &str, path: &str, fields: &[(&str, &str)]) -> Answer {
    let body: Vec<String> =
        fields.iter().map(|(name, value)| format!("{}={}", coded(name), coded(value))).collect();
    let origin = site.origin();
    let headers = [
        ("Cookie", cookie),
        ("Origin", origin.as_str()),
        ("Sec-Fetch-Site", "same-origin"),
        ("Content-Type", "application/x-www-form-urlencoded"),
    ];
    talk(site.at, site.request("POST", path, &headers, &body.join("&")).as_bytes())
}

/// Opens a form and sends it with these fields.
pub fn book(site: &Site, cookie: &str, form: &str, fields: &[(&str, &str)]) -> Answer {
    let opened = page(site, cookie, form);
    let [request, seen] = ["request", "seen"].map(|name| hidden(&opened, name));
    let own = [("request", request.as_str()), ("seen", seen.as_str())];
    let path = form.split('?').next().unwrap();
    send(site, cookie, path, &[&own[..], fields].concat())
}

pub fn entries(folder: &Path) -> Vec<LedgerEntry> {
    OutageFile::open(&folder.join("week.outage")).unwrap().outage().entries().to_vec()
}

fn on_the_shell(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_gapwright"));
    command.args(["book", "week.outage"]).args(arguments).current_dir(folder).output().unwrap()
}

/// Copy of a folder's outage file, for the shell.
fn copy(folder: &Path) -> tempfile::TempDir {
    let copy = tempfile::tempdir().unwrap();
    fs::copy(folder.join("week.outage"), copy.path().join("week.outage")).unwrap();
    copy
}

/// Every booking of pumps and drawers: the form and the command line make one entry of it, or refuse it in the same words.
#[test]
fn a_form_books_what_the_command_books_and_is_refused_in_its_words() {
    let pump = |tag: &'static str, what: &'static str| {
        let form = format!("/book?pump={tag}");
        (form, vec![("pump", tag), ("what", what)], vec![what, tag])
    };
    let item = |what: &'static str, count: &'static str| {
        let form = "/book?item=S10".to_string();
        (form, vec![("item", "S10"), ("what", what), ("count", count)], vec![what, "S10", count])
    };
    type Asked<'a> = (String, Vec<(&'a str, &'a str)>, Vec<&'a str>);
    let mut asked: Vec<Asked<'_>> = Vec::new();
    for tag in ["A", "B", "C"] {
        for what in ["bag", "issue", "put-back", "accept", "cancel", "reinstate"] {
            asked.push(pump(tag, what));
        }
    }
    for (what, count) in
        [("count", "7"), ("receive", "3"), ("scrap", "1"), ("scrap", "900"), ("receive", "0")]
    {
        asked.push(item(what, count));
    }
    let scrap = vec![("item", "S20"), ("what", "scrap"), ("count", "1"), ("from", "A")];
    asked.push(("/book?item=S20".into(), scrap, vec!["scrap", "S20", "1", "--from", "A"]));
    let bag = vec![("pump", "C"), ("what", "bag"), ("without", "G120"), ("with", "S10=1, S10")];
    let shell = vec!["bag", "C", "--without", "G120", "--with", "S10=1", "--with", "S10"];
    asked.push(("/book?pump=C".into(), bag, shell));
    for entry in ["1", "2", "3", "4", "5"] {
        // An entry that cannot be undone has no form: its number is sent with another one's.
        let form = "/book?pump=A".to_string();
        asked.push((form, vec![("entry", entry), ("what", "undo")], vec!["undo", entry]));
    }
    let week = week();
    let (mut booked, mut refused) = (0, 0);
    for (form, fields, shell) in asked {
        let [mine, other] = [copy(week.path()), copy(week.path())];
        let output = on_the_shell(other.path(), &[&shell[..], &["--by", "Kim"]].concat());
        let (site, cookie) = site(mine.path());
        let answer = book(&site, &cookie, &form, &[&fields[..], &[("who", "Kim")]].concat());
        let [form_made, shell_made] = [mine.path(), other.path()].map(|folder| {
            let entries = entries(folder);
            let last = entries.last().unwrap();
            (entries.len(), last.booking.clone(), last.facts.who.clone(), last.moves.clone())
        });
        assert_eq!(form_made, shell_made, "{shell:?}");
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        if output.status.success() {
            booked += 1;
            assert_eq!(answer.status, 200, "{shell:?}: {answer:?}");
            let receipt =
                String::from_utf8_lossy(&output.stdout).lines().next().unwrap().to_string();
            assert!(read(&answer.body).contains(&receipt), "{receipt}: {}", answer.body);
        } else {
            refused += 1;
            assert_eq!(answer.status, 409, "{shell:?}: {answer:?}");
            let words = words_of(&told);
            let text = squeezed(&read(&answer.body));
            for part in words {
                assert!(text.contains(&part), "{part}: {text}");
            }
        }
    }
    assert!(booked >= 10 && refused >= 10, "{booked} booked, {refused} refused");
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The parts of a problem as the terminal has them: found, expected, fix.
fn words_of(told: &str) -> Vec<String> {
    let all = squeezed(told);
    let parts = [" found ", " expected ", " fix "];
    let ends = [" expected ", " fix ", " 1 problem"];
    let cut = parts.iter().zip(ends).map(|(part, end)| {
        let rest = all.split(part).nth(1).unwrap_or_else(|| panic!("{part}: {told}"));
        let text = rest.split(end).next().unwrap().trim().trim_end_matches('.');
        text.to_string()
    });
    cut.collect()
}

#[test]
fn a_form_that_is_sent_twice_books_once() {
    let week = week();
    let (site, cookie) = site(week.path());
    let form = page(&site, &cookie, "/book?item=S10");
    let [request, seen] = ["request", "seen"].map(|name| hidden(&form, name));
    let fields = [
        ("request", &*request),
        ("seen", &*seen),
        ("item", "S10"),
        ("what", "receive"),
        ("count", "3"),
    ];
    let before = entries(week.path()).len();
    let first = send(&site, &cookie, "/book", &fields);
    let again = send(&site, &cookie, "/book", &fields);
    assert_eq!((first.status, again.status), (200, 200));
    assert_eq!(entries(week.path()).len(), before + 1);
    assert!(read(&first.body).contains(&format!("Entry {}: receive S10: 3.", before + 1)));
    let old = format!("Entry {} was booked before: receive S10: 3. Not booked again.", before + 1);
    assert!(read(&again.body).contains(&old), "{}", again.body);
    // Another booking by its number is none of it.
    let other = [fields[0], fields[1], fields[2], fields[3], ("count", "4")];
    let other = send(&site, &cookie, "/book", &other);
    assert_eq!(other.status, 409);
    assert!(read(&other.body).contains("a request number that entry"), "{}", other.body);
    // A form without a number of its own is none of the page.
    let bare = send(&site, &cookie, "/book", &fields[2..]);
    assert_eq!((bare.status, entries(week.path()).len()), (409, before + 1));
}

#[test]
fn the_second_window_is_told_what_the_first_one_booked() {
    let week = week();
    let (site, first) = site(week.path());
    let second = {
        let path = site.second_link();
        let path = path.strip_prefix(&site.origin()).unwrap();
        let entered = talk(site.at, site.get(path, &[]).as_bytes());
        let line = entered.head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
        line.split(';').next().unwrap().to_string()
    };
    let forms = [&first, &second].map(|cookie| page(&site, cookie, "/book?pump=C"));
    let fields = |form: &str, who: &'static str| {
        [
            ("request", hidden(form, "request")),
            ("seen", hidden(form, "seen")),
            ("pump", "C".into()),
            ("what", "bag".into()),
            ("who", who.into()),
        ]
    };
    let sent = |cookie: &str, fields: &[(&str, String); 5]| {
        let fields: Vec<(&str, &str)> =
            fields.iter().map(|(name, value)| (*name, &**value)).collect();
        send(&site, cookie, "/book", &fields)
    };
    let one = sent(&first, &fields(&forms[0], "Kim"));
    let two = sent(&second, &fields(&forms[1], "Sam"));
    assert_eq!((one.status, two.status), (200, 409));
    let made = entries(week.path());
    let last = made.last().unwrap();
    assert_eq!((last.booking.word(), last.facts.who.as_str()), ("bag", "Kim"));
    let told = read(&two.body);
    assert!(told.contains("bag C, which is bagged") && told.contains("Booked by others"), "{told}");
    let minute = last.facts.at[..16].replace('T', " ");
    assert!(told.contains(&format!("Entry {}: bag C: ", last.number)), "{told}");
    assert!(told.contains(&format!("by Kim, {minute} UTC")), "{told}");
    // The name is remembered by its window, and by no other.
    let named = one.head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    assert!(named.contains("HttpOnly; SameSite=Strict"), "{named}");
    let with_name = format!("{first}; {}", named.split(';').next().unwrap());
    assert!(page(&site, &with_name, "/book?pump=A").contains("value=\"Kim\""));
    assert!(!page(&site, &second, "/book?pump=A").contains("value=\"Kim\""));
    // A delivery that two people book is booked twice, and the second one is told.
    let forms = [(); 2].map(|()| page(&site, &first, "/book?item=S10"));
    for (nth, form) in forms.iter().enumerate() {
        let [request, seen] = ["request", "seen"].map(|name| hidden(form, name));
        let fields = [
            ("request", &*request),
            ("seen", &*seen),
            ("item", "S10"),
            ("what", "receive"),
            ("count", "2"),
        ];
        let answer = send(&site, &first, "/book", &fields);
        assert_eq!(answer.status, 200);
        assert_eq!(read(&answer.body).contains("Booked by others"), nth == 1);
    }
}

#[test]
fn only_a_form_of_the_page_itself_books() {
    let week = week();
    let (site, cookie) = site(week.path());
    let form = page(&site, &cookie, "/book?pump=A");
    let request = hidden(&form, "request");
    let body = format!("request={request}&pump=A&what=issue");
    let before = entries(week.path());
    let kind = ("Content-Type", "application/x-www-form-urlencoded");
    let own = site.origin();
    let asked = |headers: &[(&str, &str)], path: &str| {
        talk(site.at, site.request("POST", path, headers, &body).as_bytes()).status
    };
    for path in ["/book", "/bench/A"] {
        assert_eq!(asked(&[("Cookie", &*cookie), kind], path), 403, "no Origin");
        let elsewhere = ("Origin", "http://evil.example");
        assert_eq!(asked(&[("Cookie", &*cookie), kind, elsewhere], path), 403);
        assert_eq!(asked(&[("Origin", &*own), kind], path), 401, "no cookie");
        let json = ("Content-Type", "application/json");
        assert_eq!(asked(&[("Cookie", &*cookie), ("Origin", &*own), json], path), 415);
        let evil = [("Host", "evil.example"), ("Cookie", &*cookie), ("Origin", &*own), kind];
        assert_eq!(asked(&evil, path), 421);
    }
    // An address alone books nothing.
    let by_address = format!("/book?{body}");
    page(&site, &cookie, &by_address);
    assert_eq!(entries(week.path()), before);
    for path in ["/book", "/book?pump=nobody", "/book?item=nothing", "/book?entry=99", "/bench/X"] {
        let answer = talk(site.at, site.get(path, &[("Cookie", &*cookie)]).as_bytes());
        assert_eq!(answer.status, 404, "{path}");
    }
    assert_eq!(asked(&[("Cookie", &*cookie), ("Origin", &*own), kind], "/book"), 200);
    assert_eq!(entries(week.path()).len(), before.len() + 1);
}

#[test]
fn texts_of_people_are_only_texts() {
    let week = week();
    let (site, cookie) = site(week.path());
    let evil = "<script>alert(1)</script>\"'";
    let fields = [("pump", "A"), ("what", "issue"), ("who", evil), ("note", evil)];
    let answer = book(&site, &cookie, "/book?pump=A", &fields);
    assert_eq!(answer.status, 200);
    let pages = ["/", "/book?pump=A", "/bench/A"].map(|path| page(&site, &cookie, path));
    for html in pages.iter().chain([&answer.body]) {
        assert!(!html.contains("<script>alert") && html.contains("&lt;script&gt;alert"), "{html}");
    }
    let bench = talk(
        site.at,
        site.get("/bench?code=%3Cscript%3Ealert%281%29", &[("Cookie", &*cookie)]).as_bytes(),
    );
    assert!(!bench.body.contains("<script>alert"), "{}", bench.body);
}

#[test]
fn the_list_of_entries_leads_to_undo() {
    let week = week();
    let (site, cookie) = site(week.path());
    let board = page(&site, &cookie, "/");
    let last = entries(week.path()).len();
    assert!(board.contains(&format!("href=\"/book?entry={last}\"")), "{board}");
    // A plan is not undone, and has no link for it.
    assert!(!board.contains("href=\"/book?entry=2\""), "{board}");
    let form = format!("/book?entry={last}");
    let number = last.to_string();
    let fields = [("entry", &*number), ("what", "undo"), ("note", "wrong bench")];
    let answer = book(&site, &cookie, &form, &fields);
    assert_eq!(answer.status, 200, "{answer:?}");
    let told = status(week.path());
    let pumps = told["pumps"].as_array().unwrap();
    assert!(pumps.iter().any(|pump| pump["tag"] == "B" && pump["state"] == "bagged"), "{told}");
    let board = page(&site, &cookie, "/");
    assert!(board.contains("(undone)") && board.contains("[wrong bench]"), "{board}");
}

/// The code of a slip stands for its tag on the command line, as long as it is that of the pump's kit.
#[test]
fn the_command_takes_the_code_of_a_slip() {
    let week = week();
    let [stock, pumps] = ["stock", "pumps"]
        .map(|name| format!("{}/samples/tiny/{name}.csv", env!("CARGO_MANIFEST_DIR")));
    let outage = OutageFile::open(&week.path().join("week.outage")).unwrap().outage().clone();
    let plan = outage.last_plan().unwrap().code.clone();
    let kit = outage.pump("C").unwrap().kit.as_ref().unwrap().number;
    let refused = |code: &str, words: &str| {
        let output = on_the_shell(week.path(), &["bag", code]);
        let told = squeezed(&String::from_utf8_lossy(&output.stderr));
        assert_eq!(output.status.code(), Some(2), "{code}: {told}");
        assert!(told.contains(words), "{code}: {words}: {told}");
    };
    refused(
        &format!("gapwright:2 {plan} {} C", kit + 7),
        &format!("the slip of kit {kit}, which C has now"),
    );
    refused(&format!("gapwright:2 0123456789ab {kit} C"), "a slip of the plan 0123456789ab");
    refused(&format!("gapwright:2 {plan} {kit} X"), "a slip of the pump `X`");
    refused("gapwright:2 C", "the words of a slip's code: gapwright:2 PLAN KIT TAG");
    assert_eq!(outage.entries(), entries(week.path()), "nothing was booked");
    gapwright(week.path(), &["book", "week.outage", "bag", &format!("gapwright:2 {plan} {kit} C")]);
    assert_eq!(entries(week.path()).last().unwrap().booking.tag(), Some("C"));
    // A label has no number of a kit.
    gapwright(week.path(), &["book", "week.outage", "issue", &format!("gapwright:1 {plan} C")]);
    // Printed as a link, the code is read all the same.
    let link = gapwright::paper::slip_link(
        "http://127.0.0.1:8470",
        &format!("gapwright:2 {plan} {kit} C"),
    );
    gapwright(week.path(), &["book", "week.outage", "put-back", &link]);
    // Once its kit is gone, the slip is.
    gapwright(week.path(), &["book", "week.outage", "cancel", "C"]);
    gapwright(week.path(), &["kit", &stock, &pumps, "--outage", "week.outage", "--out", "2.xlsx"]);
    refused(&format!("gapwright:2 {plan} {kit} C"), "has no kit now");
}
