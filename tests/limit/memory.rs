//! What a run may hold is worked out before it is taken: too much is refused in words, whatever the number of threads.
//!
//! The program runs under a limit on its address space, so that one that asks for more dies and the test fails.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::Command;

use gapwright::choose::choose;
use gapwright::choose::control::{Control, Room};
use gapwright::choose::worth::valued;
use gapwright::plan::{Plan, Stop};
use tempfile::TempDir;

use super::generate;

/// The choice on so many threads, within so many megabytes.
fn within(job: &gapwright::job::Job, megabytes: u64, threads: usize) -> Result<Plan, String> {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
    pool.install(|| {
        let room = Room::of_megabytes(megabytes);
        let control = Control::unlimited().within(&room);
        let plan = choose(job, &control).map_err(|error| error.to_string())?;
        Ok(valued(job, plan, &control))
    })
}

#[test]
fn room_changes_nothing_but_whether_there_is_a_plan() {
    // Ways to kit of about two megabytes.
    let job = generate::fleet(1, 24, 16, 8, 12, 3);
    let free = valued(&job, choose(&job, &Control::unlimited()).unwrap(), &Control::unlimited());
    assert!(!free.worth.is_empty());
    let (mut refused, mut without, mut whole) = (0, 0, 0);
    for megabytes in [0, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 64, 256] {
        let one = within(&job, megabytes, 1);
        assert_eq!(one, within(&job, megabytes, 4), "{megabytes} MB");
        match one {
            Err(error) => {
                assert!(error.contains(&format!("more than {megabytes} MB of memory")), "{error}");
                assert_eq!(without + whole, 0, "{megabytes} MB");
                refused += 1;
            }
            Ok(plan) if plan.left_out.worth == Some(Stop::Memory) => {
                assert_eq!(plan.kits, free.kits, "{megabytes} MB");
                assert!(plan.worth.is_empty());
                assert_eq!(whole, 0, "{megabytes} MB");
                without += 1;
            }
            Ok(plan) => {
                assert_eq!(plan, free, "{megabytes} MB");
                whole += 1;
            }
        }
    }
    assert!(refused > 0 && whole > 0, "{refused} {without} {whole}");
}

/// An ample drawer of many sizes, and pumps whose clearance is known, or only expected. All of it invented.
fn shop(sizes: u32, pumps: u32, ahead: bool) -> TempDir {
    let folder = TempDir::new().unwrap();
    let mut stock = String::from("Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost\n");
    for size in 1..=sizes {
        writeln!(stock, "S{size},shim,F1,0.{:04},0.0001,1000,1.00", 10 * size + size % 7).unwrap();
    }
    for size in 0..30 {
        writeln!(stock, "G{size},gasket,F1,0.{:03},0.0003,1000,2.00", 15 + 3 * size).unwrap();
    }
    let range = if ahead { ",Bare clearance low (in),Bare clearance high (in)" } else { "" };
    let mut rows = format!(
        "Tag,Model,Bearing shims fit,Cover gasket fit,Snap ring (in),Bare clearance (in){range}\n"
    );
    for pump in 0..pumps {
        let clearance = 400 + 3 * (pump % 150);
        let at = |ticks: u32| format!("0.{ticks:04}");
        let known = match ahead {
            false => at(clearance),
            true => format!(",{},{}", at(clearance), at(clearance + 200)),
        };
        writeln!(rows, "P{pump},screwed-impeller,F1,F1,0.050,{known}").unwrap();
    }
    fs::write(folder.path().join("stock.csv"), stock).unwrap();
    fs::write(folder.path().join("pumps.csv"), rows).unwrap();
    folder
}

/// Exit status and standard error of a run that may have so much memory, and not a byte of addresses beyond it.
fn run(folder: &Path, megabytes: u64, arguments: &[&str]) -> (Option<i32>, String) {
    let kilobytes = megabytes * 1_000_000 / 1024;
    // One heap for all threads: the addresses that the C library sets aside for each do not count then.
    let output = Command::new("sh")
        .current_dir(folder)
        .env("MALLOC_ARENA_MAX", "1")
        .args(["-c", &format!("ulimit -v {kilobytes} && exec \"$0\" \"$@\"")])
        .arg(env!("CARGO_BIN_EXE_gapwright"))
        .args(arguments)
        .args(["stock.csv", "pumps.csv", "--threads", "2", "--memory", &megabytes.to_string()])
        .output()
        .unwrap();
    (output.status.code(), String::from_utf8(output.stderr).unwrap())
}

/// Some millions of ways, a gigabyte: a plan does without a list of them, a purchase does not.
#[test]
fn ways_that_do_not_fit_into_memory_are_priced_or_refused() {
    let folder = shop(24, 800, false);
    let (status, said) = run(folder.path(), 400, &["kit"]);
    assert_eq!(status, Some(0), "{said}");
    assert!(folder.path().join("kit-plan.xlsx").exists());
    let (status, said) = run(folder.path(), 400, &["reorder"]);
    assert_eq!(status, Some(2), "{said}");
    assert!(said.contains("give more with --memory"), "{said}");
}

#[test]
fn values_in_steps_of_a_tenth_of_a_micrometre_are_refused() {
    let folder = shop(20, 30, true);
    let (status, said) = run(folder.path(), 512, &["provision", "--step", "0.0001 mm"]);
    assert_eq!(status, Some(2), "{said}");
    assert!(said.contains("values and scenarios to examine that do not fit into memory"), "{said}");
    assert!(said.contains("take a coarser --step"), "{said}");
    // So are scenarios without number.
    let many = ["provision", "--step", "0.002 in", "--scenarios", "100000", "--checks", "1000000"];
    let (status, said) = run(folder.path(), 128, &many);
    assert_eq!(status, Some(2), "{said}");
    assert!(said.contains("fewer --scenarios and --checks"), "{said}");
}

#[test]
fn a_plan_that_takes_more_than_there_is_to_write_is_refused_before_the_work() {
    let folder = shop(3, 2_000, false);
    let (status, said) = run(folder.path(), 64, &["kit"]);
    assert_eq!(status, Some(2), "{said}");
    assert!(said.contains("2000 pumps, whose workbook takes about"), "{said}");
    assert!(said.contains("give at least --memory"), "{said}");
}

/// Long sheets go through a temporary file: a limit on the size of files stands for a full disk.
#[test]
fn a_long_sheet_that_finds_no_room_on_disk_ends_the_run_in_words() {
    let folder = shop(3, 1_100, false);
    let output = Command::new("sh")
        .current_dir(folder.path())
        .args(["-c", "trap '' XFSZ; ulimit -f 64; exec \"$0\" kit stock.csv pumps.csv"])
        .arg(env!("CARGO_BIN_EXE_gapwright"))
        .output()
        .unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(3), "{said}");
    assert!(said.contains("a temporary file that cannot be written"), "{said}");
    assert!(said.contains("Nothing was written"), "{said}");
    assert!(!said.contains("panicked"), "{said}");
    assert!(!folder.path().join("kit-plan.xlsx").exists());
}
