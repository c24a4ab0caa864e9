//! Sources of the figures on Stack-up: each names the cell, the model's key, the material or the certificate that its
//! tolerance comes from.

use std::fs;

use calamine::{Data, DataType, Reader, Xlsx, open_workbook};
use gapwright::accounting::{source, source_of_shared, stack};
use gapwright::plan::Kit;
use gapwright::read::{Sources, job, stated_pieces};
use tempfile::TempDir;

use super::{sample, write_to};

/// Tolerances of pieces stand in the cell that is named: the stock workbook is opened there.
#[test]
fn the_cell_that_is_named_holds_the_tolerance() {
    let verified = sample();
    let job = verified.job();
    let mut book: Xlsx<_> = open_workbook("samples/outage/stock.xlsx").unwrap();
    let (mut seen, mut of_material) = (0, 0);
    for (pump, kit) in job.pumps.iter().zip(&verified.plan().kits) {
        let Kit::Served(packs) = kit else { continue };
        let parts = stack(job, pump, packs).contributors;
        for part in parts.iter().filter(|part| part.item.is_some()) {
            let from = source(job, pump, part);
            let lot = &job.stock[part.item.unwrap()];
            let Some((sheet, cell)) = from.split_once('!') else {
                // Its own cell is empty, and the model gives the tolerance of its material.
                let material = lot.material.as_ref().unwrap();
                assert_eq!(from, format!("material {material} of the model"));
                of_material += 1;
                continue;
            };
            let letters = cell.chars().take_while(char::is_ascii_alphabetic);
            let column = letters.fold(0, |sum, c| sum * 26 + (c as u32 - 'A' as u32 + 1)) - 1;
            let row: u32 = cell.trim_start_matches(char::is_alphabetic).parse().unwrap();
            let range = book.worksheet_range(sheet).unwrap();
            let there = range.get_value((row - 1, column)).unwrap();
            // The item stands in the first column of the row.
            assert_eq!(
                range.get_value((row - 1, 0)),
                Some(&Data::String(lot.item.clone())),
                "{from}"
            );
            if let Some(tolerance) = there.get_float() {
                let units = [gapwright::length::Unit::Inch, gapwright::length::Unit::Millimetre];
                let is = |unit| (part.tolerance.plus.to_f64(unit) - tolerance).abs() < 1e-9;
                assert!(units.into_iter().any(is), "{from}: {tolerance}");
                seen += 1;
            }
        }
    }
    assert!(seen > 10 && of_material > 10, "{seen}, {of_material}");
    let folder = TempDir::new().unwrap();
    let mut plan: Xlsx<_> = open_workbook(write_to(&folder, &verified)).unwrap();
    let range = plan.worksheet_range("Stack-up").unwrap();
    let mut shims = range.rows().filter(|row| row[0] == Data::String("shim SH-F6-020".into()));
    assert!(shims.next().unwrap()[10].to_string().starts_with("material "));
}

const MODEL: &str = r#"
title = "Invented: a source of every kind"
unit = "mm"
[dimension.bore]
plus_minus = "from readings"
resolution = 0.002
[dimension.spigot]
plus_minus = 0.010
gauge = "MIC-1"
[dimension.ring]
standard_uncertainty = 0.004
[thermal.shaft_growth]
length = 350
material = "4140 steel"
cold = 20
running = 140
[thermal.casing_growth]
length = 340
expansion = 11
cold = 20
running = 110
[material.brass]
plus_minus = 0.02
[pack.inner]
kind = "shim"
most_pieces = 4
[requirement.clearance]
terms = { bore = 1, spigot = -1, ring = 1, inner = -1, shaft_growth = -1, casing_growth = 1 }
target = 0.55
limits = [0.2, 0.9]
when = "hot"
"#;

/// Student's factor for two degrees of freedom at 95 %: JCGM 100:2008, table G.2 (from memory) prints 4.30.
#[test]
fn every_kind_of_figure_has_its_source() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::create_dir(at("pumps")).unwrap();
    fs::write(at("sources.toml"), MODEL).unwrap();
    let pumps = "Tag,Model,Inner fit,Bore 1 (mm),Bore 2 (mm),Bore 3 (mm),Spigot (mm),Ring (mm)\nX-1,sources,A,3.012,3.020,3.007,1.500,0.400\n";
    fs::write(at("pumps/pumps.csv"), pumps).unwrap();
    fs::write(at("pumps/gauges.csv"), "Gauge,Unit,U,k,Certificate\nMIC-1,mm,0.004,2,4711\n")
        .unwrap();
    let stock = "Item,Kind,Fit,Thickness (mm),Tolerance (mm),On hand,Material\nS-1,shim,A,0.5,,3,brass\nS-2,shim,A,0.4,0.01,3,\n";
    fs::write(at("stock.csv"), stock).unwrap();
    let sources = Sources {
        stock: at("stock.csv"),
        pumps: at("pumps"),
        models: Some(folder.path().to_path_buf()),
        settings: vec![("Coverage factor".into(), "95 %".into())],
        ..Sources::default()
    };
    let mut job = job(&sources).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let pieces = ["inner=S-1, S-2, 0.3 +/- 0.01".to_string()];
    let packs = stated_pieces(&mut job, 0, &pieces).unwrap();
    let pump = &job.pumps[0];
    let all = stack(&job, pump, &packs);
    let table = fs::read_to_string("models/materials.toml").unwrap();
    let (_, steel) = table.split_once("[material.\"4140 steel\"]").unwrap();
    let printed = steel.lines().find_map(|line| line.strip_prefix("source = \"")).unwrap();
    let steel = format!("material 4140 steel ({})", printed.trim_end_matches('"'));
    let freedom = all.contributors[0].degrees_of_freedom;
    assert_eq!(freedom, Some(2));
    let found: Vec<String> = all.contributors.iter().map(|part| source(&job, pump, part)).collect();
    let expected = [
        "3 readings; Student's factor 4.303 for 2 degrees of freedom",
        "model spigot plus_minus; gauge MIC-1, certificate 4711",
        "model ring uncertainty",
        &steel,
        "model casing_growth expansion",
        "material brass of the model",
        "stock!E3",
        "as stated",
    ];
    assert_eq!(found, expected);
    let shared: Vec<String> = all.shared.iter().map(|one| source_of_shared(&job, one)).collect();
    assert_eq!(shared, ["sheet Gauges, certificate 4711"]);
}
