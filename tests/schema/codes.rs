//! Codes of states and reasons: each is what its schema lists, reads back as what it was, and no other is taken.

use std::collections::BTreeSet;
use std::fmt::Debug;

use gapwright::formats::common::{
    AcceptanceJson, CauseJson, ChanceJson, ChanceLawJson, CountJson, ImprovementJson,
    JudgementJson, LengthJson, RequirementJson, StoppedBy,
};
use gapwright::formats::outage::{self, BookingJson, PumpStateJson};
use gapwright::formats::plan::{self, NotMadeJson, StandingJson, VerdictWarningJson};
use gapwright::formats::provision::{self, LawJson, ServiceStanding, WarningJson};
use gapwright::formats::purchase::{self, FaultJson, ReorderBasisJson, StillShortJson};
use gapwright::formats::recheck::{
    self, DecisionJson, FittedJson, OfJson, SlipJson, TaskJson, UsualJson,
};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

/// Holds every code of an enum, with a value of each, against its part of a schema.
#[track_caller]
fn codes<T>(schema: &Value, name: &str, values: &[(&str, T)])
where
    T: Serialize + DeserializeOwned + PartialEq + Debug,
{
    let part = &schema["$defs"][name];
    let variants = part["oneOf"].as_array().unwrap().iter();
    let listed = variants.flat_map(|variant| match variant["properties"]["code"].as_object() {
        Some(code) => vec![code["const"].as_str().unwrap().to_string()],
        None => vec![variant["const"].as_str().unwrap().to_string()],
    });
    let stated = values.iter().map(|(code, _)| (*code).to_string());
    assert_eq!(listed.collect::<BTreeSet<_>>(), stated.collect(), "{name}");
    let whole = json!({ "$defs": schema["$defs"], "$ref": format!("#/$defs/{name}") });
    let validator = jsonschema::validator_for(&whole).unwrap();
    for (code, value) in values {
        let written = serde_json::to_value(value).unwrap();
        let bare = written.get("code").unwrap_or(&written);
        assert_eq!(bare, code, "{name}");
        assert!(validator.is_valid(&written), "{name}: {written}");
        assert_eq!(serde_json::from_value::<T>(written.clone()).unwrap(), *value);
        // Another code with the same data is no value of it.
        let other = match written.as_object() {
            Some(fields) => {
                let mut fields = fields.clone();
                fields.insert("code".into(), "no_such".into());
                Value::Object(fields)
            }
            None => "no_such".into(),
        };
        assert!(!validator.is_valid(&other), "{name}: {other}");
        assert!(serde_json::from_value::<T>(other).is_err());
    }
}

fn text(text: &str) -> String {
    text.into()
}

fn length() -> LengthJson {
    LengthJson { length: text("0.0040"), unit: text("in") }
}

#[test]
fn codes_of_a_provision() {
    let schema = provision::schema().to_value();
    codes(
        &schema,
        "AcceptanceJson",
        &[
            ("nominal", AcceptanceJson::Nominal),
            ("worst_case", AcceptanceJson::WorstCase),
            ("expanded", AcceptanceJson::Expanded),
        ],
    );
    codes(
        &schema,
        "StoppedBy",
        &[
            ("time_limit", StoppedBy::TimeLimit),
            ("interrupt", StoppedBy::Interrupt),
            ("memory", StoppedBy::Memory),
            ("work_limit", StoppedBy::WorkLimit),
        ],
    );
    codes(
        &schema,
        "ServiceStanding",
        &[
            ("met", ServiceStanding::Met),
            ("open", ServiceStanding::Open),
            ("not_met", ServiceStanding::NotMet),
        ],
    );
    let readings = LawJson::Readings { mean: text("0.04107"), deviation: 0.00114, readings: 10 };
    codes(&schema, "LawJson", &[("even", LawJson::Even), ("readings", readings)]);
    let long = WarningJson::LongSteps { pumps: vec![text("P-1")], narrowest: length() };
    let free = WarningJson::CountedAsFree { items: vec![text("SH-1")] };
    codes(&schema, "WarningJson", &[("long_steps", long), ("counted_as_free", free)]);
}

fn chance() -> ChanceJson {
    ChanceJson { conforming: text("0.9423"), law: ChanceLawJson::Normal }
}

fn not_proven() -> CauseJson {
    CauseJson::NotProven {
        packs: std::collections::BTreeMap::new(),
        requirements: Vec::new(),
        chances: vec![chance()],
        settle: vec![ImprovementJson::MoreReadings { dimension: text("ring"), more: 1 }],
    }
}

#[test]
fn codes_of_verdicts() {
    let schema = plan::schema().to_value();
    codes(
        &schema,
        "JudgementJson",
        &[
            ("met", JudgementJson::Met),
            ("not_proven", JudgementJson::NotProven),
            ("not_met", JudgementJson::NotMet),
        ],
    );
    codes(
        &schema,
        "StandingJson",
        &[
            ("below", StandingJson::Below),
            ("within", StandingJson::Within),
            ("above", StandingJson::Above),
            ("both", StandingJson::Both),
        ],
    );
    codes(
        &schema,
        "ChanceLawJson",
        &[
            ("normal", ChanceLawJson::Normal),
            ("student", ChanceLawJson::Student { degrees_of_freedom: 4 }),
            ("draws", ChanceLawJson::Draws { draws: 160_000 }),
        ],
    );
    let dimension = || text("ring");
    let to = length();
    codes(
        &schema,
        "ImprovementJson",
        &[
            ("more_readings", ImprovementJson::MoreReadings { dimension: dimension(), more: 2 }),
            (
                "better_gauge",
                ImprovementJson::BetterGauge { dimension: dimension(), plus_minus: to.clone() },
            ),
            (
                "smaller_uncertainty",
                ImprovementJson::SmallerUncertainty {
                    dimension: dimension(),
                    standard_uncertainty: to.clone(),
                },
            ),
            (
                "better_certificate",
                ImprovementJson::BetterCertificate {
                    gauge: text("gauge M1"),
                    expanded_uncertainty: to.clone(),
                },
            ),
            ("better_lot", ImprovementJson::BetterLot { item: text("SH-1"), plus_minus: to }),
        ],
    );
    let requirement = || text("running_clearance");
    codes(
        &schema,
        "NotMadeJson",
        &[
            ("stopped", NotMadeJson::Stopped),
            ("memory", NotMadeJson::Memory),
            ("too_many", NotMadeJson::TooMany),
        ],
    );
    let below = VerdictWarningJson::ChanceBelowLevel {
        requirement: requirement(),
        chance: chance(),
        level: text("0.95"),
    };
    codes(
        &schema,
        "VerdictWarningJson",
        &[
            ("nominal_only", VerdictWarningJson::NominalOnly { requirement: requirement() }),
            ("chance_below_level", below),
        ],
    );
}

#[test]
fn codes_of_a_purchase() {
    let schema = purchase::schema().to_value();
    let late = StillShortJson::DueBeforeItComes {
        item: text("SH-1"),
        due: text("8 March"),
        there_on: text("2027-03-11"),
    };
    let none = StillShortJson::NoKit { short: Vec::new() };
    codes(&schema, "StillShortJson", &[("due_before_it_comes", late), ("no_kit", none)]);
    let lacking = vec![CountJson { item: text("SH-1"), count: 2 }];
    codes(
        &schema,
        "CauseJson",
        &[
            ("no_piece", CauseJson::NoPiece),
            ("all_reserved", CauseJson::AllReserved),
            ("limits_too_narrow", CauseJson::LimitsTooNarrow),
            ("uncertainty_too_wide", CauseJson::UncertaintyTooWide),
            ("not_proven", not_proven()),
            ("out_of_reach", CauseJson::OutOfReach),
            ("between_totals", CauseJson::BetweenTotals),
            ("together_too_many", CauseJson::TogetherTooMany),
            ("too_many_ways", CauseJson::TooManyWays),
            ("held", CauseJson::Held),
            ("search_ended", CauseJson::SearchEnded),
            ("not_found_out", CauseJson::NotFoundOut),
            ("stock_gone", CauseJson::StockGone { lacking, held_by: vec![text("P-1")] }),
        ],
    );
    codes(
        &schema,
        "ReorderBasisJson",
        &[
            ("lead_times", ReorderBasisJson::LeadTimes { rows: 36 }),
            ("days", ReorderBasisJson::Days { rows: 36, largest: 5 }),
            ("no_log", ReorderBasisJson::NoLog),
            ("never_issued", ReorderBasisJson::NeverIssued),
            ("no_lead_time", ReorderBasisJson::NoLeadTime),
            ("too_short", ReorderBasisJson::TooShort { days: 5, lead_days: 10 }),
            ("too_few", ReorderBasisJson::TooFew { dates: 2, wanted: 3 }),
            ("too_large", ReorderBasisJson::TooLarge),
        ],
    );
    let fine = FaultJson::TooFine { grain_nm: text("0.1"), totals: 1 << 40 };
    codes(
        &schema,
        "FaultJson",
        &[
            ("range", FaultJson::Range),
            ("step", FaultJson::Step),
            ("too_many_targets", FaultJson::TooManyTargets { targets: 2_000_000 }),
            ("size", FaultJson::Size { size: 3 }),
            ("pieces", FaultJson::Pieces { pieces: 17 }),
            ("window", FaultJson::Window),
            ("too_fine", fine),
            ("stopped", FaultJson::Stopped { by: StoppedBy::TimeLimit }),
            ("too_many_sizes", FaultJson::TooManySizes { sizes: 129 }),
        ],
    );
}

#[test]
fn codes_of_a_recheck() {
    let schema = recheck::schema().to_value();
    codes(
        &schema,
        "DecisionJson",
        &[
            ("not_kitted", DecisionJson::NotKitted),
            ("not_read", DecisionJson::NotRead),
            ("look_first", DecisionJson::LookFirst),
            ("recheck_lacking", DecisionJson::RecheckLacking),
            ("accept", DecisionJson::Accept),
            ("swap", DecisionJson::Swap),
            ("no_swap", DecisionJson::NoSwap),
        ],
    );
    codes(
        &schema,
        "UsualJson",
        &[
            ("thicker", UsualJson::Thicker),
            ("thinner", UsualJson::Thinner),
            ("seating", UsualJson::Seating),
        ],
    );
    let (name, pack) = (text("running_clearance"), text("bearing_shims"));
    let (of, own) =
        (OfJson::Requirement { name: name.clone() }, OfJson::Pack { name: pack.clone() });
    codes(&schema, "OfJson", &[("requirement", of.clone()), ("pack", own)]);
    let piece = FittedJson { item: text("LAM"), count: 1, peeled_to: Some(length()) };
    let other = FittedJson { item: text("SH-1"), count: 2, peeled_to: None };
    let missing = SlipJson::Missing { pack: pack.clone(), piece: piece.clone() };
    let mistaken =
        SlipJson::Mistaken { pack: pack.clone(), piece: piece.clone(), other: other.clone() };
    codes(
        &schema,
        "SlipJson",
        &[
            ("missing", missing.clone()),
            ("too_many", SlipJson::TooMany { pack: pack.clone(), piece: other.clone() }),
            ("mistaken", mistaken),
        ],
    );
    tasks(&schema, (of, name, pack), [piece, other], missing);
}

fn tasks(
    schema: &Value,
    (of, requirement, pack): (OfJson, String, String),
    [piece, other]: [FittedJson; 2],
    slip: SlipJson,
) {
    let (of, requirement, pack) = (|| of.clone(), || requirement.clone(), || pack.clone());
    let expected = RequirementJson {
        name: requirement(),
        unit: text("in"),
        target: text("0.0210"),
        lower: Some(text("0.0190")),
        upper: Some(text("0.0230")),
        value: text("0.0200"),
        guard: text("0.0005"),
        margin: text("0.0005"),
        verdict: JudgementJson::Met,
        conforms: true,
    };
    codes(
        schema,
        "TaskJson",
        &[
            ("measure_again", TaskJson::MeasureAgain { dimension: text("gap") }),
            ("not_kitted", TaskJson::NotKitted),
            ("not_read", TaskJson::NotRead),
            ("differs", TaskJson::Differs { of: of() }),
            ("read_third_time", TaskJson::ReadThirdTime { of: of() }),
            ("measure_pack_first", TaskJson::MeasurePackFirst { of: of() }),
            ("look_for", TaskJson::LookFor { of: of(), usual: UsualJson::Seating }),
            ("would_fit", TaskJson::WouldFit { of: of(), slips: vec![slip] }),
            ("read_again", TaskJson::ReadAgain),
            ("recheck", TaskJson::Recheck { requirement: requirement() }),
            ("cause_not_found", TaskJson::CauseNotFound { of: of() }),
            ("pack_not_measured", TaskJson::PackNotMeasured { pack: pack() }),
            ("not_met", TaskJson::NotMet { requirement: requirement() }),
            ("not_clear", TaskJson::NotClear { requirement: requirement(), finer: true }),
            ("miscounted", TaskJson::Miscounted { pack: pack(), count: 5, least: 0, most: 4 }),
            ("read_finer", TaskJson::ReadFiner),
            ("caution", TaskJson::Caution { when: text("before"), text: text("Lock it out.") }),
            ("take_out", TaskJson::TakeOut { pack: pack(), pieces: vec![other] }),
            (
                "put_in",
                TaskJson::PutIn {
                    pack: pack(),
                    piece: piece.clone(),
                    bin: Some(text("A1")),
                    cut_from: None,
                },
            ),
            ("peel_further", TaskJson::PeelFurther { pack: pack(), piece }),
            (
                "measure_pack",
                TaskJson::MeasurePack {
                    pack: pack(),
                    unit: text("in"),
                    total: text("0.0300"),
                    least: text("0.0295"),
                    most: text("0.0305"),
                },
            ),
            ("stays_empty", TaskJson::StaysEmpty { pack: pack() }),
            ("expected", TaskJson::Expected { requirement: expected }),
            ("bring_back", TaskJson::BringBack),
            ("no_swap", TaskJson::NoSwap { pieces: 6, all: false }),
        ],
    );
}

#[test]
fn codes_of_an_outage() {
    let schema = outage::schema().to_value();
    codes(
        &schema,
        "PumpStateJson",
        &[
            ("not_measured", PumpStateJson::NotMeasured),
            ("planned", PumpStateJson::Planned),
            ("bagged", PumpStateJson::Bagged),
            ("issued", PumpStateJson::Issued),
            ("rejected", PumpStateJson::Rejected),
            ("accepted", PumpStateJson::Accepted),
            ("short", PumpStateJson::Short),
            ("cancelled", PumpStateJson::Cancelled),
        ],
    );
    codes(
        &schema,
        "BookingJson",
        &[
            ("bag", BookingJson::Bag),
            ("issue", BookingJson::Issue),
            ("put_back", BookingJson::PutBack),
            ("receive", BookingJson::Receive),
            ("scrap", BookingJson::Scrap),
            ("count", BookingJson::Count),
            ("cut", BookingJson::Cut),
            ("opened", BookingJson::Opened),
            ("swap", BookingJson::Swap),
            ("reading", BookingJson::Reading),
            ("accept", BookingJson::Accept),
            ("cancel", BookingJson::Cancel),
            ("reinstate", BookingJson::Reinstate),
            ("undo", BookingJson::Undo),
            ("plan", BookingJson::Plan),
            ("took_over", BookingJson::TookOver),
        ],
    );
}
