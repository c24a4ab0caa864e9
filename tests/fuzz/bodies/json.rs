//! Plans as JSON: they are read back against a job, and a written plan reads back unchanged.

use std::fs;
use std::sync::LazyLock;

use gapwright::accounting::{stack, verdicts};
use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::crush::crushes;
use gapwright::formats::plan::PlanJson;
use gapwright::job::Job;
use gapwright::json;
use gapwright::plan::{Kit, PackPick};
use gapwright::problem::Problems;
use gapwright::read::{self, Sources};
use gapwright::stack::report;
use gapwright::verify::{Verified, verify};
use serde_json::Value;

use super::told;

/// The first byte: a plan, or names of pumps and items to make one with.
pub fn run(bytes: &[u8]) {
    let Some((kind, rest)) = super::parted(bytes) else {
        return;
    };
    match kind {
        'p' => plan(rest),
        'n' => named(&String::from_utf8_lossy(rest)),
        _ => {}
    }
}

/// Bytes that may be a plan; or values that are laid over those of a written one, its sums and hash made to fit.
fn plan(bytes: &[u8]) {
    read_back(bytes);
    let Ok(over @ Value::Object(_)) = serde_json::from_slice(bytes) else { return };
    let mut whole = serde_json::to_value(json::plan(&VERIFIED)).expect("a plan");
    let format = whole["format"].clone();
    lay_over(&mut whole, over);
    whole["format"] = format;
    if let Ok(plan) = serde_json::from_value::<PlanJson>(whole) {
        read_back(&serde_json::to_vec(&plan.sealed()).expect("a plan as text"));
    }
}

/// Puts values in the place of those under the same keys and numbers.
fn lay_over(under: &mut Value, over: Value) {
    match (under, over) {
        (Value::Object(under), Value::Object(over)) => {
            for (key, value) in over {
                lay_over(under.entry(key).or_insert(Value::Null), value);
            }
        }
        (Value::Array(under), Value::Array(over)) => {
            for (at, value) in over.into_iter().enumerate() {
                match under.get_mut(at) {
                    Some(place) => lay_over(place, value),
                    None => under.push(value),
                }
            }
        }
        (under, over) => *under = over,
    }
}

/// Reads bytes as a plan, and draws on what was read.
fn read_back(bytes: &[u8]) {
    if let Ok(plan) = serde_json::from_slice::<PlanJson>(bytes) {
        let text = serde_json::to_string(&plan).expect("a plan as text");
        let again: PlanJson = serde_json::from_str(&text).expect("what was written");
        assert_eq!(again, plan);
    }
    let job = VERIFIED.job();
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("plan.json");
    fs::write(&file, bytes).expect("a file");
    match read::packs_of_plan(&file, job, &mut read::Memory::default()) {
        Ok((kits, _)) => {
            // The stack-up of such a plan needs these.
            for pump in &job.pumps {
                let Some(packs) = kits.get(&pump.tag.to_lowercase()) else {
                    continue;
                };
                let (parts, unit) = (stack(job, pump, packs), job.model_of(pump).unit);
                assert_eq!(verdicts(job, pump, packs).len(), pump.requirements.len());
                for requirement in &pump.requirements {
                    report(&requirement.form, &parts, job.policy.coverage, unit);
                }
                crushes(job, pump, packs);
            }
        }
        Err(problems) => told(&problems),
    }
}

/// Names for pumps and items: any name that the reader accepts survives the way through JSON.
fn named(text: &str) {
    match with_names(text) {
        Ok(job) => reads_back(&kitted(job)),
        Err(problems) => told(&problems),
    }
}

/// The invented job, with pumps and items named by the lines of a text as far as it has any.
fn with_names(text: &str) -> Result<Job, Problems> {
    let mut names = text.split('\n');
    let mut pumps = PUMPS.to_string();
    let mut stock = STOCK.to_string();
    for (sheet, places) in
        [(&mut pumps, &["<A>", "<B>"][..]), (&mut stock, &["<LAM>", "<S10>", "<GAS>"])]
    {
        for place in places {
            let name = names.next().filter(|name| !name.is_empty());
            let name = name.unwrap_or(place.trim_matches(['<', '>']));
            *sheet = sheet.replace(place, &format!("\"{}\"", name.replace('"', "\"\"")));
        }
    }
    job(&pumps, &stock)
}

/// The plan as JSON reads back as the pieces that were chosen.
pub fn reads_back(verified: &Verified) {
    let job = verified.job();
    let text = json::text(verified);
    let read: PlanJson = serde_json::from_str(&text).expect("a plan");
    assert_eq!(read, json::plan(verified));
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("plan.json");
    fs::write(&file, text).expect("a file");
    let (kits, _) = read::packs_of_plan(&file, job, &mut read::Memory::default())
        .unwrap_or_else(|problems| panic!("{}", problems.sorted()[0]));
    for (pump, kit) in job.pumps.iter().zip(&verified.plan().kits) {
        let back = kits.get(&pump.tag.to_lowercase());
        match kit {
            Kit::Served(packs) => assert_eq!(back, Some(packs), "{}", pump.tag),
            Kit::Short(_) => assert_eq!(back, None, "{}", pump.tag),
        }
    }
}

/// The plan of a job, checked.
pub fn kitted(job: Job) -> Verified {
    let plan = choose(&job, &Control::unlimited()).expect("few pieces");
    verify(job, plan).unwrap_or_else(|breaches| panic!("{breaches:?}"))
}

/// Invented: two pumps of one model; a laminated shim, a plain one, ready gaskets and a sheet.
const PUMPS: &str = "\
Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)
<A>,screwed-impeller,F1,F1,0.051,0.050
<B>,screwed-impeller,F1,F1,0.041,0.050
";
const STOCK: &str = "\
Item,Kind,Fit,Thickness (in),Tolerance (in),On hand,Unit cost,Peel step (in)
<LAM>,shim,F1,0.031,0.0002,4,2.00,0.002
<S10>,shim,F1,0.010,0.0002,2,2.00,
<GAS>,gasket,F1,0.120,0.0005,1,3.00,
";
const SHEETS: &str = "\
Item,Kind,Thickness (in),Tolerance (in),Length (in),Width (in),On hand
SH,gasket,0.105,0.0005,20,20,2
";
const FIT: &str = "Fit,Outside diameter (in),Inside diameter (in)\nF1,5,4\n";

fn job(pumps: &str, stock: &str) -> Result<Job, Problems> {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    fs::create_dir(at("stock")).expect("a folder");
    for (name, text) in [
        ("pumps.csv", pumps),
        ("stock/Stock.csv", stock),
        ("stock/Sheets.csv", SHEETS),
        ("stock/Fit.csv", FIT),
    ] {
        fs::write(at(name), text).expect("a file");
    }
    read::job(&Sources { stock: at("stock"), pumps: at("pumps.csv"), ..Sources::default() })
}

static VERIFIED: LazyLock<Verified> = LazyLock::new(|| kitted(rich()));

/// The invented job unchanged.
pub fn rich() -> Job {
    with_names("").unwrap_or_else(|problems| panic!("{}", problems.sorted()[0]))
}

/// The invented job with its plan.
pub fn example() -> &'static Verified {
    &VERIFIED
}

/// The pieces of its first pump.
pub fn kit_of_first() -> &'static [PackPick] {
    match &VERIFIED.plan().kits[0] {
        Kit::Served(packs) => packs,
        Kit::Short(_) => panic!("the first pump can be kitted"),
    }
}
