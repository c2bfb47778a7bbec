//! Figures and a few letters five rows high, made of full cells so that they
//! can be read from a metre away.
//!
//! A cell is about twice as high as it is wide, so upright strokes are two
//! cells wide and level strokes one row high.

use ratatui::style::Style;

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
        'T' => ["######", "  ##  ", "  ##  ", "  ##  ", "  ##  "],
        _ => ["   ", "   ", "   ", "   ", "   "],
    }
}

/// Cells across that a text takes at a size.
pub(super) fn width(text: &str, size: u16) -> u16 {
    let letters = text
        .chars()
        .map(|letter| rows(letter)[0].len() as u16 + GAP);
    (letters.sum::<u16>() * size).saturating_sub(GAP * size)
}

/// Draws a text with its upper left corner at (x, y); returns the column after
/// it.
pub(super) fn draw(pen: &mut Pen, (x, y): (u16, u16), text: &str, size: u16, style: Style) -> u16 {
    let mut left = x;
    for letter in text.chars() {
        let glyph = rows(letter);
        for (row, cells) in (0u16..).zip(glyph) {
            for (column, _) in cells.char_indices().filter(|(_, cell)| *cell == '#') {
                for line in 0..size {
                    let at = left + column as u16 * size;
                    let stroke = if size > 1 { "██" } else { "█" };
                    pen.text(at, y + row * size + line, stroke, style);
                }
            }
        }
        left += (glyph[0].len() as u16 + GAP) * size;
    }
    left.saturating_sub(GAP * size)
}

#[cfg(test)]
mod tests {
    use super::*;
    use ratatui::buffer::Buffer;
    use ratatui::layout::Rect;

    #[test]
    fn every_letter_is_a_block_and_no_two_figures_look_alike() {
        let mut seen = Vec::new();
        for letter in "0123456789+-.SLOWFAT".chars() {
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
        for size in [1, 2] {
            let mut buffer = Buffer::empty(Rect::new(0, 0, 100, 10));
            let mut pen = Pen::new(&mut buffer, Rect::new(0, 0, 100, 10));
            let end = draw(&mut pen, (0, 0), "-12.34", size, Style::new());
            assert_eq!(end, width("-12.34", size));
            let last = (0..100)
                .rev()
                .find(|x| (0..10).any(|y| buffer[(*x, y)].symbol() == "█"));
            assert_eq!(last, Some(end - 1));
        }
    }
}
