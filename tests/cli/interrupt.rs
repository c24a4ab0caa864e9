//! Ctrl-C, SIGTERM and SIGHUP during a search: the first is answered in words and the best plan found is written; the
//! second ends the run at once, with every output either old or new. No such run ends with status 0.

use std::fmt::Write as _;
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStderr, Command, Stdio};
use std::time::Duration;

use gapwright::formats::plan::PlanJson;
use tempfile::TempDir;

const ANSWER: &str = "stopping: writing the best plan found; press Ctrl-C again to leave at once";
/// Enough pumps for a search of minutes.
const PUMPS: usize = 400;
const OLD: &[u8] = b"the plan of last week";

/// A run of a large outage, without a limit that would end it soon.
struct Run {
    folder: TempDir,
    child: Child,
    said: BufReader<ChildStderr>,
}

/// An outage of many pumps that share one scarce drawer of many sizes, all invented.
fn outage(folder: &Path) {
    let mut stock = String::from("Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost\n");
    for size in 0..45_u32 {
        let (thickness, cost) = (20 + 10 * size + size % 3 * 5, 31 + size * 17 % 23);
        writeln!(stock, "S{size},shim,F1,0.{thickness:04},0.0001,17,0.{cost}").unwrap();
    }
    for size in 0..24_u32 {
        let (thickness, cost) = (600 + 50 * size, 41 + size * 13 % 29);
        writeln!(stock, "G{size},gasket,F1,0.{thickness:04},0.0002,34,0.{cost}").unwrap();
    }
    let mut pumps = String::from(
        "Tag,Model,Priority,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n",
    );
    let mut draw = 20_270_301_u64;
    for pump in 0..PUMPS {
        draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let (clearance, ring) = (300 + (draw >> 33) % 700, 400 + (draw >> 45) % 200);
        writeln!(
            pumps,
            "P-{pump},screwed-impeller,{},F1,F1,0.{clearance:04},0.{ring:04}",
            1 + pump % 3
        )
        .unwrap();
    }
    fs::write(folder.join("stock.csv"), stock).unwrap();
    fs::write(folder.join("pumps.csv"), pumps).unwrap();
}

impl Run {
    /// Starts a command and waits until its search handles Ctrl-C.
    fn searching(folder: TempDir, arguments: &[&str]) -> Run {
        let mut child = Command::new(env!("CARGO_BIN_EXE_gapwright"))
            .current_dir(folder.path())
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let said = BufReader::new(child.stderr.take().unwrap());
        let mut run = Run { folder, child, said };
        while !run.catches_interrupts() {
            let ended = run.child.try_wait().unwrap();
            assert!(ended.is_none(), "it ended before: {}", run.rest());
            std::thread::sleep(Duration::from_millis(2));
        }
        run
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Whether the process handles SIGINT, the second bit of the mask.
    fn catches_interrupts(&self) -> bool {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id()));
        let status = status.unwrap_or_default();
        let mask = status.lines().find_map(|line| line.strip_prefix("SigCgt:"));
        mask.is_some_and(|mask| u64::from_str_radix(mask.trim(), 16).unwrap() & 2 != 0)
    }

    fn interrupt(&self) {
        self.signal("-INT");
    }

    fn signal(&self, signal: &str) {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill").args([signal, &pid]).status().unwrap();
        assert!(sent.success());
    }

    /// Interrupts and waits for the answer.
    fn interrupt_and_hear(&mut self) {
        self.signal_and_hear("-INT");
    }

    fn signal_and_hear(&mut self, signal: &str) {
        self.signal(signal);
        let mut lines = self.said.by_ref().lines();
        let answered = lines.any(|line| line.unwrap() == ANSWER);
        assert!(answered, "no answer");
    }

    fn rest(&mut self) -> String {
        let mut rest = String::new();
        self.said.read_to_string(&mut rest).unwrap();
        rest
    }

    fn status(&mut self) -> Option<i32> {
        self.child.wait().unwrap().code()
    }

    /// Every output is the old file or a complete new one, without temporary files next to them.
    fn whole(&self) -> bool {
        let names = fs::read_dir(self.folder.path()).unwrap();
        let names = names.map(|entry| entry.unwrap().file_name().into_string().unwrap());
        let mut names: Vec<String> = names.collect();
        names.sort();
        assert_eq!(names, ["plan.json", "plan.xlsx", "pumps.csv", "stock.csv"]);
        let [json, workbook] =
            ["plan.json", "plan.xlsx"].map(|name| fs::read(self.path(name)).unwrap());
        let new = [json != OLD, workbook != OLD];
        if new[0] {
            let plan: PlanJson = serde_json::from_slice(&json).unwrap();
            assert_eq!(plan.pumps.len(), PUMPS);
        }
        if new[1] {
            let book = calamine::open_workbook_from_rs::<calamine::Xlsx<_>, _>(
                std::io::Cursor::new(workbook),
            );
            assert!(book.is_ok());
        }
        new[0] && new[1]
    }
}

const LONG: [&str; 6] = ["--time-limit", "36000", "--out", "plan.xlsx", "--json", "plan.json"];

fn kit() -> Run {
    let folder = TempDir::new().unwrap();
    outage(folder.path());
    for name in ["plan.xlsx", "plan.json"] {
        fs::write(folder.path().join(name), OLD).unwrap();
    }
    let kit = ["kit", "stock.csv", "pumps.csv", "--force"];
    Run::searching(folder, &[&kit[..], &LONG].concat())
}

#[test]
fn the_first_interrupt_is_answered_and_the_best_plan_is_written() {
    let mut run = kit();
    run.interrupt_and_hear();
    let mut told = String::new();
    let mut stdout = run.child.stdout.take().unwrap();
    stdout.read_to_string(&mut told).unwrap();
    assert_eq!(run.status(), Some(130), "{}", run.rest());
    assert!(run.whole());
    assert!(told.contains("interrupt"), "{told}");
    let plan: PlanJson = serde_json::from_slice(&fs::read(run.path("plan.json")).unwrap()).unwrap();
    assert!(!plan.proven);
}

#[test]
fn the_second_interrupt_ends_the_run_with_every_output_old_or_new() {
    let mut run = kit();
    run.interrupt_and_hear();
    run.interrupt();
    // The best plan may have been written before the second was sent.
    match run.status() {
        Some(130) => drop(run.whole()),
        other => panic!("{other:?}: {}", run.rest()),
    }
}

/// A run whose result is never read waits for ever after it has written its files: the second interrupt ends it all
/// the same.
#[test]
fn the_second_interrupt_ends_a_run_that_does_not_end_by_itself() {
    let folder = TempDir::new().unwrap();
    outage(folder.path());
    let kit = ["kit", "stock.csv", "pumps.csv", "--time-limit", "36000", "--json", "-"];
    let mut run = Run::searching(folder, &kit);
    run.interrupt_and_hear();
    // Standard output is a pipe that is not read, and the plan for programs is larger than a pipe holds.
    while !run.path("kit-plan.xlsx").exists() {
        assert!(run.child.try_wait().unwrap().is_none(), "{}", run.rest());
        std::thread::sleep(Duration::from_millis(2));
    }
    run.interrupt();
    assert_eq!(run.status(), Some(130), "{}", run.rest());
    let book = calamine::open_workbook::<calamine::Xlsx<_>, _>(run.path("kit-plan.xlsx"));
    assert!(book.is_ok());
}

/// What a scheduler or a closed terminal sends: answered alike, and the list for programs has the status and the files.
#[test]
fn a_run_that_is_told_to_end_does_not_end_as_done() {
    for signal in ["-TERM", "-HUP"] {
        let folder = TempDir::new().unwrap();
        outage(folder.path());
        let kit = ["kit", "stock.csv", "pumps.csv", "--problems", "json"];
        let mut run = Run::searching(folder, &[&kit[..], &LONG].concat());
        run.signal_and_hear(signal);
        let mut told = String::new();
        run.child.stdout.take().unwrap().read_to_string(&mut told).unwrap();
        assert_eq!(run.status(), Some(130), "{signal}: {}", run.rest());
        let list: gapwright::formats::problems::ProblemsJson = serde_json::from_str(&told).unwrap();
        assert_eq!(list.exit_status, 130, "{signal}");
        assert_eq!(list.written, ["plan.xlsx", "plan.json"], "{signal}");
        assert!(run.whole(), "{signal}");
    }
}

#[test]
fn a_provision_answers_too() {
    let folder = TempDir::new().unwrap();
    for name in ["stock.xlsx", "pumps.xlsx", "past.xlsx"] {
        fs::copy(Path::new("samples/provision").join(name), folder.path().join(name)).unwrap();
    }
    let provision = ["provision", "stock.xlsx", "pumps.xlsx", "--history", "past.xlsx"];
    let long = ["--scenarios", "100000", "--checks", "1000000", "--time-limit", "36000"];
    // So many scenarios take more than the usual memory.
    let long = [&long[..], &["--memory", "2000"]].concat();
    let mut run = Run::searching(folder, &[&provision[..], &long].concat());
    run.interrupt_and_hear();
    let mut told = String::new();
    let mut stdout = run.child.stdout.take().unwrap();
    stdout.read_to_string(&mut told).unwrap();
    let status = run.status();
    let said = run.rest();
    // Until the ways to kit are all listed, there is no plan to write.
    if status == Some(2) {
        assert!(said.contains("before all ways to kit the pumps were listed"), "{said}");
        assert!(!run.path("provision.xlsx").exists());
        return;
    }
    assert_eq!(status, Some(130), "{said}");
    assert!(told.contains("Ended early by interrupt"), "{told}");
    assert!(run.path("provision.xlsx").exists());
}
