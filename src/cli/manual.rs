//! What the program says of itself: shell completions, manual pages, the formats for programs.

use std::io::Write;
use std::path::Path;

use clap::CommandFactory;

use super::files::Files;
use super::run::{Ended, Run};
use super::voice::say;
use super::{Args, Common, DONE, Format};
use crate::formats;

/// Prints the completions of a shell.
pub(super) fn completions(shell: clap_complete::Shell) -> Ended {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Args::command(), "gapwright", &mut script);
    print(&script)
}

/// Prints the JSON Schema of a format.
pub(super) fn schema(format: Format) -> Ended {
    let schema = match format {
        Format::Plan => formats::plan::schema(),
        Format::Provision => formats::provision::schema(),
        Format::Problems => formats::problems::schema(),
        Format::Purchase => formats::purchase::schema(),
        Format::Recheck => formats::recheck::schema(),
    };
    let text = serde_json::to_string_pretty(&schema).unwrap_or_default();
    print(format!("{text}\n").as_bytes())
}

/// Prints the main page, or writes all pages into a folder.
pub(super) fn pages(folder: Option<&Path>, force: bool, common: &Common) -> Ended {
    let mut main = Args::command();
    main.build();
    let Some(folder) = folder else {
        return print(&page(&main));
    };
    let commands = main.get_subcommands().filter(|c| c.get_name() != "help");
    let named = commands.map(|command| (format!("gapwright-{}", command.get_name()), command));
    let all = [("gapwright".to_string(), &main)].into_iter().chain(named);
    let (names, pages): (Vec<_>, Vec<_>) = all.map(|(name, of)| (name, page(of))).unzip();
    let mut run = Run::begin(
        common,
        Files {
            pages: names.iter().map(|name| folder.join(format!("{name}.1"))).collect(),
            force,
            ..Files::default()
        },
    );
    run.make_folder(folder)?;
    let status = run.deliver_all(&pages)?;
    say!(run.voice(), "Wrote {} pages into {}.", pages.len(), folder.display());
    Ok(status)
}

fn page(command: &clap::Command) -> Vec<u8> {
    let mut bytes = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut bytes).ok();
    bytes.extend_from_slice(b".SH \"EXIT STATUS\"\n");
    for (status, meaning) in super::EXIT_STATUSES {
        bytes.extend_from_slice(format!(".TP\n\\fB{status}\\fR\n{meaning}\n").as_bytes());
    }
    bytes
}

/// What is asked for on standard output, whoever else is quiet; what cannot be written is lost, since there is nobody
/// to read it.
fn print(bytes: &[u8]) -> Ended {
    std::io::stdout().write_all(bytes).ok();
    Ok(DONE)
}
