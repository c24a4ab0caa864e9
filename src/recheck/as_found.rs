//! A pump as found: its requirements with readings in place of predictions.
//!
//! A clearance reading includes a fact that no prediction has: how the parts really seat. So the effect of a swap is
//! calculated from the reading: it moves by the pieces put in less the pieces taken out. Pieces that stay add no
//! uncertainty, since their errors are already in the reading.

use super::compare::{Compared, contributor};
use super::{Bench, Checked, Readings};
use crate::accounting::{pack_total, share, shared_errors, stack};
use crate::decimal::Millionths;
use crate::job::Job;
use crate::length::{Fine, Length, Tolerance};
use crate::model::{Form, Term, Terms, sensitivity};
use crate::plan::{PackPick, Pick};
use crate::pump::Pump;
use crate::stack::{Contributor, Stack, Verdict, judge};

/// A pump with its fitted pieces and its readings.
pub struct AsFound<'a> {
    /// The job.
    pub job: &'a Job,
    /// The pump.
    pub pump: &'a Pump,
    /// Its pieces, place by place.
    pub fitted: &'a [PackPick],
    bench: &'a Bench,
}

/// Pieces of a place that a change takes out, and those that it puts in.
pub(super) fn moved(before: &PackPick, after: &PackPick) -> [Vec<Pick>; 2] {
    let less = |a: &PackPick, b: &PackPick| {
        let rest = |pick: &Pick| {
            let same = |other: &&Pick| (other.item, other.peeled) == (pick.item, pick.peeled);
            let there = b.picks.iter().find(same).map_or(0, |other| other.count);
            let count = pick.count.saturating_sub(there);
            (count > 0).then_some(Pick { count, ..*pick })
        };
        a.picks.iter().filter_map(rest).collect()
    };
    [less(before, after), less(after, before)]
}

impl<'a> AsFound<'a> {
    /// A pump with these pieces and readings.
    pub fn new(job: &'a Job, pump: &'a Pump, fitted: &'a [PackPick], bench: &'a Bench) -> Self {
        AsFound { job, pump, fitted, bench }
    }

    fn read_pack(&self, pack: usize) -> Option<Readings> {
        self.bench.packs.get(pack).copied().flatten()
    }

    fn read_requirement(&self, index: usize) -> Option<Readings> {
        self.bench.requirements.get(index).copied().flatten()
    }

    /// Whether a finished pack was read.
    pub(super) fn is_read(&self, pack: usize) -> bool {
        self.read_pack(pack).is_some()
    }

    /// Whether some place holds more or fewer pieces than its model allows.
    pub(super) fn is_miscounted(&self) -> bool {
        let places = self.job.model_of(self.pump).packs.iter();
        places.zip(self.fitted).any(|(place, pack)| {
            let count: u32 = pack.picks.iter().map(|pick| pick.count).sum();
            count < place.least_pieces || count > place.most_pieces
        })
    }

    /// Index of the requirement whose reading this one rests on: its own, or one with its cold form.
    pub(super) fn basis(&self, index: usize) -> Option<usize> {
        if self.read_requirement(index).is_some() {
            return Some(index);
        }
        let asked = self.pump.requirements[index].form.cold_terms()?;
        (0..self.pump.requirements.len()).find(|&other| {
            self.read_requirement(other).is_some()
                && self.pump.requirements[other].form.cold_terms().as_ref() == Some(&asked)
        })
    }

    /// Each pack that was read, compared with its pieces.
    pub(super) fn packs_compared(&self) -> Vec<Option<Compared>> {
        let stack = stack(self.job, self.pump, self.fitted);
        let places = 0..self.fitted.len();
        places
            .map(|place| {
                let found = self.read_pack(place)?;
                let terms = vec![(Term::Pack(place), Millionths::ONE)];
                Some(Compared::of(&terms, &stack, found))
            })
            .collect()
    }

    /// Whether a clearance reading agrees with the nominal pieces, whatever the packs read.
    pub(super) fn fits_pieces(&self, of: super::Of) -> bool {
        let super::Of::Requirement(index) = of else {
            return false;
        };
        let found = self.read_requirement(index);
        let terms = self.pump.requirements[index].form.cold_terms();
        let stack = stack(self.job, self.pump, self.fitted);
        let both = found.zip(terms);
        both.is_some_and(|(found, terms)| Compared::of(&terms, &stack, found).agrees())
    }

    /// Each requirement as found.
    pub(super) fn checked(&self) -> Vec<Checked> {
        // Readings of the packs are more exact than their nominal pieces.
        let predicted = self.stack(self.fitted);
        let verdicts = self.verdicts(self.fitted);
        let requirements = self.pump.requirements.iter().zip(verdicts).enumerate();
        requirements
            .map(|(index, (requirement, verdict))| {
                let terms = requirement.form.cold_terms();
                let found = self.read_requirement(index).zip(terms);
                Checked {
                    compared: found.map(|(found, terms)| Compared::of(&terms, &predicted, found)),
                    verdict,
                    on_reading: self.basis(index).is_some(),
                }
            })
            .collect()
    }

    /// Verdicts of all requirements with these pieces in the places, under the rule of the policy.
    pub(super) fn verdicts(&self, packs: &[PackPick]) -> Vec<Verdict> {
        let stack = self.stack(packs);
        let guard = self.job.policy.guard();
        let requirements = 0..self.pump.requirements.len();
        requirements.map(|index| judge(&self.form(index, packs), &stack, guard)).collect()
    }

    /// Own terms are numbered after the model's dimensions: first the readings of requirements, then for each pack
    /// its reading, the pieces put in and the pieces taken out.
    fn term_of_reading(&self, requirement: usize) -> Term {
        Term::Dimension(self.pump.dimensions.len() + requirement)
    }

    fn terms_of_pack(&self, pack: usize) -> [Term; 3] {
        let first = self.pump.dimensions.len() + self.pump.requirements.len() + 3 * pack;
        [0, 1, 2].map(|at| Term::Dimension(first + at))
    }

    /// Contributors with these pieces in the places.
    fn stack(&self, packs: &[PackPick]) -> Stack {
        let mut whole = stack(self.job, self.pump, packs);
        let mut read = Vec::new();
        for (place, (now, before)) in packs.iter().zip(self.fitted).enumerate() {
            let reading = self.read_pack(place).map(|readings| readings.last());
            let [was, put_in, taken_out] = self.terms_of_pack(place);
            if now == before {
                let Some(reading) = reading else { continue };
                whole.contributors.retain(|part| part.term != Term::Pack(place));
                read.push((reading, Term::Pack(place)));
                continue;
            }
            let [out, into] = moved(before, now);
            read.extend(reading.map(|reading| (reading, was)));
            whole.contributors.extend(self.pieces(&into, put_in));
            whole.contributors.extend(self.pieces(&out, taken_out));
        }
        for index in 0..self.pump.requirements.len() {
            if let Some(found) = self.read_requirement(index) {
                read.push((found.last(), self.term_of_reading(index)));
            }
        }
        whole.shared = shared_errors(self.job, self.pump, &whole.contributors);
        for (reading, term) in read {
            whole.contributors.push(contributor(reading, term, String::new()));
            if let Some(gauge) = reading.gauge {
                share(&mut whole, gauge);
            }
        }
        whole
    }

    /// Pieces as contributors under an own term.
    fn pieces(&self, picks: &[Pick], term: Term) -> Vec<Contributor> {
        let pack = PackPick { picks: picks.to_vec() };
        let alone = stack(self.job, self.pump, &[pack]);
        let pieces = alone.contributors.into_iter();
        let pieces = pieces.filter(|part| part.term == Term::Pack(0));
        pieces.map(|part| Contributor { term, ..part }).collect()
    }

    /// A requirement with readings in place of predictions, once these pieces are in the places.
    fn form(&self, index: usize, packs: &[PackPick]) -> Form {
        let form = &self.pump.requirements[index].form;
        let basis = self.basis(index);
        // A changed pack moves the sum by the pieces put in and taken out, where the sum or the pack was read.
        let moved = |place: usize, c: Millionths| {
            let [was, put_in, taken_out] = self.terms_of_pack(place);
            let mut terms = vec![(put_in, c), (taken_out, Millionths::from_raw(-c.raw()))];
            if basis.is_none() {
                terms.push((was, c));
            }
            terms
        };
        let unchanged = |place: usize| packs[place] == self.fitted[place];
        let predicted = |terms: &Terms| -> Terms {
            let each = terms.iter().flat_map(|&(term, c)| match term {
                Term::Pack(place) if !unchanged(place) && self.read_pack(place).is_some() => {
                    moved(place, c)
                }
                _ => vec![(term, c)],
            });
            each.collect()
        };
        match (form.clone(), basis) {
            (Form::Linear { terms, target, lower, upper }, Some(basis)) => {
                let mut read = vec![(self.term_of_reading(basis), Millionths::ONE)];
                let growths = terms.iter().filter(|(t, _)| matches!(t, Term::Thermal(_)));
                read.extend(growths);
                for place in (0..packs.len()).filter(|&place| !unchanged(place)) {
                    read.extend(moved(place, sensitivity(&terms, Term::Pack(place))));
                }
                Form::Linear { terms: read, target, lower, upper }
            }
            (Form::Linear { terms, target, lower, upper }, None) => {
                Form::Linear { terms: predicted(&terms), target, lower, upper }
            }
            (Form::GasketFill { gasket, gap, target, lower, upper }, _) => {
                Form::GasketFill { gasket, gap: predicted(&gap), target, lower, upper }
            }
        }
    }

    /// Expected micrometer reading of a place with these pieces: the middle, and the worst-case error.
    pub(super) fn expected(&self, place: usize, packs: &[PackPick]) -> (Length, Tolerance) {
        let reading = self.read_pack(place).filter(|_| packs[place] != self.fitted[place]);
        let Some(reading) = reading.map(|readings| readings.last()) else {
            return pack_total(self.job, &packs[place]);
        };
        let [out, into] = moved(&self.fitted[place], &packs[place]).map(|picks| {
            let (total, tolerance) = pack_total(self.job, &PackPick { picks });
            (total, tolerance)
        });
        let off = Tolerance {
            minus: reading.within + into.1.minus + out.1.plus,
            plus: reading.within + into.1.plus + out.1.minus,
        };
        (reading.value + into.0 - out.0, off)
    }

    /// Nominal value of each requirement as found, and its change with each place, for the search.
    pub(super) fn nominal(&self) -> Vec<Fine> {
        let stack = self.stack(self.fitted);
        let requirements = 0..self.pump.requirements.len();
        requirements
            .map(|index| {
                let form = self.form(index, self.fitted);
                let terms = match &form {
                    Form::Linear { terms, .. } => terms,
                    Form::GasketFill { gap, .. } => gap,
                };
                crate::stack::worst_case(terms, &stack).nominal
            })
            .collect()
    }

    /// Present nominal measure of a place.
    pub(super) fn measures(&self, place: usize) -> Length {
        match self.read_pack(place) {
            Some(readings) => readings.last().value,
            None => pack_total(self.job, &self.fitted[place]).0,
        }
    }
}
