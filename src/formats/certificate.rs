//! The certificate of a plan as JSON: see [`mod@crate::certificate`] for what it proves and how.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use crate::certificate::{
    Certificate, GoalProof, GroupProof, PieceToHoldBack, ProofCut, ProofMultipliers, ProofNode,
    ProofSplit, ProofSupplier,
};

/// Name of the format.
pub const FORMAT: &str = "gapwright.certificate.v1";

/// A certificate. Pumps are numbered in the order of the pump workbook and items in that of the stock workbook, both
/// from 0.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CertificateJson {
    /// Always `gapwright.certificate.v1`.
    pub format: String,
    /// Code of the plan that it is of, twelve hexadecimal digits.
    pub plan: String,
    /// Groups of pumps, each proven by itself. Pumps without any kit are in none.
    pub groups: Vec<GroupJson>,
    /// Pieces to hold back for pumps that are not measured; groups number them after the pumps.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub to_hold_back: Vec<PieceToHoldBackJson>,
}

/// Piece to hold back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PieceToHoldBackJson {
    /// Its item.
    pub item: usize,
    /// Drawn outages in which it is needed.
    pub worth: u32,
    /// Whether the plan holds it back.
    pub held: bool,
}

/// Proofs of a group of pumps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GroupJson {
    /// Pumps, as runs from the first to the last.
    pub pumps: Vec<[usize; 2]>,
    /// Sets of items that multipliers and splits refer to by their place here.
    pub sets: Vec<Vec<usize>>,
    /// Supplies that splits refer to by their place here.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub suppliers: Vec<SupplierJson>,
    /// Goals in their order: pumps kitted, one goal per priority; waste; plates, where there are any; pieces; scarcity
    /// points. Null where there is no proof.
    pub goals: Vec<Option<ProofJson>>,
}

/// Proof of one goal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProofJson {
    /// Bound that is claimed: minus the pumps kitted; millionths of the currency; plates, pieces or points.
    pub bound: i64,
    /// Multipliers by which kits are left out before the tree.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub before: Vec<MultipliersJson>,
    /// Cuts that the multipliers of the tree refer to by their place here.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cuts: Vec<CutJson>,
    /// Tree of splits, the root first; empty where every pump that the goal counts has a kit.
    pub nodes: Vec<NodeJson>,
}

/// Row that every whole plan keeps, by its weights in 1/2^50: with the place of the set, the earlier goal or the earlier cut.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct CutJson {
    /// For the most pieces of a set.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    most: Vec<(usize, String)>,
    /// For the value of an earlier goal.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    goals: Vec<(usize, String)>,
    /// For the limit of an earlier cut.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    cuts: Vec<(usize, String)>,
    /// Weight of each pump of the group, in 1/2^20.
    pumps: Vec<i64>,
}

/// Part of the plans, with the multipliers of its bound.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NodeJson {
    #[serde(flatten)]
    multipliers: MultipliersJson,
    /// How it is split; absent where it is settled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    split: Option<SplitJson>,
    /// Its parts by their place in the list: the one of which the split is not true, the one of which it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    parts: Option<[usize; 2]>,
}

/// Multipliers that are not zero, whole numbers in 1/2^50: with the place of the set or the earlier goal.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct MultipliersJson {
    /// For the most pieces of a set.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    most: Vec<(usize, String)>,
    /// For the least pieces of a set.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    least: Vec<(usize, String)>,
    /// For the value of an earlier goal.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    goals: Vec<(usize, String)>,
    /// For the limit of a cut.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    cuts: Vec<(usize, String)>,
}

/// Something that is true of a plan or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SplitJson {
    /// All pumps of the group together take more than so many pieces of a set.
    MoreThan {
        /// The set.
        set: usize,
        /// Number of pieces.
        pieces: i64,
    },
    /// A pump has a kit.
    Kitted {
        /// The pump.
        pump: usize,
    },
    /// A pump takes at least so many pieces of an item.
    Takes {
        /// The pump.
        pump: usize,
        /// The item.
        item: usize,
        /// Number of pieces.
        least: u32,
    },
    /// A supply puts in at least so much.
    Supplies {
        /// The supply.
        supplier: usize,
        /// Pieces paid for, or plates cut.
        least: u32,
    },
}

/// Supply of pieces.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SupplierJson {
    /// Packs that are spoiled once opened.
    Packs {
        /// The item.
        item: usize,
    },
    /// Plates cut in one layout.
    Layout {
        /// The lot of plates.
        plate: usize,
        /// Side along which the strips run, 0 or 1.
        along: usize,
        /// Items, each with the number of its strips.
        strips: Vec<(usize, u32)>,
    },
}

/// Reasons why a text is not a certificate of this format.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotACertificate {
    /// Another format, by its name.
    #[error("the format `{0}`")]
    AnotherFormat(String),
    /// Not a certificate.
    #[error("not a certificate ({0})")]
    NoCertificate(String),
}

/// The JSON Schema of the format.
pub fn schema() -> Schema {
    schema_for!(CertificateJson)
}

/// A certificate as text in one line.
pub fn text(plan: &str, certificate: &Certificate) -> String {
    let document = CertificateJson {
        format: FORMAT.into(),
        plan: plan.into(),
        groups: certificate.groups.iter().map(of_group).collect(),
        to_hold_back: certificate
            .to_hold_back
            .iter()
            .map(|&PieceToHoldBack { item, worth, held }| PieceToHoldBackJson { item, worth, held })
            .collect(),
    };
    let mut text = serde_json::to_string(&document).unwrap_or_default();
    text.push('\n');
    text
}

/// Reads a certificate, with the code of the plan that it is of.
///
/// # Errors
/// [`NotACertificate`].
///
/// ```
/// use gapwright::certificate::Certificate;
/// use gapwright::formats::certificate::{parse, text};
/// let none = Certificate::default();
/// assert_eq!(parse(text("0123456789ab", &none).as_bytes()), Ok(("0123456789ab".into(), none)));
/// assert!(parse(b"{\"format\": \"gapwright.plan.v4\"}").unwrap_err().to_string().contains("plan.v4"));
/// ```
pub fn parse(bytes: &[u8]) -> Result<(String, Certificate), NotACertificate> {
    #[derive(Deserialize)]
    struct OnlyFormat {
        format: String,
    }
    let no = |error: serde_json::Error| {
        NotACertificate::NoCertificate(format!("line {}, column {}", error.line(), error.column()))
    };
    let named: OnlyFormat = serde_json::from_slice(bytes).map_err(no)?;
    if named.format != FORMAT {
        return Err(NotACertificate::AnotherFormat(named.format));
    }
    let document: CertificateJson = serde_json::from_slice(bytes).map_err(no)?;
    let groups = document.groups.into_iter().map(group).collect::<Option<_>>();
    let groups = groups.ok_or_else(|| {
        NotACertificate::NoCertificate(
            "a number that is too large, or a part that is missing".into(),
        )
    })?;
    let piece = |PieceToHoldBackJson { item, worth, held }| PieceToHoldBack { item, worth, held };
    let to_hold_back = document.to_hold_back.into_iter().map(piece).collect();
    Ok((document.plan, Certificate { groups, to_hold_back }))
}

fn of_group(group: &GroupProof) -> GroupJson {
    let mut pumps: Vec<[usize; 2]> = Vec::new();
    for &pump in &group.pumps {
        match pumps.last_mut() {
            Some([_, last]) if *last + 1 == pump => *last = pump,
            _ => pumps.push([pump, pump]),
        }
    }
    let goal = |goal: &GoalProof| ProofJson {
        bound: goal.bound,
        before: goal.before.iter().map(of_multipliers).collect(),
        cuts: goal.cuts.iter().map(of_cut).collect(),
        nodes: goal.nodes.iter().map(of_node).collect(),
    };
    GroupJson {
        pumps,
        sets: group.sets.clone(),
        suppliers: group.suppliers.iter().map(of_supplier).collect(),
        goals: group.goals.iter().map(|of| of.as_ref().map(goal)).collect(),
    }
}

fn of_supplier(supplier: &ProofSupplier) -> SupplierJson {
    match supplier.clone() {
        ProofSupplier::Packs { item } => SupplierJson::Packs { item },
        ProofSupplier::Layout { plate, along, strips } => {
            SupplierJson::Layout { plate, along, strips }
        }
    }
}

fn supplier(supplier: SupplierJson) -> ProofSupplier {
    match supplier {
        SupplierJson::Packs { item } => ProofSupplier::Packs { item },
        SupplierJson::Layout { plate, along, strips } => {
            ProofSupplier::Layout { plate, along, strips }
        }
    }
}

fn of_node(node: &ProofNode) -> NodeJson {
    NodeJson {
        multipliers: of_multipliers(&node.multipliers),
        split: node.split.as_ref().map(|(split, _)| match *split {
            ProofSplit::MoreThan { set, pieces } => SplitJson::MoreThan { set, pieces },
            ProofSplit::Served { pump } => SplitJson::Kitted { pump },
            ProofSplit::Takes { pump, item, least } => SplitJson::Takes { pump, item, least },
            ProofSplit::Supplies { supplier, least } => SplitJson::Supplies { supplier, least },
        }),
        parts: node.split.as_ref().map(|(_, parts)| *parts),
    }
}

fn of_multipliers(all: &ProofMultipliers) -> MultipliersJson {
    let some = |of: &dyn Fn(&(usize, i128, i128)) -> i128| {
        let each = all.sets.iter().map(|set| (set.0, of(set)));
        each.filter(|(_, number)| *number != 0)
            .map(|(set, number)| (set, number.to_string()))
            .collect()
    };
    MultipliersJson {
        most: some(&|set| set.1),
        least: some(&|set| set.2),
        goals: of_numbers(&all.goals),
        cuts: of_numbers(&all.cuts),
    }
}

fn of_cut(cut: &ProofCut) -> CutJson {
    CutJson {
        most: of_numbers(&cut.sets),
        goals: of_numbers(&cut.goals),
        cuts: of_numbers(&cut.cuts),
        pumps: cut.pumps.clone(),
    }
}

/// As texts: JSON's numbers are too short for many readers.
fn of_numbers(all: &[(usize, i128)]) -> Vec<(usize, String)> {
    all.iter().map(|(of, number)| (*of, number.to_string())).collect()
}

fn numbers(all: &[(usize, String)]) -> Option<Vec<(usize, i128)>> {
    all.iter().map(|(of, text)| Some((*of, text.parse().ok()?))).collect()
}

/// Most pumps that a certificate may name: more are a mistake.
const MOST_PUMPS: usize = 10_000_000;

fn group(group: GroupJson) -> Option<GroupProof> {
    let mut pumps = Vec::new();
    for [first, last] in group.pumps {
        if first > last || (last - first).saturating_add(pumps.len()) >= MOST_PUMPS {
            return None;
        }
        pumps.extend(first..=last);
    }
    let goal = |goal: ProofJson| {
        Some(GoalProof {
            bound: goal.bound,
            before: goal.before.iter().map(multipliers).collect::<Option<_>>()?,
            cuts: goal.cuts.into_iter().map(cut).collect::<Option<_>>()?,
            nodes: goal.nodes.into_iter().map(node).collect::<Option<_>>()?,
        })
    };
    let goals = group.goals.into_iter().map(|of| match of {
        Some(of) => goal(of).map(Some),
        None => Some(None),
    });
    Some(GroupProof {
        pumps,
        sets: group.sets,
        suppliers: group.suppliers.into_iter().map(supplier).collect(),
        goals: goals.collect::<Option<_>>()?,
    })
}

fn node(node: NodeJson) -> Option<ProofNode> {
    let split = match (node.split, node.parts) {
        (Some(split), Some(parts)) => Some((
            match split {
                SplitJson::MoreThan { set, pieces } => ProofSplit::MoreThan { set, pieces },
                SplitJson::Kitted { pump } => ProofSplit::Served { pump },
                SplitJson::Takes { pump, item, least } => ProofSplit::Takes { pump, item, least },
                SplitJson::Supplies { supplier, least } => ProofSplit::Supplies { supplier, least },
            },
            parts,
        )),
        (None, None) => None,
        _ => return None,
    };
    Some(ProofNode { multipliers: multipliers(&node.multipliers)?, split })
}

fn multipliers(all: &MultipliersJson) -> Option<ProofMultipliers> {
    let most = numbers(&all.most)?.into_iter().map(|(set, most)| (set, most, 0));
    let least = numbers(&all.least)?.into_iter().map(|(set, least)| (set, 0, least));
    Some(ProofMultipliers {
        sets: most.chain(least).collect(),
        goals: numbers(&all.goals)?,
        cuts: numbers(&all.cuts)?,
    })
}

fn cut(cut: CutJson) -> Option<ProofCut> {
    Some(ProofCut {
        sets: numbers(&cut.most)?,
        goals: numbers(&cut.goals)?,
        cuts: numbers(&cut.cuts)?,
        pumps: cut.pumps,
    })
}
