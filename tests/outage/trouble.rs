//! Kills, a disk that does not take it, and several programs at once.

use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use gapwright::outage::Outage;
use gapwright::outage_file::OutageFile;

use crate::store::{facts, taken};

fn program() -> Command {
    Command::new(assert_cmd::cargo::cargo_bin("gapwright"))
}

fn begun(folder: &Path) -> std::path::PathBuf {
    let path = folder.join("week.outage");
    let mut file = OutageFile::begin(&path).unwrap();
    file.book(vec![(facts("first"), taken(20))], &Vec::new()).unwrap();
    path
}

fn state(path: &Path) -> Outage {
    OutageFile::open(path).unwrap().outage().clone()
}

fn pieces(outage: &Outage, item: &str) -> i64 {
    outage.stock_of(item).unwrap().pieces
}

fn receive(path: &Path, request: &str) -> Command {
    let mut run = program();
    run.arg("book").arg(path).args(["receive", "S1", "1", "--request", request]);
    run.stdout(Stdio::null()).stderr(Stdio::null());
    run
}

/// Whenever the kill falls: the ledger is sound, a booking that was acknowledged is there, and a retry of one that was
/// not makes it exactly once.
#[test]
fn bookings_that_are_killed_at_any_moment_are_there_once_after_a_retry() {
    let folder = tempfile::tempdir().unwrap();
    let path = begun(folder.path());
    let begun = Instant::now();
    assert!(receive(&path, "usual").status().unwrap().success());
    let usual = begun.elapsed();
    let (mut killed, mut booked) = (0, 0);
    for attempt in 0..80_u32 {
        let request = format!("attempt {attempt}");
        let mut run = receive(&path, &request).spawn().unwrap();
        std::thread::sleep(
            usual * (attempt % 20) / 16 + Duration::from_micros(u64::from(attempt) * 7),
        );
        run.kill().ok();
        let status = run.wait().unwrap();
        let after = state(&path);
        let there = after.entries().iter().any(|entry| entry.facts.request == request);
        assert!(!status.success() || there, "attempt {attempt}: acknowledged and not there");
        killed += u32::from(!status.success());
        booked += u32::from(there);
        assert!(receive(&path, &request).status().unwrap().success());
        let now = state(&path);
        assert_eq!(pieces(&now, "S1"), 22 + i64::from(attempt), "attempt {attempt}");
        assert_eq!(now.head().number, 3 + attempt);
    }
    println!("{killed} of 80 were killed, {booked} were booked by then");
    let names: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
    assert_eq!(names.len(), 1, "{names:?}");
}

/// Killed while the file is begun: the next run begins it, or goes on with it.
#[test]
fn a_beginning_that_is_killed_is_begun_again() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["stock.csv", "pumps.csv"] {
        std::fs::copy(format!("samples/tiny/{name}"), folder.path().join(name)).unwrap();
    }
    let kit = |out: &str| {
        let mut run = program();
        run.current_dir(folder.path()).stdout(Stdio::null()).stderr(Stdio::null());
        run.args([
            "kit",
            "stock.csv",
            "pumps.csv",
            "--outage",
            "week.outage",
            "--force",
            "--out",
            out,
        ]);
        run
    };
    let begun = Instant::now();
    assert!(kit("plan.xlsx").status().unwrap().success());
    let usual = begun.elapsed();
    let path = folder.path().join("week.outage");
    for attempt in 0..25 {
        std::fs::remove_file(&path).unwrap();
        let mut run = kit("plan.xlsx").spawn().unwrap();
        std::thread::sleep(usual * attempt / 20);
        run.kill().ok();
        run.wait().unwrap();
        let again = kit("plan.xlsx").stderr(Stdio::piped()).output().unwrap();
        let said = String::from_utf8_lossy(&again.stderr);
        assert!(again.status.success(), "attempt {attempt}: {said}");
        let outage = state(&path);
        assert_eq!(outage.last_plan().unwrap().number, 1, "attempt {attempt}");
        assert_eq!(outage.head().number, 2, "attempt {attempt}");
    }
}

#[test]
fn of_several_programs_at_once_none_books_what_is_not_there() {
    let folder = tempfile::tempdir().unwrap();
    let path = begun(folder.path());
    let book = |number: u32| {
        let mut run = program();
        run.arg("book").arg(&path).args(["scrap", "S1", "3", "--by", &format!("{number}")]);
        run.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
    };
    // Ten at once, each three of twenty pieces: six are booked.
    let runs: Vec<_> = (0..10).map(book).collect();
    let ended: Vec<Output> = runs.into_iter().map(|run| run.wait_with_output().unwrap()).collect();
    let booked = ended.iter().filter(|run| run.status.success()).count();
    assert_eq!(booked, 6);
    for refused in ended.iter().filter(|run| !run.status.success()) {
        assert_eq!(refused.status.code(), Some(2));
        let said = String::from_utf8(refused.stderr.clone()).unwrap();
        assert!(said.contains("no more than the 2 that are left by the ledger"), "{said}");
    }
    let outage = state(&path);
    assert_eq!((pieces(&outage, "S1"), outage.head().number), (2, 7));
}

/// One request from many programs at once is booked once, and all are told the entry.
#[test]
fn one_request_of_several_programs_is_booked_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = begun(folder.path());
    let runs: Vec<_> = (0..8).map(|_| receive(&path, "the one").spawn().unwrap()).collect();
    assert!(runs.into_iter().all(|mut run| run.wait().unwrap().success()));
    assert_eq!(pieces(&state(&path), "S1"), 21);
}

#[test]
fn a_file_that_another_program_holds_is_said_to_be_busy() {
    let folder = tempfile::tempdir().unwrap();
    let path = begun(folder.path());
    let mut db = rusqlite::Connection::open(&path).unwrap();
    let held = db.transaction_with_behavior(rusqlite::TransactionBehavior::Exclusive).unwrap();
    let run = receive(&path, "waits").stderr(Stdio::piped()).output().unwrap();
    assert_eq!(run.status.code(), Some(3));
    let said = String::from_utf8(run.stderr).unwrap();
    assert!(said.contains("another program is writing to"), "{said}");
    drop(held);
    assert_eq!(state(&path).head().number, 1);
}

/// A limit on the size of files fails a write as a full disk does.
#[cfg(unix)]
#[test]
fn a_disk_that_does_not_take_it_books_nothing_and_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = begun(folder.path());
    let size = std::fs::metadata(&path).unwrap().len();
    let before = state(&path);
    let mut refused = 0;
    for booked in 0..200 {
        // Blocks of 512 bytes: the file may grow by one page and no more.
        let script = format!("trap '' XFSZ; ulimit -f {}; exec \"$@\"", size / 512 + 8);
        let mut run = Command::new("sh");
        run.args(["-c", &script, "sh"]).arg(program().get_program());
        run.arg("book").arg(&path).args(["receive", "S1", "1", "--note", &"long ".repeat(60)]);
        let run = run.output().unwrap();
        if run.status.success() {
            assert_eq!(pieces(&state(&path), "S1"), 21 + booked);
            continue;
        }
        refused += 1;
        assert_eq!(run.status.code(), Some(3), "{run:?}");
        let said = String::from_utf8(run.stderr).unwrap();
        assert!(said.contains("nothing was booked") && said.contains("make room"), "{said}");
        assert_eq!(pieces(&state(&path), "S1"), 20 + booked);
        break;
    }
    assert_eq!(refused, 1, "the limit was never reached");
    // With room it goes on.
    assert!(receive(&path, "with room").status().unwrap().success());
    assert!(state(&path).head().number > before.head().number);
}

/// A disk that takes the ledger and not the workbook: the plan is not entered either, and its number is free.
#[cfg(unix)]
#[test]
fn a_plan_whose_workbook_cannot_be_written_is_not_entered() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["stock.xlsx", "pumps.xlsx"] {
        std::fs::copy(format!("samples/outage/{name}"), folder.path().join(name)).unwrap();
    }
    let kit = |outage: &str, before: &str| {
        let mut run = Command::new("sh");
        run.args(["-c", &format!("{before} exec \"$@\""), "sh"]).arg(program().get_program());
        run.current_dir(folder.path());
        run.args(["kit", "stock.xlsx", "pumps.xlsx", "--outage", outage, "--out", "plan.xlsx"]);
        run.arg("--force").output().unwrap()
    };
    assert!(kit("first.outage", "").status.success());
    let size = |name: &str| std::fs::metadata(folder.path().join(name)).unwrap().len();
    let (ledger, workbook) = (size("first.outage"), size("plan.xlsx"));
    assert!(ledger + 8_192 < workbook, "{ledger}, {workbook}");
    let old = std::fs::read(folder.path().join("plan.xlsx")).unwrap();
    // Blocks of 512 bytes.
    let limit = format!("trap '' XFSZ; ulimit -f {};", (ledger + workbook) / 1_024);
    for outage in ["first.outage", "second.outage"] {
        let path = folder.path().join(outage);
        let before = std::fs::read(&path).ok();
        if outage == "first.outage" {
            // Another plan is due: a shim is gone.
            let mut run = program();
            run.current_dir(folder.path()).args(["book", outage, "scrap", "SH-F6-012", "1"]);
            assert!(run.output().unwrap().status.success());
        }
        let head = before.is_some().then(|| state(&path).head());
        let run = kit(outage, &limit);
        let said = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!(run.status.code(), Some(3), "{said}");
        assert!(said.contains("plan.xlsx"), "{said}");
        assert_eq!(path.exists().then(|| state(&path).head()), head, "{outage}");
        assert_eq!(std::fs::read(folder.path().join("plan.xlsx")).unwrap(), old);
    }
    // With room for it, it is plan 2 of the one and plan 1 of the other.
    for (outage, number) in [("first.outage", 2), ("second.outage", 1)] {
        let run = kit(outage, "");
        assert!(run.status.success(), "{run:?}");
        assert_eq!(state(&folder.path().join(outage)).last_plan().unwrap().number, number);
    }
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().flatten().collect();
    assert_eq!(left.len(), 5, "{left:?}");
}
