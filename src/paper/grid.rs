//! Sheets of adhesive labels: rows, columns and millimetres.

use thiserror::Error;

use crate::length::{Length, Unit};

/// Widest and tallest paper that fits A4 or Letter, in millimetres.
const PAPER: [f64; 2] = [215.9, 297.0];
/// Least label on which every line can be read, in millimetres.
const LEAST: [f64; 2] = [50.0, 25.0];

/// Grid of labels on a sheet, in millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LabelGrid {
    /// Labels beside each other, and below each other.
    pub count: [u32; 2],
    /// Width and height of one.
    pub size: [f64; 2],
    /// Distance of the first one from the left and the upper edge of the sheet.
    pub margin: [f64; 2],
    /// Gaps between labels, across and down.
    pub gap: [f64; 2],
}

impl Default for LabelGrid {
    /// A grid for plain paper, A4 or Letter, to be cut apart.
    fn default() -> LabelGrid {
        LabelGrid { count: [2, 7], size: [93.0, 36.0], margin: [12.0, 12.0], gap: [0.0, 0.0] }
    }
}

/// Reason that labels cannot be printed in a grid.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LabelGridError {
    /// No row or no column.
    #[error("a sheet without labels")]
    None,
    /// The labels are too small to be read.
    #[error("labels of {0} x {1} mm")]
    TooSmall(f64, f64),
    /// The labels do not fit on A4 or Letter.
    #[error("labels that take {0} x {1} mm with their margins")]
    TooLarge(f64, f64),
}

impl LabelGridError {
    /// Grids that can be printed.
    pub fn expected(&self) -> String {
        match self {
            LabelGridError::None => "at least one column and one row".into(),
            LabelGridError::TooSmall(..) => {
                format!("labels of at least {} x {} mm", LEAST[0], LEAST[1])
            }
            LabelGridError::TooLarge(..) => {
                format!(
                    "at most {} x {} mm, the width of Letter and the height of A4",
                    PAPER[0], PAPER[1]
                )
            }
        }
    }
}

/// A measure of a grid that cannot be read, or measures that make no grid.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GridFault {
    /// The measure, by its place among those of [`LabelGrid::typed`]; `None` for the grid as a whole.
    pub measure: Option<usize>,
    /// Its text.
    pub found: String,
    /// Texts that can be read.
    pub expected: String,
}

impl LabelGrid {
    /// A grid as its measures are typed: count, size, margin and gap, each as two numbers for [`two_counts`] or
    /// [`two_lengths`]. Without any the usual one. A sheet of its own has the margins and gaps that are stated for it, else
    /// none.
    ///
    /// # Errors
    /// [`GridFault`], each of them.
    ///
    /// ```
    /// use gapwright::paper::LabelGrid;
    /// let grid = LabelGrid::typed([Some("3x8"), Some("70x37"), Some("0x0.5"), None]).unwrap();
    /// assert_eq!((grid.count, grid.margin, grid.gap), ([3, 8], [0.0, 0.5], [0.0, 0.0]));
    /// assert_eq!(LabelGrid::typed([None; 4]), Ok(LabelGrid::default()));
    /// assert_eq!(LabelGrid::typed([Some("3"), Some("70x37"), None, None]).unwrap_err()[0].measure, Some(0));
    /// ```
    pub fn typed(typed: [Option<&str>; 4]) -> Result<LabelGrid, Vec<GridFault>> {
        let [count, size, margin, gap] = typed;
        let own = count.is_some() && size.is_some();
        if !own && typed.iter().any(Option::is_some) {
            let [found, expected] = ["measures of labels in part", "their count and their size"];
            let [found, expected] = [found, expected].map(String::from);
            return Err(vec![GridFault { measure: None, found, expected }]);
        }
        let usual = LabelGrid::default();
        let mut faults = Vec::new();
        let mut wrong = |at: usize, text: &str, expected: &str| {
            let [found, expected] = [text, expected].map(String::from);
            faults.push(GridFault { measure: Some(at), found, expected });
        };
        let count = count.map_or(Some(usual.count), |text| {
            two_counts(text).or_else(|| {
                wrong(0, text, "columns and rows, such as 3x8");
                None
            })
        });
        let rest = if own { [0.0; 2] } else { usual.margin };
        let mut lengths = |at, text: Option<&str>, usual| match text {
            None => Some(usual),
            Some(text) => two_lengths(text).or_else(|| {
                wrong(at, text, "two lengths, such as 70x37");
                None
            }),
        };
        let size = lengths(1, size, usual.size);
        let margin = lengths(2, margin, rest);
        let gap = lengths(3, gap, usual.gap);
        let (Some(count), Some(size), Some(margin), Some(gap)) = (count, size, margin, gap) else {
            return Err(faults);
        };
        let grid = LabelGrid { count, size, margin, gap };
        match grid.check() {
            Ok(()) => Ok(grid),
            Err(error) => {
                let (found, expected) = (error.to_string(), error.expected());
                Err(vec![GridFault { measure: None, found, expected }])
            }
        }
    }

    /// Whether labels can be printed in the grid.
    ///
    /// # Errors
    /// [`LabelGridError`]: the first reason against it.
    ///
    /// ```
    /// use gapwright::paper::LabelGrid;
    /// let sheet = LabelGrid { count: [3, 8], size: [70.0, 37.0], margin: [0.0, 0.5], gap: [0.0; 2] };
    /// assert!(sheet.check().is_ok());
    /// assert!(LabelGrid { count: [4, 8], ..sheet }.check().is_err());
    /// ```
    pub fn check(&self) -> Result<(), LabelGridError> {
        if self.count.contains(&0) {
            return Err(LabelGridError::None);
        }
        if self.size.iter().zip(LEAST).any(|(size, least)| *size < least) {
            return Err(LabelGridError::TooSmall(self.size[0], self.size[1]));
        }
        let [across, down] = [0, 1].map(|at| {
            let count = f64::from(self.count[at]);
            self.margin[at] + count * self.size[at] + (count - 1.0) * self.gap[at]
        });
        if across > PAPER[0] || down > PAPER[1] {
            return Err(LabelGridError::TooLarge(across, down));
        }
        Ok(())
    }

    /// Labels on a sheet.
    pub(crate) fn on_a_sheet(&self) -> usize {
        self.count.iter().map(|count| *count as usize).product::<usize>().max(1)
    }
}

/// Two whole numbers or lengths parted by an `x`: `3x8`, `70x37`; a bare length is in millimetres.
///
/// ```
/// use gapwright::paper::{two_counts, two_lengths};
/// assert_eq!(two_counts("3x8"), Some([3, 8]));
/// assert_eq!(two_lengths("70 x 0.5 in"), Some([70.0, 12.7]));
/// assert_eq!(two_lengths("70"), None);
/// ```
pub fn two_lengths(text: &str) -> Option<[f64; 2]> {
    let (one, other) = text.split_once(['x', 'X', '\u{d7}'])?;
    let length = |text: &str| {
        let length = Length::parse(text.trim(), Some(Unit::Millimetre)).ok()?;
        (length >= Length::ZERO).then(|| length.to_f64(Unit::Millimetre))
    };
    Some([length(one)?, length(other)?])
}

/// Two whole numbers parted by an `x`, as for [`two_lengths`].
pub fn two_counts(text: &str) -> Option<[u32; 2]> {
    let (one, other) = text.split_once(['x', 'X', '\u{d7}'])?;
    Some([one.trim().parse().ok()?, other.trim().parse().ok()?])
}
