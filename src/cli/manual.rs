//! The program about itself: shell completions, manual pages, licences, the formats for programs.

mod page;
mod roff;
mod terminal;

use std::path::Path;

use super::files::Files;
use super::run::{Ended, Run};
use super::voice::{answer, out};
use super::{Common, DONE, Format, program};
use crate::formats;
use crate::manual::{TOPICS, Topic};

/// Prints the completions of a shell.
pub(super) fn completions(shell: clap_complete::Shell) -> Ended {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut program(), "gapwright", &mut script);
    print(&script)
}

/// Prints the notices of the packages that the program is built from; `tests/supply` collects them.
pub(super) fn licences() -> Ended {
    print(include_str!("../licences.txt").as_bytes())
}

/// Prints the JSON Schema of a format.
pub(super) fn schema(format: Format) -> Ended {
    let schema = match format {
        Format::Plan => formats::plan::schema(),
        Format::Certificate => formats::certificate::schema(),
        Format::Compare => formats::compare::schema(),
        Format::Outage => formats::outage::schema(),
        Format::Provision => formats::provision::schema(),
        Format::Problems => formats::problems::schema(),
        Format::Purchase => formats::purchase::schema(),
        Format::Recheck => formats::recheck::schema(),
        Format::Stack => formats::stack::schema(),
    };
    let text = serde_json::to_string_pretty(&schema).unwrap_or_default();
    print(format!("{text}\n").as_bytes())
}

/// Prints the main page, or writes the pages of all commands and topics into a folder.
pub(super) fn pages(folder: Option<&Path>, force: bool, common: &Common) -> Ended {
    let mut main = program();
    main.build();
    let Some(folder) = folder else {
        return print(&page(&main));
    };
    let commands = main.get_subcommands();
    let commands =
        commands.map(|command| (format!("gapwright-{}.1", command.get_name()), page(command)));
    let topics = TOPICS.iter().map(|topic| {
        let page = roff::page(topic, &page::blocks(topic.text));
        (format!("gapwright-{}.7", topic.name), page.into_bytes())
    });
    let all = [("gapwright.1".to_string(), page(&main))].into_iter().chain(commands).chain(topics);
    let (names, pages): (Vec<_>, Vec<_>) = all.unzip();
    let mut run = Run::begin(
        common,
        Files {
            texts: names.iter().map(|name| ("--out", folder.join(name))).collect(),
            force,
            ..Files::default()
        },
    );
    run.make_folder(folder)?;
    let status = run.deliver_all(&pages)?;
    out!(run.voice(), "Wrote {} pages into {}.", pages.len(), folder.display());
    Ok(status)
}

/// A page of the manual as plain text.
pub(super) fn page_for_terminal(topic: &Topic, columns: usize) -> String {
    terminal::text(&page::blocks(topic.text), columns)
}

fn page(command: &clap::Command) -> Vec<u8> {
    let mut bytes = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut bytes).ok();
    // The page of the whole program names the pages of the manual.
    if command.get_name() == "gapwright" {
        bytes.extend_from_slice(b".SH MANUAL\n");
        for topic in TOPICS {
            let line = format!(".TP\n\\fBgapwright\\-{}\\fR(7)\n{}\n", topic.name, topic.about());
            bytes.extend_from_slice(line.as_bytes());
        }
    }
    bytes.extend_from_slice(b".SH \"EXIT STATUS\"\n");
    for (status, meaning) in super::EXIT_STATUSES {
        bytes.extend_from_slice(format!(".TP\n\\fB{status}\\fR\n{meaning}\n").as_bytes());
    }
    bytes
}

/// Prints the answer on standard output, under `--quiet` too.
pub(super) fn print(bytes: &[u8]) -> Ended {
    answer(bytes);
    Ok(DONE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::escape::width;

    /// Letters and figures in their number: renderers may move words and add marks, and lose nothing.
    fn letters(text: &str) -> Vec<char> {
        let mut letters: Vec<char> =
            text.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
        letters.sort_unstable();
        letters
    }

    /// A page without what Markdown itself adds: the names of code blocks and the targets of links to pages.
    fn bare(markdown: &str) -> String {
        let lines = markdown.lines().filter(|line| !line.starts_with("```"));
        lines.collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn a_page_on_the_terminal_has_every_letter_and_fits() {
        for topic in TOPICS {
            let expected = letters(&bare(topic.text));
            for columns in [40, 80, 96] {
                let text = page_for_terminal(topic, columns);
                assert_eq!(letters(&text), expected, "{} at {columns}", topic.name);
                let fits = |line: &str| line.starts_with("    ") || width(line) <= columns;
                assert!(text.lines().all(fits), "{} at {columns}:\n{text}", topic.name);
            }
        }
    }

    #[test]
    fn a_manual_page_has_every_letter() {
        for topic in TOPICS {
            let blocks = page::blocks(topic.text);
            let page = roff::page(topic, &blocks);
            let (_, body) = page.split_once(".SH DESCRIPTION\n").unwrap_or_default();
            let (body, _) = body.rsplit_once(".SH \"SEE ALSO\"\n").unwrap_or_default();
            let lines = body.lines().filter_map(|line| match line.split_at_checked(4) {
                Some((".SH " | ".SS ", title)) => Some(title),
                // The mark of an item, without the width of its column.
                Some((".IP ", mark)) => mark.split_whitespace().next(),
                _ if line.starts_with('.') => None,
                _ => Some(line),
            });
            let text = lines.collect::<Vec<_>>().join("\n");
            let marks = ["\\fB", "\\fR", "\\(bu", "\\*(Aq"];
            let text = marks.iter().fold(text, |text, mark| text.replace(mark, ""));
            assert_eq!(letters(&text), letters(&bare(topic.text)), "{}", topic.name);
        }
    }
}
