//! Holds the table of shown texts against a spreadsheet program:
//!
//!     shown --write FILE.xlsx          the table's formats and values
//!     shown --compare FILE.csv         what the program shows of them, beside the table
//!     shown --record FILE.csv          the same, into the table
//!     shown --probes read|refused|unseen FILE.xlsx
//!     shown --alike RECORDED FRESH     the probes as recorded, and as the program makes them today
//!
//! The recorded probes-*.xls and probes-*.ods are made by `soffice --convert-to xls` (and `ods`) from `--probes`.

#![allow(missing_docs)]

mod book;
#[allow(dead_code)]
mod probes;

use std::error::Error;
use std::fs;
use std::path::Path;

use gapwright::read::Memory;
use gapwright::sheet::Sheet;

const TABLE: &str = "tests/formats/shown.tsv";

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let table = fs::read_to_string(TABLE)?;
    match args.as_slice() {
        ["--write", file] => fs::write(file, book::table(&table)?)?,
        ["--probes", which, file] => {
            let [read, refused] = probes::sheets();
            let bytes = match *which {
                "read" => book::stock(&read)?,
                "refused" => book::stock(&refused)?,
                _ => book::unseen()?,
            };
            fs::write(file, bytes)?;
        }
        ["--alike", recorded, fresh] => {
            let [old, new] = [recorded, fresh].map(|file| {
                let book = gapwright::read::book(Path::new(file), &mut Memory::default());
                book.map_err(|problems| format!("{:#?}", problems.sorted()))
            });
            let (old, new) = (old?.sheets, new?.sheets);
            let alike = old.len() == new.len()
                && old.iter().zip(&new).all(|(old, new)| {
                    **old == Sheet { file: old.file.clone(), ..Sheet::clone(new) }
                });
            if !alike {
                return Err(format!("{recorded} reads as {old:#?}\n{fresh} as {new:#?}").into());
            }
            let cells = new.iter().flat_map(|sheet| &sheet.rows).map(|row| row.cells.len());
            println!("{} cells read as in {recorded}", cells.sum::<usize>());
        }
        [what, file] => {
            let mut reader =
                csv::ReaderBuilder::new().has_headers(false).flexible(true).from_path(file)?;
            let shown: Vec<String> = reader
                .records()
                .map(|record| record.map(|record| record.get(1).unwrap_or("").to_string()))
                .collect::<Result<_, _>>()?;
            let lines: Vec<String> = table
                .lines()
                .zip(&shown)
                .map(|(line, shown)| {
                    let parts: Vec<&str> = line.split('\t').take(2).collect();
                    format!("{}\t{shown}\n", parts.join("\t"))
                })
                .collect();
            if shown.len() != table.lines().count() {
                return Err(format!("{} rows in {file}", shown.len()).into());
            }
            if *what == "--record" {
                fs::write(TABLE, lines.concat())?;
                return Ok(());
            }
            let other = table.split_inclusive('\n').zip(&lines).filter(|(old, new)| old != new);
            let other: Vec<_> = other.map(|(old, new)| format!("- {old}+ {new}")).collect();
            if !other.is_empty() {
                return Err(
                    format!("{} cells show otherwise:\n{}", other.len(), other.concat()).into()
                );
            }
            println!("{} cells show what the table says", lines.len());
        }
        _ => return Err("see the head of the file".into()),
    }
    Ok(())
}
