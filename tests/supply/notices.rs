//! The notices of the packages that the program is built from, as `gapwright licences` prints them: collected from the
//! packages themselves, held against the committed file.
//!
//! `GAPWRIGHT_LICENCES=write GAPWRIGHT_PLATFORMS=all cargo test --release --test supply`, after `cargo fetch`, writes
//! the file.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;

use super::{MAIN, Package, all_platforms, objection, packages_of};

const FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/src/licences.txt");
const HEAD: &str = "gapwright is built from the packages below. Each is used under the licence beside it; where a package \
                    offers several, one of them is enough. The texts follow, each with the packages that carry it.\n";
const RULE: &str =
    "--------------------------------------------------------------------------------";

/// What a package's line says.
fn line(package: &Package) -> String {
    let licence = package.licence.as_deref().unwrap_or("no licence stated");
    let without = if texts(package).is_empty() { "; carries no text" } else { "" };
    format!("{}: {licence}{without}", package.name)
}

/// Texts that a package carries: licences, copyrights and notices of its top folder, one form each. Of a package that
/// offers MIT, and has it in a file of its own, no other licence is printed.
fn texts(package: &Package) -> Vec<String> {
    let mut found = Vec::new();
    for entry in fs::read_dir(&package.folder).unwrap().flatten() {
        let name = entry.file_name().to_string_lossy().to_lowercase();
        let is = ["license", "licence", "copying", "copyright", "notice", "unlicense"];
        let plain = [".txt", ".md", ""].iter().any(|end| name.ends_with(end));
        if is.iter().any(|word| name.starts_with(word)) && plain && entry.path().is_file() {
            found.push((name, fs::read_to_string(entry.path()).unwrap()));
        }
    }
    let offers_mit = objection(package.licence.as_deref(), &["MIT"]).is_none();
    if offers_mit && found.iter().any(|(name, _)| name.contains("mit")) {
        let licence = |name: &str| name.starts_with("licen") || name.starts_with("unlicense");
        found.retain(|(name, _)| !licence(name) || name.contains("mit"));
    }
    found.sort();
    // Ends of lines and pages are no part of a text.
    let bare = |text: &str| {
        let lines: Vec<&str> =
            text.trim_start_matches('\u{feff}').lines().map(str::trim_end).collect();
        lines.join("\n").trim_matches('\n').replace('\u{c}', "")
    };
    found.into_iter().map(|(_, text)| bare(&text)).filter(|text| !text.is_empty()).collect()
}

fn shipped() -> Vec<Package> {
    let mut all: Vec<Package> =
        packages_of(MAIN).into_iter().filter(|package| package.shipped).collect();
    all.sort_by(|a, b| a.name.cmp(&b.name));
    all
}

/// The file as it should be.
fn collected() -> String {
    let mut whole = HEAD.to_string();
    let mut carried: BTreeMap<String, Vec<String>> = BTreeMap::new();
    whole.push('\n');
    for package in shipped() {
        writeln!(whole, "{}", line(&package)).unwrap();
        for text in texts(&package) {
            carried.entry(text).or_default().push(package.name.clone());
        }
    }
    let mut carried: Vec<(Vec<String>, String)> =
        carried.into_iter().map(|(text, names)| (names, text)).collect();
    carried.sort();
    for (names, text) in carried {
        write!(whole, "\n{RULE}\n{}\n\n{text}\n", names.join(", ")).unwrap();
    }
    whole
}

#[test]
fn the_notices_are_those_of_the_packages_that_are_shipped() {
    if std::env::var("GAPWRIGHT_LICENCES").is_ok_and(|what| what == "write") {
        assert!(all_platforms(), "GAPWRIGHT_PLATFORMS=all: the file is one for all platforms");
        fs::write(FILE, collected()).unwrap();
    }
    let there = fs::read_to_string(FILE).unwrap();
    let again = "write it again, as the head of tests/supply/notices.rs says";
    if all_platforms() {
        assert!(there == collected(), "src/licences.txt is not as it should be: {again}");
    }
    // Those of this platform are among them, each with all that it carries.
    let lines: Vec<&str> = there.lines().collect();
    for package in shipped() {
        assert!(lines.contains(&line(&package).as_str()), "{}: {again}", package.name);
        for text in texts(&package) {
            assert!(there.contains(&format!("\n\n{text}\n")), "{}: {again}", package.name);
        }
    }
}

/// None is there that is in the lock file no more.
#[test]
fn no_notice_is_of_a_package_that_is_gone() {
    let locked = super::locked("Cargo.lock");
    let there = fs::read_to_string(FILE).unwrap();
    let (list, _) = there.split_once(RULE).unwrap();
    let listed =
        list.lines().filter(|line| !HEAD.contains(line)).filter_map(|l| l.split_once(": "));
    let listed: Vec<&str> = listed.map(|(name, _)| name).collect();
    assert!(listed.len() > 100, "{}", listed.len());
    for package in listed {
        let known = locked.iter().any(|(name, version, _)| package == format!("{name} {version}"));
        assert!(known, "{package}");
    }
}

/// Taken over from packages that nobody keeps any more, and not to come back.
#[test]
fn no_package_is_one_that_is_no_longer_kept() {
    for (name, ..) in super::locked("Cargo.lock") {
        assert!(!["paste", "pulp", "natord"].contains(&name.as_str()), "{name}");
    }
}
