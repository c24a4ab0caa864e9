//! The cells that a formula reads, as far as its text tells.
//!
//! A formula of names, tables, user functions or computed addresses may read any cell: of such a one nothing is
//! claimed. Whoever asks must then take it to read every cell.

use super::super::gather::{MOST_COLUMNS, MOST_ROWS};

/// Cells of one sheet, all ends included, from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Area {
    /// Number of the sheet.
    pub(super) sheet: usize,
    /// First and last row.
    pub(super) rows: [u32; 2],
    /// First and last column.
    pub(super) columns: [u32; 2],
}

impl Area {
    pub(super) fn cell(sheet: usize, (row, column): (u32, u32)) -> Area {
        Area { sheet, rows: [row; 2], columns: [column; 2] }
    }

    pub(super) fn holds(&self, (row, column): (u32, u32)) -> bool {
        (self.rows[0]..=self.rows[1]).contains(&row)
            && (self.columns[0]..=self.columns[1]).contains(&column)
    }

    /// Number of its cells.
    pub(super) fn cells(&self) -> u64 {
        let of = |[first, last]: [u32; 2]| u64::from(last.saturating_sub(first)) + 1;
        of(self.rows) * of(self.columns)
    }
}

/// Row and column that a formula shared by several cells is moved by.
pub(super) type Shift = (i64, i64);

/// Functions that read the cells of their arguments and no others; any other function may read any cell. SUMIF and
/// AVERAGEIF are not among them: they read on beyond an area that is smaller than the one they compare.
const PLAIN: &[&str] = &[
    "ABS",
    "AND",
    "AVEDEV",
    "AVERAGE",
    "AVERAGEA",
    "AVERAGEIFS",
    "CEILING",
    "CEILING.MATH",
    "CHAR",
    "CHOOSE",
    "CLEAN",
    "COLUMN",
    "COLUMNS",
    "CONCAT",
    "CONCATENATE",
    "CONVERT",
    "COUNT",
    "COUNTA",
    "COUNTBLANK",
    "COUNTIF",
    "COUNTIFS",
    "DATE",
    "DATEDIF",
    "DATEVALUE",
    "DAY",
    "DAYS",
    "DAYS360",
    "EDATE",
    "EOMONTH",
    "ERROR.TYPE",
    "EVEN",
    "EXACT",
    "EXP",
    "FILTER",
    "FIND",
    "FIXED",
    "FLOOR",
    "FLOOR.MATH",
    "FREQUENCY",
    "HLOOKUP",
    "HOUR",
    "HYPERLINK",
    "IF",
    "IFERROR",
    "IFNA",
    "IFS",
    "INDEX",
    "INT",
    "ISBLANK",
    "ISERR",
    "ISERROR",
    "ISEVEN",
    "ISFORMULA",
    "ISLOGICAL",
    "ISNA",
    "ISNONTEXT",
    "ISNUMBER",
    "ISODD",
    "ISTEXT",
    "LARGE",
    "LEFT",
    "LEN",
    "LN",
    "LOG",
    "LOG10",
    "LOOKUP",
    "LOWER",
    "MATCH",
    "MAX",
    "MAXA",
    "MAXIFS",
    "MEDIAN",
    "MID",
    "MIN",
    "MINA",
    "MINIFS",
    "MINUTE",
    "MOD",
    "MODE",
    "MODE.SNGL",
    "MONTH",
    "MROUND",
    "N",
    "NA",
    "NETWORKDAYS",
    "NOT",
    "NOW",
    "NUMBERVALUE",
    "ODD",
    "OR",
    "PERCENTILE",
    "PERCENTILE.INC",
    "PI",
    "POWER",
    "PRODUCT",
    "PROPER",
    "QUARTILE",
    "QUOTIENT",
    "RAND",
    "RANDBETWEEN",
    "RANK",
    "RANK.AVG",
    "RANK.EQ",
    "REPLACE",
    "REPT",
    "RIGHT",
    "ROUND",
    "ROUNDDOWN",
    "ROUNDUP",
    "ROW",
    "ROWS",
    "SEARCH",
    "SECOND",
    "SEQUENCE",
    "SIGN",
    "SMALL",
    "SORT",
    "SORTBY",
    "SQRT",
    "STDEV",
    "STDEV.P",
    "STDEV.S",
    "STDEVP",
    "SUBSTITUTE",
    "SUBTOTAL",
    "SUM",
    "SUMIFS",
    "SUMPRODUCT",
    "SUMSQ",
    "SWITCH",
    "T",
    "TEXT",
    "TEXTJOIN",
    "TIME",
    "TIMEVALUE",
    "TODAY",
    "TRANSPOSE",
    "TRIM",
    "TRUNC",
    "UNIQUE",
    "UPPER",
    "VALUE",
    "VAR",
    "VAR.P",
    "VAR.S",
    "VARP",
    "VLOOKUP",
    "WEEKDAY",
    "WEEKNUM",
    "WORKDAY",
    "XLOOKUP",
    "XMATCH",
    "XOR",
    "YEAR",
    "YEARFRAC",
];

fn is_plain(function: &str) -> bool {
    let name = function.to_ascii_uppercase();
    let name = name.strip_prefix("_XLFN.").unwrap_or(&name);
    let name = name.strip_prefix("_XLWS.").unwrap_or(name);
    PLAIN.binary_search(&name).is_ok()
}

/// Cells that a formula reads, of the sheet `own` and of those that `sheet` knows by their names; `None` where its text
/// does not tell.
pub(super) fn references(
    text: &str,
    own: usize,
    shift: Shift,
    sheet: &dyn Fn(&str) -> Option<usize>,
) -> Option<Vec<Area>> {
    let mut read =
        Reading { rest: text.trim_start_matches('='), areas: Vec::new(), own, shift, sheet };
    read.all()?;
    Some(read.areas)
}

struct Reading<'t, 's> {
    rest: &'t str,
    areas: Vec<Area>,
    own: usize,
    shift: Shift,
    sheet: &'s dyn Fn(&str) -> Option<usize>,
}

/// Sheet that a reference names.
enum Named {
    /// One of this workbook.
    Here(usize),
    /// One of another workbook.
    Elsewhere,
}

impl<'t> Reading<'t, '_> {
    fn all(&mut self) -> Option<()> {
        while let Some(first) = self.rest.chars().next() {
            match first {
                '"' => drop(self.quoted('"')?),
                '\'' => {
                    let name = self.quoted('\'')?;
                    self.rest = self.rest.strip_prefix('!')?;
                    let named = self.named(&name)?;
                    self.reference(named)?;
                }
                '[' => {
                    let (workbook, rest) = self.rest[1..].split_once(']')?;
                    let other = workbook != "0" && workbook.bytes().all(|b| b.is_ascii_digit());
                    if !other || workbook.is_empty() {
                        return None;
                    }
                    self.rest = rest;
                    self.word();
                    self.rest = self.rest.strip_prefix('!')?;
                    self.reference(Named::Elsewhere)?;
                }
                '#' => self.error()?,
                _ if is_of_word(first) => self.of_word()?,
                '+' | '-' | '*' | '/' | '^' | '&' | '=' | '<' | '>' | '%' | '(' | ')' | ','
                | ';' | '{' | '}' | '@' => self.rest = &self.rest[1..],
                _ if first.is_whitespace() => self.rest = &self.rest[first.len_utf8()..],
                _ => return None,
            }
        }
        Some(())
    }

    /// A text in quotes, in which two of them stand for one.
    fn quoted(&mut self, quote: char) -> Option<String> {
        let mut text = String::new();
        let mut chars = self.rest.char_indices().skip(1).peekable();
        while let Some((at, c)) = chars.next() {
            if c != quote {
                text.push(c);
            } else if chars.next_if(|(_, next)| *next == quote).is_some() {
                text.push(quote);
            } else {
                self.rest = &self.rest[at + 1..];
                return Some(text);
            }
        }
        None
    }

    /// The sheet of a quoted name, which may have its workbook before it. Sheets from one to another are not told.
    fn named(&self, name: &str) -> Option<Named> {
        match name.rsplit_once(']') {
            Some((before, _)) => (!before.ends_with("[0")).then_some(Named::Elsewhere),
            None => (self.sheet)(name).map(Named::Here),
        }
    }

    fn word(&mut self) -> &'t str {
        let end = self.rest.find(|c: char| !is_of_word(c)).unwrap_or(self.rest.len());
        let (word, rest) = self.rest.split_at(end);
        self.rest = rest;
        word
    }

    /// `#N/A` and the like. A mark after a cell stands for as many as its result fills.
    fn error(&mut self) -> Option<()> {
        const ERRORS: [&str; 8] =
            ["#REF!", "#N/A", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!", "#VALUE!", "#GETTING_DATA"];
        let error = ERRORS.into_iter().find(|error| {
            self.rest.get(..error.len()).is_some_and(|start| start.eq_ignore_ascii_case(error))
        })?;
        self.rest = &self.rest[error.len()..];
        Some(())
    }

    fn of_word(&mut self) -> Option<()> {
        let before = self.rest;
        let word = self.word();
        if let Some(rest) = self.rest.strip_prefix('!') {
            self.rest = rest;
            let named = (self.sheet)(word).map(Named::Here)?;
            return self.reference(named);
        }
        if self.rest.trim_start().starts_with('(') {
            return is_plain(word).then_some(());
        }
        let is_range = self.rest.starts_with(':');
        let is_number = word.starts_with(|c: char| c.is_ascii_digit() || c == '.');
        if is_number && !is_range {
            return number(word);
        }
        if ["TRUE", "FALSE"].iter().any(|truth| word.eq_ignore_ascii_case(truth)) && !is_range {
            return Some(());
        }
        self.rest = before;
        self.reference(Named::Here(self.own))
    }

    /// A cell, cells from one to another, whole columns or whole rows.
    fn reference(&mut self, named: Named) -> Option<()> {
        if self.rest.starts_with('#') {
            return self.error();
        }
        let first = End::parse(self.word())?;
        let last = match self.rest.strip_prefix(':') {
            Some(rest) => {
                self.rest = rest;
                End::parse(self.word())?
            }
            None if matches!(first, End { row: Some(_), column: Some(_) }) => first,
            None => return None,
        };
        if self.rest.starts_with([':', '#', '!', '(', '[']) {
            return None;
        }
        if let Named::Here(sheet) = named {
            let rows = span(first.row, last.row, self.shift.0, MOST_ROWS)?;
            let columns = span(first.column, last.column, self.shift.1, MOST_COLUMNS)?;
            self.areas.push(Area { sheet, rows, columns });
        }
        Some(())
    }
}

/// A number without a sign; its exponent may follow a sign.
fn number(word: &str) -> Option<()> {
    let digits = word.trim_end_matches(['e', 'E']);
    let known = |c: char| c.is_ascii_digit() || matches!(c, '.' | 'e' | 'E');
    digits.chars().all(known).then_some(())
}

/// First and last of two ends; of a whole row or column, all there are.
fn span(
    first: Option<(u32, bool)>,
    last: Option<(u32, bool)>,
    shift: i64,
    most: u32,
) -> Option<[u32; 2]> {
    let moved = |(at, fixed): (u32, bool)| {
        let at = i64::from(at) + if fixed { 0 } else { shift };
        u32::try_from(at).ok().filter(|at| *at < most)
    };
    match (first, last) {
        (None, None) => Some([0, most - 1]),
        (Some(first), Some(last)) => {
            let (first, last) = (moved(first)?, moved(last)?);
            Some([first.min(last), first.max(last)])
        }
        _ => None,
    }
}

/// One end of a reference: row and column from 0, each with whether it is fixed.
#[derive(Clone, Copy)]
struct End {
    row: Option<(u32, bool)>,
    column: Option<(u32, bool)>,
}

impl End {
    fn parse(word: &str) -> Option<End> {
        let (column_fixed, rest) = fixed(word);
        let letters = rest.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(rest.len());
        let (letters, rest) = rest.split_at(letters);
        // Before a row alone, the mark is its own.
        let (row_fixed, digits) = match letters.is_empty() {
            true => (column_fixed, rest),
            false => fixed(rest),
        };
        let column = match letters.len() {
            0 => None,
            1..=3 => Some(column(letters)?),
            _ => return None,
        };
        let row = match digits {
            "" if row_fixed && !letters.is_empty() => return None,
            "" => None,
            _ if digits.bytes().all(|b| b.is_ascii_digit()) => {
                let row: u32 = digits.parse().ok()?;
                Some(row.checked_sub(1).filter(|row| *row < MOST_ROWS)?)
            }
            _ => return None,
        };
        if row.is_none() && column.is_none() {
            return None;
        }
        Some(End {
            row: row.map(|row| (row, row_fixed)),
            column: column.map(|column| (column, column_fixed)),
        })
    }
}

fn fixed(word: &str) -> (bool, &str) {
    match word.strip_prefix('$') {
        Some(rest) => (true, rest),
        None => (false, word),
    }
}

fn column(letters: &str) -> Option<u32> {
    let column = letters.bytes().fold(0_u32, |column, letter| {
        column * 26 + u32::from(letter.to_ascii_uppercase() - b'A') + 1
    });
    column.checked_sub(1).filter(|column| *column < MOST_COLUMNS)
}

fn is_of_word(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '_' | '.' | '$' | '\\' | '?')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Option<Vec<String>> {
        shifted(text, (0, 0))
    }

    fn shifted(text: &str, shift: Shift) -> Option<Vec<String>> {
        let sheet = |name: &str| match name.to_lowercase().as_str() {
            "stock" => Some(0),
            "bill of 'all'" => Some(1),
            _ => None,
        };
        let areas = references(text, 7, shift, &sheet)?;
        let shown = areas.iter().map(|area| {
            let Area { sheet, rows, columns } = area;
            format!("{sheet}: {}..{} {}..{}", rows[0], rows[1], columns[0], columns[1])
        });
        Some(shown.collect())
    }

    #[test]
    fn the_functions_are_in_order() {
        assert!(PLAIN.is_sorted());
        assert!(is_plain("sum") && is_plain("_xlfn.XLOOKUP") && is_plain("_xlfn._xlws.FILTER"));
    }

    #[test]
    fn cells_areas_rows_and_columns_are_read() {
        let known = |text: &str| read(text).unwrap_or_else(|| panic!("{text}")).join("; ");
        assert_eq!(known("A1"), "7: 0..0 0..0");
        assert_eq!(known("SUM($F$2:F10)*1.5E+3"), "7: 1..9 5..5");
        assert_eq!(known("SUM(C:B)"), "7: 0..1048575 1..2");
        assert_eq!(known("SUM($2:3)"), "7: 1..2 0..16383");
        assert_eq!(known("Stock!F2&\"A1 \"\" B2\""), "0: 1..1 5..5");
        assert_eq!(known("'Bill of ''all'''!XFD1048576"), "1: 1048575..1048575 16383..16383");
        assert_eq!(known("IF(TRUE,#N/A,{1,2;3,4}%) + [2]Other!A1 + '[3]That one'!$B$2"), "");
        assert_eq!(known("Stock!#REF!+stock!A1"), "0: 0..0 0..0");
        assert_eq!(known("-.5+5e3"), "");
    }

    #[test]
    fn a_shared_formula_moves_its_free_ends() {
        assert_eq!(
            shifted("A1+$A$1+A$1+$A1", (2, 1)).unwrap(),
            ["7: 2..2 1..1", "7: 0..0 0..0", "7: 0..0 1..1", "7: 2..2 0..0",]
        );
        assert_eq!(shifted("A1", (-1, 0)), None);
    }

    #[test]
    fn what_may_read_any_cell_is_not_told() {
        for text in [
            "INDIRECT(\"F\"&2)",
            "OFFSET(A1,1,0)",
            "Total",
            "SUM(Total)",
            "Stock[On hand]",
            "MyCount(A1)",
            "A1:INDEX(B:B,3)",
            "INDEX(A:A,1):B2",
            "Stock:Other!A1",
            "'Stock:Other'!A1",
            "A1#",
            "Nowhere!A1",
            "[0]!Total",
            "\"open",
            "'open",
            "A1:Total",
            "ABCD1",
            "A1048577",
            "LET(x,A1,x)",
            "A1:B2:C3",
            "€",
            "A",
            "Stock!Total",
            "CELL(\"row\")",
            "A1.A2",
            "_A1",
        ] {
            assert_eq!(read(text), None, "{text}");
        }
    }
}
