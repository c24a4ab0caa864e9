//! Certificate of a plan: what proves that no plan is better, small enough to be added up again by anyone.
//!
//! The choice writes it down; [`verify`](mod@crate::verify) adds it up from the job alone, with kits that it lists itself.
//!
//! # The proof
//!
//! Pumps fall into groups. For each group and each goal stands a claim: *no plan that keeps the earlier goals' values has
//! a value below the bound*. Goals count downwards here, so pumps served are negative. Any multipliers, none of them
//! negative, prove a bound: with `h, l` for the most and the least pieces of sets of items, `n` for earlier goals, and
//! the price `p` of an item the sum of `h - l` over the sets that hold it,
//!
//! ```text
//! value >= sum of l least - sum of h most - sum of n value of the earlier goal
//!          + sum over pumps of min(0, least over its kits of cost + p pieces + n earlier costs)
//! ```
//!
//! A kit that lifts this sum above the claim is in no plan below it and is left out. Where that does not settle the claim,
//! the plans are split in two by something that is true of a plan or not, and each half is proven by itself.
//!
//! *Cuts.* Every whole plan also keeps rows that follow from rounding down. With weights `u` of the most pieces of sets, `n` of
//! earlier goals and `k` of earlier cuts, none of them negative, and any weight `w` of each pump,
//!
//! ```text
//! sum over kits taken of floor(sum of u pieces + sum of n earlier costs + sum of k earlier cuts' numbers + w of its pump)
//!     <= floor(sum of u most + sum of n value of the earlier goal + sum of k limit of the earlier cut + sum over pumps of w)
//! ```
//!
//! since the left side is a whole number. The number of taking none is 0, so `w` is from 0 to below 1 where that is allowed.
//! A cut then counts in a bound as an earlier goal does, its kits' numbers as costs and the right side as its value.
//!
//! Packs that are spoiled once opened, and plates that are cut up, are supplies: one choice of each is taken, as one kit
//! of each pump is, and what it puts in counts as taken below zero.
//!
//! However the pumps are put into groups, the bounds of groups add up to a bound: each group by itself may use the whole
//! stock, which can only be better for it. Only supplies may not be shared: what is wasted of them does not add up.

/// Unit of the multipliers: they are whole numbers in 1/UNIT of a unit of the goal.
pub const UNIT: i128 = 1 << 50;

/// Unit of the pumps' weights in a cut.
pub const CUT_UNIT: i128 = 1 << 20;

/// Proofs of all groups; empty where there is none.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Certificate {
    /// One proof per group. Pumps without any kit are in none.
    pub groups: Vec<GroupProof>,
    /// Pieces to hold back, in the order in which blocks of the groups are numbered after the pumps.
    pub to_hold_back: Vec<PieceToHoldBack>,
}

/// Piece to hold back for pumps that are not measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PieceToHoldBack {
    /// Index of its item in the stock.
    pub item: usize,
    /// How much it counts.
    pub worth: u32,
    /// Whether the plan holds it back.
    pub held: bool,
}

/// Proofs of the goals of one group.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct GroupProof {
    /// Pumps, by their index in the job, ascending.
    pub pumps: Vec<usize>,
    /// Sets of items, by their index in the job's stock (lots of plates come after it), that multipliers and splits refer to.
    pub sets: Vec<Vec<usize>>,
    /// Supplies that splits refer to.
    pub suppliers: Vec<ProofSupplier>,
    /// Proofs of the goals in their order: one per priority, then waste, plates (if the job has any), pieces, scarcity.
    /// `None` where a goal is not proven, or its proof is too large.
    pub goals: Vec<Option<GoalProof>>,
}

/// Proof of a bound on one goal.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct GoalProof {
    /// Bound that is claimed: in millionths of the currency for the waste, minus the pumps served, pieces, points.
    pub bound: i64,
    /// Multipliers by which kits are left out before the tree, one after the other.
    pub before: Vec<ProofMultipliers>,
    /// Cuts that the multipliers of the tree refer to, each after those that it refers to.
    pub cuts: Vec<ProofCut>,
    /// Tree of splits, its root first. Empty where every pump that the goal counts is served.
    pub nodes: Vec<ProofNode>,
}

/// Row that every whole plan keeps, by its weights: whole numbers in 1/[`UNIT`].
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ProofCut {
    /// Set, and weight of its most pieces.
    pub sets: Vec<(usize, i128)>,
    /// Earlier goal, by its place, and weight of its value.
    pub goals: Vec<(usize, i128)>,
    /// Earlier cut, by its place, and weight of its limit.
    pub cuts: Vec<(usize, i128)>,
    /// Weight of each pump of the group, in 1/[`CUT_UNIT`].
    pub pumps: Vec<i64>,
}

/// Part of the plans.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ProofNode {
    /// Multipliers of its bound.
    pub multipliers: ProofMultipliers,
    /// Split, and its two parts by their place in the list: the one of which it is not true, the one of which it is.
    /// `None` where the part is settled.
    pub split: Option<(ProofSplit, [usize; 2])>,
}

/// Supply of pieces beside those that lie singly in the drawer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ProofSupplier {
    /// Packs of an item that are spoiled once opened; its amounts are pieces paid for.
    Packs {
        /// Item, by its index in the stock.
        item: usize,
    },
    /// Plates cut in one layout; its amounts are plates.
    Layout {
        /// Lot of plates, by its index in the job.
        plate: usize,
        /// Side along which the strips run: 0 or 1.
        along: usize,
        /// Items, each with the number of its strips.
        strips: Vec<(usize, u32)>,
    },
}

/// Multipliers, as far as they are not zero, in 1/[`UNIT`].
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ProofMultipliers {
    /// Set, multiplier of its most and of its least pieces.
    pub sets: Vec<(usize, i128, i128)>,
    /// Earlier goal, by its place, and its multiplier.
    pub goals: Vec<(usize, i128)>,
    /// Cut, by its place, and its multiplier.
    pub cuts: Vec<(usize, i128)>,
}

/// Something that is true of a plan or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProofSplit {
    /// All pumps of the group together take more than so many pieces of a set.
    MoreThan {
        /// Set, by its place in the list.
        set: usize,
        /// Number of pieces.
        pieces: i64,
    },
    /// A pump has a kit.
    Served {
        /// Pump, by its index in the job.
        pump: usize,
    },
    /// A pump takes at least so many pieces of an item.
    Takes {
        /// Pump, by its index in the job.
        pump: usize,
        /// Item, by its index in the stock.
        item: usize,
        /// Number of pieces.
        least: u32,
    },
    /// A supply puts in at least so much.
    Supplies {
        /// Supply, by its place in the list.
        supplier: usize,
        /// Amount.
        least: u32,
    },
}
