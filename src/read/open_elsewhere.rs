//! Workbooks that a spreadsheet program has open: what is not saved there is not read here.

use std::path::Path;

use super::book::csv_files;
use crate::problem::{Place, Problem};

/// Warns of each workbook, or table in a folder, that has the lock file of a spreadsheet program beside it.
pub fn open_elsewhere(path: &Path) -> Vec<Problem> {
    let files = match path.is_dir() {
        true => csv_files(path).unwrap_or_default(),
        false => vec![path.to_path_buf()],
    };
    files.iter().filter_map(|file| Some(warning(file, &lock_beside(file)?))).collect()
}

/// Name of the lock file beside a file: `~$name` of one family of programs, `.~lock.name#` of another.
fn lock_beside(file: &Path) -> Option<String> {
    let name = file.file_name()?.to_string_lossy();
    let locks = [format!("~${name}"), format!(".~lock.{name}#")];
    locks.into_iter().find(|lock| file.with_file_name(lock).exists())
}

fn warning(file: &Path, lock: &str) -> Problem {
    Problem::new(
        Place::file(&file.display().to_string()),
        format!(
            "a workbook that is open in a spreadsheet program, and perhaps not saved: `{lock}` lies beside it"
        ),
        "a workbook that is saved and closed",
        "save and close it, then run this again: what is not saved is not read. If nobody has it open, remove that file",
    )
}
