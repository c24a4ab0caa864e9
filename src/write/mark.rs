//! A copy of the input sheets with what is wrong coloured and noted, to fix it where it is.

use std::collections::{BTreeMap, HashSet};

use rust_xlsxwriter::{
    Color, Format, FormatAlign, FormatBorder, FormatUnderline, Note, Url, Worksheet,
};

use super::page::{Page, Written};
use super::style::{Styles, VALUES, WARN};
use super::table::{Cells, Column};
use super::text::{SheetNames, WriteText};
use super::{WriteError, start, stock_after};
use crate::plain_text::cleaned_to;
use crate::problem::{Problem, Problems, Severity, Spot, address, quoted_sheet};
use crate::sheet::{Book, Sheet};

/// The most cells that are copied from one sheet, so that the copy stays small whatever was read.
pub const MOST_CELLS: usize = 200_000;

/// The last row and column that a sheet has (ECMA-376-1, from memory); a CSV file may have more.
const LAST_ROW: u32 = 1_048_575;
const LAST_COLUMN: u32 = 16_383;

/// All that is wrong with one cell.
struct Mark {
    severity: Severity,
    note: String,
}

/// The marks of one sheet by row and column. There are none if only the sheet as a whole is named.
type Marks = BTreeMap<(u32, u32), Mark>;

/// A sheet's file and name.
type Key<'a> = (&'a str, &'a str);

/// The marked copy as a workbook's bytes: the sheet `Problems`, then every sheet of these books that a
/// problem or a warning names, its values at the same addresses. `date` (`YYYY-MM-DD`) is when it was made.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(problems: &Problems, books: &[Book], date: &str) -> Result<Vec<u8>, WriteError> {
    let (mut workbook, styles) = start("Problems of the input workbooks", date)?;
    let found = problems.by_place();
    let mut marks: BTreeMap<Key<'_>, Marks> = BTreeMap::new();
    for &(severity, problem) in &found {
        match &problem.place.spot {
            Spot::Cell { sheet, row, column } => {
                let sheet = marks.entry((&problem.place.file, sheet)).or_default();
                add(sheet.entry((*row, *column)), severity, problem);
            }
            Spot::Sheet { sheet } => {
                marks.entry((&problem.place.file, sheet)).or_default();
            }
            Spot::Whole | Spot::Text { .. } => {}
        }
    }
    // The first sheet has its name before any input can take it.
    let mut names = SheetNames::default();
    let first = names.take("Problems");
    let mut copies: Vec<(&Sheet, &Marks, String)> = Vec::new();
    let mut seen = HashSet::new();
    for sheet in books.iter().flat_map(|book| &book.sheets) {
        let key = (sheet.file.as_str(), sheet.name.as_str());
        if let Some(marks) = marks.get(&key)
            && seen.insert(key)
        {
            copies.push((sheet, marks, names.take(&sheet.name)));
        }
    }
    let copied = copies.iter();
    let copied: BTreeMap<Key<'_>, &str> = copied
        .map(|(sheet, _, name)| ((sheet.file.as_str(), sheet.name.as_str()), name.as_str()))
        .collect();
    let looks = Looks::new();
    let lines = (1..).zip(&found).map(|(number, &(severity, problem))| {
        let copy = sheet_of(problem).and_then(|sheet| copied.get(&(&problem.place.file, sheet)));
        MarkedProblem { number, severity, problem, copy: copy.copied() }
    });
    workbook.push_worksheet(list(&first, problems, lines, &looks, &styles)?);
    for (sheet, marks, name) in &copies {
        workbook.push_worksheet(copy_of(name, sheet, marks, &looks)?);
    }
    Ok(workbook.save_to_buffer()?)
}

/// Adds a problem to what is wrong with a cell; a problem outranks a warning.
fn add(
    entry: std::collections::btree_map::Entry<'_, (u32, u32), Mark>,
    severity: Severity,
    problem: &Problem,
) {
    let mark = entry.or_insert(Mark { severity, note: String::new() });
    mark.severity = mark.severity.min(severity);
    if !mark.note.is_empty() {
        mark.note.push_str("\n\n");
    }
    mark.note.push_str(&format!(
        "{}\nfound: {}\nexpected: {}\nfix: {}",
        severity.word().to_uppercase(),
        problem.found,
        problem.expected,
        problem.fix
    ));
}

/// A problem with its number, and the name of the copy of its sheet, if there is one.
struct MarkedProblem<'a> {
    number: u32,
    severity: Severity,
    problem: &'a Problem,
    copy: Option<&'a str>,
}

impl MarkedProblem<'_> {
    fn cell(&self) -> Option<String> {
        match &self.problem.place.spot {
            Spot::Whole | Spot::Sheet { .. } => None,
            Spot::Text { line, column } => Some(format!("line {line}, column {column}")),
            Spot::Cell { row, column, .. } => Some(address(*row, *column)),
        }
    }

    /// The place on the copy, and how it is shown.
    fn link(&self) -> Option<(Url, String)> {
        let copy = self.copy.filter(|_| inside(&self.problem.place.spot))?;
        let cell = self.cell();
        let to = cell.as_deref().unwrap_or("A1");
        let url = Url::new(format!("internal:{}!{to}", quoted_sheet(copy)));
        Some((url, cell.unwrap_or_else(|| "sheet".into())))
    }

    /// How high it must be: a row is not made higher by itself in every program that opens the workbook.
    fn height(&self) -> f64 {
        let Problem { place, found, expected, fix, .. } = self.problem;
        let texts = [(&place.file, 22), (found, 36), (expected, 34), (fix, 36)];
        let lines = texts
            .map(|(text, across)| text.lines().map(|line| 1 + line.chars().count() / across).sum());
        let lines = lines.into_iter().max().unwrap_or(1_usize).clamp(1, 25);
        15.0 * f64::from(u8::try_from(lines).unwrap_or(25))
    }
}

fn sheet_of(problem: &Problem) -> Option<&str> {
    match &problem.place.spot {
        Spot::Sheet { sheet } | Spot::Cell { sheet, .. } => Some(sheet),
        Spot::Whole | Spot::Text { .. } => None,
    }
}

type Col<'s> = Column<'s, MarkedProblem<'s>>;

fn columns<'s>(styles: &Styles) -> [Col<'s>; 8] {
    let top = styles.wrapped.clone().set_align(FormatAlign::Left).set_align(FormatAlign::Top);
    let number = styles.count.clone().set_align(FormatAlign::Top);
    let bold = top.clone().set_bold();
    let text = move |text: &str| top.owned(text);
    let severity = {
        let text = text.clone();
        move |line: &MarkedProblem<'_>| match line.severity {
            Severity::Problem => bold.owned(line.severity.word()),
            Severity::Warning => text(line.severity.word()),
        }
    };
    let of = |of: fn(&Problem) -> &str| {
        let text = text.clone();
        move |line: &MarkedProblem<'s>| text(of(line.problem))
    };
    let cell = text.clone();
    [
        Col::new("No.", 6.0, move |line| number.owned(line.number)),
        Col::new("Severity", 11.0, severity),
        Col::new("File", 22.0, of(|problem| &problem.place.file)),
        Col::new("Sheet", 16.0, of(|problem| sheet_of(problem).unwrap_or_default())),
        Col::new("Cell", 11.0, move |line| cell(&line.cell().unwrap_or_default())),
        Col::new("Found", 36.0, of(|problem| &problem.found)),
        Col::new("Expected", 34.0, of(|problem| &problem.expected)),
        Col::new("Fix", 36.0, of(|problem| &problem.fix)),
    ]
}

/// The list of problems, with links to the marked cells.
fn list<'a>(
    name: &str,
    problems: &Problems,
    lines: impl Iterator<Item = MarkedProblem<'a>>,
    looks: &Looks,
    styles: &Styles,
) -> Written<Worksheet> {
    let mut page = Page { sheet: Worksheet::new(), styles, row: 0, last: 0 };
    // A4 in landscape, with margins that leave the printed part no taller than Letter has room for.
    page.sheet
        .set_name(name)?
        .set_paper_size(9)
        .set_margins(0.5, 0.5, 0.75, 0.75, 0.3, 0.3)
        .set_landscape()
        .set_print_fit_to_pages(1, 0)
        .set_header(format!("&C&A&Rgapwright {}", env!("CARGO_PKG_VERSION")))
        .set_footer("&RPage &P of &N")
        .set_screen_gridlines(false);
    let lead = "Fix the workbooks themselves, not this copy, which has values only. The cells are marked on the next sheets, each with a note.";
    page.title("Problems of the input workbooks", lead)?;
    let counts = [
        (problems.count(), Severity::Problem, "stop the run: thick border"),
        (
            problems.count_of_warnings(),
            Severity::Warning,
            "do not, but should be looked at: dashed border",
        ),
    ];
    let plain = &styles.plain;
    for (count, severity, says) in counts {
        let look = looks.of(severity).clone().set_align(FormatAlign::Center);
        let count = look.owned(u32::try_from(count).unwrap_or(u32::MAX));
        page.line([count, plain.of(format!("{}s", severity.word())), plain.of(says)])?;
    }
    let left_off = problems.left_off() + problems.warnings_left_off();
    if left_off > 0 {
        let text = format!("{left_off} of them are only counted, neither listed nor marked.");
        page.cells(1, [styles.alarm.of(text)])?;
    }
    page.row += 1;
    let columns = columns(styles);
    page.open(&columns)?;
    let link = styles.wrapped.clone().set_align(FormatAlign::Left).set_align(FormatAlign::Top);
    let link = link.set_font_color(VALUES).set_underline(FormatUnderline::Single);
    for line in lines {
        page.high(line.height())?;
        page.put(&columns, &line)?;
        if let Some((url, shown)) = line.link() {
            page.sheet.write_url_with_options(page.row - 1, 4, &url, &shown, "", Some(&link))?;
        }
    }
    Ok(page.sheet)
}

/// Whether a place lies on a sheet of a workbook; a CSV file may be larger.
fn inside(spot: &Spot) -> bool {
    match spot {
        Spot::Cell { row, column, .. } => *row <= LAST_ROW && *column <= LAST_COLUMN,
        _ => true,
    }
}

/// How marked cells look: the colours stay apart for the colour-blind, the borders in print.
struct Looks {
    plain: Format,
    problem: Format,
    warning: Format,
    remark: Format,
}

impl Looks {
    fn new() -> Looks {
        Looks {
            plain: Format::new(),
            problem: Format::new()
                .set_background_color(Color::RGB(0xF7_C5_9F))
                .set_border(FormatBorder::Thick)
                .set_border_color(WARN),
            warning: Format::new()
                .set_background_color(Color::RGB(0xD3_E5_F5))
                .set_border(FormatBorder::MediumDashed)
                .set_border_color(VALUES),
            remark: Format::new().set_bold().set_font_color(WARN),
        }
    }

    fn of(&self, severity: Severity) -> &Format {
        match severity {
            Severity::Problem => &self.problem,
            Severity::Warning => &self.warning,
        }
    }
}

fn copy_of(name: &str, sheet: &Sheet, marks: &Marks, looks: &Looks) -> Written<Worksheet> {
    let mut copy = Worksheet::new();
    copy.set_name(name)?.set_paper_size(9).set_landscape().set_print_headings(true);
    copy.set_repeat_columns(0, 0)?;
    copy.set_header("&C&A").set_footer("&RPage &P of &N");
    let gravest = marks.values().map(|mark| mark.severity).min();
    let tab = match gravest {
        Some(Severity::Warning) => VALUES,
        _ => WARN,
    };
    copy.set_tab_color(tab);
    let mut copied = 0;
    let mut rest = None;
    let mut columns: BTreeMap<u16, usize> = BTreeMap::new();
    for row in sheet.rows.iter().filter(|row| row.number <= LAST_ROW) {
        // A title may run over the cells beside it.
        let alone = row.cells.len() == 1;
        if rest.is_none() && copied + row.cells.len() > MOST_CELLS {
            rest = Some(row.number);
        }
        for (column, cell) in row.cells.iter().filter(|(column, _)| *column <= LAST_COLUMN) {
            let mark = marks.get(&(row.number, *column));
            // Beyond the most only the cells that are marked are copied.
            if rest.is_some() && mark.is_none() {
                continue;
            }
            let column = u16::try_from(*column).unwrap_or(u16::MAX);
            let look = mark.map_or(&looks.plain, |mark| looks.of(mark.severity));
            // A text keeps clear of the number before it.
            let text = look.clone().set_indent(1);
            stock_after::copy(&mut copy, (row.number, column), cell, [look, &text])?;
            copied += 1;
            let wide = match alone {
                true => 0,
                false => cell.show().chars().take(WIDEST).count(),
            };
            let width = columns.entry(column).or_default();
            *width = wide.max(*width);
        }
    }
    for (&(row, column), mark) in marks.range(..=(LAST_ROW, u32::MAX)) {
        let Some(column) = u16::try_from(column).ok().filter(|c| u32::from(*c) <= LAST_COLUMN)
        else {
            continue;
        };
        let holds = sheet.rows.binary_search_by_key(&row, |row| row.number);
        let empty =
            holds.is_ok_and(|at| sheet.rows[at].cell(column.into()).is_none()) || holds.is_err();
        if empty {
            let look = looks.of(mark.severity).clone().set_indent(1);
            copy.write_blank(row, column, &look)?;
        }
        copy.insert_note(row, column, &note(&mark.note))?;
        columns.entry(column).or_default();
    }
    if let Some(from) = rest {
        // In the first column that no marked cell of that row needs.
        let free = (0..u16::MAX).find(|column| !marks.contains_key(&(from, u32::from(*column))));
        let text = format!(
            "This copy ends here: at most {MOST_CELLS} cells are copied, and below this only marked ones."
        );
        copy.write_text(from, free.unwrap_or(0), text, &looks.remark)?;
    }
    let mut total = 0;
    for (column, width) in columns {
        let width = 2 + u16::try_from(width.max(6)).unwrap_or(6);
        total += u32::from(width);
        copy.set_column_width(column, width)?;
    }
    // Small enough for one page across, but never too small to be read: then there are more pages.
    let scale = (100 * ACROSS / total.max(1)).clamp(45, 100);
    copy.set_print_scale(u16::try_from(scale).unwrap_or(100));
    Ok(copy)
}

/// The characters that one page of A4 in landscape has room for, all columns together.
const ACROSS: u32 = 120;

/// The characters of the widest column.
const WIDEST: usize = 36;

/// A note that shows all of its text, as far as it is of a reasonable length.
fn note(text: &str) -> Note {
    const IN_NOTE: usize = 46;
    let text = cleaned_to(text, 8_000);
    let lines = text.lines().map(|line| 1 + line.chars().count() / IN_NOTE);
    let lines = u32::try_from(lines.sum::<usize>()).unwrap_or(40).min(40);
    Note::new(text)
        .set_author("gapwright")
        .add_author_prefix(false)
        .set_width(320)
        .set_height(20 + 16 * lines)
}
