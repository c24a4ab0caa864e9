//! The house: which room of `src` may import which, and which outside crate stands behind which room.
//!
//! A room is a module of the crate's root: `src/stack.rs` and everything in `src/stack/` are the room `stack`.
//! [`ROOMS`] lists them from the ground up; a room imports only rooms that stand before it, so there can be no
//! circle between rooms. The table says exactly what is imported: a new arrow is written down here, or the test
//! fails; so does an arrow that is written down and gone.
//!
//! Imports are read as text: every `crate::room` outside comments and outside a file's `mod tests`. A path of
//! `super` must not size_range the root, so that none is missed.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// The rooms from the ground up, each with the rooms that it imports.
const ROOMS: &[(&str, &str)] = &[
    ("columns", ""),
    ("certificate", ""),
    ("day", ""),
    ("decimal", ""),
    ("digest", ""),
    ("guard", ""),
    ("manual", ""),
    ("narrow", ""),
    ("plain_text", ""),
    ("length", "decimal narrow"),
    ("problem", "narrow"),
    ("output", "problem"),
    ("sheet", "decimal problem"),
    ("show", "decimal length"),
    ("inventory", "decimal narrow"),
    ("feeler", "length"),
    ("model", "decimal length narrow"),
    ("packing", "length"),
    ("gauge", "length"),
    ("stock", "decimal gauge length model"),
    ("cutting", "decimal length narrow stock"),
    ("pump", "gauge length model narrow packing stock"),
    ("stack", "decimal gauge length model narrow pump stock"),
    ("policy", "cutting decimal gauge length show stack"),
    ("job", "cutting decimal feeler gauge length model policy problem pump sheet stack stock"),
    ("forecast", "decimal job length pump stack"),
    ("plan", "certificate cutting decimal job length policy stock"),
    (
        "accounting",
        "columns cutting decimal gauge job length model narrow plan policy problem pump stack stock",
    ),
    ("consumables", "job plan pump stock"),
    ("crush", "accounting decimal job length model plan pump stack"),
    ("purchase", "decimal job plan problem pump stock"),
    (
        "choose",
        "accounting certificate cutting decimal gauge job length model narrow plan policy problem pump \
         purchase stack stock",
    ),
    (
        "issue",
        "consumables cutting decimal digest job length plain_text plan problem \
         pump show stock",
    ),
    ("changes", "issue"),
    ("outage", "changes digest issue model narrow problem"),
    ("pump_cells", "columns issue sheet"),
    ("outage_cells", "columns length model outage problem pump_cells sheet"),
    ("outage_file", "digest outage problem"),
    ("recheck", "accounting decimal gauge job length model plan pump stack"),
    (
        "provision",
        "accounting choose cutting decimal job length model narrow forecast plan pump stack stock",
    ),
    ("size_range", "choose decimal length narrow plan"),
    ("sweep", "accounting choose decimal job length model narrow plan pump show stack"),
    (
        "analysis",
        "accounting choose decimal job length model narrow plan policy purchase stack stock sweep",
    ),
    (
        "reorder",
        "accounting consumables choose day decimal inventory issue job length narrow plan policy \
         problem pump purchase size_range stack stock",
    ),
    ("formats", "certificate crush digest narrow plain_text plan policy problem stack"),
    (
        "verify",
        "accounting certificate consumables cutting decimal gauge issue job length model narrow forecast plan policy \
         provision pump purchase recheck stack stock",
    ),
    (
        "words",
        "accounting consumables choose columns crush cutting decimal feeler gauge job length model \
         forecast narrow outage packing plan policy problem provision pump recheck show stack sweep verify",
    ),
    (
        "paper",
        "accounting consumables crush cutting decimal digest feeler issue job length model outage plain_text plan pump recheck stack \
         verify words",
    ),
    (
        "outage_kit",
        "accounting changes columns consumables cutting issue job length model outage plan pump recheck show stock \
         verify words",
    ),
    (
        "read",
        "accounting certificate changes columns cutting day decimal digest feeler formats gauge guard issue job length \
         model narrow forecast packing paper plan policy problem pump recheck sheet show stack \
         stock",
    ),
    ("outage_event", "columns issue job model outage outage_cells outage_kit paper problem sheet"),
    ("outage_books", "outage outage_file output problem read sheet"),
    (
        "outage_job",
        "changes job outage outage_books outage_cells outage_file outage_kit problem read",
    ),
    ("scratch", "choose issue job plan problem pump pump_cells read sheet stock verify words"),
    (
        "write",
        "accounting analysis changes consumables choose columns crush cutting day decimal digest formats \
         issue job length model narrow forecast outage output packing paper plain_text plan policy problem provision \
         pump size_range recheck reorder sheet stack stock sweep verify words",
    ),
    (
        "json",
        "accounting analysis changes consumables crush cutting day decimal forecast formats issue job length model \
         narrow outage packing plain_text plan problem provision pump recheck reorder show size_range stack \
         sweep verify words write",
    ),
    (
        "page",
        "accounting analysis changes choose crush digest issue job length model outage outage_books outage_cells outage_event outage_file outage_job outage_kit \
         paper plain_text plan problem provision pump pump_cells read recheck scratch sheet show stack sweep verify words",
    ),
    (
        "cli",
        "accounting analysis certificate changes choose crush cutting day decimal digest formats guard issue job json length model \
         manual forecast outage outage_books outage_event outage_file outage_job outage_kit output page paper plain_text plan policy problem \
         provision pump read recheck reorder scratch sheet show stack stock sweep verify words write",
    ),
];

/// The outside crates, each with the rooms that use it.
const DOORS: &[(&str, &str)] = &[
    ("alphanumeric_sort", "paper"),
    ("anstream", "cli"),
    ("anstyle", "cli"),
    ("axum", "page"),
    ("calamine", "read"),
    ("cfb", "read"),
    ("chacha20", "provision reorder stack"),
    ("clap", "cli"),
    ("clap_complete", "cli"),
    ("clap_mangen", "cli"),
    ("comfy_table", "cli"),
    ("csv", "read"),
    ("ctrlc", "cli"),
    ("fearless_simd", "stack"),
    ("flate2", "page"),
    ("futures_util", "page"),
    ("getrandom", "page"),
    ("good_lp", "choose"),
    ("hyper", "page"),
    ("hyper_util", "page"),
    ("indicatif", "cli"),
    ("itertools", "choose crush page paper read show stack words write"),
    ("jiff", "cli day page"),
    ("libm", "model provision stack"),
    ("maud", "page paper"),
    ("memchr", "read write"),
    ("microlp", "choose"),
    ("png", "write"),
    ("pulldown_cmark", "cli"),
    ("qrcode", "paper"),
    ("quick_xml", "read"),
    ("rayon", "analysis choose cli provision stack verify write"),
    ("rcgen", "page"),
    ("rust_decimal", "decimal inventory length read sheet"),
    ("rusqlite", "outage_file"),
    ("rust_xlsxwriter", "output write"),
    ("same_file", "output"),
    ("schemars", "formats problem"),
    ("serde", "formats outage page problem read"),
    ("serde_json", "cli formats json outage outage_file page"),
    ("sha2", "digest"),
    ("smallvec", "choose provision stack"),
    ("statrs", "inventory provision stack"),
    ("strsim", "problem read"),
    ("tempfile", "outage_books output"),
    ("terminal_size", "cli"),
    ("textwrap", "cli"),
    (
        "thiserror",
        "choose formats inventory job length model forecast outage outage_books outage_file output page paper policy provision size_range read \
         stack sweep verify",
    ),
    ("tokio", "page"),
    ("tokio_rustls", "page"),
    ("toml", "read"),
    ("unicode_width", "cli"),
    ("zip", "read write"),
];

/// The rooms that only put the others together.
const ROOT: [&str; 2] = ["lib", "main"];

/// A source file: its room, how deep it lies, its code without comments and unit tests.
struct Source {
    path: PathBuf,
    room: String,
    /// How many `super` lead from the file's own module to the root.
    depth: usize,
    code: String,
}

#[expect(clippy::unwrap_used, reason = "a tree that cannot be read fails the test")]
fn sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    let mut folders = vec![root.clone()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|end| end == "rs") {
                let within = path.strip_prefix(&root).unwrap().with_extension("");
                let parts: Vec<_> = within.iter().map(|part| part.to_str().unwrap()).collect();
                found.push(Source {
                    room: parts[0].to_string(),
                    depth: parts.len(),
                    code: code(&fs::read_to_string(&path).unwrap()),
                    path,
                });
            }
        }
    }
    assert!(found.len() > 100, "{} files of src were found", found.len());
    found
}

/// A file without comments, and without its unit tests, which stand at its end: clippy refuses items after them.
fn code(text: &str) -> String {
    let end = text.find("#[cfg(test)]\nmod tests").unwrap_or(text.len());
    let lines = text[..end].lines();
    let bare = lines.map(|line| line.split("//").next().unwrap_or_default());
    bare.collect::<Vec<_>>().join("\n")
}

/// The names that follow `front` in a code: `crate::a`, or of a list `crate::{a::B, c}` each that begins an entry.
fn names_after(code: &str, front: &str) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for (at, _) in code.match_indices(front) {
        let before = code[..at].chars().next_back();
        if before.is_some_and(|c| c.is_alphanumeric() || c == '_' || c == ':') {
            continue;
        }
        let rest = &code[at + front.len()..];
        match rest.strip_prefix('{') {
            Some(list) => names.extend(entries(list)),
            None => names.extend(first_word(rest)),
        }
    }
    names
}

/// The first word of each entry of a list, up to its closing brace.
fn entries(list: &str) -> Vec<String> {
    let (mut depth, mut starts, mut found) = (0, true, Vec::new());
    for (at, c) in list.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            ',' if depth == 0 => starts = true,
            c if starts && (c.is_alphanumeric() || c == '_') => {
                found.extend(first_word(&list[at..]));
                starts = false;
            }
            _ => {}
        }
    }
    found
}

fn first_word(text: &str) -> Option<String> {
    let word: String = text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
    (!word.is_empty()).then_some(word)
}

/// Names of a table, parted by spaces.
fn listed(names: &str) -> BTreeSet<String> {
    names.split_whitespace().map(String::from).collect()
}

/// Differences of two sets that should be one.
fn differences(what: &str, found: &BTreeSet<String>, listed: &BTreeSet<String>) -> Vec<String> {
    let new = found.difference(listed).map(|name| format!("{what} {name}: not in the table"));
    let gone = listed
        .difference(found)
        .map(|name| format!("{what} {name}: in the table and not in the code"));
    new.chain(gone).collect()
}

#[test]
fn imports_go_down_only_and_are_those_of_the_table() {
    let mut imports: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for source in sources() {
        let room = imports.entry(source.room.clone()).or_default();
        // Macros of the root are no room.
        let names = names_after(&source.code, "crate::");
        room.extend(names.into_iter().filter(|name| *name != source.room));
    }
    let mut wrong = Vec::new();
    let mut below: BTreeSet<String> = BTreeSet::new();
    for (room, may) in ROOMS {
        let may = listed(may);
        for up in may.difference(&below) {
            wrong.push(format!("{room} -> {up}: an arrow up, or to a room that is not there"));
        }
        let found = imports.remove(*room).unwrap_or_default();
        wrong.extend(differences(&format!("{room} ->"), &found, &may));
        below.insert(room.to_string());
    }
    for room in imports.keys().filter(|room| !ROOT.contains(&room.as_str())) {
        wrong.push(format!("the room {room} is not in the table; it imports {:?}", imports[room]));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_path_of_super_reaches_the_root() {
    let mut wrong = Vec::new();
    for source in sources() {
        let ups = "super::".repeat(source.depth);
        let reaches = !ROOT.contains(&source.room.as_str()) && source.code.contains(&ups);
        if reaches {
            wrong.push(source.path.display().to_string());
        }
    }
    assert!(wrong.is_empty(), "write crate:: instead of super:: in {wrong:?}");
}

#[test]
fn each_outside_crate_stands_behind_its_rooms() {
    let manifest = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml")).unwrap();
    let (_, dependencies) = manifest.split_once("\n[dependencies]\n").unwrap();
    let dependencies = dependencies.split("\n[").next().unwrap().lines();
    let names = dependencies.filter_map(|line| Some(line.split_once(" =")?.0.replace('-', "_")));
    let names: Vec<String> = names.filter(|name| !name.starts_with('#')).collect();
    let sources = sources();
    let mut wrong = Vec::new();
    for name in &names {
        let uses = |source: &&Source| {
            let path = names_after(&source.code, &format!("{name}::"));
            !path.is_empty() || source.code.contains(&format!("{name}!("))
        };
        let rooms: BTreeSet<String> = sources.iter().filter(uses).map(|s| s.room.clone()).collect();
        let door = DOORS.iter().find(|(door, _)| door == name);
        let may = door.map(|(_, rooms)| listed(rooms)).unwrap_or_default();
        wrong.extend(differences(&format!("{name} in"), &rooms, &may));
        if rooms.is_empty() {
            wrong.push(format!("{name} is a dependency that no room uses"));
        }
    }
    for (door, _) in DOORS.iter().filter(|(door, _)| !names.iter().any(|name| name == door)) {
        wrong.push(format!("{door} is in the table and no dependency"));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// One word, one meaning: no two public types have one name. Types of tests and those below a function are left out.
/// The words for a pump that must not be assembled stand in one file; all others take them from there.
#[test]
fn the_words_for_a_pump_that_is_not_fit_stand_in_one_place() {
    let with_them =
        sources().into_iter().filter(|source| source.code.contains("NOT FIT TO ASSEMBLE"));
    let files: Vec<PathBuf> = with_them.map(|source| source.path).collect();
    let [file] = &files[..] else { panic!("{files:?}") };
    assert!(file.ends_with("src/model.rs"), "{file:?}");
}

#[test]
fn no_two_public_types_have_one_name() {
    let mut homes: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
    for source in sources() {
        for line in source.code.lines() {
            let rest = line.strip_prefix("pub struct ").or(line.strip_prefix("pub enum "));
            let Some(rest) = rest else { continue };
            let name = rest.split(|c: char| !c.is_alphanumeric()).next().unwrap_or_default();
            homes.entry(name.to_string()).or_default().push(source.path.clone());
        }
    }
    assert!(homes.len() > 200, "{} types were seen", homes.len());
    homes.retain(|_, homes| homes.len() > 1);
    assert!(homes.is_empty(), "{homes:#?}");
}

/// A comment begins with a noun phrase or a verb.
#[test]
fn no_comment_begins_with_a_pronoun() {
    let (mut seen, mut wrong) = (0, Vec::new());
    for source in sources() {
        let text = fs::read_to_string(&source.path).unwrap();
        for (at, line) in text.lines().enumerate() {
            let comment =
                ["/// ", "//! "].iter().find_map(|mark| line.trim_start().strip_prefix(mark));
            let Some(comment) = comment else { continue };
            seen += 1;
            // The first line of a comment, or any that begins so: a sentence can be turned round.
            if ["What ", "The same ", "Whatever ", "It "]
                .iter()
                .any(|word| comment.starts_with(word))
            {
                wrong.push(format!("{}:{}", source.path.display(), at + 1));
            }
        }
    }
    assert!(seen > 5_000, "{seen} comments were seen");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// The reader of imports sees what it should: the tests above cannot pass by seeing nothing.
#[test]
fn imports_are_read_in_every_form() {
    let text = "use crate::a::B;\n// use crate::not;\npub use crate::{c::{D, e}, f};\nlet x = crate::g(1); xcrate::no;\n#[cfg(test)]\nmod tests { use crate::h; }\n";
    let names = names_after(&code(text), "crate::");
    assert_eq!(names, listed("a c f g"));
}
