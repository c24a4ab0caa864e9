//! The choice in two steps: first the goals, then the order among equal plans, which makes no plan better.
//!
//! Who waits for an answer has it after the first step.

use rayon::prelude::*;

use crate::certificate::{Certificate, PieceToHoldBack};
use crate::choose::control::{Control, Work};
use crate::choose::instance::Instance;
use crate::choose::room::Lists;
use crate::choose::stages::{self, Reached, Solved};
use crate::choose::standing::{OutOfPlay, Stood};
use crate::choose::warm::Warm;
use crate::choose::why::Reasons;
use crate::choose::{Beside, ChooseError, Group, Setup, near, objectives};
use crate::job::{HoldBack, Job};
use crate::plan::{Kit, LeftOut, Objective, PackPick, Plan};

/// Tenths of a second whose work the order of a group may take at least: that of the smaller ones, and that of a thousand pumps.
const LEAST_FOR_ORDER: [usize; 2] = [40, 80];

/// Group on the way to its plan.
pub(super) struct Solving {
    pub(super) group: Group,
    pub(super) instance: Instance,
    pub(super) reached: Reached,
    work: Work,
    /// Whether its columns are those near the bound.
    pub(super) near: bool,
    /// Whether its order is settled: at first that of a group that is taken over from the choice before.
    pub(super) settled: bool,
}

/// A choice whose goals are reached as far as its control allowed. The order among equal plans is open.
pub struct Draft<'a> {
    job: &'a Job,
    aims: Vec<Objective>,
    stood: Stood,
    pub(super) out: OutOfPlay,
    laid: Setup,
    groups: Vec<Solving>,
    /// Pumps out of play.
    fixed: Option<Solving>,
    /// Whether any way to kit a pump is known, by pump.
    servable: Vec<bool>,
    /// Whether the first answer was due before all was reached.
    is_due: bool,
    warm: Option<&'a mut Warm>,
    _lists: Lists<'a>,
}

impl<'a> Draft<'a> {
    /// Chooses pieces for the pumps in play, from a plan that is known, if there is one, and from what the choice before
    /// left.
    pub(super) fn of(
        job: &'a Job,
        (stood, out): (&Stood, OutOfPlay),
        known: Option<&[Kit]>,
        warm: Option<&mut Warm>,
        control: &Control<'_>,
    ) -> Result<Draft<'a>, ChooseError> {
        let available = out.available.as_slice();
        let aims = objectives(job);
        // Pieces to hold back are no pumps, which groups are compared by.
        let warm = warm.filter(|_| job.hold_back.is_empty());
        let before = warm.as_ref().and_then(|warm| warm.before(job, available, &aims));
        let before = before.as_ref();
        let unhurried = &control.unhurried();
        let mut near = near::Laid::of(job, available, &out, before, unhurried);
        // Bags and pieces to hold back that are in play are columns of their own.
        let holders = out.holders(job);
        let held = |item: &u16| holders.iter().flatten().any(|piece| piece.uses[0].0 == *item);
        let beside = |item: &u16| held(item) || stood.has_in_play(*item, &out);
        let bagged = |group: &Group| {
            group.pumps.iter().any(|&pump| stood.has_bag(pump)) || group.items.iter().any(beside)
        };
        for group in near.groups.extract_if(.., |group| bagged(group)) {
            group.pumps.iter().for_each(|&pump| near.others[pump] = true);
        }
        let near_groups = std::mem::take(&mut near.groups);
        let found: Vec<Result<Solving, Group>> = near_groups
            .into_par_iter()
            .map(|group| {
                let work = control.work();
                let known = before.and_then(|before| before.whole(&group, true));
                if let Some((instance, reached)) = known {
                    return Ok(Solving {
                        group,
                        instance,
                        reached,
                        work,
                        near: true,
                        settled: true,
                    });
                }
                let counted = control.working(&work);
                let earlier = near::Earlier { stood, before };
                let found =
                    near::reached(job, (&near, &group, earlier), available, &aims, &counted);
                let Some(near::InWindow { instance, reached }) = found else { return Err(group) };
                Ok(Solving { group, instance, reached, work, near: true, settled: false })
            })
            .collect();
        let mut listed = near.others.clone();
        let mut groups = Vec::new();
        let mut servable: Vec<bool> =
            (0..job.pumps.len()).map(|pump| near.servable(pump) || out.has(pump)).collect();
        for found in found {
            match found {
                Ok(solving) => groups.push(solving),
                Err(group) => group.pumps.iter().for_each(|&pump| listed[pump] = true),
            }
        }
        // The reason that a pump is short is looked for in lists.
        listed.iter_mut().zip(&servable).for_each(|(listed, servable)| *listed |= !servable);
        let beside = Beside { stood: stood.clone(), holders };
        let mut laid = Setup::build(job, &listed, available, beside, unhurried)?;
        for (pump, columns) in laid.columns.iter().enumerate().take(job.pumps.len()) {
            if listed[pump] {
                servable[pump] = !columns.is_empty();
            }
        }
        let instances = laid.instances(job, &aims);
        let whole = laid.cut.is_none();
        let others = std::mem::take(&mut laid.groups).into_par_iter().zip(instances);
        let others = others.map(|(group, mut instance)| {
            let work = control.work();
            stood.price(&group, &aims, &mut instance);
            let same = before.filter(|_| whole).and_then(|before| before.whole(&group, false));
            if let Some((_, reached)) = same.filter(|(before, _)| *before == instance) {
                return Solving { group, instance, reached, work, near: false, settled: true };
            }
            let start = known.and_then(|kits| group.at_hand(job, kits, &instance));
            let reached = stages::reached(&instance, &aims, start, &control.working(&work));
            Solving { group, instance, reached, work, near: false, settled: false }
        });
        groups.extend(others.collect::<Vec<_>>());
        if let Some(warm) = warm.filter(|_| whole) {
            warm.keep(job, available, &aims, (&near, &groups));
        }
        let fixed = out.group().map(|(group, columns)| {
            let mut instance = group.instance(job, &aims, &laid.ready, columns, &[]);
            stood.price(&group, &aims, &mut instance);
            let reached = stages::settled(&instance);
            let work = control.work();
            Solving { group, instance, reached, work, near: false, settled: true }
        });
        Ok(Draft {
            job,
            aims,
            stood: stood.clone(),
            out,
            laid,
            groups,
            fixed,
            servable,
            is_due: control.is_due(),
            warm: None,
            _lists: Lists::unbounded(),
        })
    }

    /// The draft with what the next choice starts from, and the room that its lists take.
    pub(super) fn within(mut self, warm: Option<&'a mut Warm>, lists: Lists<'a>) -> Draft<'a> {
        self.warm = warm.filter(|_| self.job.hold_back.is_empty());
        self._lists = lists;
        self
    }

    /// Settles the order among equal plans, as far as the control allows.
    pub fn settled(mut self, control: &Control<'_>) -> Plan {
        // After all groups, because the goals of every group come first. The general solver's work is not counted: only its
        // time.
        let (share, aims) = (control.share(), &self.aims);
        self.groups.par_iter_mut().filter(|of| !of.settled).for_each(|of| {
            let Solving { instance, reached, work, .. } = of;
            let [least, most] = LEAST_FOR_ORDER;
            let again = work.again((instance.pumps * most / 1_000).clamp(least, most) as u64);
            match instance.blocks.len() > instance.pumps {
                true => reached.settle(instance, aims, &share),
                false => reached.settle(instance, aims, &control.working(&again)),
            }
            of.settled = true;
        });
        if let Some(warm) = self.warm.as_mut().filter(|_| self.laid.cut.is_none()) {
            warm.keep_groups(self.job, &self.groups);
        }
        self.plan(control)
    }

    /// Whether it is a [first answer](Control::soon) that a draft with more time may better.
    pub fn is_hurried(&self) -> bool {
        self.is_due && self.groups.iter().any(|of| of.reached.solved.stopped.is_some())
    }

    /// Whether the first answer was due before all was reached. Without that an order that cannot be settled may leave
    /// another of the equal plans.
    pub fn is_due(&self) -> bool {
        self.is_due
    }

    /// The plan as it stands.
    pub fn plan(&self, control: &Control<'_>) -> Plan {
        let Draft { job, aims, stood, out, laid, .. } = self;
        let all = || self.groups.iter().chain(&self.fixed);
        let proofs = (self.groups.iter())
            .map(|of| of.group.proof(&laid.suppliers, &of.instance, &of.reached.solved));
        // A proof over some of the columns proves nothing.
        let whole = laid.cut.is_none();
        let proofs = if whole { proofs.collect() } else { Vec::new() };
        let mut kits: Vec<Option<Vec<PackPick>>> = vec![None; job.pumps.len()];
        let (mut layouts, mut held_back) = (Vec::new(), Vec::new());
        for Solving { group, instance, reached, .. } in all() {
            let taken = &reached.solved.taken;
            group.read(job, &laid.suppliers, instance, taken, &mut kits, &mut layouts);
            let held = group.pumps.iter().zip(taken).filter(|(_, taken)| taken.is_some());
            held_back.extend(held.filter_map(|(block, _)| block.checked_sub(job.pumps.len())));
        }
        layouts.sort();
        held_back.sort_unstable();
        let pieces = job.hold_back.iter().enumerate();
        let pieces = pieces.map(|(at, &HoldBack { item, worth })| PieceToHoldBack {
            item,
            worth,
            held: held_back.contains(&at),
        });
        let certificate = Certificate { groups: proofs, to_hold_back: pieces.collect() };
        for (pump, kit) in kits.iter_mut().enumerate() {
            *kit = kit.take().map(|kit| stood.as_it_was(job, pump, kit));
        }
        let reasons = Reasons {
            job,
            available: &out.available,
            held: &out.none,
            drawers: &laid.drawers,
            servable: &self.servable,
            layouts: &layouts,
            cut: laid.cut.is_some(),
            control,
        };
        let stopped = all().find_map(|of| of.reached.solved.stopped);
        let solved: Vec<(&Group, &Solved)> =
            all().map(|of| (&of.group, &of.reached.solved)).collect();
        let order = self.groups.iter().find_map(|of| of.reached.unsettled);
        Plan {
            kits: reasons.explain(kits),
            goals: laid.goals(job, aims, &solved),
            layouts,
            held_back,
            worth: Vec::new(),
            holding: Vec::new(),
            cures: Vec::new(),
            left: None,
            stopped_by: laid.cut.or(stopped),
            left_out: LeftOut { order, worth: None },
            certificate,
        }
    }
}
