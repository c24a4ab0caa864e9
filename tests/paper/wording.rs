//! Every text that the sheets print by themselves, in one place: a changed wording is changed here.

/// Mark of everything that belongs to a pump that must not be closed.
pub const NOT_FIT: &str = "NOT FIT TO ASSEMBLE";

pub const NOMINAL_ONLY: &str = "met by the nominal rule, as asked; NOT PROVEN in the worst case";

/// A requirement that is met against its chance.
pub fn against_chance(rule: &str, chance: &str) -> String {
    format!("met by the {rule} rule, but the chance of conformity is {chance}, below 95 %")
}

/// Pumps without a kit, and their consequence on a sheet.
pub fn not_fit(so: &str, tags: &str) -> String {
    format!("{NOT_FIT}, {so}: {tags}.")
}
pub const BOX: &str = "\u{2610}";
pub const CAUTION: &str = "\u{26a0}";

pub mod summary {
    pub const TITLE: &str = "Outage kit plan";
    pub const COUNTS: [&str; 5] = ["", "", "", "Proven", ""];
    pub const KITTED: &str = "Pumps kitted";
    pub const WASTE: &str = "Waste";
    pub const PLATES: &str = "Plates cut";
    pub const PIECES: &str = "Pieces";
    pub fn cut_up(plates: usize, waste: &str, back: &str) -> String {
        let word = if plates == 1 { "plate" } else { "plates" };
        format!("Cut up: {plates} {word}, {waste} of it waste; back to stock: {back}")
    }
    pub const PROVEN: &str = "yes";
    pub const THIN: &str = " THIN";
    pub const FIGURES: [&str; 6] = [
        "Tag",
        "Predicted, % of the way from lower to upper limit",
        "Guard band down, %",
        "Guard band up, %",
        "Lower limit",
        "Upper limit",
    ];
    pub const NOT_KITTED: &str = " (not fit)";
    pub const PUMPS: &str = "Pumps";
    pub const COLUMNS: [&str; 10] = [
        "Tag",
        "Model",
        "Priority",
        "Due",
        "Status",
        "Requirement",
        "Predicted",
        "Limits",
        "Margin",
        "Pieces",
    ];
    pub const REMARK: &str = "Requirement, predicted value and margin are those of the pump's tightest requirement; Stack-up has all. THIN: the margin is less than a tenth of the range between the limits.";
    pub const WARNINGS: &str = "Warnings and remarks";
    pub const CAUTIONS: &str = "Cautions";

    pub fn lead(served: usize, all: usize, rule: &str) -> String {
        format!("{served} of {all} pumps can be kitted from the stock; acceptance rule: {rule}")
    }
    pub fn proven(waste: &str) -> String {
        format!(
            "Proven best: no choice kits more pumps (by priority); of those that kit as many, none wastes less than {waste}."
        )
    }
    pub fn short(count: usize) -> String {
        format!("{count} {}: see Short", super::NOT_FIT)
    }
    pub fn lacking(bags: usize, all: usize) -> String {
        format!("Short of consumables: {bags} of {all} bags, see Short")
    }
    pub fn unused(all: &str) -> String {
        format!("Not used: {all}.")
    }
    pub fn unchecked(count: usize, items: &str) -> String {
        let plural = if count == 1 { "" } else { "s" };
        format!(
            "Crush not checked for {count} gasket item{plural} of unknown compressibility: {items}."
        )
    }
    pub const NO_MATERIAL: &str = "no material stated";
}

pub mod standing {
    pub const COMPLETE: &str = "kit complete";
    pub const LACKING: &str = "kitted, short of consumables";
}

pub mod picking {
    pub const NOT_FIT: &str = "nothing to pick";
    pub const TITLE: [&str; 2] = [
        "Picking list",
        "In bin order. Measure a piece of each lot of shims and gaskets before it leaves the bin; tick what is picked.",
    ];
    pub const COLUMNS: [&str; 10] = [
        "Bin",
        "Item",
        "Kind",
        "Fit",
        "Thickness",
        "mm (or in)",
        "Quantity",
        "For tags (pieces each)",
        "Picked",
        "Initials",
    ];
    pub const SHEETS: [&str; 10] =
        ["Bin", "Plate", "Kind", "", "", "", "Plates", "Cut into", "Picked", "Initials"];
    pub const BACK: [&str; 10] = [
        "Bin",
        "Goes back",
        "Kind",
        "Fit",
        "Thickness",
        "",
        "Quantity",
        "Of plate",
        "Put away",
        "Initials",
    ];
    pub const NO_BIN: &str = "no bin";
    pub const NOTHING: &str = "Nothing to pick: no pump can be kitted.";
    pub const TO_PEEL: &str = ", to be peeled";

    pub fn open(packs: u32, of: u32, left: u32) -> String {
        let word = if packs == 1 { "pack" } else { "packs" };
        format!(". Open {packs} sealed {word} of {of}; {left} left over, counted as spoiled")
    }
    pub fn total(lines: usize, pieces: u32, consumables: u32) -> String {
        match consumables {
            0 => format!("{lines} lines, {pieces} pieces"),
            _ => format!("{lines} lines, {pieces} pieces, {consumables} of them consumables"),
        }
    }
    pub fn along(side: &str, strips: &str) -> String {
        format!("along the side of {side}: {strips}")
    }
    pub fn strips(count: u32, wide: &str, blanks: i64, fit: &str) -> String {
        let word = if count == 1 { "strip" } else { "strips" };
        format!("{count} {word} {wide} wide, {blanks} blanks each, for {fit}")
    }
}

pub mod kits {
    pub const PICK: &str = "1  Pick, wipe and measure (in order of fitting, thickest first)";
    pub const PLACES: [&str; 8] =
        ["Place", "Item", "Pieces", "Thickness each", "mm (or in)", "Bin", "In the bag", "Fitted"];
    pub const EMPTY: &str = "no piece: the place stays empty";
    pub const DONE: &str = "Done:";
    pub const BAG: [&str; 8] = [
        "Also for the bag",
        "Item",
        "Pieces",
        "Fit or section",
        "Ring length",
        "Bin",
        "In the bag",
        "Fitted",
    ];
    pub const ASSEMBLE: &str = "2  Assemble";
    pub const MEASURED: &str = "As measured";
    pub const RECHECK: &str = "3  Check the clearance before closing up";
    pub const REQUIREMENTS: [&str; 8] =
        ["Requirement", "Target", "", "Limits", "", "Predicted", "", ""];
    pub const FOR_SERVICE: &str = "Predicted for service; cannot be measured at the bench.";
    pub const NEVER_HOT: &str = "No cold reading shows for certain that it runs within its hot limits: the growth is not known well enough.";
    pub const NO_FEELERS: &str = "Feeler blades: none are entered on the sheet Feelers of the stock workbook; with the shop's set there, GO and NO-GO blades are printed here.";
    pub const SIGN: [&str; 2] = ["Fitter, date:", "Checked, date:"];
    pub const STOP_PACK: &str = "STOP if outside: do not fit it. Wipe, check, measure again.";
    pub const STOP_CLEARANCE: &str =
        "STOP if outside: do not close up. Measure again. Outside twice: leave it open.";
    pub const STOP_COARSE: &str = "STOP if no such gauge is at hand: do not close up.";
    pub const RUN: &str = "4  Before it runs, and always";
    pub const OPEN: &str = "Before it is opened, and while it stays open";
    pub const NOTHING_ISSUED: &str = "No pieces are issued for this pump. Do not assemble it with pieces picked by eye: a requirement would not be met.";

    pub fn title(number: usize, of: usize, tag: &str) -> String {
        format!("Kit {number} of {of}: pump {tag}")
    }
    pub const TITLE: [&str; 2] = ["Kit ", ": pump "];
    pub fn cut(sheet: &str, outside: &str, inside: &str) -> String {
        format!("cut from plate {sheet}: outside {outside}, inside {inside}")
    }
    pub fn peel(layers: u32, pieces: u32, to: &str) -> String {
        let word = if layers == 1 { "layer" } else { "layers" };
        let each = if pieces == 1 { "" } else { " each" };
        format!("peel {layers} {word} off{each}, to {to}; deburr and measure again")
    }
    pub fn micrometer(reading: &str, crushed: &str) -> String {
        format!("Expected micrometer reading: {reading}{crushed}")
    }
    /// Reading of a pack in both units, and its range; the second range where the gauge is fine enough.
    pub fn pack([total, other]: [String; 2], range: [Option<[String; 2]>; 2]) -> String {
        let [own, second] = range;
        let [low, high] = own.expect("a micrometer fine enough");
        let second = second.map(|[low, high]| format!(" ({low} to {high})"));
        format!("{total} ({other}), from {low} to {high}{}", second.unwrap_or_default())
    }
    pub fn crushed(percents: &str, least: &str, most: &str) -> String {
        format!("; crushed by {percents} % (material: {least} to {most} %)")
    }
    /// Equal ends, to a tenth, are one.
    pub fn ends(least: &str, most: &str) -> String {
        match least == most {
            true => least.into(),
            false => format!("{least} to {most}"),
        }
    }
    pub fn crush_warning(
        label: &str,
        item: &str,
        percent: &str,
        [material, least, most]: [&str; 3],
        [less, more]: [bool; 2],
    ) -> String {
        let leak = "at the least it may leak";
        let tear = "at the most it may tear, or keep the parts from closing";
        let so = match (less, more) {
            (true, true) => format!("{leak}; {tear}"),
            (true, false) => leak.into(),
            (false, _) => tear.into(),
        };
        format!(
            "WARNING: {label}: {item} is crushed by {percent} %, tolerances included, and {material} compresses by {least} to {most} % under its usual test load: {so}"
        )
    }
    pub fn read(unit: &str) -> String {
        format!("1st, 2nd reading ({unit}):")
    }
    pub fn found(unit: &str) -> String {
        format!("1st, 2nd reading ({unit}):")
    }
    pub fn lacking(count: u32, of: u32, what: &str, why: &str) -> String {
        format!("MISSING {count} of {of}: {what}. Why: {why}.")
    }
    pub fn mean(label: &str, readings: usize) -> String {
        match readings {
            0 | 1 => label.to_string(),
            _ => format!("{label} (mean of {readings})"),
        }
    }
    pub fn after_fitting(cold: bool, between: &str, allowed: &str) -> String {
        let cold = if cold { ", cold," } else { "" };
        format!("ACCEPT{cold} {between} ({allowed})")
    }
    pub fn too_coarse(within: &str) -> String {
        format!(
            "No reading with an error of +/-{within} shows that it is met: use a finer instrument, and state its error"
        )
    }
    pub fn finer(needed: &str, step: &str) -> String {
        format!(
            "Needs a gauge that reads to {needed}: in steps of {step} too little of what is accepted is left"
        )
    }
    pub fn between(low: &str, high: &str, other: Option<[String; 2]>) -> String {
        let other = other.map(|[low, high]| format!(" ({low} to {high})"));
        format!("{low} to {high}{}", other.unwrap_or_default())
    }
    pub fn outside(between: &str) -> String {
        format!(
            "A cold reading outside {between} may leave the hot limits in the worst case of growth"
        )
    }
    /// Allowance for the error of the readings of a clearance, with or without running limits.
    pub fn allowed(rule: &str, within: &str, hot: bool) -> String {
        let (text, running) = match rule {
            "worst case" => (
                format!("limits less {within} for the error of a reading"),
                ", in the worst case of growth",
            ),
            "expanded" => (
                format!(
                    "limits less the expanded uncertainty of a reading with an error of +/-{within}"
                ),
                " and of the growth",
            ),
            _ => (
                format!("nominal rule: the error of a reading, +/-{within}, is not allowed for"),
                ", nor the worst case of growth",
            ),
        };
        format!("{text}{}", if hot { running } else { "" })
    }
    pub fn blades(go: &str, no_go: &str) -> String {
        format!("Feeler blades: {go}; {no_go}.")
    }
    pub const GO: [&str; 3] = ["GO", "does not go in", "the lower limit"];
    pub const NO_GO: [&str; 3] = ["NO-GO", "goes in", "the upper limit"];
    pub fn doubt(fails: &str) -> String {
        format!(" (if it {fails}, measure before rejecting)")
    }
    pub fn no_blades(limit: &str) -> String {
        format!("no blades of the set show {limit}: measure it another way")
    }
    pub fn read_thick(count: u32, by: &str) -> String {
        format!(
            " {count} blades together read thick, by up to {by} on top of their own tolerance: wipe them dry and press them together."
        )
    }
    pub fn growths(counted: &str, columns: &str) -> String {
        format!(
            "Thermal growth allowed for: {counted}; if the service differs, state it in the pump sheet (columns {columns}; likewise cold and length)."
        )
    }
    pub fn would_do(window: &str, presumed: &str) -> String {
        format!("Totals that fit: {window}. Allows for {presumed}.")
    }
    pub fn nearest(total: &str) -> String {
        format!("Nearest total that can be made: {total}.")
    }
    pub fn facts(priority: u32, due: &str) -> Vec<String> {
        let mut facts = vec![format!("Priority {priority}")];
        if !due.is_empty() {
            facts.push(format!("due {due}"));
        }
        facts
    }
}

pub mod labels {
    pub const NONE: &str = "No kit, no label.";
    pub const NO_BAG: &str = "no bag";
    pub fn kit(number: usize, of: usize) -> String {
        format!("Kit {number} of {of}")
    }
    pub fn facts(due: &str, priority: u32) -> String {
        match due {
            "" => format!("priority {priority}"),
            due => format!("due {due}, priority {priority}"),
        }
    }
    pub fn pieces(all: u32, each: &str) -> String {
        let word = if all == 1 { "piece" } else { "pieces" };
        format!("{all} {word}: {each}")
    }
    pub fn short(count: u32) -> String {
        format!("SHORT of {count}: see the slip")
    }
    pub fn plan(id: &str) -> String {
        format!("Plan {id}")
    }
}

pub mod short {
    pub const TITLE: [&str; 2] = [
        "Short: pumps that cannot be kitted",
        "Each pump here is NOT FIT TO ASSEMBLE until its place is filled. A pack of the total needed fits only if its tolerance is no wider than the one allowed for.",
    ];
    pub const COLUMNS: [&str; 10] = [
        "Tag",
        "Priority",
        "Due",
        "Place",
        "Fit",
        "Why",
        "Total needed",
        "Allows for",
        "Nearest total",
        "Status",
    ];
    pub const NONE: &str = "None: every pump can be kitted.";
    pub const NOTHING: &str = "none";
    pub const BAGS: &str = "Consumables missing from the bags of kitted pumps";
    pub const NO_BAGS: &str = "None: every bag has all of its consumables.";
    pub const LACKING: [&str; 10] = [
        "Tag",
        "Priority",
        "Due",
        "Consumable",
        "Fit",
        "Why",
        "Missing",
        "Needed",
        "Bin",
        "Status",
    ];
    pub const WHOLE: &str = "the pump as a whole";
    pub const NO_PIECE: &str = " (no piece)";
    pub const LOOSER: &str = "but its pieces have a wider tolerance than that allows for";

    pub fn not_proven(rule: &str, pieces: &str, open: &str, settled: &str) -> String {
        format!(
            "NOT PROVEN by the {rule} rule with {pieces}, though every nominal value is within its limits: {open}. {settled}"
        )
    }
    pub fn open(
        label: &str,
        value: &str,
        [low, high]: [&str; 2],
        [guard, guards, chance]: [&str; 3],
    ) -> String {
        format!(
            "{label} {value}, limits {low} to {high}, {guard} {guards}, chance of conformity {chance}"
        )
    }
    pub fn none_on_hand(kind: &str, fit: &str) -> String {
        format!("no {kind} of fit {fit} is on hand")
    }
    pub fn all_reserved(kind: &str, fit: &str) -> String {
        format!("every {kind} of fit {fit} that is on hand is reserved")
    }
    pub const TOO_NARROW: &str = "the limits are narrower than the tolerances of the measurements and of the thinnest possible pack";
    pub const TOO_WIDE: &str = "each place could be filled, but no kit keeps clear of its limits by its expanded uncertainty";
    pub const MEASURED_OUT: &str =
        "the measured dimensions alone are outside the limits, and no piece can change that";
    pub const MEASURE_AGAIN: &str =
        "as measured, a limit is exceeded even with this place empty; measure again";
    pub const TOGETHER: &str = "each place could be filled alone, but together they need more pieces of one item than are on hand";
    pub fn no_total(pieces: &str, window: Option<&str>) -> String {
        match window {
            Some(window) => format!("no total of {pieces} is within {window}"),
            None => format!("no total of {pieces} meets every requirement at once"),
        }
    }
    pub fn total_is_looser(pieces: &str, nearest: &str, window: &str) -> String {
        format!("no total of {pieces} fits: {nearest} is within {window}, {LOOSER}")
    }
    pub fn gone(lacking: &str, to: &str) -> String {
        match to {
            "" => format!("the nearest kit is short of {lacking}"),
            to => format!("the nearest kit is short of {lacking}; such pieces went to {to}"),
        }
    }
    pub fn good_to(minus: &str, plus: &str, unit: &str) -> String {
        match minus == plus {
            true => format!("a pack tolerance of +/-{plus} {unit}"),
            false => format!("a pack tolerance of +{plus}/-{minus} {unit}"),
        }
    }
    pub fn no_column(column: &str) -> String {
        format!("the pump sheet gives no `{column}`")
    }
    pub fn none_stocked(kind: &str) -> String {
        format!("no such {kind} is in the stock")
    }
    pub const NONE_THERE: &str = "none is on hand";
    pub const BAG_RESERVED: &str = "all that are on hand are reserved";
    pub fn given_out(all: u64) -> String {
        format!("{all} free, all used")
    }
}

pub mod reorder {
    pub const NOT_FIT: &str =
        "no kit from this stock (see Short; `gapwright reorder` finds what to buy)";
    pub const TITLE: [&str; 2] = [
        "Reorder: what is left, and what one more would save",
        "One more would save: found by solving again with one more piece on hand, all else equal. Do not add these up.",
    ];
    pub const COLUMNS: [&str; 10] = [
        "Item",
        "Kind",
        "Fit",
        "Before",
        "Issued",
        "Spoiled",
        "After",
        "Min level",
        "Status",
        "One more would save",
    ];
    pub const BELOW: &str = "below min level";
    pub const NOT_WORKED_OUT: &str = "not worked out";
    pub const NO_WORTH: &str =
        "What one more would save was not worked out: that needs a proven plan and time to spare.";
    pub const PICTURES: [&str; 2] =
        ["Shims and gaskets before and after", "Consumables before and after"];
    pub const ALL_SHOWN: &str = "Items used by this plan.";
    pub const FIGURES: [&str; 4] = ["Item", "Before", "After", "Min level"];
    pub fn some_shown(shown: usize, more: usize) -> String {
        format!("The {shown} items used most; {more} more are used.")
    }
    pub fn lacking(count: u32) -> String {
        format!("{count} missing in bags")
    }
    pub const NOTHING: &str = "-";
    pub const UNCHANGED: &str = "waste unchanged";
    pub const MORE: &str = "kits more pumps (by priority), ";
    pub fn waste(amount: &str, less: bool) -> String {
        format!("waste {amount} {}", if less { "less" } else { "more" })
    }
}

pub mod issue {
    pub const ID: &str = "Plan";
    pub const COLUMNS: [&str; 6] = ["Tag", "Place", "Bin", "Item", "Step", "Planned"];
    pub const PICK: &str = "pick";
    pub const SHORT: &str = "short";
    pub const SPOILED: &str = "spoiled with its pack";
    pub const CUT_UP: &str = "cut up";
    pub fn goes_back(plate: &str) -> String {
        format!("goes back, of {plate}")
    }
    pub fn cut_from(sheet: &str) -> String {
        format!("cut from {sheet}")
    }
}

pub mod stack_up {
    pub const NOT_FIT: &str = "no kit to work out (see Verdicts)";
    pub const RULE: &str = "Acceptance rule";
    pub const CONTRIBUTORS: [&str; 11] = [
        "Contributor",
        "Count",
        "Nominal each",
        "Minus",
        "Plus",
        "Known by",
        "Standard uncertainty each",
        "Degrees of freedom",
        "Alike within its lot",
        "Lot number",
        "From",
    ];
    pub const LENGTHS: [&str; 3] = ["Target", "Lower limit", "Upper limit"];
    pub const ALLOWANCES: [&str; 3] =
        ["Target allowance", "Minimum allowance", "Maximum allowance"];
    pub const RESULT: [&str; 3] = ["Result", "Lower side", "Upper side"];
    pub const NOMINAL: &str = "Nominal value";
    pub const TARGET: &str = "Target";
    pub const LIMIT: &str = "Limit";
    pub const WORST: &str = "Worst case: down, up";
    pub const ROOT_SUM_SQUARE: &str = "Root sum square (if independent, centred, of one size)";
    pub const MIDDLE: &str = "Shift of the mean towards the limit (uneven sides)";
    pub const COMBINED: &str = "Combined standard uncertainty";
    pub const K: &str = "Coverage factor";
    pub const EXPANDED: &str = "Expanded uncertainty";
    pub const ROOM: &str = "Margin of the nominal value";
    pub const MARGIN_WORST: &str = "Margin in the worst case";
    pub const MARGIN_EXPANDED: &str = "Margin by the expanded uncertainty";
    pub const MARGIN: &str = "Margin by the acceptance rule";
    pub const VERDICT: &str = "Result by the acceptance rule";
    pub const REACHES: &str = "Range in the worst case: from, to";
    pub const ALLOWANCE: &str = "Allowance reached (free thickness / gap - 1)";
    pub const CRUSH: &str = "Crush (1 - gap / free thickness)";
    pub const MET: &str = "met";
    pub const NO_PUMP: &str = "No pump can be kitted.";
    pub fn pump(tag: &str, title: &str, unit: &str) -> String {
        format!("Pump {tag}: {title} ({unit})")
    }
    pub fn requirement(tag: &str, label: &str, unit: &str) -> String {
        format!("{tag}: {label} ({unit})")
    }
    pub fn peeled(label: &str, to: &str) -> String {
        format!("{label}, peeled to {to}")
    }
}

pub mod basis {
    pub const INPUTS: [&str; 3] = ["Input", "File", "SHA-256"];
    pub const POLICY: [&str; 3] = ["Policy", "Value", "Meaning"];
    pub const GOALS: [&str; 3] = ["Optimised for, in this order", "Value", "Bound"];
    pub const SERVED: &str = "pumps kitted, weighted by priority";
    pub const DATE: &str = "Date";
    pub const PROOF: &str = "Proof";
    pub const WEIGHTS: &str = "Priority weights";
}

pub mod models {
    pub const USED: [&str; 2] = ["used by 1 pump", "used by"];
    pub const MEASURED: [&str; 4] =
        ["Measured", "Column of the pump workbook", "Tolerance or uncertainty", "Shape"];
    pub const GROWS: [&str; 6] = [
        "Grows when running",
        "Columns of the pump workbook, where a pump differs",
        "Length",
        "Expansion, 1e-6/K",
        "Cold to running, \u{b0}C",
        "Difference +/-, K",
    ];
    pub const TOGETHER: [&str; 3] = ["Correlated", "with", "Correlation coefficient"];
    pub const PACKS: [&str; 3] = ["Place for pieces", "Column of its fit code", "Pieces"];
    pub const HOLD: [&str; 6] = [
        "Requirement",
        "Value kept within the limits",
        "Target",
        "Lower limit",
        "Upper limit",
        "Gasket crushed",
    ];
    pub const BAG: [&str; 3] = ["For the bag", "Chosen by", "Pieces"];
    pub const CAUTIONS: &str = "Cautions";
}

pub mod provision {
    pub const PRICES: [&str; 2] =
        ["Safe kits, all of them together", "Trolley, shared by all pumps"];
    pub const PRICE: &str = "Price";
    pub const PIECES: &str = "Pieces";
    pub const CHOSEN: [&str; 2] = ["Designed for", "every value examined in its range"];
    pub const COUNTED: [&str; 2] = ["Counted service", "not counted: nothing is left to chance"];
    pub const PUMPS: [&str; 10] = [
        "Tag",
        "Model",
        "Priority",
        "Due",
        "Expected",
        "Values",
        "In a gap",
        "Safe kit price",
        "Not served",
        "Status",
    ];
    pub const MEASURED: &str = "measured";
    pub const OF_READINGS: &str = ", from past readings";
    pub const STANDING: [&str; 2] = ["Measured; pieces in stock", "All values can be met"];
    pub const MEASURED_GAP: &str = "GAP: measured, and no pieces in stock fit";
    pub const TROLLEY: [&str; 13] = [
        "Bin",
        "Item",
        "Kind",
        "Fit",
        "Thickness",
        "mm (or in)",
        "Set aside",
        "Free",
        "Left in bin",
        "Unit cost",
        "Cost",
        "Done",
        "Initials",
    ];
    pub const KIT: [&str; 8] =
        ["Item", "Kind", "Fit", "Thickness", "mm (or in)", "Pieces", "Cost", "Bin"];
    pub const MEASURES: [&str; 4] =
        ["If it measures: ", "Values", "Pieces for each place (total)", ""];
    pub const NONE: &str = "none";
    pub const NOTHING: &str = "GAP: no pieces in stock fit";
    pub const GAPS: [&str; 7] = ["Tag", "Dimension", "From", "To", "Values", "of", "In words"];
    pub fn lead(unmeasured: usize, all: usize, rule: &str, step: &str) -> String {
        format!(
            "{unmeasured} of {all} pumps are not measured yet; acceptance rule: {rule}; values in steps of {step}"
        )
    }
    pub fn chosen_for(served: u32, of: u32, [required, wanted]: [u32; 2]) -> String {
        let margin = if wanted == required { "".into() } else { format!(", {wanted} aimed at") };
        format!(
            "{served} of {of} design scenarios, {required} required{margin}; not a measure of its service"
        )
    }
    pub fn counted(served: u32, of: u32) -> String {
        format!("{served} of {of} other scenarios, ")
    }
    pub fn lost([checks, served, gaps, ran_out, unknown]: [u32; 5]) -> String {
        format!(
            "Of {checks} counted scenarios: {served} served, {gaps} with a value in a gap, {ran_out} short of pieces, {unknown} undecided (not served at the interval's low end, served at its high end)."
        )
    }
    pub fn gap_line(gaps: usize, all: usize) -> String {
        format!(
            "GAP: {gaps} of {all} pumps may have a value that no pieces in stock fit; see Coverage."
        )
    }
    pub fn gap(gaps: usize, values: usize) -> String {
        format!("GAP: {gaps} of {values} values")
    }
    pub fn total(lines: usize, pieces: u32, cost: &str) -> String {
        format!("{lines} lines, {pieces} pieces, {cost}")
    }
    pub fn kit(tag: &str, cost: &str, pieces: u32) -> String {
        format!("Pump {tag}: {cost}, {pieces} pieces, ")
    }
    pub fn in_words(tag: &str, label: &str, values: &str, [gaps, all]: [usize; 2]) -> String {
        format!(
            "{tag}: no pieces in stock fit if {label} comes to {values} ({gaps} of {all} values)."
        )
    }
}

pub mod purchase {
    pub const ORDER: [&str; 14] = [
        "Item",
        "Kind",
        "Fit",
        "Thickness",
        "Pack qty",
        "Packs for this outage",
        "Packs back to level",
        "Packs to order",
        "Pieces",
        "Price per piece",
        "Total",
        "Lead days",
        "Arrives on",
        "Ordered (date, initials)",
    ];
    pub const UNNAMED: &str = "Supplier not stated in the stock workbook";
    pub const ALL: &str = "All orders";
    pub const OUTAGE: &str =
        "Packs needed to kit pumps, as worked out and proven; consumables and levels not included";
    pub const NOT_SAID: &str = "not stated";
    pub const PUMPS: [&str; 7] = [
        "Tag",
        "Model",
        "Priority",
        "Due",
        "From today's stock",
        "After the purchase",
        "Why it is still short",
    ];
    pub const CAN: &str = "can be kitted";
    pub const LEVELS: [&str; 10] = [
        "Item",
        "Kind",
        "Fit",
        "On hand today",
        "Bought",
        "Issued or spoiled",
        "Left",
        "Min level",
        "Max level",
        "Packs back to level",
    ];
    pub const NOT_FOR_SALE: &str = "below, not for sale";
    pub fn budget(currency: &str) -> String {
        format!("Budget for these packs ({currency}); packs back to level and for bags are extra")
    }
    pub fn total(supplier: &str) -> String {
        format!("Total: {supplier}")
    }
    pub const SUMMARY: [&str; 3] = [
        "Pumps kitted from today's stock",
        "Pumps kitted after the purchase",
        "Packs needed to kit pumps",
    ];
}

pub mod as_built {
    pub const COLUMNS: [&str; 9] = [
        "Tag",
        "Model",
        "Due",
        "Decision",
        "Remarks",
        "Fitter, date",
        "Checked, date",
        "Accepted on",
        "Signed",
    ];
    pub const READINGS: [&str; 13] = [
        "Tag",
        "What",
        "Unit",
        "Predicted",
        "Uncertainty",
        "Found",
        "2nd reading",
        "Uncertainty",
        "Difference",
        "Norm. error",
        "Lower limit",
        "Upper limit",
        "Status",
    ];
    pub const TO_DO: [&str; 6] =
        ["Tag", "Decision", "Finding and work", "Done", "Initials", "New reading"];
    pub const ACCEPT: &str = "accept";
    pub const SWAP: &str = "SWAP";
    pub const LOOK: &str = "LOOK FIRST";
    pub const LOOK_NOT_MET: &str = "LOOK FIRST, NOT MET";
    pub const FOUND: &str = "found";
    pub const AS_READ: &str = "predicted from the packs as read";
    pub fn not_met(label: &str, value: &str, how: &str, low: &str, high: &str) -> String {
        format!("{label}: {value} {how}, limits {low} to {high}: NOT MET.")
    }
    pub const LACKING: &str = "recheck missing";
    pub const NOT_READ: &str = "not read yet";
    pub const NOT_YET: &str = "not yet";
    pub const SEE: &str = "See To do.";
    pub const COUNTS: [&str; 6] = [
        "accepted as found",
        "to be looked into before any piece is moved",
        "put right by a swap, then rechecked",
        "NOT FIT TO ASSEMBLE: no swap puts it right",
        "recheck missing, or not read yet",
        "NOT FIT TO ASSEMBLE: without a kit in the plan",
    ];
    pub fn out(place: &str, pieces: &str) -> String {
        format!("{place}: take out {pieces}.")
    }
    pub fn into(place: &str, pieces: &str, bin: &str) -> String {
        format!("{place}: put in {pieces}, bin {bin}.")
    }
    pub fn expected(place: &str, total: [String; 2], range: [Option<[String; 2]>; 2]) -> String {
        format!("{place}: the micrometer should read {}.", super::kits::pack(total, range))
    }
    pub fn then(label: &str, value: [&str; 2], low: &str, high: &str) -> String {
        format!("{label}: then expected {} ({}), limits {low} to {high}.", value[0], value[1])
    }
}
