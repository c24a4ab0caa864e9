//! The page as the program serves it.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use gapwright::outage_file::OutageFile;

use crate::bookings::{coded, hidden, read};
use crate::ledger::week;
use crate::raw::{answer, talk};
use crate::scratch::sources;

const STOCK: &str = "samples/tiny/stock.csv";
const PUMPS: &str = "samples/tiny/pumps.csv";

fn gapwright(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_gapwright"));
    // No browser is opened by a test.
    command.args(arguments).current_dir(env!("CARGO_MANIFEST_DIR")).env("PATH", "");
    command
}

/// The program and its link.
fn started(arguments: &[&str]) -> (Child, String) {
    let mut command = gapwright(arguments);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let link = lines.next().expect("a line").unwrap();
    // Reading goes on, so that no line of it blocks the program.
    std::thread::spawn(move || lines.for_each(drop));
    (child, link)
}

fn address(link: &str) -> SocketAddr {
    let (_, rest) = link.split_once("://").unwrap();
    rest.split('/').next().unwrap().parse().unwrap()
}

fn get(link: &str, path: &str, cookie: &str) -> String {
    format!("GET {path} HTTP/1.1\r\nHost: {}\r\nCookie: {cookie}\r\n\r\n", address(link))
}

fn enter(link: &str) -> String {
    let at = address(link);
    let path = link.strip_prefix(&format!("http://{at}")).unwrap();
    let entered = talk(at, get(link, path, "").as_bytes());
    assert_eq!(entered.status, 200, "{entered:?}");
    let line = entered.head.lines().find_map(|line| line.strip_prefix("set-cookie: "));
    line.unwrap().split(';').next().unwrap().to_string()
}

fn end(child: &mut Child) -> Option<i32> {
    let killed = Command::new("kill").arg(child.id().to_string()).status().unwrap();
    assert!(killed.success());
    child.wait().unwrap().code()
}

#[test]
fn told_to_end_it_ends_well_with_a_window_open() {
    let (mut child, link) = started(&["page", STOCK, PUMPS]);
    let cookie = enter(&link);
    let mut window = TcpStream::connect(address(&link)).unwrap();
    window.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    window.write_all(get(&link, "/events", &cookie).as_bytes()).unwrap();
    window.read_exact(&mut [0; 12]).unwrap();
    assert_eq!(end(&mut child), Some(0));
    assert!(TcpStream::connect(address(&link)).is_err());
    window.read_to_end(&mut Vec::new()).unwrap();
}

#[test]
fn two_workbooks_alone_are_the_page_in_either_order() {
    for order in [[STOCK, PUMPS], [PUMPS, STOCK]] {
        let (mut child, link) = started(&order);
        let cookie = enter(&link);
        let board = talk(address(&link), get(&link, "/", &cookie).as_bytes());
        assert!(board.body.contains("stock.csv and pumps.csv"), "{}", board.body);
        assert!(board.body.contains("data-tag=\"A\""));
        end(&mut child);
    }
}

#[test]
fn workbooks_with_problems_have_no_page() {
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string(sources("tiny", "csv").pumps).unwrap();
    let bad = folder.path().join("pumps.csv");
    fs::write(&bad, text.replace("0.041", "narrow")).unwrap();
    let output = gapwright(&["page", STOCK, bad.to_str().unwrap()]).output().unwrap();
    assert_eq!((output.status.code(), output.stdout.as_slice()), (Some(2), &b""[..]));
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains("`narrow`") && told.contains("pumps!F3"), "{told}");
}

#[test]
fn a_port_that_another_program_has_is_a_failure_with_its_reason() {
    let other = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = other.local_addr().unwrap().port().to_string();
    let output = gapwright(&["page", STOCK, PUMPS, "--port", &port]).output().unwrap();
    assert_eq!(output.status.code(), Some(3));
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains(&format!("port {port} of this computer cannot be had")), "{told}");
    assert!(told.contains("leave --port out"), "{told}");
}

#[test]
fn nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let copy = |from: &str| {
        let to = folder.path().join(Path::new(from).file_name().unwrap());
        fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join(from), &to).unwrap();
        to.to_str().unwrap().to_string()
    };
    let [stock, pumps] = [STOCK, PUMPS].map(copy);
    let before: Vec<Vec<u8>> = [&stock, &pumps].map(|path| fs::read(path).unwrap()).into();
    let (mut child, link) = started(&["page", &stock, &pumps]);
    let (at, cookie) = (address(&link), enter(&link));
    let body = r#"{"do":"edit","since":0,"edits":[{"tag":"A","key":"bareclearance","was":"0.041","now":"0.0405"}]}"#;
    let request = format!(
        "POST /act HTTP/1.1\r\nHost: {at}\r\nOrigin: http://{at}\r\nCookie: {cookie}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let mut stream = TcpStream::connect(at).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let edited = answer(&mut stream);
    assert!(edited.status == 200 && edited.body.contains("0.0405"), "{edited:?}");
    end(&mut child);
    let after: Vec<Vec<u8>> = [&stock, &pumps].map(|path| fs::read(path).unwrap()).into();
    assert_eq!(before, after);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2, "no other file");
}

/// A booking that is in the file and was not answered, since its server was killed, is not booked again.
#[test]
fn killed_between_booking_and_answer_it_books_once() {
    let week = week();
    let file = week.path().join("week.outage");
    let entries = || OutageFile::open(&file).unwrap().outage().entries().to_vec();
    let before = entries().len();
    let path = file.to_str().unwrap();
    let (mut child, link) = started(&["page", path]);
    let (at, cookie) = (address(&link), enter(&link));
    let form = talk(at, get(&link, "/bench/B", &cookie).as_bytes()).body;
    let [request, seen] = ["request", "seen"].map(|name| hidden(&form, name));
    let fields = [
        ("request", &*request),
        ("seen", &*seen),
        ("who", "Kim"),
        ("what", "accept"),
        ("pack-0", "0.0300"),
        ("clearance-0", "0.0212"),
    ];
    let body: Vec<String> =
        fields.iter().map(|(name, value)| format!("{name}={}", coded(value))).collect();
    let body = body.join("&");
    let post = |at: SocketAddr, cookie: &str| {
        format!(
            "POST /bench/B HTTP/1.1\r\nHost: {at}\r\nOrigin: http://{at}\r\nCookie: {cookie}\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        )
    };
    // Killed as soon as the first of its three bookings is in the file; its answer is never read.
    let mut stream = TcpStream::connect(at).unwrap();
    stream.write_all(post(at, &cookie).as_bytes()).unwrap();
    let began = Instant::now();
    while entries().len() == before {
        assert!(began.elapsed() < Duration::from_secs(60), "it is never booked");
        std::thread::sleep(Duration::from_millis(1));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    drop(stream);
    let there = entries();
    // The same form again, at the next start.
    let (mut child, link) = started(&["page", path]);
    let (at, cookie) = (address(&link), enter(&link));
    for nth in 0..2 {
        let again = talk(at, post(at, &cookie).as_bytes());
        let text = read(&again.body);
        assert_eq!(again.status, 200, "{text}");
        assert!(text.contains("B: accepted"), "{text}");
        assert_eq!(
            text.matches("Not booked again").count(),
            if nth == 0 { there.len() - before } else { 3 }
        );
    }
    end(&mut child);
    let made = entries();
    let words: Vec<&str> = made[before..].iter().map(|entry| entry.booking.word()).collect();
    assert_eq!(words, ["reading", "reading", "accept"]);
    assert_eq!(made[..there.len()], there[..], "what was booked is as it was");
}

/// What the program says to these arguments before it ends with exit status 2.
fn refused(arguments: &[&str]) -> String {
    let output = gapwright(arguments).output().unwrap();
    assert_eq!(output.status.code(), Some(2), "{arguments:?}");
    String::from_utf8(output.stderr).unwrap()
}

#[test]
fn beyond_this_computer_it_prints_the_fingerprint_and_a_code_to_scan() {
    let mut command = gapwright(&["page", STOCK, PUMPS, "--listen", "127.0.0.1"]);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut told = Vec::new();
    for line in lines.by_ref().map_while(Result::ok) {
        let is_last = line.trim().matches(':').count() == 31;
        told.push(line);
        if is_last {
            break;
        }
    }
    assert!(told[0].starts_with("https://127.0.0.1:"), "{told:?}");
    assert!(told.iter().filter(|line| line.contains('\u{2588}')).count() > 15, "{told:?}");
    assert!(told.iter().any(|line| line.contains("SHA-256 fingerprint")), "{told:?}");
    // Once it answers, even by shutting the door, it listens to the system as well.
    let mut stream = TcpStream::connect(address(&told[0])).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    stream.write_all(b"GET / HTTP/1.1\r\n\r\n").unwrap();
    let _ = stream.read_to_end(&mut Vec::new());
    assert_eq!(end(&mut child), Some(0));
}

#[test]
fn certificates_and_addresses_that_cannot_be_used_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_string()
    };
    let [one, other] =
        [(), ()].map(|()| rcgen::generate_simple_self_signed(["127.0.0.1".to_string()]).unwrap());
    let certificate = file("page.pem", &one.cert.pem());
    let key = file("page.key", &other.signing_key.serialize_pem());
    let missing = folder.path().join("none.pem").to_str().unwrap().to_string();
    let with = |certificate: &str, key: &str| {
        let listen = ["--listen", "127.0.0.1", "--certificate", certificate, "--key", key];
        refused(&[&["page", STOCK, PUMPS][..], &listen].concat())
    };
    for (told, wanted) in [
        (with(&certificate, &key), "the key of another certificate"),
        (with(&certificate, &certificate), "no private key"),
        (with(&key, &key), "no certificate in PEM form"),
        (with(&missing, &key), "none.pem"),
        (refused(&["page", STOCK, PUMPS, "--listen", "0.0.0.0"]), "which is every address"),
        (refused(&["page", STOCK, PUMPS, "--listen", "not an address"]), "without an address"),
        (refused(&["page", STOCK, PUMPS, "--key", &key]), "--certificate"),
    ] {
        assert!(told.contains(wanted), "{wanted}: {told}");
    }
    let output = gapwright(&["page", STOCK, PUMPS, "--listen", "203.0.113.7"]).output().unwrap();
    assert_eq!(output.status.code(), Some(3));
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains("203.0.113.7 is no address of this computer"), "{told}");
}

/// Posts a change to a page of readings; the answer.
fn ask(link: &str, path: &str, cookie: &str, body: &str) -> String {
    let at = address(link);
    let request = format!(
        "POST {path}/act HTTP/1.1\r\nHost: {at}\r\nOrigin: http://{at}\r\nCookie: {cookie}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let answer = talk(at, request.as_bytes());
    assert_eq!(answer.status, 200, "{answer:?}");
    answer.body
}

/// The program is killed after a booking; started again and asked again, it books nothing twice.
#[test]
fn workbooks_begin_an_outage_file_and_a_retry_outlives_the_program() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("new.outage");
    let file = path.to_str().unwrap();
    let wrong = gapwright(&["page", STOCK, PUMPS, "--outage", "new.xlsx"]).output().unwrap();
    assert_eq!(wrong.status.code(), Some(2), "{wrong:?}");
    let (mut child, link) = started(&["page", PUMPS, STOCK, "--outage", file]);
    let cookie = enter(&link);
    let board = talk(address(&link), get(&link, "/record", &cookie).as_bytes());
    assert!(board.body.contains("data-tag=\"A\"") && board.body.contains("No plan is entered yet"));
    // The ledger knows the pumps from the first plan on.
    let began = Instant::now();
    while OutageFile::open(&path).unwrap().outage().last_plan().is_none() {
        assert!(began.elapsed() < Duration::from_secs(60), "the plan is never entered");
        ask(&link, "/record", &cookie, r#"{"do":"enter","since":0,"who":"Kim"}"#);
        std::thread::sleep(Duration::from_millis(10));
    }
    let body = r#"{"do":"edit","since":0,"who":"Kim","request":"one","edits":[{"tag":"A","key":"bareclearance","was":"0.041","now":"0.0405"}]}"#;
    assert!(ask(&link, "/record", &cookie, body).contains("\"refused\":[]"));
    child.kill().unwrap();
    child.wait().unwrap();
    let head = OutageFile::open(&path).unwrap().outage().head();
    let (mut child, link) = started(&["page", file]);
    let cookie = enter(&link);
    let again = ask(&link, "/record", &cookie, body);
    assert!(again.contains("0.0405 in") && again.contains("\"refused\":[]"), "{again}");
    end(&mut child);
    assert_eq!((head.number, OutageFile::open(&path).unwrap().outage().head()), (3, head.clone()));
}

/// Posts a form; the answer.
fn sent(link: &str, path: &str, cookie: &str, body: &str) -> crate::raw::Answer {
    let at = address(link);
    let request = format!(
        "POST {path} HTTP/1.1\r\nHost: {at}\r\nOrigin: http://{at}\r\nCookie: {cookie}\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    talk(at, request.as_bytes())
}

/// A folder with copies of the tiny workbooks, and their paths.
fn workbooks() -> (tempfile::TempDir, [String; 2]) {
    let folder = tempfile::tempdir().unwrap();
    let copies = [STOCK, PUMPS].map(|from| {
        let to = folder.path().join(Path::new(from).file_name().unwrap());
        fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join(from), &to).unwrap();
        to.to_str().unwrap().to_string()
    });
    (folder, copies)
}

/// An outage file begun in the browser: beside the stock workbook, over no other file, by the ledger entry that the command
/// makes; and what was typed and held before goes on under What if.
#[test]
fn an_outage_file_is_begun_on_the_page() {
    let (folder, [stock, pumps]) = workbooks();
    fs::write(folder.path().join("other.outage"), "something else").unwrap();
    let (mut child, link) = started(&["page", &stock, &pumps]);
    let (at, cookie) = (address(&link), enter(&link));
    let ask_for = |path: &str| talk(at, get(&link, path, &cookie).as_bytes());
    assert_eq!(ask_for("/record").status, 404, "there is no outage yet");
    assert!(ask_for("/").body.contains("href=\"/begin\""));
    let body = r#"{"do":"edit","since":0,"edits":[{"tag":"A","key":"bareclearance","was":"0.041","now":"0.0405"}]}"#;
    assert!(ask(&link, "", &cookie, body).contains("\"of\":\"workbooks\""));
    // A kit can be held once there is a plan: of the second pump, in row 3 of its sheet.
    let began = Instant::now();
    let hold = r#"{"do":"hold","since":0,"pump":3,"kit":"at-hand"}"#;
    while !ask(&link, "", &cookie, hold).contains("1 kit is held.") {
        assert!(began.elapsed() < Duration::from_secs(60), "no kit is ever held");
        std::thread::sleep(Duration::from_millis(10));
    }
    for (name, why) in [
        ("", "the name ``"),
        ("..%2Felsewhere", "the name `../elsewhere`"),
        (".hidden", "the name `.hidden`"),
        ("other", "a file of this name"),
    ] {
        let told = sent(&link, "/begin", &cookie, &format!("name={name}"));
        assert!(told.status == 409 && read(&told.body).contains(why), "{name}: {}", told.body);
        assert!(!told.body.contains(folder.path().to_str().unwrap()), "no path of the machine");
    }
    assert_eq!(fs::read_to_string(folder.path().join("other.outage")).unwrap(), "something else");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 3, "nothing was made");
    assert_eq!(sent(&link, "/begin", "", "name=week-12").status, 401);

    let begun = sent(&link, "/begin", &cookie, "name=week-12");
    assert!(begun.status == 303 && begun.head.contains("location: /record"), "{begun:?}");
    let path = folder.path().join("week-12.outage");
    let own = OutageFile::open(&path).unwrap().outage().clone();
    // As the command begins it.
    let twin = folder.path().join("twin.outage");
    let (mut other, _) = started(&["page", &stock, &pumps, "--outage", twin.to_str().unwrap()]);
    end(&mut other);
    let twin = OutageFile::open(&twin).unwrap().outage().clone();
    let bookings = |outage: &gapwright::outage::Outage| {
        outage.entries().iter().map(|entry| entry.booking.clone()).collect::<Vec<_>>()
    };
    assert_eq!(bookings(&own), bookings(&twin));

    let record = ask_for("/record").body;
    assert!(
        record.contains("<h1>Record: week-12.outage</h1>")
            && record.contains("No plan is entered yet")
    );
    let tried = ask_for("/what-if").body;
    assert!(tried.contains("0.0405") && tried.contains("1 cell is changed"), "{tried}");
    assert!(tried.contains("1 kit is held."), "{tried}");
    assert!(ask_for("/").body.contains("Running outage"));
    // A window of the page before is told that it is about something else now.
    assert!(talk(at, look(at, &cookie).as_bytes()).body.contains("\"of\":\"outage\""));
    let told = sent(&link, "/begin", &cookie, "name=second");
    assert!(told.status == 409 && told.body.contains("begun already"), "{}", told.body);
    // The plan is entered, and a reading booked.
    let began = Instant::now();
    while OutageFile::open(&path).unwrap().outage().last_plan().is_none() {
        assert!(began.elapsed() < Duration::from_secs(60), "the plan is never entered");
        ask(&link, "/record", &cookie, r#"{"do":"enter","since":0,"who":"Kim"}"#);
        std::thread::sleep(Duration::from_millis(10));
    }
    assert!(
        ask(&link, "/record", &cookie, &body.replace("\"since\"", "\"who\":\"Kim\",\"since\""))
            .contains("\"refused\":[]")
    );
    end(&mut child);
    assert_eq!(OutageFile::open(&path).unwrap().outage().head().number, own.head().number + 2);
}

/// A window that asks what changed.
fn look(at: SocketAddr, cookie: &str) -> String {
    let body = r#"{"do":"look","since":0}"#;
    format!(
        "POST /act HTTP/1.1\r\nHost: {at}\r\nOrigin: http://{at}\r\nCookie: {cookie}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    )
}

/// Two windows: one begins the outage file and goes on in Record, the other goes on in What if by itself.
#[test]
fn windows_go_on_when_an_outage_file_is_begun() {
    let (Some(one), Some(two)) =
        (crate::driver::browser("begun_one", &[]), crate::driver::browser("begun_two", &[]))
    else {
        return;
    };
    let (folder, [stock, pumps]) = workbooks();
    let (mut child, link) = started(&["page", &stock, &pumps]);
    let ready = |browser: &crate::driver::Browser| {
        browser.until("document.querySelector('[role=grid] tbody [tabindex=\"0\"]')");
    };
    one.open(&link);
    ready(&one);
    one.run("document.querySelector('footer button').click()");
    one.until("document.querySelector('main.told code')");
    let second = one.run("return document.querySelector('main.told code').textContent");
    two.open(second.as_str().unwrap());
    ready(&two);
    one.open(&format!("http://{}", address(&link)));
    ready(&one);
    one.run("document.querySelector('a[href=\"/begin\"]').click()");
    one.until("document.getElementById('name')");
    one.picture("begin.png");
    one.run("document.getElementById('name').focus()");
    one.keys(&["week-12", "Enter"]);
    one.until(
        "location.pathname === '/record' && document.querySelector('main[data-mode=record]')",
    );
    assert!(folder.path().join("week-12.outage").exists());
    two.until(
        "location.pathname === '/what-if' && document.querySelector('main[data-mode=what-if]')",
    );
    assert_eq!(one.complaints(), Vec::<String>::new());
    drop((one, two));
    end(&mut child);
}
