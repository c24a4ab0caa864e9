//! The files of a run: what a command reads and writes, the one held against the other.

use std::path::{Path, PathBuf};

use super::from_command_line;
use super::report::Listing;
use crate::output::{Inputs, Output};
use crate::problem::Problems;

/// Files that a command reads and writes.
#[derive(Default)]
pub(super) struct Files<'a> {
    /// Workbooks and other files; the marked copy shows those of them that are workbooks.
    pub(super) reads: Vec<&'a Path>,
    /// The folder of models.
    pub(super) models: Option<&'a Path>,
    /// The outage file: entries are added to it by its own rules, and no output may be it.
    pub(super) outage: Option<&'a Path>,
    /// Workbooks, each with its option, in the order in which they are delivered.
    pub(super) writes: Vec<(&'static str, PathBuf)>,
    /// Files that are no workbooks, each with its option; they come after the workbooks.
    pub(super) texts: Vec<(&'static str, PathBuf)>,
    /// The result for programs; `-` is standard output.
    pub(super) json: Option<&'a Path>,
    /// The marked copy.
    pub(super) mark: Option<&'a Path>,
    /// Advice instead of writing over an input, after "give it another name".
    pub(super) instead: &'static str,
    /// Whether files that are there may be replaced.
    pub(super) force: bool,
    /// The date to print.
    pub(super) date: Option<&'a str>,
}

impl Files<'_> {
    pub(super) fn json_to_stdout(&self) -> bool {
        self.json == Some(Path::new("-"))
    }

    /// Adds problems with anything but the names.
    pub(super) fn check(&self, form: Listing, problems: &mut Problems) {
        if self.json_to_stdout() && form == Listing::Json {
            problems.add(from_command_line(
                "--json - and --problems json".into(),
                "standard output for one of the two",
                "give --json a file",
            ));
        }
        if let Some(date) = self.date.filter(|date| !crate::day::is_date(date)) {
            problems.add(from_command_line(
                format!("--date {date}"),
                "a date such as 2027-03-15",
                "correct the date",
            ));
        }
    }
}

/// The places that may be written.
pub(super) struct Claimed {
    /// Those of the command's own results, in their order.
    pub(super) outputs: Vec<Output>,
    pub(super) json: Json,
    pub(super) mark: Option<Output>,
}

/// Where the result for programs goes.
pub(super) enum Json {
    Nowhere,
    Stdout,
    File(Output),
}

impl Claimed {
    /// Holds what is to be written against what is read, and against each other.
    pub(super) fn of(files: &Files<'_>, problems: &mut Problems) -> Claimed {
        let before = problems.count();
        let mut claims = Claims::beside(files, problems);
        let outputs = files.writes.iter();
        let outputs = outputs.filter_map(|(option, path)| claims.workbook(option, path));
        let mut outputs: Vec<Output> = outputs.collect();
        let texts = files.texts.iter();
        outputs.extend(texts.filter_map(|(option, path)| claims.file(option, path)));
        let json = match files.json {
            None => Json::Nowhere,
            Some(_) if files.json_to_stdout() => Json::Stdout,
            Some(path) => claims.file("--json", path).map_or(Json::Nowhere, Json::File),
        };
        let mark = files.mark.and_then(|path| claims.workbook("--mark", path));
        Claimed {
            outputs,
            json,
            // With anything wrong about the names of files, nothing is written to any of them.
            mark: mark.filter(|_| problems.count() == before),
        }
    }
}

/// The outputs of a run as they are claimed, each held against the inputs and against those before it.
struct Claims<'a> {
    inputs: Inputs,
    taken: Vec<(&'static str, Output)>,
    force: bool,
    instead: &'static str,
    problems: &'a mut Problems,
}

impl<'a> Claims<'a> {
    fn beside(files: &Files<'_>, problems: &'a mut Problems) -> Claims<'a> {
        Claims {
            inputs: Inputs::of(files.reads.iter().copied().chain(files.models).chain(files.outage)),
            taken: Vec::new(),
            force: files.force,
            instead: files.instead,
            problems,
        }
    }

    fn workbook(&mut self, option: &'static str, path: &Path) -> Option<Output> {
        let end = path.extension().unwrap_or_default();
        let named = end.eq_ignore_ascii_case("xlsx");
        if !named {
            let found = format!("{option} {}", path.display());
            self.wrong(
                found,
                "a file name ending in .xlsx",
                "give the workbook such a name".into(),
            );
        }
        self.file(option, path).filter(|_| named)
    }

    fn file(&mut self, option: &'static str, path: &Path) -> Option<Output> {
        let shown = path.display();
        let output = match self.inputs.output(path, self.force) {
            Ok(output) => output,
            Err(input) => {
                let found = format!(
                    "{option} {shown}, which is {}: both to be read and to be written",
                    input.display()
                );
                let fix = format!("give {option} another name{}", self.instead);
                self.wrong(found, "an output that is no input", fix);
                return None;
            }
        };
        let mut taken = self.taken.iter();
        if let Some((other, _)) = taken.find(|(_, other)| output.is(other)) {
            let found = format!("{shown} for {other} and for {option}");
            self.wrong(found, "a file for each", "give one of them another name".into());
            return None;
        }
        self.taken.push((option, output.clone()));
        Some(output)
    }

    fn wrong(&mut self, found: String, expected: &str, fix: String) {
        self.problems.add(from_command_line(found, expected, &fix));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Problems with the names of files that do not exist, and with the date.
    fn wrong(files: Files<'_>) -> Vec<String> {
        let mut problems = Problems::new();
        files.check(Listing::Text, &mut problems);
        Claimed::of(&files, &mut problems);
        let problems = problems.sorted().into_iter();
        problems.map(|problem| problem.found.clone()).collect()
    }

    fn files<'a>() -> Files<'a> {
        Files {
            reads: vec![Path::new("s.xlsx"), Path::new("p.xlsx")],
            writes: vec![("--out", "plan.xlsx".into())],
            ..Files::default()
        }
    }

    #[test]
    fn outputs_are_none_of_the_inputs_and_differ() {
        let path = Path::new;
        assert!(wrong(files()).is_empty());
        let own = |files| match wrong(files).as_slice() {
            [one] => one.clone(),
            more => panic!("{more:?}"),
        };
        let out = own(Files { writes: vec![("--out", "./s.xlsx".into())], ..files() });
        assert_eq!(out, "--out ./s.xlsx, which is s.xlsx: both to be read and to be written");
        let mark = own(Files { mark: Some(path("p.xlsx")), ..files() });
        assert!(mark.starts_with("--mark p.xlsx"), "{mark}");
        let both = own(Files { json: Some(path("plan.xlsx")), ..files() });
        assert_eq!(both, "plan.xlsx for --out and for --json");
        let end = own(Files { mark: Some(path("marked.txt")), ..files() });
        assert_eq!(end, "--mark marked.txt");
        let date = own(Files { date: Some("tomorrow"), ..files() });
        assert_eq!(date, "--date tomorrow");
    }
}
