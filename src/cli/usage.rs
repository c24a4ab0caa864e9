//! Arguments that are not understood, as a problem like any other.

use clap::error::{Error, ErrorKind};

use super::findings::{Findings, Listing, begin};
use super::{Common, PROBLEMS, from_command_line};
use crate::problem::Problems;
use crate::read::Memory;

/// Whether help was asked for, or is the best answer to no arguments at all.
pub(super) fn is_help(error: &Error) -> bool {
    !error.use_stderr() || error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand
}

/// Says what is wrong with the arguments.
pub(super) fn refuse(error: &Error) -> u8 {
    // What was asked for must be found by hand: the arguments could not be read as a whole.
    let arguments: Vec<_> = std::env::args_os()
        .map(|a| a.to_string_lossy().into_owned())
        .collect();
    let pairs = arguments.iter().zip(arguments.iter().skip(1));
    let json = arguments
        .iter()
        .any(|argument| argument == "--problems=json")
        || pairs
            .into_iter()
            .any(|(option, form)| option == "--problems" && form == "json");
    let form = if json { Listing::Json } else { Listing::Text };
    begin(form);
    let mut problems = Problems::new();
    let (found, expected, mend) = parts(&error.render().to_string());
    problems.add(from_command_line(found, &expected, &mend));
    Findings::of(&Common {
        form,
        memory: Memory::default(),
    })
    .refuse(problems);
    PROBLEMS
}

/// What was found, what was expected and how to mend it, out of the parser's paragraphs: the error,
/// perhaps with the possible values; tips; the usage; where to find more.
fn parts(message: &str) -> (String, String, String) {
    let (mut found, mut expected, mut mend) = (Vec::new(), Vec::new(), Vec::new());
    let mut usage = Vec::new();
    let mut below_usage = false;
    for line in message
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty())
    {
        if let Some(values) = line.strip_prefix("[possible values: ") {
            expected.push(format!("one of {}", values.trim_end_matches(']')));
        } else if let Some(tip) = line.strip_prefix("tip: ") {
            mend.push(tip.to_string());
        } else if let Some(line) = line.strip_prefix("Usage: ") {
            below_usage = true;
            usage.push(line.to_string());
        } else if line.starts_with("For more information") {
            below_usage = false;
        } else if below_usage {
            usage.push(line.to_string());
        } else {
            found.push(line.trim_start_matches("error: ").to_string());
        }
    }
    if expected.is_empty() {
        expected = usage;
    }
    if expected.is_empty() {
        expected.push("arguments as `gapwright --help` shows them".into());
    }
    mend.push("see --help".into());
    (found.join(" "), expected.join(" "), mend.join("; "))
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::parts;

    #[test]
    fn every_paragraph_of_the_parser_finds_its_part() {
        let parsed = |arguments: &[&str]| {
            let wrong = crate::cli::Args::try_parse_from(arguments).err();
            parts(
                &wrong
                    .map(|error| error.render().to_string())
                    .unwrap_or_default(),
            )
        };
        let (found, expected, mend) = parsed(&["gapwright", "kit", "a", "b", "--forced"]);
        assert_eq!(found, "unexpected argument '--forced' found");
        assert!(expected.starts_with("gapwright kit "), "{expected}");
        assert_eq!(mend, "a similar argument exists: '--force'; see --help");
        let (found, expected, _) = parsed(&["gapwright", "--problems", "xml", "schema"]);
        assert!(found.contains("'xml'"), "{found}");
        assert_eq!(expected, "one of text, json");
        let (found, ..) = parsed(&["gapwright", "kit", "a"]);
        assert!(found.contains("not provided: <PUMPS>"), "{found}");
    }
}
