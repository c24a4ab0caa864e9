//! The sample outage under the expanded rule, made harder: every lot is measured, and the pumps of the first model
//! have a second shim place behind the bearing, filled from the same drawer, so that pieces of one lot meet in one
//! requirement.

use gapwright::decimal::Millionths;
use gapwright::job::Job;
use gapwright::length::Length;
use gapwright::model::{Form, Pack, Requirement, Term};
use gapwright::policy::Acceptance;
use gapwright::read::{Sources, job};

/// First pack of the model and its neighbour.
pub const SHARING: [usize; 2] = [0, 2];

pub fn sample() -> Result<Job, String> {
    let sources = Sources {
        stock: "samples/outage/stock.xlsx".into(),
        pumps: "samples/outage/pumps.xlsx".into(),
        ..Sources::default()
    };
    let job = job(&sources).map_err(|problems| format!("{:?}", problems.sorted()))?;
    let mut job = job.into_parts();
    job.policy.acceptance = Acceptance::Expanded;
    let mean = job.policy.coverage.certified(Length::from_ticks(25_400).into(), None);
    for size in job.stock.iter_mut().filter_map(|item| item.size.as_mut()) {
        // 0.0001 in.
        size.uncertainty = Some(mean);
    }
    // Fewer sizes and more of each, so that kits must take several of one lot.
    let shims = job.stock.iter_mut().filter(|item| item.kind == "shim");
    for (index, item) in shims.enumerate() {
        item.on_hand = if index % 3 == 0 { 40 } else { 0 };
        item.reserved = 0;
    }
    let found = job.models.iter().position(|m| m.name == "screwed-impeller");
    let model = found.ok_or("no such model")?;
    // At least one piece each, so that neither place takes all.
    job.models[model].packs[SHARING[0]].least_pieces = 1;
    let beside = Pack {
        name: "second_shims".into(),
        label: "Second shims".into(),
        ..job.models[model].packs[SHARING[0]].clone()
    };
    job.models[model].packs.push(beside);
    let requirements = &mut job.models[model].requirements;
    requirements.iter_mut().for_each(twice);
    for pump in job.pumps.iter_mut().filter(|pump| pump.model == model) {
        pump.fits.push(pump.fits[SHARING[0]].clone());
        pump.requirements.iter_mut().for_each(twice);
    }
    Job::new(job).map_err(|error| error.to_string())
}

/// Counts the second place like the first one.
fn twice(requirement: &mut Requirement) {
    let terms = match &mut requirement.form {
        Form::Linear { terms, .. } => terms,
        Form::GasketFill { gap, .. } => gap,
    };
    let first = |(term, _): &&(Term, Millionths)| *term == Term::Pack(SHARING[0]);
    if let Some((_, sensitivity)) = terms.iter().find(first).copied() {
        terms.push((Term::Pack(SHARING[1]), sensitivity));
    }
}
