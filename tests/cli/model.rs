//! `gapwright model`: what there is, its text, a file to start from, a file tried with its own example.

use std::fs;
use std::path::Path;
use std::process::Output;

use assert_cmd::Command;
use gapwright::read::{BUILT_IN, STARTING_MODEL};
use tempfile::TempDir;

fn model(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::cargo_bin("gapwright").unwrap();
    command.current_dir(folder).arg("model").args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn every_model_is_listed_and_printed_as_it_is() {
    let folder = TempDir::new().unwrap();
    let listed = text(&model(folder.path(), &["list"]).stdout);
    assert_eq!(listed.lines().count(), BUILT_IN.len());
    for (name, file) in BUILT_IN {
        assert!(listed.lines().any(|line| line.starts_with(name)), "{listed}");
        assert_eq!(text(&model(folder.path(), &["show", name]).stdout), file);
    }
    let materials = text(&model(folder.path(), &["show", "materials"]).stdout);
    assert_eq!(materials, fs::read_to_string("models/materials.toml").unwrap());
    let unknown = model(folder.path(), &["show", "screwed-impeler"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(text(&unknown.stderr).contains("write `screwed-impeller`"));
}

#[test]
fn a_new_file_passes_its_own_check_and_is_never_replaced() {
    let folder = TempDir::new().unwrap();
    let made = model(folder.path(), &["new", "our-pump.toml"]);
    assert_eq!(made.status.code(), Some(0), "{}", text(&made.stderr));
    let path = folder.path().join("our-pump.toml");
    assert_eq!(fs::read_to_string(&path).unwrap(), STARTING_MODEL);
    let checked = model(folder.path(), &["check", "our-pump.toml"]);
    let said = text(&checked.stdout);
    assert_eq!(checked.status.code(), Some(0), "{said}{}", text(&checked.stderr));
    assert!(said.contains("Running clearance: met by the worst case rule"), "{said}");
    assert!(said.contains("Gasket fill: met by the worst case rule"), "{said}");
    fs::write(&path, "# changed\n").unwrap();
    let again = model(folder.path(), &["new", "our-pump.toml"]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("a model is never replaced"));
    assert_eq!(fs::read_to_string(&path).unwrap(), "# changed\n");
    assert_eq!(model(folder.path(), &["new", "our-pump.txt"]).status.code(), Some(2));
}

#[test]
fn a_check_tells_what_is_wrong_with_a_file_or_with_its_example() {
    let folder = TempDir::new().unwrap();
    let checked = |text: &str| {
        fs::write(folder.path().join("own.toml"), text).unwrap();
        model(folder.path(), &["check", "own.toml"])
    };
    let broken = checked(&STARTING_MODEL.replace("most_pieces = 4", "most_pices = 4"));
    assert_eq!(broken.status.code(), Some(2));
    let said = text(&broken.stderr);
    assert!(said.contains("own.toml") && said.contains("write `most_pieces`"), "{said}");
    // The example's clearance is outside its limits whatever is chosen.
    let missed = checked(&STARTING_MODEL.replace("example = 0.041", "example = 0.051"));
    let said = text(&missed.stdout) + &text(&missed.stderr);
    assert_eq!(missed.status.code(), Some(1), "{said}");
    assert!(said.contains("The example cannot be kitted"), "{said}");
    assert!(!said.contains("/tmp"), "{said}");
    assert_eq!(model(folder.path(), &["check", "missing.toml"]).status.code(), Some(2));
    for (name, file) in BUILT_IN {
        fs::write(folder.path().join("own.toml"), file).unwrap();
        let well = model(folder.path(), &["check", "own.toml"]);
        assert_eq!(well.status.code(), Some(0), "{name}: {}", text(&well.stderr));
    }
}
