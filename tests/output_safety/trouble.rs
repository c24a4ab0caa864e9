//! A full disk, a read-only folder, and outputs that cannot be written: exit status 3, the old file unchanged, and on
//! the terminal the path, the reason and a statement that no file was written. Each is done for real.

use std::fs;
use std::os::unix::fs::{FileTypeExt, PermissionsExt, symlink};
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use tempfile::TempDir;

use super::gapwright;

const OLD: &str = "the plan of last week";

struct Shop {
    folder: TempDir,
}

impl Shop {
    /// A folder with inputs that anyone may read.
    fn new() -> Shop {
        let folder = TempDir::new().unwrap();
        fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).unwrap();
        for name in ["stock.csv", "pumps.csv"] {
            let bytes = fs::read(Path::new("samples/tiny").join(name)).unwrap();
            fs::write(folder.path().join(name), bytes).unwrap();
        }
        Shop { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn folder(&self, name: &str) -> PathBuf {
        let path = self.path(name);
        fs::create_dir(&path).unwrap();
        path
    }

    fn arguments(&self, out: &Path) -> Vec<String> {
        let shown = |path: &Path| path.to_str().unwrap().to_string();
        let (stock, pumps) = (self.path("stock.csv"), self.path("pumps.csv"));
        let fixed = ["--force", "--date", "2027-03-01", "--out"];
        let mut arguments = vec!["kit".to_string(), shown(&stock), shown(&pumps)];
        arguments.extend(fixed.map(String::from));
        arguments.push(shown(out));
        arguments
    }

    fn kit(&self, out: &Path) -> Output {
        gapwright().args(self.arguments(out)).output().unwrap()
    }
}

/// The run failed as it should: everything is reported, and the folder holds only its old files.
fn refused(run: &Output, path: &Path, reasons: &[&str]) {
    let said = String::from_utf8(run.stderr.clone()).unwrap();
    assert_eq!(run.status.code(), Some(3), "{said}");
    assert!(said.contains(path.to_str().unwrap()), "{path:?} in\n{said}");
    assert!(reasons.iter().any(|reason| said.contains(reason)), "{reasons:?} in\n{said}");
    assert!(said.ends_with("1 problem. Nothing was written.\n"), "{said}");
    assert_eq!(run.stdout, b"");
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap().flatten();
    entries.map(|entry| entry.file_name().into_string().unwrap()).collect()
}

fn done(command: &mut Command) -> bool {
    command.output().is_ok_and(|run| run.status.success())
}

/// An action that is undone at the end, even after a failed test.
struct Undo(Vec<String>);

impl Drop for Undo {
    fn drop(&mut self) {
        Command::new(&self.0[0]).args(&self.0[1..]).output().ok();
    }
}

fn undo(words: &[&str]) -> Undo {
    Undo(words.iter().map(ToString::to_string).collect())
}

/// A limit on the size of files fails a write half-way, as a full disk does.
#[test]
fn a_write_that_fails_half_way_leaves_the_old_file() {
    let shop = Shop::new();
    let folder = shop.folder("out");
    let out = folder.join("plan.xlsx");
    fs::write(&out, OLD).unwrap();
    let limited = |before: &str| {
        let script = format!("{before} ulimit -f 4; exec \"$@\"");
        let mut run = Command::new("sh");
        run.args(["-c", &script, "sh", env!("CARGO_BIN_EXE_gapwright")]);
        run.args(shop.arguments(&out)).output().unwrap()
    };
    // A shell's empty trap makes its children ignore the signal: then the write fails.
    let run = limited("trap '' XFSZ;");
    refused(&run, &out, &["File too large"]);
    assert!(String::from_utf8(run.stderr).unwrap().contains("make room"));
    assert_eq!(fs::read_to_string(&out).unwrap(), OLD);
    assert_eq!(names(&folder), ["plan.xlsx"], "no temporary file stays behind");
    // Otherwise the signal (25 on Linux) ends the run.
    let run = limited("");
    assert_eq!(run.status.signal(), Some(25));
    assert_eq!(fs::read_to_string(&out).unwrap(), OLD);
}

/// A disk of 1 MB that has room for the old file and not for a new one. Needs permission to mount one.
#[test]
fn a_full_disk_leaves_the_old_file() {
    let shop = Shop::new();
    let folder = shop.folder("disk");
    let at = folder.to_str().unwrap();
    if !done(Command::new("mount").args(["-t", "tmpfs", "-o", "size=1m", "gapwright-test", at])) {
        println!("no leave to mount a disk: the limit on file sizes stands for it");
        return;
    }
    let _undo = undo(&["umount", at]);
    let out = folder.join("plan.xlsx");
    fs::write(&out, OLD).unwrap();
    fs::write(folder.join("other"), vec![1; 1012 * 1024]).unwrap();
    refused(&shop.kit(&out), &out, &["No space left", "no storage space"]);
    assert_eq!(fs::read_to_string(&out).unwrap(), OLD);
    assert_eq!(names(&folder).len(), 2, "no temporary file stays behind");
    fs::remove_file(folder.join("other")).unwrap();
    let run = shop.kit(&out);
    assert_eq!(run.status.code(), Some(0), "with room it is written");
}

/// Root may write into every folder whatever its permissions, so several ways are tried.
#[test]
fn a_read_only_folder_leaves_the_old_file() {
    let reasons = ["ermission denied", "ead-only", "write-protected"];
    let mut ways = Vec::new();
    let with_old = |shop: &Shop| {
        let folder = shop.folder("out");
        fs::write(folder.join("plan.xlsx"), OLD).unwrap();
        folder
    };
    let check = |run: &Output, folder: &Path| {
        let out = folder.join("plan.xlsx");
        refused(run, &out, &reasons);
        assert_eq!(fs::read_to_string(out).unwrap(), OLD);
        assert_eq!(names(folder), ["plan.xlsx"]);
    };
    {
        let shop = Shop::new();
        let folder = with_old(&shop);
        let at = folder.to_str().unwrap();
        if done(Command::new("mount").args(["--bind", at, at])) {
            let _undo = undo(&["umount", at]);
            if done(Command::new("mount").args(["-o", "remount,bind,ro", at])) {
                check(&shop.kit(&folder.join("plan.xlsx")), &folder);
                ways.push("read-only mount");
            }
        }
    }
    {
        let shop = Shop::new();
        let folder = with_old(&shop);
        let at = folder.to_str().unwrap();
        if done(Command::new("chattr").args(["+i", at])) {
            let _undo = undo(&["chattr", "-i", at]);
            check(&shop.kit(&folder.join("plan.xlsx")), &folder);
            ways.push("immutable folder");
        }
    }
    {
        // As another user, from a copy of the program within that user's reach.
        let shop = Shop::new();
        let folder = with_old(&shop);
        let program = shop.path("gapwright");
        fs::copy(env!("CARGO_BIN_EXE_gapwright"), &program).unwrap();
        let someone = ["--reuid=65534", "--regid=65534", "--clear-groups"];
        if done(Command::new("setpriv").args(someone).arg("true")) {
            let mut run = Command::new("setpriv");
            run.args(someone).arg(&program).args(shop.arguments(&folder.join("plan.xlsx")));
            check(&run.output().unwrap(), &folder);
            ways.push("another user");
        }
    }
    {
        let shop = Shop::new();
        let folder = with_old(&shop);
        fs::set_permissions(&folder, fs::Permissions::from_mode(0o555)).unwrap();
        // Root is not stopped by this.
        if fs::write(folder.join("probe"), "").is_err() {
            check(&shop.kit(&folder.join("plan.xlsx")), &folder);
            ways.push("permissions");
        }
        fs::set_permissions(&folder, fs::Permissions::from_mode(0o755)).unwrap();
    }
    println!("done by: {}", ways.join(", "));
    assert!(!ways.is_empty(), "no way to make a folder read-only");
}

#[test]
fn a_folder_that_is_not_there_is_not_made() {
    let shop = Shop::new();
    let out = shop.path("no/such/plan.xlsx");
    refused(&shop.kit(&out), &out, &["no folder"]);
    assert!(!shop.path("no").exists());
    // A file in place of the folder.
    let out = shop.path("stock.csv/plan.xlsx");
    refused(&shop.kit(&out), &out, &["no folder", "Not a directory"]);
}

#[test]
fn a_folder_or_a_device_is_never_replaced() {
    let shop = Shop::new();
    let folder = shop.folder("plan.xlsx");
    refused(&shop.kit(&folder), &folder, &["a folder, which cannot be written"]);
    assert!(folder.is_dir());
    let before = names(Path::new("/dev"));
    for device in ["/dev/null", "/dev/full"] {
        let mut arguments = shop.arguments(&shop.path("new.xlsx"));
        arguments.extend(["--json".to_string(), device.to_string()]);
        let run = gapwright().args(arguments).output().unwrap();
        refused(&run, Path::new(device), &["a device or a pipe, which cannot be written"]);
        assert!(fs::metadata(device).unwrap().file_type().is_char_device());
        assert!(!shop.path("new.xlsx").exists());
    }
    let after = names(Path::new("/dev"));
    let ours = |names: &[String]| names.iter().filter(|n| n.contains("gapwright")).count();
    assert_eq!(ours(&before), ours(&after));
}

/// A link is followed: it keeps its target, and the target is new.
#[test]
fn a_symbolic_link_is_followed() {
    let shop = Shop::new();
    let (weeks, desk) = (shop.folder("weeks"), shop.folder("desk"));
    let (real, link) = (weeks.join("week-12.xlsx"), desk.join("plan.xlsx"));
    fs::write(&real, OLD).unwrap();
    symlink("../weeks/week-12.xlsx", &link).unwrap();
    let run = shop.kit(&link);
    assert_eq!(run.status.code(), Some(0), "{}", String::from_utf8_lossy(&run.stderr));
    assert_eq!(fs::read_link(&link).unwrap(), Path::new("../weeks/week-12.xlsx"));
    assert!(fs::read(&real).unwrap().starts_with(b"PK"));
    assert_eq!((names(&weeks).len(), names(&desk).len()), (1, 1));
    // A link to a missing file: the file is made there.
    fs::remove_file(&real).unwrap();
    assert_eq!(shop.kit(&link).status.code(), Some(0));
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink() && real.is_file());
    // A link that leads back to itself.
    let round = desk.join("round.xlsx");
    symlink("round.xlsx", &round).unwrap();
    refused(&shop.kit(&round), &round, &["leads back to itself"]);
}

/// A write-protected plan is meant to stay, which outranks `--force`.
#[test]
fn a_write_protected_file_is_not_replaced_even_by_force() {
    let shop = Shop::new();
    let folder = shop.folder("out");
    let out = folder.join("plan.xlsx");
    fs::write(&out, OLD).unwrap();
    fs::set_permissions(&out, fs::Permissions::from_mode(0o444)).unwrap();
    refused(&shop.kit(&out), &out, &["write-protected"]);
    assert_eq!(fs::read_to_string(&out).unwrap(), OLD);
    assert_eq!(names(&folder), ["plan.xlsx"]);
    // Without protection it is replaced, and stays as readable as it was.
    fs::set_permissions(&out, fs::Permissions::from_mode(0o640)).unwrap();
    assert_eq!(shop.kit(&out).status.code(), Some(0));
    assert_eq!(fs::metadata(&out).unwrap().permissions().mode() & 0o777, 0o640);
}

/// Of two files the second has an obstacle that only shows in its folder: the first is unchanged.
#[test]
fn of_two_files_none_is_changed_if_one_cannot_be_written() {
    let shop = Shop::new();
    let folder = shop.folder("out");
    let out = folder.join("plan.xlsx");
    fs::write(&out, OLD).unwrap();
    let json = shop.path("no/plan.json");
    let mut arguments = shop.arguments(&out);
    arguments.extend(["--json".to_string(), json.to_str().unwrap().to_string()]);
    let run = gapwright().args(arguments).output().unwrap();
    refused(&run, &json, &["no folder"]);
    assert_eq!(fs::read_to_string(&out).unwrap(), OLD);
    assert_eq!(names(&folder), ["plan.xlsx"]);
}

/// A place to write to, of a run without inputs.
fn output(path: &Path, replace: bool) -> gapwright::output::Output {
    let inputs = gapwright::output::Inputs::default();
    inputs.output(path, replace).unwrap()
}

/// A failure that only shows at the second rename is reported with the file written before it.
#[test]
fn what_was_written_before_is_said() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("plan.xlsx");
    // One name twice: free when both are checked, taken when the second is put in its place.
    let place = output(&path, false);
    let error = gapwright::output::place(&[(&place, b"one"), (&place, b"two")]).unwrap_err();
    assert_eq!(error.written_before(), std::slice::from_ref(&path));
    assert!(error.problem().found.contains("cannot be written"));
    assert_eq!(fs::read(&path).unwrap(), b"one");
    assert_eq!(names(folder.path()), ["plan.xlsx"]);
}

#[cfg(unix)]
#[test]
fn what_is_replaced_keeps_its_permissions() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("plan.xlsx");
    let mode = || fs::metadata(&path).unwrap().permissions().mode() & 0o777;
    for kept in [0o664, 0o600, 0o640] {
        fs::write(&path, b"old").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(kept)).unwrap();
        gapwright::output::place(&[(&output(&path, true), b"new")]).unwrap();
        assert_eq!((mode(), fs::read(&path).unwrap().as_slice()), (kept, &b"new"[..]));
    }
    // A new one is as readable as any other new file of this user.
    let (new, other) = (folder.path().join("new.xlsx"), folder.path().join("other"));
    gapwright::output::place(&[(&output(&new, false), b"new")]).unwrap();
    fs::write(&other, b"other").unwrap();
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode();
    assert_eq!(mode(&new), mode(&other));
}
