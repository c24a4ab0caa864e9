//! Files put in their places: whole or not at all.
//!
//! Each file is written to a temporary one beside its place, synced, and then renamed, so that a run
//! that dies at any point leaves the old file or the new one. Several files are all written before the
//! first is renamed: what the disk or a folder has against one of them is known before any is changed.
//! A run that is killed between two renames leaves the first file new and the second old, each whole.
//!
//! # Decisions
//!
//! - A write-protected file is not replaced, even by `--force`: someone meant it to stay. A symbolic link is
//!   followed: it points where the shop put it.
//! - Leftovers of killed runs go after an hour, by their name and age, not by the number of a process: the folder
//!   may be shared between machines.

mod keep;

use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use rust_xlsxwriter::XlsxError;
use tempfile::NamedTempFile;
use thiserror::Error;

use crate::problem::{Place, Problem};

/// Why nothing was written.
#[derive(Debug, Error)]
pub enum WriteError {
    /// The file is there already.
    #[error("{0} is there already; give another name, or --force to replace it")]
    Exists(PathBuf),
    /// Something is there that cannot be replaced by a file, or is protected.
    #[error("{path} cannot be written: it is {what}")]
    Unfit {
        /// The file that was to be written.
        path: PathBuf,
        /// The kind of thing that is there.
        what: &'static str,
        /// How to fix it.
        fix: &'static str,
    },
    /// The folder is not there.
    #[error("{path} cannot be written: there is no folder {folder}")]
    NoFolder {
        /// The file.
        path: PathBuf,
        /// The folder that it should lie in.
        folder: PathBuf,
    },
    /// The folder or the file cannot be written.
    #[error("{path} cannot be written: {error}")]
    File {
        /// The file.
        path: PathBuf,
        /// The system's own words.
        error: std::io::Error,
    },
    /// The file that is there could not be kept under another name, and so was not replaced.
    #[error("{path} is not replaced: what people typed into it cannot be kept: {error}")]
    NotKept {
        /// The file.
        path: PathBuf,
        /// The system's own words.
        error: std::io::Error,
    },
    /// Some files were written, then one could not be.
    #[error("{path} cannot be written: {error}; others were written before it")]
    Partly {
        /// The files that were written.
        written: Vec<PathBuf>,
        /// The file that was not.
        path: PathBuf,
        /// The system's own words.
        error: std::io::Error,
    },
    /// The workbook could not be put together.
    #[error("the workbook could not be put together: {0}")]
    Workbook(#[from] XlsxError),
    /// The temporary file of a long sheet cannot be written.
    #[error("a temporary file cannot be written: {0}")]
    Temporary(String),
    /// The date is none.
    #[error("`{0}` is not a date such as 2027-03-15")]
    Date(String),
}

impl WriteError {
    /// As a problem with its place and fix.
    pub fn problem(&self) -> Problem {
        let at = |path: &Path, found: String, expected: &str, fix: &str| {
            Problem::new(Place::file(&path.display().to_string()), found, expected, fix)
        };
        match self {
            WriteError::Exists(path) => at(
                path,
                "a file that is there already".into(),
                "a name that is free",
                "give another name, or --force to replace it",
            ),
            WriteError::Unfit { path, what, fix } => at(
                path,
                format!("{what}, which cannot be written"),
                "a plain file, or a name that is free",
                fix,
            ),
            WriteError::NoFolder { path, folder } => at(
                path,
                format!("no folder {} to write it into", folder.display()),
                "a folder that is there",
                "make the folder, or correct the name",
            ),
            WriteError::File { path, error } | WriteError::Partly { path, error, .. } => at(
                path,
                format!("a file that cannot be written ({error})"),
                "a folder that may be written into, with room for the file",
                fix(error.kind()),
            ),
            WriteError::NotKept { path, error } => at(
                path,
                format!(
                    "a file with entries of people, which cannot be kept under another name ({error})"
                ),
                "a folder in which a copy of it can be kept",
                "give another name for the new file",
            ),
            WriteError::Workbook(error) => at(
                Path::new("gapwright"),
                format!("a workbook that could not be put together ({error})"),
                "a workbook",
                "this is a defect of gapwright: please report it with both workbooks",
            ),
            WriteError::Temporary(error) => at(
                &std::env::temp_dir(),
                format!("a temporary file that cannot be written ({error})"),
                "a folder for temporary files, with room for the long sheets",
                "make room there, or name another folder for temporary files (TMPDIR, on Windows TEMP)",
            ),
            WriteError::Date(date) => at(
                Path::new("command line"),
                format!("--date {date}"),
                "a date such as 2027-03-15",
                "correct the date",
            ),
        }
    }

    /// The files that were written all the same.
    pub fn written_before(&self) -> Vec<PathBuf> {
        match self {
            WriteError::Partly { written, .. } => written.clone(),
            _ => Vec::new(),
        }
    }
}

fn fix(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
            "make room there, or give a name on another disk"
        }
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
            "give a name in a folder that you may write into"
        }
        _ => "check the name, or give another one",
    }
}

/// The files that a run reads. What it writes is held against all of them: only [`Inputs::output`] makes an
/// [`Output`], and nothing is written but to one.
#[derive(Debug, Clone, Default)]
pub struct Inputs(Vec<PathBuf>);

/// A place that may be written: none of the inputs of the run, under whatever name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Output {
    path: PathBuf,
    /// Whether it may replace a file that is there.
    replace: bool,
    /// Whether a file that it replaces is kept under another name.
    keep: bool,
}

impl Inputs {
    /// The inputs of a run: files, and folders whose files are read.
    pub fn of(paths: impl IntoIterator<Item = impl Into<PathBuf>>) -> Inputs {
        Inputs(paths.into_iter().map(Into::into).collect())
    }

    /// One more.
    pub fn add(&mut self, path: impl Into<PathBuf>) {
        self.0.push(path.into());
    }

    /// A place to write to; with `replace` a file that is there is replaced.
    ///
    /// # Errors
    /// The input that it is: by the same name, by another one, through links, or as a hard link.
    pub fn output(&self, path: &Path, replace: bool) -> Result<Output, PathBuf> {
        let mut files = self.0.iter().flat_map(|input| files_of(input));
        match files.find(|file| is_same_file(file, path)) {
            Some(input) => Err(input),
            None => Ok(Output { path: path.to_path_buf(), replace, keep: false }),
        }
    }
}

impl Output {
    /// Its path, as it was given.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// This place, with a file that it replaces kept under another name.
    #[must_use]
    pub fn keeping(self) -> Output {
        Output { keep: true, ..self }
    }

    /// Whether it would replace a file that is there.
    pub fn replaces(&self) -> bool {
        self.replace && self.path.exists()
    }

    /// Whether another one is the same place.
    pub fn is(&self, other: &Output) -> bool {
        is_same_file(&self.path, &other.path)
    }

    /// Refuses what could not be written anyway, to ask before the work and not after it: a file that is
    /// there, unless it may be replaced; a folder or a device; a file that is write-protected,
    /// even if it may be replaced, since someone meant it to stay; a folder that is not there.
    ///
    /// # Errors
    /// [`WriteError::Exists`], [`WriteError::Unfit`], [`WriteError::NoFolder`], [`WriteError::File`].
    pub fn ready(&self) -> Result<(), WriteError> {
        target(&self.path, self.replace).map(drop)
    }
}

/// The files that are read of an input: of a folder those that a reader takes from one, tables, models and drawings.
fn files_of(input: &Path) -> Vec<PathBuf> {
    const READ: [&str; 5] = ["csv", "toml", "png", "jpg", "jpeg"];
    if !input.is_dir() {
        return vec![input.to_path_buf()];
    }
    let entries = fs::read_dir(input).into_iter().flatten().flatten();
    let paths = entries.map(|entry| entry.path());
    let read = paths.filter(|path| {
        let end = path.extension().unwrap_or_default().to_ascii_lowercase();
        READ.iter().any(|known| end == *known)
    });
    read.collect()
}

/// Whether two paths name the same file, there or not: links are followed, and of files that are there the system is
/// asked, which knows hard links.
pub fn is_same_file(a: &Path, b: &Path) -> bool {
    // Only plain files are opened: a pipe would wait for its other end.
    let plain = || a.is_file() && b.is_file();
    real(a) == real(b) || plain() && same_file::is_same_file(a, b).unwrap_or(false)
}

/// A path from the root on, without links; of what is not there as far as it is.
fn real(path: &Path) -> PathBuf {
    let (path, _) = followed(path);
    if let Ok(whole) = path.canonicalize() {
        return whole;
    }
    match (folder_of(&path).canonicalize(), path.file_name()) {
        (Ok(folder), Some(name)) => folder.join(name),
        _ => std::path::absolute(&path).unwrap_or(path),
    }
}

/// Where the symbolic links at a path lead, and whether they come to an end.
fn followed(path: &Path) -> (PathBuf, bool) {
    const MOST_LINKS: usize = 40;
    let mut real = path.to_path_buf();
    for _ in 0..=MOST_LINKS {
        match fs::read_link(&real) {
            Ok(to) => real = folder_of(&real).join(to),
            Err(_) => return (real, true),
        }
    }
    (real, false)
}

/// Where a file really goes: a symbolic link is followed, so that it still points where it did.
fn target(path: &Path, force: bool) -> Result<PathBuf, WriteError> {
    let unfit = |what, fix| WriteError::Unfit { path: path.to_path_buf(), what, fix };
    let (real, ends) = followed(path);
    if !ends {
        return Err(unfit("a link that leads back to itself", "remove the link"));
    }
    match fs::metadata(&real) {
        Ok(there) if there.is_dir() => Err(unfit("a folder", "give the name of a file in it")),
        Ok(there) if !there.is_file() => {
            Err(unfit("a device or a pipe", "give the name of a file"))
        }
        Ok(_) if !force => Err(WriteError::Exists(path.to_path_buf())),
        // Renaming over it asks nobody, so whether it may be written is asked here, changing nothing.
        Ok(there) if there.permissions().readonly() || protected(&real) => Err(unfit(
            "a file that is write-protected",
            "take the protection off, or give another name",
        )),
        Ok(_) => Ok(real),
        Err(error) if error.kind() == ErrorKind::NotFound => {
            let folder = folder_of(&real);
            if folder.is_dir() {
                return Ok(real);
            }
            Err(WriteError::NoFolder { path: path.to_path_buf(), folder: folder.to_path_buf() })
        }
        Err(error) => Err(WriteError::File { path: path.to_path_buf(), error }),
    }
}

/// Whether this user may not write to a file.
fn protected(path: &Path) -> bool {
    let opened = fs::OpenOptions::new().append(true).open(path);
    opened.is_err_and(|error| error.kind() == ErrorKind::PermissionDenied)
}

/// The folder that a file lies in.
fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// A file that was kept: its name before, and the name that it has now.
pub type Kept = (PathBuf, PathBuf);

/// A file that is written and not in its place yet.
struct Ready<'a> {
    output: &'a Output,
    real: PathBuf,
    temporary: NamedTempFile,
}

/// Files that are written whole beside their places, and on the disk: all that is left is to rename them.
pub struct Staged<'a>(Vec<Ready<'a>>);

/// Writes files together, renamed in the order in which they are given; see the top of this module for what is
/// guaranteed. What an output keeps is there under its other name before the first file is renamed.
///
/// # Errors
/// Those of [`stage`] and [`Staged::place`].
pub fn place(files: &[(&Output, &[u8])]) -> Result<Vec<Kept>, WriteError> {
    stage(files)?.place()
}

/// Writes files beside their places; what the disk or a folder has against one of them is known here.
///
/// # Errors
/// Those of [`Output::ready`], and [`WriteError::File`]; nothing was changed.
pub fn stage<'a>(files: &[(&'a Output, &[u8])]) -> Result<Staged<'a>, WriteError> {
    let mut ready = Vec::new();
    for &(output, bytes) in files {
        let real = target(&output.path, output.replace)?;
        let temporary = temporary(&real, bytes)
            .map_err(|error| WriteError::File { path: output.path.clone(), error })?;
        ready.push(Ready { output, real, temporary });
    }
    Ok(Staged(ready))
}

impl Staged<'_> {
    /// Puts the files in their places.
    ///
    /// # Errors
    /// [`WriteError::File`] and [`WriteError::NotKept`] if nothing was changed, [`WriteError::Partly`] if some files were
    /// put in their places before one could not be.
    pub fn place(self) -> Result<Vec<Kept>, WriteError> {
        put(self.0)
    }
}

fn put(ready: Vec<Ready<'_>>) -> Result<Vec<Kept>, WriteError> {
    let mut kept = Vec::new();
    for Ready { output, real, .. } in ready.iter().filter(|one| one.output.keep) {
        match keep::keep(real) {
            Ok(name) => kept.push((output.path.clone(), name)),
            Err(error) => {
                drop_kept(&kept);
                return Err(WriteError::NotKept { path: output.path.clone(), error });
            }
        }
    }
    let mut written: Vec<PathBuf> = Vec::new();
    let mut folders: Vec<PathBuf> = Vec::new();
    for Ready { output: Output { path, replace, .. }, real, temporary } in ready {
        let put = match replace {
            true => temporary.persist(&real),
            false => temporary.persist_noclobber(&real),
        };
        if let Err(error) = put {
            sync_folders(folders);
            let (path, error) = (path.clone(), error.error);
            if !written.is_empty() {
                return Err(WriteError::Partly { written, path, error });
            }
            drop_kept(&kept);
            return Err(WriteError::File { path, error });
        }
        written.push(path.clone());
        folders.push(folder_of(&real).to_path_buf());
    }
    // After the last rename, so that there is as little as can be between the first and the last.
    sync_folders(folders);
    Ok(kept)
}

/// Takes the second names away again of files that were not replaced.
fn drop_kept(kept: &[Kept]) {
    kept.iter().for_each(|(_, name)| drop(fs::remove_file(name)));
}

/// Makes the renames in these folders last.
fn sync_folders(mut folders: Vec<PathBuf>) {
    folders.sort();
    folders.dedup();
    folders.iter().for_each(|folder| sync_folder(folder));
}

/// The beginning of the names of temporary files; six letters and digits follow.
const PREFIX: &str = ".gapwright-writing-";
const LETTERS: usize = 6;

/// A temporary file beside its place, with these bytes, on the disk.
fn temporary(real: &Path, bytes: &[u8]) -> std::io::Result<NamedTempFile> {
    let folder = folder_of(real);
    remove_leftovers(folder);
    let mut temporary = tempfile::Builder::new()
        .prefix(PREFIX)
        .rand_bytes(LETTERS)
        .for_everybody()
        .tempfile_in(folder)
        .map_err(without_name)?;
    // What is replaced keeps its permissions, whatever is usual for new files.
    if let Ok(there) = fs::metadata(real) {
        temporary.as_file().set_permissions(there.permissions())?;
    }
    temporary.as_file_mut().write_all(bytes)?;
    temporary.as_file().sync_all()?;
    Ok(temporary)
}

/// An error without the name of the temporary file, which would only confuse.
fn without_name(error: std::io::Error) -> std::io::Error {
    match error.kind() {
        ErrorKind::PermissionDenied
        | ErrorKind::ReadOnlyFilesystem
        | ErrorKind::StorageFull
        | ErrorKind::QuotaExceeded
        | ErrorKind::NotFound => error.kind().into(),
        _ => error,
    }
}

/// Removes what runs that were killed left in a folder: temporary files that nobody has written to
/// for an hour. A run writes its file in a moment; should it have been held up for that long, it
/// finds its file gone, changes nothing and says so.
fn remove_leftovers(folder: &Path) {
    const OLD: Duration = Duration::from_secs(3600);
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let ours = name.to_str().and_then(|name| name.strip_prefix(PREFIX));
        let ours = ours.is_some_and(|rest| {
            rest.len() == LETTERS && rest.chars().all(|c| c.is_ascii_alphanumeric())
        });
        let old = || {
            let metadata = entry.metadata().ok()?;
            let age = SystemTime::now().duration_since(metadata.modified().ok()?);
            Some(metadata.is_file() && age.is_ok_and(|age| age > OLD))
        };
        if ours && old().unwrap_or(false) {
            // Whoever may not remove it may still be able to write beside it.
            fs::remove_file(entry.path()).ok();
        }
    }
}

/// Makes a rename last through a loss of power. Some file systems cannot; the file is whole either way.
#[cfg(unix)]
fn sync_folder(folder: &Path) {
    fs::File::open(folder).and_then(|folder| folder.sync_all()).ok();
}

#[cfg(not(unix))]
fn sync_folder(_: &Path) {}

/// Temporary files are private by default; a plan is for the whole shop, as far as new files are.
trait ForEverybody {
    fn for_everybody(&mut self) -> &mut Self;
}

impl ForEverybody for tempfile::Builder<'_, '_> {
    #[cfg(unix)]
    fn for_everybody(&mut self) -> &mut Self {
        use std::os::unix::fs::PermissionsExt;
        // Less what the user's mask takes away.
        self.permissions(fs::Permissions::from_mode(0o666))
    }

    #[cfg(not(unix))]
    fn for_everybody(&mut self) -> &mut Self {
        self
    }
}

/// Files in a folder of their own, which is gone when the value is dropped.
///
/// # Errors
/// [`WriteError::File`]: what the system has against it.
pub fn scratch(files: &[(&str, &[u8])]) -> Result<tempfile::TempDir, WriteError> {
    let failed = |path: &Path, error| WriteError::File { path: path.to_path_buf(), error };
    let folder = tempfile::tempdir();
    let folder = folder.map_err(|error| failed(&std::env::temp_dir(), error))?;
    for (name, bytes) in files {
        let path = folder.path().join(name);
        fs::write(&path, bytes).map_err(|error| failed(&path, error))?;
    }
    Ok(folder)
}
