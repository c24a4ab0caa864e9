//! Output streams, completions and manual pages.

use std::collections::BTreeSet;
use std::fs;
use std::process::Command as Program;

use assert_cmd::Command;
use tempfile::TempDir;

fn gapwright(folder: &TempDir, arguments: &[&str]) -> std::process::Output {
    let mut command = Command::cargo_bin("gapwright").unwrap();
    command.current_dir(folder.path()).args(arguments);
    command.output().unwrap()
}

/// The sample outage, with one pump that cannot be kitted.
fn sample() -> TempDir {
    let folder = TempDir::new().unwrap();
    for name in ["stock.xlsx", "pumps.xlsx"] {
        fs::copy(format!("samples/outage/{name}"), folder.path().join(name)).unwrap();
    }
    folder
}

#[test]
fn the_table_fits_eighty_columns_and_names_every_pump() {
    let folder = sample();
    let output = gapwright(&folder, &["kit", "stock.xlsx", "pumps.xlsx"]);
    let text = String::from_utf8(output.stdout).unwrap();
    let rows: Vec<&str> = text.lines().filter(|line| line.starts_with("  P-")).collect();
    let tags: BTreeSet<&str> =
        rows.iter().filter_map(|row| row.split_whitespace().next()).collect();
    assert_eq!(tags.len(), 28);
    let table = rows.iter().filter(|row| row.contains("  kit"));
    assert_eq!(table.clone().count(), 27);
    assert!(table.clone().all(|row| row.chars().count() <= 80));
    assert!(!text.contains('\u{1b}'), "colours without a terminal");
}

#[test]
fn quiet_keeps_what_keeps_a_pump_open_on_standard_error() {
    let folder = sample();
    let loud = gapwright(&folder, &["kit", "stock.xlsx", "pumps.xlsx"]);
    let said = String::from_utf8(loud.stdout).unwrap();
    assert!(said.contains("P-299 NOT FIT TO ASSEMBLE"));
    let again = ["--quiet", "kit", "stock.xlsx", "pumps.xlsx", "--force"];
    let quiet = gapwright(&folder, &again);
    assert_eq!(quiet.status.code(), Some(0));
    assert!(quiet.stdout.is_empty());
    let said = String::from_utf8(quiet.stderr).unwrap();
    assert!(said.contains("P-299 NOT FIT TO ASSEMBLE"), "{said}");
    assert!(said.contains("Short of consumables: 3 of 27 bags"), "{said}");
    assert!(!said.contains("Proven best"), "{said}");
    let problem = gapwright(&folder, &["-q", "kit", "stock.xlsx", "pumps.xlsx"]);
    assert_eq!(problem.status.code(), Some(3), "the plan is there already");
    assert!(problem.stdout.is_empty() && !problem.stderr.is_empty());
}

#[test]
fn json_on_standard_output_is_the_same_as_in_a_file() {
    let folder = sample();
    let to_file = ["kit", "stock.xlsx", "pumps.xlsx", "--json", "plan.json"];
    gapwright(&folder, &to_file);
    let to_stdout = ["kit", "stock.xlsx", "pumps.xlsx", "--json", "-", "--force"];
    let output = gapwright(&folder, &to_stdout);
    let file = fs::read(folder.path().join("plan.json")).unwrap();
    assert_eq!(output.stdout, file);
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("Proven best"));
    assert!(!folder.path().join("-").exists());
    let recheck = [
        "recheck",
        "kit-plan.xlsx",
        "stock.xlsx",
        "pumps.xlsx",
        "--json",
        "-",
        "--found",
        "P-101:running clearance=0.0220 in",
    ];
    let output = gapwright(&folder, &recheck);
    let record: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(record["format"], "gapwright.recheck.v4");
    // Standard output cannot serve two purposes.
    let both = [&to_stdout[..], &["--problems", "json"]].concat();
    let output = gapwright(&folder, &both);
    assert_eq!(output.status.code(), Some(2));
    let list: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(list["problems"][0]["found"], "--json - and --problems json");
}

/// Every command, as the help lists them.
fn commands(folder: &TempDir) -> Vec<String> {
    let help = gapwright(folder, &["--help"]);
    let help = String::from_utf8(help.stdout).unwrap();
    let (_, list) = help.split_once("Commands:\n").unwrap();
    let (list, _) = list.split_once("\n\n").unwrap();
    let lines = list.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let names = lines.map(|line| line.split_whitespace().next().unwrap().to_string());
    let names: Vec<String> = names.collect();
    assert!(names.len() >= 12, "{names:?}");
    assert!(names.contains(&"recheck".to_string()), "{names:?}");
    names
}

#[test]
fn completions_know_every_command_and_are_scripts_that_parse() {
    let folder = TempDir::new().unwrap();
    let names = commands(&folder);
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let output = gapwright(&folder, &["--quiet", "completions", shell]);
        assert_eq!(output.status.code(), Some(0), "{shell}");
        let script = String::from_utf8(output.stdout).unwrap();
        for name in &names {
            assert!(script.contains(name.as_str()), "{shell} without {name}");
        }
        if shell == "bash" {
            let path = folder.path().join("completions.sh");
            fs::write(&path, &script).unwrap();
            // A machine without bash cannot parse it.
            if let Ok(status) = Program::new("bash").arg("-n").arg(&path).status() {
                assert!(status.success());
            }
        }
    }
}

#[test]
fn there_is_a_manual_page_for_every_command_with_its_options_and_exit_statuses() {
    let folder = TempDir::new().unwrap();
    let names = commands(&folder);
    let output = gapwright(&folder, &["man", "--out", "man"]);
    assert_eq!(output.status.code(), Some(0));
    let pages: BTreeSet<String> = fs::read_dir(folder.path().join("man"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let expected = names.iter().map(|name| format!("gapwright-{name}.1"));
    let topics = gapwright::manual::TOPICS.iter();
    let topics = topics.map(|topic| format!("gapwright-{}.7", topic.name));
    let expected: BTreeSet<String> = expected.chain(["gapwright.1".into()]).chain(topics).collect();
    assert_eq!(pages, expected);
    for name in &names {
        let path = folder.path().join(format!("man/gapwright-{name}.1"));
        let page = fs::read_to_string(path).unwrap().replace("\\-", "-");
        let help = gapwright(&folder, &[name, "--help"]);
        let help = String::from_utf8(help.stdout).unwrap();
        let options = help.lines().filter_map(|line| {
            let line = line.trim_start();
            let line = line.strip_prefix("-q, ").or(line.strip_prefix("-h, ")).unwrap_or(line);
            let option = line.split_whitespace().next()?;
            (option.starts_with("--") && !option.contains('"')).then_some(option)
        });
        let mut count = 0;
        for option in options {
            assert!(page.contains(option), "{name}: {option}");
            count += 1;
        }
        assert!(count >= 3, "{name}: {count} options");
        let (_, statuses) = page.split_once("EXIT STATUS").unwrap();
        for status in ["0", "1", "2", "3", "130"] {
            let is = format!("\\fB{status}\\fR");
            assert!(statuses.contains(&is), "{name}: {status}");
        }
    }
    // Existing pages are kept, unless the user asks to replace them.
    let again = |more: &[&str]| gapwright(&folder, &[&["man", "--out", "man"], more].concat());
    assert_eq!(again(&[]).status.code(), Some(3));
    assert_eq!(again(&["--force"]).status.code(), Some(0));
}
