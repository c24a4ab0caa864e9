//! Arguments that are not understood, as a problem like any other.

use std::time::Instant;

use clap::error::{ContextKind, ContextValue, Error, ErrorKind};

use super::files::Files;
use super::report::Listing;
use super::run::{Run, Stop};
use super::{Common, from_command_line};
use crate::read::Memory;

/// Whether help was asked for, or is the best answer to no arguments at all.
pub(super) fn is_help(error: &Error) -> bool {
    !error.use_stderr() || error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand
}

/// Reports what is wrong with the arguments, and gives the exit status.
pub(super) fn refuse(error: &Error, start: Instant) -> Stop {
    // The form that was asked for must be found by hand: the arguments could not be read as a whole.
    let arguments: Vec<_> = std::env::args_os().map(|a| a.to_string_lossy().into_owned()).collect();
    let pairs = arguments.iter().zip(arguments.iter().skip(1));
    let json = arguments.iter().any(|argument| argument == "--problems=json")
        || pairs.into_iter().any(|(option, form)| option == "--problems" && form == "json");
    let common = Common {
        form: if json { Listing::Json } else { Listing::Text },
        memory: Memory::default(),
        megabytes: super::MEMORY.into(),
        quiet: false,
        start,
    };
    let (found, expected, fix) = parts(error);
    let problem = from_command_line(found, &expected, &fix);
    Run::begin(&common, Files::default()).refuse_for(problem)
}

/// The found, the expected and the fix, in the parser's words.
fn parts(error: &Error) -> (String, String, String) {
    let expected = match told(error, ContextKind::ValidValue) {
        Some(values) => format!("one of {values}"),
        None => match told(error, ContextKind::Usage) {
            Some(usage) => usage.trim_start_matches("Usage: ").to_string(),
            None => "arguments as `gapwright --help` shows them".into(),
        },
    };
    let similar = [
        (ContextKind::SuggestedArg, "argument"),
        (ContextKind::SuggestedValue, "value"),
        (ContextKind::SuggestedSubcommand, "subcommand"),
    ];
    let similar = similar.into_iter().filter_map(|(kind, word)| {
        let name = told(error, kind)?;
        Some(format!("a similar {word} exists: '{name}'"))
    });
    let tips = similar.chain(told(error, ContextKind::Suggested));
    let fix: Vec<String> = tips.chain(["see --help".to_string()]).collect();
    (found(error), expected, fix.join("; "))
}

/// The fault, with its argument.
fn found(error: &Error) -> String {
    let of = |kind| told(error, kind).unwrap_or_default();
    let (argument, value) = (of(ContextKind::InvalidArg), of(ContextKind::InvalidValue));
    match error.kind() {
        ErrorKind::UnknownArgument => format!("unexpected argument '{argument}' found"),
        ErrorKind::InvalidSubcommand => {
            format!("unrecognized subcommand '{}'", of(ContextKind::InvalidSubcommand))
        }
        ErrorKind::MissingRequiredArgument => {
            format!("the following required arguments were not provided: {argument}")
        }
        ErrorKind::ArgumentConflict => match of(ContextKind::PriorArg) {
            prior if prior == argument => {
                format!("the argument '{argument}' cannot be used multiple times")
            }
            prior => format!("the argument '{argument}' cannot be used with '{prior}'"),
        },
        ErrorKind::InvalidValue if value.is_empty() => {
            format!("a value is required for '{argument}' but none was supplied")
        }
        ErrorKind::InvalidValue => format!("invalid value '{value}' for '{argument}'"),
        ErrorKind::ValueValidation => {
            let why = std::error::Error::source(error).map(|why| format!(": {why}"));
            format!("invalid value '{value}' for '{argument}'{}", why.unwrap_or_default())
        }
        // Counts of values and bytes that are no text: the parser's sentence, without what follows it.
        _ => {
            let told = error.render().to_string();
            let (sentence, _) = told.split_once("\n\n").unwrap_or((&told, ""));
            let sentence = sentence.trim_start_matches("error: ");
            sentence.split_whitespace().collect::<Vec<_>>().join(" ")
        }
    }
}

/// The text of the parser on one line, if there is any.
fn told(error: &Error, kind: ContextKind) -> Option<String> {
    let text = match error.get(kind)? {
        ContextValue::String(text) => text.clone(),
        ContextValue::Strings(texts) => texts.join(", "),
        ContextValue::StyledStr(text) => text.to_string(),
        ContextValue::StyledStrs(texts) => {
            let texts: Vec<String> = texts.iter().map(ToString::to_string).collect();
            texts.join("; ")
        }
        _ => return None,
    };
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    Some(text).filter(|text| !text.is_empty())
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::parts;

    #[test]
    fn what_is_wrong_with_arguments_has_its_parts() {
        let parsed = |arguments: &[&str]| {
            let wrong = crate::cli::Args::try_parse_from(arguments).err();
            wrong.map(|error| parts(&error)).unwrap_or_default()
        };
        let (found, expected, fix) = parsed(&["gapwright", "kit", "a", "b", "--forced"]);
        assert_eq!(found, "unexpected argument '--forced' found");
        assert!(expected.starts_with("gapwright kit "), "{expected}");
        assert_eq!(fix, "a similar argument exists: '--force'; see --help");
        let (found, expected, _) = parsed(&["gapwright", "--problems", "xml", "schema"]);
        assert!(found.contains("'xml'"), "{found}");
        assert_eq!(expected, "one of text, json");
        let (found, ..) = parsed(&["gapwright", "kit", "a"]);
        assert!(found.contains("not provided: <PUMPS>"), "{found}");
        let (found, expected, _) = parsed(&["gapwright", "kit", "a", "b", "--threads", "many"]);
        assert!(found.starts_with("invalid value 'many' for '--threads <N>': "), "{found}");
        assert_eq!(expected, "arguments as `gapwright --help` shows them");
        let (found, ..) = parsed(&["gapwright", "kit", "a", "b", "--out"]);
        assert_eq!(found, "a value is required for '--out <FILE>' but none was supplied");
        let both = ["gapwright", "stack", "p", "--stock", "s", "--plan", "j", "--pack", "a=b"];
        let (found, ..) = parsed(&both);
        assert_eq!(
            found,
            "the argument '--plan <FILE>' cannot be used with '--pack <PLACE=PIECES>'"
        );
        let twice = ["gapwright", "kit", "a", "b", "--out", "c", "--out", "d"];
        let (found, ..) = parsed(&twice);
        assert_eq!(found, "the argument '--out <FILE>' cannot be used multiple times");
        let (found, _, fix) = parsed(&["gapwright", "kitt"]);
        assert_eq!(found, "unrecognized subcommand 'kitt'");
        assert_eq!(fix, "a similar subcommand exists: 'kit'; see --help");
    }
}
