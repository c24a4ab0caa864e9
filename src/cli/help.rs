//! `gapwright help`: the list of commands and topics, the help of a command, a page of the manual.

use clap::builder::{PossibleValue, PossibleValuesParser};

use super::escape::wrapped;
use super::manual::{page_for_terminal, print};
use super::run::Ended;
use super::voice::noted;
use super::{DONE, program};
use crate::manual::{TOPICS, topic};

/// Columns of a page: those of the terminal within these, and 80 where there is none.
const NARROWEST: usize = 40;
const WIDEST: usize = 96;

/// Prints the page of a topic, the help of a command, or without a name the list of both.
pub(super) fn run(name: Option<&str>) -> Ended {
    let Some(name) = name else {
        return print(list(columns()).as_bytes());
    };
    if let Some(topic) = topic(name) {
        return print(page_for_terminal(topic, columns()).as_bytes());
    }
    let mut program = program();
    program.build();
    if let Some(command) = program.find_subcommand_mut(name) {
        noted(command.print_long_help());
    }
    Ok(DONE)
}

/// The names that `help` knows, with a line on each.
pub(super) fn names(commands: &clap::Command) -> PossibleValuesParser {
    let commands = commands
        .get_subcommands()
        .map(|command| PossibleValue::new(command.get_name().to_string()).help(about(command)));
    let topics = TOPICS.iter().map(|topic| PossibleValue::new(topic.name).help(topic.about()));
    commands.chain(topics).collect::<Vec<_>>().into()
}

/// The commands and topics, one line each.
fn list(columns: usize) -> String {
    let program = program();
    let commands: Vec<_> =
        program.get_subcommands().map(|command| (command.get_name(), about(command))).collect();
    let topics: Vec<_> =
        TOPICS.iter().map(|topic| (topic.name, topic.about().to_string())).collect();
    let mut lines =
        wrapped(&program.get_about().map(ToString::to_string).unwrap_or_default(), columns);
    for (title, names) in [
        ("Commands (gapwright help COMMAND):", commands),
        ("Pages of the manual (gapwright help TOPIC):", topics),
    ] {
        lines.extend([String::new(), title.to_string()]);
        for (name, about) in names {
            let about = wrapped(&about, columns.saturating_sub(15));
            let heads = [name].into_iter().chain(std::iter::repeat(""));
            lines.extend(heads.zip(about).map(|(head, line)| format!("  {head:<12} {line}")));
        }
    }
    lines.push(String::new());
    lines.join("\n")
}

fn about(command: &clap::Command) -> String {
    command.get_about().map(ToString::to_string).unwrap_or_default()
}

fn columns() -> usize {
    let size = terminal_size::terminal_size_of(std::io::stdout());
    size.map_or(80, |(width, _)| usize::from(width.0).clamp(NARROWEST, WIDEST))
}
