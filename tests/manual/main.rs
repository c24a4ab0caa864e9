//! README and the manual as they are used: each `$ gapwright ...` in them is run, and its output compared.
//!
//! A page is gone through from start to end in a fresh folder that holds a copy of `samples/` and `models/`, so that
//! a block can go on from files that the page wrote before. Cells that the page says to type (a table `workbook |
//! sheet | cell | value`) are typed. Standard output and standard error are compared together, as a person sees them.
//! In a page `...` on a line of its own stands for any lines, and `[..]` for any text within a line: figures of time
//! and long parts are left out in this one way.
//!
//! With `GAPWRIGHT_MANUAL=write` the pages are brought up to date instead; look at the changes before they are kept.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::fs;
use std::io::Read;
use std::ops::{Range, RangeInclusive};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use gapwright::manual::TOPICS;
use pulldown_cmark::{CodeBlockKind, Event, Options, Parser, Tag, TagEnd};
use snapbox::assert::Action;
use snapbox::filter::NormalizeToExpected;
use snapbox::{Assert, Data, IntoData};

mod help;
#[path = "../support/shop.rs"]
#[allow(dead_code)]
mod shop;

/// A step that a page asks for.
#[derive(Debug, PartialEq)]
enum Step {
    /// A cell to type: workbook, sheet, cell, value.
    Type([String; 4]),
    /// A command to run, and the part of the page that shows its output.
    Run(String, Range<usize>),
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// README and every page of the manual.
fn pages() -> Vec<PathBuf> {
    let topics = TOPICS.iter().map(|topic| root().join(format!("src/manual/{}.md", topic.name)));
    [root().join("README.md")].into_iter().chain(topics).collect()
}

/// The steps of a page in their order, and what is wrong with its blocks.
fn steps(page: &str) -> (Vec<Step>, Vec<String>) {
    let (mut steps, mut wrong) = (Vec::new(), Vec::new());
    let mut events = Parser::new_ext(page, Options::ENABLE_TABLES).into_offset_iter();
    while let Some((event, range)) = events.next() {
        match event {
            Event::Start(Tag::CodeBlock(kind)) => {
                let console = matches!(&kind, CodeBlockKind::Fenced(name) if **name == *"console");
                let texts = events
                    .by_ref()
                    .map_while(|(event, range)| matches!(event, Event::Text(_)).then_some(range));
                let texts: Vec<Range<usize>> = texts.collect();
                let (Some(first), Some(last)) = (texts.first(), texts.last()) else { continue };
                let block = first.start..last.end;
                // A fence that is indented could not be brought up to date.
                let flush = page[..range.start].ends_with('\n');
                match console && flush {
                    true => steps.extend(commands(page, block)),
                    false => wrong.extend(not_run(&page[block])),
                }
            }
            Event::Start(Tag::Table(_)) => {
                let cells =
                    events.by_ref().take_while(|(event, _)| *event != Event::End(TagEnd::Table));
                let rows = page[range].lines().map(row).collect::<Vec<_>>();
                cells.for_each(drop);
                let (head, rows) = rows.split_first().unwrap();
                if head == &["workbook", "sheet", "cell", "value"] {
                    let rows = rows.iter().skip(1).map(|row| row.clone().try_into().unwrap());
                    steps.extend(rows.map(Step::Type));
                }
            }
            _ => {}
        }
    }
    (steps, wrong)
}

/// The cells of a row of a table.
fn row(line: &str) -> Vec<String> {
    let cells = line.trim().trim_matches('|').split('|');
    cells.map(|cell| cell.trim().trim_matches('`').to_string()).collect()
}

/// Commands in a block that is not run.
fn not_run(block: &str) -> Vec<String> {
    let commands = block.lines().filter(|line| {
        let line = line.trim_start();
        line.starts_with("$ ") || line.starts_with("gapwright ")
    });
    commands
        .map(|line| format!("not run, since it stands in no ```console block: {line}"))
        .collect()
}

/// The commands of a block, each with the part of the page that shows its output.
fn commands(page: &str, block: Range<usize>) -> Vec<Step> {
    let mut found: Vec<(String, Range<usize>)> = Vec::new();
    let mut at = block.start;
    for line in page[block].split_inclusive('\n') {
        let end = at + line.len();
        let shown = line.trim_end();
        match (shown.strip_prefix("$ "), found.last_mut()) {
            (Some(command), _) => found.push((command.into(), end..end)),
            (None, Some((command, shows)))
                if command.ends_with('\\') && shows.start == shows.end =>
            {
                command.pop();
                command.push_str(shown);
                *shows = end..end;
            }
            (None, Some((_, shows))) => shows.end = end,
            (None, None) => found.push((shown.into(), at..end)),
        }
        at = end;
    }
    found.into_iter().map(|(command, shows)| Step::Run(command, shows)).collect()
}

/// The arguments of a command of this program.
fn arguments(command: &str) -> Option<Vec<String>> {
    let rest = command.strip_prefix("gapwright ");
    let rest = rest.or_else(|| command.strip_prefix("cargo run --release -- "))?;
    shlex::split(rest)
}

/// Runs the program in a folder: its exit status and its output as a person sees it.
fn run(arguments: &[String], folder: &Path) -> (Option<i32>, String) {
    let (mut reader, writer) = std::io::pipe().unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_gapwright"));
    command
        .args(arguments)
        .current_dir(folder)
        // The same characters and no colours, whatever the terminal of the test.
        .env("LC_ALL", "C.UTF-8")
        .env_remove("CLICOLOR_FORCE")
        .stdin(Stdio::null())
        .stdout(writer.try_clone().unwrap())
        .stderr(writer);
    let mut child = command.spawn().unwrap();
    // It holds the writing ends, and the reading would wait for them.
    drop(command);
    let mut output = String::new();
    reader.read_to_string(&mut output).unwrap();
    (child.wait().unwrap().code(), output)
}

/// Whether an exit status fits the output: 2 says that nothing was written, `check` may warn with 1, and `--fail` asks
/// for it where a requirement is not met.
fn is_told(status: Option<i32>, arguments: &[String], output: &str) -> bool {
    let refused = output.contains("Nothing was written");
    match status {
        Some(0) => !refused,
        Some(1) => {
            arguments[0] == "check" && output.contains("warning")
                || arguments.iter().any(|argument| argument == "--fail")
                    && output.contains("requirements NOT")
        }
        Some(2) => refused,
        _ => false,
    }
}

/// An output as the page shows it: whole, or where the page has `...` the same parts of it, each found by its likeness
/// to what is shown. Only an output that fits comes out as the page has it, and a changed one as it should be shown.
fn as_shown(output: &str, shown: &str) -> String {
    let told: Vec<&str> = output.lines().map(str::trim_end).collect();
    let shown: Vec<&str> = shown.lines().collect();
    let parts: Vec<&[&str]> = shown.split(|line| line.trim() == "...").collect();
    let mut lines: Vec<String> = Vec::new();
    let mut at = 0;
    for (number, part) in parts.iter().enumerate() {
        if number > 0 {
            lines.push("...".into());
        }
        let last = told.len().saturating_sub(part.len()).max(at);
        let (from, to) = match (number == 0, number + 1 == parts.len()) {
            (true, true) => (0, told.len()),
            (true, false) => (0, part.len().min(told.len())),
            (false, true) => (last, told.len()),
            (false, false) => {
                let from = most_alike(&told, part, at..=last);
                (from, (from + part.len()).min(told.len()))
            }
        };
        let shown = part.iter().copied().chain(std::iter::repeat(""));
        lines.extend(told[from..to].iter().zip(shown).map(|(told, shown)| filled(told, shown)));
        at = to;
    }
    lines.iter().map(|line| format!("{line}\n")).collect()
}

/// Where lines that are most like a part begin, the first of those that are equally so.
fn most_alike(told: &[&str], part: &[&str], among: RangeInclusive<usize>) -> usize {
    let likeness = |from: usize| -> f64 {
        let pairs = told[from..].iter().zip(part);
        pairs.map(|(told, shown)| strsim::normalized_levenshtein(&filled(told, shown), shown)).sum()
    };
    let first = *among.start();
    let best = among.map(|from| (from, likeness(from)));
    best.fold((first, -1.0), |best, next| if next.1 > best.1 { next } else { best }).0
}

/// A line with the `[..]` of the page where they fit.
fn filled(line: &str, shown: &str) -> String {
    let filter = NormalizeToExpected::new().redact();
    filter.normalize(line.into_data(), &shown.into_data()).to_string()
}

fn copy(from: &Path, to: &Path) {
    if from.is_dir() {
        fs::create_dir_all(to).unwrap();
        for entry in fs::read_dir(from).unwrap() {
            let entry = entry.unwrap();
            copy(&entry.path(), &to.join(entry.file_name()));
        }
    } else {
        fs::copy(from, to).unwrap();
    }
}

/// Goes through a page: the page as it should be, how many commands were run, and what is wrong.
fn go_through(page: &str) -> (String, usize, Vec<String>) {
    let folder = tempfile::tempdir().unwrap();
    for name in ["samples", "models"] {
        copy(&root().join(name), &folder.path().join(name));
    }
    let (steps, mut wrong) = steps(page);
    let (mut actual, mut end, mut count) = (String::new(), 0, 0);
    for step in steps {
        match step {
            Step::Type([file, sheet, cell, value]) => {
                let value = shop::Put::from(value.as_str());
                shop::change(&folder.path().join(file), &sheet, &[(cell, value)]);
            }
            Step::Run(command, shows) => {
                let Some(arguments) = arguments(&command) else {
                    wrong.push(format!("not run, since it is no command of gapwright: {command}"));
                    continue;
                };
                let (status, output) = run(&arguments, folder.path());
                if !is_told(status, &arguments, &output) {
                    wrong.push(format!("{command}: exit status {status:?}\n{output}"));
                }
                actual.push_str(&page[end..shows.start]);
                actual.push_str(&as_shown(&output, &page[shows.clone()]));
                end = shows.end;
                count += 1;
            }
        }
    }
    actual.push_str(&page[end..]);
    let prompts = page.lines().filter(|line| line.trim_start().starts_with("$ ")).count();
    if prompts != count {
        wrong.push(format!("{prompts} commands stand in the page, {count} were run"));
    }
    (actual, count, wrong)
}

#[test]
fn every_command_shown_prints_what_is_shown() {
    let write = std::env::var("GAPWRIGHT_MANUAL").is_ok_and(|how| how == "write");
    let assert = Assert::new().action(if write { Action::Overwrite } else { Action::Verify });
    let (mut all, mut wrong) = (0, Vec::new());
    let pages: Vec<_> = std::thread::scope(|scope| {
        let going = pages().into_iter().map(|path| {
            let page = fs::read_to_string(&path).unwrap();
            (path, scope.spawn(move || go_through(&page)))
        });
        let going: Vec<_> = going.collect();
        going.into_iter().map(|(path, page)| (path, page.join().unwrap())).collect()
    });
    for (path, (actual, count, faults)) in pages {
        let name = path.strip_prefix(root()).unwrap().display().to_string();
        wrong.extend(faults.iter().map(|fault| format!("{name}: {fault}")));
        let shown = Data::read_from(&path, None).raw();
        if let Err(error) = assert.try_eq(Some(&name), actual.into_data(), shown) {
            wrong.push(format!("{name} (GAPWRIGHT_MANUAL=write brings it up to date):\n{error}"));
        }
        all += count;
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(all >= 35, "only {all} commands were run");
}

/// The reader of pages: what is run, what is typed, and what is found to be left out.
#[test]
fn steps_are_read_as_they_are_meant() {
    let page = "# A\n\n```console\n$ gapwright check a \\\n    b\nx\n...\n$ gapwright man\n```\n\n\
        | workbook | sheet | cell | value |\n|---|---|---|---|\n| `a.xlsx` | Stock | A4 | 0.5 |\n\n\
        ```text\ngapwright kit\n```\n\n    $ gapwright kit a b\n\n```toml\n# gapwright reads it\n```\n";
    let (steps, wrong) = steps(page);
    let [Step::Run(check, shows), Step::Run(man, none), Step::Type(typed)] = steps.as_slice()
    else {
        panic!("{steps:?}");
    };
    assert_eq!(arguments(check).unwrap(), ["check", "a", "b"]);
    assert_eq!(&page[shows.clone()], "x\n...\n");
    assert_eq!((man.as_str(), none.start == none.end), ("gapwright man", true));
    assert_eq!(typed, &["a.xlsx", "Stock", "A4", "0.5"]);
    assert_eq!(wrong.len(), 2, "{wrong:?}");
    assert_eq!(arguments("cargo run --release -- kit 'a b'").unwrap(), ["kit", "a b"]);
    assert_eq!(arguments("rm -r x"), None);
}

/// The comparison: it lets nothing pass but what the wildcards stand for.
#[test]
fn what_is_shown_is_held_against_every_line() {
    let fits = |shown: &str, output: &str| as_shown(output, shown) == shown;
    assert!(fits("a\n...\nd\n", "a\nb\nc\nd\n"));
    assert!(fits("a\n...\nd\n", "a\nd\n"));
    assert!(fits("took [..] s\n", "took 0.5 s\n"));
    assert!(fits("a\n...\n", "a\nb\n"));
    assert!(!fits("a\nd\n", "a\nb\nd\n"));
    assert!(!fits("a\n...\n", "b\n"));
    assert!(!fits("a\n", "a\nb\n"));
    assert!(!fits("...\nd\n", "a\n"));
    assert!(!fits("a\n...\na\n", "a\n"));
    assert!(fits("...\nb [..]\n...\nd\n", "a\nb 1\nc\nd\n"));
    // A label that has changed: the same parts are shown.
    let shown = as_shown("a\nb\nWasted 5 USD\nc\nd\n", "a\n...\nWaste 5 USD\n...\nd\n");
    assert_eq!(shown, "a\n...\nWasted 5 USD\n...\nd\n");
    assert!(is_told(Some(2), &["kit".into()], "1 problem. Nothing was written.\n"));
    assert!(!is_told(Some(2), &["kit".into()], "Wrote a.\n"));
    assert!(!is_told(Some(0), &["kit".into()], "1 problem. Nothing was written.\n"));
    assert!(!is_told(Some(1), &["kit".into()], "1 warning\n"));
}

/// Short documents, and none for contributors in the hands of users.
#[test]
fn documents_are_short_and_users_are_sent_to_the_manual() {
    for (name, most) in [("README.md", 8_000), ("DEVELOPERS.md", 12_000)] {
        let length = fs::read_to_string(root().join(name)).unwrap().chars().count();
        assert!(length <= most, "{name}: {length} characters, {most} at most");
    }
    let mut open = vec![root().join("src"), root().join("README.md")];
    let (mut wrong, mut looked) = (Vec::new(), 0);
    while let Some(path) = open.pop() {
        if path.is_dir() {
            open.extend(fs::read_dir(path).unwrap().map(|entry| entry.unwrap().path()));
        } else if let Ok(text) = fs::read_to_string(&path) {
            looked += 1;
            if text.contains("DEVELOPERS") {
                wrong.push(path);
            }
        }
    }
    assert!(looked > 200 && wrong.is_empty(), "{wrong:?}");
}
