//! Figures and a few letters five rows high, made of full cells so that they
//! can be read from a metre away.
//!
//! A cell is about twice as high as it is wide, so upright strokes are two
//! cells wide and level strokes one row high.

use ratatui_core::style::Style;

use super::pen::Pen;

/// Rows of a letter at size 1.
pub(super) const HEIGHT: u16 = 5;

/// Cells between two letters at size 1.
const GAP: u16 = 1;

/// The rows of a letter; `#` is a filled cell. Unknown letters are blank.
fn rows(letter: char) -> [&'static str; 5] {
    match letter {
        '0' => ["######", "##  ##", "##  ##", "##  ##", "######"],
        '1' => ["  ##  ", "####  ", "  ##  ", "  ##  ", "######"],
        '2' => ["######", "    ##", "######", "##    ", "######"],
        '3' => ["######", "    ##", " #####", "    ##", "######"],
        '4' => ["##  ##", "##  ##", "######", "    ##", "    ##"],
        '5' => ["######", "##    ", "######", "    ##", "######"],
        '6' => ["######", "##    ", "######", "##  ##", "######"],
        '7' => ["######", "    ##", "   ## ", "  ##  ", "  ##  "],
        '8' => ["######", "##  ##", "######", "##  ##", "######"],
        '9' => ["######", "##  ##", "######", "    ##", "######"],
        '+' => ["      ", "  ##  ", "######", "  ##  ", "      "],
        '-' => ["      ", "      ", "######", "      ", "      "],
        '.' => ["  ", "  ", "  ", "  ", "##"],
        // Letters are narrower than figures: a word must fit beside them.
        'S' => ["#####", "##   ", "#####", "   ##", "#####"],
        'L' => ["##  ", "##  ", "##  ", "##  ", "####"],
        'O' => ["#####", "## ##", "## ##", "## ##", "#####"],
        'W' => ["##   ##", "##   ##", "## # ##", "### ###", "##   ##"],
        'F' => ["#####", "##   ", "#### ", "##   ", "##   "],
        'A' => ["#####", "## ##", "#####", "## ##", "## ##"],
        'T' => ["####", " ## ", " ## ", " ## ", " ## "],
        'R' => ["#### ", "## ##", "#### ", "## ##", "## ##"],
        'I' => ["##", "##", "##", "##", "##"],
        'G' => ["#####", "##   ", "## ##", "## ##", "#####"],
        'V' => ["## ##", "## ##", "## ##", " ### ", "  #  "],
        'D' => ["#### ", "## ##", "## ##", "## ##", "#### "],
        'H' => ["## ##", "## ##", "#####", "## ##", "## ##"],
        _ => ["   ", "   ", "   ", "   ", "   "],
    }
}

/// Cells across that a text takes with strokes of `across` times their usual
/// width.
pub(super) fn width(text: &str, across: u16) -> u16 {
    let letters = text
        .chars()
        .map(|letter| rows(letter)[0].len() as u16 + GAP);
    (letters.sum::<u16>() * across).saturating_sub(GAP * across)
}

/// Draws a text with its upper left corner at (x, y), each cell of a letter so
/// many cells across and down; returns the column after it.
pub(super) fn draw(
    pen: &mut Pen,
    (x, y): (u16, u16),
    text: &str,
    (across, down): (u16, u16),
    style: Style,
) -> u16 {
    let stroke = "█".repeat(usize::from(across));
    let mut left = x;
    for letter in text.chars() {
        let glyph = rows(letter);
        for (row, cells) in (0u16..).zip(glyph) {
            for (column, _) in cells.char_indices().filter(|(_, cell)| *cell == '#') {
                for line in 0..down {
                    let at = left + column as u16 * across;
                    pen.text(at, y + row * down + line, &stroke, style);
                }
            }
        }
        left += (glyph[0].len() as u16 + GAP) * across;
    }
    left.saturating_sub(GAP * across)
}

#[cfg(test)]
mod tests {
    use super::*;
    use ratatui_core::buffer::Buffer;
    use ratatui_core::layout::Rect;

    #[test]
    fn every_letter_is_a_block_and_no_two_figures_look_alike() {
        let mut seen = Vec::new();
        for letter in "0123456789+-.SLOWFATRIGH".chars() {
            let glyph = rows(letter);
            assert!(
                glyph.iter().all(|row| row.len() == glyph[0].len()),
                "{letter}"
            );
            assert!(!seen.contains(&glyph), "{letter}");
            seen.push(glyph);
        }
    }

    #[test]
    fn the_width_said_is_the_width_drawn() {
        for (across, down) in [(1, 1), (2, 2), (1, 2), (5, 3)] {
            let mut buffer = Buffer::empty(Rect::new(0, 0, 200, 20));
            let mut pen = Pen::new(&mut buffer, Rect::new(0, 0, 200, 20));
            let end = draw(&mut pen, (0, 0), "-12.34", (across, down), Style::new());
            assert_eq!(end, width("-12.34", across));
            let last = (0..200)
                .rev()
                .find(|x| (0..20).any(|y| buffer[(*x, y)].symbol() == "█"));
            assert_eq!(last, Some(end - 1));
        }
    }

    /// However large, a level stroke is one piece.
    #[test]
    fn large_letters_are_solid() {
        for size in 1..=6 {
            let mut buffer = Buffer::empty(Rect::new(0, 0, 40, 30));
            let mut pen = Pen::new(&mut buffer, Rect::new(0, 0, 40, 30));
            let end = draw(&mut pen, (0, 0), "-", (size, size), Style::new());
            let level = 2 * size..3 * size;
            assert_eq!(end, 6 * size);
            for y in 0..30 {
                let full = |x: &u16| buffer[(*x, y)].symbol() == "█";
                let filled = (0..40).filter(full).count() as u16;
                assert_eq!(filled, if level.contains(&y) { end } else { 0 }, "{size}");
            }
        }
    }
}
