//! `gapwright help` and `gapwright man`: every page reaches the terminal and the manual pages whole.

use std::fs;
use std::path::Path;
use std::process::Output;

use assert_cmd::Command;
use gapwright::manual::{TOPICS, topic};

fn gapwright(arguments: &[&str]) -> Output {
    Command::cargo_bin("gapwright").unwrap().args(arguments).output().unwrap()
}

fn told(arguments: &[&str]) -> String {
    let output = gapwright(arguments);
    assert_eq!(
        (output.status.code(), output.stderr.as_slice()),
        (Some(0), &b""[..]),
        "{arguments:?}"
    );
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn a_file_is_a_topic_and_a_topic_is_a_file() {
    let files = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/manual")).unwrap();
    let files = files.map(|file| file.unwrap().file_name().into_string().unwrap());
    let mut pages: Vec<String> =
        files.filter_map(|file| file.strip_suffix(".md").map(String::from)).collect();
    let mut names: Vec<&str> = TOPICS.iter().map(|topic| topic.name).collect();
    pages.sort();
    names.sort_unstable();
    assert_eq!(pages, names);
    assert!(topic("lengths").is_some() && topic("length").is_none());
    for topic in TOPICS {
        assert!(topic.text.starts_with("# "), "{}", topic.name);
        // One line between blank ones, since lists show it.
        let lines: Vec<&str> = topic.text.lines().take(4).collect();
        assert!(lines[1].is_empty() && lines[3].is_empty(), "{}", topic.name);
        assert!((10..=75).contains(&topic.about().len()), "{}", topic.name);
    }
}

#[test]
fn help_lists_every_command_and_topic_and_prints_each() {
    let list = told(&["help"]);
    let line = |name: &str| list.lines().any(|line| line.starts_with(&format!("  {name} ")));
    for command in ["kit", "stack", "check", "provision", "recheck", "book", "reorder", "blank"] {
        assert!(line(command), "{command}\n{list}");
        assert_eq!(told(&["help", command]), told(&[command, "--help"]));
    }
    for topic in TOPICS {
        assert!(line(topic.name), "{}\n{list}", topic.name);
        let page = told(&["help", topic.name]);
        let (title, _) = topic.text[2..].split_once('\n').unwrap();
        assert!(page.starts_with(&title.to_uppercase()), "{page}");
        // The answer that was asked for, not an account.
        assert_eq!(told(&["--quiet", "help", topic.name]), page);
    }
    assert!(list.lines().all(|line| line.chars().count() <= 80), "{list}");
}

#[test]
fn an_unknown_topic_is_answered_with_the_list() {
    let output = gapwright(&["help", "lenghts"]);
    assert_eq!((output.status.code(), output.stdout.as_slice()), (Some(2), &b""[..]));
    let told = String::from_utf8(output.stderr).unwrap();
    for name in TOPICS.iter().map(|topic| topic.name).chain(["kit", "recheck", "schema"]) {
        assert!(told.contains(&format!(" {name}")), "{name}\n{told}");
    }
    assert!(told.contains("a similar value exists: 'lengths'"), "{told}");
}

#[test]
fn man_writes_a_page_for_every_command_and_topic() {
    let folder = tempfile::tempdir().unwrap();
    let pages = folder.path().join("man");
    told(&["man", "--out", pages.to_str().unwrap()]);
    let commands = [
        "kit",
        "compare",
        "slips",
        "page",
        "book",
        "status",
        "verify",
        "stack",
        "check",
        "export",
        "provision",
        "recheck",
        "reorder",
        "blank",
    ];
    for name in
        commands.iter().chain(&["completions", "help", "licences", "man", "model", "schema"])
    {
        assert!(pages.join(format!("gapwright-{name}.1")).exists(), "{name}");
    }
    let main = fs::read_to_string(pages.join("gapwright.1")).unwrap();
    for topic in TOPICS {
        let page = fs::read_to_string(pages.join(format!("gapwright-{}.7", topic.name))).unwrap();
        assert!(page.contains(&format!(".TH gapwright-{} 7 ", topic.name)), "{page}");
        assert!(main.contains(topic.about()), "{}", topic.name);
    }
    assert_eq!(fs::read_dir(&pages).unwrap().count(), commands.len() + 7 + TOPICS.len());
}
