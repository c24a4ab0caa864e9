//! Standard output that cannot be written: exit status 3, said on standard error; a reader who has gone is no failure.

use std::fs::{self, File};
use std::path::Path;
use std::process::{Command, Stdio};

use tempfile::TempDir;

/// Every command that answers on standard output, and one that only reports there, with the files that it writes.
const ANSWERS: [(&[&str], &[&str]); 15] = [
    (&["schema"], &[]),
    (&["man"], &[]),
    (&["completions", "bash"], &[]),
    (&["help"], &[]),
    (&["help", "kit"], &[]),
    (&["help", "start"], &[]),
    (&["--help"], &[]),
    (&["--version"], &[]),
    (&["model", "list"], &[]),
    (&["model", "show", "screwed-impeller"], &[]),
    (&["check", "stock.csv", "pumps.csv"], &[]),
    (&["check", "stock.csv", "pumps.csv", "--problems", "json"], &[]),
    (&["kit", "stock.csv", "pumps.csv", "--json", "-"], &["kit-plan.xlsx"]),
    (&["kit", "stock.csv", "pumps.csv", "--problems", "json"], &["kit-plan.xlsx"]),
    (&["kit", "stock.csv", "pumps.csv"], &["kit-plan.xlsx"]),
];

fn shop() -> TempDir {
    let folder = TempDir::new().unwrap();
    for name in ["stock.csv", "pumps.csv"] {
        fs::copy(Path::new("samples/tiny").join(name), folder.path().join(name)).unwrap();
    }
    folder
}

/// Exit status and standard error of a run whose standard output goes there.
fn run(folder: &TempDir, arguments: &[&str], to: Stdio) -> (Option<i32>, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_gapwright"));
    command.current_dir(folder.path()).args(arguments).stdout(to).stderr(Stdio::piped());
    let output = command.spawn().unwrap().wait_with_output().unwrap();
    (output.status.code(), String::from_utf8(output.stderr).unwrap())
}

#[test]
fn a_full_disk_behind_standard_output_is_exit_3() {
    // A device that refuses every byte; systems without it have no such test.
    if !Path::new("/dev/full").exists() {
        return;
    }
    for (arguments, written) in ANSWERS {
        let folder = shop();
        let full = File::options().write(true).open("/dev/full").unwrap();
        let (status, said) = run(&folder, arguments, full.into());
        assert_eq!(status, Some(3), "{arguments:?}: {said}");
        assert!(said.contains("standard output could not be written"), "{arguments:?}: {said}");
        for name in written {
            assert!(folder.path().join(name).exists(), "{arguments:?}: {name}");
        }
    }
    // With problems in the inputs the status still says so.
    let folder = shop();
    fs::write(folder.path().join("pumps.csv"), "Tag\nA\n").unwrap();
    let full = File::options().write(true).open("/dev/full").unwrap();
    let arguments = ["check", "stock.csv", "pumps.csv", "--problems", "json"];
    assert_eq!(run(&folder, &arguments, full.into()).0, Some(2));
}

#[test]
fn a_reader_who_has_gone_is_no_failure() {
    for (arguments, _) in ANSWERS {
        let folder = shop();
        let (there, here) = std::io::pipe().unwrap();
        drop(there);
        let (status, said) = run(&folder, arguments, here.into());
        let done = if arguments[0] == "check" { 0..=1 } else { 0..=0 };
        assert!(done.contains(&status.unwrap()), "{arguments:?}: {status:?} {said}");
        assert!(!said.contains("standard output"), "{arguments:?}: {said}");
    }
}
