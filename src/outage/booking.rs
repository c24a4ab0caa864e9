//! Bookings: events that people report, and that the program takes over.

use serde::{Deserialize, Serialize};

/// An event to be booked. As JSON it is the text of its entry.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "booking", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Booking {
    /// The pieces of a kit are in the bag.
    Bag {
        /// The pump.
        tag: String,
        /// Planned pieces that are not in the bag.
        without: Vec<KitPiece>,
        /// Pieces in the bag that are not planned.
        with: Vec<KitPiece>,
    },
    /// The bag is at the bench.
    Issue {
        /// The pump.
        tag: String,
    },
    /// The pieces are back in their bins.
    PutBack {
        /// The pump.
        tag: String,
    },
    /// Pieces came in.
    Receive {
        /// Stock number.
        item: String,
        /// Number of pieces.
        count: u32,
    },
    /// Pieces were thrown away.
    Scrap {
        /// Stock number.
        item: String,
        /// Number of pieces.
        count: u32,
        /// The pump out of whose bag they come; out of their bin where there is none.
        from: Option<String>,
    },
    /// The pieces in the bin were counted.
    Count {
        /// Stock number.
        item: String,
        /// Number of pieces in the bin.
        count: u32,
    },
    /// A plate was cut up as the last plan has it: the bags that need its pieces take them from their bins.
    Cut {
        /// Stock number of the plates.
        plate: String,
    },
    /// A sealed pack was opened for a bag, and the rest of it is spoiled, as the last plan has it.
    Opened {
        /// Stock number.
        item: String,
    },
    /// Pieces of a bag went back into their bins, and others into the bag.
    Swap {
        /// The pump.
        tag: String,
        /// Pieces that go back.
        out: Vec<KitPiece>,
        /// Pieces that go in.
        into: Vec<KitPiece>,
    },
    /// A finished pack or a clearance was measured at the bench.
    Reading {
        /// The pump.
        tag: String,
        /// Name of the place or requirement in the model.
        what: String,
        /// Value with its unit.
        value: String,
        /// Judgement of the pump with this reading.
        finding: Finding,
    },
    /// A dimension was measured, which the pump workbook has in a cell.
    Measured {
        /// The pump.
        tag: String,
        /// Name of the dimension in the model.
        what: String,
        /// Value with its unit.
        value: String,
        /// Key of the heading of its column.
        heading: String,
        /// Contents of the cell when it was booked; empty where it was empty.
        cell: String,
    },
    /// Somebody signs the pump off.
    Accept {
        /// The pump.
        tag: String,
        /// Judgement of its readings.
        finding: Finding,
    },
    /// The pump is withdrawn from the outage.
    Cancel {
        /// The pump.
        tag: String,
    },
    /// The pump takes part again.
    Reinstate {
        /// The pump.
        tag: String,
    },
    /// An earlier entry was wrong.
    Undo {
        /// Number of the entry.
        entry: u32,
    },
    /// A plan was made.
    Plan(PlanBooking),
    /// Workbooks were taken over.
    TookOver(TookOver),
}

/// Pieces of a kit.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KitPiece {
    /// Name of the place in the model, or kind of the consumable; empty where it is not known.
    pub place: String,
    /// Stock number.
    pub item: String,
    /// Number of pieces.
    pub count: u32,
    /// Thickness that each is peeled to, with its unit; none for whole pieces.
    pub peeled_to: Option<String>,
}

/// Judgement of readings by the rules of `recheck`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Finding {
    /// Every requirement is read as asked, and met.
    Conforms,
    /// Readings are missing, or differ from the prediction and are to be repeated.
    Open {
        /// The cause, in words.
        why: String,
    },
    /// A requirement is not met.
    NotMet {
        /// The cause, in words.
        why: String,
    },
}

/// A plan with its kits.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanBooking {
    /// Code of the plan's contents.
    pub code: String,
    /// Kits of the pumps that were planned.
    pub kits: Vec<PlannedKit>,
    /// Pumps without a kit, each with the reason.
    pub short: Vec<TagNote>,
    /// Pumps that are not fully measured, each with what is missing.
    pub waiting: Vec<TagNote>,
    /// Pumps out of play whose pieces no longer conform on the figures of this plan, each with the reason.
    pub not_fit: Vec<TagNote>,
    /// Pumps out of play that conform.
    pub held: Vec<String>,
    /// Ways to cure pumps without a kit, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cures: Vec<TagNote>,
    /// Pieces that it leaves and holds back for pumps that are not measured, in sentences.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left: Vec<String>,
    /// Plates that are cut for the kits.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cuts: Vec<PlateCut>,
    /// Pieces that are spoiled with the packs that the kits open.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub spoils: Vec<ItemCount>,
}

/// Plates of one lot that are cut up, with all that comes of them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlateCut {
    /// Stock number of the plates.
    pub plate: String,
    /// Number of plates.
    pub count: u32,
    /// Pieces, and remnants that are kept.
    pub lots: Vec<CutLot>,
}

/// Pieces or remnants of a plate: a lot of the stock from then on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CutLot {
    /// Stock number.
    pub item: String,
    /// Number of them, those for the kits included.
    pub count: u32,
    /// Headings of its row in a stock workbook with their contents, On hand left out.
    pub columns: Vec<(String, String)>,
}

/// Kit of a pump.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlannedKit {
    /// The pump.
    pub tag: String,
    /// Its pieces.
    pub pieces: Vec<KitPiece>,
}

/// A pump with something to say of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TagNote {
    /// The pump.
    pub tag: String,
    /// The reason, in words.
    pub why: String,
}

/// Files and counts of the workbooks that a plan was made from.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TookOver {
    /// The files.
    pub files: Vec<TakenFile>,
    /// Settings of the command line: name as on the Policy sheet, value.
    pub settings: Vec<(String, String)>,
    /// On hand of every item of the stock workbook.
    pub counts: Vec<ItemCount>,
    /// Which count holds where the two differ.
    pub holds: Option<Holding>,
}

/// A file that was taken over.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TakenFile {
    /// Its use.
    pub role: FileRole,
    /// Name without its folder; for a folder of files, that of the file inside it.
    pub name: String,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
}

/// Use of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FileRole {
    /// The stock workbook.
    Stock,
    /// A file of the stock workbook, where that is a folder.
    StockFolder,
    /// The pump workbook.
    Pumps,
    /// A file of the pump workbook, where that is a folder.
    PumpsFolder,
    /// A file of the folder of models.
    Model,
}

/// Pieces of an item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ItemCount {
    /// Stock number.
    pub item: String,
    /// Number of pieces.
    pub count: u32,
}

/// Counts that hold where workbook and ledger differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Holding {
    /// On hand of the workbook.
    Workbook,
    /// Stock of the ledger.
    Ledger,
}

impl TookOver {
    /// Whether files, settings and counts are those of another takeover.
    pub fn is_same(&self, other: &TookOver) -> bool {
        let parts =
            |taken: &TookOver| (taken.files.clone(), taken.settings.clone(), taken.counts.clone());
        parts(self) == parts(other)
    }
}

impl Booking {
    /// Word for people, as on the command line.
    pub fn word(&self) -> &'static str {
        match self {
            Booking::Bag { .. } => "bag",
            Booking::Issue { .. } => "issue",
            Booking::PutBack { .. } => "put-back",
            Booking::Receive { .. } => "receive",
            Booking::Scrap { .. } => "scrap",
            Booking::Count { .. } => "count",
            Booking::Cut { .. } => "cut",
            Booking::Opened { .. } => "opened",
            Booking::Swap { .. } => "swap",
            Booking::Reading { .. } | Booking::Measured { .. } => "reading",
            Booking::Accept { .. } => "accept",
            Booking::Cancel { .. } => "cancel",
            Booking::Reinstate { .. } => "reinstate",
            Booking::Undo { .. } => "undo",
            Booking::Plan(_) => "plan",
            Booking::TookOver(_) => "took over",
        }
    }

    /// Whether a booking is another try of this one. The judgement of readings may differ: the first try is in it.
    pub fn is_retry_of(&self, other: &Booking) -> bool {
        let asked = |booking: &Booking| {
            let mut booking = booking.clone();
            match &mut booking {
                Booking::Reading { finding, .. } | Booking::Accept { finding, .. } => {
                    *finding = Finding::Conforms;
                }
                _ => {}
            }
            booking
        };
        asked(self) == asked(other)
    }

    /// The pump that it is about, if it is about one.
    pub fn tag(&self) -> Option<&str> {
        match self {
            Booking::Bag { tag, .. }
            | Booking::Issue { tag }
            | Booking::PutBack { tag }
            | Booking::Swap { tag, .. }
            | Booking::Reading { tag, .. }
            | Booking::Measured { tag, .. }
            | Booking::Accept { tag, .. }
            | Booking::Cancel { tag }
            | Booking::Reinstate { tag }
            | Booking::Scrap { from: Some(tag), .. } => Some(tag),
            _ => None,
        }
    }
}

/// `2 x SH-010`, or `1 x SH-010 peeled to 0.006 in`.
impl std::fmt::Display for KitPiece {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} x {}", self.count, self.item)?;
        match &self.peeled_to {
            Some(to) => write!(f, " peeled to {to}"),
            None => Ok(()),
        }
    }
}
