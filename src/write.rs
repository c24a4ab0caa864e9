//! Writers: a verified plan out, as a workbook or as JSON; whole or not at all.

pub mod analysis;
mod basis;
pub mod blank;
pub mod json;
mod kits;
mod models;
mod monte_carlo;
mod picking;
mod reorder;
mod short;
mod stack_up;
mod stock_after;
mod style;
mod summary;
mod sweep;

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Workbook, XlsxError};
use thiserror::Error;

use crate::plan::Kit;
use crate::verify::Verified;
use style::Styles;

/// Why nothing was written.
#[derive(Debug, Error)]
pub enum WriteError {
    /// The file is there already.
    #[error("{0} is there already; give another name with --out, or --force to replace it")]
    Exists(PathBuf),
    /// The folder or the file cannot be written.
    #[error("{path} cannot be written: {error}")]
    File {
        /// The file.
        path: PathBuf,
        /// What the system says.
        error: std::io::Error,
    },
    /// Some files were written, then one could not be.
    #[error(
        "{path} cannot be written: {error}; written before it: {}",
        shown(written)
    )]
    Partly {
        /// The files that were written.
        written: Vec<PathBuf>,
        /// The file that was not.
        path: PathBuf,
        /// What the system says.
        error: std::io::Error,
    },
    /// The workbook could not be put together.
    #[error("the workbook could not be put together: {0}")]
    Workbook(#[from] XlsxError),
    /// The date is none.
    #[error("`{0}` is not a date such as 2027-03-15")]
    Date(String),
}

fn shown(paths: &[PathBuf]) -> String {
    let shown: Vec<String> = paths
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    shown.join(", ")
}

/// Whether a text is a date such as `2027-03-15`.
///
/// # Errors
/// [`WriteError::Date`].
pub fn check_date(date: &str) -> Result<(), WriteError> {
    let read = ExcelDateTime::parse_from_str(date)
        .ok()
        .filter(|_| date.len() == 10);
    read.map(drop).ok_or_else(|| WriteError::Date(date.into()))
}

/// The plan as a workbook's bytes; `date` (`YYYY-MM-DD`) is printed on it, so that the same
/// inputs and date give the same bytes.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(verified: &Verified, date: &str) -> Result<Vec<u8>, WriteError> {
    let mut workbook = start("Outage kit plan", date)?;
    let styles = Styles::new();
    summary::write(workbook.add_worksheet(), verified, date, &styles)?;
    picking::write(workbook.add_worksheet(), verified, date, &styles)?;
    kits::write(workbook.add_worksheet(), verified, date, &styles)?;
    let subjects = subjects(verified);
    let policy = &verified.job().policy;
    stack_up::add(&mut workbook, &subjects, policy, date, &styles)?;
    short::write(workbook.add_worksheet(), verified, date, &styles)?;
    reorder::write(workbook.add_worksheet(), verified, date, &styles)?;
    stock_after::stock(workbook.add_worksheet(), verified, date, &styles)?;
    if !verified.job().sheets_sheet.sheet.rows.is_empty() {
        stock_after::sheets(workbook.add_worksheet(), verified, date, &styles)?;
    }
    if !verified.job().fit_sheet.rows.is_empty() {
        stock_after::fit(workbook.add_worksheet(), verified, date, &styles)?;
    }
    models::write(workbook.add_worksheet(), verified.job(), date, &styles)?;
    basis::write(workbook.add_worksheet(), verified, date, &styles)?;
    Ok(workbook.save_to_buffer()?)
}

/// A workbook with its title and date.
fn start(title: &str, date: &str) -> Result<Workbook, WriteError> {
    let mut workbook = Workbook::new();
    let stamp = ExcelDateTime::parse_from_str(date).map_err(|_| WriteError::Date(date.into()))?;
    workbook.set_properties(
        &DocProperties::new()
            .set_title(title)
            .set_creation_datetime(&stamp),
    );
    Ok(workbook)
}

/// The kitted pumps, as their stack-up is written.
fn subjects(verified: &Verified) -> Vec<stack_up::Subject<'_>> {
    let (job, plan) = (verified.job(), verified.plan());
    let kits = job.pumps.iter().zip(&plan.kits);
    kits.filter_map(|(pump, kit)| match kit {
        Kit::Served(packs) => Some(stack_up::Subject::of(job, pump, packs)),
        Kit::Short(_) => None,
    })
    .collect()
}

/// Refuses early when a file is there already and may not be replaced.
///
/// # Errors
/// [`WriteError::Exists`].
pub fn refuse_existing(path: &Path, force: bool) -> Result<(), WriteError> {
    if path.exists() && !force {
        return Err(WriteError::Exists(path.to_path_buf()));
    }
    Ok(())
}

/// Writes files together: each first whole to a temporary file beside its place, then all are
/// put in their places, so that a run that dies leaves the old file or the new one.
///
/// # Errors
/// [`WriteError::Exists`] without `force`, [`WriteError::File`].
pub fn files(files: &[(&Path, &[u8])], force: bool) -> Result<(), WriteError> {
    let mut ready = Vec::new();
    for &(path, bytes) in files {
        refuse_existing(path, force)?;
        let trouble = |error| WriteError::File {
            path: path.to_path_buf(),
            error,
        };
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let mut temporary = tempfile::Builder::new()
            .prefix(".gapwright-")
            .permissions_like(path)
            .tempfile_in(folder)
            .map_err(trouble)?;
        temporary.write_all(bytes).map_err(trouble)?;
        temporary.as_file().sync_all().map_err(trouble)?;
        ready.push((path, temporary));
    }
    let mut written: Vec<PathBuf> = Vec::new();
    for (path, temporary) in ready {
        let persisted = if force {
            temporary.persist(path).map_err(|e| e.error)
        } else {
            temporary.persist_noclobber(path).map_err(|e| e.error)
        };
        match persisted {
            Ok(_) => written.push(path.to_path_buf()),
            Err(error) if written.is_empty() => {
                return Err(WriteError::File {
                    path: path.to_path_buf(),
                    error,
                });
            }
            Err(error) => {
                return Err(WriteError::Partly {
                    written,
                    path: path.to_path_buf(),
                    error,
                });
            }
        }
    }
    Ok(())
}

/// Temporary files are private by default; a plan is for the whole shop.
trait PermissionsLike {
    fn permissions_like(&mut self, path: &Path) -> &mut Self;
}

impl PermissionsLike for tempfile::Builder<'_, '_> {
    #[cfg(unix)]
    fn permissions_like(&mut self, path: &Path) -> &mut Self {
        use std::os::unix::fs::PermissionsExt;
        let mode = fs::metadata(path).map_or(0o644, |m| m.permissions().mode());
        self.permissions(fs::Permissions::from_mode(mode))
    }

    #[cfg(not(unix))]
    fn permissions_like(&mut self, _: &Path) -> &mut Self {
        self
    }
}
