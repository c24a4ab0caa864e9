//! Certificates as files: written by `kit`, added up by `verify`.

use std::fs;
use std::path::Path;

use tempfile::TempDir;

use super::{Output, gapwright, text};

/// The sample outage with its plan and its certificate.
fn kit(folder: &Path, stock: &str, pumps: &str, name: &str) {
    let at = |end: &str| folder.join(format!("{name}{end}")).display().to_string();
    let [out, json, proof] = [at(".xlsx"), at(".json"), at("-proof.json")];
    let kit = ["kit", stock, pumps, "--out", &out, "--json", &json, "--certificate", &proof];
    let run = gapwright(&kit);
    assert!(run.status.success(), "{}", text(&run.stderr));
}

fn verify(folder: &Path, plan: &str, books: [&str; 2], proof: &str) -> Output {
    let [plan, proof] = [plan, proof].map(|name| folder.join(name).display().to_string());
    gapwright(&["verify", &plan, books[0], books[1], "--certificate", &proof])
}

#[test]
fn a_certificate_is_added_up_for_its_own_plan_and_job_alone() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let tiny = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
    kit(folder.path(), tiny[0], tiny[1], "a");
    let said = |run: Output| (run.status.code(), text(&run.stdout) + &text(&run.stderr));
    for plan in ["a.json", "a.xlsx"] {
        let (status, told) = said(verify(folder.path(), plan, tiny, "a-proof.json"));
        assert_eq!(status, Some(0), "{told}");
        assert!(told.contains("Every kit holds: 3 of 3 pumps."), "{told}");
        assert_eq!(told.matches("proven; the bound was added up again.").count(), 4, "{told}");
    }
    // The general solver, from a list of all columns: a bound on the waste, here that of the plan.
    let proof = at("a-proof.json");
    let asked = ["verify", &at("a.json"), tiny[0], tiny[1], "--certificate", &proof];
    let (status, told) = said(gapwright(&[&asked[..], &["--second-opinion"]].concat()));
    assert_eq!(status, Some(0), "{told}");
    let plan = fs::read_to_string(at("a.json")).unwrap();
    let (_, waste) = plan.split_once("\"waste\": \"").unwrap();
    let waste: f64 = waste.split('"').next().unwrap().parse().unwrap();
    let (_, bound) = told.split_once("a plan that kits as many wastes ").unwrap();
    let bound: f64 = bound.split(' ').next().unwrap().parse().unwrap();
    assert!(bound <= waste && bound > 0.8 * waste, "{bound} {waste}");
    // A stock with a cheaper shim of the same thickness: the kits hold, and are not the best any more.
    let rows = fs::read_to_string(tiny[0]).unwrap();
    let more = format!("{}\nS31,shim,F1,0.030,0.0002,1,1.00,A11\n", rows.trim_end());
    fs::write(at("more.csv"), more).unwrap();
    let more = [&*at("more.csv"), tiny[1]];
    let (status, told) = said(verify(folder.path(), "a.json", more, "a-proof.json"));
    assert_eq!(status, Some(1), "{told}");
    assert!(told.contains("not shown. Reason: the certificate does not show it"), "{told}");
    // The certificate of another plan is refused, and named.
    kit(folder.path(), more[0], more[1], "b");
    let (status, told) = said(verify(folder.path(), "a.json", tiny, "b-proof.json"));
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("a certificate of the plan "), "{told}");
    // A higher claim than is true, and a file that is none.
    let proof = fs::read_to_string(at("a-proof.json")).unwrap();
    let (_, bound) = proof.rsplit_once("\"bound\":").unwrap();
    let bound = bound.split(',').next().unwrap();
    let higher = proof.replace(&format!("\"bound\":{bound}"), "\"bound\":99");
    assert_ne!(higher, proof);
    fs::write(at("higher.json"), higher).unwrap();
    let (status, told) = said(verify(folder.path(), "a.json", tiny, "higher.json"));
    assert_eq!(status, Some(1), "{told}");
    let (status, told) = said(verify(folder.path(), "a.json", tiny, "a.json"));
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("gapwright.plan.v4"), "{told}");
}
