//! Model files and materials tables.

use std::fs;

use gapwright::problem::{Problems, Spot};
use gapwright::read::{self, Library, Sources};
use gapwright::write::blank;

use super::told;

/// The first byte: a model, or a materials table that a library is opened with.
pub fn run(bytes: &[u8]) {
    let Some((kind, rest)) = super::parted(bytes) else {
        return;
    };
    let text = String::from_utf8_lossy(rest);
    match kind {
        'm' => model(&text),
        't' => materials(rest),
        _ => {}
    }
}

/// An accepted model can be started from: its blank workbooks read back as a job or as problems.
fn model(text: &str) {
    let model = match read::parse_model("m", "m.toml", text) {
        Ok(model) => model,
        Err(problems) => return told_in(text, &problems),
    };
    let (stock, pumps) = blank::workbooks(&model).expect("blank workbooks of any model");
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    fs::write(at("m.toml"), text).expect("a file");
    fs::write(at("stock.xlsx"), stock).expect("a file");
    fs::write(at("pumps.xlsx"), pumps).expect("a file");
    let job = read::job(&Sources {
        stock: at("stock.xlsx"),
        pumps: at("pumps.xlsx"),
        models: Some(folder.path().into()),
        examples: true,
        ..Sources::default()
    });
    match job {
        Ok(job) => assert_eq!(job.models.len(), 1),
        Err(problems) => told(&problems),
    }
}

fn materials(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("materials.toml"), bytes).expect("a file");
    let mut problems = Problems::new();
    let library = Library::open(Some(folder.path()), &mut problems);
    if problems.none() {
        // The models that come with the program stay valid, whatever a shop states of its materials.
        for name in library.names() {
            let _ = library.find(&name, &mut problems);
        }
    } else {
        told(&problems);
    }
}

/// Every problem has its place within the text.
fn told_in(text: &str, problems: &Problems) {
    told(problems);
    for problem in problems.sorted() {
        let Spot::Text { line, column } = problem.place.spot else {
            panic!("a problem without a line: {problem}");
        };
        let found = text.split('\n').nth(line - 1).expect("a line of the text");
        assert!(column <= found.chars().count() + 1, "{problem}");
    }
}
