//! Shell completions and manual pages, made from the command line itself.

use std::path::{Path, PathBuf};

use clap::CommandFactory;

use super::findings::Findings;
use super::{Args, Common, DONE, say};
use crate::problem::Place;
use crate::problem::Problem;
use crate::write;

/// Prints the completions of a shell.
pub(super) fn completions(shell: clap_complete::Shell) -> u8 {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Args::command(), "gapwright", &mut script);
    print(&script)
}

/// Prints the main page, or writes all pages into a folder.
pub(super) fn pages(folder: Option<&Path>, force: bool, common: &Common) -> u8 {
    let mut main = Args::command();
    main.build();
    let Some(folder) = folder else {
        return print(&page(&main));
    };
    let mut pages: Vec<(PathBuf, Vec<u8>)> = vec![(folder.join("gapwright.1"), page(&main))];
    for command in main.get_subcommands().filter(|c| c.get_name() != "help") {
        let name = format!("gapwright-{}", command.get_name());
        pages.push((folder.join(format!("{name}.1")), page(command)));
    }
    let findings = Findings::of(common);
    if let Err(error) = std::fs::create_dir_all(folder) {
        let problem = Problem::new(
            Place::file(&folder.display().to_string()),
            error.to_string(),
            "a folder to write the pages into",
            "name another folder, or make it",
        );
        return findings.fail(problem, Vec::new(), &[]);
    }
    let files: Vec<(&Path, &[u8])> = pages
        .iter()
        .map(|(path, bytes)| (path.as_path(), bytes.as_slice()))
        .collect();
    match write::files(&files, force) {
        Ok(()) => {
            say!("Wrote {} pages into {}.", pages.len(), folder.display());
            DONE
        }
        Err(error) => {
            let before = error.written_before();
            let before: Vec<&Path> = before.iter().map(PathBuf::as_path).collect();
            findings.fail(error.problem(), Vec::new(), &before)
        }
    }
}

fn page(command: &clap::Command) -> Vec<u8> {
    let mut bytes = Vec::new();
    clap_mangen::Man::new(command.clone())
        .render(&mut bytes)
        .ok();
    bytes.extend_from_slice(b".SH \"EXIT STATUS\"\n");
    for (status, meaning) in super::EXIT_STATUSES {
        bytes.extend_from_slice(format!(".TP\n\\fB{status}\\fR\n{meaning}\n").as_bytes());
    }
    bytes
}

/// What is asked for on standard output, whoever else is quiet.
fn print(bytes: &[u8]) -> u8 {
    use std::io::Write;
    std::io::stdout().write_all(bytes).ok();
    DONE
}
