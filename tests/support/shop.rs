//! A shop in a temporary folder: runs of the program, and workbooks changed as people change them.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use calamine::{Data, Reader, Xlsx, open_workbook};
use serde_json::Value;
use tempfile::TempDir;

/// A workbook's cell as text, empty where there is none.
pub fn shown(cell: &Data) -> String {
    match cell {
        Data::Empty => String::new(),
        Data::Float(number) => number.to_string(),
        Data::Int(number) => number.to_string(),
        Data::String(text) => text.clone(),
        Data::DateTime(date) => date.as_f64().to_string(),
        other => panic!("no such cell is written: {other:?}"),
    }
}

/// The cells of a sheet, by row and column from 0.
pub fn cells(path: &Path, sheet: &str) -> BTreeMap<(u32, u32), String> {
    let mut book: Xlsx<_> = open_workbook(path).unwrap();
    let range = book.worksheet_range(sheet).unwrap();
    let (top, left) = range.start().unwrap();
    let used = range.used_cells().filter(|(.., cell)| **cell != Data::Empty);
    used.map(|(row, column, cell)| {
        let at = (top + u32::try_from(row).unwrap(), left + u32::try_from(column).unwrap());
        (at, shown(cell))
    })
    .collect()
}

/// Contents to write into a cell.
#[derive(Clone, Debug)]
pub enum Put {
    Text(String),
    Number(String),
    Nothing,
}

impl From<&str> for Put {
    fn from(text: &str) -> Put {
        match text.parse::<f64>() {
            Ok(_) => Put::Number(text.into()),
            Err(_) if text.is_empty() => Put::Nothing,
            Err(_) => Put::Text(text.into()),
        }
    }
}

/// Changes cells of a sheet in the file itself, as people do: everything else is unchanged.
pub fn change<T: AsRef<str>>(path: &Path, sheet: &str, changes: &[(T, Put)]) {
    let book: Xlsx<_> = open_workbook(path).unwrap();
    let index = book.sheet_names().iter().position(|name| name == sheet).unwrap();
    let part = format!("xl/worksheets/sheet{}.xml", index + 1);
    let mut zip = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let mut parts: Vec<(String, Vec<u8>)> = Vec::new();
    for at in 0..zip.len() {
        let mut file = zip.by_index(at).unwrap();
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).unwrap();
        parts.push((file.name().unwrap().to_string(), bytes));
    }
    let (_, xml) = parts.iter_mut().find(|(name, _)| *name == part).unwrap();
    let mut text = String::from_utf8(xml.clone()).unwrap();
    for (cell, put) in changes {
        let cell = cell.as_ref();
        make_room(&mut text, cell);
        let start =
            text.find(&format!("<c r=\"{cell}\"")).unwrap_or_else(|| panic!("{cell} is there"));
        let open = start + text[start..].find('>').unwrap();
        let end = match text[..open].ends_with('/') {
            true => open + 1,
            false => open + text[open..].find("</c>").unwrap() + 4,
        };
        let style: String = text[start..open]
            .split(' ')
            .filter(|part| part.starts_with("s="))
            .map(|part| part.trim_end_matches('/'))
            .collect();
        let new = match put {
            Put::Nothing => format!("<c r=\"{cell}\" {style}/>"),
            Put::Number(number) => format!("<c r=\"{cell}\" {style}><v>{number}</v></c>"),
            Put::Text(words) => {
                let words = words.replace('&', "&amp;").replace('<', "&lt;");
                format!("<c r=\"{cell}\" {style} t=\"inlineStr\"><is><t>{words}</t></is></c>")
            }
        };
        text.replace_range(start..end, &new);
    }
    *xml = text.into_bytes();
    let mut zip = zip::ZipWriter::new(fs::File::create(path).unwrap());
    for (name, bytes) in parts {
        zip.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        zip.write_all(&bytes).unwrap();
    }
    zip.finish().unwrap();
}

/// Puts an empty cell into a sheet that has none there yet, in the order of rows and of columns A to Z.
fn make_room(text: &mut String, cell: &str) {
    if text.contains(&format!("<c r=\"{cell}\"")) {
        return;
    }
    let (column, row) = cell.split_at(1);
    let row: u32 = row.parse().unwrap();
    let row_of = |at: usize, text: &str| -> u32 {
        let number = &text[at + "<row r=\"".len()..];
        number.split('"').next().unwrap().parse().unwrap()
    };
    let rows: Vec<usize> = text.match_indices("<row r=\"").map(|(at, _)| at).collect();
    let here = rows.iter().copied().find(|at| row_of(*at, text) == row);
    let Some(at) = here else {
        let after = rows.iter().copied().find(|at| row_of(*at, text) > row);
        let at = after.unwrap_or_else(|| text.find("</sheetData>").expect("the end of the rows"));
        text.insert_str(at, &format!("<row r=\"{row}\"><c r=\"{cell}\"/></row>"));
        return;
    };
    let open = at + text[at..].find('>').unwrap();
    if text[..open].ends_with('/') {
        let new = format!("><c r=\"{cell}\"/></row>");
        text.replace_range(open - 1..=open, &new);
        return;
    }
    let end = open + text[open..].find("</row>").unwrap();
    let cells = text[open..end].match_indices("<c r=\"");
    let mut cells = cells.map(|(found, _)| open + found);
    let later = cells.find(|found| &text[found + 6..found + 7] > column);
    text.insert_str(later.unwrap_or(end), &format!("<c r=\"{cell}\"/>"));
}

/// A shop with its files.
pub struct Shop {
    pub folder: TempDir,
}

/// Result of a run.
pub struct Run {
    pub status: i32,
    pub told: String,
    pub findings: Vec<Value>,
}

impl Run {
    /// Problems and warnings as `severity file!cell found`.
    pub fn all(&self) -> Vec<String> {
        self.findings
            .iter()
            .map(|f| {
                let file =
                    Path::new(f["file"].as_str().unwrap()).file_name().unwrap().to_string_lossy();
                let cell = f["cell"].as_str().unwrap_or("");
                format!(
                    "{} {file}!{cell} {}",
                    f["severity"].as_str().unwrap(),
                    f["found"].as_str().unwrap()
                )
            })
            .collect()
    }

    /// Expected values, finding by finding.
    pub fn expected(&self) -> Vec<&str> {
        let findings = self.findings.iter();
        findings.map(|f| f["expected"].as_str().unwrap()).collect()
    }

    /// The problems only.
    pub fn problems(&self) -> Vec<String> {
        let mut all = self.all();
        all.retain(|finding| finding.starts_with("problem "));
        all
    }

    /// Asserts that the run succeeded.
    pub fn well(self) -> Run {
        assert_eq!(self.status, 0, "{:#?}\n{}", self.all(), self.told);
        self
    }

    /// Asserts that the run refused, with exactly these findings.
    pub fn refused(&self, expected: &[&str]) {
        assert_eq!(self.status, 2, "{}", self.told);
        assert_eq!(self.problems(), expected);
    }
}

impl Shop {
    pub fn new() -> Shop {
        Shop { folder: TempDir::new().unwrap() }
    }

    /// The tiny sample with its kits planned, as `kit-plan.xlsx` and `plan.json`.
    pub fn tiny() -> Shop {
        let shop = Shop::new();
        for name in ["stock.csv", "pumps.csv"] {
            fs::copy(format!("samples/tiny/{name}"), shop.at(name)).unwrap();
        }
        shop.kit("stock.csv", "pumps.csv");
        shop
    }

    /// Plans, as `kit-plan.xlsx` and `plan.json`.
    pub fn kit(&self, stock: &str, pumps: &str) -> Run {
        self.run(&[
            "kit",
            stock,
            pumps,
            "--out",
            "kit-plan.xlsx",
            "--json",
            "plan.json",
            "--date",
            "2027-03-01",
            "--force",
        ])
        .well()
    }

    pub fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, text: &str) {
        fs::write(self.at(name), text).unwrap();
    }

    pub fn read(&self, name: &str) -> Option<Vec<u8>> {
        fs::read(self.at(name)).ok()
    }

    /// Every file with its bytes.
    pub fn files(&self) -> BTreeMap<String, Vec<u8>> {
        let entries = fs::read_dir(self.folder.path()).unwrap().flatten();
        entries
            .filter(|entry| entry.file_type().unwrap().is_file())
            .map(|entry| {
                (entry.file_name().into_string().unwrap(), fs::read(entry.path()).unwrap())
            })
            .collect()
    }

    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::cargo_bin("gapwright").unwrap();
        command.current_dir(self.folder.path()).args(arguments);
        command
    }

    pub fn output(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().unwrap()
    }

    /// Runs the program with its findings as JSON.
    pub fn run(&self, arguments: &[&str]) -> Run {
        let output = self.output(&[&["--problems", "json"], arguments].concat());
        let list: Value =
            serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{output:?}"));
        Run {
            status: output.status.code().unwrap(),
            told: String::from_utf8(output.stderr).unwrap(),
            findings: ["problems", "warnings"]
                .iter()
                .flat_map(|part| list[*part].as_array().unwrap_or_else(|| panic!("{list:#}")))
                .cloned()
                .collect(),
        }
    }

    /// The lines of the log: the cells below the headings.
    pub fn log(&self) -> Vec<[String; 15]> {
        lines(&self.at("issue-log.xlsx"))
    }

    /// Row, from 1, of a line of the Issue sheet, by tag and item; of the n-th spare line for `extra`.
    pub fn issue_row(&self, tag: &str, item: &str) -> u32 {
        let cells = cells(&self.at("kit-plan.xlsx"), "Issue");
        let cell = |row, column| cells.get(&(row, column)).map_or("", String::as_str);
        let mut rows: Vec<u32> = cells.keys().map(|(row, _)| *row).filter(|row| *row > 4).collect();
        rows.dedup();
        let row = rows.into_iter().find(|row| match tag {
            "extra" => cell(*row, 4) == tag,
            tag => cell(*row, 0) == tag && cell(*row, 3) == item,
        });
        row.unwrap_or_else(|| panic!("a line of {tag} and {item}")) + 1
    }

    /// Fills in the Issue sheet: tag, item, column letter, value.
    pub fn fill(&self, entries: &[(&str, &str, &str, &str)]) {
        let changes: Vec<(String, Put)> = entries
            .iter()
            .map(|(tag, item, column, value)| {
                (format!("{column}{}", self.issue_row(tag, item)), Put::from(*value))
            })
            .collect();
        change(&self.at("kit-plan.xlsx"), "Issue", &changes);
    }
}

/// The lines of a log: the cells below the headings.
pub fn lines(path: &Path) -> Vec<[String; 15]> {
    let cells = cells(path, "Issues");
    assert_eq!(cells[&(4, 0)], "No.");
    assert_eq!(cells[&(4, 14)], "Chain");
    let last = cells.keys().map(|(row, _)| *row).max().unwrap();
    (5..=last)
        .map(|row| {
            let cell = |column: usize| cells.get(&(row, u32::try_from(column).unwrap()));
            std::array::from_fn(|column| cell(column).cloned().unwrap_or_default())
        })
        .collect()
}
