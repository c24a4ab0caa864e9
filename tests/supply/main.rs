//! Packages that this one is built from: their licences and notices, the Rust that they need, their sources, and
//! duplicate versions.
//!
//! Nothing is fetched: cargo reports the packages that it has. A plain build has no packages of other platforms, so
//! only those for this one are checked; with `GAPWRIGHT_PLATFORMS=all`, after `cargo fetch`, those of every platform
//! and of the fuzz targets too.
//!
//! Not covered: published advisories. The tools for them use a database that is fetched from a network and is no
//! package; a list kept here would be out of date from its first day. Nor withdrawn versions, which only the registry
//! knows. Nor language features newer than `rust-version`: clippy's `incompatible_msrv` knows the standard library
//! only, and only a build with that very toolchain shows the rest.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod notices;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use spdx::{Expression, Licensee, ParseMode};

/// Accepted licences; a package may offer one of them beside others as a choice.
const LICENCES: [&str; 7] =
    ["Apache-2.0", "BSD-3-Clause", "ISC", "MIT", "MIT-0", "Unicode-3.0", "Zlib"];

/// Licences accepted only for tests: the fuzzer's own.
const LICENCES_OF_TESTS: [&str; 1] = ["NCSA"];

/// Packages with several versions, because others need different ones.
const SEVERAL: [&str; 15] = [
    "bit-vec",
    "cpufeatures",
    "getrandom",
    "hashbrown",
    "itertools",
    "miniz_oxide",
    "nix",
    "r-efi",
    "rand",
    "rand_chacha",
    "rand_core",
    "shlex",
    "statrs",
    "syn",
    "windows-sys",
];

const MAIN: &str = "Cargo.toml";
const FUZZ: &str = "tests/fuzz/Cargo.toml";

/// A package as cargo describes it.
struct Package {
    name: String,
    licence: Option<String>,
    rust: Option<String>,
    /// Whether it is part of the program, or builds a part of it.
    shipped: bool,
    /// Where its files lie.
    folder: PathBuf,
}

/// Whether the packages of all platforms are checked.
fn all_platforms() -> bool {
    std::env::var("GAPWRIGHT_PLATFORMS").is_ok_and(|platforms| platforms == "all")
}

/// All packages but this one, or those that cargo has.
fn packages() -> Vec<Package> {
    let mut found = packages_of(MAIN);
    assert!(found.len() > 100, "only {} packages", found.len());
    if all_platforms() {
        let fuzz = packages_of(FUZZ).into_iter();
        found.extend(fuzz.map(|package| Package { shipped: false, ..package }));
    }
    found
}

fn packages_of(manifest: &str) -> Vec<Package> {
    let metadata = metadata(manifest, None).unwrap_or_else(|lacking| {
        assert!(!all_platforms(), "run `cargo fetch --locked` first: {lacking}");
        let host = host();
        let _ = writeln!(std::io::stderr(), "only the packages for {host} are looked at");
        metadata(manifest, Some(&host)).unwrap_or_else(|error| panic!("{error}"))
    });
    let text = |value: &Value| value.as_str().map(str::to_string);
    let nodes: BTreeMap<String, &Value> = metadata["resolve"]["nodes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|node| (text(&node["id"]).unwrap(), node))
        .collect();
    let root = text(&metadata["resolve"]["root"]).unwrap();
    let mut shipped = BTreeSet::from([root.clone()]);
    let mut open = vec![root.clone()];
    while let Some(id) = open.pop() {
        for dependency in nodes[&id]["deps"].as_array().unwrap() {
            let kinds = dependency["dep_kinds"].as_array().unwrap();
            let id = text(&dependency["pkg"]).unwrap();
            if kinds.iter().any(|kind| kind["kind"] != "dev") && shipped.insert(id.clone()) {
                open.push(id);
            }
        }
    }
    // Packages that no feature needs are in the lock file only.
    let used = metadata["packages"].as_array().unwrap().iter();
    let used = used.filter(|package| {
        let id = package["id"].as_str().unwrap();
        nodes.contains_key(id) && !package["source"].is_null()
    });
    used.map(|package| Package {
        name: format!(
            "{} {}",
            package["name"].as_str().unwrap(),
            package["version"].as_str().unwrap()
        ),
        licence: text(&package["license"]),
        rust: text(&package["rust_version"]),
        shipped: shipped.contains(package["id"].as_str().unwrap()),
        folder: Path::new(package["manifest_path"].as_str().unwrap()).parent().unwrap().into(),
    })
    .collect()
}

fn cargo() -> Command {
    Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()))
}

fn metadata(manifest: &str, platform: Option<&str>) -> Result<Value, String> {
    let mut command = cargo();
    command
        .args(["metadata", "--format-version=1", "--locked", "--offline"])
        .arg("--manifest-path")
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join(manifest));
    if let Some(platform) = platform {
        command.args(["--filter-platform", platform]);
    }
    let output = command.output().unwrap();
    if output.status.success() {
        Ok(serde_json::from_slice(&output.stdout).unwrap())
    } else {
        Err(String::from_utf8_lossy(&output.stderr).into())
    }
}

fn host() -> String {
    let output = cargo().arg("-vV").output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let host = text.lines().find_map(|line| line.strip_prefix("host: "));
    host.unwrap().to_string()
}

/// Objection to a licence, if any.
fn objection(licence: Option<&str>, allowed: &[&str]) -> Option<String> {
    let Some(licence) = licence else {
        return Some("states no licence".into());
    };
    // Older packages write `/` for OR.
    let mode = ParseMode { allow_slash_as_or_operator: true, ..ParseMode::STRICT };
    let expression = match Expression::parse_mode(licence, mode) {
        Ok(expression) => expression,
        Err(error) => return Some(format!("`{licence}`: {error}")),
    };
    let allowed: Vec<Licensee> =
        allowed.iter().map(|name| Licensee::parse(name).unwrap()).collect();
    let fits = expression.evaluate(|asked| allowed.iter().any(|one| one.satisfies(asked)));
    (!fits).then(|| format!("`{licence}` is not among those that may be"))
}

#[test]
fn every_package_has_a_licence_that_may_be() {
    let of_tests = [&LICENCES[..], &LICENCES_OF_TESTS].concat();
    let wrong: Vec<String> = packages()
        .iter()
        .filter_map(|package| {
            let allowed = if package.shipped { &LICENCES[..] } else { &of_tests };
            let objection = objection(package.licence.as_deref(), allowed)?;
            Some(format!("{}: {objection}", package.name))
        })
        .collect();
    assert_eq!(wrong, [""; 0]);
}

#[test]
fn a_licence_is_read_as_it_is_meant() {
    let fits = |licence| objection(Some(licence), &LICENCES).is_none();
    for right in [
        "MIT",
        "MIT/Apache-2.0",
        "GPL-3.0-only OR MIT",
        "(MIT OR GPL-2.0-only) AND Zlib",
        "Apache-2.0 WITH LLVM-exception OR MIT",
    ] {
        assert!(fits(right), "{right}");
    }
    for wrong in [
        "GPL-3.0-only",
        "MIT AND GPL-3.0-only",
        "MIT AND (GPL-2.0-only OR LGPL-2.1-or-later)",
        "Apache-2.0 WITH LLVM-exception",
        "NCSA",
        "My own",
        "",
    ] {
        assert!(!fits(wrong), "{wrong}");
    }
    assert!(objection(None, &LICENCES).is_some());
}

/// A version of Rust in numbers: `1.88` is 1.88.0.
fn version(text: &str) -> [u32; 3] {
    let mut numbers = text.split('.').map(|number| number.parse().unwrap());
    [(); 3].map(|()| numbers.next().unwrap_or(0))
}

#[test]
fn no_package_asks_for_a_newer_rust_than_ours() {
    let ours = env!("CARGO_PKG_RUST_VERSION");
    assert!(version("1.88.1") > version("1.88") && version("1.100") > version("1.99.9"));
    let packages = packages();
    let newer = |package: &&Package| {
        let rust = package.rust.as_deref();
        rust.is_some_and(|rust| version(rust) > version(ours))
    };
    let wrong = packages.iter().filter(newer);
    let told: Vec<String> =
        wrong.map(|package| format!("{} asks for {:?}", package.name, package.rust)).collect();
    assert_eq!(told, [""; 0], "ours is {ours}");
}

/// Packages of a lock file: name, version, and whether registry and checksum are stated.
fn locked(file: &str) -> Vec<(String, String, bool)> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
    let lock: toml::Table = fs::read_to_string(path).unwrap().parse().unwrap();
    let packages = lock["package"].as_array().unwrap().iter();
    let read = packages.map(|package| {
        let text = |key| package.get(key).and_then(toml::Value::as_str);
        let source = text("source").unwrap_or_default();
        (
            text("name").unwrap().to_string(),
            text("version").unwrap().to_string(),
            source.starts_with("registry+") && text("checksum").is_some_and(|sum| sum.len() == 64),
        )
    });
    read.collect()
}

/// Neither from a repository nor from a folder, and with a checksum.
#[test]
fn every_package_comes_from_a_registry_by_its_checksum() {
    for (file, own) in [
        ("Cargo.lock", vec!["gapwright"]),
        ("tests/fuzz/Cargo.lock", vec!["gapwright", "gapwright-fuzz"]),
    ] {
        let elsewhere = locked(file).into_iter().filter(|(.., held)| !held);
        let elsewhere: Vec<String> = elsewhere.map(|(name, ..)| name).collect();
        assert_eq!(elsewhere, own, "{file}");
    }
}

#[test]
fn no_package_is_there_twice_beyond_those_that_are_known() {
    let mut versions: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (name, version, _) in locked("Cargo.lock") {
        versions.entry(name).or_default().insert(version);
    }
    versions.retain(|_, versions| versions.len() > 1);
    let several: Vec<&str> = versions.keys().map(String::as_str).collect();
    assert_eq!(several, SEVERAL, "{versions:?}");
}
