//! Near misses: a heading, a code, a kind, a sheet's name or a number that would be ignored in silence is reported
//! with its cell.

use super::*;

/// Warnings of a readable job, and its list of unused columns and sheets.
fn read(stock: &str, pumps: &str) -> (Vec<String>, Vec<String>) {
    let shop = Shop::new(stock, pumps);
    let job = job(&shop.sources()).unwrap_or_else(|p| panic!("{:#?}", p.sorted()));
    let warnings = job.warnings.iter().map(ToString::to_string).collect();
    (warnings, job.unused)
}

/// An ignored tolerance is replaced by one that may be smaller: a warning would not be enough.
#[test]
fn a_tolerance_under_another_heading_stops_the_run() {
    let headings = [
        "Tol (in)",
        "Tol. (in)",
        "TOL \u{b1} (in)",
        "Plus/minus (in)",
        "+/- (in)",
        "Tol in",
        "\u{b1} (in)",
    ];
    for heading in headings {
        // Without the column the tolerance would come from the model.
        let stock = STOCK.replace("Tolerance (in)", heading);
        let found = problems_of(&stock, PUMPS);
        let asked = found
            .iter()
            .filter(|p| p.contains("cell E1") && p.contains("rename it to `Tolerance (in)`"));
        assert_eq!(asked.count(), 1, "{heading}: {found:#?}");
    }
}

#[test]
fn other_words_for_a_column_are_asked_about() {
    for (heading, known) in [("Res", "Reserved"), ("Rsvd", "Reserved"), ("On hold", "Reserved")] {
        let (warnings, _) = read(&STOCK.replace("Reserved", heading), PUMPS);
        only(&warnings, &["cell G1", &format!("rename it to `{known}`")]);
    }
    let more = STOCK.replace("Reserved\n", "Pack size\n");
    only(&read(&more, PUMPS).0, &["cell G1", "rename it to `Pack qty`"]);
    let more = STOCK.replace("Reserved\n", "Unit price\n");
    only(&read(&more, PUMPS).0, &["cell G1", "rename it to `Unit cost`"]);
}

/// One report about a heading, and a fix that makes it readable.
#[test]
fn the_mend_of_a_needed_heading_keeps_its_unit_and_is_said_once() {
    for heading in ["Thk (in)", "Thickness in", "Thickness - in", "Thickness in in"] {
        let stock = STOCK.replace("Thickness (in)", heading);
        only(&problems_of(&stock, PUMPS), &["cell D1", "to `Thickness (in)`"]);
    }
    only(
        &problems_of(&STOCK.replace("Thickness (in)", "Thickness in mm"), PUMPS),
        &["cell D1", "to `Thickness (mm)`"],
    );
}

/// Of two headings similar to the missing one, the unused one is meant.
#[test]
fn a_missing_heading_is_looked_for_among_those_that_are_not_used() {
    let pumps = PUMPS.replace("Bearing shims fit", "Shims fit");
    let found = problems_of(STOCK, &pumps);
    only(&found, &["cell D1", "rename `Shims fit` to `Bearing shims fit`"]);
}

/// Two missing headings are two problems, whatever one column might have been meant for.
#[test]
fn every_missing_heading_is_said() {
    let pumps = PUMPS.replace("Bearing shims fit,Cover gasket fit", "Fit,Fits");
    let found = problems_of(STOCK, &pumps);
    for name in ["Bearing shims fit", "Cover gasket fit"] {
        assert!(found.iter().any(|p| p.contains(&format!("`{name}`"))), "{name}: {found:#?}");
    }
    let pumps = PUMPS.replace("Bearing shims fit,Cover gasket fit", "Fit,Colour");
    let found = problems_of(STOCK, &pumps);
    for name in ["Bearing shims fit", "Cover gasket fit"] {
        assert!(
            found.iter().any(|p| p.contains(&format!("no column `{name}`"))),
            "{name}: {found:#?}"
        );
    }
}

#[test]
fn a_code_that_is_nearly_that_of_the_pumps_is_asked_about_in_the_stock() {
    for code in ["F 1", "F-1", "F01"] {
        let stock = STOCK.replace("S10,shim,F1", &format!("S10,shim,{code}"));
        let (warnings, unused) = read(&stock, PUMPS);
        only(&warnings, &["cell C2", code, "`F1`", "as the pumps do"]);
        assert!(
            unused.contains(&"1 item of sheet stock that no pump here asks for (S10)".into()),
            "{unused:?}"
        );
    }
    // Another code is another code: a drawer holds pieces for other pumps.
    let stock = STOCK.replace("S10,shim,F1", "S10,shim,F7");
    let (warnings, unused) = read(&stock, PUMPS);
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!(unused, ["1 item of sheet stock that no pump here asks for (S10)"]);
    // All are asked for.
    assert!(read(STOCK, PUMPS).1.is_empty());
}

#[test]
fn a_kind_that_is_nearly_one_is_asked_about() {
    let stock = STOCK.replace("S10,shim", "S10,shim stock");
    only(&read(&stock, PUMPS).0, &["cell B2", "`shim stock`", "write `shim`"]);
    // A similar name with another fit is another thing.
    let stock = STOCK.replace("S10,shim,F1", "S10,gasket sealant,");
    assert!(read(&stock, PUMPS).0.is_empty());
    let stock = STOCK.replace("S10,shim", "S10,spacer");
    let (warnings, unused) = read(&stock, PUMPS);
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!(unused.len(), 1);
}

/// 31 thou in a column of inches; by hand: 31 - 0.021 is far more than four shims of 10 mm.
#[test]
fn a_reading_that_no_pieces_can_make_up_is_asked_about() {
    let pumps = PUMPS.replace("0.031", "31");
    let (warnings, _) = read(STOCK, &pumps);
    only(&warnings, &["pumps.csv", "cell F2", "31", "30.9790 in", "unit of its column"]);
    // Half an inch can be made up, if not from this drawer.
    assert!(read(STOCK, &PUMPS.replace("0.031", "0.5")).0.is_empty());
}

#[test]
fn a_policy_under_another_name_is_asked_about() {
    let policy = "Setting,Value\nHandling per piece,2\n";
    let all = |name| [("Stock", STOCK), (name, policy)];
    // The policy of the stock folder is not read at all: the pumps have it.
    let found = folder_warnings(&all("Settings"), &[]);
    only(&found, &["Settings", "headings of the sheet `Policy`", "name the sheet Policy"]);
    let blades = "Thickness (in),Tolerance (in)\n0.010,0.0001\n";
    let found = folder_warnings(&[("Stock", STOCK), ("Feeler set", blades)], &[]);
    only(&found, &["Feeler set", "headings of the sheet `Feelers`"]);
}

#[test]
fn a_comma_that_parts_a_field_of_a_text_file_is_said() {
    let stock = STOCK.replace("S10,shim,F1,0.010,0.0002,4,0", "S10,shim,F1,0.010,0.0002,4,0,1");
    only(&problems_of(&stock, PUMPS), &["cell H2", "8 fields in a row", "quotation marks"]);
}

#[test]
fn a_mend_fits_what_is_wrong() {
    let costs = STOCK.replace("Reserved\n", "Unit cost\n").replace(",4,0\n", ",4,-2\n");
    let found = problems_of(&costs, PUMPS);
    assert!(found.iter().all(|p| p.contains("no minus, no currency sign")), "{found:#?}");
    let days = STOCK.replace("Reserved\n", "Lead days\n").replace(",2,0\n", ",2,2.5\n");
    only(&problems_of(&days, PUMPS), &["cell G4", "whole days, rounded up", "leave it empty"]);
}

/// A missing column without a similar heading leaves the warnings about others in place.
#[test]
fn a_missing_heading_leaves_the_warnings_of_others() {
    let stock = STOCK
        .replace("Item,Kind", "Vendor,Item,Sort")
        .replace("\nS", "\nWarrick,S")
        .replace("\nG", "\nWarrick,G");
    let problems = Shop::new(&stock, PUMPS).problems();
    let missing = problems.sorted();
    assert!(missing.iter().any(|p| p.to_string().contains("no column `Kind`")), "{missing:#?}");
    let warnings: Vec<String> = problems.warnings().iter().map(ToString::to_string).collect();
    only(&warnings, &["cell A1", "rename it to `Supplier`"]);
}
