//! Commands never write over a file that they read: every command, every option that writes, every input, under every
//! name of it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use tempfile::TempDir;

#[path = "../support/shop.rs"]
#[allow(dead_code)]
mod shop;

use crate::own_rows::own_rows;
use shop::{Put, change};

/// A use of a command: its call, the files that it reads, and the options that write.
struct Use {
    name: &'static str,
    /// Arguments without the options that write.
    call: &'static [&'static str],
    /// Every file that it reads.
    reads: &'static [&'static str],
    /// Every option that writes a file.
    writes: &'static [&'static str],
}

const MODELS: [&str; 3] = ["models/house.toml", "models/house.png", "models/materials.toml"];

const USES: [Use; 17] = [
    Use {
        name: "kit",
        call: &["kit", "stock.xlsx", "pumps.xlsx", "--history", "past.xlsx", "--models", "models"],
        reads: &["stock.xlsx", "pumps.xlsx", "past.xlsx", MODELS[0], MODELS[1], MODELS[2]],
        writes: &["--out", "--json", "--certificate", "--mark"],
    },
    Use {
        name: "kit within an outage",
        call: &["kit", "stock.xlsx", "pumps.xlsx", "--outage", "week.outage", "--models", "models"],
        reads: &["stock.xlsx", "pumps.xlsx", "week.outage", MODELS[0], MODELS[1], MODELS[2]],
        writes: &["--out", "--json", "--certificate", "--mark"],
    },
    Use {
        name: "slips",
        call: &["slips", "plan.json", "stock.xlsx", "pumps.xlsx", "--models", "models"],
        reads: &["stock.xlsx", "pumps.xlsx", "plan.json", MODELS[0], MODELS[1], MODELS[2]],
        writes: &["--out", "--mark"],
    },
    Use {
        name: "slips that changed, within an outage",
        call: &[
            "slips",
            "in-outage.xlsx",
            "stock.xlsx",
            "pumps.xlsx",
            "--models",
            "models",
            "--outage",
            "week.outage",
            "--since",
            "plan.xlsx",
        ],
        reads: &["stock.xlsx", "pumps.xlsx", "in-outage.xlsx", "week.outage", "plan.xlsx"],
        writes: &["--out", "--mark"],
    },
    Use {
        name: "status",
        call: &["status", "week.outage"],
        reads: &["week.outage"],
        writes: &["--json"],
    },
    // Its outputs have fixed names in the folder, as those of `blank`.
    Use {
        name: "export",
        call: &["export", "week.outage", "--out-dir", "new"],
        reads: &["week.outage"],
        writes: &["new/week-stock.xlsx", "new/week-ledger.xlsx"],
    },
    Use {
        name: "verify",
        call: &["verify", "plan.json", "stock.xlsx", "pumps.xlsx", "--certificate", "proof.json"],
        reads: &["stock.xlsx", "pumps.xlsx", "plan.json", "proof.json"],
        writes: &["--mark"],
    },
    Use {
        name: "compare",
        call: &["compare", "plan.xlsx", "plan.json"],
        reads: &["plan.xlsx", "plan.json"],
        writes: &["--json"],
    },
    Use {
        name: "kit, stock in a folder",
        call: &["kit", "csv", "pumps.xlsx"],
        reads: &["csv/Stock.csv"],
        writes: &["--out", "--json", "--mark"],
    },
    Use {
        name: "stack",
        call: &[
            "stack",
            "pumps.xlsx",
            "--stock",
            "stock.xlsx",
            "--plan",
            "plan.json",
            "--models",
            "models",
        ],
        reads: &["stock.xlsx", "pumps.xlsx", "plan.json", MODELS[0], MODELS[1], MODELS[2]],
        writes: &["--out", "--json", "--mark"],
    },
    Use {
        name: "stack of a workbook",
        call: &["stack", "pumps.xlsx", "--stock", "stock.xlsx", "--plan", "plan.xlsx"],
        reads: &["stock.xlsx", "pumps.xlsx", "plan.xlsx"],
        writes: &["--out", "--json", "--mark"],
    },
    Use {
        name: "check",
        call: &["check", "stock.xlsx", "pumps.xlsx", "--models", "models"],
        reads: &["stock.xlsx", "pumps.xlsx", MODELS[0], MODELS[1], MODELS[2]],
        writes: &["--mark"],
    },
    Use {
        name: "check of one workbook",
        call: &["check", "pumps.xlsx"],
        reads: &["pumps.xlsx"],
        writes: &["--mark"],
    },
    Use {
        name: "provision",
        call: &[
            "provision",
            "stock.xlsx",
            "pumps.xlsx",
            "--history",
            "past.xlsx",
            "--models",
            "models",
        ],
        reads: &["stock.xlsx", "pumps.xlsx", "past.xlsx", MODELS[0], MODELS[1], MODELS[2]],
        writes: &["--out", "--json", "--mark"],
    },
    Use {
        name: "recheck",
        call: &[
            "recheck",
            "plan.xlsx",
            "stock.xlsx",
            "pumps.xlsx",
            "--readings",
            "readings.csv",
            "--models",
            "models",
        ],
        reads: &[
            "plan.xlsx",
            "stock.xlsx",
            "pumps.xlsx",
            "readings.csv",
            MODELS[0],
            MODELS[1],
            MODELS[2],
        ],
        writes: &["--out", "--json", "--mark"],
    },
    Use {
        name: "reorder",
        call: &["reorder", "stock.xlsx", "pumps.xlsx", "--log", "log.xlsx", "--models", "models"],
        reads: &["stock.xlsx", "pumps.xlsx", "log.xlsx", MODELS[0], MODELS[1], MODELS[2]],
        writes: &["--out", "--json", "--mark"],
    },
    // Its outputs have fixed names in the folder: no option, but links of these names.
    Use {
        name: "blank",
        call: &["blank", "new", "--model", "house", "--models", "models"],
        reads: &[MODELS[0], MODELS[1], MODELS[2]],
        writes: &["new/stock.xlsx", "new/pumps.xlsx"],
    },
];

/// Options that name a file or folder that is only read, by command.
const ONLY_READ: [(&str, &[&str]); 16] = [
    // The outage file is read, and entries are added to it by its own rules.
    ("kit", &["--history", "--models", "--outage"]),
    ("slips", &["--models", "--outage", "--since"]),
    ("page", &["--models", "--certificate", "--key", "--outage"]),
    ("book", &[]),
    ("status", &[]),
    ("compare", &[]),
    // Its outputs have names of their own in that folder.
    ("export", &["--out-dir"]),
    ("stack", &["--stock", "--plan", "--models"]),
    ("verify", &["--certificate", "--models", "--outage"]),
    ("check", &["--models"]),
    ("provision", &["--history", "--models"]),
    ("recheck", &["--readings", "--models"]),
    ("reorder", &["--log", "--models"]),
    ("blank", &["--models"]),
    // `model new` writes a file that is not there yet, and the others write nothing.
    ("model", &[]),
    // Its pages are made from the program alone: there is no input.
    ("man", &["--out"]),
];

/// Name under which an input is written to, or read.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Alias {
    Itself,
    Dotted,
    Absolute,
    Link,
    LinkToLink,
    HardLink,
    /// The input is given by a link, the output by the file's own name.
    ReadThroughLink,
}

const ALIASES: [Alias; 7] = [
    Alias::Itself,
    Alias::Dotted,
    Alias::Absolute,
    Alias::Link,
    Alias::LinkToLink,
    Alias::HardLink,
    Alias::ReadThroughLink,
];

fn run(folder: &Path, arguments: &[String]) -> Output {
    let mut command = Command::cargo_bin("gapwright").unwrap();
    command.current_dir(folder).args(arguments).output().unwrap()
}

fn well(folder: &Path, arguments: &[&str]) {
    let arguments: Vec<String> = arguments.iter().map(ToString::to_string).collect();
    let output = run(folder, &arguments);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {said}");
}

/// A folder with every file that some command reads; each of them is accepted by its command.
fn shop() -> TempDir {
    let shop = TempDir::new().unwrap();
    let at = |name: &str| shop.path().join(name);
    well(shop.path(), &["blank", "."]);
    fs::create_dir(at("models")).unwrap();
    fs::copy("models/screwed-impeller.toml", at(MODELS[0])).unwrap();
    fs::copy("models/screwed-impeller.png", at(MODELS[1])).unwrap();
    fs::copy("models/materials.toml", at(MODELS[2])).unwrap();
    fs::create_dir(at("csv")).unwrap();
    fs::copy("samples/tiny/stock.csv", at("csv/Stock.csv")).unwrap();
    // As in the README's walkthrough: the example row becomes a pump.
    own_rows(shop.path());
    change(&at("pumps.xlsx"), "Pumps", &[("A4", Put::from("P-101"))]);
    let kit = ["kit", "stock.xlsx", "pumps.xlsx", "--out", "plan.xlsx", "--json", "plan.json"];
    well(shop.path(), &[&kit[..], &["--certificate", "proof.json"]].concat());
    let outage = ["kit", "stock.xlsx", "pumps.xlsx", "--outage", "week.outage", "--out"];
    well(shop.path(), &[&outage[..], &["in-outage.xlsx", "--models", "models"]].concat());
    fs::copy("samples/purchase/issue-log.xlsx", at("log.xlsx")).unwrap();
    fs::write(at("readings.csv"), "Tag,What,Reading\nP-101,running clearance,0.0212 in\n").unwrap();
    fs::copy("samples/provision/past.xlsx", at("past.xlsx")).unwrap();
    shop
}

/// Everything in a folder: links by their targets, files by their bytes.
fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_symlink() {
            let to = fs::read_link(&path).unwrap();
            all.insert(path, to.into_os_string().into_encoded_bytes());
        } else if path.is_dir() {
            all.extend(contents(&path));
            all.insert(path, Vec::new());
        } else {
            let bytes = fs::read(&path).unwrap();
            all.insert(path, bytes);
        }
    }
    all
}

/// Arguments that make an option write to an input under this name, with the name as given. `None` where there is no
/// such name.
fn aliased(
    shop: &Path,
    usage: &Use,
    option: &str,
    input: &str,
    alias: Alias,
) -> Option<(Vec<String>, String)> {
    let full = shop.join(input);
    // Workbooks are written to names with this ending; a link may lead to a file of any kind.
    let link = shop.join("link.xlsx");
    let mut call: Vec<String> = usage.call.iter().map(ToString::to_string).collect();
    let name = match alias {
        Alias::Itself => input.to_string(),
        Alias::Dotted => format!("./{input}"),
        Alias::Absolute => full.display().to_string(),
        Alias::Link => {
            symlink(&full, &link).unwrap();
            "link.xlsx".into()
        }
        Alias::LinkToLink => {
            symlink(input, shop.join("first-link")).unwrap();
            symlink("first-link", &link).unwrap();
            "link.xlsx".into()
        }
        Alias::HardLink => {
            fs::hard_link(&full, &link).unwrap();
            "link.xlsx".into()
        }
        Alias::ReadThroughLink => {
            let given = call.iter_mut().skip(1).find(|argument| *argument == input)?;
            let end = Path::new(input).extension()?.to_str()?;
            *given = format!("through.{end}");
            symlink(&full, shop.join(&*given)).unwrap();
            input.to_string()
        }
    };
    if option.starts_with("--") {
        call.extend([option.to_string(), name.clone()]);
        return Some((call, name));
    }
    // A fixed name: the link has that name.
    if !link.exists() {
        return None;
    }
    fs::create_dir(shop.join("new")).unwrap();
    match alias {
        Alias::HardLink => fs::hard_link(&full, shop.join(option)).unwrap(),
        _ => symlink("../link.xlsx", shop.join(option)).unwrap(),
    }
    Some((call, option.into()))
}

/// Removes the links of `aliased`.
fn tidy(shop: &Path) {
    for name in
        ["link.xlsx", "first-link", "through.xlsx", "through.csv", "through.json", "through.outage"]
    {
        fs::remove_file(shop.join(name)).ok();
    }
    fs::remove_dir_all(shop.join("new")).ok();
}

/// Refuses every pair of an output and an input; the shop is unchanged. Returns the number of pairs.
fn refuses_all(shop: &Path, more: &[&str], aliases: &[Alias]) -> usize {
    let mut count = 0;
    for usage in &USES {
        for option in usage.writes {
            for input in usage.reads {
                for &alias in aliases {
                    let Some((mut call, name)) = aliased(shop, usage, option, input, alias) else {
                        tidy(shop);
                        continue;
                    };
                    call.extend(more.iter().map(ToString::to_string));
                    let before = contents(shop);
                    let output = run(shop, &call);
                    let after = contents(shop);
                    tidy(shop);
                    let said = String::from_utf8(output.stderr).unwrap();
                    let case = format!(
                        "{}, {option} to {input} by {alias:?}: {call:?}\n{said}",
                        usage.name
                    );
                    assert!(before == after, "something was written: {case}");
                    assert_eq!(output.status.code(), Some(2), "{case}");
                    let told = said
                        .lines()
                        .find(|line| line.contains("both to be read and to be written"));
                    let told = told.unwrap_or_else(|| panic!("not told: {case}"));
                    let file = input.rsplit('/').next().unwrap();
                    let through = alias == Alias::ReadThroughLink && told.contains("through.");
                    assert!(told.contains(&name), "{name} in {case}");
                    assert!(told.contains(file) || through, "{file} in {case}");
                    assert!(
                        !option.starts_with("--") || told.contains(option),
                        "{option} in {case}"
                    );
                    assert!(said.ends_with("Nothing was written.\n"), "{case}");
                    count += 1;
                }
            }
        }
    }
    count
}

#[test]
fn no_command_writes_over_what_it_reads_even_by_force() {
    let shop = shop();
    let count = refuses_all(shop.path(), &["--force"], &ALIASES);
    assert!(count > 600, "{count}");
}

#[test]
fn no_command_writes_over_what_it_reads_without_force() {
    let shop = shop();
    let count = refuses_all(shop.path(), &[], &[Alias::Itself, Alias::Link]);
    assert!(count > 150, "{count}");
}

/// With problems in the inputs the marked copy would be written: not over an input, and not next to an output that is
/// one.
#[test]
fn no_command_writes_over_what_it_reads_when_other_things_are_wrong_too() {
    let shop = shop();
    let at = |name: &str| shop.path().join(name);
    change(&at("stock.xlsx"), "Stock", &[("F4", Put::from("many")), ("G4", Put::from("many"))]);
    change(&at("pumps.xlsx"), "Pumps", &[("B4", Put::from("no such model"))]);
    fs::write(at("csv/Stock.csv"), "Item\nA\nA\n").unwrap();
    let spoilt = fs::read_to_string(at(MODELS[0])).unwrap();
    fs::write(at(MODELS[0]), spoilt.replace("plus_minus", "plus_minsu")).unwrap();
    let count = refuses_all(shop.path(), &["--force"], &[Alias::Itself, Alias::Link]);
    assert!(count > 150, "{count}");
    // An output that is an input, with a marked copy under a free name: that copy is not written either.
    for usage in USES.iter().filter(|usage| usage.writes.contains(&"--mark")) {
        for option in usage.writes.iter().filter(|option| **option != "--mark") {
            let mut call: Vec<String> = usage.call.iter().map(ToString::to_string).collect();
            call.extend(
                [option, &usage.reads[0], &"--mark", &"free.xlsx", &"--force"]
                    .map(ToString::to_string),
            );
            let before = contents(shop.path());
            let output = run(shop.path(), &call);
            assert_eq!(output.status.code(), Some(2), "{call:?}");
            assert!(before == contents(shop.path()), "{call:?}");
        }
    }
}

/// The table leaves no command and no option out.
#[test]
fn the_table_names_every_command_and_every_option_that_takes_a_file() {
    let help = |arguments: &[&str]| {
        let arguments: Vec<String> = arguments.iter().map(ToString::to_string).collect();
        String::from_utf8(run(Path::new("."), &arguments).stdout).unwrap()
    };
    let all = help(&["--help"]);
    let (_, list) = all.split_once("Commands:\n").unwrap();
    let (list, _) = list.split_once("\n\n").unwrap();
    let names = list.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let names: BTreeSet<&str> = names.filter_map(|line| line.split_whitespace().next()).collect();
    let known = ONLY_READ.iter().map(|(name, _)| *name);
    // These print the program's own knowledge, and read no file.
    let known: BTreeSet<&str> =
        known.chain(["completions", "licences", "schema", "help"]).collect();
    assert_eq!(names, known);
    for (command, only_read) in ONLY_READ {
        let help = help(&[command, "-h"]);
        let options = help.lines().filter(|line| line.contains("<FILE>") || line.contains("<DIR>"));
        let options =
            options.filter_map(|line| line.split_whitespace().find(|word| word.starts_with("--")));
        let options: BTreeSet<&str> = options.collect();
        let uses = USES.iter().filter(|usage| usage.call[0] == command);
        let written = uses.flat_map(|usage| usage.writes.iter().copied());
        let written = written.filter(|option| option.starts_with("--"));
        let table: BTreeSet<&str> = written.chain(only_read.iter().copied()).collect();
        assert_eq!(options, table, "{command}");
    }
}

/// A spreadsheet program's lock file beside any workbook that a command reads is told of, whatever else comes out.
#[test]
fn a_workbook_that_is_open_elsewhere_is_warned_of_by_every_command() {
    let shop = shop();
    let is_table = |name: &str| [".xlsx", ".csv"].iter().any(|end| name.ends_with(end));
    let mut count = 0;
    for usage in &USES {
        let call: Vec<String> = usage.call.iter().map(ToString::to_string).collect();
        for (at, input) in usage.reads.iter().filter(|name| is_table(name)).enumerate() {
            let path = shop.path().join(input);
            let name = path.file_name().unwrap().to_str().unwrap();
            let lock = if at % 2 == 0 { format!("~${name}") } else { format!(".~lock.{name}#") };
            let lock_at = path.with_file_name(&lock);
            fs::write(&lock_at, "someone").unwrap();
            let told = String::from_utf8(run(shop.path(), &call).stderr).unwrap();
            fs::remove_file(lock_at).unwrap();
            assert!(
                told.contains(input) && told.contains("open in a spreadsheet program"),
                "{}: {input}: {told}",
                usage.name
            );
            assert!(told.contains(&format!("`{lock}` lies beside it")), "{}: {told}", usage.name);
            count += 1;
        }
        let told = String::from_utf8(run(shop.path(), &call).stderr).unwrap();
        assert!(!told.contains("spreadsheet program"), "{}: {told}", usage.name);
    }
    assert!(count > 20, "{count} workbooks");
}
