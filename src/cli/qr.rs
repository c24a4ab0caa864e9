//! A text as a QR code on the terminal, two modules to a character.

use crate::paper::{QUIET, Squares, squares};

/// Lines of a code, for a terminal with light letters on a dark ground; cameras read the reverse as well. `None` for a
/// text that no code can hold.
pub(super) fn lines(text: &str) -> Option<Vec<String>> {
    let Squares { width, dark } = squares(text)?;
    let all = width + 2 * QUIET;
    let mut grid = vec![vec![false; all]; all + 1];
    for [row, column] in dark {
        grid[row + QUIET][column + QUIET] = true;
    }
    let dark = |x: usize, y: usize| grid[y][x];
    let line = |y: usize| {
        let blocks = (0..all).map(|x| match (dark(x, y), dark(x, y + 1)) {
            (true, true) => ' ',
            (true, false) => '\u{2584}',
            (false, true) => '\u{2580}',
            (false, false) => '\u{2588}',
        });
        blocks.collect()
    };
    Some((0..all).step_by(2).map(line).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_on_the_terminal_is_read_back() {
        let text = "https://192.168.1.20:8470/in/0123456789abcdef0123456789abcdef";
        let lines = lines(text).unwrap();
        let rows: Vec<Vec<char>> = lines.iter().map(|line| line.chars().collect()).collect();
        let dark = |x: usize, y: usize| match rows[y / 2][x] {
            '\u{2588}' => false,
            '\u{2580}' => y % 2 == 1,
            '\u{2584}' => y.is_multiple_of(2),
            _ => true,
        };
        // Each module as a square of pixels, as a camera sees it.
        let (pixels, width, height) = (4, rows[0].len(), rows.len() * 2);
        let shade = |x: usize, y: usize| if dark(x / pixels, y / pixels) { 0 } else { 255 };
        let mut image =
            rqrr::PreparedImage::prepare_from_greyscale(width * pixels, height * pixels, shade);
        let found = image.detect_grids();
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].decode().unwrap().1, text);
    }
}
