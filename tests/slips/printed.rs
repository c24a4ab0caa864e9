//! The page printed by a browser on both papers, and its codes read back.
//!
//! Without a browser these tests say on standard error that they were skipped; with `GAPWRIGHT_BROWSER_TESTS=must` they
//! fail instead.

use std::collections::BTreeSet;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use gapwright::paper::{self, LabelGrid, PaperParts};
use gapwright::plan::Kit;
use tempfile::TempDir;

use crate::html::{Piece, pieces};
use crate::outages::ALL;
use crate::{page_of, printed};

/// The browser, if there is one; else says that a test is left out.
fn browser(test: &str) -> Option<PathBuf> {
    let named = std::env::var_os("GAPWRIGHT_BROWSER").map(PathBuf::from);
    let names = ["chromium", "chromium-browser", "google-chrome"];
    let found = named.or_else(|| {
        let path = std::env::var_os("PATH")?;
        std::env::split_paths(&path).find_map(|folder| {
            names.iter().map(|name| folder.join(name)).find(|path| path.is_file())
        })
    });
    if found.is_none() {
        let must = std::env::var("GAPWRIGHT_BROWSER_TESTS").is_ok_and(|word| word == "must");
        let why =
            format!("SKIPPED {test}: no browser among {names:?}; GAPWRIGHT_BROWSER names one");
        assert!(!must, "{why}");
        // Not by the macro, whose words a passing test keeps to itself.
        writeln!(std::io::stderr(), "{why}").ok();
    }
    found
}

/// Prints a page on a named paper; the bytes of the PDF. A browser prints on the paper of its printer: here the page
/// asks for one, so its style is no longer that of its policy, which is taken out.
fn print(browser: &Path, html: &str, paper: &str) -> Vec<u8> {
    let folder = TempDir::new().unwrap();
    let (before, rest) = html.split_once("<meta http-equiv").unwrap();
    let (_, after) = rest.split_once('>').unwrap();
    let html = format!("{before}{after}")
        .replace("@page{", &format!("@page{{size:{paper};"))
        .replace("@page labels{", &format!("@page labels{{size:{paper};"))
        .replace("size:landscape", &format!("size:{paper} landscape"));
    let (page, pdf) = (folder.path().join("page.html"), folder.path().join("page.pdf"));
    fs::write(&page, html).unwrap();
    let output = Command::new(browser)
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-dev-shm-usage",
            "--disable-gpu",
            "--no-first-run",
            "--no-pdf-header-footer",
        ])
        .arg("--disable-background-networking")
        .arg(format!("--user-data-dir={}", folder.path().join("profile").display()))
        .arg(format!("--print-to-pdf={}", pdf.display()))
        .arg(format!("file://{}", page.display()))
        .output()
        .unwrap();
    fs::read(&pdf)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&output.stderr)))
}

fn count(pdf: &[u8], of: &str) -> usize {
    String::from_utf8_lossy(pdf).lines().filter(|line| line.trim_end().ends_with(of)).count()
}

/// Width and height of the pages, in whole points.
fn sizes(pdf: &[u8]) -> BTreeSet<[u32; 2]> {
    let text = String::from_utf8_lossy(pdf).into_owned();
    let boxes = text.split("/MediaBox [").skip(1);
    let size = |text: &str| {
        let numbers: Vec<f64> =
            text.split(']').next()?.split_whitespace().filter_map(|n| n.parse().ok()).collect();
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let whole = |number: f64| number.round() as u32;
        Some([whole(*numbers.get(2)?), whole(*numbers.get(3)?)])
    };
    boxes.filter_map(size).collect()
}

#[test]
fn a_slip_is_a_page_on_a4_and_on_letter() {
    let Some(browser) = browser("a_slip_is_a_page_on_a4_and_on_letter") else { return };
    let slips = PaperParts { slips: true, large_drawings: false, labels: None, picking: false };
    // The bench has every model that is built in, with all rows that a slip can have.
    let names = ["sample", "bench", "bench, expanded"];
    let outages: Vec<_> = ALL.iter().filter(|outage| names.contains(&outage.name)).collect();
    assert_eq!(outages.len(), names.len());
    for outage in outages {
        let pumps = outage.verified.job().pumps.len();
        let html = paper::page(&printed(&outage.verified), &slips).html;
        for (paper, size) in [("A4", [595, 842]), ("letter", [612, 792])] {
            let pdf = print(&browser, &html, paper);
            assert_eq!(sizes(&pdf), BTreeSet::from([size]), "{}, {paper}", outage.name);
            let pages = count(&pdf, "/Type /Page");
            let fonts = ["Liberation", "Arial", "Helvetica"];
            let usual = fonts.iter().any(|font| String::from_utf8_lossy(&pdf).contains(font));
            // With another font, whose letters are wider, a long slip may run on; its head then stands on both pages.
            match usual {
                true => assert_eq!(pages, pumps, "{}, {paper}", outage.name),
                false => assert!(pages >= pumps, "{}, {paper}: {pages}", outage.name),
            }
        }
    }
}

/// A drawing page follows the slip of each pump that has a kit and a drawing.
#[test]
fn a_large_drawing_is_a_page_on_its_side() {
    let Some(browser) = browser("a_large_drawing_is_a_page_on_its_side") else { return };
    let bench = ALL.iter().find(|outage| outage.name == "bench").unwrap();
    let slips = PaperParts { slips: true, large_drawings: true, labels: None, picking: false };
    let html = paper::page(&printed(&bench.verified), &slips).html;
    let sheets = html.matches("class=\"sheet").count();
    assert!(sheets > bench.verified.job().pumps.len() + 10, "{sheets}");
    for paper in ["A4", "letter"] {
        let pdf = print(&browser, &html, paper);
        assert_eq!(count(&pdf, "/Type /Page"), sheets, "{paper}");
        assert_eq!(sizes(&pdf).len(), 2, "{paper}: upright and on its side");
    }
}

#[test]
fn labels_keep_to_their_sheets_and_the_list_lies_on_its_side() {
    let test = "labels_keep_to_their_sheets_and_the_list_lies_on_its_side";
    let Some(browser) = browser(test) else { return };
    let verified = &ALL[0].verified;
    let grid = LabelGrid { count: [3, 8], size: [70.0, 37.0], margin: [0.0, 0.5], gap: [0.0; 2] };
    let labels =
        PaperParts { slips: false, large_drawings: false, labels: Some(grid), picking: false };
    let page = paper::page(&printed(verified), &labels);
    assert_eq!((page.slips, page.labels), (0, 27));
    let pdf = print(&browser, &page.html, "A4");
    // 24 on the first sheet, 3 on the second.
    assert_eq!(count(&pdf, "/Type /Page"), 2);
    let picking = PaperParts { slips: false, large_drawings: false, labels: None, picking: true };
    let html = paper::page(&printed(verified), &picking).html;
    let pdf = print(&browser, &html, "A4");
    assert_eq!(sizes(&pdf), BTreeSet::from([[842, 595]]));
}

/// Every code of the page, as a scanner reads it from its squares.
#[test]
fn every_code_is_read_back_as_its_words() {
    let verified = &ALL[0].verified;
    let id = verified.planned().id();
    let mut expected = BTreeSet::new();
    let kits = verified.job().pumps.iter().zip(&verified.plan().kits);
    for (pump, kit) in kits {
        if matches!(kit, Kit::Served(_)) {
            expected.insert(paper::code(&id, &pump.tag));
        }
        expected.insert(format!("slip of {}", pump.tag));
    }
    let mut read = BTreeSet::new();
    let mut in_code = false;
    for piece in pieces(&page_of(verified).html) {
        let Piece::Open(name, attributes) = piece else { continue };
        // Drawings have paths of their own.
        if name == "svg" {
            in_code = attributes.iter().any(|(name, value)| name == "class" && value == "qr");
        }
        if !in_code {
            continue;
        }
        let path = attributes.iter().find(|(name, _)| name == "d");
        let Some((_, path)) = path.filter(|_| name == "path") else { continue };
        let text = scanned(path);
        let code = paper::ReadCode::parse(&text).unwrap();
        assert_eq!(code.plan, id);
        match code.kit {
            Some(kit) => {
                assert_eq!(text, paper::slip_code(&id, kit, &code.tag));
                read.insert(format!("slip of {}", code.tag));
            }
            None => {
                read.insert(text);
            }
        }
    }
    assert_eq!(read, expected);
}

/// The text of a code, from its squares.
fn scanned(path: &str) -> String {
    const LARGE: usize = 4;
    let squares: BTreeSet<(usize, usize)> = path
        .split('M')
        .skip(1)
        .map(|square| {
            let at = square.split('h').next().unwrap();
            let (x, y) = at.split_once(' ').unwrap();
            (x.parse().unwrap(), y.parse().unwrap())
        })
        .collect();
    let side = (squares.iter().map(|(x, _)| x + 5).max().unwrap()) * LARGE;
    let mut picture = rqrr::PreparedImage::prepare_from_greyscale(side, side, |x, y| {
        if squares.contains(&(x / LARGE, y / LARGE)) { 0 } else { 255 }
    });
    let grids = picture.detect_grids();
    assert_eq!(grids.len(), 1);
    grids[0].decode().unwrap().1
}
