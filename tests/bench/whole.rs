//! A whole run of the built program on the files of a case, and the bare reading and writing of its cells.

use std::fs::{self, File};
use std::io;
use std::path::Path;
use std::process::{Child, Command, ExitStatus};
use std::thread;
use std::time::{Duration, Instant};

use calamine::{Data, Reader};
use rust_xlsxwriter::Workbook;

use crate::setting;
use crate::workbooks::Files;

/// Result of a whole run.
pub struct Run {
    pub seconds: f64,
    /// Peak resident memory in megabytes, where the system tells.
    memory: Option<f64>,
    /// The workbook's size in bytes, if there is one.
    size: u64,
    pub written: bool,
    /// Whether an interrupt or the end of patience ended it.
    pub ended_early: bool,
    /// Further remarks, one line each.
    pub remarks: Vec<String>,
}

impl Run {
    pub fn line(&self) -> String {
        let or_none = |figure: Option<String>| figure.unwrap_or("-".into());
        format!(
            "{:7.2} {:>5} {:>7}",
            self.seconds,
            or_none(self.memory.map(|memory| format!("{memory:.0}"))),
            or_none(self.written.then(|| format!("{:.0}", self.size as f64 / 1e3))),
        )
    }
}

/// Runs `kit` on the files, and interrupts it if asked to.
pub fn kit(files: &Files, limit: u64) -> Run {
    for old in [&files.plan, &files.json] {
        let _ = fs::remove_file(old);
    }
    let told = File::create(&files.told).unwrap();
    let child = Command::new(env!("CARGO_BIN_EXE_gapwright"))
        .arg("kit")
        .args([&files.stock, &files.pumps])
        .arg("--models")
        .arg(&files.models)
        .arg("--out")
        .arg(&files.plan)
        .arg("--json")
        .arg(&files.json)
        .args(["--time-limit", &limit.to_string(), "--date", "2027-03-01"])
        // Fleets of ten thousand pumps are measured too.
        .args(["--memory", "8000"])
        .stdout(told.try_clone().unwrap())
        .stderr(told)
        .spawn()
        .unwrap();
    let watched = control(child, limit);
    let size = fs::metadata(&files.plan).map_or(0, |file| file.len());
    let mut run = Run {
        seconds: watched.seconds,
        memory: watched.memory,
        size,
        written: size > 0,
        ended_early: watched.ended_early,
        remarks: watched.remarks,
    };
    if !run.written {
        let text = fs::read_to_string(&files.told).unwrap_or_default();
        let last = text.lines().rfind(|line| !line.trim().is_empty());
        let last = last.unwrap_or("nothing was said");
        run.remarks.push(format!("not written ({}): {last}", watched.status));
    } else if !watched.status.success() {
        run.remarks.push(format!("it ended with {}", watched.status));
    }
    run
}

/// Observations of a process until it ended.
struct Watched {
    seconds: f64,
    memory: Option<f64>,
    status: ExitStatus,
    ended_early: bool,
    remarks: Vec<String>,
}

/// Waits for a process and reads its memory every few milliseconds. Sends an interrupt when one is asked for, another
/// when patience ends, and then a signal that no program can refuse.
fn control(mut child: Child, limit: u64) -> Watched {
    let seconds = |name| setting(name).map(Duration::from_secs_f64);
    let interrupt = seconds("INTERRUPT");
    let patience = seconds("PATIENCE").unwrap_or(Duration::from_secs(120));
    let first = interrupt.unwrap_or(Duration::from_secs(limit) + patience);
    let mut orders = vec![
        ("INT", first),
        ("INT", first + patience),
        ("KILL", first + patience + Duration::from_secs(10)),
    ];
    orders.reverse();
    let (mut memory, mut sent) = (None, Vec::new());
    let start = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        memory = peak(child.id()).or(memory);
        if let Some((signal, _)) = orders.pop_if(|(_, at)| start.elapsed() >= *at) {
            let told =
                Command::new("kill").args([format!("-{signal}"), child.id().to_string()]).status();
            assert!(told.is_ok_and(|told| told.success()), "there is no `kill`");
            sent.push((signal, start.elapsed()));
        }
        thread::sleep(Duration::from_millis(5));
    };
    let end = start.elapsed();
    let remarks = sent.iter().map(|(signal, at)| {
        format!(
            "SIG{signal} after {:.2} s, ended {:.2} s later",
            at.as_secs_f64(),
            (end - *at).as_secs_f64()
        )
    });
    Watched {
        seconds: end.as_secs_f64(),
        memory,
        status,
        ended_early: !sent.is_empty(),
        remarks: remarks.collect(),
    }
}

/// Peak resident memory of a process so far, in megabytes, where the system reports it.
pub fn peak(process: u32) -> Option<f64> {
    let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    let kilobytes: f64 = line.split_whitespace().next()?.parse().ok()?;
    Some(kilobytes / 1024.0)
}

/// Every cell of a workbook, sheet by sheet.
fn cells(file: &Path) -> io::Result<Vec<(String, calamine::Range<Data>)>> {
    let mut book = calamine::open_workbook_auto(file).map_err(io::Error::other)?;
    Ok(book.worksheets())
}

/// Reads the inputs and writes every cell of the plan's workbook again, without formats, pictures or formulas.
/// Returns the seconds; reading the plan's workbook does not count.
pub fn bare(files: &Files) -> io::Result<f64> {
    let plan = cells(&files.plan)?;
    let start = Instant::now();
    for input in [&files.stock, &files.pumps] {
        std::hint::black_box(cells(input)?);
    }
    let mut workbook = Workbook::new();
    for (name, range) in &plan {
        let sheet = workbook.add_worksheet();
        sheet.set_name(name).map_err(io::Error::other)?;
        let (first_row, first_column) = range.start().unwrap_or_default();
        for (row, column, value) in range.used_cells() {
            let row = first_row + row as u32;
            let column = (first_column as usize + column) as u16;
            match value {
                Data::Int(number) => sheet.write_number(row, column, *number as f64),
                Data::Float(number) => sheet.write_number(row, column, *number),
                other => sheet.write_string(row, column, other.to_string()),
            }
            .map_err(io::Error::other)?;
        }
    }
    let bytes = workbook.save_to_buffer().map_err(io::Error::other)?;
    fs::write(files.told.with_extension("xlsx"), bytes)?;
    Ok(start.elapsed().as_secs_f64())
}
