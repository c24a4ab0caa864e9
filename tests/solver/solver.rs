//! A general solver, an existing one: a Python that has the wheel `highspy`, run on model files.

use std::ffi::OsString;
use std::fmt::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::thread;

use serde::Deserialize;

use crate::model::{Obvious, Rows};

/// The variable that names the Python.
pub const VARIABLE: &str = "GAPWRIGHT_SOLVER";

/// The script that asks the solver.
pub const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/solver/solve.py");

/// Source of a solver's answer, and the limits of its search.
pub struct Solver {
    python: OsString,
    /// Seconds for all goals of a model together.
    pub seconds: Option<u64>,
    /// Nodes of the search for each goal: unlike seconds, equal on every machine.
    pub nodes: Option<u32>,
}

/// Output of the script for a model.
#[derive(Deserialize)]
struct Answer {
    plan: Option<Vec<i64>>,
    bounds: [Option<f64>; 4],
    seconds: f64,
    megabytes: f64,
}

impl Solver {
    /// The solver that the environment names, if it names one.
    pub fn named() -> Option<Solver> {
        Some(Solver {
            python: std::env::var_os(VARIABLE).filter(|python| !python.is_empty())?,
            seconds: None,
            nodes: None,
        })
    }

    /// Solves models, two at a time; `None` for one without a plan within the limits.
    ///
    /// # Panics
    /// If the solver cannot be run, or does not answer for every model.
    pub fn solve(&self, models: &[Rows]) -> Vec<Option<Obvious>> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let write = |(number, rows): (usize, &Rows)| -> PathBuf {
            let path = folder.path().join(format!("{number}.lp"));
            std::fs::write(&path, rows.lp()).expect("room for a model");
            path
        };
        let paths: Vec<PathBuf> = models.iter().enumerate().map(write).collect();
        let half = paths.len().div_ceil(2);
        let (first, second) = paths.split_at(half);
        let answers: Vec<Answer> = thread::scope(|scope| {
            let second = scope.spawn(|| self.answers(second));
            let mut answers = self.answers(first);
            answers.extend(second.join().expect("answers"));
            answers
        });
        assert_eq!(answers.len(), models.len(), "an answer for each model");
        let judged = models.iter().zip(answers).map(|(rows, answer)| {
            Some(Obvious {
                seconds: answer.seconds,
                megabytes: answer.megabytes,
                ..rows.judge(&answer.plan?, answer.bounds)?
            })
        });
        judged.collect()
    }

    fn answers(&self, models: &[PathBuf]) -> Vec<Answer> {
        if models.is_empty() {
            return Vec::new();
        }
        let mut command = Command::new(&self.python);
        command.arg(SCRIPT).args(models).stderr(Stdio::piped());
        if let Some(seconds) = self.seconds {
            command.arg(format!("--seconds={seconds}"));
        }
        if let Some(nodes) = self.nodes {
            command.arg(format!("--nodes={nodes}"));
        }
        let output = command.output().unwrap_or_else(|error| {
            panic!("{VARIABLE}={}: {error}", self.python.display());
        });
        let mut told = String::new();
        let _ = write!(told, "{}", String::from_utf8_lossy(&output.stderr));
        assert!(output.status.success(), "the general solver failed:\n{told}");
        let lines = String::from_utf8_lossy(&output.stdout);
        let read = |line: &str| serde_json::from_str(line).expect("an answer in JSON");
        lines.lines().map(read).collect()
    }
}
