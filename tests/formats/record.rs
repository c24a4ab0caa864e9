//! Holds the table of shown texts against a spreadsheet program:
//!
//!     shown --write FILE.xlsx          the table's formats and values
//!     shown --compare FILE.csv         what the program shows of them, beside the table
//!     shown --record FILE.csv          the same, into the table
//!     shown --probes read|refused FILE.xlsx

#![allow(missing_docs)]

mod book;
#[allow(dead_code)]
mod probes;

use std::error::Error;
use std::fs;

const TABLE: &str = "tests/formats/shown.tsv";

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let table = fs::read_to_string(TABLE)?;
    match args.as_slice() {
        ["--write", file] => fs::write(file, book::table(&table)?)?,
        ["--probes", which, file] => {
            let [read, refused] = probes::sheets();
            fs::write(file, book::stock(if *which == "read" { &read } else { &refused })?)?;
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
