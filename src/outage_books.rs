//! Workbooks and models that an outage file took over, as they were, in a folder of the run.
//!
//! ```
//! use gapwright::outage_books::{self, OutageBooks};
//! use gapwright::outage_file::OutageFile;
//! use gapwright::problem::Problems;
//! # let folder = tempfile::tempdir()?;
//! # let path = folder.path().join("week.outage");
//! # use gapwright::outage::{Booking, Circumstances, FileRole, TakenFile, TookOver};
//! # let bytes = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/samples/tiny/stock.csv"))?;
//! # let pumps = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/samples/tiny/pumps.csv"))?;
//! # let of = |role, name: &str, bytes: &[u8]| TakenFile {
//! #     role, name: name.into(), sha256: gapwright::digest::sha256(bytes),
//! # };
//! # let files = vec![
//! #     of(FileRole::Stock, "stock.csv", &bytes), of(FileRole::Pumps, "pumps.csv", &pumps),
//! # ];
//! # let taken = Booking::TookOver(TookOver { files, ..TookOver::default() });
//! # let drafts = vec![(Circumstances::default(), taken)];
//! # OutageFile::begin(&path)?.book(drafts, &vec![bytes, pumps]).expect("it is booked");
//! let file = OutageFile::open(&path)?;
//! let books = OutageBooks::unpack(&file, file.outage())?;
//! let [_, pumps] = outage_books::read(&books.sources(), &mut Problems::new()).expect("no problems");
//! assert!(pumps.file.ends_with("pumps.csv"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::fs;
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::outage::{FileRole, Outage, TakenFile};
use crate::outage_file::{OutageFile, OutageFileError};
use crate::output::{self, WriteError};
use crate::problem::Problems;
use crate::read::{self, Sources};
use crate::sheet::Book;

/// Files that were taken over, in a folder that is gone when the value is dropped.
#[derive(Debug)]
pub struct OutageBooks {
    folder: tempfile::TempDir,
    stock: PathBuf,
    pumps: PathBuf,
    settings: Vec<(String, String)>,
}

/// Why the files of an outage cannot be unpacked.
#[derive(Debug, Error)]
pub enum UnpackError {
    /// The outage file.
    #[error(transparent)]
    File(OutageFileError),
    /// The folder for it.
    #[error(transparent)]
    Disk(WriteError),
}

impl OutageBooks {
    /// Unpacks the files that an outage, at its end or earlier, took over last.
    ///
    /// # Errors
    /// [`UnpackError`].
    pub fn unpack(file: &OutageFile, of: &Outage) -> Result<OutageBooks, UnpackError> {
        let folder = output::scratch(&[]).map_err(UnpackError::Disk)?;
        let base = folder.path().to_path_buf();
        let failed =
            |path: &Path, error| UnpackError::Disk(WriteError::File { path: path.into(), error });
        for name in ["stock", "pumps", "models"] {
            let path = base.join(name);
            fs::create_dir(&path).map_err(|error| failed(&path, error))?;
        }
        let (mut stock, mut pumps) = (base.join("stock"), base.join("pumps"));
        let taken = of.taken().cloned().unwrap_or_default();
        for TakenFile { role, name, sha256 } in &taken.files {
            // A name with a folder in it would lead elsewhere.
            let name = Path::new(name).file_name().unwrap_or_default();
            let home = match role {
                FileRole::Stock | FileRole::StockFolder => "stock",
                FileRole::Pumps | FileRole::PumpsFolder => "pumps",
                FileRole::Model => "models",
            };
            let path = base.join(home).join(name);
            match role {
                FileRole::Stock => stock = path.clone(),
                FileRole::Pumps => pumps = path.clone(),
                _ => {}
            }
            let bytes = file.bytes(sha256).map_err(UnpackError::File)?;
            fs::write(&path, bytes).map_err(|error| failed(&path, error))?;
        }
        Ok(OutageBooks { folder, stock, pumps, settings: taken.settings })
    }

    /// The files, to be read.
    pub fn sources(&self) -> Sources {
        Sources {
            stock: self.stock.clone(),
            pumps: self.pumps.clone(),
            models: Some(self.folder.path().join("models")),
            settings: self.settings.clone(),
            ..Sources::default()
        }
    }
}

/// Stock and pump workbook of sources; with any problem none.
pub fn read(sources: &Sources, problems: &mut Problems) -> Option<[Book; 2]> {
    let memory = &mut sources.memory.clone();
    let books = [&sources.stock, &sources.pumps]
        .map(|path| read::book(path, memory).map_err(|found| problems.absorb(found)).ok());
    let [Some(stock), Some(pumps)] = books else { return None };
    Some([stock, pumps])
}
