//! CPU time and peak memory of a process by phases of its work, where the system tells.

use std::fmt::Write;
use std::fs;
use std::sync::Mutex;

/// Phases in their order, the last one running. Work on all threads counts.
pub struct Phases(Mutex<Vec<Phase>>);

struct Phase {
    name: &'static str,
    /// Seconds of CPU before it, and in it so far.
    before: f64,
    cpu: f64,
    megabytes: f64,
}

impl Phases {
    pub fn begin(name: &'static str) -> Phases {
        forget_peak();
        Phases(Mutex::new(vec![Phase { name, before: cpu(), cpu: 0.0, megabytes: 0.0 }]))
    }

    /// Goes on to a phase, or on in it; one that comes again counts on.
    pub fn enter(&self, name: &'static str) {
        let mut phases = self.0.lock().unwrap();
        let now = cpu();
        let last = phases.last_mut().unwrap();
        if last.name == name {
            return;
        }
        last.cpu += now - last.before;
        last.megabytes = last.megabytes.max(peak());
        forget_peak();
        let known = phases.iter().position(|phase| phase.name == name);
        let mut next = match known {
            Some(at) => phases.remove(at),
            None => Phase { name, before: 0.0, cpu: 0.0, megabytes: 0.0 },
        };
        next.before = now;
        phases.push(next);
    }

    /// All phases in words.
    pub fn told(self) -> String {
        self.enter("");
        let mut phases = self.0.into_inner().unwrap();
        phases.pop();
        let mut told = String::from("CPU s (peak MB):");
        for Phase { name, cpu, megabytes, .. } in phases {
            let _ = write!(told, " {name} {cpu:.3} ({megabytes:.0})");
        }
        told
    }
}

/// Seconds of CPU that this process has taken so far on all threads.
#[cfg(unix)]
fn cpu() -> f64 {
    use nix::sys::resource::{UsageWho, getrusage};
    use nix::sys::time::TimeValLike;
    let usage = getrusage(UsageWho::RUSAGE_SELF).unwrap();
    let taken = usage.user_time() + usage.system_time();
    taken.num_microseconds() as f64 / 1e6
}

#[cfg(not(unix))]
fn cpu() -> f64 {
    f64::NAN
}

/// Peak resident memory since it was last forgotten, in megabytes (Linux).
fn peak() -> f64 {
    crate::whole::peak(std::process::id()).unwrap_or(f64::NAN)
}

fn forget_peak() {
    let _ = fs::write("/proc/self/clear_refs", "5");
}
