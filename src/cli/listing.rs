//! Problems and warnings as a list for the terminal: by file, the same fault down a column once.
//!
//! Laid out here and not by a crate for compilers' messages: those show spans of a source text. Of these 418 lines
//! the excerpt with its caret takes 126; the rest is about cells, which have no line of text to show: alike faults
//! down a column as one, columns and rows as a spreadsheet says them, texts that a terminal must not act on. Wrapping
//! is textwrap's.
//!
//! # Decision
//!
//! Alike faults down a column are one block: forty blocks alike hide the one that differs.

use std::fmt::Write as _;
use std::io::{BufRead, BufReader, IsTerminal, Read};
use std::path::Path;

use anstyle::{AnsiColor, Style};

use super::escape::{one_line, width, wrapped};
use crate::problem::{Problem, Problems, Severity, Spot, quoted_sheet, reference};

/// Abilities of the terminal.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Look {
    /// Its columns; what is no terminal is not wrapped, so that its lines can be searched.
    pub(super) width: Option<usize>,
    /// Whether it shows colours.
    pub(super) colour: bool,
    /// Whether its locale has line-drawing characters.
    pub(super) drawn: bool,
}

impl Look {
    /// That of standard error.
    pub(super) fn of_stderr() -> Look {
        let stderr = std::io::stderr();
        // A terminal that does not say how wide it is is taken to be as wide as most.
        let size = terminal_size::terminal_size_of(&stderr);
        let width = size.map_or(80, |(width, _)| usize::from(width.0).max(NARROWEST));
        let choice = anstream::AutoStream::choice(&stderr);
        Look {
            width: stderr.is_terminal().then_some(width),
            colour: choice != anstream::ColorChoice::Never && !dumb(),
            drawn: cfg!(windows) || speaks_utf8(|name| std::env::var(name).ok()),
        }
    }

    fn paint(self, style: Style, text: &str) -> String {
        match self.colour {
            true => format!("{style}{text}{style:#}"),
            false => text.to_string(),
        }
    }
}

/// Whether the terminal says that it can do nothing but print: then it has no colours, though the run
/// may be one of a build server, whose logs are mostly shown in colours.
fn dumb() -> bool {
    std::env::var_os("TERM").is_some_and(|term| term == "dumb")
        && std::env::var_os("CLICOLOR_FORCE").is_none_or(|force| force == "0")
}

/// Narrower than this nothing can be laid out.
const NARROWEST: usize = 40;
/// The columns of an excerpt where there is no terminal.
const EXCERPT: usize = 160;
/// How many of the same fault down a column are shown.
const SHOWN: usize = 3;
/// The largest file whose lines are shown.
const MOST_BYTES: u64 = 64_000_000;
/// How many lines of one file are shown.
const EXCERPTS: usize = 50;

/// Gives a line, from 1, of a text file.
type LineOf<'a> = &'a dyn Fn(&str, usize) -> Option<String>;

/// Whether the locale's characters are UTF-8: the first of these variables that says anything counts
/// (POSIX.1-2017, 8.2).
fn speaks_utf8(variable: impl Fn(&str) -> Option<String>) -> bool {
    let names = ["LC_ALL", "LC_CTYPE", "LANG"];
    let says = names.into_iter().filter_map(variable).find(|value| !value.is_empty());
    let says = says.unwrap_or_default().to_lowercase();
    says.contains("utf-8") || says.contains("utf8")
}

/// Faults of one kind: alone, or alike down one column.
struct Group<'a> {
    severity: Severity,
    faults: Vec<&'a Problem>,
}

/// The list, without its last line; empty if there is nothing to say. `line_of` gives a line of a
/// text file.
pub(super) fn list(problems: &Problems, look: Look, line_of: LineOf<'_>) -> String {
    let groups = grouped(problems);
    let mut files: Vec<&str> = groups.iter().map(|group| file_of(group)).collect();
    files.sort_unstable();
    files.dedup();
    let mut text = String::new();
    for file in files {
        text.push_str(&head(file, look));
        // Each takes a walk through the file; whoever has more to fix looks into the marked copy.
        let of_file = groups.iter().filter(|group| file_of(group) == file);
        for (at, group) in of_file.enumerate() {
            let line_of = (at < EXCERPTS).then_some(line_of);
            show(group, look, line_of, &mut text);
            text.push('\n');
        }
    }
    text
}

fn file_of<'a>(group: &Group<'a>) -> &'a str {
    group.faults.first().map_or("", |fault| fault.place.file.as_str())
}

/// The last line but for what was written: how many of each, and in which files.
pub(super) fn total(problems: &Problems) -> String {
    let count = |number: u64, severity: Severity| match number {
        1 => format!("1 {}", severity.word()),
        _ => format!("{number} {}s", severity.word()),
    };
    let mut files: Vec<(&str, usize)> = Vec::new();
    for problem in problems.sorted() {
        match files.last_mut() {
            Some((file, count)) if *file == problem.place.file => *count += 1,
            _ => files.push((&problem.place.file, 1)),
        }
    }
    let mut parts = Vec::new();
    if problems.count() > 0 {
        let each = files.iter().map(|(file, count)| format!("{count} in {}", one_line(file)));
        let each = each.collect::<Vec<_>>().join(", ");
        let mut part = count(problems.count(), Severity::Problem);
        if problems.left_off() > 0 {
            let _ = write!(part, " ({each}, {} more not listed)", problems.left_off());
        } else if files.len() > 1 {
            let _ = write!(part, " ({each})");
        }
        parts.push(part);
    }
    if problems.count_of_warnings() > 0 {
        parts.push(count(problems.count_of_warnings(), Severity::Warning));
    }
    parts.join(", ")
}

/// Gist of a fault: its text without quoted words and numbers.
fn kind(found: &str) -> String {
    let outside = found.split('`').step_by(2).collect::<Vec<_>>().join("`");
    outside.split(|c: char| c.is_ascii_digit()).collect()
}

fn grouped(problems: &Problems) -> Vec<Group<'_>> {
    let mut groups: Vec<Group<'_>> = Vec::new();
    let mut known = std::collections::HashMap::new();
    for (severity, fault) in problems.by_place() {
        let Spot::Cell { sheet, column, .. } = &fault.place.spot else {
            groups.push(Group { severity, faults: vec![fault] });
            continue;
        };
        let column = (&fault.place.file, sheet, *column);
        let alike = (severity, column, kind(&fault.found), &fault.expected, kind(&fault.fix));
        let at = *known.entry(alike).or_insert_with(|| {
            groups.push(Group { severity, faults: Vec::new() });
            groups.len() - 1
        });
        groups[at].faults.push(fault);
    }
    groups
}

/// The name of a file above what is wrong in it.
fn head(file: &str, look: Look) -> String {
    let file = one_line(file);
    let stroke = if look.drawn { "─" } else { "-" };
    let rest = look.width.unwrap_or(72).saturating_sub(width(&file) + 1);
    let rule = look.paint(Style::new().dimmed(), &stroke.repeat(rest));
    format!("{} {rule}\n", look.paint(Style::new().bold(), &file))
}

/// Where a fault stands inside its file.
fn spot(fault: &Problem) -> String {
    match &fault.place.spot {
        Spot::Whole => "the whole of it".into(),
        Spot::Text { line, column } => format!("line {line}, column {column}"),
        Spot::Sheet { sheet } => format!("sheet {}", one_line(&quoted_sheet(sheet))),
        Spot::Cell { sheet, row, column } => {
            one_line(&reference(sheet, *row, *column)).into_owned()
        }
    }
}

fn show(group: &Group<'_>, look: Look, line_of: Option<LineOf<'_>>, text: &mut String) {
    let Some((first, others)) = group.faults.split_first() else {
        return;
    };
    let colour = match group.severity {
        Severity::Problem => AnsiColor::Red,
        Severity::Warning => AnsiColor::Yellow,
    };
    let word = look.paint(colour.on_default().bold(), group.severity.word());
    let _ = match first.place.spot {
        Spot::Whole => writeln!(text, "  {word}"),
        _ => writeln!(text, "  {word}  {}", look.paint(Style::new().bold(), &spot(first))),
    };
    if let Some(line_of) = line_of {
        excerpt(first, look, line_of, text);
    }
    entry("found", &first.found, look, text);
    let shown = others.len().min(SHOWN - 1);
    for (at, fault) in others[..shown].iter().enumerate() {
        let label = if at == 0 { "also at" } else { "" };
        entry(label, &format!("{}  {}", spot(fault), fault.found), look, text);
    }
    if let [from, .., to] | [from @ to] = &others[shown..] {
        let rest = others.len() - shown;
        entry("", &format!("and {rest} more in {}", range(from, to)), look, text);
    }
    entry("expected", &first.expected, look, text);
    entry("fix", &first.fix, look, text);
}

/// `column C, rows 12 to 52`.
fn range(from: &Problem, to: &Problem) -> String {
    match (&from.place.spot, &to.place.spot) {
        (Spot::Cell { row, column, .. }, Spot::Cell { row: last, .. }) => {
            let letters = crate::problem::address(*row, *column);
            let letters = letters.trim_end_matches(|c: char| c.is_ascii_digit());
            match row == last {
                true => format!("column {letters}, row {}", row + 1),
                false => format!("column {letters}, rows {} to {}", row + 1, last + 1),
            }
        }
        _ => String::new(),
    }
}

/// One line, or several, of a block: a label and what it says.
fn entry(label: &str, words: &str, look: Look, text: &mut String) {
    const INDENT: usize = 14;
    let words = one_line(words);
    let lines = match look.width {
        Some(width) => wrapped(&words, width.saturating_sub(INDENT)),
        None => vec![words.into_owned()],
    };
    let label = look.paint(Style::new().dimmed(), &format!("{label:<8}"));
    for (at, line) in lines.iter().enumerate() {
        let _ = match at {
            0 => writeln!(text, "    {label}  {line}"),
            _ => writeln!(text, "{:INDENT$}{line}", ""),
        };
    }
}

/// The line of a text file with a caret under the place.
fn excerpt(fault: &Problem, look: Look, line_of: LineOf<'_>, text: &mut String) {
    let file = &fault.place.file;
    let csv = || Path::new(file).extension().is_some_and(|end| end.eq_ignore_ascii_case("csv"));
    let number = match fault.place.spot {
        Spot::Text { line, .. } => line,
        Spot::Cell { row, .. } if csv() => match line_of_row(file, row) {
            Some(line) => line,
            None => return,
        },
        _ => return,
    };
    let Some(line) = line_of(file, number) else {
        return;
    };
    let before = match fault.place.spot {
        Spot::Text { column, .. } => column.saturating_sub(1),
        Spot::Cell { column, .. } => field(&line, usize::try_from(column).unwrap_or(usize::MAX)),
        _ => 0,
    };
    let bar = if look.drawn { '│' } else { '|' };
    let margin = number.to_string().len().max(5);
    let room = look.width.unwrap_or(EXCERPT).saturating_sub(margin + 8);
    let (shown, caret) = window(&line, before, room);
    let _ = writeln!(text, "  {number:>margin$} {bar} {shown}");
    let _ = writeln!(text, "  {:margin$} {bar} {:caret$}^", "", "");
}

/// A line with so many characters before the caret, as it is shown in so many columns, and the
/// columns before the caret: what does not fit is left out at the ends.
fn window(line: &str, before: usize, room: usize) -> (String, usize) {
    let chars: Vec<char> = line.chars().collect();
    let plain = |chars: &[char]| one_line(&chars.iter().collect::<String>()).into_owned();
    let before = before.min(chars.len());
    let mut start = 0;
    while start < before && width(&plain(&chars[start..before])) > room * 2 / 3 {
        start += 1 + (before - start) / 4;
    }
    let lead = if start > 0 { "..." } else { "" };
    let caret = width(lead) + width(&plain(&chars[start..before]));
    let mut shown = format!("{lead}{}", plain(&chars[start..before]));
    for &c in &chars[before..] {
        let next = plain(&[c]);
        if width(&shown) + width(&next) + 3 > room {
            shown.push_str("...");
            break;
        }
        shown.push_str(&next);
    }
    (shown, caret)
}

/// The characters of a line of CSV before its field of this number, from 0. The separator is the one
/// that parts the line into most values; a comma between digits may be a decimal mark.
fn field(line: &str, number: usize) -> usize {
    let chars: Vec<char> = line.chars().collect();
    let digit =
        |at: Option<usize>| at.and_then(|at| chars.get(at)).is_some_and(char::is_ascii_digit);
    let starts = |mark: char| {
        let (mut starts, mut quoted) = (vec![0], false);
        for (at, &c) in chars.iter().enumerate() {
            quoted ^= c == '"';
            if c == mark && !quoted {
                starts.push(at + 1);
            }
        }
        starts
    };
    let decimals = (1..chars.len())
        .filter(|&at| chars[at] == ',' && digit(at.checked_sub(1)) && digit(at.checked_add(1)));
    let (semicolons, tabs, commas) = (starts(';'), starts('\t'), starts(','));
    let parting = commas.len().saturating_sub(decimals.count());
    let starts = match () {
        () if semicolons.len() > parting.max(1) && semicolons.len() >= tabs.len() => semicolons,
        () if tabs.len() > parting.max(1) => tabs,
        () => commas,
    };
    starts.get(number).copied().unwrap_or(chars.len())
}

/// The line, from 1, on which a row of a CSV file begins: texts in double quotes may hold line breaks.
/// `None` for a file that is no UTF-8, whose lines are not shown.
fn line_of_row(file: &str, row: u32) -> Option<usize> {
    let bytes = crate::read::bounded::bytes(Path::new(file), MOST_BYTES).ok();
    // What is not there is not shown either; the tests' lines come from elsewhere.
    let Some(bytes) = bytes else {
        return Some(usize::try_from(row).ok()? + 1);
    };
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return None;
    }
    let (mut line, mut rows, mut quoted) = (1, 0, false);
    for byte in bytes {
        if rows == row {
            return Some(line);
        }
        match byte {
            b'"' => quoted = !quoted,
            b'\n' => {
                line += 1;
                rows += u32::from(!quoted);
            }
            _ => {}
        }
    }
    (rows == row).then_some(line)
}

/// A line of a text file, from 1. Files that are no plain ones, or very large ones, are left alone.
pub(super) fn line_of(file: &str, number: usize) -> Option<String> {
    const LONGEST: u64 = 100_000;
    let path = Path::new(file);
    if !path.metadata().ok()?.is_file() {
        return None;
    }
    let mut reader = BufReader::new(std::fs::File::open(path).ok()?.take(MOST_BYTES));
    for _ in 1..number {
        if reader.skip_until(b'\n').ok()? == 0 {
            return None;
        }
    }
    let mut bytes = Vec::new();
    reader.take(LONGEST).read_until(b'\n', &mut bytes).ok()?;
    let line = String::from_utf8_lossy(&bytes);
    let line = line.trim_end_matches(['\n', '\r']);
    let line = if number == 1 { line.trim_start_matches('\u{feff}') } else { line };
    (!line.is_empty()).then(|| line.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::problem::Place;

    fn at(file: &str, row: u32, column: u32, found: &str) -> Problem {
        let spot = Spot::Cell { sheet: "Spare shims".into(), row, column };
        let file = file.to_string();
        Problem::new(
            Place { file, spot },
            found,
            "a thickness, such as `0.5 mm`",
            "correct the cell",
        )
    }

    fn in_text(line: usize, column: usize) -> Problem {
        let spot = Spot::Text { line, column };
        let file = "m.toml".to_string();
        Problem::new(Place { file, spot }, "`furlong`", "a unit", "write `mm`")
    }

    fn no_text(_: &str, _: usize) -> Option<String> {
        None
    }

    #[test]
    fn the_same_fault_down_a_column_is_shown_three_times_and_counted() {
        let mut problems = Problems::new();
        for row in 7..52 {
            problems.add(at("stock.xlsx", row, 2, &format!("`thin {row}`")));
        }
        problems.add(at("stock.xlsx", 9, 3, "`thin`"));
        problems.add(at("pumps.xlsx", 9, 2, "nothing"));
        problems.warn(at("pumps.xlsx", 9, 3, "`1,250`"));
        let look = Look::default();
        let expected = "\
pumps.xlsx -------------------------------------------------------------
  problem  'Spare shims'!C10
    found     nothing
    expected  a thickness, such as `0.5 mm`
    fix       correct the cell

  warning  'Spare shims'!D10
    found     `1,250`
    expected  a thickness, such as `0.5 mm`
    fix       correct the cell

stock.xlsx -------------------------------------------------------------
  problem  'Spare shims'!C8
    found     `thin 7`
    also at   'Spare shims'!C9  `thin 8`
              'Spare shims'!C10  `thin 9`
              and 42 more in column C, rows 11 to 52
    expected  a thickness, such as `0.5 mm`
    fix       correct the cell

  problem  'Spare shims'!D10
    found     `thin`
    expected  a thickness, such as `0.5 mm`
    fix       correct the cell

";
        assert_eq!(list(&problems, look, &no_text), expected);
        let total = total(&problems);
        assert_eq!(total, "47 problems (1 in pumps.xlsx, 46 in stock.xlsx), 1 warning");
    }

    #[test]
    fn a_line_of_text_has_a_caret_under_the_place() {
        let mut problems = Problems::new();
        problems.add(in_text(12, 8));
        let line = |_: &str, number: usize| (number == 12).then(|| "a\t日 = furlong".to_string());
        let look = Look { drawn: true, ..Look::default() };
        let text = list(&problems, look, &line);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[1], "  problem  line 12, column 8");
        assert_eq!(lines[2], "     12 │ a\\t日 = furlong");
        // Two columns for the tab that is written out and two for the wide character.
        assert_eq!(lines[3], "        │          ^");
        // A long line is cut off at both ends, and the caret stays under its place.
        let long = format!("{}furlong{}", "x".repeat(900), "y".repeat(900));
        let (shown, caret) = window(&long, 900, 60);
        assert!(width(&shown) <= 60 && shown.starts_with("...x") && shown.ends_with("y..."));
        assert!(shown[caret..].starts_with("furlong"));
        let (shown, caret) = window("short", 99, 60);
        assert_eq!((shown.as_str(), caret), ("short", 5));
    }

    #[test]
    fn a_field_of_csv_is_found_behind_quotes_and_decimal_commas() {
        assert_eq!(field("a,\"b, c\",d", 2), 9);
        assert_eq!(field("a;0,5;0,6", 2), 6);
        assert_eq!(field("a\tb\tc", 1), 2);
        assert_eq!(field("a,b", 9), 3);
        assert_eq!(field("alone", 0), 0);
    }

    #[test]
    fn no_line_leaves_the_terminal_and_nothing_gets_through_to_it() {
        let mut problems = Problems::new();
        let hostile = "\u{1b}[2J\u{7}\u{202e}".repeat(30);
        problems.add(at(&format!("{hostile}.xlsx"), 1, 1, &hostile));
        problems.add(in_text(1, 900));
        let look = Look { width: Some(50), colour: false, drawn: true };
        let text = list(&problems, look, &|_, _| Some(hostile.clone()));
        assert!(
            !text.contains(|c: char| c != '\n' && c.is_control()) && !text.contains('\u{202e}')
        );
        // Names of files are never broken, since they may be copied.
        for line in text.lines().filter(|line| !line.contains(".xlsx")) {
            assert!(width(line) <= 50, "{line}");
        }
        let coloured = Look { colour: true, ..look };
        let text = list(&problems, coloured, &no_text);
        assert!(text.contains("\u{1b}[1m\u{1b}[31mproblem\u{1b}[0m"), "{text:?}");
        assert!(!text.contains("\u{1b}[2J"));
    }

    #[test]
    fn line_drawing_follows_the_locale() {
        let with = |set: &'static [(&str, &str)]| {
            speaks_utf8(|name| {
                let found = set.iter().find(|(known, _)| *known == name);
                found.map(|(_, value)| value.to_string())
            })
        };
        assert!(with(&[("LANG", "en_GB.UTF-8")]));
        assert!(with(&[("LC_ALL", ""), ("LC_CTYPE", "C.utf8"), ("LANG", "C")]));
        assert!(!with(&[("LC_ALL", "C"), ("LANG", "en_GB.UTF-8")]));
        assert!(!with(&[]));
    }
}
