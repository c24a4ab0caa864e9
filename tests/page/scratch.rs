//! Edits laid over the workbooks, held against workbooks that hold the same values.

use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use gapwright::choose::control::Control;
use gapwright::choose::warm::Warm;
use gapwright::choose::{choose, worth::valued};
use gapwright::job::Job;
use gapwright::json;
use gapwright::plan::Stop;
use gapwright::problem::Spot;
use gapwright::read::{self, Sources};
use gapwright::scratch::{CellEdit, Fate, FirstSteps, Scratch, plan, plan_in_steps, with_worth};
use gapwright::verify::{Verified, verify};
use rand::{Rng, RngExt, SeedableRng};

pub fn sources(folder: &str, end: &str) -> Sources {
    let of = |name: &str| format!("{}/samples/{folder}/{name}.{end}", env!("CARGO_MANIFEST_DIR"));
    Sources { stock: of("stock").into(), pumps: of("pumps").into(), ..Sources::default() }
}

fn tiny() -> Scratch {
    Scratch::open(sources("tiny", "csv")).expect("the sample has no problems")
}

fn outage() -> Scratch {
    Scratch::open(sources("outage", "xlsx")).expect("the sample has no problems")
}

fn edit(scratch: &Scratch, tag: &str, heading: &str, now: &str) -> CellEdit {
    let was = scratch.cell(tag, heading);
    CellEdit { tag: tag.into(), heading: heading.into(), was, now: now.into() }
}

fn take(scratch: &mut Scratch) -> Verified {
    let planned = plan(scratch.job(), &Control::unlimited()).expect("it can be planned");
    assert!(scratch.take(scratch.revision(), planned.clone()));
    planned
}

/// The tiny sample in a folder, one text of its pumps replaced.
pub fn written(folder: &Path, old: &str, new: &str) -> Sources {
    let tiny = sources("tiny", "csv");
    let text = fs::read_to_string(&tiny.pumps).unwrap();
    assert!(text.contains(old), "{old}");
    let pumps = folder.join("pumps.csv");
    fs::write(&pumps, text.replacen(old, new, 1)).unwrap();
    Sources { pumps, ..tiny }
}

/// A job without what names its files.
fn bare(job: &Job) -> Job {
    let mut bare = job.clone();
    bare.inputs.clear();
    bare
}

#[test]
fn an_opened_copy_is_planned_as_kit_plans_the_files() {
    for (folder, end) in [("tiny", "csv"), ("outage", "xlsx"), ("purchase", "csv")] {
        let scratch = Scratch::open(sources(folder, end)).expect("the sample has no problems");
        let job = read::job(&sources(folder, end)).unwrap();
        let control = Control::unlimited();
        let chosen = valued(&job, choose(&job, &control).unwrap(), &control);
        let kit = verify(job, chosen).unwrap();
        let planned = plan(scratch.job(), &control).unwrap();
        let planned = with_worth(&planned, &control).unwrap();
        assert_eq!(json::plan(&planned), json::plan(&kit), "{folder}");
    }
}

#[test]
fn an_edit_counts_like_the_cell_of_a_file() {
    let folder = tempfile::tempdir().unwrap();
    for (old, new, heading, now) in [
        ("F1,F1,0.041", "F1,F1,0.0405", "bareclearance", "0.0405"),
        ("F1,F1,0.041", "F1,F1,1.03 mm", "bareclearance", "1.03 mm"),
        ("A,screwed-impeller,1", "A,screwed-impeller,4", "priority", "4"),
        ("A,screwed-impeller,1", "A,screwed-impeller,", "priority", ""),
        ("F1,F1,0.041", "F1,F1,", "bareclearance", ""),
    ] {
        let sources = written(folder.path(), old, new);
        let file = read::job(&sources).unwrap();
        let mut scratch = tiny();
        let refused = scratch.edit(&[edit(&scratch, "a", heading, now)]);
        assert!(refused.is_empty(), "{refused:?}");
        let told = |job: &Job| format!("{:?}\n{:?}", job.pumps, job.not_measured);
        let name = |text: String| text.replace(&sources.pumps.display().to_string(), "pumps");
        let tiny = sources_of_tiny();
        assert_eq!(told(scratch.job()).replace(&tiny, "pumps"), name(told(&file)), "{new}");
    }
}

fn sources_of_tiny() -> String {
    sources("tiny", "csv").pumps.display().to_string()
}

#[test]
fn a_value_that_cannot_be_read_is_refused_in_the_words_of_check_and_counts_for_nothing() {
    let folder = tempfile::tempdir().unwrap();
    for (old, now, heading) in [
        ("F1,F1,0.041", "0,04l", "bareclearance"),
        ("F1,F1,0.041", "12 furlong", "bareclearance"),
        ("A,screwed-impeller,1", "none", "priority"),
        ("A,screwed-impeller,1", "0", "priority"),
    ] {
        let cut = old.rfind(',').unwrap();
        let new = format!("{},\"{now}\"", &old[..cut]);
        let sources = written(folder.path(), old, &new);
        let file = read::job(&sources).unwrap_err();
        let mut scratch = tiny();
        let before = scratch.job().clone();
        let refused = scratch.edit(&[edit(&scratch, "A", heading, now)]);
        let [one] = &refused[..] else { panic!("{now}: {refused:?}") };
        let of_file = file.sorted();
        let [problem] = &of_file[..] else { panic!("{of_file:?}") };
        assert_eq!(one.problem.found, problem.found, "{now}");
        assert_eq!(one.problem.expected, problem.expected, "{now}");
        assert_eq!(one.problem.fix, problem.fix, "{now}");
        assert_eq!(one.problem.place.spot, problem.place.spot, "{now}");
        assert!(matches!(one.problem.place.spot, Spot::Cell { .. }));
        assert_eq!(scratch.job(), &before);
        assert_eq!(scratch.revision(), 0);
        assert_eq!(scratch.refusal("A", heading), Some(one));
        assert_eq!(scratch.cell("A", heading), one.kept);
        // A good value, or the old one, ends it.
        scratch.edit(&[edit(&scratch, "A", heading, &one.kept)]);
        assert_eq!(scratch.refusal("A", heading), None);
    }
}

#[test]
fn of_a_block_the_good_values_are_taken_in_one_step() {
    let mut scratch = tiny();
    let before = scratch.job().clone();
    let edits = [
        edit(&scratch, "A", "bareclearance", "0.0402"),
        edit(&scratch, "B", "bareclearance", "wide"),
        edit(&scratch, "C", "bareclearance", "0.0302"),
        edit(&scratch, "C", "snapring", "-"),
    ];
    let refused = scratch.edit(&edits);
    let tags: Vec<(&str, &str)> =
        refused.iter().map(|one| (one.edit.tag.as_str(), one.edit.heading.as_str())).collect();
    assert_eq!(tags, [("B", "bareclearance"), ("C", "snapring")]);
    assert_eq!(scratch.cell("A", "bareclearance"), "0.0402");
    assert_eq!(scratch.cell("C", "bareclearance"), "0.0302");
    assert_eq!((scratch.edited(), scratch.revision()), (2, 1));
    assert!(scratch.undo() && !scratch.undo());
    assert_eq!((scratch.job(), scratch.edited()), (&before, 0));
    assert!(scratch.redo() && !scratch.redo());
    assert_eq!(scratch.cell("C", "bareclearance"), "0.0302");
}

#[test]
fn limits_that_contradict_each_other_are_refused_where_they_were_typed() {
    let folder = tempfile::tempdir().unwrap();
    let rows = [
        "Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in),Running clearance min (in),Running clearance max (in)",
        "A,screwed-impeller,F1,F1,0.041,0.050,,",
        "B,screwed-impeller,F1,F1,0.051,0.050,0.020,",
    ];
    let pumps = folder.path().join("pumps.csv");
    fs::write(&pumps, rows.join("\n")).unwrap();
    let mut scratch = Scratch::open(Sources { pumps, ..sources("tiny", "csv") }).unwrap();
    let before = scratch.job().clone();
    let refused = scratch.edit(&[edit(&scratch, "A", "runningclearancemin", "25 mm")]);
    assert_eq!(refused.len(), 1, "{refused:?}");
    assert!(refused[0].problem.found.contains("min"), "{refused:?}");
    assert_eq!(scratch.job(), &before);
    // The problem stands at the other limit of B; the edit that made it is refused all the same.
    let edits = [
        edit(&scratch, "B", "runningclearancemax", "0.019"),
        edit(&scratch, "A", "runningclearancemax", "0.0225"),
    ];
    let refused = scratch.edit(&edits);
    assert_eq!(refused.len(), 1, "{refused:?}");
    assert_eq!(refused[0].edit.tag, "B");
    assert_eq!(scratch.cell("A", "runningclearancemax"), "0.0225");
}

#[test]
fn a_cell_that_somebody_else_changed_is_not_overwritten() {
    let mut scratch = tiny();
    let [mine, theirs] = ["0.042", "0.043"].map(|now| edit(&scratch, "A", "bareclearance", now));
    assert!(scratch.edit(&[theirs]).is_empty());
    let refused = scratch.edit(&[mine]);
    assert_eq!(refused[0].kept, "0.043");
    assert!(refused[0].problem.found.contains("changed meanwhile"), "{refused:?}");
    assert_eq!(scratch.cell("A", "bareclearance"), "0.043");
}

#[test]
fn tags_models_and_pumps_that_are_not_there_cannot_be_edited() {
    let mut scratch = tiny();
    for (tag, heading) in [("A", "tag"), ("A", "model"), ("Z", "bareclearance"), ("A", "colour")] {
        let refused = scratch.edit(&[edit(&scratch, tag, heading, "x")]);
        assert_eq!(refused.len(), 1, "{tag} {heading}");
    }
    assert_eq!(scratch.revision(), 0);
}

#[test]
fn changes_are_listed_until_they_are_acknowledged() {
    let mut scratch = tiny();
    take(&mut scratch);
    assert_eq!(scratch.changes(), []);
    // A wants the shims that C could do with.
    scratch.edit(&[edit(&scratch, "A", "bareclearance", "0.101")]);
    assert!(!scratch.is_planned());
    take(&mut scratch);
    let changes = scratch.changes();
    let short = changes.iter().find(|change| change.tag == "A").unwrap();
    assert!(short.became_short() && matches!(&short.now, Fate::Short(why) if !why.is_empty()));
    let [out, into] = short.pieces();
    assert!(!out.is_empty() && into.is_empty());
    scratch.edit(&[edit(&scratch, "A", "bareclearance", "")]);
    take(&mut scratch);
    let of = |scratch: &Scratch| scratch.changes().into_iter().find(|change| change.tag == "A");
    let waits = Fate::NotMeasured("Bare clearance (in)".into());
    assert_eq!(of(&scratch).map(|change| change.now), Some(waits));
    scratch.acknowledge();
    assert_eq!(scratch.changes(), []);
    scratch.discard();
    take(&mut scratch);
    assert!(matches!(of(&scratch).map(|change| change.now), Some(Fate::Kitted(_))));
    assert!(scratch.undo(), "what was discarded can be had again");
    assert_eq!(scratch.cell("A", "bareclearance"), "");
}

#[test]
fn a_plan_of_values_that_are_gone_is_not_taken_over() {
    let mut scratch = tiny();
    let (old, planned) = (scratch.revision(), plan(scratch.job(), &Control::unlimited()).unwrap());
    scratch.edit(&[edit(&scratch, "A", "bareclearance", "0.042")]);
    assert!(!scratch.take(old, planned));
    assert!(scratch.planned().is_none());
}

#[test]
fn an_answer_in_steps_ends_in_the_plan_of_one_step() {
    let scratch = outage();
    let control = Control::unlimited();
    let kit = plan(scratch.job(), &control).unwrap();
    let mut seen = Vec::new();
    let mut steps = |most: usize| {
        let (mut warm, mut steps) = (Warm::default(), 0);
        let mut show = |planned: &Arc<Verified>, step: FirstSteps| {
            assert_eq!(planned.plan().goals, kit.plan().goals);
            seen.push(step);
            steps += 1;
            steps < most
        };
        plan_in_steps(scratch.job(), &mut warm, (&control, Duration::MAX), &mut show).unwrap()
    };
    assert_eq!(json::plan(&steps(2).unwrap()), json::plan(&kit));
    assert!(steps(1).is_none(), "no more was asked for");
    assert_eq!(seen, [FirstSteps::Goals; 2]);
}

/// The kits of the values at hand, taken for those of a step before the last.
#[test]
fn a_plan_whose_order_is_open_does_not_count_as_seen() {
    let mut scratch = outage();
    let last = plan(scratch.job(), &Control::unlimited()).unwrap();
    // The same pumps in another order of priorities: other kits, which stand for equal ones.
    let other = last.job().clone().with(|parts| {
        parts.pumps.iter_mut().for_each(|pump| pump.priority = 3);
        parts.stock.iter_mut().for_each(|lot| lot.on_hand += 1);
    });
    let first = plan(&other.unwrap(), &Control::unlimited()).unwrap();
    assert_ne!(first.plan().kits, last.plan().kits);
    assert!(scratch.take_first_step(scratch.revision(), first.clone()));
    assert_eq!((scratch.is_planned(), scratch.changes()), (true, Vec::new()));
    assert!(scratch.take(scratch.revision(), last.clone()));
    assert_eq!(scratch.changes(), []);
    // After the first plan was seen, whatever a step exchanges is a change.
    assert!(scratch.take_first_step(scratch.revision(), first));
    assert_ne!(scratch.changes(), []);
    assert!(scratch.take(scratch.revision(), last));
    assert_eq!(scratch.changes(), []);
}

#[test]
fn planning_ends_when_it_is_told_to() {
    let scratch = outage();
    let flag = AtomicBool::new(true);
    let planned = plan(scratch.job(), &Control::unlimited().interrupted_by(&flag)).unwrap();
    assert_eq!(planned.plan().stopped_by, Some(Stop::Interrupt));
}

#[test]
fn a_workbook_that_changes_on_the_disk_is_noticed_and_not_taken_over() {
    let folder = tempfile::tempdir().unwrap();
    let sources = written(folder.path(), "0.041", "0.0411");
    let scratch = Scratch::open(sources.clone()).unwrap();
    assert_eq!(scratch.changed_on_disk(), Vec::<&str>::new());
    written(folder.path(), "0.041", "0.0412");
    assert_eq!(scratch.changed_on_disk(), ["pump workbook"]);
    assert_eq!(scratch.cell("A", "bareclearance"), "0.0411");
}

#[test]
fn a_workbook_that_changed_is_taken_over_when_told_with_the_edits_over_it() {
    let folder = tempfile::tempdir().unwrap();
    let sources = written(folder.path(), "0.041", "0.0411");
    let mut scratch = Scratch::open(sources.clone()).unwrap();
    take(&mut scratch);
    scratch.edit(&[edit(&scratch, "C", "bareclearance", "0.0305")]);
    take(&mut scratch);
    let revision = scratch.revision();
    // One with problems is not taken over, and nothing changes.
    written(folder.path(), "0.041", "wide");
    let job = scratch.job().clone();
    assert_eq!(scratch.take_over().unwrap_err().sorted().len(), 1);
    assert_eq!((scratch.job(), scratch.revision()), (&job, revision));
    assert!(scratch.planned().is_some());
    written(folder.path(), "0.041", "0.0412");
    assert_eq!(scratch.take_over().unwrap(), []);
    assert_eq!(scratch.cell("A", "bareclearance"), "0.0412");
    assert_eq!((scratch.cell("C", "bareclearance").as_str(), scratch.edited()), ("0.0305", 1));
    assert!(scratch.revision() > revision && !scratch.is_planned());
    assert_eq!(scratch.changed_on_disk(), Vec::<&str>::new());
    take(&mut scratch);
    scratch.discard();
    assert_eq!(bare(scratch.job()), bare(&read::job(&sources).unwrap()));
    // A pump that is gone takes its edit along.
    scratch.edit(&[edit(&scratch, "A", "bareclearance", "0.0413")]);
    written(folder.path(), "A,screwed-impeller", "Q,screwed-impeller");
    let refused = scratch.take_over().unwrap();
    assert_eq!((refused.len(), scratch.edited()), (1, 0));
}

#[test]
fn after_any_edits_the_job_is_that_of_the_same_values_and_all_can_be_undone() {
    let mut scratch = outage();
    let first = scratch.job().clone();
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(7);
    let tags: Vec<String> = first.pumps.iter().map(|pump| pump.tag.clone()).collect();
    let keys: Vec<String> = scratch.headings().iter().map(|heading| heading.key.clone()).collect();
    let texts =
        ["", "0.0512", "1,2 mm", "3", "2027-04-01", "x", "0", "-1", "1/64 in", "99", "0.05"];
    let (mut taken, mut refused) = (0, 0);
    for round in 0..150 {
        let edits: Vec<CellEdit> = (0..random.random_range(1..5))
            .map(|_| {
                let any = |random: &mut rand_chacha::ChaCha8Rng, of: usize| {
                    usize::try_from(random.next_u32()).unwrap() % of
                };
                let tag = &tags[any(&mut random, tags.len())];
                let key = &keys[any(&mut random, keys.len())];
                edit(&scratch, tag, key, texts[any(&mut random, texts.len())])
            })
            .collect();
        let before = scratch.job().clone();
        let bad = scratch.edit(&edits);
        refused += bad.len();
        taken += usize::from(scratch.job() != &before);
        if round % 10 == 0 && scratch.undo() {
            scratch.redo();
        }
    }
    assert!(taken > 20 && refused > 20, "{taken} {refused}");
    let last = bare(scratch.job());
    while scratch.undo() {}
    assert_eq!(scratch.job(), &first);
    while scratch.redo() {}
    assert_eq!(bare(scratch.job()), last);
    scratch.discard();
    assert_eq!((scratch.job(), scratch.edited()), (&first, 0));
}
