//! Runs the corpus of the fuzz targets as an ordinary test; see `tests/fuzz/run`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss, missing_docs)]

mod bodies;

use std::fs;
use std::path::Path;

#[test]
fn every_input_of_the_corpus_is_taken_or_refused_in_words() {
    for (target, body) in bodies::ALL {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus").join(target);
        let mut count = 0;
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            // Shown only if the test fails: the name of the file.
            println!("{}", path.display());
            body(&fs::read(&path).unwrap());
            count += 1;
        }
        assert!(count >= 10, "{count} files for {target}");
    }
}

/// The samples and an invented job with a laminated shim and a sheet: one command reads the plan that the other one
/// writes.
#[test]
fn a_plan_reads_back_as_the_pieces_that_were_chosen() {
    let example = bodies::json::example();
    let picks = || (0..2).flat_map(|pump| example.picks(pump));
    assert!(picks().any(|pick| pick.peeled > 0), "a shim is peeled");
    let cut = |item: usize| example.job().stock[item].cut.is_some();
    assert!(picks().any(|pick| cut(pick.item)), "a gasket is cut");
    bodies::json::reads_back(example);
    let sample =
        |name: &str| Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/outage").join(name);
    let job = gapwright::read::job(&gapwright::read::Sources {
        stock: sample("stock.xlsx"),
        pumps: sample("pumps.xlsx"),
        ..Default::default()
    });
    bodies::json::reads_back(&bodies::json::kitted(job.unwrap()));
}

#[test]
fn a_plan_with_other_pieces_than_a_place_takes_is_refused() {
    let example = bodies::json::example();
    let plan = gapwright::json::plan(example);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("plan.json");
    fs::write(&file, serde_json::to_string(&plan).unwrap()).unwrap();
    // The plan is whole; the model has changed since.
    let job = example.job().clone().with(|job| {
        for pack in &mut job.models[0].packs {
            pack.least_pieces = 7;
            pack.most_pieces = 9;
        }
    });
    let memory = &mut gapwright::read::Memory::default();
    let problems = gapwright::read::packs_of_plan(&file, &job.unwrap(), memory).unwrap_err();
    let problem = problems.sorted()[0];
    assert_eq!(problem.found, "1 pieces in `bearing_shims` of `A`");
    assert_eq!(problem.expected, "7 to 9, as the model says");
}
