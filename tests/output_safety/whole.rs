//! A run killed at any point leaves the old files or the new ones.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};
use std::time::{Duration, Instant, SystemTime};

use calamine::{Reader, Xlsx, open_workbook};
use tempfile::TempDir;

use super::gapwright;

const DATES: [&str; 2] = ["2027-03-01", "2027-03-02"];

fn start(out: &Path, json: &Path, date: &str) -> Child {
    gapwright()
        .args(["kit", "samples/tiny/stock.csv", "samples/tiny/pumps.csv", "--force"])
        .args(["--date", date, "--threads", "1"])
        .args(["--out".as_ref(), out, "--json".as_ref(), json])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Temporary files in a folder.
fn leftovers(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap().flatten();
    let names = entries.filter(|entry| {
        let name = entry.file_name();
        name.to_string_lossy().starts_with(".gapwright-writing-")
    });
    names.map(|entry| entry.path()).collect()
}

/// Event at which a run is killed.
#[derive(Clone, Copy)]
enum On {
    /// This long after its start.
    Delay(Duration),
    /// When a temporary file exists.
    Temporary,
    /// When the workbook has been renamed.
    Renamed,
}

#[test]
fn a_run_killed_at_any_point_leaves_the_old_file_or_the_new_one() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name);
    // Equal inputs and date give equal bytes, so the expected result of a run is known.
    let mut usual = Duration::ZERO;
    let whole = DATES.map(|date| {
        let begun = Instant::now();
        let (out, json) = (path("whole.xlsx"), path("whole.json"));
        assert!(start(&out, &json, date).wait().unwrap().success());
        usual = begun.elapsed();
        let book: Xlsx<_> = open_workbook(&out).unwrap();
        assert!(book.sheet_names().len() > 5);
        (fs::read(out).unwrap(), fs::read(json).unwrap())
    });
    assert_ne!(whole[0].0, whole[1].0);
    assert_eq!(whole[0].1, whole[1].1, "the plan for programs has no date");
    let (out, json) = (path("plan.xlsx"), path("plan.json"));
    fs::write(&out, &whole[0].0).unwrap();
    fs::write(&json, "old").unwrap();
    let (mut before, mut after, mut writing, mut finished, mut mixed) = (0, 0, 0, 0, 0);
    let mut old = 0;
    for attempt in 0..600_u32 {
        if before >= 5 && after >= 5 && writing >= 5 && finished >= 1 && attempt >= 60 {
            break;
        }
        let on = match attempt % 3 {
            0 => On::Delay(usual * (attempt / 3 % 40) / 15),
            1 => On::Temporary,
            _ => On::Renamed,
        };
        for leftover in leftovers(folder.path()) {
            fs::remove_file(leftover).unwrap();
        }
        fs::write(&json, "old").unwrap();
        let inode = fs::metadata(&out).unwrap().ino();
        let mut run = start(&out, &json, DATES[1 - old]);
        match on {
            On::Delay(delay) => std::thread::sleep(delay),
            On::Temporary => {
                while leftovers(folder.path()).is_empty() && run.try_wait().unwrap().is_none() {}
            }
            On::Renamed => {
                while fs::metadata(&out).unwrap().ino() == inode
                    && run.try_wait().unwrap().is_none()
                {}
            }
        }
        run.kill().unwrap();
        let killed = run.wait().unwrap().signal() == Some(9);
        let (left, plan) = (fs::read(&out).unwrap(), fs::read(&json).unwrap());
        let new = left == whole[1 - old].0;
        assert!(new || left == whole[old].0, "attempt {attempt}: neither the old file nor the new");
        assert!(plan == b"old" || plan == whole[0].1, "attempt {attempt}");
        match (killed, new) {
            (false, _) => {
                assert!(new && plan == whole[0].1 && leftovers(folder.path()).is_empty());
                finished += 1;
            }
            (true, false) => {
                assert_eq!(plan, b"old", "the workbook is renamed first");
                before += 1;
                writing += usize::from(!leftovers(folder.path()).is_empty());
            }
            (true, true) => {
                after += 1;
                mixed += usize::from(plan == b"old");
            }
        }
        if new {
            old = 1 - old;
        }
    }
    println!(
        "killed before the rename {before} (of them while writing {writing}), after it {after} \
         (of them between the two files {mixed}), finished {finished}"
    );
    assert!(before > 0 && writing > 0 && after > 0 && finished > 0);
}

/// Leftovers of a killed run stop no later run, and are removed once no run can still be writing them.
#[test]
fn leftovers_of_killed_runs_hinder_nobody_and_are_removed_after_an_hour() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name);
    let (out, json) = (path("plan.xlsx"), path("plan.json"));
    let aged = |name: &str, hours: u64| {
        let file = fs::File::create(path(name)).unwrap();
        let then = SystemTime::now() - Duration::from_secs(3600 * hours + 60);
        file.set_modified(then).unwrap();
    };
    aged(".gapwright-writing-AbC123", 1);
    aged(".gapwright-writing-fresh1", 0);
    // Names that are not quite ours belong to others.
    aged(".gapwright-writing-notes.txt", 9);
    aged(".gapwright-writing-", 9);
    fs::create_dir(path(".gapwright-writing-folder")).unwrap();
    assert!(start(&out, &json, DATES[0]).wait().unwrap().success());
    let mut left: Vec<_> = leftovers(folder.path());
    left.sort();
    let mut expected = [
        path(".gapwright-writing-"),
        path(".gapwright-writing-folder"),
        path(".gapwright-writing-fresh1"),
        path(".gapwright-writing-notes.txt"),
    ];
    expected.sort();
    assert_eq!(left, expected);
}
