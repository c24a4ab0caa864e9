//! Certificates as files: written by `kit`, added up by `verify`.

use std::fs;
use std::path::Path;

use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::issue::planned::PickStep;
use gapwright::read::{Sources, job};
use gapwright::verify::{Breach, verify as worked_out, verify_cut};
use serde_json::{Value, json};
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

fn said(run: Output) -> (Option<i32>, String) {
    (run.status.code(), text(&run.stdout) + &text(&run.stderr))
}

#[test]
fn a_certificate_is_added_up_for_its_own_plan_and_job_alone() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let tiny = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
    kit(folder.path(), tiny[0], tiny[1], "a");
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

/// A shop that cuts its gaskets from plates, four pumps, and remnants that are accounted for in this way.
fn plates(folder: &Path, remnants: &str) -> [String; 2] {
    let books = ["stock", "pumps"].map(|name| folder.join(name));
    books.iter().for_each(|book| fs::create_dir_all(book).unwrap());
    let pump = |tag: &str| format!("{tag},screwed-impeller,F1,F6,0.041,0.050\n");
    let pumps: String = ["A", "B", "C", "D"].map(pump).concat();
    for (file, rows) in [
        (
            "stock/Stock.csv",
            "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost\nS20,shim,F1,0.020,0.0002,14,2.00\n",
        ),
        (
            "stock/Sheets.csv",
            "Item,Kind,Thickness (in),Tolerance (in),Length (in),Width (in),On hand,Unit cost\n\
             GS-105,gasket,0.105,0.0005,31,20,2,31\n",
        ),
        ("stock/Fit.csv", "Fit,Outside diameter (in),Inside diameter (in)\nF6,6,4\n"),
        (
            "pumps/Pumps.csv",
            &format!(
                "Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n{pumps}"
            ),
        ),
        ("pumps/Policy.csv", &format!("Setting,Value\nPlate remnants,{remnants}\n")),
    ] {
        fs::write(folder.join(file), rows).unwrap();
    }
    books.map(|book| book.display().to_string())
}

#[test]
fn a_plan_with_plates_is_added_up_from_its_json() {
    for remnants in ["charged", "booked back"] {
        let folder = TempDir::new().unwrap();
        let [stock, pumps] = plates(folder.path(), remnants);
        let books = [&*stock, &*pumps];
        kit(folder.path(), books[0], books[1], "a");
        let (status, told) = said(verify(folder.path(), "a.json", books, "a-proof.json"));
        assert_eq!(status, Some(0), "{told}");
        assert!(told.contains("Every kit holds: 4 of 4 pumps."), "{told}");
        assert_eq!(told.matches("proven; the bound was added up again.").count(), 5, "{told}");
        let proof = folder.path().join("a-proof.json").display().to_string();
        let plan = folder.path().join("a.json").display().to_string();
        let asked = ["verify", &plan, books[0], books[1], "--certificate", &proof];
        let (status, told) = said(gapwright(&[&asked[..], &["--second-opinion"]].concat()));
        assert_eq!(status, Some(0), "{told}");
        // The workbook has no layouts that a program can read.
        let (status, told) = said(verify(folder.path(), "a.xlsx", books, "a-proof.json"));
        assert_eq!(status, Some(2), "{told}");
        assert!(told.contains("its JSON, which has the layout of each plate"), "{told}");

        let plan = fs::read(folder.path().join("a.json")).unwrap();
        let plan: Value = serde_json::from_slice(&plan).unwrap();
        let strips = "/sheets/0/layouts/0/strips/0/strips";
        let back = plan.pointer("/sheets/0/put_back/0/count").unwrap().as_u64().unwrap();
        // The file carries its own hash.
        for (pointer, value) in [
            ("/pumps/0/packs/cover_gasket/pieces/0/count", json!(2)),
            (strips, json!(u32::MAX)),
            ("/sheets/0/put_back/0/count", json!(back + 1)),
        ] {
            let mut plan = plan.clone();
            *plan.pointer_mut(pointer).unwrap_or_else(|| panic!("{pointer}")) = value;
            fs::write(folder.path().join("changed.json"), plan.to_string()).unwrap();
            let (status, told) = said(verify(folder.path(), "changed.json", books, "a-proof.json"));
            assert_eq!(status, Some(2), "{remnants}, {pointer}: {told}");
            assert!(told.contains("not as `gapwright kit` wrote it"), "{pointer}: {told}");
        }
    }
}

/// Counts and lots that a plan has otherwise than its layouts, were its code made to agree.
#[test]
fn counts_about_plates_follow_from_the_layouts() {
    for remnants in ["charged", "booked back"] {
        let folder = TempDir::new().unwrap();
        let [stock, pumps] = plates(folder.path(), remnants);
        let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
        let job = job(&sources).unwrap();
        let plan = choose(&job, &Control::unlimited()).unwrap();
        let verified = worked_out(job, plan).unwrap();
        let (lines, lots) = (verified.planned().lines, verified.returned());
        assert_eq!(verify_cut(&verified, &lines, &lots), Ok(()));
        let mut seen = 0;
        for (at, line) in lines.iter().enumerate() {
            if matches!(line.step, PickStep::Pick | PickStep::Short) {
                continue;
            }
            seen += 1;
            let mut other = lines.clone();
            other[at].planned += 1;
            let said = u64::from(other[at].planned);
            let made = said - 1;
            let (step, item) = (line.step.words(), line.item.clone());
            let breach = Breach::Cut { step, item, made, said };
            assert_eq!(verify_cut(&verified, &other, &lots), Err(vec![breach]));
            other.remove(at);
            assert_eq!(verify_cut(&verified, &other, &lots).unwrap_err().len(), 1);
        }
        // Four pieces, the plates, and one lot at the least that goes back.
        assert!(seen >= 6 && !lots.is_empty(), "{seen} {lots:?}");
        for (at, lot) in lots.iter().enumerate() {
            let mut other = lots.clone();
            other[at].columns[0].1.push('1');
            let breach = Breach::Returned(lot.item.clone());
            assert_eq!(verify_cut(&verified, &lines, &other), Err(vec![breach]));
        }
    }
}

/// Laminated shims and dear ones; pump C is measured later.
const PEELED: [&str; 2] = [
    "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Bin,Peel step (in)
L40,shim,F1,0.040,0.0002,1,2.00,A1,0.002
S20,shim,F1,0.020,0.0002,1,2.00,A2,
S50,shim,F1,0.050,0.0002,1,12.00,A3,
G105,gasket,F1,0.105,0.0005,3,3.00,B3,
G150,gasket,F1,0.150,0.0005,3,3.00,B4,
",
    "Tag,Model,Priority,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)
A,screwed-impeller,1,F1,F1,0.071,0.050
C,screwed-impeller,1,F1,F1,,0.050
",
];

#[test]
fn a_plan_of_a_running_outage_is_added_up_from_its_outage_file() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let [stock, pumps, outage, proof] =
        ["stock.csv", "pumps.csv", "w.outage", "proof.json"].map(at);
    let plan = |name: &str, more: &[&str]| {
        let [out, json] = [at(&format!("{name}.xlsx")), at(&format!("{name}.json"))];
        let usual =
            ["kit", &stock, &pumps, "--outage", &outage, "--certificate", &proof, "--force"];
        let files = ["--out", &out, "--json", &json];
        let (status, told) = said(gapwright(&[&usual[..], &files, more].concat()));
        assert_eq!(status, Some(0), "{told}");
        told
    };
    let verify = |name: &str, more: &[&str]| {
        let usual = ["verify", &at(name), "--outage", &outage, "--certificate", &proof];
        said(gapwright(&[&usual[..], more].concat()))
    };
    let book = |what: &[&str]| {
        let (status, told) = said(gapwright(&[&["book", &outage], what].concat()));
        assert_eq!(status, Some(0), "{told}");
    };
    fs::write(&stock, PEELED[0]).unwrap();
    fs::write(&pumps, PEELED[1]).unwrap();
    plan("1", &[]);
    book(&["bag", "A"]);
    // A peeled shim in a bag is none of the stock: the bag stays closed as it is.
    plan("closed", &[]);
    for name in ["closed.json", "closed.xlsx"] {
        let (status, told) = verify(name, &[]);
        assert_eq!(status, Some(0), "{told}");
        assert!(told.contains("Every kit holds: 1 of 1 measured pump"), "{told}");
        assert!(told.contains("bags reopened 0: proven"), "{told}");
    }
    let refused = verify_without(&at("closed.json"), [&stock, &pumps], &proof);
    assert!(refused.contains("give its outage file instead of the workbooks"), "{refused}");
    // One more pump needs the whole shim beside it: the bag is opened, and the peeled one is lost.
    fs::write(&pumps, PEELED[1].replace("F1,,0.050", "F1,0.041,0.050")).unwrap();
    let told = plan("held", &["--hold", "A"]);
    assert!(told.contains("1 of 2 pumps can be kitted"), "{told}");
    assert_eq!(verify("held.json", &["--hold", "A"]).0, Some(0));
    let (status, told) = verify("held.json", &[]);
    assert_eq!(status, Some(1), "without the hold it is not the best: {told}");
    let told = plan("opened", &[]);
    assert!(told.contains("2 of 2 pumps can be kitted"), "{told}");
    assert!(told.contains("reopen 1 bag: A (this plan): 2 served"), "{told}");
    assert!(told.contains("A peeled piece goes back into no bin."), "{told}");
    let (status, told) = verify("opened.json", &[]);
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("bags reopened 1: proven; the bound was added up again."), "{told}");
    book(&["put-back", "A"]);
    book(&["bag", "A", "C"]);
    let (_, told) = said(gapwright(&["status", &outage]));
    assert!(told.contains("2 bagged: A (kit") && !told.contains("L40 "), "{told}");
    // A plan that another outage entered is named.
    let other = at("other.outage");
    let begun = ["kit", &stock, &pumps, "--outage", &other, "--out", &at("other.xlsx")];
    assert_eq!(said(gapwright(&begun)).0, Some(0));
    let asked = ["verify", &at("closed.json"), "--outage", &other, "--certificate", &proof];
    let (status, told) = said(gapwright(&asked));
    assert_eq!(status, Some(2), "{told}");
    assert!(told.contains("give the outage file of this plan"), "{told}");
}

fn verify_without(plan: &str, [stock, pumps]: [&str; 2], proof: &str) -> String {
    let (status, told) = said(gapwright(&["verify", plan, stock, pumps, "--certificate", proof]));
    assert_eq!(status, Some(2), "{told}");
    told
}
