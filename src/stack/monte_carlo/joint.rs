//! Inputs that are drawn together.

/// Sources drawn together, from a multivariate normal distribution (JCGM 101:2008, 6.4.8).
///
/// Each keeps its own mean and its own normal distribution; the correlation joins them.
#[derive(Debug, Clone, PartialEq)]
pub struct Joint {
    /// Sources, by index.
    pub members: Vec<usize>,
    /// Correlation matrix, one row per member, in their order: 1 on the diagonal, symmetric, positive
    /// semi-definite. Each entry is a covariance divided by both standard deviations.
    pub correlation: Vec<Vec<f64>>,
}

/// Largest difference allowed between the product of the factor with its transpose and the matrix.
const OFF: f64 = 1e-7;

/// Pivot below which it counts as zero: the member depends wholly on those before it.
const NOUGHT: f64 = 1e-14;

/// Cholesky factor: the lower triangular `l` with `l l^T` equal to the matrix, by rows; `None` where the
/// matrix is not symmetric and positive semi-definite with ones on its diagonal.
///
/// A member that adds nothing of its own has a column of zeros.
pub(super) fn factor(correlation: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let n = correlation.len();
    if correlation.iter().any(|row| row.len() != n) {
        return None;
    }
    let mut l: Vec<Vec<f64>> = (0..n).map(|i| vec![0.0; i + 1]).collect();
    let times = |l: &[Vec<f64>], i: usize, j: usize, upto: usize| -> f64 {
        (0..upto).map(|k| l[i][k] * l[j][k]).sum()
    };
    for j in 0..n {
        let pivot = correlation[j][j] - times(&l, j, j, j);
        if pivot <= NOUGHT {
            continue;
        }
        l[j][j] = pivot.sqrt();
        for i in j + 1..n {
            l[i][j] = (correlation[i][j] - times(&l, i, j, j)) / l[j][j];
        }
    }
    // A matrix that is not positive semi-definite shows here, because a negative pivot is left out.
    let held = (0..n).all(|i| {
        (0..=i).all(|j| {
            let product = times(&l, i, j, j + 1);
            (product - correlation[i][j]).abs() <= OFF && (product - correlation[j][i]).abs() <= OFF
        }) && (correlation[i][i] - 1.0).abs() <= OFF
    });
    held.then_some(l)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(r: f64) -> Vec<Vec<f64>> {
        vec![vec![1.0, r], vec![r, 1.0]]
    }

    #[test]
    fn correlation_of_one_has_a_factor() {
        assert_eq!(factor(&pair(1.0)), Some(vec![vec![1.0], vec![1.0, 0.0]]));
        assert_eq!(factor(&pair(-1.0)), Some(vec![vec![1.0], vec![-1.0, 0.0]]));
        assert_eq!(factor(&pair(0.6)), Some(vec![vec![1.0], vec![0.6, 0.8]]));
        let ones = vec![vec![1.0; 10]; 10];
        assert!(factor(&ones).is_some_and(|l| l.iter().all(|row| (row[0] - 1.0).abs() < 1e-15)));
        assert_eq!(factor(&[]), Some(vec![]));
    }

    #[test]
    fn what_is_no_correlation_has_none() {
        assert_eq!(factor(&pair(1.001)), None);
        assert_eq!(factor(&pair(f64::NAN)), None);
        assert_eq!(factor(&[vec![1.0, 0.5], vec![0.4, 1.0]]), None);
        assert_eq!(factor(&[vec![1.0, 0.5], vec![0.5, 0.9]]), None);
        assert_eq!(factor(&[vec![1.0, 0.5], vec![0.5]]), None);
        // Each pair alone would be possible; all three cannot be opposed to one another.
        let opposed = |r: f64| vec![vec![1.0, r, r], vec![r, 1.0, r], vec![r, r, 1.0]];
        assert_eq!(factor(&opposed(-0.51)), None);
        // At -1/2 the three add up to zero: just semi-definite.
        assert!(factor(&opposed(-0.5)).is_some());
        // Three in which a dependent pair comes first: only the column of the left-out pivot shows the error.
        let late = vec![vec![1.0, 1.0, 0.5], vec![1.0, 1.0, 0.4], vec![0.5, 0.4, 1.0]];
        assert_eq!(factor(&late), None);
    }
}
