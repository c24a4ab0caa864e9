//! A copy of the input sheets with what is wrong coloured and noted, to mend it where it is.

use std::collections::{BTreeMap, HashSet};

use rust_xlsxwriter::{
    Color, ExcelDateTime, Format, FormatAlign, FormatBorder, Note, Url, Worksheet, XlsxError,
};

use super::style::{Styles, heads, title, widths};
use super::text::{SheetNames, WriteText};
use super::{WriteError, start};
use crate::plain_text::mended_to;
use crate::problem::{Problem, Problems, Severity, Spot, address, quoted_sheet};
use crate::sheet::{Book, Cell, Sheet};

/// The most cells that are copied from one sheet, so that the copy stays small whatever was read.
pub const MOST_CELLS: usize = 200_000;

/// The last row and column that a sheet has (ECMA-376-1, from memory); a CSV file may have more.
const LAST_ROW: u32 = 1_048_575;
const LAST_COLUMN: u32 = 16_383;

/// What is wrong with one cell.
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
    let mut workbook = start("Problems of the input workbooks", date)?;
    let styles = Styles::new();
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
    let list = workbook.add_worksheet();
    list.set_name(&first)?;
    write_list(list, problems, &found, &copied, &styles)?;
    let looks = Looks::new();
    for (sheet, marks, name) in &copies {
        let copy = workbook.add_worksheet();
        copy.set_name(name)?;
        write_copy(copy, sheet, marks, &looks)?;
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
        "{}\nfound: {}\nexpected: {}\nmend: {}",
        severity.word().to_uppercase(),
        problem.found,
        problem.expected,
        problem.mend
    ));
}

const HEADS: [&str; 8] = ["No.", "Severity", "File", "Sheet", "Cell", "Found", "Expected", "Mend"];

fn write_list(
    list: &mut Worksheet,
    problems: &Problems,
    found: &[(Severity, &Problem)],
    copied: &BTreeMap<Key<'_>, &str>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    // A4 in landscape, with margins that leave the printed part no taller than Letter has room for.
    list.set_paper_size(9)
        .set_margins(0.5, 0.5, 0.75, 0.75, 0.3, 0.3)
        .set_landscape()
        .set_print_fit_to_pages(1, 0)
        .set_header(format!("&C&A&Rgapwright {}", env!("CARGO_PKG_VERSION")))
        .set_footer("&RPage &P of &N")
        .set_screen_gridlines(false);
    let lead = "Mend the workbooks themselves, not this copy, which holds values alone. The cells are marked on the next sheets, each with a note.";
    title(list, "Problems of the input workbooks", lead, styles)?;
    let counts =
        [(problems.count(), Severity::Problem), (problems.count_of_warnings(), Severity::Warning)];
    let looks = Looks::new();
    for (row, (count, severity)) in (3..).zip(counts) {
        let says = match severity {
            Severity::Problem => "stop the run: thick border",
            Severity::Warning => "do not, but should be looked at: dashed border",
        };
        let look = looks.of(severity).clone().set_align(FormatAlign::Center);
        list.write_number_with_format(row, 0, whole(count), &look)?;
        list.write_text(row, 1, format!("{}s", severity.word()), &styles.plain)?;
        list.write_text(row, 2, says, &styles.plain)?;
    }
    let left_off = problems.left_off() + problems.warnings_left_off();
    if left_off > 0 {
        let text = format!("{left_off} of them are only counted, neither listed nor marked.");
        list.write_text(5, 1, text, &styles.alarm)?;
    }
    const HEAD_ROW: u32 = 6;
    heads(list, HEAD_ROW, &HEADS, styles)?;
    list.set_repeat_rows(HEAD_ROW, HEAD_ROW)?;
    list.set_freeze_panes(HEAD_ROW + 1, 0)?;
    widths(list, &[6.0, 11.0, 22.0, 16.0, 11.0, 36.0, 34.0, 36.0])?;
    let aside = styles.wrapped.clone().set_align(FormatAlign::Left);
    let top = aside.clone().set_align(FormatAlign::Top);
    let link =
        top.clone().set_font_color(LINK).set_underline(rust_xlsxwriter::FormatUnderline::Single);
    let number = styles.count.clone().set_align(FormatAlign::Top);
    for (row, (count, (severity, problem))) in (HEAD_ROW + 1..).zip((1_u64..).zip(found)) {
        list.write_number_with_format(row, 0, whole(count), &number)?;
        let word = aside.clone();
        let word = match severity {
            Severity::Problem => word.set_bold(),
            Severity::Warning => word,
        };
        list.write_text(row, 1, severity.word(), &word.set_align(FormatAlign::Top))?;
        list.write_text(row, 2, &problem.place.file, &top)?;
        let (sheet, cell) = match &problem.place.spot {
            Spot::Whole => (None, None),
            Spot::Text { line, column } => (None, Some(format!("line {line}, column {column}"))),
            Spot::Sheet { sheet } => (Some(sheet), None),
            Spot::Cell { sheet, row, column } => (Some(sheet), Some(address(*row, *column))),
        };
        list.write_text(row, 3, sheet.map_or("", String::as_str), &top)?;
        let copy =
            sheet.and_then(|sheet| copied.get(&(problem.place.file.as_str(), sheet.as_str())));
        match (copy, cell) {
            (Some(copy), cell) if inside(&problem.place.spot) => {
                let to = cell.as_deref().unwrap_or("A1");
                let url = Url::new(format!("internal:{}!{to}", quoted_sheet(copy)));
                let shown = cell.as_deref().unwrap_or("sheet");
                list.write_url_with_options(row, 4, &url, shown, "", Some(&link))?;
            }
            (_, cell) => {
                list.write_text(row, 4, cell.unwrap_or_default(), &top)?;
            }
        }
        // A row is not made higher by itself in every program that opens the workbook.
        let texts = [
            (&problem.place.file, 22),
            (&problem.found, 36),
            (&problem.expected, 34),
            (&problem.mend, 36),
        ];
        let lines = texts
            .map(|(text, across)| text.lines().map(|line| 1 + line.chars().count() / across).sum());
        let lines = lines.into_iter().max().unwrap_or(1_usize).clamp(1, 25);
        list.set_row_height(row, 15.0 * f64::from(u8::try_from(lines).unwrap_or(25)))?;
        list.write_text(row, 5, &problem.found, &top)?;
        list.write_text(row, 6, &problem.expected, &top)?;
        list.write_text(row, 7, &problem.mend, &top)?;
    }
    Ok(())
}

/// Whether a place lies on a sheet of a workbook; a CSV file may be larger.
fn inside(spot: &Spot) -> bool {
    match spot {
        Spot::Cell { row, column, .. } => *row <= LAST_ROW && *column <= LAST_COLUMN,
        _ => true,
    }
}

const LINK: Color = Color::RGB(0x1F_5F_A8);

fn whole(count: u64) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

/// How marked cells look: the colours stay apart for the colour-blind, the borders in print.
struct Looks {
    problem: Format,
    warning: Format,
    remark: Format,
}

impl Looks {
    fn new() -> Looks {
        Looks {
            problem: Format::new()
                .set_background_color(Color::RGB(0xF7_C5_9F))
                .set_border(FormatBorder::Thick)
                .set_border_color(Color::RGB(0xB3_4A_00)),
            warning: Format::new()
                .set_background_color(Color::RGB(0xD3_E5_F5))
                .set_border(FormatBorder::MediumDashed)
                .set_border_color(Color::RGB(0x1F_5F_A8)),
            remark: Format::new().set_bold().set_font_color(Color::RGB(0xB3_4A_00)),
        }
    }

    fn of(&self, severity: Severity) -> &Format {
        match severity {
            Severity::Problem => &self.problem,
            Severity::Warning => &self.warning,
        }
    }
}

fn write_copy(
    copy: &mut Worksheet,
    sheet: &Sheet,
    marks: &Marks,
    looks: &Looks,
) -> Result<(), XlsxError> {
    copy.set_paper_size(9).set_landscape().set_print_headings(true);
    copy.set_repeat_columns(0, 0)?;
    copy.set_header("&C&A").set_footer("&RPage &P of &N");
    let gravest = marks.values().map(|mark| mark.severity).min();
    let tab = match gravest {
        Some(Severity::Warning) => LINK,
        _ => Color::RGB(0xB3_4A_00),
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
            let format = mark.map(|mark| looks.of(mark.severity));
            write_cell(copy, row.number, column, cell, format)?;
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
            "This copy ends here: {MOST_CELLS} cells are copied at most, and below only those that are marked."
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
    Ok(())
}

/// The characters that one page of A4 in landscape has room for, all columns together.
const ACROSS: u32 = 120;

/// The characters of the widest column.
const WIDEST: usize = 36;

/// A cell as it came: texts stay texts, whatever they begin with.
fn write_cell(
    copy: &mut Worksheet,
    row: u32,
    column: u16,
    cell: &Cell,
    format: Option<&Format>,
) -> Result<(), XlsxError> {
    let plain = Format::new();
    // A text keeps clear of the number before it.
    let beside = format.unwrap_or(&plain).clone().set_indent(1);
    let format = format.unwrap_or(&plain);
    match cell {
        Cell::Number(number) if number.is_finite() => {
            copy.write_number_with_format(row, column, *number, format)?
        }
        Cell::Bool(yes) => copy.write_boolean_with_format(row, column, *yes, format)?,
        Cell::Date { iso, .. } => match ExcelDateTime::parse_from_str(iso) {
            Ok(date) => {
                let format = format.clone().set_num_format("yyyy-mm-dd");
                copy.write_datetime_with_format(row, column, &date, &format)?
            }
            Err(_) => copy.write_text(row, column, iso, &beside)?,
        },
        other => copy.write_text(row, column, other.show(), &beside)?,
    };
    Ok(())
}

/// A note that shows all of its text, as far as it is of a reasonable length.
fn note(text: &str) -> Note {
    const IN_NOTE: usize = 46;
    let text = mended_to(text, 8_000);
    let lines = text.lines().map(|line| 1 + line.chars().count() / IN_NOTE);
    let lines = u32::try_from(lines.sum::<usize>()).unwrap_or(40).min(40);
    Note::new(text)
        .set_author("gapwright")
        .add_author_prefix(false)
        .set_width(320)
        .set_height(20 + 16 * lines)
}
