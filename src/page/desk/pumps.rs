//! Pumps whose pages are open: each is looked into once there is a plan, and its kit can be held.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use super::super::study::{self, Study};
use super::{Desk, State, held};
use crate::choose::control::{Control, Room};
use crate::plan::Kit;
use crate::problem::{Place, Problem};
use crate::scratch::{CellEdit, RefusedEdit};
use crate::verify::Verified;

/// Time for the other kits of one pump.
const STUDYING: Duration = Duration::from_secs(20);

/// Most pumps that are looked into for windows.
const MOST_STUDIES: usize = 8;

impl Desk {
    /// Has a measured pump looked into, since a window shows it.
    pub(super) fn open(&self, state: &mut State, row: u32) {
        let measured = state.scratch.job().pumps.iter().any(|pump| pump.row == row);
        if measured && !state.studies.contains_key(&row) {
            if state.studies.len() >= MOST_STUDIES {
                state.studies.pop_first();
            }
            state.studies.insert(row, None);
            self.publish(state);
        }
    }

    /// Looks into the pumps whose pages are open, one after the other, until all are done or the flag ends it.
    pub(super) fn study(&self, revision: u64, (room, flag): (&Room, &AtomicBool)) {
        loop {
            let (row, at, planned) = {
                let mut state = held(&self.state);
                let Some(row) = state.to_study().filter(|_| revision == state.scratch.revision())
                else {
                    return;
                };
                match state.planned_at(row) {
                    Some((planned, at)) => (row, at, planned.clone()),
                    None => {
                        state.studies.remove(&row);
                        continue;
                    }
                }
            };
            let keep = |study: Study| {
                let mut state = held(&self.state);
                let is_open = !flag.load(Ordering::Relaxed) && state.studies.contains_key(&row);
                if is_open {
                    state.studies.insert(row, Some(study));
                    self.publish(&mut state);
                }
                is_open
            };
            let study = Study::of(&planned, at);
            if !keep(study.clone()) {
                return;
            }
            let control = Control::since(Instant::now()).limit(STUDYING).within(room);
            let control = control.interrupted_by(flag);
            if !keep(study.with_kits(&planned, at, &control)) {
                return;
            }
        }
    }
}

impl State {
    /// The plan of the values at hand, and the index of the pump in a row.
    pub(super) fn planned_at(&self, row: u32) -> Option<(&Arc<Verified>, usize)> {
        let planned = self.scratch.planned().filter(|_| self.scratch.is_planned())?;
        let at = planned.job().pumps.iter().position(|pump| pump.row == row)?;
        Some((planned, at))
    }

    /// Row of a pump that is not looked into yet.
    pub(super) fn to_study(&self) -> Option<u32> {
        let open = |study: &Option<Study>| study.as_ref().is_none_or(|study| !study.done);
        self.studies.iter().find(|(_, study)| open(study)).map(|(row, _)| *row)
    }

    /// Study of a pump, as far as it is worked out; none of a pump that is not measured.
    pub(super) fn studied(&self, row: u32) -> Vec<String> {
        let study = self.studies.get(&row);
        let html = study.map(|study| study::html(row, study.as_ref()));
        html.into_iter().flatten().map(|(_, html)| html).collect()
    }

    /// Holds a kit of a pump by its code, or lets it go.
    pub(super) fn hold(&mut self, row: u32, kit: Option<&str>) -> Vec<RefusedEdit> {
        let pump = self.scratch.job().pumps.iter().find(|pump| pump.row == row);
        let Some(tag) = pump.map(|pump| pump.tag.clone()) else { return vec![not_listed("")] };
        let Some(code) = kit else {
            self.scratch.hold(&tag, None);
            return Vec::new();
        };
        let at_hand = || match self.planned_at(row).map(|(planned, at)| &planned.plan().kits[at]) {
            Some(Kit::Served(packs)) => Some(packs.clone()),
            _ => None,
        };
        let listed = || Some(self.studies.get(&row)?.as_ref()?.kit(code)?.to_vec());
        let kit = if code == study::AT_HAND { at_hand() } else { listed() };
        match kit {
            Some(kit) => {
                self.scratch.hold(&tag, Some(&kit));
                Vec::new()
            }
            None => vec![not_listed(&tag)],
        }
    }
}

/// A kit that cannot be held, since the page shows another list by now.
fn not_listed(tag: &str) -> RefusedEdit {
    let [heading, was, now] = ["kit", "", ""].map(String::from);
    RefusedEdit {
        edit: CellEdit { tag: tag.to_string(), heading, was, now },
        kept: "as it is planned".into(),
        problem: Problem::new(
            Place::file("page"),
            "a kit that is no longer listed",
            "one of the kits on the page of its pump",
            "look at the list as it is now, and choose again",
        ),
    }
}
