//! Coverage intervals out of sorted draws.

use std::cmp::Ordering;

/// Lowest and highest draws, each sorted upwards: all that a coverage interval needs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tails<'a> {
    pub(super) low: &'a [f64],
    pub(super) high: &'a [f64],
    /// Number of all draws.
    pub(super) draws: usize,
}

/// Number of draws on each side that can be the end of an interval of a level: `draws (1 - level)`, rounded
/// up.
pub(super) fn tail(draws: usize, level: f64) -> usize {
    draws - covered(draws, level, 0.0)
}

/// Rank `draws x level`, rounded up to a whole draw.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)]
fn covered(draws: usize, level: f64, part: f64) -> usize {
    (draws as f64 * level + part).floor() as usize
}

/// Order of draws, none of which is NaN; quicker than a total order of floats.
pub(super) fn upwards(a: &f64, b: &f64) -> Ordering {
    a.partial_cmp(b).unwrap_or(Ordering::Equal)
}

/// Sorts the lowest `tail` draws to the front and the highest to the back, and leaves the rest unsorted.
pub(super) fn sort_tails(draws: &mut [f64], tail: usize) {
    let most = draws.len();
    if 2 * tail >= most {
        draws.sort_unstable_by(upwards);
        return;
    }
    draws.select_nth_unstable_by(tail - 1, upwards);
    draws[tail..].select_nth_unstable_by(most - 2 * tail, upwards);
    draws[..tail].sort_unstable_by(upwards);
    draws[most - tail..].sort_unstable_by(upwards);
}

impl Tails<'_> {
    /// Draw of a rank from 1, which must lie in a tail.
    pub(super) fn ranked(&self, rank: usize) -> f64 {
        if rank <= self.low.len() {
            self.low[rank - 1]
        } else {
            self.high[rank + self.high.len() - self.draws - 1]
        }
    }

    /// Interval that leaves as many draws out below as above, and the shortest one (JCGM 101:2008, 7.7.2 to
    /// 7.7.4, from memory).
    pub(super) fn intervals(&self, level: f64) -> ([f64; 2], [f64; 2]) {
        let within = covered(self.draws, level, 0.5);
        let without = self.draws - within;
        let ends = |rank: usize| [self.ranked(rank), self.ranked(rank + within)];
        let mut shortest = ends(1);
        for rank in 2..=without {
            let [from, to] = ends(rank);
            // Never true where an end is infinite.
            if to - from < shortest[1] - shortest[0] {
                shortest = [from, to];
            }
        }
        (ends(without.div_ceil(2)), shortest)
    }
}

#[cfg(test)]
#[allow(clippy::float_cmp)]
mod tests {
    use super::*;

    fn intervals(mut draws: Vec<f64>, level: f64) -> ([f64; 2], [f64; 2]) {
        let tail = tail(draws.len(), level);
        sort_tails(&mut draws, tail);
        let draws = &draws[..];
        let tails =
            Tails { low: &draws[..tail], high: &draws[draws.len() - tail..], draws: draws.len() };
        tails.intervals(level)
    }

    /// By hand: of the squares of 1 to 100, 90 % are 90 of them; ten are left out, five on each side in the
    /// one, all at the wide end in the other.
    #[test]
    fn intervals_of_squares() {
        let squares = (1..=100_u32).rev().map(|n| f64::from(n * n)).collect();
        let (symmetric, shortest) = intervals(squares, 0.9);
        assert_eq!(symmetric, [25.0, 9025.0]);
        assert_eq!(shortest, [1.0, 8281.0]);
    }

    /// By hand: 0.95 of 250 is 237.5, which counts as 238; of the 12 left out 6 are below.
    #[test]
    fn a_part_of_a_draw_is_rounded_as_the_clause_says() {
        let (symmetric, _) = intervals((1..=250_u32).map(f64::from).collect(), 0.95);
        assert_eq!(symmetric, [6.0, 244.0]);
        // 0.9 of 105 is 94.5, so 95; of 10, 5. 0.95 of 230 is 218.5, so 219; of 11, 6.
        let (symmetric, _) = intervals((1..=230_u32).map(f64::from).collect(), 0.95);
        assert_eq!(symmetric, [6.0, 225.0]);
    }

    #[test]
    fn infinite_draws_are_above_all_others() {
        let mut draws: Vec<f64> = (1..=96_u32).map(f64::from).collect();
        draws.extend([f64::INFINITY; 4]);
        let (symmetric, shortest) = intervals(draws.clone(), 0.95);
        assert_eq!(symmetric, [3.0, f64::INFINITY]);
        assert_eq!(shortest, [1.0, 96.0]);
        draws[90..].fill(f64::INFINITY);
        assert_eq!(intervals(draws, 0.95).1, [1.0, f64::INFINITY]);
    }
}
