//! The example rows of a blank workbook under other names, as if a shop had typed rows of its own over them.

use std::fs;
use std::io::{Cursor, Read, Write};
use std::path::Path;

/// Renames the example rows of the workbooks in a folder that `gapwright blank` wrote.
pub fn own_rows(folder: impl AsRef<Path>) {
    for name in ["stock.xlsx", "pumps.xlsx"] {
        let path = folder.as_ref().join(name);
        let mut archive = zip::ZipArchive::new(Cursor::new(fs::read(&path).unwrap())).unwrap();
        let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
        for index in 0..archive.len() {
            let mut entry = archive.by_index(index).unwrap();
            let mut content = Vec::new();
            entry.read_to_end(&mut content).unwrap();
            let part = entry.name().unwrap().to_string();
            if part == "xl/sharedStrings.xml" {
                let texts = String::from_utf8(content).unwrap();
                assert!(texts.contains("EXAMPLE-"), "{name} has example rows");
                content = texts.replace("EXAMPLE-", "OWN-").into_bytes();
            }
            writer.start_file(part, zip::write::SimpleFileOptions::default()).unwrap();
            writer.write_all(&content).unwrap();
        }
        fs::write(&path, writer.finish().unwrap().into_inner()).unwrap();
    }
}
