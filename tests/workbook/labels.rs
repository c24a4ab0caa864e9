//! Bag labels: every code read back by an independent decoder, and every label's words.

use std::collections::BTreeSet;
use std::io::Read;

use tempfile::TempDir;

use super::*;

/// Texts of a workbook's codes, as a scanner reads them.
fn scanned(path: &Path) -> BTreeSet<String> {
    let mut zip = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let names: Vec<String> = zip.file_names().map(|name| name.unwrap().into_owned()).collect();
    let mut said = BTreeSet::new();
    for name in names.iter().filter(|name| name.starts_with("xl/media/")) {
        let mut bytes = Vec::new();
        zip.by_name(name).unwrap().read_to_end(&mut bytes).unwrap();
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        // A byte a pixel.
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut pixels).unwrap();
        // The drawings of the models are coloured.
        if info.color_type != png::ColorType::Grayscale {
            continue;
        }
        let (width, height) = (info.width as usize, info.height as usize);
        let mut picture = rqrr::PreparedImage::prepare_from_greyscale(width, height, |x, y| {
            pixels[y * width + x]
        });
        let grids = picture.detect_grids();
        assert_eq!(grids.len(), 1, "{name}");
        let (_, text) = grids[0].decode().unwrap();
        said.insert(text);
    }
    said
}

#[test]
fn every_label_has_a_code_that_says_the_plan_and_the_tag() {
    let folder = TempDir::new().unwrap();
    let verified = sample();
    let path = write_to(&folder, &verified);
    let id = verified.planned().id();
    let kits = verified.job().pumps.iter().zip(&verified.plan().kits);
    let kitted = kits.filter(|(_, kit)| matches!(kit, Kit::Served(_)));
    let expected: BTreeSet<String> =
        kitted.map(|(pump, _)| format!("gapwright:1 {id} {}", pump.tag)).collect();
    assert_eq!(expected.len(), 27);
    assert_eq!(scanned(&path), expected);
    let mut book: Xlsx<_> = open_workbook(&path).unwrap();
    let labels = texts(&mut book, "Labels");
    let slips = texts(&mut book, "Kits");
    for pump in &verified.job().pumps {
        let at = labels.iter().position(|text| *text == pump.tag);
        let Some(at) = at else {
            let short = format!("NOT FIT TO ASSEMBLE, no bag: {}.", pump.tag);
            assert!(labels.contains(&short));
            continue;
        };
        // The number on the slip. Lines go across three labels.
        let slip = format!(": pump {}", pump.tag);
        let slip = slips.iter().find(|text| text.ends_with(&slip)).unwrap();
        let (kit, _) = slip.split_once(':').unwrap();
        assert!(labels[at..].iter().take(9).any(|text| text == kit), "{kit} of {}", pump.tag);
    }
    // Pieces by kind add up to the issued number.
    let counted: u32 =
        labels.iter().filter_map(|text| text.split_once(" pieces: ")?.0.parse::<u32>().ok()).sum();
    assert_eq!(counted, verified.issued().iter().sum::<u32>());
}

/// Tags as shops have them, and as no shop should.
#[test]
fn odd_tags_come_through_the_scanner_as_they_are() {
    let folder = TempDir::new().unwrap();
    let long = "long-".repeat(20);
    let tags = ["P-1 \u{2044} \u{6c34}\u{30dd}\u{30f3}\u{30d7}", "=1+1", "Ma\u{df} 7\u{b0}", &long];
    let mut pumps = String::from(
        "Tag,Model,Bearing shims fit,Cover gasket fit,Bare clearance (in),Snap ring (in)\n",
    );
    for tag in tags {
        pumps.push_str(&format!("{tag},screwed-impeller,F1,F1,0.041,0.050\n"));
    }
    let stock = "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand\n\
                 S20,shim,F1,0.020,0.0002,9\nG105,gasket,F1,0.105,0.0005,9\n";
    let at = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::write(&path, text).unwrap();
        path
    };
    let verified = verified(&at("stock.csv", stock), &at("pumps.csv", &pumps));
    let id = verified.planned().id();
    let expected: BTreeSet<String> =
        tags.iter().map(|tag| format!("gapwright:1 {id} {tag}")).collect();
    assert_eq!(scanned(&write_to(&folder, &verified)), expected);
}
