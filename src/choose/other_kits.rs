//! Other kits of one pump: all that meet its requirements out of the whole drawer, the least wasteful first.

use super::control::Control;
use super::{Beside, ChooseError, CombinationLists, Setup, uses_of};
use crate::job::Job;
use crate::plan::PackPick;
use crate::stock::Item;

/// Kits of a pump beside a given one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OtherKits {
    /// Kits, by their own waste, then by the number of pieces.
    pub kits: Vec<Vec<PackPick>>,
    /// Number of kits of other pieces that there are.
    pub of: usize,
    /// Whether time or memory ended the list, so that there may be more and better ones.
    pub cut: bool,
}

/// At most `most` kits of a pump (by its index) of other pieces than a given one; all pieces that may be issued count as
/// free.
///
/// # Errors
/// [`ChooseError`] when there are too many ways to list.
///
/// ```
/// use gapwright::choose::control::Control;
/// use gapwright::choose::other_kits::other_kits;
/// use gapwright::read::{self, Sources};
/// # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
/// let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
/// let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
/// let job = read::job(&sources).expect("the sample has no problems");
/// let control = Control::unlimited();
/// let all = other_kits(&job, 0, &[], 100, &control).unwrap();
/// let others = other_kits(&job, 0, &all.kits[0], 100, &control).unwrap();
/// assert_eq!(others.kits, all.kits[1..]);
/// ```
pub fn other_kits(
    job: &Job,
    pump: usize,
    than: &[PackPick],
    most: usize,
    control: &Control<'_>,
) -> Result<OtherKits, ChooseError> {
    let _lists = control.lists();
    let mut some = vec![false; job.pumps.len()];
    some[pump] = true;
    let available: Vec<u32> = job.stock.iter().map(Item::available).collect();
    let mut laid = Setup::build(job, &some, &available, Beside::default(), control)?;
    let mut columns = std::mem::take(&mut laid.columns[pump]);
    let own = uses_of(than.iter().flat_map(|pack| &pack.picks));
    columns.retain(|column| Some(&column.uses) != own.as_ref());
    let pieces = |uses: &super::instance::Uses| -> i32 {
        uses.iter().map(|(_, count)| i32::from(*count)).sum()
    };
    columns.sort_by_key(|column| (column.waste, pieces(&column.uses)));
    let first = columns.iter().take(most);
    Ok(OtherKits {
        kits: first.map(|column| CombinationLists::picks(job, pump, column)).collect(),
        of: columns.len(),
        cut: laid.cut.is_some(),
    })
}
